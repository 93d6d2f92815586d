"""Conversion factors against the national table, degree of curve against the trade's."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiler import units

SP_811 = [
    ("FOOT", "0.3048"),
    ("US_SURVEY_FOOT", "0.3048006"),
    ("MILE", "1609.344"),
    ("KMH", "0.2777778"),
    ("MPH", "0.44704"),
    ("GRAVITY", "9.80665"),
    ("POUND", "0.4535924"),
    ("POUND_FORCE", "4.448222"),
    ("SHORT_TON", "907.1847"),
    ("TONNE", "1000"),
]


@pytest.mark.parametrize(("name", "printed"), SP_811)
def test_factor(name: str, printed: str):
    """Published: NIST SP 811 (2008), appendix B.8, to the last printed digit."""
    decimals = len(printed.partition(".")[2])
    assert getattr(units, name) == pytest.approx(float(printed), abs=0.5 * 10**-decimals, rel=0)


CHORD_FEET = [
    (1, 5729.65),
    (2, 2864.93),
    (3, 1910.08),
    (4, 1432.69),
    (5, 1146.28),
    (6, 955.37),
    (8, 716.78),
    (10, 573.69),
    (12, 478.34),
    (14, 410.28),
]
CHORD_METRES = [(1, 1746.40), (2, 873.23), (4, 436.68), (6, 291.20), (10, 174.86)]


@pytest.mark.parametrize(("degree", "radius_ft"), CHORD_FEET)
def test_radius_of_degree_in_feet(degree: float, radius_ft: float):
    """Worked: R = 50 ft / sin(D/2) (AREMA Manual for Railway Engineering, ch. 5, chord definition)."""
    assert units.radius_of_degree(degree) / units.FOOT == pytest.approx(radius_ft, abs=0.005)


@pytest.mark.parametrize(("degree", "radius_m"), CHORD_METRES)
def test_degree_of_radius_in_metres(degree: float, radius_m: float):
    """Worked: the same definition in metres, there and back, either hand."""
    assert units.radius_of_degree(-degree) == pytest.approx(radius_m, abs=0.005)
    both = units.degree_of_curve(np.array([1, -1]) / radius_m)
    np.testing.assert_allclose(both, [degree, -degree], rtol=1e-4)


def test_chord_is_not_arc():
    """Worked: by the arc a 10° curve has 572.96 ft, by the chord 573.69 ft: 0.73 ft apart."""
    arc_ft = 100 / math.radians(10)
    assert units.radius_of_degree(10) / units.FOOT - arc_ft == pytest.approx(0.73, abs=0.005)


def test_straight_and_too_sharp():
    """Law: a straight has an infinite radius; no chord of 100 ft fits a radius under 50 ft."""
    assert units.radius_of_degree(0) == math.inf
    assert units.degree_of_curve(0) == 0
    np.testing.assert_array_equal(units.degree_of_curve([1 / 15, -1 / 10]), [180, -180])


@given(st.floats(-179, 179))
def test_degree_there_and_back(degree: float):
    """Law: curvature and degree of curve are each other's inverse."""
    back = float(units.degree_of_curve(units.curvature_of_degree(degree)))
    assert back == pytest.approx(degree, abs=1e-9)


def test_compensation_is_resistance_over_grade():
    """Published: 0.8 lb per short ton and degree over 20 lb per short ton and percent (AREMA) is 0.04 %."""
    assert pytest.approx(0.8 / 20 * units.PERCENT, rel=1e-12) == units.CURVE_COMPENSATION


def test_mean_radius_of_the_earth():
    """Published: (2a + b)/3 of GRS 80, a = 6378137 m, 1/f = 298.257222101 (Moritz 2000)."""
    a = 6_378_137.0
    b = a * (1 - 1 / 298.257222101)
    assert pytest.approx((2 * a + b) / 3, abs=0.05) == units.EARTH_RADIUS
