"""Draft gears, and laws of a chain of vehicles with slack and gears between them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiler.cited import given as stated
from profiler.errors import InputError
from profiler.mechanics.draft_gear import CUSHIONED, FRICTION, SCREW, DraftGear
from profiler.mechanics.transient_loop import advance
from profiler.mechanics.transient_tables import couplings_of, state_of
from profiler.train import Train
from profiler.units import FloatArray
from profiler.vehicle import Vehicle
from tests.trial import EMPTY, ORE, UNIT, train_of

UNBREAKABLE = stated(1e12, "n")


def made_of(vehicles: Sequence[Vehicle]) -> Train:
    return train_of((1, UNIT), *((1, v) for v in vehicles))


def chain(
    train: Train, gears: Sequence[DraftGear], speeds: FloatArray, pull: FloatArray, *, scale: float = 1.0
) -> tuple[FloatArray, FloatArray]:
    """Vehicles for 6 s under forces that stay: coupler forces (t, v - 1) every 10 ms, speeds (t, v)."""
    couplings = couplings_of(train, gears)
    block = train.vehicle_block
    inertia = scale * (train.rotating_masses / train.counts)[block]
    if scale != 1:
        couplings = couplings._replace(jerky=couplings.jerky / scale, longest=couplings.longest * math.sqrt(scale))
    state = state_of(np.zeros(train.vehicles), speeds, 0)
    state.drive[:] = pull
    force, speed = [], []
    for _ in range(600):
        advance(couplings, state, inertia, 0.01, 4.0)
        force.append(state.pull[1:-1].copy())
        speed.append(state.v.copy())
    return np.array(force), np.array(speed)


@st.composite
def chains(draw: st.DrawFn) -> tuple[list[Vehicle], list[DraftGear], FloatArray, FloatArray]:
    """Two to six vehicles, gears of any kind between them, speeds [m/s] and forces [N]."""
    vehicles = draw(st.lists(st.sampled_from([UNIT, ORE, EMPTY]), min_size=1, max_size=5))
    gear = st.sampled_from([replace(g, breaks=UNBREAKABLE) for g in (FRICTION, CUSHIONED, SCREW)])
    slack = st.floats(0.0, 0.3)
    gears = [replace(draw(gear), slack=stated(draw(slack), "m")) for _ in vehicles]
    speeds = np.array([draw(st.floats(-1.0, 1.0)) for _ in range(len(vehicles) + 1)])
    pull = np.array([draw(st.floats(-2e5, 2e5)) for _ in range(len(vehicles) + 1)])
    return vehicles, gears, speeds, pull


@settings(max_examples=25, deadline=None)
@given(chains())
def test_draft_and_buff_are_alike(made: tuple[list[Vehicle], list[DraftGear], FloatArray, FloatArray]):
    """Law: with speeds and forces turned about every draft becomes the same buff."""
    vehicles, gears, speeds, pull = made
    force, speed = chain(made_of(vehicles), gears, speeds, pull)
    other, turned = chain(made_of(vehicles), gears, -speeds, -pull)
    assert other == pytest.approx(-force, abs=1e-3 * max(np.abs(force).max(), 1e3))
    assert turned == pytest.approx(-speed, abs=1e-4)


@settings(max_examples=25, deadline=None)
@given(chains())
def test_seen_from_the_other_side(made: tuple[list[Vehicle], list[DraftGear], FloatArray, FloatArray]):
    """Law: in a mirror, the last vehicle first and all turned about, the same couplings carry the same."""
    vehicles, gears, speeds, pull = made
    vehicles = [*vehicles, UNIT]
    gears, speeds, pull = [*gears, gears[0]], np.r_[speeds, 0.0], np.r_[pull, 0.0]
    force, _ = chain(made_of(vehicles), gears, speeds, pull)
    mirrored, _ = chain(made_of([*vehicles[-2::-1], UNIT]), gears[::-1], -speeds[::-1], -pull[::-1])
    assert mirrored[:, ::-1] == pytest.approx(force, abs=1e-3 * max(np.abs(force).max(), 1e3))


@settings(max_examples=25, deadline=None)
@given(chains(), st.sampled_from([0.5, 2.0, 8.0]))
def test_all_masses_and_forces_scaled(
    made: tuple[list[Vehicle], list[DraftGear], FloatArray, FloatArray], factor: float
):
    """Law: masses, forces and gears so many times as large: the same motion under so many times the force."""
    vehicles, gears, speeds, pull = made
    stronger = [
        replace(
            gear, **{n: stated(factor * float(getattr(gear, n)), "n") for n in ("force", "first", "locked", "breaks")}
        )
        for gear in gears
    ]
    force, speed = chain(made_of(vehicles), gears, speeds, pull)
    scaled, same = chain(made_of(vehicles), stronger, speeds, factor * pull, scale=factor)
    assert scaled / factor == pytest.approx(force, abs=0.01 * max(np.abs(force).max(), 1e4))
    assert same == pytest.approx(speed, abs=2e-3)


def test_a_gear_presses_as_far_as_it_is_pressed():
    """Law: `pressed` is the inverse of the force at rest, and `stored` its integral."""
    for gear in (FRICTION, CUSHIONED, SCREW):
        x = np.linspace(0, 1.3 * float(gear.travel), 4001)
        force = gear.mean * gear.loading(x)
        assert gear.pressed(force) == pytest.approx(x, abs=1e-9)
        assert gear.stored(x)[-1] == pytest.approx(np.trapezoid(force, x), rel=1e-5)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"locked": stated(-1.0, "n_per_mm")}, "locked"),
        ({"first": stated(-1.0, "n_per_mm")}, "stiffness"),
        ({"first": stated(1e9, "n_per_mm")}, "stiffness"),
        ({"force": stated(-5.0, "kn")}, "force"),
        ({"slack": stated(1.0, "m")}, "slack"),
        ({"slack": stated(math.nan, "m")}, "slack"),
        ({"travel": stated(0.0, "m")}, "travel"),
        ({"unloading": stated(1.2)}, "unloading"),
        ({"unloading": stated(0.0)}, "unloading"),
    ],
)
def test_gears_that_cannot_be(change: dict[str, object], told: str):
    """Law: a gear that would give nonsense is refused, and what is wrong is told."""
    with pytest.raises(InputError, match=told):
        replace(FRICTION, **change)
