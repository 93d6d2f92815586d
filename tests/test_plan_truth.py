"""Invented alignments are what they say: the curve estimator is judged by them."""

import dataclasses
import itertools

import numpy as np
import pytest
from pyproj import Geod
from scipy.special import fresnel

from profiler.alignment.curves import element_curvature
from profiler.route import CurveElement
from tests.benchmarks.alignment import Answer, measure, nearest_chainage
from tests.plan_truth import STYLES, Plan, TrueCurve, curvature_at, digitise, plan, to_degrees, to_metres


@pytest.fixture(scope="module")
def line() -> Plan:
    return plan(5, length=30_000.0)


@pytest.mark.parametrize("spirals", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("style", STYLES)
def test_the_line_turns_by_what_its_curves_deflect(style, spirals):
    """Law: heading, clockwise, changes by minus the sum of the deflections; it never leaves its bounds by much."""
    line = plan(3, style=style, length=20_000.0, spirals=spirals)
    turned = line.heading[0] - line.heading[-1]
    assert turned == pytest.approx(sum(c.deflection for c in line.elements), abs=1e-9)
    assert np.abs(np.degrees(line.heading)).max() < 120
    assert np.diff(line.s).max() <= 2.0 + 1e-9


def test_a_spiral_ends_where_fresnel_integrals_put_it(monkeypatch):
    """Law: a clothoid from a tangent lies at a·(C, S)(length/a), a² = π · length · radius (Fresnel)."""
    spiral, degree = 180.0, 9.0
    curve = TrueCurve(100.0, 600.0, spiral, 120.0, degree, 0)
    monkeypatch.setattr("tests.plan_truth._laid", lambda *_: (curve,))
    line = plan(0, length=1000.0)
    scale = np.sqrt(np.pi * spiral / curve.curvature)
    sine, cosine = fresnel(spiral / scale)
    begin, end = np.searchsorted(line.s, [100.0, 280.0])
    assert line.north[end] - line.north[begin] == pytest.approx(scale * cosine, abs=1e-4)
    assert line.east[end] - line.east[begin] == pytest.approx(-scale * sine, abs=1e-4)  # left is west


def test_circles_without_spirals_are_circles():
    """Law: every place of a circular body is a radius away from one centre."""
    line = plan(8, style="mountain", length=12_000.0, spirals=0.0)
    single = [c for c in line.elements if sum(d.group == c.group for d in line.elements) == 1]
    assert len(single) > 5
    for curve in single:
        east, north, heading = line.at(np.linspace(curve.start, curve.end, 7))
        centre_east = east - np.cos(heading) / curve.curvature
        centre_north = north + np.sin(heading) / curve.curvature
        assert np.ptp(centre_east) < 1e-3
        assert np.ptp(centre_north) < 1e-3


def test_between_grid_points_a_place_is_as_sure_as_on_them(line):
    """Law: a place asked for by chainage and one reached from a coarser truth agree to 0.1 mm."""
    at = np.sort(np.random.default_rng(1).uniform(0, 30_000.0, 400))
    east, north, heading = line.at(at)
    assert nearest_chainage(line, east, north) == pytest.approx(at, abs=0.01)
    ahead_east, ahead_north, ahead = line.at(at + 0.01)
    assert (ahead_east - east) / 0.01 == pytest.approx(np.sin((heading + ahead) / 2), abs=1e-5)
    assert (ahead_north - north) / 0.01 == pytest.approx(np.cos((heading + ahead) / 2), abs=1e-5)


def test_curvature_is_that_of_the_profiles_own_elements(line):
    """Law: the truth and the elements of a route mean the same by start, end and spirals."""
    curves = tuple(_listed(c) for c in line.elements)
    assert len({c.group for c in line.elements}) < len(line.elements)  # compound curves are among them
    assert element_curvature(line.s, curves) == pytest.approx(line.curvature, abs=1e-12)


@pytest.mark.parametrize(
    ("style", "low", "high"), [("plains", 0.5, 2.5), ("mountain", 2.5, 10.0), ("mixed", 0.5, 10.0)]
)
def test_degrees_are_of_the_style(style, low, high):
    """Law: single arcs keep to the range of the terrain, second arcs to half a degree to ten."""
    curves = [c for seed in (1, 2, 3) for c in plan(seed, style=style, length=40_000.0).elements]
    degrees = np.abs([c.degree for c in curves])
    assert degrees.min() >= 0.5
    assert degrees.max() <= 10.0
    assert np.mean((degrees >= low) & (degrees <= high)) > 0.9
    assert degrees.min() < low * 1.3  # and the range is used
    assert degrees.max() > high * 0.8


def test_spirals_are_as_long_as_asked():
    """Law: transitions of 60 to 200 m, half of that at 0.5, none at 0; those that are no compounds'."""
    for spirals in (1.0, 0.5, 0.0):
        curves = plan(4, length=40_000.0, spirals=spirals).elements
        entry = np.array([b.spiral_in for a, b in itertools.pairwise(curves) if a.group != b.group])
        assert entry.min() >= 60 * spirals - 1e-6
        assert entry.max() <= 200 * spirals + 1e-6


def test_a_line_has_compound_reverse_and_broken_back_curves():
    """Law: about 8, 10 and 8 in a hundred are laid; chance adds a few to those of short tangents."""
    compound = reverse = broken = count = 0
    for seed in range(6):
        curves = plan(seed).elements
        wholes = len({c.group for c in curves})
        compound, count = compound + len(curves) - wholes, count + wholes
        for a, b in itertools.pairwise(curves):
            gap = b.start - a.end
            reverse += a.group != b.group and a.degree * b.degree < 0 and gap < 30
            broken += a.group != b.group and a.degree * b.degree > 0 and gap < 120
    assert 0.04 < compound / count < 0.13
    assert 0.05 < reverse / count < 0.15
    assert 0.04 < broken / count < 0.16


def test_the_same_seed_lays_the_same_line():
    """Law: a seed is a line; another is another."""
    first, again, other = (plan(seed, length=10_000.0) for seed in (1, 1, 2))
    assert first.elements == again.elements
    assert first.elements != other.elements


def test_vertices_miss_by_the_noise_asked_for(line):
    """Law: without drift the offsets across the line have the s.d. of the noise (±4 s.e. of some 920)."""
    east, north = digitise(line, np.random.default_rng(2), 2.0, drift=0.0)
    off = _across(line, east, north)
    assert off.std() == pytest.approx(2.0, abs=4 * 2.0 / np.sqrt(2 * off.size))
    assert abs(off.mean()) < 4 * 2.0 / np.sqrt(off.size)


def test_drift_is_slow_and_across_the_track(line):
    """Law: its s.d. is that asked for, and its correlation over 200 m is exp(−200/800)."""
    draws = [digitise(line, np.random.default_rng(k), 0.0, drift=1.5, spacing=(10, 10.0001)) for k in range(30)]
    off = np.array([_across(line, *draw)[:2900] for draw in draws])
    assert off.std() == pytest.approx(1.5, rel=0.1)
    assert np.mean(off[:, 20:] * off[:, :-20]) / off.var() == pytest.approx(np.exp(-0.25), abs=0.06)


@pytest.mark.parametrize("spacing", [(5.0, 60.0), (50.0, 300.0)])
def test_vertices_stand_as_far_apart_as_asked(line, spacing):
    """Law: uniform between the bounds, from the first metre to nearly the last."""
    east, north = digitise(line, np.random.default_rng(3), 0.0, drift=0.0, spacing=spacing)
    at = nearest_chainage(line, east, north)
    steps = np.diff(at)
    assert spacing[0] - 0.02 < steps.min()
    assert steps.max() < spacing[1] + 0.02
    assert steps.mean() == pytest.approx(np.mean(spacing), rel=0.15)
    assert at[0] == 0
    assert line.s[-1] - at[-1] < spacing[1]


def test_degrees_keep_lengths():
    """Outside: geodesic length on the ellipsoid (PROJ's) is the true length to 1 in 100,000, and back is back."""
    line = plan(101)
    longitude, latitude = to_degrees(line.east, line.north)
    true = np.hypot(np.diff(line.east), np.diff(line.north)).sum()
    assert Geod(ellps="WGS84").line_length(longitude, latitude) == pytest.approx(true, rel=1e-5)
    east, north = to_metres(longitude, latitude)
    assert np.hypot(east - line.east, north - line.north).max() < 1e-5


def test_the_truth_measures_as_perfect(line):
    """Law: the true line told back misses nothing; told with chainage off by a kilometre it still does not."""
    score = measure(line, _told(line, shift=1000.0))
    assert score.recall == score.precision == score.cover == score.cover_curves == 1.0
    assert max(score.rmse, score.body_p95, score.turn_p95) < 1e-3
    assert score.ends_p95 < 0.01
    assert abs(score.length) < 1e-3


def test_errors_are_measured_for_what_they_are(line):
    """Law: a curve left out, a false one, half a degree too much and 20 m too late are told apart."""
    answer = _told(line)
    fewer = measure(line, dataclasses.replace(answer, curves=answer.curves[1:]))
    assert fewer.recall == pytest.approx(1 - 1 / len(answer.curves))
    assert fewer.precision == 1.0
    wrong = dataclasses.replace(answer.curves[0], curvature=-answer.curves[0].curvature)
    false = measure(line, dataclasses.replace(answer, curves=(*answer.curves, wrong)))
    assert false.recall == 1.0
    assert false.precision == pytest.approx(1 - 1 / (len(answer.curves) + 1))
    late = [dataclasses.replace(c, start=c.start + 20, end=c.end + 20) for c in answer.curves]
    assert measure(line, dataclasses.replace(answer, curves=tuple(late))).ends_p50 == pytest.approx(20.0, abs=0.1)
    half = np.radians(0.5) / 30.48
    sharp = [dataclasses.replace(c, curvature=c.curvature + half) for c in answer.curves]
    score = measure(line, dataclasses.replace(answer, curvature=answer.curvature + half, curves=tuple(sharp)))
    assert score.rmse == pytest.approx(0.5, abs=0.01)
    assert score.body_p50 == pytest.approx(0.5, abs=0.01)
    assert score.cover == 0.0


def _across(line: Plan, east: np.ndarray, north: np.ndarray) -> np.ndarray:
    true_east, true_north, heading = line.at(nearest_chainage(line, east, north))
    return (north - true_north) * np.sin(heading) - (east - true_east) * np.cos(heading)


def _listed(c: TrueCurve) -> CurveElement:
    return CurveElement("", "simple", c.start, c.end, c.spiral_in, c.spiral_out, c.curvature, 1e-7)


def _told(line: Plan, shift: float = 0.0) -> Answer:
    """The truth as an answer, on a grid of 2 m, its distances counted from elsewhere."""
    curves = tuple(dataclasses.replace(_listed(c), start=c.start + shift, end=c.end + shift) for c in line.elements)
    curvature = curvature_at(line.elements, line.s)
    return Answer(line.s + shift, line.east, line.north, curvature, np.full(line.s.size, 1e-6), curves)
