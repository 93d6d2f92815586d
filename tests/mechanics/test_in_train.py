"""Coupler forces along a run, against the trial of train handling, a worked example, and laws of statics."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiler.cited import given as stated
from profiler.handling.staircase import AirStep
from profiler.handling.timeline import air_acts, cruising_acts, power_off_acts, timeline
from profiler.mechanics import in_train as module
from profiler.mechanics.air_acts import lead_time
from profiler.mechanics.conditions import Conditions
from profiler.mechanics.course import Act, course_of, held_back_by, places_of
from profiler.mechanics.in_train import InTrain, dynamics_of_groups, efforts_of_groups, in_train
from profiler.mechanics.motion import Course
from profiler.mechanics.run import run
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.traction import group_efforts
from profiler.train import Train
from profiler.units import KIP, MPH, PSI, FloatArray
from profiler.vehicle import RunDown, Vehicle
from tests.mechanics.test_pull import split
from tests.mechanics.test_under_train import hills
from tests.outside.test_published_rating import light_train
from tests.trial import CREST, EMPTY, ORE, UNIT, hill, slope, train_of, trial_trains

TRAINS = trial_trains()
HELD = 23 * MPH
FREE_ROLLING = Conditions(rolling=0.0, curves=0.0)


@dataclass(frozen=True)
class At:
    """Instants made up, (t,) each."""

    head: FloatArray
    speed: FloatArray
    effort: FloatArray
    dynamic: FloatArray
    air: FloatArray

    @property
    def time(self) -> FloatArray:
        return np.arange(self.head.size, dtype=float)


def at(head: FloatArray, *, speed: float = 8.0, effort: object = 0.0, dynamic: object = 0.0, air: object = 0.0) -> At:
    return At(*(np.broadcast_to(np.asarray(x, float), head.shape) for x in (head, speed, effort, dynamic, air)))


def handled(
    name: str, speed: float, power_off: float, air: tuple[tuple[float, float], ...] = ()
) -> tuple[Train, Course, list[Act]]:
    """A train of the trial from 5 km before its crest: power off so far past the crest [m], then reductions [psi] built
    up by places [km], with the whole of the time line in between."""
    train = TRAINS[name]
    course = course_of(train, hill(), draft_limit=math.inf)
    course = course._replace(hold=np.full(course.weight.size, HELD))
    up = run(course, cruising_acts(train, 8), head=CREST - 5000, speed=speed * MPH, until=CREST)
    acts = [*cruising_acts(train, 8), Act("dynamic", 0.0)]
    acts += power_off_acts(timeline(train, int(up.notch[-2])), 0.85, CREST + power_off)
    before = np.r_[0.0, [psi for _, psi in air]] * PSI
    steps = [
        AirStep(at=1000 * km - lead_time(train) * HELD, need=1000 * km, before=a, after=b, segment=0)
        for (km, _), a, b in zip(air, before[:-1], before[1:], strict=True)
    ]
    return train, course, acts + air_acts(train, steps)


@pytest.mark.parametrize(
    ("name", "speed", "power_off", "air", "draft", "buff"),
    [
        ("a", 18, 445, ((22.7, 7), (26.9, 8), (27.1, 10)), 211, 157),
        ("b", 18, 465, ((19.1, 7), (26.0, 8), (26.3, 10), (26.6, 12), (26.9, 15)), 352, 173),
        ("c", 21.5, 420, ((25.9, 7),), 173, 168),
        ("d", 23, 955, (), 103, 144),
        ("e", 21, 305, ((22.8, 7),), 180, 166),
        ("e, empties ahead", 21, 840, ((23.4, 7),), 182, 165),
    ],
)
def test_peaks_of_the_trial(
    name: str, speed: float, power_off: float, air: tuple[tuple[float, float], ...], draft: float, buff: float
):
    """Worked: handling trial: largest draft and buff of the run over the crest and down, kips; (b) whatever its
    couplers bear. How its brakes filled in detail is not told: 8 % of
    the buff."""
    train, course, acts = handled(name, speed, power_off, air)
    done = run(course, acts, head=CREST - 5000, speed=speed * MPH, until=38_000)
    assert done.ended == "there"
    found = in_train(train, hill(), course, done)
    assert found.draft.force / KIP == pytest.approx(draft, rel=0.01)
    assert found.buff.force / KIP == pytest.approx(buff, rel=0.08)
    assert found.draft.vehicle == train.groups[0].working - 1  # behind the head group, where all of its pull passes
    assert found.draft.head < CREST + power_off < found.buff.head


def test_power_at_the_head_and_at_the_rear():
    """Worked: example 7-B (calc): 100 cars of 143 short tons, +1 %, 12 mph held: 305,304 lb behind three units; with
    one of them behind 203,536 behind the head set, 101,768 before the remote, the node two thirds back."""
    for rear, draft, buff in ((False, 305.304, 0.0), (True, 203.536, 101.768)):
        train = light_train(rear=rear)
        course = course_of(train, slope(0.01), draft_limit=math.inf)
        course = course._replace(hold=np.full(course.weight.size, 12 * MPH))
        done = run(course, cruising_acts(train, 8), head=5000, speed=12 * MPH, until=7000)
        found = in_train(train, slope(0.01), course, done)
        assert found.draft.force / KIP == pytest.approx(draft, abs=0.02)
        assert found.buff.force / KIP == pytest.approx(buff, abs=0.02)
        assert found.draft.vehicle + 1 == (2 if rear else 3)
        assert np.abs(found.acceleration).max() < 1e-9
        ahead = found.node + 1  # of it, two of them units
        assert ahead == pytest.approx(np.full(ahead.size, 2 + 200 / 3 if rear else 0), abs=1 if rear else 0)


@pytest.mark.parametrize("name", ["a", "d", "e"])
def test_the_sum_over_the_train_closes(name: str):
    """Law: what all vehicles ask for is what the run's own course has: mass x acceleration = effort - brakes - weight -
    curves - rolling (tabled each 10 m), so that nothing is left behind the last vehicle."""
    train, course, acts = handled(name, 20, 400, ((22.7, 7),))
    done = run(course, acts, head=CREST - 5000, speed=20 * MPH, until=30_000)
    found = in_train(train, hill(), course, done)
    weight, bend = (np.interp(found.head, places_of(course), x) for x in (course.weight, course.bend))
    a, b, c = course.resistance
    rolling = a + found.speed * (b + found.speed * c)
    net = found.effort - found.dynamic - found.air - weight - bend - rolling
    assert course.mass * found.acceleration == pytest.approx(net, abs=0.002 * KIP * train.mass / 1e5)
    assert found.head.size < done.head.size / 3
    assert np.diff(found.head).max() < 2 * module.EVERY


def test_nothing_is_missed_between(monkeypatch: pytest.MonkeyPatch):
    """Law: of all instants of the run none has a larger draft or buff than those told, but for what 50 m do."""
    train, course, acts = handled("a", 18, 445, ((22.7, 7), (26.9, 10)))
    done = run(course, acts, head=CREST - 5000, speed=18 * MPH, until=38_000)
    some = in_train(train, hill(), course, done)
    monkeypatch.setattr(module, "EVERY", 1e-6)
    every = in_train(train, hill(), course, done)
    assert every.head.size == done.head.size
    for one, other in ((some.draft, every.draft), (some.buff, every.buff)):
        assert one.force == pytest.approx(other.force, abs=500)
        assert one.force <= other.force


def like(vehicle: Vehicle, per_weight: float = 0.002) -> Vehicle:
    """A vehicle that rolls by its weight alone, and turns as heavily as any."""
    a = stated(per_weight * vehicle.mass * 9.80665, "n")
    no = stated(0, "n_per_m_s")
    return replace(
        vehicle, resistance=RunDown(a=a, b=no, c=stated(0, "n_per_m2_s2")), rotating=stated(1.05), coupler="automatic"
    )


@given(st.floats(-0.03, 0.03), st.integers(1, 60), st.integers(1, 60))
@settings(max_examples=20, deadline=None)
def test_one_grade_coasting(grade: float, loads: int, empties: int):
    """Outside: closed form 9-G: a train wholly on one grade, coasting, every vehicle with the same resistance over
    weight: no force anywhere."""
    train = train_of((2, like(UNIT)), (loads, like(ORE)), (empties, like(EMPTY)))
    terrain = slope(grade)
    found = in_train(train, terrain, course_of(train, terrain), at(np.linspace(5000, 20_000, 7)))
    assert np.abs(found.force).max() < 1.0
    assert found.acceleration == pytest.approx(-9.80665 * (grade + 0.002) / 1.05)


def test_brakes_in_proportion():
    """Outside: closed form 9-E: every car braked alike and the locomotive in proportion: no force anywhere."""
    train = train_of((1, like(UNIT)), (50, like(ORE)))
    air = 600e3
    dynamic = air / 50 * UNIT.mass / ORE.mass
    terrain = slope(0.0)
    course = course_of(train, terrain)
    assert held_back_by(course, 8000.0, 8.0) > dynamic
    found = in_train(train, terrain, course, at(np.array([8000.0, 9000]), dynamic=dynamic, air=air))
    assert np.abs(found.force).max() < 1.0
    alone = in_train(train, terrain, course, at(np.array([8000.0]), dynamic=dynamic))
    assert alone.buff.force > 0.9 * dynamic


def test_uniform_train_pulled_at_the_head():
    """Outside: closed form 9-D: N equal cars pulled with P: P·(N - j + 1)/N in front of car j."""
    unit = light_train(rear=False).blocks[0].vehicle
    train = train_of((1, unit), (40, like(ORE)))
    terrain = slope(0.01)
    course = course_of(train, terrain)
    found = in_train(train, terrain, course, at(np.array([9000.0]), effort=300e3))
    assert found.force[0] == pytest.approx(300e3 * np.arange(40, 0, -1) / 40, abs=0.01)


@given(st.integers(0, 10_000))
@settings(max_examples=10, deadline=None)
def test_upside_down(seed: int):
    """Law: rolling left aside, what a hill does to the couplers under power it does with the sign turned where it is
    turned upside down and the units brake as much as they pulled."""
    terrain, train = hills(seed), TRAINS["e"]
    turned = Terrain(terrain.way, -terrain.elevation, terrain.curve_rise)
    head = np.linspace(2000.0, 11_000, 40)
    up, down = (
        in_train(train, line, course_of(train, line), what, conditions=FREE_ROLLING)
        for line, what in ((terrain, at(head, effort=200e3)), (turned, at(head, dynamic=200e3)))
    )
    assert down.force == pytest.approx(-up.force, abs=1.0)
    assert down.acceleration == pytest.approx(-up.acceleration, abs=1e-9)
    assert down.peaks.buff == pytest.approx(up.peaks.draft, abs=1.0)


@given(st.integers(0, 10_000))
@settings(max_examples=10, deadline=None)
def test_turned_round(seed: int):
    """Law: rolling left aside, couplers don't know which way the train goes: units ahead that brake hold the very same
    cars, on the same place, that they push as units behind when it goes the other way."""
    line, train = hills(seed), TRAINS["e"]
    back = Terrain(line.way, line.elevation[::-1], line.curve_rise[-1] - line.curve_rise[::-1], "against")
    other = replace(train, blocks=train.blocks[::-1])
    head = np.linspace(2000.0, 11_000, 40)
    there = in_train(train, line, course_of(train, line), at(head, dynamic=150e3), conditions=FREE_ROLLING)
    heads = (line.length - (head - train.length))[::-1]
    here = in_train(other, back, course_of(other, back), at(heads, effort=150e3), conditions=FREE_ROLLING)
    assert here.force[::-1, ::-1] == pytest.approx(there.force, abs=1.0)


@pytest.mark.parametrize("name", ["a", "e"])
def test_splitting_blocks(name: str):
    """Law: splitting a block changes nothing, but that the leading unit's air resistance is its own then."""
    train, course, acts = handled(name, 20, 400, ((22.7, 7),))
    done = run(course, acts, head=CREST - 5000, speed=20 * MPH, until=30_000)
    parts = split(train)
    whole, cut = (in_train(t, hill(), course, done) for t in (train, parts))
    assert cut.force == pytest.approx(whole.force, abs=1500)
    assert cut.by_dynamic == pytest.approx(whole.by_dynamic, abs=1e-3)


@given(st.floats(0.0, 1.0), st.floats(0.5, 20.0), st.integers(1, 8))
@settings(max_examples=25, deadline=None)
def test_one_notch_for_all(part: float, speed: float, notch: int):
    """Law: groups share an effort as their own notch gives it, as far between two notches for one as for the other, and
    never more than their couplers have room for; the dynamic brake in proportion."""
    train = TRAINS["a"]
    course = course_of(train, hill())
    head, v = np.array([9500.0, CREST + 300]), np.full(2, speed)
    low, high = (
        group_efforts(train, v, notch=n, draft_limit=math.inf) if n else np.zeros((2, 2)) for n in (notch - 1, notch)
    )
    room = np.array([np.interp(head, places_of(course), x) for x in course.room])
    low, high = np.minimum(low, room), np.minimum(high, room)
    asked = (1 - part) * low + part * high
    found = efforts_of_groups(course, asked.sum(axis=0), head, v)
    assert found == pytest.approx(asked, rel=0.02, abs=200)  # the course's own tables are each 0.1 m/s
    assert found.sum(axis=0) == pytest.approx(asked.sum(axis=0))
    most = held_back_by(course, head, v)
    each = dynamics_of_groups(course, part * most, head, v)
    assert each.sum(axis=0) == pytest.approx(part * most)
    assert each == pytest.approx(part * dynamics_of_groups(course, most, head, v))


def test_head_group_held_to_its_buff():
    """Law: where the speed is held on one grade, rolling left aside, by all that the head group may brake, by the
    remote and by the air, the coupler behind the head group bears the buff limit: its own weight does not pass."""
    train, terrain = TRAINS["a"], slope(-0.025)
    course = course_of(train, terrain)
    most = float(held_back_by(course, 9000.0, HELD))
    air = -float(course.weight[-1]) - most
    found = in_train(
        train, terrain, course, at(np.array([9000.0]), speed=HELD, dynamic=most, air=air), conditions=FREE_ROLLING
    )
    assert found.acceleration == pytest.approx(0.0, abs=1e-6)
    assert found.buff.vehicle == 2
    assert found.buff.force == pytest.approx(train.limits.buff, rel=1e-6)


def test_at_rest_nothing_is_told():
    """Law: friction at rest takes any force; a train that never moves has no instants."""
    train = TRAINS["a"]
    course = course_of(train, slope(0.01))
    assert in_train(train, slope(0.01), course, at(np.full(3, 5000.0), speed=0.0)).head.size == 0
    one = in_train(train, slope(0.01), course, at(np.array([5000.0]), effort=1e5))
    assert isinstance(one, InTrain)
    assert one.head.tolist() == [5000.0]
