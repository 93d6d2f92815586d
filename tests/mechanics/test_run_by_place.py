"""The run with speeds held by place, brakes by speed and grade, acts that wait; and the run that keeps nothing."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiler.mechanics.course import SPEEDS, Act, acts_of, course_of, held_back_by, places_of
from profiler.mechanics.motion import FREE, Course, extremes
from profiler.mechanics.run import run
from profiler.units import KIP, MPH
from tests.mechanics.test_under_train import hills
from tests.trial import hill, slope, trial_trains

TRAINS = trial_trains()


@pytest.fixture(scope="module")
def course() -> Course:
    return course_of(TRAINS["a"], hill())


def slowed_by_place(train: str = "a") -> Course:
    """A train on the hill, held to 20 mph, from 21 km on slower and slower to 12 mph at 22 km, then to 20 again."""
    course = course_of(TRAINS[train], hill())
    hold = MPH * np.interp(places_of(course), [21_000, 22_000, 22_001], [20, 12, 20])
    return course._replace(hold=hold, limit=hold + 2 * MPH)


FOLLOWS = [Act("notch", 8), Act("hold", FREE), Act("dynamic", 0.85), Act("air", [0.0, 200 * KIP], at=20_000.0, step=20)]


def test_a_speed_is_held_by_place():
    """Law: a train with brakes enough is as fast as held at every place, also where that falls, to 0.1 mph; an act
    asking for less has the lesser."""
    course = slowed_by_place("c")
    found = run(course, FOLLOWS[:3], head=19_500, speed=20 * MPH, until=21_990)
    held = np.interp(found.head, places_of(course), course.hold)
    assert held[-1] < 12.1 * MPH
    assert found.speed == pytest.approx(held, abs=0.1 * MPH)
    slower = run(course, [*FOLLOWS[:3], Act("hold", 10 * MPH)], head=19_500, speed=10 * MPH, until=21_990)
    assert slower.speed == pytest.approx(10 * MPH, abs=0.1 * MPH)


@pytest.mark.parametrize("name", ["a", "c", "e"])
def test_energy_closes_where_brakes_follow_speeds_by_place(name: str):
    """Law: with power, both brakes and a speed held by place the work closes to 2e-5 of all work done, and the error
    falls as the step is halved."""
    course, errors = slowed_by_place(name), []
    for dt in (0.5, 0.25, 0.125):
        found = run(course, FOLLOWS, head=14_000, speed=15 * MPH, until=23_000, time_step=dt)
        energy = found.energy
        assert found.ended == "there"
        assert min(energy.work, energy.dynamic, energy.air) > 0
        errors.append(abs(energy.error) / (energy.work + energy.dynamic + energy.air))
    assert errors[0] < 2e-5
    assert errors[2] < errors[0]


def test_acts_that_wait_for_a_speed(course):
    """Law: an act `over` begins at the first step with the speed so far above the one held, wherever that is; never, if
    it is not passed; the speed held by place counts as one given."""
    waits = Act("air", 100 * KIP, over=1 * MPH)
    acts = [Act("notch", 0), Act("hold", 20 * MPH), waits]
    found = run(course, acts, head=21_000, speed=19 * MPH, until=21_800)
    first = int(np.argmax(found.speed > 21 * MPH))
    assert found.begun[2] == pytest.approx(found.time[first], abs=1e-9)
    assert not found.air[:first].any()
    assert found.air[first:] == pytest.approx(100 * KIP)
    by_place = course._replace(hold=np.full(course.hold.size, 20 * MPH))
    same = run(by_place, [Act("notch", 0), Act("hold", FREE), waits], head=21_000, speed=19 * MPH, until=21_800)
    assert same.begun[2] == found.begun[2]
    held = run(course, [*acts, Act("dynamic", 1.0)], head=21_000, speed=19 * MPH, until=21_800)
    assert np.isnan(held.begun[2])


def test_the_air_brake_goes_by_speed(course):
    """Law: force of the air brake is what was asked times the friction of its speed."""
    fades = course._replace(friction=np.interp(SPEEDS, [5.0, 15.0], [1.0, 0.5]))
    found = run(fades, [Act("air", 100 * KIP)], head=21_000, speed=4.0, until=24_000)
    assert found.speed[-1] > 10
    assert found.air == pytest.approx(100 * KIP * np.interp(found.speed, [5.0, 15.0], [1.0, 0.5]))


def test_dynamic_brake_of_the_head_group_goes_by_its_grade():
    """Worked: handling trial: behind three units of 208 short tons no more than 200 kip is let through, and 2.5 % of
    their own weight, 31 kip, holds itself: 231 kip, and 230 of the two units behind, which nothing caps; on the level
    200. A run uses just that."""
    steep, level = course_of(TRAINS["a"], slope(-0.025)), course_of(TRAINS["a"], slope(0.0))
    assert held_back_by(steep, 15_000.0, 20 * MPH) / KIP == pytest.approx(200 + 31 + 230, abs=1)
    assert held_back_by(level, 15_000.0, 20 * MPH) / KIP == pytest.approx(200 + 230, abs=1)
    hilly = course_of(TRAINS["a"], hill())
    found = run(hilly, [Act("dynamic", 0.7)], head=20_000, speed=21 * MPH, until=27_000)
    assert found.dynamic == pytest.approx(0.7 * held_back_by(hilly, found.head, found.speed), rel=1e-9)
    assert np.ptp(found.dynamic[found.head < 25_000]) > 5 * KIP


@pytest.mark.parametrize("name", ["a", "c", "d"])
def test_extremes_are_those_of_the_run(name: str):
    """Law: the run of which nothing is kept is the run: how far over the limit, how slow, where, how fast, and when
    each act began."""
    course = slowed_by_place(name)
    acts = [*FOLLOWS, Act("air", 50 * KIP, over=0.5 * MPH), Act("notch", 3, at=20_500.0)]
    whole = run(course, acts, head=17_000, speed=9.0, until=23_000)
    nothing = np.full(len(acts), np.nan)
    over, least, x, v, begun = extremes(course, acts_of(acts), nothing, 17_000.0, 9.0, 0.5, 1e5, 23_000.0, np.inf)
    limit = np.interp(whole.head, places_of(course), course.limit)
    assert over == pytest.approx((whole.speed - limit).max(), abs=1e-9)
    assert least == pytest.approx(whole.speed.min(), abs=1e-9)
    assert (x, v) == pytest.approx((whole.head[-1], whole.speed[-1]), abs=1e-9)
    assert np.sort(whole.time[-1] + begun) == pytest.approx(np.sort(whole.begun), abs=1e-9, nan_ok=True)


def test_extremes_end_where_the_limit_is_passed():
    """Law: it ends at the first step with the speed so far above the limit, or where the train comes to rest."""
    course = slowed_by_place("a")
    acts = acts_of([Act("notch", 0)])
    over, _, x, _, _ = extremes(course, acts, np.full(1, np.nan), 20_000.0, 9.0, 0.5, 1e5, 30_000.0, 0.0)
    assert 0 < over < 0.2
    assert x < 22_000
    up = course_of(TRAINS["a"], slope(0.02))
    _, least, x, v, _ = extremes(up, acts, np.full(1, np.nan), 5000.0, 9.0, 0.5, 1e5, 20_000.0, np.inf)
    assert (least, v) == (0, 0)
    assert 5000 < x < 6000


@settings(max_examples=15, deadline=None)
@given(cut=st.floats(17_500, 22_900))
def test_a_run_continued_is_one_run(cut: float):
    """Law: a run ended anywhere and continued there, acts that had begun keeping their clocks, is the run that was not
    ended, but for the step that is cut in two and where others then fall."""
    course = slowed_by_place("a")._replace(limit=np.full(6001, 11.0))
    acts = acts_of([*FOLLOWS, Act("notch", 8 - np.arange(9), at=18_300.0, step=2.0)])
    start = np.full(5, np.nan)
    one = extremes(course, acts, start, 17_000.0, 8.0, 0.25, 1e5, 23_000.0, np.inf)
    first = extremes(course, acts, start, 17_000.0, 8.0, 0.25, 1e5, cut, np.inf)
    had = np.isfinite(first[4])
    assert had.sum() == (acts.place <= cut).sum()
    rest = extremes(course, acts, first[4], first[2], first[3], 0.25, 1e5, 23_000.0, np.inf)
    assert max(first[0], rest[0]) == pytest.approx(one[0], abs=0.01)
    assert min(first[1], rest[1]) == pytest.approx(one[1], abs=0.01)
    assert rest[3] == pytest.approx(one[3], abs=2e-3)


@settings(max_examples=10, deadline=None)
@given(factor=st.floats(0.2, 5), seed=st.integers(0, 1000))
def test_all_masses_and_forces_scaled(factor: float, seed: int):
    """Law: twice the mass under twice the forces runs the same; so it does a multiple of places farther on."""
    course = course_of(TRAINS["a"], hills(seed))
    forces = ("weight", "bend", "resistance", "breakaway", "mass", "effort", "room", "dynamic", "push")
    scaled = course._replace(**{name: factor * getattr(course, name) for name in forces})
    acts = [
        Act("notch", 8),
        Act("hold", 23 * MPH),
        Act("dynamic", 0.85),
        Act("air", [0.0, 300 * KIP], at=4000.0, step=15.0),
    ]
    bigger = [*acts[:-1], Act("air", [0.0, factor * 300 * KIP], at=4000.0, step=15.0)]
    farther = [*acts[:-1], dataclasses.replace(acts[-1], at=54_000.0)]
    one = run(course, acts, head=2000, speed=9.0, until=9000, lasts=1200)
    other = run(scaled, bigger, head=2000, speed=9.0, until=9000, lasts=1200)
    moved = run(course._replace(first=course.first + 50_000), farther, head=52_000, speed=9.0, until=59_000, lasts=1200)
    for found, place in ((other, 0.0), (moved, 50_000.0)):
        assert found.ended == one.ended
        assert found.head[-1] - place == pytest.approx(one.head[-1], abs=1e-4)
        assert found.speed[-1] == pytest.approx(one.speed[-1], abs=1e-5)
