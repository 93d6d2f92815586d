"""The run in time, slowing and stopping, against figures of the trial and laws of motion."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiler.errors import InputError
from profiler.mechanics.course import SPEEDS, Act, course_of
from profiler.mechanics.motion import Course
from profiler.mechanics.resistance import train_coefficients
from profiler.mechanics.run import Run, run
from profiler.mechanics.slowing import FARTHEST, slow_down, stop
from profiler.mechanics.speed_limits import head_limit
from profiler.mechanics.terrain import Terrain
from profiler.route import SpeedLimit
from profiler.train import Block
from profiler.units import GRAVITY, KIP, MPH
from tests.mechanics.test_under_train import hills
from tests.trial import CREST, hill, slope, trial_trains

TRAINS = trial_trains()
HELD = [Act("notch", 8), Act("hold", 23 * MPH)]


def dynamic_of_a() -> np.ndarray:
    """(a): 231 kip at the head under the buff limit on 2.5 %; two units of 115 kip behind, knee 20, fade 6 mph."""
    unit = 115 * np.minimum(SPEEDS / (6 * MPH), 1) * 20 * MPH / np.maximum(SPEEDS, 20 * MPH)
    return KIP * (np.minimum(3 * unit, 231) + 2 * unit)


@pytest.fixture(scope="module")
def course() -> Course:
    return course_of(TRAINS["a"], hill(), dynamic=dynamic_of_a())


def over_the_hill(course: Course, time_step: float = 0.5) -> Run:
    """(a) up the climb, then idle, dynamic and air by the clock from places on: 24 km."""
    acts = [
        *HELD,
        Act("notch", 8 - np.arange(9), at=CREST + 300, step=2.0),
        Act("dynamic", [0, 0, 0.15, 0.15, 0.4, 0.65, 0.85], at=CREST + 450, step=10.0),
        Act("air", 0.006 * GRAVITY * course.mass * np.r_[0, 0, 0.3, 0.6, 0.8, 0.9, 1], at=22_500.0, step=5.0),
    ]
    return run(course, acts, head=5000, speed=18 * MPH, until=24_000, time_step=time_step)


def test_speeds_of_the_trial(course):
    """Worked: handling trial: (a) falls to 16.9 mph on the curved climb, balances at 18.4 on plain 1.3 %, and passes
    the crest with 18.8."""
    climb = run(course, HELD, head=5000, speed=18 * MPH, until=CREST)
    assert climb.speed.min() / MPH == pytest.approx(16.9, abs=0.05)
    assert climb.speed[-1] / MPH == pytest.approx(18.8, abs=0.05)
    plain = run(course_of(TRAINS["a"], slope(0.013)), HELD, head=2000, speed=18 * MPH, until=29_000)
    assert plain.speed[-1] / MPH == pytest.approx(18.4, abs=0.05)


@pytest.mark.parametrize(
    ("name", "approach", "mph"), [("b", 18, 18.8), ("c", 21.5, 22.2), ("d", 23, 23), ("e", 21, 21.7)]
)
def test_crest_speeds_of_the_trial(name: str, approach: float, mph: float):
    """Worked: handling trial: speed at the crest, from 5 km before it; (b) whatever its couplers bear."""
    found = run(
        course_of(TRAINS[name], hill(), draft_limit=math.inf), HELD, head=13_000, speed=approach * MPH, until=CREST
    )
    assert found.speed[-1] / MPH == pytest.approx(mph, abs=0.06)


def test_slowing_down_of_the_trial(course):
    """Worked: handling trial: (a) from 23 to 15 mph at 21.8 km: 900 m with 0.85 of the dynamic brake, 280 with 7 psi
    more (about 200 kip there); (b) with its 252 kip cannot."""
    alone, with_air = (
        slow_down(course, place=21_800, slow=15 * MPH, approach=23 * MPH, share=0.85, air=air) for air in (0, 216 * KIP)
    )
    assert alone.begins is not None
    assert with_air.begins is not None
    assert 21_800 - alone.begins == pytest.approx(900, rel=0.1)
    assert 21_800 - with_air.begins == pytest.approx(280, rel=0.1)
    b = course_of(TRAINS["b"], hill(), dynamic=252 * KIP)
    assert slow_down(b, place=21_800, slow=15 * MPH, approach=23 * MPH, share=0.85).begins is None


@pytest.mark.parametrize("name", ["a", "d", "f"])
def test_energy_closes(name: str):
    """Law: work of the effort is gain of motion and height and what resistance and brakes take, to 2e-5."""
    found = over_the_hill(course_of(TRAINS[name], hill(), dynamic=dynamic_of_a()))
    assert found.ended == "there"
    assert min(dataclasses.asdict(found.energy)[k] for k in ("work", "rolling", "curves", "air")) > 0
    assert abs(found.energy.error) < 2e-5 * found.energy.work


def test_potential_energy_is_the_height_of_the_mass():
    """Law: on one grade the height gained is grade times way, whatever the train."""
    train = TRAINS["e"]
    found = run(course_of(train, slope(0.004)), HELD, head=3000, speed=8.0, until=12_345.6)
    assert found.energy.potential == pytest.approx(train.mass * GRAVITY * 0.004 * 9345.6, rel=1e-9)


def test_error_falls_as_the_step_is_halved(course):
    """Law: of second order: half the step, about a quarter of the error in energy and in time."""
    fine, *rest = (over_the_hill(course, dt) for dt in (0.02, 0.5, 1.0, 2.0))
    late = [abs(x.at(20_000.0)[0] - fine.at(20_000.0)[0]) for x in rest]
    energy = [abs(x.energy.error) for x in rest]
    assert energy[0] < energy[1] / 2 < energy[2] / 4
    assert late[2] > 2 * late[0]


@pytest.mark.parametrize("time_step", [0.1, 0.25, 0.5, 1.0])
def test_places_hardly_depend_on_the_step(course, time_step: float):
    """Law: steps of 0.1 to 1 s: at the same time the train is within 1 m of where it is at 0.05 s, past all acts."""
    fine, found = over_the_hill(course, 0.05), over_the_hill(course, time_step)
    assert found.begun == pytest.approx(fine.begun, abs=0.1)
    at = np.linspace(0, min(fine.time[-1], found.time[-1]), 50)
    places = np.interp(at, fine.time, fine.head)
    assert [_place(found, t) for t in at] == pytest.approx(places, abs=1.0)


def _place(found: Run, time: float) -> float:
    """Where the head is at a time, speed changing evenly within a step."""
    i = min(max(int(np.searchsorted(found.time, time)), 1), found.time.size - 1)
    t, span = time - found.time[i - 1], found.time[i] - found.time[i - 1]
    a = (found.speed[i] - found.speed[i - 1]) / span
    return float(found.head[i - 1] + found.speed[i - 1] * t + a * t * t / 2)


def test_acts_begin_where_they_are_told(course):
    """Law: a step ends where an act begins: the train is then there, to the rounding."""
    found = over_the_hill(course)
    assert found.begun[:2] == pytest.approx(0.0)
    for place, begun in zip((CREST + 300, CREST + 450, 22_500.0), found.begun[2:], strict=True):
        i = int(np.argmin(np.abs(found.time - begun)))
        assert found.time[i] == pytest.approx(begun, abs=1e-9)
        assert found.head[i] == pytest.approx(place, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), lift=st.floats(-500, 4000), cut=st.integers(1, 83))
def test_invariances(seed: int, lift: float, cut: int):
    """Law: another datum, and a block split in two, change nothing."""
    terrain, train = hills(seed), TRAINS["a"]
    ore = train.blocks[1]
    split = (Block(count=cut, vehicle=ore.vehicle), Block(count=84 - cut, vehicle=ore.vehicle))
    other = dataclasses.replace(train, blocks=(train.blocks[0], *split, train.blocks[2]))
    courses = (
        course_of(train, terrain),
        course_of(train, terrain.lifted(terrain.elevation + lift)),
        course_of(other, terrain),
    )
    one, lifted, parted = (run(c, HELD, head=2000, speed=10.0, until=9000, lasts=1200) for c in courses)
    for found in (lifted, parted):
        assert found.ended == one.ended
        assert found.head[-1] == pytest.approx(one.head[-1], abs=1e-3)
        assert found.time[-1] == pytest.approx(one.time[-1], abs=1e-3)
        assert found.energy.work == pytest.approx(one.energy.work, rel=1e-6)


def test_a_stall_is_said():
    """Law: on a grade above all effort the train stalls where it stands; coasting uphill it stops; brakes stop it."""
    steep = course_of(TRAINS["c"], slope(0.05))
    assert run(steep, [Act("notch", 8)], head=2000, speed=8.0, until=20_000).ended == "stalled"
    assert run(steep, [], head=2000, speed=8.0, until=20_000).ended == "stopped"
    assert run(steep, HELD, head=2000, speed=8.0, until=2050).ended == "there"
    assert run(steep, HELD, head=2000, speed=8.0, until=20_000, lasts=5.0).ended == "time"


def test_hold_keeps_the_speed():
    """Law: a strong train keeps the speed asked; the dynamic brake does downhill, within its share."""
    up = run(course_of(TRAINS["d"], slope(0.005)), HELD, head=3000, speed=23 * MPH, until=20_000)
    assert up.speed == pytest.approx(23 * MPH, abs=1e-6)
    assert 0 < up.notch.max() < 8
    assert not up.brake.any()
    a = course_of(TRAINS["a"], slope(-0.012), dynamic=dynamic_of_a())
    down = run(a, [*HELD, Act("dynamic", 0.85)], head=3000, speed=23 * MPH, until=20_000)
    assert down.speed == pytest.approx(23 * MPH, abs=1e-6)
    assert not down.effort.any()
    weak = run(a, [*HELD, Act("dynamic", 0.3)], head=3000, speed=23 * MPH, until=20_000)
    assert weak.speed[-1] > 25 * MPH
    assert (weak.dynamic <= 0.3 * dynamic_of_a().max() * (1 + 1e-9)).all()


def test_a_plan_of_notches():
    """Law: without a speed to hold the train pulls with what the notch gives, and shows that notch."""
    acts = [Act("notch", 3), Act("notch", 5, at=4000.0)]
    found = run(course_of(TRAINS["c"], slope(0.0)), acts, head=3000, speed=5.0, until=6000)
    assert (found.notch[found.head < 3999] == 3).all()
    assert (found.notch[found.head > 4001] == 5).all()


def test_couplers_limit_the_effort():
    """Law: with five units at the head no more than the draft limit and the group's own need is pulled."""
    train = TRAINS["b"]
    own = train.groups[0].mass * GRAVITY * 0.013
    found = run(course_of(train, slope(0.013)), [Act("notch", 8)], head=3000, speed=5.0, until=3500)
    limit = float(train.limits.draft) + own
    assert limit < found.effort.max() < 1.02 * limit


@settings(max_examples=30, deadline=None)
@given(grade=st.floats(-0.02, 0.02), slow=st.floats(3, 9), force=st.floats(100, 900))
def test_braking_traced_back_is_what_a_run_does(grade: float, slow: float, force: float):
    """Law: a train that begins to brake where it is told has the slow speed at the place; where nothing is told, the
    brake hardly holds against the grade."""
    train = TRAINS["c"]
    course, fast = course_of(train, slope(grade)), 11.0
    found = slow_down(course, place=25_000, slow=slow, approach=fast, air=force * KIP)
    pulls = -train.mass * GRAVITY * grade - float(train_coefficients(train)(found.speed[0]))
    if found.begins is None:
        too_little = course.mass * (fast**2 - slow**2) / (2 * FARTHEST)
        assert force * KIP < pulls + 1.01 * too_little
        return
    assert force * KIP > pulls
    if found.begins > 2000:
        done = run(course, [Act("air", force * KIP)], head=found.begins, speed=fast, until=25_000)
        assert done.ended == "there"
        assert done.speed[-1] == pytest.approx(slow, abs=0.01)


@settings(max_examples=30, deadline=None)
@given(v=st.floats(4, 20), more=st.floats(1.05, 2), grade=st.floats(-0.02, 0.01))
def test_stopping_distance(v: float, more: float, grade: float):
    """Law: longer from a higher speed and down a steeper grade, shorter with more force."""
    air = 600 * KIP * np.clip(np.arange(20) / 12, 0, 1)

    def distance(speed: float, force: float, slope_: float) -> float:
        return stop(course_of(TRAINS["c"], slope(slope_)), head=5000, speed=speed, air=force * air).distance

    here = distance(v, 1.0, grade)
    assert distance(v, more, grade) < here
    assert distance(v * more, 1.0, grade) > here
    assert distance(v, 1.0, grade - 0.005) > here


def test_limits_hold_for_the_whole_train():
    """Law: a limit begins with the head and ends with the tail; the lowest binds, of its class or of none."""
    way = np.arange(0.0, 10_001, 10)
    terrain = Terrain(way, 0 * way, 0 * way)
    limits = [
        SpeedLimit(0, 10_000, 20.0),
        SpeedLimit(4000, 5000, 10.0),
        SpeedLimit(4500, 4600, 5.0, reason="slow order"),
        SpeedLimit(0, 10_000, 1.0, train_class="other"),
    ]
    found = head_limit(limits, terrain, 1200.0, "freight")
    for head, speed in ((3999, 20), (4000, 10), (4499, 10), (4500, 5), (5800, 5), (5801, 10), (6200, 10), (6201, 20)):
        assert found.at(head) == speed
    against = head_limit(limits, dataclasses.replace(terrain, direction="against"), 1200.0)
    for chainage, speed in ((5001, 20), (5000, 10), (4600, 5), (3300, 5), (3299, 10), (2800, 10), (2799, 20)):
        assert against.at(terrain.length - chainage) == speed
    assert np.isinf(head_limit([], terrain, 1200.0).at(np.array([0.0, 5000.0]))).all()
    assert np.isinf(found.at(-50.0))


@pytest.mark.parametrize(("speed", "until", "step"), [(-1.0, 9000, 0.5), (5.0, 1000, 0.5), (5.0, 9000, 0.0)])
def test_refused(course, speed: float, until: float, step: float):
    """Law: no run backward, none to where the train has been, none without a step."""
    with pytest.raises(InputError, match="cannot go"):
        run(course, [], head=5000, speed=speed, until=until, time_step=step)


@pytest.mark.parametrize("act", [Act("notch", 9), Act("notch", [8, -1]), Act("air", 0.0, step=0.0)])
def test_refused_acts(course, act: Act):
    """Law: no notch that is not there, no time that stands still."""
    with pytest.raises(InputError, match=r"no notch|apart"):
        run(course, [act], head=5000, speed=5.0, until=9000)


def test_a_speed_no_longer_held(course):
    """Law: once no speed is to be held any more the notch is used in full, and all of the share of the brake."""
    free = [*HELD, Act("hold", math.nan, at=22_000.0)]
    pulled = run(course, free, head=21_000, speed=23 * MPH, until=22_500)
    assert not pulled.effort[pulled.head < 21_999].any()
    assert (pulled.notch[pulled.head > 22_001] == 8).all()
    braked = run(course, [*free, Act("notch", 0), Act("dynamic", 0.5)], head=21_000, speed=23 * MPH, until=22_500)
    after = braked.head > 22_001
    assert braked.dynamic[after] == pytest.approx(0.5 * np.interp(braked.speed[after], SPEEDS, dynamic_of_a()))


def test_air_is_deducted_from_the_dynamic_brake(course):
    """Law: while a speed is held, air takes from the dynamic brake what it gives itself."""
    acts = [*HELD, Act("dynamic", 1.0)]
    alone, both = (
        run(course, [*acts, *more], head=20_000, speed=23 * MPH, until=21_000) for more in ([], [Act("air", 150 * KIP)])
    )
    assert both.dynamic.max() > 0
    assert both.brake[both.head > 20_900].mean() == pytest.approx(alone.brake[alone.head > 20_900].mean(), rel=1e-3)


def test_a_train_starts_from_rest_or_does_not():
    """Law: a run may begin at rest; where all effort is less than holds the train back it is stalled from the first."""
    on = [Act("notch", 8)]
    assert run(course_of(TRAINS["c"], slope(0.013)), on, head=2000, speed=0.0, until=3000).ended == "there"
    still = run(course_of(TRAINS["c"], slope(0.05)), on, head=2000, speed=0.0, until=3000, lasts=60.0)
    assert still.ended == "stalled"
    assert still.head[-1] == 2000


def test_air_adds_up(course):
    """Law: an application and one more are as much as both at once; a release takes it off again."""
    parts = [Act("air", 60 * KIP), Act("air", 40 * KIP, at=20_300.0), Act("air", -100 * KIP, at=20_900.0)]
    found = run(course, parts, head=20_000, speed=23 * MPH, until=21_500)
    for a, b, force in ((20_000, 20_299, 60), (20_301, 20_899, 100), (20_901, 21_500, 0)):
        assert found.air[(found.head >= a) & (found.head <= b)] == pytest.approx(force * KIP)


def test_braking_traced_back_hardly_depends_on_the_step(course):
    """Law: over changing grades and a brake that changes with speed, steps of 0.5 s are within 0.1 m of 0.01 s, and a
    run that begins there arrives with the slow speed."""
    asked = {"place": 21_800, "slow": 4 * MPH, "approach": 23 * MPH, "share": 0.85}
    rough, fine = (slow_down(course, time_step=dt, **asked) for dt in (0.5, 0.01))
    assert rough.begins is not None
    assert rough.begins == pytest.approx(fine.begins, abs=0.1)
    done = run(course, [Act("dynamic", 0.85)], head=rough.begins, speed=23 * MPH, until=21_800)
    assert done.speed[-1] == pytest.approx(4 * MPH, abs=0.01)
