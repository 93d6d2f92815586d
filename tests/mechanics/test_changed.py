"""A train with something gone wrong."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given as for_any
from hypothesis import strategies as st

from profiler.cited import Cited
from profiler.mechanics.air import full_service_forces
from profiler.mechanics.changed import braked_as, cut_out, has_dynamic, with_buff, without_dynamic
from profiler.mechanics.course import course_of, held_back_by
from profiler.mechanics.dynamic import group_dynamics
from profiler.train import Train
from profiler.units import KIP, MPH
from tests.any_trains import trains
from tests.trial import slope, trial_trains

A, B, C = (trial_trains()[name] for name in "abc")
HOLD = 20 * MPH


def dynamic(train: Train) -> float:
    """At 20 mph on a grade on which no buff limit binds. [kips]"""
    return (
        float(
            group_dynamics(replace(train, limits=replace(train.limits, buff=Cited(1e4, "kips", "given"))), HOLD).total
        )
        / KIP
    )


@pytest.mark.parametrize(("units", "kips"), [(0, 575), (1, 460), (2, 345), (3, 230), (4, 115), (5, 0), (None, 0)])
def test_units_lost_one_by_one(units: int | None, kips: float):
    """Worked: (a) has three units of 115 kip ahead and two behind; the head group loses its own first; 280 kip of
    axles do not bind once one is lost."""
    lost = without_dynamic(replace(A, limits=replace(A.limits, dynamic_axles=Cited(99, "", "given"))), units)
    assert dynamic(lost) == pytest.approx(kips, abs=0.5)
    assert has_dynamic(lost) == (kips > 0)


@for_any(trains(), st.integers(0, 8))
def test_the_rest_of_the_train_stays(train: Train, units: int):
    """Law: losing dynamic brakes changes no mass, length, power or group, and never adds any brake."""
    lost = without_dynamic(train, units)
    for name in ("mass", "length", "power", "rotating_mass", "vehicles", "operative_brakes", "trailing_mass"):
        assert getattr(lost, name) == pytest.approx(getattr(train, name))
    assert [(g.place, g.working, g.start, g.end) for g in lost.groups] == [
        (g.place, g.working, pytest.approx(g.start), pytest.approx(g.end)) for g in train.groups
    ]
    assert (group_dynamics(lost, HOLD).curve <= group_dynamics(train, HOLD).curve + 1e-6).all()
    assert not has_dynamic(without_dynamic(train))


@for_any(trains(), st.floats(0, 1))
def test_cars_cut_out(train: Train, share: float):
    """Law: the brake force of the cars falls by the share that is cut out, nothing else changes."""
    cut = cut_out(train, share)
    assert full_service_forces(cut) == pytest.approx((1 - share) * full_service_forces(train))
    assert (cut.mass, cut.length, cut.vehicles) == (train.mass, train.length, train.vehicles)


@pytest.mark.parametrize(
    "change",
    [
        lambda t: without_dynamic(t, 1),
        without_dynamic,
        lambda t: with_buff(t, Cited(150, "kips", "given")),
        lambda t: replace(t, rail="poor"),
    ],
    ids=["unit", "all", "buff", "rail"],
)
@pytest.mark.parametrize("train", [A, B, C], ids=list("abc"))
def test_course_of_the_changed_train(train: Train, change):
    """Law: the course with other dynamic brakes holds back as that of the changed train, and is else as it was."""
    changed, terrain = change(train), slope(-0.02)
    made, whole = braked_as(course_of(train, terrain), train, changed), course_of(changed, terrain)
    speed = np.linspace(0, 30, 31)
    assert held_back_by(made, 5000.0, speed) == pytest.approx(held_back_by(whole, 5000.0, speed))
    for name in ("weight", "bend", "room", "friction"):
        assert getattr(made, name) == pytest.approx(getattr(whole, name)), name
    assert made.mass == pytest.approx(whole.mass)
