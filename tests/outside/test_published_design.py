"""Curve compensation and track design against published formulas and figures."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from profiler.landmarks.design_rules import balanced_cant
from profiler.landmarks.grades import ruling_grades
from profiler.units import CURVE_COMPENSATION, FOOT, INCH, KMH, MPH, PERMILLE, curvature_of_degree, radius_of_degree
from profiler.vertical_curve import length_by_rate, length_by_speed
from tests.tangents import profile_of


@pytest.mark.parametrize(
    ("degree", "radius_m", "pounds", "permille"),
    [
        (1, 1746.40, 0.8, 0.401),
        (2, 873.23, 1.6, 0.802),
        (4, 436.68, 3.2, 1.603),
        (6, 291.20, 4.8, 2.404),
        (10, 174.86, 8.0, 4.003),
    ],
)
def test_compensation_is_the_resistance_of_the_area_and_of_700_over_r(
    degree: float, radius_m: float, pounds: float, permille: float
):
    """Published: 0.8 lb per short ton and degree (recommended by the AREA; 20 lb per short ton is 1 % of
    grade), and the rule of 700/R per mille, R in metres, that other railways use: they agree within 0.3 %."""
    worth = CURVE_COMPENSATION * degree
    assert radius_of_degree(degree) == pytest.approx(radius_m, abs=0.006)
    assert worth == pytest.approx(pounds / 2000, rel=1e-12)
    assert worth / PERMILLE == pytest.approx(permille, rel=0.003)
    assert permille == pytest.approx(700 / radius_m, abs=0.0005)


def test_six_degrees_on_a_grade():
    """Published: AREMA Manual, chapter 5: grades are reduced by 0.04 % per degree of curve, 0.05 % where
    trains may stop: 6° on 1.6 % climbs like 1.84 %, or 1.90 %."""
    s = np.arange(0.0, 5001.0, 10.0)
    bent = profile_of(s, 100 + 0.016 * s, curvature=float(curvature_of_degree(6)))
    for per_degree, worth in ((0.0004, 1.84), (0.0005, 1.90)):
        profile = dataclasses.replace(bent, curve_compensation=per_degree)
        found = {(x.kind, x.direction): x.value for x in ruling_grades(profile, (2000.0,))}
        assert found["ruling_grade_compensated", "with"] == pytest.approx(worth)
        assert found["ruling_grade", "with"] == pytest.approx(1.6)


@pytest.mark.parametrize(("degree", "mph"), [(1, 60), (4, 40), (10, 25)])
def test_balanced_cant(degree: float, mph: float):
    """Published: 49 CFR 213.57(b), V = √((E_a + E_u) / (0.0007·D)), inches, degrees and mph."""
    cant = balanced_cant(float(curvature_of_degree(degree)), mph * MPH) / INCH
    assert np.sqrt(cant / (0.0007 * degree)) == pytest.approx(mph, rel=1e-9)


@pytest.mark.parametrize(("radius_m", "kmh"), [(300, 60), (800, 100), (1500, 160)])
def test_balanced_cant_in_metric(radius_m: float, kmh: float):
    """Published: EN 13803, equilibrium cant 11.8·V²/R mm for rails 1.5 m apart: within 2 % of the rule in
    inches, which rounds."""
    cant = balanced_cant(1 / radius_m, kmh * KMH)
    assert cant * 1000 == pytest.approx(11.8 * kmh**2 / radius_m, rel=0.02)


@pytest.mark.parametrize(
    ("change", "mph", "acceleration", "feet"),
    [(0.015, 60, 0.10, 1161), (0.010, 50, 0.10, 537.5), (0.020, 40, 0.10, 688), (0.010, 79, 0.60, 223.6)],
)
def test_vertical_curves_by_speed(change: float, mph: float, acceleration: float, feet: float):
    """Published: AREMA Manual, chapter 5, since 2002: L = D·V²·K/A, K = 0.0215, A = 0.10 ft/s² freight and
    0.60 passenger, worked for four cases."""
    assert length_by_speed(change, mph, acceleration) / FOOT == pytest.approx(feet, abs=0.05)


def test_vertical_curves_by_rate():
    """Published: AREA before 2002, main lines 0.10 % a station of 100 ft on crests and 0.05 % in sags: 1.5 %
    takes 1,500 and 3,000 ft; secondary lines half of that."""
    lengths = [length_by_rate(0.015, rate) / FOOT for rate in (0.0010, 0.0005, 0.0020, 0.0010)]
    assert lengths == pytest.approx([1500, 3000, 750, 1500])
