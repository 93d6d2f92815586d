"""Train air at rest: what holds, how it lets go, how the pipe is charged again."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from profiler.mechanics.air import (
    braked_retardation,
    cast_iron_friction,
    charged_after,
    composition_friction,
    customary_reductions,
    cylinder_pressure,
    farthest_feed,
    friction_factor,
    full_service_force,
    full_service_forces,
    holding_reduction,
    independent_force,
    released_after,
    service_share,
)
from profiler.mechanics.air_acts import brake_force, moved
from profiler.mechanics.conditions import NOMINAL
from profiler.units import BAR, GRAVITY, KIP, KMH, MPH, PSI, SHORT_TON, TONNE
from tests.trains import TRIAL, A, B, D, F


@pytest.mark.parametrize(
    ("distance", "begins", "half", "most", "charged", "nearly"),
    [
        (568, 6, 16, 50, 0.9, 1.2),
        (1100, 11, 26, 75, 2.7, 3.5),
        (1458, 15, 32, 91, 4.2, 5.5),
        (1956, 20, 42, 114, 6.8, 9),
        (3000, 30, 61, 162, 13, 17),
    ],
)
def test_release_and_charging(distance: float, begins: float, half: float, most: float, charged: float, nearly: float):
    """Worked: handling trial: seconds until the rear begins to let go, and has let go to 50 and 95 %; minutes until
    90 and 95 % of the air is made up, by distance to the nearest feeding point."""
    assert [released_after(A, distance, x) for x in (0, 0.5, 0.95)] == pytest.approx([begins, half, most], abs=1.0)
    found = [charged_after(distance, x) / 60 for x in (0.9, 0.95)]
    assert found == pytest.approx([charged, nearly], rel=0.05, abs=0.06)


def test_where_the_pipe_is_fed():
    """Worked: fed at both ends the farthest car is half the train away, fed at the head all of it."""
    assert farthest_feed(A) == pytest.approx(A.length / 2)
    assert farthest_feed(B) == pytest.approx(B.length)


@pytest.mark.parametrize(("name", "psi"), [("a", 12), ("b", 12), ("c", 11), ("d", 7), ("e", 8)])
def test_reduction_that_holds(name: str, psi: float):
    """Worked: handling trial: whole psi that keep the train at rest on 1.3 %; 7 is the least there is."""
    train = TRIAL[name]
    force = train.mass * GRAVITY * 0.013
    found = holding_reduction(train, force)
    assert found / PSI == pytest.approx(psi)
    brakes = full_service_forces(train).sum()
    assert brakes * service_share(train, found) >= force
    if psi > 7:
        assert brakes * service_share(train, found - PSI) < force


def test_reduction_that_holds_graduated():
    """Worked: handling trial: 0.9 bar (0.901 before rounding) keeps the metric train at rest on 30 ‰; 476 kN full."""
    assert holding_reduction(F, F.mass * GRAVITY * 0.030) / BAR == pytest.approx(0.9, abs=0.11)
    assert full_service_forces(F).sum() == pytest.approx(476e3, rel=0.01)


def test_reduction_that_nothing_holds():
    """Law: what full service does not hold, no reduction holds; more force never needs less."""
    brakes = float(full_service_forces(A).sum())
    assert math.isinf(holding_reduction(A, 1.01 * brakes))
    found = [holding_reduction(A, share * brakes) for share in np.linspace(0.05, 0.99, 40)]
    assert (np.diff(found) >= 0).all()


def test_full_service_of_a_car():
    """Worked: reference example 5-A (calc): 143 short tons, 12 %, friction 0.30: 10,296 lbf at full service; here
    11 % and 84 cars, so 84 x 143 x 2 x 0.11 x 0.30 kips. With 6 psi the quick-service floor does not matter: 15 psi in
    the cylinder of 64.3."""
    assert full_service_forces(A).sum() / KIP == pytest.approx(84 * 143 * 2 * 0.11 * 0.30)
    assert service_share(A, 6 * PSI) == pytest.approx(15 / (90 / 1.4))
    assert service_share(A, 3 * PSI) == pytest.approx(10 / (90 / 1.4))  # the floor


def test_braked_weight():
    """Worked: UIC 544-1 (M8): λ 65 stops from 100 km/h in 704.5 m; without 2 s of free run 0.594 m/s²."""
    retardation = braked_retardation(0.65)
    assert retardation == pytest.approx(0.594, abs=0.001)
    v = 100 * KMH
    assert 2 * v + v * v / (2 * retardation) == pytest.approx(704.5, abs=0.1)


def test_independent_brake():
    """Worked: handling trial: 0.09 W, 37 kip each of 208 short tons: 112 kip of three units, 187 of five."""
    assert independent_force(A) / KIP == pytest.approx(112, abs=0.5)
    assert independent_force(A, everywhere=True) / KIP == pytest.approx(187, abs=0.5)
    assert independent_force(A) / GRAVITY / 0.013 / SHORT_TON == pytest.approx(4300, rel=0.01)


@pytest.mark.parametrize("train", [A, D, F], ids=lambda t: t.name)
def test_air_that_is_let_go(train):
    """Law: it starts from the reduction's force, never grows, and ends at nothing."""
    released = moved(train, 0.6 * BAR, 0.0, conditions=NOMINAL)
    left = float(brake_force(train, 0.6 * BAR)) + np.asarray(released.value)
    assert left[0] == pytest.approx(full_service_forces(train).sum() * service_share(train, 0.6 * BAR))
    assert (np.diff(left) <= 1e-9).all()
    assert left[-1] < 1e-3 * left[0]


def test_pressure_over_reduction():
    """Worked: handling trial: 7 to 15 psi give 17.5 to 37.5 in the cylinder, from absolute pressures 10 to 34 (10 is
    the quick-service floor); full service of 90 psi gives the same 64.3 either way."""
    reduction = PSI * np.array([7, 8, 10, 12, 15])
    high, low = (cylinder_pressure(reduction, 90 * PSI, low=x) / PSI for x in (False, True))
    assert high == pytest.approx([17.5, 20, 25, 30, 37.5])
    assert low == pytest.approx([10, 11, 18, 24, 34], abs=0.35)
    for case in (False, True):
        assert float(cylinder_pressure(26 * PSI, 90 * PSI, low=case)) / PSI == pytest.approx(90 / 1.4)
        assert (np.diff(cylinder_pressure(PSI * np.arange(0, 40, 0.5), 90 * PSI, low=case)) >= 0).all()


def test_customary_reductions():
    """Worked: whole psi from 7 to full service of 25.7; half a bar, then tenths up to 1.5."""
    assert customary_reductions(A) / PSI == pytest.approx([*range(7, 26), 90 * (1 - 1 / 1.4)])
    assert customary_reductions(F) / BAR == pytest.approx(np.arange(5, 16) / 10)


def test_friction_over_speed():
    """Worked: handling trial: cast iron at 42 km/h has 1.17 times the friction of the whole stop from 100 km/h, at
    20 km/h 1.5; reference sheet: composition 0.30 up to 40 mph, 0.25 at 70. The law itself gives the same ratio."""
    wagon, ore = F.blocks[1].vehicle, A.blocks[1].vehicle
    speed = np.array([42, 20]) * KMH
    ratio = friction_factor(wagon, speed)
    assert ratio == pytest.approx([1.17, 1.5], rel=0.02)
    assert composition_friction(np.array([0, 40, 70]) * MPH) == pytest.approx([0.30, 0.30, 0.25])
    assert friction_factor(ore, 30 * MPH) == 1
    two = cast_iron_friction(speed, 2 * TONNE * GRAVITY)
    assert two[1] / two[0] == pytest.approx(ratio[1] / ratio[0])
    v = np.linspace(0, 100, 100_001) * KMH  # a stop from 100 km/h at this friction is as long as at the mean
    assert np.trapezoid(v / friction_factor(wagon, v), v) == pytest.approx((100 * KMH) ** 2 / 2, rel=1e-5)


def test_cast_iron_with_a_braking_ratio():
    """Law: retardation is what the law of the shoes says, each wheel's shoe pressed with its part of the ratio."""
    ore = A.blocks[1].vehicle
    old = replace(ore, brake=replace(ore.brake, shoe="cast iron"))
    press = ore.brake.braking_ratio * ore.mass * GRAVITY
    found = full_service_force(old) * friction_factor(old, 30 * KMH)
    assert found == pytest.approx(press * float(cast_iron_friction(30 * KMH, press / 8)))
    assert found < full_service_force(ore)
