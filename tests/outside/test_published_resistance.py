"""Train resistance against published figures and worked examples.

Ids as in the project's list of sources (`profiler.cited.SOURCES`). "Calc" examples are arithmetic from the
formula beside them, done apart from this code: they check units and terms, not the formula's truth.
"""

from __future__ import annotations

import numpy as np
import pytest

from profiler.curve_resistance import per_degree, roeckl
from profiler.mechanics.resistance import (
    CURVE_START_FACTOR,
    canadian_national_1990,
    davis_1926,
    grade_force,
    modified_davis_1970,
)
from profiler.units import FOOT, GRAVITY, KMH, MPH, PERMILLE, POUND_FORCE, SHORT_TON, TONNE, UNITS, curvature_of_degree

SPEEDS = np.arange(0, 70, 10) * MPH
LB_PER_TON = POUND_FORCE / SHORT_TON


def test_a_7200_ton_train_at_50_mph():
    """Published: S2 (Car and Locomotive Cyclopedia 1970, hand work), example 1-A: 1.3 W + 29 n + 0.045 V W +
    0.044 V²: 9360 + 5840.6 + 16 200 + 5538 lb; sum 5.130 lb per short ton and 4925 rail hp (calc)."""
    cars = 7200 / 143
    one = davis_1926(143 * SHORT_TON, 4, area=88 * FOOT**2, locomotive=False)  # 0.044 = 0.0005 · 88
    v = 50 * MPH
    a_mass = 1.3 * 7200 * POUND_FORCE
    assert one.a * cars - a_mass == pytest.approx(5840.6 * POUND_FORCE, rel=5e-4)
    assert one.b * v * cars == pytest.approx(16_200 * POUND_FORCE, rel=1e-3)
    assert one.c * v**2 * cars == pytest.approx(5538 * POUND_FORCE, rel=1e-3)
    whole = float(one(v)) * cars
    assert whole / (7200 * SHORT_TON) / LB_PER_TON == pytest.approx(5.130, abs=0.001)
    assert whole * v / UNITS["hp"] == pytest.approx(4925, rel=1e-3)


@pytest.mark.parametrize(
    ("short_tons", "expected"),
    [
        (143, [1.1594, 1.3084, 1.5552, 1.9000, 2.3427, 2.8832, 3.5217]),
        (30, [3.2667, 3.6000, 4.4000, 5.6667, 7.4000, 9.6000, 12.2667]),
    ],
)
def test_modified_davis(short_tons: float, expected: list[float]):
    """Worked: AREA Committee 16, 1970 (M1) with K 0.07 (S1), examples 1-B and 1-C, lb per short ton at 0 to 60 mph."""
    mass = short_tons * SHORT_TON
    found = modified_davis_1970(mass, 4, k=0.07 * POUND_FORCE / MPH**2)(SPEEDS) / mass / LB_PER_TON
    assert found == pytest.approx(expected, abs=6e-5)


@pytest.mark.parametrize(
    ("short_tons", "c", "area", "expected"),
    [
        (143, 4.2, 105, [2.0035, 2.3343, 2.7269, 3.1810, 3.6969, 4.2745, 4.9137]),
        (131.5, 4.9, 140, [2.0475, 2.3997, 2.8562, 3.4170, 4.0822, 4.8517, 5.7256]),
        (31, 12.0, 105, [3.8226, 4.5290, 6.0484, 8.3806, 11.5258, 15.4839, 20.2548]),
    ],
)
def test_canadian_national(short_tons: float, c: float, area: float, expected: list[float]):
    """Worked: Canadian National 1990 (M1, constants from memory of AREMA ch. 16), examples 1-D, 1-E, 1-F."""
    mass = short_tons * SHORT_TON
    found = canadian_national_1990(mass, 4, streamlining=c, area=area * FOOT**2)(SPEEDS) / mass / LB_PER_TON
    assert found == pytest.approx(expected, abs=6e-5)


def test_canadian_national_in_si():
    """Worked: example 1-G (calc): 129.73 t, 80.47 km/h, a = 9.755 m²: 2719 N per car, 81.5 hp."""
    force = float(canadian_national_1990(129.73 * TONNE, 4, streamlining=4.2, area=9.755)(80.47 * KMH))
    assert force == pytest.approx(2719, abs=1)
    assert force * 80.47 * KMH / UNITS["hp"] == pytest.approx(81.5, abs=0.1)


@pytest.mark.parametrize(("c", "expected"), [(24, [2.497, 3.346, 6.140, 10.397]), (5.5, [2.356, 2.782, 3.885, 5.323])])
def test_locomotives_by_canadian_national(c: float, expected: list[float]):
    """Worked: example 1-H (calc, C and a from memory, M1): 210 short tons, six axles, leading and trailing."""
    mass = 210 * SHORT_TON
    found = canadian_national_1990(mass, 6, streamlining=c, area=160 * FOOT**2)(np.array([10, 20, 40, 60]) * MPH)
    assert found / mass / LB_PER_TON == pytest.approx(expected, abs=6e-4)


def test_metric_constants():
    """Worked: section 1.1 (calc): modified Davis 2.942 m + 88.96 n + 0.03047 m V + 0.12022 V² N; Canadian National
    7.355 m + 80.07 n + 0.09140 m V + 1.8487e-3 C a V² N, tonnes, km/h and m²."""
    per_t = modified_davis_1970(TONNE, 0, k=0)
    per_axle = modified_davis_1970(0, 1, k=0.07 * POUND_FORCE / MPH**2)
    assert (per_t.a, per_t.b * KMH) == pytest.approx((2.942, 0.03047), rel=3e-4)
    assert (per_axle.a, per_axle.c * KMH**2) == pytest.approx((88.96, 0.12022), rel=1e-4)
    cn, air = (
        canadian_national_1990(TONNE, 0, streamlining=0, area=0),
        canadian_national_1990(0, 1, streamlining=1, area=1),
    )
    assert (cn.a, cn.b * KMH) == pytest.approx((7.355, 0.09140), rel=1e-4)
    assert (air.a, air.c * KMH**2) == pytest.approx((80.07, 1.8487e-3), rel=1e-4)


@pytest.mark.parametrize(
    ("degree", "pounds", "roeckl_permille", "over_radius"),
    [
        (1, 0.8, 0.384, 0.401),
        (2, 1.6, 0.794, 0.802),
        (4, 3.2, 1.703, 1.603),
        (6, 4.8, 1.914, 2.404),
        (10, 8.0, 3.452, 4.003),
    ],
)
def test_curves(degree: float, pounds: float, roeckl_permille: float, over_radius: float):
    """Published: S3 and S5 (0.8 lb per short ton and degree), S8 (Röckl, 700/R ‰); figures of example 1-J (calc)."""
    k = float(curvature_of_degree(degree))
    assert SHORT_TON * GRAVITY * float(per_degree(k)) / POUND_FORCE == pytest.approx(pounds, rel=1e-9)
    assert float(roeckl(k)) / PERMILLE == pytest.approx(roeckl_permille, abs=6e-4)
    assert float(per_degree(k)) / PERMILLE == pytest.approx(over_radius, rel=3e-3)


def test_roeckl_jumps_at_300_m():
    """Published: S8 says that the two branches of Röckl differ by more than 30 % at 300 m; 2.65 and 1.85 ‰ (calc)."""
    wide, tight = (float(roeckl(1 / r)) / PERMILLE for r in (300, 299.999))
    assert (wide, tight) == pytest.approx((2.653, 1.852), abs=1e-3)
    assert wide / tight - 1 > 0.3


def test_starting_on_a_curve_doubles_it():
    """Common practice, no source: up to twice the running value for the first car lengths."""
    assert CURVE_START_FACTOR == 2
    assert CURVE_START_FACTOR.source == "prac"


@pytest.mark.parametrize(("percent", "excess"), [(2.2, 0.00024), (4, 0.00080)])
def test_grade_takes_the_sine(percent: float, excess: float):
    """Published: S3, 20 lb per short ton and percent, which is the tangent; it overstates by 0.024 % on 2.2 % and
    by 0.080 % on 4 % (calc)."""
    force = float(grade_force(SHORT_TON, percent / 100))
    assert 20 * percent * POUND_FORCE / force - 1 == pytest.approx(excess, abs=6e-6)


def test_one_percent_in_metric():
    """Worked: section 0 (calc): 1 % is 98.07 N/t, and 1 lb per short ton is 4.90332 N/t."""
    assert float(grade_force(TONNE, 0.01)) == pytest.approx(98.07, abs=0.01)
    assert UNITS["lbf_per_short_ton"] * TONNE == pytest.approx(4.90332, abs=1e-5)
