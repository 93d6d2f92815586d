"""Speeds held along a line: what is kept from a limit, slowing down for a lower one, what a train reaches."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiler.cited import given as figure
from profiler.errors import InputError
from profiler.handling.speeds import LEAST_HELD, Speeds, speeds_along
from profiler.mechanics.air_acts import brake_force
from profiler.mechanics.course import Act, course_of, places_of
from profiler.mechanics.motion import Course
from profiler.mechanics.places import FASTEST
from profiler.mechanics.run import run
from profiler.mechanics.speed_limits import head_limit
from profiler.route import SpeedLimit
from profiler.train import Train
from profiler.units import KMH, MPH, PSI
from tests.planned import LIMIT, TRAINS, line_of_trial, posted
from tests.trial import hill, slope


def slowed(name: str, place: float, slow: float, *, steepest: bool = False) -> tuple[Train, Course, Speeds]:
    """A train of the trial on its hill with a slow order [m/s] from a place [m] on, a kilometre long; ``steepest``:
    couplers pass everywhere what they pass on the steepest grade."""
    train, terrain = TRAINS[name], line_of_trial(name)
    limits = [SpeedLimit(0, terrain.length, LIMIT[name]), SpeedLimit(place, place + 1000, slow)]
    course = course_of(train, terrain)
    if steepest:
        course = course._replace(push=np.ones_like(course.push) * course.push.max(axis=1, keepdims=True))
    return train, course, speeds_along(course, train, head_limit(limits, terrain, train.length))


def only_drop(speeds: Speeds) -> tuple[float, float]:
    """Reduction [Pa] of the only drop, and how far before it braking begins [m]."""
    (drop,) = speeds.drops
    assert drop.braking is not None
    assert drop.braking.begins is not None
    return drop.reduction, drop.place - drop.braking.begins


@pytest.mark.parametrize(
    ("name", "psi", "metres"),
    [("a", 0, 900), ("b", 7, 615), ("c", 0, 590), ("d", 0, 215), ("e", 0, 820), ("f", 0, 1015)],
)
def test_slow_orders_of_the_trial(name: str, psi: float, metres: float):
    """Worked: handling trial: slowing down from 23 to 15 mph at 21.8 km, (f) from 42 to 25 km/h at 9.6; (b) not without
    air. The trial has what couplers pass on 2.5 % everywhere, where the grade is 1.2: so reckoned to 4 %, and no sooner
    than with what they pass there; (f) to 8 %, 4 kN more of rolling resistance in 50 that slow it."""
    place, slow = (9600, 28 * KMH) if name == "f" else (21_800, 17 * MPH)
    as_tried = only_drop(slowed(name, place, slow, steepest=True)[2])
    assert as_tried[0] == pytest.approx(psi * PSI)
    assert as_tried[1] == pytest.approx(metres, rel=0.08 if name == "f" else 0.04)
    reduction, before = only_drop(slowed(name, place, slow)[2])
    assert reduction == as_tried[0]
    assert as_tried[1] <= before < 1.35 * as_tried[1]


@settings(max_examples=15, deadline=None)
@given(name=st.sampled_from("acdef"), slow=st.floats(2.5, 9), place=st.integers(2000, 20_000))
def test_a_train_that_follows_is_never_over_the_limit(name: str, slow: float, place: int):
    """Law: held as told, with the brake of each drop, no limit is passed by more than a twentieth of a metre a second;
    what is held lies below the limit by the margin, or a fifth of it if that is less."""
    train, course, speeds = slowed(name, place, slow)
    assert (
        speeds.hold <= speeds.limit - np.minimum(train.handling.margin, (1 - LEAST_HELD) * speeds.limit) + 1e-9
    ).all()
    assert (speeds.expected <= speeds.hold + 1e-9).all()
    for drop in speeds.drops:
        if drop.braking is None or drop.braking.begins is None:
            continue
        acts = [
            Act("dynamic", float(train.handling.usable_dynamic)),
            Act("air", float(brake_force(train, drop.reduction))),
        ]
        begins = drop.braking.begins
        if begins < 0:
            continue
        found = run(course, acts, head=begins, speed=drop.approach, until=drop.place)
        assert found.speed[-1] == pytest.approx(drop.slow, abs=0.05)
        held = np.interp(drop.braking.head, places_of(course), speeds.hold)
        assert (held <= drop.braking.speed + 0.05).all()


def test_limits_overlapping_and_none():
    """Law: the lowest of overlapping limits is held; without any, the fastest there is."""
    train, terrain = TRAINS["a"], slope(0.0, length=12_000)
    course = course_of(train, terrain)
    limits = [SpeedLimit(0, 12_000, 20.0), SpeedLimit(4000, 8000, 12.0), SpeedLimit(5000, 6000, 9.0)]
    found = speeds_along(course, train, head_limit(limits, terrain, train.length))
    at = dict(zip(places_of(course), found.limit, strict=True))
    assert [at[x] for x in (3000, 4500, 5500, 7500, 10_000)] == [20, 12, 9, 12, 20]
    free = speeds_along(course, train, head_limit([], terrain, train.length))
    assert free.limit == pytest.approx(FASTEST)
    assert not free.drops


def test_a_low_limit_keeps_a_share():
    """Law: of a limit of 5 mph 4 are held, not 3; of 25 mph 23."""
    train, terrain = TRAINS["a"], slope(0.0)
    course = course_of(train, terrain)
    for limit, hold in ((5, 4), (25, 23)):
        found = speeds_along(course, train, head_limit([SpeedLimit(0, 30_000, limit * MPH)], terrain, train.length))
        assert found.hold == pytest.approx(hold * MPH)


def test_a_cap_is_held_and_slowed_down_for():
    """Law: where no more than a speed is to be held it is, the limit the margin above; before it the train slows down,
    no sooner than it must."""
    train, terrain = TRAINS["c"], slope(-0.008)
    course = course_of(train, terrain)
    places = places_of(course)
    cap = np.where(places >= 20_000, 6.0, 1e6)
    found = speeds_along(course, train, head_limit([SpeedLimit(0, 30_000, 11.0)], terrain, train.length), cap)
    assert found.hold[places >= 20_000] == pytest.approx(6.0)
    assert found.limit[places >= 20_000] == pytest.approx(6.0 + train.handling.margin)
    before = found.hold[places < 20_000]
    assert (np.diff(before) <= 1e-9).all()
    assert before[0] == pytest.approx(11.0 - train.handling.margin)
    (drop,) = found.drops
    assert (drop.approach, drop.slow) == (pytest.approx(before[0]), pytest.approx(6.0))


def test_nothing_slows_a_train_without_brakes():
    """Law: downhill without any brake a drop has none; on a climb steep enough nothing is needed."""
    train = TRAINS["d"]
    bare = replace(train, handling=replace(train.handling, usable_dynamic=figure(0.0), reductions=()))
    for grade, slows in ((-0.015, False), (0.01, True)):
        terrain = slope(grade)
        limits = head_limit([SpeedLimit(0, 30_000, 11.0), SpeedLimit(20_000, 30_000, 6.0)], terrain, train.length)
        (drop,) = speeds_along(course_of(bare, terrain), bare, limits).drops
        assert (drop.braking is not None) == slows
        assert np.isnan(drop.reduction) != slows


@pytest.mark.parametrize("speed", [0.0, 3.9 * KMH])
def test_no_limit_below_walking_pace(speed: float):
    """Law: nothing is planned at less than a walk, or at none: one sentence says so."""
    train, terrain = TRAINS["a"], slope(0.0)
    limits = head_limit([SpeedLimit(0, 30_000, 11.0), SpeedLimit(9000, 9500, speed)], terrain, train.length)
    with pytest.raises(InputError, match="walking pace"):
        speeds_along(course_of(train, terrain), train, limits)


def test_the_speed_a_train_has():
    """Worked: handling trial: (a), held to 23 mph, falls to 16.9 mph on the climb and passes the crest with 18.8; going
    down it has what is held."""
    train, terrain = TRAINS["a"], hill()
    course = course_of(train, terrain)
    found = speeds_along(course, train, head_limit([SpeedLimit(0, 60_000, 25 * MPH)], terrain, train.length))
    places = places_of(course)
    climb = (places > 9000) & (places < 18_000)
    assert found.expected[climb].min() / MPH == pytest.approx(16.9, abs=0.1)
    assert np.interp(18_000, places, found.expected) / MPH == pytest.approx(18.8, abs=0.1)
    assert found.expected[(places > 20_000) & (places < 40_000)] == pytest.approx(23 * MPH, abs=0.05)


def test_a_train_that_stalls_is_got_over():
    """Law: where its power does not get it up it has its least speed, beyond the crest it runs again."""
    train, terrain = TRAINS["b"], hill()
    course = course_of(train, terrain)
    found = speeds_along(course, train, head_limit([SpeedLimit(0, 60_000, 25 * MPH)], terrain, train.length))
    places = places_of(course)
    assert found.expected.min() > 1
    assert np.interp(16_000, places, found.expected) < 12 * MPH
    assert np.interp(25_000, places, found.expected) == pytest.approx(23 * MPH, abs=0.05)
    assert np.isfinite(found.expected).all()


@pytest.mark.parametrize("length", [18_480.0, 16_010.0, 9990.0])
def test_the_speed_at_the_end_of_the_line(length: float):
    """Law: a train that keeps its speed to the end of the line has it at the end too, whatever the length."""
    train, terrain = TRAINS["f"], slope(0.0, length=length)
    found = speeds_along(course_of(train, terrain), train, posted(train, terrain, 45 * KMH))
    assert found.expected == pytest.approx(42 * KMH, abs=1e-6)
