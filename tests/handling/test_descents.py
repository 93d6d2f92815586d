"""Stretches where a train must be held back, and the force that takes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiler.handling.descents import Descent, descents, retard_needed
from profiler.handling.speeds import Speeds, speeds_along
from profiler.mechanics.course import course_of, places_of
from profiler.mechanics.motion import Course
from profiler.mechanics.resistance import train_coefficients
from profiler.mechanics.terrain import Terrain
from profiler.units import GRAVITY, KIP, KMH, MPH
from tests.planned import LIMIT, NAMES, TRAINS, held_along, line_of_trial, posted
from tests.trial import CREST, STEEP_CREST, slope

FOUND = {"a": 630, "b": 630, "c": 420, "d": 163, "e": 315, "e, empties ahead": 315, "f": 71}
"""Worst retard of the trial, kip."""


def along(train: str, terrain: Terrain, limit: float = 25 * MPH) -> tuple[Course, Speeds, tuple[Descent, ...]]:
    """A train on a line, its speeds and its descents."""
    course = course_of(TRAINS[train], terrain)
    speeds = speeds_along(course, TRAINS[train], posted(TRAINS[train], terrain, limit))
    return course, speeds, descents(course, speeds, terrain, TRAINS[train].length)


def of_trial(name: str) -> tuple[Descent, ...]:
    """Descents of a train of the trial on its hill."""
    course, speeds = held_along(name)
    return descents(course, speeds, line_of_trial(name), TRAINS[name].length)


@pytest.mark.parametrize("name", NAMES)
def test_descents_of_the_trial(name: str):
    """Worked: handling trial: the force on the steepest grade, to 2 %; the descent from beyond the crest to the foot
    where the grade falls below what rolls off by itself."""
    first, *_ = of_trial(name)
    assert first.force / KIP == pytest.approx(FOUND[name], rel=0.02)
    crest, foot = (STEEP_CREST, 24_000) if name == "f" else (CREST, 44_000)
    assert first.crest == pytest.approx(crest, abs=100)
    assert crest < first.start < crest + TRAINS[name].length
    assert foot - 1 < first.end < foot + TRAINS[name].length
    a, b = (10_000, 20_000) if name == "f" else (26_000, 38_000)
    assert a < first.worst < b + 200
    assert first.worst_length > 500


@settings(max_examples=20, deadline=None)
@given(grade=st.floats(-0.03, 0.01), speed=st.floats(2, 20), faster=st.floats(0.5, 10), name=st.sampled_from("acdf"))
def test_the_force_needed(grade: float, speed: float, faster: float, name: str):
    """Law: on one grade it is the weight along it less what the train rolls with: less at a higher speed, more on a
    steeper grade; slowing down adds mass times retardation."""
    train, course = TRAINS[name], course_of(TRAINS[name], slope(grade))
    hold = np.full(places_of(course).size, speed)
    need = retard_needed(course, hold)
    expected = -train.mass * GRAVITY * grade - float(train_coefficients(train)(speed))
    assert need == pytest.approx(expected, rel=1e-6, abs=1.0)
    assert (retard_needed(course, hold + faster) < need).all()
    assert (retard_needed(course_of(train, slope(grade - 0.002)), hold) > need).all()
    falling = np.linspace(speed + 5, speed, hold.size)
    slowing = falling[:-1] * np.diff(falling) / course.step
    more = retard_needed(course, falling) - retard_needed(course, falling, slowing=False)
    assert more[:-1] == pytest.approx(-course.mass * slowing, rel=1e-6)


def test_no_descent():
    """Law: on the level, uphill, and where the train rolls off no faster than it may, nothing has to be held back."""
    for grade in (0.0, 0.01, -0.0005):
        assert not along("a", slope(grade))[2]


def test_a_line_that_begins_and_ends_on_a_descent():
    """Law: the descent is the line, its crest where the line begins."""
    for length in (20_000.0, 800.0):
        _, _, (only,) = along("a", slope(-0.02, length=length))
        assert (only.start, only.crest) == (0, 0)
        assert only.end == length


def tangents(*parts: tuple[float, float]) -> Terrain:
    """Lengths [m] and grades [m/m], one after the other, no vertical curves."""
    way = np.arange(0.0, sum(x for x, _ in parts) + 5, 10.0)
    edge = np.r_[0.0, np.cumsum([x for x, _ in parts])]
    height = np.r_[0.0, np.cumsum([x * g for x, g in parts])]
    return Terrain(way, np.interp(way, edge, height), 0 * way)


def test_a_short_rise_parts_no_descent():
    """Law: a rise that the train coasts over is part of the descent; one that takes its speed is not."""
    down = (6000.0, -0.015)
    for rise, parts in ((200.0, 1), (4000.0, 2)):
        found = along("d", tangents((3000, 0.005), down, (rise, 0.012), down, (3000, 0.0)))[2]
        assert len(found) == parts


@settings(max_examples=15, deadline=None)
@given(shift=st.integers(1, 500), lift=st.floats(-300, 3000), name=st.sampled_from("acf"), grade=st.floats(0.012, 0.03))
def test_descents_shift_with_the_line(shift: int, lift: float, name: str, grade: float):
    """Law: a longer approach moves a descent by as much, another datum changes nothing."""
    parts = ((7000.0, 0.004), (5000.0, -grade), (4000.0, 0.003))
    limit = 45 * KMH if name == "f" else LIMIT[name]
    base = tangents(*parts)
    (one,) = along(name, base, limit)[2]
    (far,) = along(name, tangents((10.0 * shift, 0.004), *parts), limit)[2]
    (high,) = along(name, base.lifted(base.elevation + lift), limit)[2]
    for figure in ("start", "end", "crest"):
        assert getattr(far, figure) - 10 * shift == pytest.approx(getattr(one, figure), abs=30)
        assert getattr(high, figure) == pytest.approx(getattr(one, figure), abs=10)
    for other in (far, high):
        assert other.force == pytest.approx(one.force, rel=1e-6)
