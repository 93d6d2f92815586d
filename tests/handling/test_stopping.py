"""Stopping distances against the handling trial, a closed form, and the laws of a constant grade."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given as for_any
from hypothesis import settings
from hypothesis import strategies as st

from profiler.cited import given
from profiler.handling.descents import descents
from profiler.handling.speeds import speeds_along
from profiler.handling.stopping import WAYS, How, Stops
from profiler.mechanics.air_acts import brake_force
from profiler.mechanics.air_applied import build_up, emergency_share
from profiler.mechanics.course import course_of
from profiler.mechanics.speed_limits import head_limit
from profiler.route import SpeedLimit
from profiler.train import GRADUATED_HANDLING, Train
from profiler.units import GRAVITY, KMH, MPH
from tests.trial import hill, slope, trial_trains

TRIAL = {name: replace(train, units="us") for name, train in trial_trains().items()}
TRIAL["f"] = replace(TRIAL["f"], units="metric", handling=GRADUATED_HANDLING)
PLACE = 5000.0
FEW = settings(max_examples=25, deadline=None)


def on_grade(train: Train, grade: float, limit: float | None = None) -> Stops:
    """A train on one grade under a limit [m/s], 25 mph or 45 km/h."""
    terrain = slope(grade)
    course = course_of(train, terrain)
    speed = limit or (45 * KMH if train.units == "metric" else 25 * MPH)
    posted = head_limit([SpeedLimit(0, terrain.length, speed)], terrain, train.length)
    return Stops(train, course, speeds_along(course, train, posted))


@cache
def trial(name: str, grade: float) -> Stops:
    return on_grade(TRIAL[name], grade)


def distance(stops: Stops, how: How, *, weak: bool = False) -> float:
    return stops.rests(how, PLACE, weak=weak) - PLACE


@pytest.mark.parametrize(
    ("name", "with_dynamic", "service", "weak", "emergency", "weak_emergency", "over"),
    [
        ("a", 395, 1350, math.inf, 640, 5500, 1010),
        ("b", 665, 1585, math.inf, 675, 5700, 1055),
        ("c", 335, 1015, math.inf, 535, 2300, 845),
        ("d", 195, 340, 490, 195, 270, 285),
        ("e", 320, 610, 1620, 345, 690, 525),
        ("f", 215, 540, 5400, 540, 5400, 810),
    ],
)
def test_stops_of_the_trial(
    name: str, with_dynamic: float, service: float, weak: float, emergency: float, weak_emergency: float, over: float
):
    """Worked: handling trial: metres from hold speed on 2.5 % (f: 35 ‰), with shoes at 0.7, and from limit + 5 mph
    (8 km/h): 3 %."""
    stops = trial(name, -0.035 if name == "f" else -0.025)
    found = [
        distance(stops, "service_dynamic"),
        distance(stops, "service"),
        distance(stops, "service", weak=True),
        distance(stops, "emergency"),
        distance(stops, "emergency", weak=True),
        distance(stops, "emergency_over"),
    ]
    assert found == pytest.approx([with_dynamic, service, weak, emergency, weak_emergency, over], rel=0.03)


@pytest.mark.parametrize(
    ("name", "service", "emergency"),
    [("a", 425, 310), ("b", 490, 325), ("c", 390, 285), ("d", 250, 160), ("e", 340, 230), ("f", 300, 300)],
)
def test_stops_on_the_lesser_grade(name: str, service: float, emergency: float):
    """Worked: handling trial: the same on 1.2 % (f: 22 ‰), no dynamic brake: 3 %."""
    stops = trial(name, -0.022 if name == "f" else -0.012)
    found = [distance(stops, "service"), distance(stops, "emergency")]
    assert found == pytest.approx([service, emergency], rel=0.03)


def test_slow_filling():
    """Worked: handling trial: (f) in position G on 35 ‰: 350 m with the dynamic brake, 935 without: 3 %."""
    stops = on_grade(replace(TRIAL["f"], brake_position="G"), -0.035)
    assert distance(stops, "service_dynamic") == pytest.approx(350, rel=0.03)
    assert distance(stops, "service") == pytest.approx(935, rel=0.03)


@pytest.mark.parametrize(("how", "trial_says", "shortest"), [("service", 1375, 1005), ("emergency", 651, 522)])
def test_closed_form(how: How, trial_says: float, shortest: float):
    """Worked: handling trial: (a) on 2.5 %: with t_e the mean of 1 − build-up, v1 = v + a t_e, the distance is
    v t_e + a t_e²/2 + M v1²/(2 net): 1375 m and 651 m, 3 % of the run; without the gain of speed a fifth short."""
    stops, v = trial("a", -0.025), 23 * MPH
    time = np.arange(0.0, 200.0, 0.05)
    free = float((1 - build_up(TRIAL["a"], time, emergency=how == "emergency")).sum() * 0.05)
    course = stops.course
    a, b, c = course.resistance
    down = -float(course.weight[-1] + a + v * (b + c * v))
    full = float(brake_force(TRIAL["a"], math.inf)) * (emergency_share(TRIAL["a"]) if how == "emergency" else 1.0)
    gain, net = down / course.mass, full - down
    v1 = v + gain * free
    closed = v * free + gain * free**2 / 2 + course.mass * v1**2 / (2 * net)
    assert closed == pytest.approx(trial_says, rel=0.03)
    assert distance(stops, how) == pytest.approx(closed, rel=0.03)
    without = v * free + course.mass * v**2 / (2 * net)
    assert without == pytest.approx(shortest, rel=0.03)
    assert without < 0.85 * distance(stops, how)


@pytest.mark.parametrize("name", ["a", "b", "d", "e"])
def test_begun_so_that_it_stops_at_the_place(name: str):
    """Law: begun where it says, a train stops at the place, within 1 m or 1 % short of it, and never beyond, on a
    grade that changes on the way; from the place itself, its distance is what the run says."""
    train, terrain = TRIAL[name], hill()
    course = course_of(train, terrain)
    posted = head_limit([SpeedLimit(0, terrain.length, 25 * MPH)], terrain, train.length)
    speeds = speeds_along(course, train, posted)
    stops = Stops(train, course, speeds)
    for at in stops.at([18_400.0, 26_300.0, 38_500.0, 44_200.0]):
        assert len(at.ways) == 2 * len(WAYS)
        for way in at.ways:
            if way.stops:
                assert stops.rests(way.how, at.head, weak=way.weak) - at.head == pytest.approx(way.distance, abs=0.1)
            if not math.isfinite(way.begins):
                continue
            rests = stops.rests(way.how, way.begins, weak=way.weak)
            assert rests <= at.head
            later = way.begins + max(2.0, 0.02 * (at.head - way.begins))
            assert stops.rests(way.how, later, weak=way.weak) > at.head
            if way.stops and not way.weak:
                assert rests == pytest.approx(at.head, abs=max(1.5, 0.01 * way.distance))


def test_never():
    """Law: where the brakes hold less than the weight along the track, no dynamic brake makes a train stop: it fades.
    With the whole line on that grade it cannot be begun anywhere either."""
    stops = trial("a", -0.025)
    for how in ("service", "service_dynamic"):
        found = stops.stopping(how, PLACE, weak=True)  # type: ignore[arg-type]
        assert not found.stops
        assert found.distance == found.time == math.inf
        assert found.begins == -math.inf


def test_the_hardest_place_of_a_descent():
    """Law: no place of a descent tried between 2 km and its end is farther from a stop than the hardest one."""
    train, terrain = TRIAL["c"], hill()
    course = course_of(train, terrain)
    speeds = speeds_along(course, train, head_limit([SpeedLimit(0, terrain.length, 25 * MPH)], terrain, train.length))
    stops = Stops(train, course, speeds)
    descent = descents(course, speeds, terrain, train.length)[0]
    hardest = stops.hardest(descent)
    most = stops.rests("service", hardest) - hardest
    for head in np.arange(descent.start + 333, descent.end, 1700.0):
        assert stops.rests("service", head) - head <= most * 1.02
    assert 26_000 < hardest < 38_000


GRADES, SPEEDS = st.floats(-0.02, 0.005), st.floats(12 * MPH, 40 * MPH)
ANY = st.sampled_from(["a", "b", "c", "d", "e", "f"])


@FEW
@for_any(ANY, GRADES, SPEEDS, st.floats(1.02, 1.3), st.floats(0.001, 0.01))
def test_farther_from_more_speed_and_on_a_steeper_grade(name: str, grade: float, speed: float, more: float, g: float):
    """Law: on a constant grade the distance rises with speed and with steepness."""
    for how in WAYS:
        here = distance(on_grade(TRIAL[name], grade, speed), how)
        assert distance(on_grade(TRIAL[name], grade, speed * more), how) >= here
        assert distance(on_grade(TRIAL[name], grade - g, speed), how) >= here


@FEW
@for_any(ANY, GRADES, SPEEDS)
def test_emergency_is_shorter(name: str, grade: float, speed: float):
    """Law: without dynamic brake an emergency stop is no longer than one by full service; weak shoes no shorter than
    good ones; the dynamic brake helps."""
    stops = on_grade(TRIAL[name], grade, speed)
    service = distance(stops, "service")
    assert distance(stops, "emergency") <= service + 0.5
    assert distance(stops, "service_dynamic") <= service + 0.5
    for how in WAYS:
        assert distance(stops, how, weak=True) >= distance(stops, how)


@FEW
@for_any(st.sampled_from(["a", "c", "d"]), GRADES, SPEEDS, st.floats(1.05, 1.5))
def test_heavier_or_better_braked(name: str, grade: float, speed: float, more: float):
    """Law: downhill it rises with the mass of the cars at equal brake force; it falls with their braking ratio and with
    the share of the dynamic brake that is used."""
    train = TRIAL[name]

    def with_cars(mass: float, ratio: float) -> Train:
        blocks = []
        for block in train.blocks:
            car = block.vehicle
            if car.kind == "car":
                assert car.brake.braking_ratio
                brake = replace(car.brake, braking_ratio=given(float(car.brake.braking_ratio) * ratio))
                car = replace(car, mass=given(float(car.mass) * mass, "kg"), brake=brake)
            blocks.append(replace(block, vehicle=car))
        return replace(train, blocks=tuple(blocks))

    for how in WAYS:
        here = distance(on_grade(train, grade, speed), how)
        if grade <= 0:
            assert distance(on_grade(with_cars(more, 1 / more), grade, speed), how) >= here
        assert distance(on_grade(with_cars(1.0, more), grade, speed), how) <= here
    handling = replace(train.handling, usable_dynamic=given(0.85 / more))
    less = on_grade(replace(train, handling=handling), grade, speed)
    assert distance(less, "service_dynamic") >= distance(on_grade(train, grade, speed), "service_dynamic")


def test_uphill_gravity_helps():
    """Law: without brakes a stop uphill is v²/(2 g G), rotating parts in; a train never rolls on from there."""
    car = TRIAL["c"].blocks[1].vehicle
    loose = replace(car, brake=replace(car.brake, operative=given(0)))
    train = replace(TRIAL["c"], blocks=(TRIAL["c"].blocks[0], replace(TRIAL["c"].blocks[1], vehicle=loose)))
    stops = on_grade(train, 0.02)
    found = distance(stops, "service")
    assert 0 < found < (23 * MPH) ** 2 * stops.course.mass / (2 * GRAVITY * 0.02 * train.mass)
