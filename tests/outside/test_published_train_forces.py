"""A train on the terrain against worked values and closed forms of the trade. None has a published source of its
own: they are arithmetic from published rules (20 lbf per short ton and percent: US Army TR0603), or mechanics."""

from __future__ import annotations

import numpy as np
import pytest

from profiler.mechanics.couplers import Vehicles, coupler_forces
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.under_train import Spread, under_train
from profiler.units import FOOT, KIP, PERCENT, SHORT_TON


def crest(climb: float, fall: float) -> Terrain:
    """A sharp crest 12 km along."""
    way = np.arange(0.0, 24_005.0, 10.0)
    return Terrain(way, np.minimum(climb * way, climb * 12_000 + fall * (12_000 - way)), np.zeros(way.size))


def test_straddling_a_crest():
    """Worked: 15,042 short tons, 112 cars in 6,676 ft (size of a train in TSB Canada report R19C0015;
    figures by arithmetic) astride a crest of +1.0 % and -2.2 %, by distance of the head past it: table of the
    reference sheet, section 4, level where 1.0/3.2 of it is over, by 20 lbf per short ton and percent (TR0603)."""
    mass, length = 15_042 * SHORT_TON, 6676 * FOOT
    spread = Spread(np.array([0.0, length]), np.array([mass / length]))
    past = np.array([0, 1000, 2086.25, 3338, 5007, 6676]) * FOOT
    found = under_train(crest(0.01, 0.022), spread, 12_000 + past)
    assert found.grade / PERCENT == pytest.approx([1.0, 0.521, 0.0, -0.6, -1.4, -2.2], abs=5e-4)
    assert found.grade_force / KIP == pytest.approx([300.840, 156.639, 0, -180.504, -421.176, -661.848], abs=0.02)


def level(grade: float = 0.0) -> Terrain:
    way = np.arange(0.0, 10_005.0, 10.0)
    return Terrain(way, grade * way, np.zeros(way.size))


def equal_cars(count: int) -> Vehicles:
    mass = np.full(count, 130_000.0)
    return Vehicles(16.0 * np.arange(count + 1), mass, mass)


def test_a_steady_pull():
    """Law: closed form 9-D of the reference sheet (calc): of a pull P on the first of N equal cars the coupler in front
    of car j carries P (N - j + 1)/N, whatever their resistance."""
    count, pull = 80, 600e3
    effort = np.r_[pull, np.zeros(count - 1)]
    for resistance in (0.0, 2000.0):
        found = coupler_forces(
            level(), equal_cars(count), np.full(count, resistance), effort, np.array([5000.0]), full=True
        )
        j = np.arange(2, count + 1)
        assert found.force[0] == pytest.approx(pull * (count - j + 1) / count)
        assert found.acceleration[0] == pytest.approx((pull - count * resistance) / (count * 130_000))


def test_retarded_alike():
    """Law: closed form 9-E (calc): the same brake force on every car, and on a locomotive in proportion, leaves every
    coupler without force."""
    vehicles = equal_cars(60)
    mass = vehicles.mass.copy()
    mass[0] *= 1.5
    vehicles = Vehicles(vehicles.edge, mass, mass)
    brake = 0.2 * mass
    found = coupler_forces(level(), vehicles, brake, np.zeros(60), np.array([5000.0]))
    assert found.force == pytest.approx(np.zeros((1, 59)), abs=1e-6)


def test_coasting_on_one_grade():
    """Law: closed form 9-G (calc): a train wholly on one grade, coasting, with resistance in proportion to weight, has
    no force in any coupler."""
    vehicles = equal_cars(60)
    found = coupler_forces(level(-0.017), vehicles, 0.02 * vehicles.mass, np.zeros(60), np.array([2000.0, 9000.0]))
    assert found.force == pytest.approx(np.zeros((2, 59)), abs=1e-4)
    assert found.acceleration == pytest.approx(0.017 * 9.80665 - 0.02, rel=1e-9)
