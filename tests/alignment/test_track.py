"""The true track out of a drawn line."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from pyproj import Geod
from scipy.special import fresnel

from profiler.alignment.curves import element_curvature
from profiler.alignment.smooth import SmoothedLine
from profiler.alignment.track import track_of
from profiler.units import curvature_of_degree, degree_of_curve
from tests.benchmarks.alignment import Answer, measure
from tests.plan_truth import digitise, plan, to_degrees, to_metres

WGS84 = Geod(ellps="WGS84")


def laid(heading: np.ndarray, step: float) -> tuple[np.ndarray, np.ndarray]:
    """East and north [m] of a line by its headings at the middle of every step."""
    return np.r_[0.0, np.cumsum(np.sin(heading) * step)], np.r_[0.0, np.cumsum(np.cos(heading) * step)]


def drawn(east: np.ndarray, north: np.ndarray, noise: float, every: int = 25) -> SmoothedLine:
    """The track of a line of 1 m steps, a vertex every so many of them, with noise [m]."""
    rng = np.random.default_rng(3)
    e, n = east[::every], north[::every]
    e, n = (v + rng.normal(size=v.size) * noise for v in (e, n))
    return track_of(*to_degrees(e - e.mean(), n - n.mean()))


def one_curve(degree: float, spiral: float, body: float) -> np.ndarray:
    """Headings of 1,500 m of tangent, a curve with its spirals (+ left), 1,500 m of tangent, every metre."""
    s = np.arange(3000 + 2 * spiral + body) + 0.5
    k = float(curvature_of_degree(degree))
    knots = 1500 + np.cumsum([0.0, spiral, body, spiral])
    return -np.cumsum(np.interp(s, knots, [0, k, k, 0]))


def test_straight_line():
    """Law: a straight line drawn with 1 m of noise has no curve, its curvature is exactly 0, and its length
    is the geodesic (pyproj) to a ten thousandth."""
    line = drawn(*laid(np.full(8000, 0.6), 1.0), 1.0)
    assert line.curves == ()
    assert (line.curvature == 0).all()
    assert line.distance[-1] == pytest.approx(WGS84.line_length(line.longitude, line.latitude), rel=1e-6)
    assert line.distance[-1] == pytest.approx(8000, rel=1e-3)


@pytest.mark.parametrize("degree", [2.0, -5.0])
def test_one_curve(degree: float):
    """Worked: one curve between spirals of 100 m is found within 4 of its standard errors."""
    line = drawn(*laid(one_curve(degree, 100.0, 300.0), 1.0), 1.0)
    (curve,) = line.curves
    true = float(curvature_of_degree(degree))
    assert curve.curvature == pytest.approx(true, abs=4 * curve.curvature_se)
    assert curve.deflection == pytest.approx(true * 400, abs=4 * curve.deflection_se + 1e-3)
    assert (curve.start + curve.end) / 2 == pytest.approx(1750, abs=15)
    assert curve.hand == ("left" if degree > 0 else "right")


def test_clothoid():
    """Outside: the spiral of the test's own lines against the Fresnel integrals of scipy, to a centimetre."""
    k, length = 1 / 300.0, 120.0
    heading = 0.5 * k / length * (np.arange(1200) / 10 + 0.05) ** 2
    east, north = laid(heading, 0.1)
    a = np.sqrt(np.pi * length / k)
    sine, cosine = fresnel(length / a)
    assert (east[-1], north[-1]) == pytest.approx((a * sine, a * cosine), abs=0.01)


def test_corner_is_no_curve():
    """Law: a bend of 14 degrees at one place, as over a switch, is reported and is no curve."""
    line = drawn(*laid(np.where(np.arange(6000) < 3000, 0.5, 0.5 - np.radians(14)), 1.0), 0.5)
    assert line.curves == ()
    (corner,) = line.corners
    assert corner.chainage == pytest.approx(3000, abs=40)
    assert np.degrees(corner.turn) == pytest.approx(14, abs=0.7)


def test_curvature_is_that_of_the_curves():
    """Law: the line's curvature is its curves' and nothing else."""
    line = drawn(*laid(one_curve(3.0, 80.0, 250.0), 1.0), 1.0)
    np.testing.assert_array_equal(line.curvature, element_curvature(line.distance, line.curves))
    inside = np.abs(line.curvature) > 0
    assert (line.curvature_se[inside] > 0).all()


@cache
def mixed(seed: int) -> tuple[SmoothedLine, object]:
    """A mixed line of 20 km, vertices with 1 m of noise and of drift."""
    true = plan(seed, length=20_000.0)
    line = track_of(*to_degrees(*digitise(true, np.random.default_rng(seed), 1.0)))
    east, north = to_metres(line.longitude, line.latitude)
    return line, measure(true, Answer(line.distance, east, north, line.curvature, line.curvature_se, line.curves))


@pytest.mark.parametrize("seed", [401, 402])
def test_mixed_lines(seed: int):
    """Law of the house: with 1 m of noise the degree is right to .21 (median of ten routes of 60 km), recall and
    precision .99; a third of the length scatters more."""
    _, found = mixed(seed)
    assert found.rmse < 0.32
    assert found.recall >= 0.88
    assert found.precision >= 0.88
    assert found.cover >= 0.88
    assert abs(found.length) < 0.05


def test_turned_line():
    """Law: a line drawn the other way has the same curves with the other hand, within 4 standard errors."""
    true = plan(403, length=12_000.0)
    places = to_degrees(*digitise(true, np.random.default_rng(1), 0.5))
    there, back = track_of(*places), track_of(*(v[::-1] for v in places))
    s = np.linspace(0.02, 0.98, 400) * there.distance[-1]
    a = np.interp(s, there.distance, degree_of_curve(there.curvature))
    b = -np.interp(there.distance[-1] - s, back.distance, degree_of_curve(back.curvature))
    assert np.sqrt(((a - b) ** 2).mean()) < 0.15


def test_fast_and_sparse():
    """Law: a first look has curves too; a vertex every 50 to 300 m is read, and its doubt is told."""
    true = plan(404, length=15_000.0)
    rng = np.random.default_rng(2)
    assert len(track_of(*to_degrees(*digitise(true, rng, 1.0)), fast=True).curves) > 3
    sparse = track_of(*to_degrees(*digitise(true, rng, 1.0, spacing=(50, 300))))
    assert len(sparse.curves) > 3
    assert sparse.curvature_se.max() > curvature_of_degree(0.3)
