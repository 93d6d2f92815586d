"""Effort above the continuous one: how long it takes, and when it is enough."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from profiler.catalogue import CATALOGUE
from profiler.cited import given
from profiler.mechanics.places import Climb, balancing_speeds, head_positions, holding_back, slowest_speed
from profiler.mechanics.power_needed import climb_speeds, helper_districts
from profiler.mechanics.short_time import short_time_spent
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.traction import short_time
from profiler.train import Train
from profiler.units import MPH
from tests.trains import LOADED, UNIT, train_of

DC = CATALOGUE["DC six-axle locomotive"]


def hill(*ends: tuple[float, float], steep: float) -> Terrain:
    """20 km nearly level, but for climbs of one grade between some places [m]."""
    way = np.arange(0.0, 20_001.0, 10.0)
    on = np.any([(way >= a) & (way < b) for a, b in ends], axis=0)
    return Terrain(way, np.r_[0.0, np.cumsum(10 * np.where(on, steep, 0.0)[:-1])], 0 * way)


def minutes(train: Train, allowed: float) -> Train:
    handling = dataclasses.replace(train.handling, short_time=given(allowed, "minutes"))
    return dataclasses.replace(train, handling=handling)


TRAIN = train_of("dc", (DC, 3), (LOADED, 40))
STEEP = 0.0225
CLIMB = Climb(kind="sustained_grade", start=5000.0, end=9000.0)


def test_below_its_continuous_speed():
    """Published: S15: a typical DC unit is good for hours from 11 mph on; an AC unit at any speed (S13)."""
    assert short_time(DC, np.array([5, 11, 20]) * MPH).tolist() == [True, False, False]
    assert not short_time(UNIT, 0.0).any()


def test_time_on_one_grade():
    """Worked: on one grade it goes at its balancing speed, so length over speed, for as long as enough of it lies on
    the grade to bring it below 11 mph; by alternating current none of it is short-time effort."""
    terrain = hill((5000.0, 9000.0), steep=STEEP)
    head = head_positions(0.0, terrain.length)
    speed = balancing_speeds(TRAIN, holding_back(terrain, TRAIN, head))
    whole = float(speed.min())
    assert 0 < whole < slowest_speed(TRAIN)
    spent = short_time_spent(terrain, TRAIN, head)
    slow = head[speed < slowest_speed(TRAIN) * (1 - 1e-9)]
    assert (spent > 0).sum() == slow.size
    assert (slow[-1] - slow[0]) / slowest_speed(TRAIN) < spent.max() < (slow[-1] - slow[0] + 40) / whole
    lying = 4000.0 - TRAIN.length  # all of it on the grade
    assert spent.max() > lying / whole
    electric = train_of("ac", (UNIT, 2), (LOADED, 40))
    assert not short_time_spent(terrain, electric, head).any()


def test_stretches_apart_cool():
    """Law: two climbs farther apart than the train is long count each for itself, nearer ones together; where it
    stalls it takes for ever."""
    apart = hill((3000.0, 6000.0), (10_000.0, 13_000.0), steep=STEEP)
    head = head_positions(0.0, apart.length)
    one, two = (short_time_spent(hill(*ends, steep=STEEP), TRAIN, head).max() for ends in (
        [(3000.0, 6000.0)], [(3000.0, 6000.0), (6060.0, 9060.0)]))  # fmt: skip
    assert short_time_spent(apart, TRAIN, head).max() == pytest.approx(one)
    assert two > 1.5 * one
    assert math.isinf(short_time_spent(hill((3000.0, 6000.0), steep=0.05), TRAIN, head).max())


@pytest.mark.parametrize("share", [0.0, 0.99, 1.01])
def test_minutes_allowed_are_enough(share: float):
    """Law: a climb is done, and needs no helper, if it takes no longer below the continuous speed than the train file
    allows; with nothing allowed, or a little too little, a helper district lies where that is so."""
    terrain = hill((5000.0, 9000.0), steep=STEEP)
    (found,) = climb_speeds(terrain, TRAIN, [CLIMB])
    train = minutes(TRAIN, share * found.short_time / 60)
    (speed,) = climb_speeds(terrain, train, [CLIMB])
    assert (speed.short_time, speed.speed) == (found.short_time, found.speed)
    assert speed.enough == (share > 1)
    districts = helper_districts(terrain, train)
    assert len(districts) == (0 if share > 1 else 1)
    if districts:
        assert districts[0].start < speed.head < districts[0].end + 20


def test_no_time_helps_a_stall_or_an_ac_unit():
    """Law: what allows heat for a while makes no train stronger, and concerns no unit that has no limit by heat."""
    terrain = hill((5000.0, 9000.0), steep=0.05)
    (speed,) = climb_speeds(terrain, minutes(TRAIN, 120), [CLIMB])
    assert not speed.enough
    assert helper_districts(terrain, minutes(TRAIN, 120))
    electric = minutes(train_of("ac", (UNIT, 2), (LOADED, 60)), 120)
    (speed,) = climb_speeds(terrain, electric, [CLIMB])
    assert speed.speed < slowest_speed(electric)
    assert (speed.short_time, speed.enough) == (0, False)
