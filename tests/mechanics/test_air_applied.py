"""Train air at work: build-up, emergency, graduated steps, retainers, repeated applications."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given as for_any
from hypothesis import strategies as st

from profiler.cited import given
from profiler.mechanics.air import farthest_feed, full_service_forces, still_applied
from profiler.mechanics.air_applied import (
    air_force,
    air_kept,
    build_up,
    built_up_after,
    emergency_share,
    ledger,
)
from profiler.mechanics.dynamic import group_dynamics
from profiler.mechanics.resistance import train_coefficients
from profiler.mechanics.under_train import spread_of, under_train
from profiler.train import Block, Train
from profiler.units import BAR, KIP, KMH, MPH, PSI
from tests.trial import hill, trial_trains

TRIAL = trial_trains()
A, B, D, E, F = (TRIAL[n] for n in "abdef")
TIME = np.arange(0.0, 300.0, 0.5)
HOLD = 23 * MPH


@pytest.mark.parametrize(("name", "seconds"), [("a", (6, 12, 21)), ("b", (10, 18, 32)), ("d", (14, 26, 47))])
def test_build_up(name: str, seconds: tuple[float, float, float]):
    """Worked: handling trial: seconds until 50, 80 and 95 % of the train's brake force are there."""
    found = [built_up_after(TRIAL[name], s) for s in (0.5, 0.8, 0.95)]
    assert found == pytest.approx(seconds, abs=0.6, rel=0.06)


def test_emergency_build_up():
    """Worked: handling trial: (a) 6 s to half, 10 s to 95 %; 1.2 times full service."""
    assert [built_up_after(A, s, emergency=True) for s in (0.5, 0.95)] == pytest.approx([6, 10], abs=0.5)
    assert emergency_share(A) == pytest.approx(1.2)
    assert emergency_share(F) == 1


@pytest.mark.parametrize(("train", "fed"), [(A, 540), (B, 1074)], ids=["a", "b"])
def test_ledger(train: Train, fed: float):
    """Worked: handling trial: 10 psi again and again with 60 s between; (b) 10, 14.1, 15.8, 16.5 at the gauge, left
    15.7 to 13.9, at twice the time 10, 16.4, 20.5, 23.1 and 12.0 left; (a) 10, 10.7, 10.7. The trial fed from the
    middle of a group to the middle of the last car, `farthest_feed` reckons end to end: 5 % more."""
    expected = [10, 14.1, 15.8, 16.5] if train is B else [10, 10.7, 10.7, 10.7]
    for distance, tolerance in ((fed, 0.06), (farthest_feed(train), 0.9)):
        found = ledger(90 * PSI, distance, [10 * PSI] * 4, [60.0] * 3)
        assert [x.gauge / PSI for x in found] == pytest.approx(expected, abs=tolerance)
        assert found[0].left / PSI == pytest.approx(15.7, abs=0.05)
        assert [x.lack + 10 * PSI for x in found] == pytest.approx([x.gauge for x in found])
        assert not found[0].false_gradient
    if train is B:
        cold = ledger(90 * PSI, fed, [10 * PSI] * 4, [60.0] * 3, cold=True)
        assert [x.gauge / PSI for x in cold] == pytest.approx([10, 16.4, 20.5, 23.1], abs=0.06)
        assert cold[-1].left / PSI == pytest.approx(12.0, abs=0.05)
        assert all(x.false_gradient for x in cold[1:])


def test_ledger_runs_out():
    """Law: no reduction takes more than the charge gives, and that is told; hours of charging restore everything."""
    short = ledger(90 * PSI, 3000.0, [20 * PSI] * 4, [5.0] * 3)
    assert not short[-1].enough
    assert short[-1].left == 0
    assert all(x.charge - (x.gauge - x.lack) * 3.5 >= -1e-6 for x in short)
    full = ledger(90 * PSI, 3000.0, [20 * PSI] * 2, [1e5])
    assert full[1].gauge == pytest.approx(full[0].gauge)


@pytest.mark.parametrize(
    ("name", "need", "psi"), [("a", 630, 10), ("b", 630, 15), ("c", 420, 7), ("d", 163, 0), ("e", 315, 7)]
)
def test_smallest_reduction(name: str, need: float, psi: float):
    """Worked: handling trial: retard needed at the worst place of the hill at 23 mph [kips], and the least customary
    reduction under which no more than 0.85 of the dynamic brake is needed."""
    train = TRIAL[name]
    under = under_train(hill(), spread_of(train))
    force = -(under.grade_force + under.curve_force + train_coefficients(train)(HOLD))
    worst = float(force.max())
    assert worst / KIP == pytest.approx(need, abs=2)
    dynamic = float(group_dynamics(train, HOLD, -0.025).usable)
    steps = [0.0, *train.handling.reductions]
    enough = [r for r in steps if worst - float(air_force(train, r)) <= dynamic]
    assert min(enough) / PSI == pytest.approx(psi)


def test_holding_forces_graduated():
    """Worked: handling trial: (f): brake force in kN by bar below 5 (1 %)."""
    bar = BAR * np.array([0, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.2, 1.5])
    expected = np.array([0, 127, 159, 190, 222, 254, 285, 317, 381, 476])
    assert air_force(F, bar) / 1000 == pytest.approx(expected, rel=0.01)


def test_force_over_speed():
    """Law: cast-iron shoes hold less the faster they rub; composition ones do not mind below 40 mph; the low case of
    the pressure law never holds more."""
    speed = np.array([10, 42, 100]) * KMH
    assert (np.diff(air_force(F, BAR, speed)) < 0).all()
    assert air_force(A, 10 * PSI, np.array([5.0, 15.0])) == pytest.approx(float(air_force(A, 10 * PSI)))
    r = PSI * np.arange(1, 40)
    assert (air_force(A, r, low=True) <= air_force(A, r) + 1e-6).all()


@pytest.mark.parametrize("train", [A, B, D, E, F], ids=list("abdef"))
def test_build_up_laws(train: Train):
    """Law: from nothing, never falling, to all of it; an emergency never holds less."""
    service, emergency = (build_up(train, TIME, emergency=x) for x in (False, True))
    for found in (service, emergency):
        assert found[0] == 0
        assert (np.diff(found) >= -1e-12).all()
        assert found[-1] == pytest.approx(1, abs=1e-3)
    assert (emergency_share(train) * emergency >= service - 1e-9).all()


@for_any(st.floats(0.1, 1.0), st.integers(1, 20))
def test_cars_cut_out(working: float, count: int):
    """Law: force goes with the cars that work, and with their number."""
    car = A.blocks[1].vehicle
    some = replace(car, brake=replace(car.brake, operative=given(working)))
    made = replace(A, blocks=(A.blocks[0], Block(vehicle=some, count=count)))
    each = float(full_service_forces(A).sum()) / 84
    assert full_service_forces(made).sum() == pytest.approx(count * working * each)


def test_retainers():
    """Law: with retainers on every car 20 psi of the cylinder stays, on half of them half; what was less stays as it
    was; with none the release is the plain one."""
    full = float(full_service_forces(A).sum())
    for cars in (1.0, 0.5):
        assert air_kept(A, 15 * PSI, TIME, cars=cars)[-1] / full == pytest.approx(cars * 20 / (90 / 1.4), rel=0.01)
    assert air_kept(A, 7 * PSI, TIME)[-1] / full == pytest.approx(17.5 / (90 / 1.4))
    assert air_kept(A, 15 * PSI, TIME, retainer="LP")[-1] / full == pytest.approx(10 / (90 / 1.4))
    none = air_kept(A, 15 * PSI, TIME, cars=0.0)
    far = still_applied(A, np.array([farthest_feed(A)]), TIME)[:, 0]
    assert none[0] == pytest.approx(float(air_force(A, 15 * PSI)))
    assert (none <= far * none[0] + 1e-6).all()  # the cars nearer to the feed let go sooner
