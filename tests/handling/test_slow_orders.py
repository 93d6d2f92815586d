"""Slow orders: where braking must begin, driven to see that it does; set-up, tail, air already set, orders in a row."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from profiler.handling.descent_plan import LinePlan
from profiler.handling.slow_orders import Braking, Slowing, slow_orders
from profiler.handling.speeds import speeds_along
from profiler.handling.timeline import power_off_acts, timeline
from profiler.mechanics.air_acts import brake_force, lead_time, moved
from profiler.mechanics.changed import without_dynamic
from profiler.mechanics.conditions import NOMINAL
from profiler.mechanics.course import SPEEDS, Act, course_of
from profiler.mechanics.dynamic import group_dynamics
from profiler.mechanics.motion import FREE
from profiler.mechanics.run import run
from profiler.mechanics.speed_limits import head_limit
from profiler.mechanics.terrain import Terrain
from profiler.route import SpeedLimit
from profiler.train import Train
from profiler.units import MPH, PSI
from tests.trial import hill, slope, trial_trains

TRIAL = trial_trains()
ORDER = SpeedLimit(21_800, 22_500, 17 * MPH, reason="soft track")
POSTED = SpeedLimit(0, 60_000, 25 * MPH)


def line_plan(train: Train, terrain: Terrain, limits: list[SpeedLimit], *, as_on: float | None = None) -> LinePlan:
    """Speeds only, no descent planned; the dynamic brake everywhere capped as on a grade, if given."""
    dynamic = None if as_on is None else group_dynamics(train, SPEEDS, as_on).total
    course = course_of(train, terrain, dynamic=dynamic)
    speeds = speeds_along(course, train, head_limit(limits, terrain, train.length, train.train_class))
    return LinePlan(course=speeds.on(course), speeds=speeds, descents=())


def slowings(
    train: Train, terrain: Terrain, limits: list[SpeedLimit], orders: list[SpeedLimit], *, as_on: float | None = None
) -> tuple[Slowing, ...]:
    line = line_plan(train, terrain, [*limits, *orders], as_on=as_on)
    return slow_orders(train, terrain, line, limits, orders)


def way(found: Slowing, reduction: float, *, dynamic: bool = True) -> Braking:
    return next(w for w in found.ways if w.dynamic == dynamic and w.reduction == pytest.approx(reduction))


@pytest.mark.parametrize(
    ("name", "dynamic", "air"),
    [("a", 900, 280), ("b", math.nan, 615), ("c", 590, 230), ("d", 215, 95), ("e", 820, 215)],
)
def test_slow_order_of_the_trial(name: str, dynamic: float, air: float):
    """Worked: handling trial: 23 to 15 mph at 21.8 km, metres at which the brake must be at work: dynamic brake alone,
    and with 7 psi; (b) cannot without air. With the dynamic brake of the trial, capped as on 2.5 %: 10 %."""
    train = TRIAL[name]
    found = slowings(train, hill(), [POSTED], [ORDER], as_on=-0.025)[0]
    assert (found.approach, found.slow) == pytest.approx((23 * MPH, 15 * MPH), rel=1e-4)
    assert found.clear == pytest.approx(22_500 + train.length)
    alone = way(found, 0.0)
    assert ORDER.start - alone.at_work == pytest.approx(dynamic, rel=0.1, nan_ok=True)
    assert alone.cannot == math.isnan(dynamic)
    assert ORDER.start - way(found, 7 * PSI).at_work == pytest.approx(air, rel=0.1)


def test_caps_on_the_grade_there():
    """Law: the head group holds less of its own weight on 1.2 % than on 2.5 %, so braking begins sooner than the trial
    has it."""
    capped = way(slowings(TRIAL["a"], hill(), [POSTED], [ORDER])[0], 0.0)
    trial = way(slowings(TRIAL["a"], hill(), [POSTED], [ORDER], as_on=-0.025)[0], 0.0)
    assert capped.at_work < trial.at_work


@pytest.mark.parametrize("name", list("abcdef"))
def test_ways_in_order(name: str):
    """Law: the more air, the later all of it must be there; the valve is moved a lead before; nothing begins after it
    is at work; what slows from the speed of approach, does so from no less."""
    train = TRIAL[name]
    found = slowings(train, hill(), [POSTED], [ORDER])[0]
    ways = [w for w in found.ways if w.dynamic and not w.cannot]
    assert (np.diff([w.at_work for w in ways]) >= 0).all()
    for w in ways:
        assert w.begins <= w.at_work
        assert w.most == pytest.approx(found.approach)
        if w.reduction:
            assert w.valve is not None
            assert w.at_work - w.valve == pytest.approx(lead_time(train) * found.approach)
    assert len({w.reduction for w in found.ways}) == 1 + len(train.handling.reductions)


@pytest.mark.parametrize("name", list("abcdef"))
@pytest.mark.parametrize("grade", [-0.008, 0.0, 0.004])
def test_driven(name: str, grade: float):
    """Law: driven as told, power off notch by notch, dynamic brake set up, valve moved, the train is at the order no
    faster than its slow speed, to 0.75 mph, as a fifth of the air is still to come; with all there where it says, just
    so."""
    train, terrain = TRIAL[name], slope(grade)
    order, limit = SpeedLimit(15_000, 15_500, 22 * MPH), SpeedLimit(0, 30_000, 35 * MPH)
    line = line_plan(train, terrain, [limit, order])
    found = slow_orders(train, terrain, line, [limit], [order])[0]
    top = line.course.effort.shape[1] - 1
    usable = float(train.handling.usable_dynamic)
    for w in found.ways:
        if w.cannot:
            continue
        air = [Act("air", float(brake_force(train, w.reduction)))]
        share = usable if w.dynamic else 0.0
        done = run(line.course, [*air, Act("dynamic", share)], head=w.at_work, speed=w.most, until=15_000)
        assert done.speed[-1] == pytest.approx(found.slow, abs=0.02 * MPH)
        start, holds = w.begins - 3000, [Act("hold", FREE), Act("notch", float(top))]
        free = line.course._replace(hold=np.full(line.course.hold.size, found.approach))
        comes = run(free, [*holds, Act("dynamic", usable)], head=start, speed=w.most, until=w.power_off)
        if comes.effort[-1] > 0:
            off = power_off_acts(timeline(train, int(comes.notch[-1])), share, w.power_off)
            off += [Act("dynamic", 0.0), Act("hold", math.nan, at=w.power_off)]
        else:  # held back already: the rest is set
            off = [Act("dynamic", usable), Act("hold", math.nan, at=w.at_work), Act("notch", 0.0, w.at_work)]
            off += [Act("dynamic", share, w.at_work)]
        valve = [moved(train, 0.0, w.reduction, at=w.valve, conditions=NOMINAL)] if w.valve is not None else []
        whole = run(free, [*holds, *off, *valve], head=start, speed=w.most, until=15_000)
        assert whole.ended == "stopped" or whole.speed[-1] <= found.slow + 0.75 * MPH


def test_coasting_is_enough_uphill():
    """Law: uphill a train only lets off power; each notch takes its time, and no brake is told as needed before."""
    train, terrain = TRIAL["d"], slope(0.01)
    found = slowings(train, terrain, [SpeedLimit(0, 30_000, 25 * MPH)], [SpeedLimit(9000, 9500, 12 * MPH)])[0]
    first = found.ways[0]
    assert not first.dynamic
    assert first.reduction == 0
    assert not first.cannot
    assert first.power_off <= first.at_work <= way(found, 0.0).at_work


def test_no_dynamic_brake():
    """Law: without a dynamic brake there is no such way, and on 1.2 % nothing but air slows the train."""
    found = slowings(without_dynamic(TRIAL["a"]), hill(), [POSTED], [ORDER])[0]
    assert all(not w.dynamic and w.reduction > 0 for w in found.ways)
    assert found.ways[-1].at_work > found.ways[0].at_work or found.ways[0].cannot


def test_whom_it_binds_and_which_way():
    """Law: orders of another class bind nobody here; a limit that is no lower than the speed held asks for nothing;
    against chainage an order begins at its far end."""
    train = replace(TRIAL["c"], train_class="freight")
    passenger = replace(ORDER, train_class="passenger")
    assert slowings(train, hill(), [POSTED], [passenger]) == ()
    idle = slowings(train, hill(), [POSTED], [replace(ORDER, speed=40 * MPH)])[0]
    assert idle.ways == ()
    level = slope(0.0)
    back = replace(level, direction="against")
    order = SpeedLimit(10_000, 11_000, 15 * MPH)
    found = slowings(train, back, [SpeedLimit(0, 30_000, 30 * MPH)], [order])[0]
    assert (found.start, found.clear) == pytest.approx((19_000, 20_000 + train.length))


def test_posted_limits_that_fall():
    """Law: a posted limit is told where it falls, not where it rises, each by the speed it falls to."""
    limits = [
        SpeedLimit(0, 10_000, 40 * MPH),
        SpeedLimit(10_000, 20_000, 30 * MPH),
        SpeedLimit(20_000, 30_000, 40 * MPH),
    ]
    found = slowings(TRIAL["c"], slope(0.0), limits, [])
    assert [(x.kind, x.start) for x in found] == [("limit", 10_000.0)]
    assert found[0].slow == pytest.approx(28 * MPH)


def test_one_order_after_another():
    """Law: behind an order whose speed it still keeps, a train brakes for the next from that speed, no sooner."""
    next_one = SpeedLimit(23_720, 24_000, 10 * MPH)
    found = slowings(TRIAL["a"], hill(), [POSTED], [ORDER, next_one])
    second = way(found[1], 7 * PSI)
    assert second.most == pytest.approx(15 * MPH, rel=0.01)
    assert 21_800 < second.at_work < found[0].clear
    alone = way(slowings(TRIAL["a"], hill(), [POSTED], [next_one])[0], 7 * PSI)
    assert alone.most > second.most


def test_farther_back_the_slower_the_order():
    """Law: the slower the order, the sooner braking begins, whatever the way."""
    found = [slowings(TRIAL["a"], hill(), [POSTED], [replace(ORDER, speed=v * MPH)])[0] for v in (20, 17, 12)]
    for reduction in (0.0, 7 * PSI, 15 * PSI):
        assert (np.diff([way(x, reduction).at_work for x in found]) < 0).all()
