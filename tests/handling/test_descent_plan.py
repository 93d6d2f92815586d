"""Whole plans: what the trade does, trains that cannot be held, and what is asked of strange lines and trains."""

from __future__ import annotations

import dataclasses
import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from profiler.errors import InputError
from profiler.handling.approach import APPROACH
from profiler.handling.descent_plan import DescentPlan, LinePlan, plan_descents
from profiler.handling.timeline import power_off_acts, timeline
from profiler.mechanics.course import places_of
from profiler.mechanics.run import run
from profiler.mechanics.speed_limits import head_limit
from profiler.mechanics.terrain import Terrain
from profiler.route import SpeedLimit
from profiler.train import Train
from profiler.units import KMH, MPH, PSI
from profiler.vehicle import Vehicle
from tests.handling.scenes import of_trial
from tests.planned import DTM, NAMES, TRAINS, planned, posted
from tests.trial import CREST, ORE, UNIT, crest_of, erring, hill, slope, train_of

LIMIT = 25 * MPH
DEAD = replace(UNIT, dynamic=None)


def without_brakes(car: Vehicle, share: float = 0.0) -> Vehicle:
    """So much of its brakes working."""
    return replace(car, brake=replace(car.brake, operative=share))


def plan(train: Train, terrain: Terrain, limits: float | list[SpeedLimit] = LIMIT, *, drawn: bool = False) -> LinePlan:
    """The plan under one limit [m/s] or under some."""
    limit = posted(train, terrain, limits) if isinstance(limits, float) else head_limit(limits, terrain, train.length)
    return plan_descents(train, terrain, limit, erring(terrain, *DTM) if drawn else None)


def check(found: LinePlan) -> None:
    """What is told is a figure or says by itself that there is none, and lies on the line."""
    end = float(places_of(found.course)[-1])
    for speeds in (found.speeds.limit, found.speeds.hold, found.speeds.expected):
        assert np.isfinite(speeds).all()
        assert (speeds > 0).all()
    for one in found.descents:
        assert all(math.isfinite(x) for x in dataclasses.astuple(one.descent))
        assert 0 <= one.descent.crest <= one.descent.start <= one.descent.worst <= one.descent.end <= end
        assert not np.isnan(one.holding.share).any()
        assert np.isfinite(one.holding.heat).all()
        assert math.isnan(one.top.speed) or 0 < one.top.speed <= one.holding.speed[0] + 1e-9
        assert math.isfinite(one.approach.crest_speed)
        assert one.approach.crest_speed > 0
        assert math.isfinite(one.proof.over)
        assert math.isfinite(one.proof.least)
        for step in one.steps:
            assert step.at + 3000 >= 0  # a lead before the line begins
            assert math.isfinite(step.at)
            assert step.need <= end
        for window in (*one.windows, *([one.power_off] if one.power_off else [])):
            assert math.isfinite(window.custom)
            assert math.isfinite(window.recommended)
            assert not (math.isnan(window.latest) and not window.empty)
            assert 0 <= window.fails <= 1


@pytest.mark.parametrize("name", NAMES)
def test_plans_of_the_trial_are_sound(name: str):
    """Law: figures are figures, places on the line, descents one after the other."""
    found = planned(name)
    check(found)
    for a, b in itertools.pairwise(found.descents):
        assert a.descent.end < b.descent.start


def test_power_off_and_pause():
    """Common practice, no source: a notch off every couple of seconds, about ten seconds at idle, then dynamic brake,
    the slack bunched before more is set up. Measured in the run of the plan."""
    scene, one = of_trial("a"), planned("a", None).descents[0]
    assert one.power_off is not None
    off = one.power_off.recommended
    come = scene.approach
    done = run(scene.courses[0], scene.acts(off), head=come.head, speed=come.speed, until=off + 2000)
    begun, _ = done.at(off)
    idle = done.time[np.flatnonzero(done.effort > 0)[-1]]
    braked = done.time[np.flatnonzero(done.dynamic > 0)[0]]
    assert idle - begun == pytest.approx(2 * one.approach.notch, abs=3)
    assert braked - idle == pytest.approx(10, abs=2.5)
    full = np.interp(begun + one.timeline.full, done.time, done.dynamic)
    bunching = done.dynamic[(done.time > begun + one.timeline.bunched - 8) & (done.time < begun + one.timeline.bunched)]
    assert bunching.max() < 0.25 * full


def test_timelines():
    """Common practice, no source: a notch every 2 s, 10 s pause. Law: without a dynamic brake all ends at idle."""
    for notches in (0, 1, 5, 8):
        line = timeline(TRAINS["a"], notches)
        assert line.throttle == tuple(range(notches, -1, -1))
        assert (line.idle, line.dynamic - line.idle) == (2 * notches, 10)
        assert line.dynamic < line.bunched < line.full
        throttle, dynamic = power_off_acts(line, 0.85, 500.0)
        assert np.atleast_1d(throttle.value)[-1] == 0
        assert (np.diff(dynamic.value) >= 0).all()
        assert np.asarray(dynamic.value)[-1] == pytest.approx(0.85)
        assert np.asarray(dynamic.value)[int(line.dynamic)] == 0
    bare = timeline(train_of((3, DEAD), (20, ORE)), 8)
    assert bare.idle == bare.dynamic == bare.bunched == bare.full
    assert len(power_off_acts(bare, 0.85, 0.0)) == 1


@pytest.mark.parametrize("name", ["a", "b", "c", "e", "e, empties ahead"])
def test_air_as_customary(name: str):
    """Common practice, no source: the minimum reduction first, more by and by, at most about 15 psi."""
    for one in planned(name).descents:
        applications = [step for step in one.steps if step.kind == "air_step"]
        for step in applications:
            assert step.after <= 15 * PSI + 1
        if applications:
            assert applications[0].before == 0
            assert applications[0].after == pytest.approx(7 * PSI)


def test_windows_and_steps_belong_together():
    """Law: each step stands where its window recommends it; each descent has quarter points a train long from its
    crest, and notches that fall."""
    for name in NAMES:
        for one in planned(name, None).descents:
            assert len(one.steps) == len(one.windows)
            quarters = one.quarters - one.descent.crest
            assert quarters[0] == 0
            assert quarters[-1] == pytest.approx(TRAINS[name].length)
            assert (np.diff(quarters) > 0).all()
            assert all(a[0] < b[0] and a[1] > b[1] for a, b in itertools.pairwise(one.cut))
            assert one.approach.head >= one.descent.crest - APPROACH - 1e-6


def test_a_train_that_cannot_be_held():
    """Law, after the accident cases in order of size: 84 ore cars with six tenths of their brakes, no dynamic brake,
    over 2.5 %: held at no speed, said so; no window pretends otherwise; driven, it runs away; air alone will not do."""
    train = train_of((3, DEAD), (84, without_brakes(ORE, 0.6)))
    one = plan(train, hill(), drawn=True).descents[0]
    assert not one.held
    assert math.isnan(one.top.speed)
    assert not one.holding.holds.any()
    assert math.isnan(one.alone.reduction)
    assert one.alone.share > 1
    assert one.power_off is not None
    assert one.power_off.empty
    assert one.proof.over > 5
    assert one.proof.level + one.proof.stalled == pytest.approx(1.0)
    assert one.dynamic is None
    good = plan(TRAINS["a"], hill()).descents[0]
    assert good.held
    assert good.proof.over < 0


def test_the_speed_at_which_it_could_be_held():
    """Law: what cannot be held at the speed posted is told the highest speed that holds, and runs it: (b) for the heat
    of its wheels."""
    one = planned("b").descents[0]
    assert one.held
    assert one.top.speed < one.top.force
    row = int(np.argmin(np.abs(one.holding.speed - one.top.speed)))
    assert one.holding.holds[row].any()
    assert not one.holding.holds[:row].any()
    assert one.proof.over < 0


@pytest.mark.parametrize(
    ("blocks", "held"),
    [
        (((3, UNIT), (84, without_brakes(ORE))), False),
        (((3, DEAD), (84, without_brakes(ORE))), False),
        (((3, UNIT), (20, without_brakes(ORE))), True),
        (((3, UNIT),), True),
    ],
    ids=["no air", "no brake", "few cars without air", "light engines"],
)
def test_trains_without_some_brake(blocks, held: bool):
    """Law: no air is planned that nothing gives; a train is held just as far as the rest of its brakes does it."""
    found = plan(train_of(*blocks), hill(), drawn=True)
    check(found)
    one = found.descents[0]
    assert one.held == held
    assert not one.steps
    assert math.isnan(one.alone.reduction)
    assert (one.proof.over <= 0) == held
    if not held:
        assert one.power_off is not None
        assert one.power_off.empty
        assert one.proof.level == 1


def test_limits_that_are_none():
    """Law: a limit of zero or below a walk is refused in one sentence; without limits there is a plan."""
    for speed in (0.0, 3 * KMH):
        limits = [SpeedLimit(0, 60_000, LIMIT), SpeedLimit(20_000, 20_500, speed)]
        with pytest.raises(InputError, match="walking pace"):
            plan(TRAINS["a"], hill(), limits)
    found = plan(TRAINS["a"], hill(), [])
    check(found)
    assert found.descents[0].held
    assert found.descents[0].proof.over <= 0


def test_a_limit_just_above_a_walk():
    """Law: at 5 km/h a plan is still sound: the earliest place is not measured by a speed the train never has."""
    found = plan(TRAINS["d"], crest_of(0.005, 0.012), 5 * KMH)
    check(found)
    (one,) = found.descents
    assert one.power_off is not None
    assert math.isfinite(one.power_off.earliest)


def test_overlapping_limits():
    """Law: the lowest counts: overlapped by higher ones a limit plans what it does alone."""
    low = [SpeedLimit(0, 60_000, LIMIT), SpeedLimit(21_000, 24_000, 15 * MPH)]
    more = [*low, SpeedLimit(20_000, 30_000, 40 * MPH), SpeedLimit(22_000, 23_000, 20 * MPH)]
    one, other = (plan(TRAINS["c"], hill(), limits) for limits in (low, more))
    assert other.speeds.hold == pytest.approx(one.speeds.hold)
    assert [d.descent for d in other.descents] == [d.descent for d in one.descents]


def test_a_line_that_begins_on_a_descent():
    """Law: no power is there to go off, and nothing comes before the line begins; the rest is planned."""
    found = plan(TRAINS["a"], slope(-0.015, length=20_000), drawn=True)
    check(found)
    (one,) = found.descents
    assert one.power_off is None
    assert one.dynamic is None
    assert one.held
    assert one.proof.over <= 0


def test_a_descent_to_the_end_of_the_line():
    """Law: nothing is told of beyond the end: no release there, no window past it."""
    terrain = crest_of(0.006, 0.02)
    keep = terrain.way <= 26_000
    cut = Terrain(terrain.way[keep], terrain.elevation[keep], terrain.curve_rise[keep])
    found = plan(TRAINS["a"], cut, drawn=True)
    check(found)
    (one,) = found.descents
    assert one.descent.end == 26_000
    assert one.steps
    assert all(step.kind == "air_step" for step in one.steps)
    assert all(not 26_000 < w.latest < math.inf for w in (*one.windows, one.power_off) if w)
    assert one.proof.over <= 0


@pytest.mark.parametrize("length", [800.0, 200.0])
def test_a_train_longer_than_the_line(length: float):
    """Law: it still gives a plan; the grade beyond the ends goes on."""
    found = plan(TRAINS["a"], slope(-0.02, length=length), drawn=True)
    check(found)
    assert len(found.descents) == 1


def test_a_level_line():
    """Law: nothing descends, nothing is planned."""
    assert not plan(TRAINS["a"], slope(0.0, length=5000)).descents


def test_a_train_that_does_not_get_up():
    """Law: where its couplers do not let it over the crest at speed, it is said, and it is taken to pass it slowly."""
    one = planned("b").descents[0]
    come = one.approach
    assert come.stalls
    assert CREST <= come.head <= one.descent.start
    assert 0 < come.crest_speed < 12 * MPH


def test_draws_do_not_change_what_is_not_theirs():
    """Law: with draws or without, the descents, the holding table and the speeds are the same."""
    for name in ("a", "f"):
        for one, other in zip(planned(name, None).descents, planned(name).descents, strict=True):
            assert isinstance(one, DescentPlan)
            assert one.descent == other.descent
            assert one.holding.share == pytest.approx(other.holding.share)
            assert one.alone == other.alone
