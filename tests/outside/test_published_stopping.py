"""Stops, and trains that could not be held, against what is published.

Ids as in the project's list of sources (`profiler.cited.SOURCES`): M8: UIC 544-1, from memory; S30: NTSB RAR-90/02,
San Bernardino 1989; S42: TSB Canada R19C0015, Yoho 2019; S43, S44: TSB Canada R11Q0056 and its hand-brake table; S62:
public safety pages, weak. Accidents are checked as direction and order of size: braking ratios of their cars are
assumptions.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import pytest

from profiler.cited import given
from profiler.handling.descent_plan import plan_descents
from profiler.handling.friction_alone import EFFECTIVE_SHARE, standings
from profiler.handling.speeds import speeds_along
from profiler.handling.stopping import Stops
from profiler.handling.what_if import WhatIf, what_ifs
from profiler.mechanics.air import STOP_FROM, rated_stop
from profiler.mechanics.changed import cut_out, without_dynamic
from profiler.mechanics.course import course_of
from profiler.mechanics.speed_limits import HeadLimit, head_limit
from profiler.mechanics.terrain import Terrain
from profiler.route import SpeedLimit
from profiler.train import Train
from profiler.units import HORSEPOWER, KILOMETRE, MILE, MPH
from tests.outside.test_published_brakes import AC, DC, car
from tests.trial import slope, train_of, trial_trains

PLACE = 5000.0


def posted(train: Train, terrain: Terrain, hold: float) -> HeadLimit:
    """One limit, so that a speed [m/s] is held."""
    return head_limit([SpeedLimit(0, terrain.length, hold + float(train.handling.margin))], terrain, train.length)


def stops_on(train: Train, grade: float, hold: float) -> Stops:
    terrain = slope(grade)
    course = course_of(train, terrain)
    return Stops(train, course, speeds_along(course, train, posted(train, terrain, hold)))


def described(train: Train, grade: float, hold: float) -> WhatIf:
    """What if on one long grade."""
    terrain = slope(grade)
    limit = posted(train, terrain, hold)
    return what_ifs(train, terrain, plan_descents(train, terrain, limit), limit)[0]


@pytest.mark.parametrize(("shoe", "tolerance"), [("even", 0.02), ("composition", 0.02), ("cast iron", 0.04)])
def test_braked_weight_run_on_the_level(shoe: str, tolerance: float):
    """Published: UIC 544-1 (M8): λ 65 stops from 100 km/h on the level in 704.5 m. Wagons of that braked weight, run
    with delay and filling in position P and their own running resistance, behind a unit that weighs nothing."""
    train = trial_trains()["f"]
    engine, wagon = (block.vehicle for block in train.blocks)
    light = replace(engine, mass=given(1, "kg"), tare=given(1, "kg"))
    wagon = replace(wagon, brake=replace(wagon.brake, shoe="cast iron" if shoe == "even" else shoe))  # type: ignore[arg-type]
    handling = replace(train.handling, margin=given(0, "kmh"))
    blocks = (replace(train.blocks[0], vehicle=light), replace(train.blocks[1], vehicle=wagon))
    stops = stops_on(replace(train, blocks=blocks, handling=handling), 0.0, STOP_FROM)
    if shoe == "even":
        stops = replace(stops, course=stops.course._replace(friction=0 * stops.course.friction + 1))
    assert stops.speed("service", PLACE) == pytest.approx(STOP_FROM)
    assert stops.rests("service", PLACE) - PLACE == pytest.approx(rated_stop(0.65), rel=tolerance)


@pytest.mark.parametrize(("train", "mph"), [("a", 55), ("c", 55), ("a", 50)])
def test_order_of_a_freight_trains_stop(train: str, mph: float):
    """Published: 8-F: a freight train from 55 mph takes a mile or more in an emergency (S62, weak, order of size). With
    braking ratios of 11 and 12 % it is shorter here, 0.5 to 0.65; full service with weak shoes is about a mile."""
    stops = stops_on(trial_trains()[train], 0.0, mph * MPH)
    assert 0.5 < (stops.rests("emergency", PLACE) - PLACE) / MILE < 2
    assert 0.8 < (stops.rests("service", PLACE, weak=True) - PLACE) / MILE < 2


@cache
def san_bernardino(ratio_pct: float) -> WhatIf:
    """8,900 short tons on 69 cars behind three older units whose dynamic brake works, on 2.2 %, meant for 30 mph."""
    train = replace(train_of((3, DC), (69, car(8900 / 69, ratio_pct))), units="us")
    return described(train, -0.022, 30 * MPH)


@pytest.mark.parametrize("ratio", [8.5, 10.0, 12.0])
def test_san_bernardino(ratio: float):
    """Published: S30: 6-B: three units hold 46 % of the weight; rules then gave such a train 25 or 20 mph, and 15 with
    not enough dynamic brake. At 30 mph (from memory) it is not held; the speed at which it could be is between 15 and
    25 mph; without dynamic brake wheels stand no more than about 15, and more than half of full service is needed. With
    weak shoes and single-capacity brakes of 8.5 % nothing holds and no emergency stops it."""
    found = san_bernardino(ratio)
    top = found.outcome("as_planned").top / MPH
    assert 15 < top < 25
    assert found.speed / MPH == pytest.approx(top)  # the plan goes no faster
    lost = found.lost
    assert lost is not None
    assert not lost.cool
    assert lost.cool_speed / MPH == pytest.approx(15, abs=1)
    assert lost.alone.share > EFFECTIVE_SHARE
    if ratio == 8.5:
        assert math.isnan(found.outcome("weak_shoes").top)
        assert lost.weak_emergency == math.inf


@cache
def yoho() -> Train:
    """15,042 short tons, 112 cars of 12 %, three units."""
    return replace(train_of((3, AC), (112, car(15_042 / 112))), units="us")


def test_yoho_as_it_should_have_been():
    """Published: S42: limit 15 mph on 2.2 %; 5-G (calc): with all its brakes it is held there, 16.6 brake horsepower
    on a wheel with the whole dynamic brake; with what a plan uses of it, more. Friction alone needs more than the
    customary half of full service, and wheels stand no 21 mph, the speed at which the emergency was taken."""
    found = described(yoho(), -0.022, 15 * MPH)
    plan, lost = found.outcome("as_planned"), found.lost
    assert plan.held
    assert plan.top / MPH == pytest.approx(15)
    assert 16.6 < plan.heat / HORSEPOWER < 25
    assert lost is not None
    assert lost.alone.share > EFFECTIVE_SHARE
    assert lost.cool_speed / MPH < 21
    assert math.isfinite(lost.emergency)


def test_yoho_stopped_on_the_grade():
    """Published: S42: stopped on 2.2 %, its air to be charged again, retainers on 84 cars did not hold it. The air of
    112 cars is back in minutes, the train let go is at speed sooner; hand brakes by the measure of S44 would have been
    needed on more cars than it had."""
    stood = described(yoho(), -0.022, 15 * MPH).standing
    assert stood.charges_in_time == (False, False)
    assert stood.hand_brakes > 84
    assert stood.hand_brakes > stood.cars
    assert not stood.independent_holds
    assert stood.notch == 0


@pytest.mark.parametrize("gone", [0.5, 0.6, 0.7])
def test_yoho_in_the_cold(gone: float):
    """Published: S42: with its cylinders leaking at −25 °C it ran away to 53 mph. With half and more of its brakes
    gone, no reduction holds it without dynamic brake, no emergency stops it, and no speed is told at which it could."""
    train = cut_out(yoho(), gone)
    stops = stops_on(train, -0.022, 15 * MPH)
    assert stops.rests("emergency", PLACE) == math.inf
    assert stops.begins("emergency", PLACE) == -math.inf
    alone = described(without_dynamic(train), -0.022, 15 * MPH).outcome("as_planned")
    assert not alone.held
    assert math.isnan(alone.top)


def test_hand_brakes_of_the_table():
    """Published: 5-F: S43, S44: 10,070 short tons, 112 cars on 1.3 %: 57 hand brakes asked. The force of one is taken
    from that, so this shows the arithmetic only."""
    light = replace(AC, mass=given(1, "kg"), tare=given(1, "kg"))
    train, terrain = train_of((1, light), (112, car(10_070 / 112))), slope(-0.013)
    found = standings(train, terrain, course_of(train, terrain), [10 * KILOMETRE], [20 * MPH])[0]
    assert found.hand_brakes == 57
