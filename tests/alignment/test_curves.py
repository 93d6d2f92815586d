"""Curves read off a smoothed line of known curves."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from pyproj import Geod
from scipy.integrate import trapezoid

from profiler.alignment.curves import curve_elements, element_curvature
from profiler.alignment.smooth import SmoothedLine, smooth_line
from profiler.units import curvature_of_degree, degree_of_curve

GEOD = Geod(ellps="WGS84")


def drawn(*stretches: tuple[float, float, float], noise: float = 0.0, spacing: int = 15, seed: int = 0) -> SmoothedLine:
    """The smoothed line of (length [m], curvature at its start, at its end [1/m]), with noisy vertices."""
    k = np.concatenate([np.linspace(a, b, int(length), endpoint=False) for length, a, b in stretches])
    heading = np.cumsum(k)
    x, y = np.cumsum(np.cos(heading)), np.cumsum(np.sin(heading))
    rng = np.random.default_rng(seed)
    i = np.arange(0, k.size, spacing)
    x, y = x[i] + rng.normal(0, noise, i.size), y[i] + rng.normal(0, noise, i.size)
    start = np.full(x.size, -31.0), np.full(x.size, -38.0)
    lon, lat, _ = GEOD.fwd(*start, np.degrees(np.arctan2(x, y)), np.hypot(x, y))
    return smooth_line(lon, lat)


def curve(k: float, body: float = 250, spiral: float = 80) -> tuple[tuple[float, float, float], ...]:
    return ((spiral, 0, k), (body, k, k), (spiral, k, 0))


STRAIGHT = (1500.0, 0.0, 0.0)


@pytest.mark.parametrize(("noise", "radius_off", "end_off"), [(0.0, 0.01, 20), (1.0, 0.08, 80)])
def test_a_circle_with_spirals(noise: float, radius_off: float, end_off: float):
    """Law: R 400 m, spirals of 80 m, turning 47.3°: radius, ends and turn come back, with and without
    1 m of drawing noise; so does the degree of the chord of 100 ft, 4.37°."""
    line = drawn(STRAIGHT, *curve(1 / 400), STRAIGHT, noise=noise)
    (found,) = curve_elements(line.distance, line.curvature)
    assert found.radius == pytest.approx(400, rel=radius_off)
    assert float(degree_of_curve(found.curvature)) == pytest.approx(4.367, rel=radius_off)
    assert found.start == pytest.approx(1500, abs=end_off)
    assert found.end == pytest.approx(1910, abs=end_off)
    assert np.degrees(found.deflection) == pytest.approx(np.degrees(330 / 400), rel=0.05)
    assert (found.number, found.hand) == ("1", "left")


def test_reverse_curves_keep_their_hands():
    """Law: left, right, left with tangents of 0, 60 and 400 m between: hands, order and turns."""
    line = drawn(
        STRAIGHT, *curve(1 / 500), *curve(-1 / 350), (60, 0, 0), *curve(1 / 300), (400, 0, 0), *curve(-1 / 800)
    )
    found = curve_elements(line.distance, line.curvature)
    assert [c.hand for c in found] == ["left", "right", "left", "right"]
    assert [c.number for c in found] == ["1", "2", "3", "4"]
    assert [c.deflection for c in found][:3] == pytest.approx([330 / 500, -330 / 350, 330 / 300], rel=0.02)
    for a, b in itertools.pairwise(found):
        assert a.end <= b.start + 1e-9


@pytest.mark.parametrize("between", [0, 20, 30, 40, 60, 100, 200])
@pytest.mark.parametrize(("noise", "seed"), [(0.0, 0), (1.0, 1), (1.0, 2)])
def test_two_curves_of_one_hand_turn_once(between: float, noise: float, seed: int):
    """Law: whatever is read as one curve or as two, the turns add up to that of the line: nothing is
    counted twice, and no two curves overlap."""
    gap = ((between, 0, 0),) if between else ()
    line = drawn(STRAIGHT, *curve(1 / 400), *gap, *curve(1 / 350), STRAIGHT, noise=noise, seed=seed)
    found = curve_elements(line.distance, line.curvature)
    turned = sum(c.deflection for c in found if 1300 < c.start < 2600)
    assert turned == pytest.approx(330 / 400 + 330 / 350, rel=0.06)
    assert all(a.end <= b.start + 1e-9 for a, b in itertools.pairwise(found))
    along = element_curvature(line.distance, found)
    assert trapezoid(along, line.distance) == pytest.approx(sum(c.deflection for c in found), abs=0.03)
    assert along.max() < 1.25 / 350


def test_tangents_have_no_curvature_at_all():
    """Law: outside its curves a line's curvature is zero to the last bit, inside it is the trapezoid's."""
    line = drawn(STRAIGHT, *curve(-1 / 400), STRAIGHT, noise=1.0)
    curves = curve_elements(line.distance, line.curvature)
    (c,) = curves
    along = element_curvature(line.distance, curves)
    outside = (line.distance < c.start) | (line.distance >= c.end)
    assert (along[outside] == 0.0).all()
    body = (line.distance > c.start + c.spiral_in) & (line.distance < c.end - c.spiral_out)
    assert body.any()
    np.testing.assert_allclose(along[body], c.curvature, rtol=1e-12)
    assert element_curvature(np.array([c.start + c.spiral_in / 2]), curves)[0] == pytest.approx(c.curvature / 2)


def test_a_straight_line_has_no_curves():
    """Law: 6 km of tangent, without noise and with half a metre of it, have none."""
    for noise in (0.0, 0.5):
        line = drawn((6000, 0, 0), noise=noise)
        assert curve_elements(line.distance, line.curvature) == ()


def test_what_is_too_flat_or_too_short_is_no_curve():
    """Worked: 0.3° is under the least degree of 0.4; 0.5° turning 0.5° (30 m of it) is under the least turn."""
    s = np.arange(0, 3001, 10.0)
    flat = np.where((s > 1000) & (s < 2000), float(curvature_of_degree(0.3)), 0.0)
    short = np.where((s > 1000) & (s < 1041), float(curvature_of_degree(0.5)), 0.0)
    kept = np.where((s > 1000) & (s < 2000), float(curvature_of_degree(0.5)), 0.0)
    assert curve_elements(s, flat) == curve_elements(s, short) == ()
    (found,) = curve_elements(s, kept)
    assert float(degree_of_curve(found.curvature)) == pytest.approx(0.5)


def test_a_line_that_begins_and_ends_in_a_curve():
    """Law: a curve cut by the end of the line stays on the line."""
    line = drawn((400, 1 / 500, 1 / 500), (80, 1 / 500, 0), STRAIGHT, (80, 0, -1 / 600), (400, -1 / 600, -1 / 600))
    first, last = curve_elements(line.distance, line.curvature)
    assert first.start >= 0
    assert last.end <= line.distance[-1]
    assert first.radius == pytest.approx(500, rel=0.02)
    assert last.radius == pytest.approx(600, rel=0.02)
