"""The ledger of the air, movement by movement."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given as for_any
from hypothesis import strategies as st

from profiler.handling.air_ledger import LedgerRow, air_ledger, applied
from profiler.handling.staircase import AirStep
from profiler.mechanics.air import farthest_feed
from profiler.mechanics.air_applied import ledger
from profiler.train import Train
from profiler.units import BAR, PSI
from tests.trial import trial_trains

A, B, D, F = (trial_trains()[name] for name in "abdf")


def steps_of(levels: Sequence[float], places: Sequence[float]) -> tuple[AirStep, ...]:
    """Movements to reductions [Pa] at places [m]."""
    made, before, segment = [], 0.0, 0
    for after, at in zip(levels, places, strict=True):
        made.append(AirStep(at=at, need=at, before=before, after=after, segment=segment))
        segment += after == 0
        before = after
    return tuple(made)


def rows_of(train: Train, levels: Sequence[float], times: Sequence[float]) -> tuple[LedgerRow, ...]:
    """Movements to reductions [Pa] at times [s], at 10 m/s."""
    time = np.array([0.0, 1e6])
    return air_ledger(train, steps_of(levels, [10 * t for t in times]), 10 * time, time)


@pytest.mark.parametrize(
    ("train", "normal", "cold"),
    [(B, [10, 14.1, 15.8, 16.5], [10, 16.4, 20.5, 23.1]), (A, [10, 10.7, 10.7, 10.7], None)],
    ids=["b", "a"],
)
def test_again_and_again(train: Train, normal: list[float], cold: list[float] | None):
    """Worked: handling trial: 10 psi with 60 s between: at the gauge, and at twice the time; (b) 15.7 to 13.9 are left,
    12.0 cold. The trial fed from mid group to mid car: 5 % nearer, so 1 psi."""
    levels, times = [10 * PSI, 0] * 4, [100, 200, 260, 360, 420, 520, 580, 680]
    rows = rows_of(train, levels, times)
    set_, released = rows[::2], rows[1::2]
    assert [r.normal.gauge / PSI for r in set_] == pytest.approx(normal, abs=1.0)
    if cold:
        assert [r.cold.gauge / PSI for r in set_] == pytest.approx(cold, abs=1.0)
        assert [rows[0].normal.left / PSI, rows[6].normal.left / PSI] == pytest.approx([15.7, 13.9], abs=0.4)
        assert rows[6].cold.left / PSI == pytest.approx(12.0, abs=0.4)
        assert [r.cold.false_gradient for r in set_] == [False, True, True, True]
    assert [r.since_release for r in set_] == pytest.approx([math.nan, 60, 60, 60], nan_ok=True)
    assert [r.time for r in rows] == pytest.approx(times)
    for before, after in zip(set_, released, strict=True):
        assert after.normal.lack == pytest.approx(before.normal.gauge)


def test_added_to():
    """Law: reductions added to one application stand on one charge: no lack between them; the last is that of
    `air_applied.ledger` for the whole of it."""
    rows = rows_of(B, [7 * PSI, 10 * PSI, 0, 8 * PSI, 12 * PSI, 0], [0, 300, 700, 760, 900, 1200])
    whole = ledger(90 * PSI, farthest_feed(B), [10 * PSI, 12 * PSI], [60.0])
    assert rows[0].normal.lack == rows[1].normal.lack == 0
    assert rows[3].normal.lack == rows[4].normal.lack == pytest.approx(whole[1].lack)
    assert (rows[4].normal.gauge, rows[4].normal.left) == pytest.approx((whole[1].gauge, whole[1].left))
    assert rows[3].normal.gauge == pytest.approx(rows[3].normal.lack + 8 * PSI)
    assert rows[4].since_release == pytest.approx(200)


@for_any(st.lists(st.floats(7, 26), min_size=1, max_size=5), st.floats(1, 900), st.sampled_from([A, B, D]))
def test_laws(psi: list[float], between: float, train: Train):
    """Law: a cold or leaky train never has more than a normal one, nothing is left below zero, what is lacking and
    what there is are the pipe; longer between is never worse."""
    levels = [x for p in psi for x in (p * PSI, 0.0)]
    times = np.cumsum([y for _ in psi for y in (between, 120.0)])
    rows, later = (
        rows_of(train, levels, times),
        rows_of(train, levels, np.cumsum([y for _ in psi for y in (2 * between, 120.0)])),
    )
    for row, better in zip(rows, later, strict=True):
        assert row.cold.lack >= row.normal.lack - 1e-6
        assert row.cold.left <= row.normal.left + 1e-6 or row.step.after == 0 or not row.cold.enough
        assert better.normal.lack <= row.normal.lack + 1e-6
        for found in (row.normal, row.cold):
            assert found.left >= -1e-6
            assert found.lack + found.charge == pytest.approx(90 * PSI)
            assert found.gauge >= found.lack


def test_graduated():
    """Law: a graduated brake lacks nothing: each row is its step, up and down, and what is left to 1.5 bar below."""
    bars = [0.5, 0.8, 0.6, 0.0]
    rows = rows_of(F, [x * BAR for x in bars], [0, 60, 120, 180])
    for row, bar in zip(rows, bars, strict=True):
        assert row.normal == row.cold
        assert row.normal.lack == 0
        assert (row.normal.gauge, row.normal.left) == pytest.approx((bar * BAR, (1.5 - bar) * BAR))


def test_a_run_that_does_not_get_there():
    """Law: steps beyond the end of a run charge nothing more; no steps, no rows; what is set is the last one."""
    steps = steps_of([10 * PSI, 0, 10 * PSI], [100, 200, 5000])
    rows = air_ledger(B, steps, np.array([0.0, 300.0]), np.array([0.0, 30.0]))
    assert rows[2].since_release == pytest.approx(10)
    assert rows[2].normal.lack > 8 * PSI
    assert air_ledger(B, (), np.array([0.0, 1.0]), np.array([0.0, 1.0])) == ()
    assert [applied(steps, x) / PSI for x in (50, 100, 150, 250, 6000)] == pytest.approx([0, 10, 10, 0, 10])
