"""Air, dynamic brake and heat against published figures and worked examples.

Ids as in the project's list of sources (`profiler.cited.SOURCES`): S29: study card, full service; S30: NTSB RAR-90/02;
S32: forum text on empty and loaded ratios; S35: study card, 540 ft/s; S39, S40: retaining valves; S41: EU wagon TSI;
S42: TSB Canada R19C0015; S43, S44: TSB Canada R11Q0056 and its hand-brake table; M4: makers' pamphlets; M8: UIC 544-1,
from memory. "Calc" examples are arithmetic from those figures. Tolerance 0.5 %: examples take 64 psi for full
service, this program 90/1.4.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from profiler.catalogue import CATALOGUE
from profiler.cited import given
from profiler.mechanics.air import (
    FAST_STOP_FROM,
    STOP_FROM,
    braked_retardation,
    customary_reductions,
    cylinder_pressure,
    full_service_reduction,
    rated_stop,
    ratio_as_loaded,
)
from profiler.mechanics.air_applied import RETAINED, air_force, air_kept, filled
from profiler.mechanics.dynamic import BINDING, group_dynamics, unit_dynamic
from profiler.mechanics.thermal import TSI_REFERENCE, descent_heat, wheel_power
from profiler.mechanics.under_train import spread_of, under_train
from profiler.train import GRADUATED_PIPE, Limits, Train
from profiler.units import FOOT, HORSEPOWER, KILOMETRE, KIP, KMH, MPH, POUND_FORCE, PSI, SHORT_TON
from profiler.vehicle import Vehicle
from tests.trial import slope, train_of

AC, DC = CATALOGUE["AC six-axle locomotive"], CATALOGUE["DC six-axle locomotive"]


def car(short_tons: float, ratio_pct: float = 12) -> Vehicle:
    """A four-axle car of a weight and a braking ratio."""
    base = CATALOGUE["ore car, loaded"]
    return replace(
        base, mass=given(short_tons, "short_tons"), brake=replace(base.brake, braking_ratio=given(ratio_pct, "pct"))
    )


def cars_alone(count: int, vehicle: Vehicle) -> Train:
    """Cars behind a unit that weighs next to nothing."""
    light = replace(AC, mass=given(1, "kg"), tare=given(1, "kg"))
    return train_of((1, light), (count, vehicle))


def gravity(train: Train, grade: float) -> float:
    """Weight along a grade. [lbf]"""
    at = np.array([train.length + 100.0])
    return float(under_train(slope(grade), spread_of(train), at).grade_force[0]) / POUND_FORCE


def test_force_of_one_car():
    """Published: 5-A (calc): 286,000 lb, 12 %, 0.30: 10,296 lbf at full service, 72.0 lbf per short ton; 2413 lbf
    after 6 psi, 15 psi in the cylinder."""
    train = cars_alone(1, car(143))
    full = float(air_force(train, full_service_reduction(train))) / POUND_FORCE
    assert (full, full / 143) == pytest.approx((10_296, 72.0), rel=1e-4)
    assert float(air_force(train, 6 * PSI)) / POUND_FORCE == pytest.approx(2413, rel=0.005)


@pytest.mark.parametrize(("pipe", "equalised", "reduction"), [(80, 57.1, 22.9), (90, 64.3, 25.7), (100, 71.4, 28.6)])
def test_full_service(pipe: float, equalised: float, reduction: float):
    """Published: S29: 26 psi from 90 psi, and about 64 psi then (M4); others by 2.5 : 1 (calc)."""
    train = replace(cars_alone(1, car(143)), pipe_pressure=given(pipe, "psi"))
    assert full_service_reduction(train) / PSI == pytest.approx(reduction, abs=0.06)
    assert float(cylinder_pressure(40 * PSI, pipe * PSI)) / PSI == pytest.approx(equalised, abs=0.06)
    if pipe == 90:
        assert customary_reductions(train)[-1] / PSI == pytest.approx(26, abs=0.5)


@pytest.mark.parametrize(("feet", "emergency", "service"), [(6676, 7.4, 12.4), (10_000, 11.1, 18.5)])
def test_propagation(feet: float, emergency: float, service: float):
    """Published: 5-B (calc): an emergency at 900 ft/s reaches the rear of 6676 ft in 7.4 s and of 10,000 ft in 11.1;
    a service application at 540 ft/s (S35) in 12.4 and 18.5; the sheet's 600 ft/s is the fast end of 500 to 600."""
    train, time = cars_alone(1, car(143)), np.arange(0.0, 30.0, 0.01)
    for sooner, expected in ((True, emergency), (False, service)):
        began = time[np.argmax(filled(train, np.array([feet * FOOT]), time, emergency=sooner)[:, 0] > 0)]
        assert began == pytest.approx(expected, rel=0.006)


def test_reference_descent():
    """Published: S41: 21 ‰ at 70 km/h over 40 km with 22.5 t per axle: 45 kW per wheel for 34 min. 5-C (calc): gravity
    alone gives 45.06 kW and 34.3 min."""
    base = CATALOGUE["four-axle bulk wagon, loaded"]
    wagon = replace(base, mass=given(90, "t"))
    train = replace(train_of((1, AC), (1, wagon)), air_brake="graduated release", pipe_pressure=GRADUATED_PIPE)
    need = wagon.mass * 9.81 * 0.021
    share = need / float(air_force(train, full_service_reduction(train)))
    way = np.linspace(0, 40 * KILOMETRE, 401)
    heat = descent_heat(train, way, share, 70 * KMH)
    assert heat.limit is TSI_REFERENCE
    assert heat.most_power / 1000 == pytest.approx(45.06, abs=0.01)
    assert heat.total / heat.most_power / 60 == pytest.approx(34.3, abs=0.05)
    assert heat.most_power == pytest.approx(heat.limit.power, rel=0.005)
    assert heat.share == pytest.approx(1, rel=0.015)


def test_tons_per_operative_brake():
    """Published: 5-D: 8900 trailing short tons on 69 cars (S30): 128, cut from 128.99."""
    train = cars_alone(69, car(8900 / 69))
    assert int(train.trailing_mass / SHORT_TON / train.operative_brakes) == 128


def test_retainers_did_not_hold():
    """Published: 5-E: S42: 15,042 short tons, 112 cars on 2.2 %: gravity 661,848 lbf (calc); 84 retainers of 20 psi
    (S39, S40) did not hold it; at 12 %, an assumption, they would have given four tenths."""
    train = cars_alone(112, car(15_042 / 112))
    assert train.trailing_mass / SHORT_TON / 112 == pytest.approx(134.3, abs=0.05)
    force = gravity(train, 0.022)
    assert force == pytest.approx(661_848, rel=1e-4)
    assert RETAINED["HP"] == pytest.approx(20 * PSI)
    held = air_kept(train, 20 * PSI, np.array([1800.0]), cars=84 / 112)[0] / POUND_FORCE
    assert 0.3 * force < held < 0.5 * force


def test_hand_brakes():
    """Published: 5-F: S43: 10,070 short tons on 1.3 %: 261,820 lbf; the table asked for 57 hand brakes (S44), so
    4593 lbf each: less than what full service gives such a car."""
    train = cars_alone(112, car(10_070 / 112))
    each = gravity(train, 0.013) / 57
    assert each == pytest.approx(4593, rel=1e-3)
    assert each < float(air_force(train, 26 * PSI)) / POUND_FORCE / 112


def test_air_beside_dynamic():
    """Published: 5-G (calc from S42): with 3 units of 210 short tons and 98,000 lbf of dynamic brake each at 15 mph,
    1.45 and 3 lbf per short ton: 665,867 lbf to hold, 371,867 of it by air: 22 psi in the cylinder, a reduction of
    8.8 psi, 16.6 brake horsepower per wheel."""
    assert AC.dynamic
    unit = replace(
        AC, mass=given(210, "short_tons"), dynamic=replace(AC.dynamic, peak=given(98, "kips"), adhesion=given(0.3))
    )
    train = train_of((3, unit), (112, car(15_042 / 112)))
    train = replace(train, limits=Limits(buff=given(400, "kips"), dynamic_axles=given(40)))
    hold = gravity(train, 0.022) - 15_042 * 1.45 - 630 * 3
    assert hold == pytest.approx(665_867, rel=1e-4)
    air = hold * POUND_FORCE - float(group_dynamics(train, 15 * MPH, -0.022).total)
    assert air / POUND_FORCE == pytest.approx(371_867, rel=1e-3)
    reduction = np.interp(air, air_force(train, r := PSI * np.linspace(7, 20, 1301)), r)
    assert reduction / PSI == pytest.approx(8.8, abs=0.05)
    assert float(cylinder_pressure(reduction, train.pipe_pressure)) / PSI == pytest.approx(22, abs=0.1)
    assert float(wheel_power(train, reduction, 15 * MPH)) / HORSEPOWER == pytest.approx(16.6, rel=0.005)


def test_all_by_air():
    """Published: 5-H (calc): 143 short tons, 8 wheels, all gravity of 2.2 % by air: 41.9 brake horsepower per wheel at
    20 mph, 31.5 at 15."""
    train = cars_alone(1, car(143))
    force = gravity(train, 0.022)
    assert force == pytest.approx(6292, rel=1e-4)
    reduction = np.interp(force * POUND_FORCE, air_force(train, r := PSI * np.linspace(7, 25, 1801)), r)
    power = wheel_power(train, reduction, np.array([20, 15]) * MPH) / HORSEPOWER
    assert power == pytest.approx([41.9, 31.5], abs=0.06)


def test_older_dynamic_brake():
    """Published: 6-A: S30: 10,000 lbf per axle at 23 mph and 5700 at 40: 613 and 608 hp, equal within 1 %."""
    per_axle = unit_dynamic(DC, np.array([23, 40]) * MPH, rail="dry") / 6 / POUND_FORCE
    assert per_axle == pytest.approx([10_000, 5700], rel=0.01)
    assert per_axle[0] * 23 / 375 == pytest.approx(613, abs=0.5)


def test_dynamic_share():
    """Published: 6-B: S30: 18 axles hold 180,000 lbf at 23 mph; 8900 short tons on 2.2 % weigh 391,600: 46 %."""
    train = train_of((3, DC), (69, car(8900 / 69)))
    found = group_dynamics(train, 23 * MPH, -0.022)
    assert BINDING[int(found.binding[0])] == "nothing"
    assert found.total / KIP == pytest.approx(180, rel=1e-6)
    trailing = gravity(cars_alone(69, car(8900 / 69)), 0.022)
    assert trailing == pytest.approx(391_600, rel=1e-4)
    assert found.total / POUND_FORCE / trailing == pytest.approx(0.46, abs=0.005)


@pytest.mark.parametrize(
    ("percent", "speed", "metres", "mean"), [(65, STOP_FROM, 704.5, 0.548), (100, FAST_STOP_FROM, 562.9, 0.987)]
)
def test_braked_weight(percent: float, speed: float, metres: float, mean: float):
    """Published: UIC 544-1 (M8, from memory): λ 65 stops from 100 km/h in 704.5 m, λ 100 from 120 km/h in 562.9 m."""
    found = rated_stop(percent / 100, speed)
    assert found == pytest.approx(metres, abs=0.05)
    assert speed**2 / (2 * found) == pytest.approx(mean, abs=0.001)
    developed = braked_retardation(percent / 100, speed)
    assert 2 * speed + speed**2 / (2 * developed) == pytest.approx(metres, abs=0.05)


def test_empty_and_loaded():
    """Published: S32: shoes that press 60,000 lb with 18 % are 4.1 % of 263,000 lb: single-capacity brakes."""
    assert ratio_as_loaded(0.18, 60_000, 263_000) == pytest.approx(0.041, abs=0.0005)
