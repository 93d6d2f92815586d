"""Degree of curve, spirals and lengths of the horizontal alignment, against published figures and other libraries."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Geod
from scipy.special import fresnel

from profiler.alignment.smooth import SmoothedLine
from profiler.alignment.track import track_of
from profiler.route import CurveElement
from profiler.units import FOOT, INCH, curvature_of_degree, degree_of_curve, radius_of_degree
from tests.plan_truth import TrueCurve, curvature_at, to_degrees

WGS84 = Geod(ellps="WGS84")

CHORD_RADII_FT = {
    1: 5729.65,
    2: 2864.93,
    3: 1910.08,
    4: 1432.69,
    5: 1146.28,
    6: 955.37,
    8: 716.78,
    10: 573.69,
    12: 478.34,
    14: 410.28,
}
"""Radii by the chord of 100 ft, R = 50/sin(D/2) ft (AREMA Manual for Railway Engineering, ch. 5), as printed in
tables of curves. [ft]"""


@pytest.mark.parametrize(("degree", "feet"), CHORD_RADII_FT.items())
def test_radii_by_the_chord(degree: int, feet: float):
    """Published: AREMA Manual for Railway Engineering, ch. 5, R = 50/sin(D/2) ft: radii to the printed
    hundredth of a foot, to the left as to the right, and back to the degree."""
    assert radius_of_degree(degree) / FOOT == pytest.approx(feet, abs=0.0051)
    for hand in (1, -1):
        assert float(degree_of_curve(hand / (feet * FOOT))) == pytest.approx(hand * degree, abs=2e-4)
        assert 1 / float(curvature_of_degree(hand * degree)) / FOOT == pytest.approx(hand * feet, abs=0.0051)


@pytest.mark.parametrize(("degree", "apart"), [(1, 0.07), (10, 0.73)])
def test_radii_by_the_arc_are_a_little_shorter(degree: int, apart: float):
    """Published: roads take the arc of 100 ft, R = 5729.578/D ft: 0.07 ft less than by the chord at 1°, 0.73 ft
    at 10°. A degree by the arc would be told apart."""
    assert radius_of_degree(degree) / FOOT - 5729.578 / degree == pytest.approx(apart, abs=0.005)


@pytest.mark.parametrize("degree", [2, 4, 10])
def test_a_string_of_62_feet(degree: int):
    """Published: AREMA Practical Guide to Railway Engineering, ch. 6: the middle of a string of 62 ft stands as
    many inches off the rail as the curve has degrees; the rule rounds by a fifth of a per cent."""
    radius = radius_of_degree(degree)
    ordinate = radius - np.sqrt(radius**2 - (31 * FOOT) ** 2)
    assert ordinate / INCH == pytest.approx(degree, rel=0.01)


def clothoid(radius: float, length: float, at: np.ndarray) -> np.ndarray:
    """Places (n, 2) [m] along x, then to the left, at lengths (n,) [m] of a clothoid that ends in a radius [m].

    x + iy = a·(C + iS)(s/a), a = √(π·R·L): scipy's Fresnel integrals have the factor π/2 inside.
    """
    a = np.sqrt(np.pi * radius * length)
    sine, cosine = fresnel(at / a)
    return a * np.column_stack([cosine, sine])


def of_fresnel(radius: float, spiral: float, body: float, step: float = 20.0, tangent: float = 1000.0) -> np.ndarray:
    """Places (n, 2) [m], ``step`` apart, of tangent, clothoid, circle, clothoid, tangent to the left [m]."""
    at = np.arange(0.0, tangent + spiral + body / 2, step) - tangent  # from the start of the spiral to mid curve
    straight = np.column_stack([at, np.zeros(at.size)])[at < 0]
    entry = clothoid(radius, spiral, at[(at >= 0) & (at < spiral)])
    half = spiral / (2 * radius)  # the spiral turns by L/2R
    centre = clothoid(radius, spiral, np.array([spiral]))[0] + radius * np.array([-np.sin(half), np.cos(half)])
    turned = half + (at[at >= spiral] - spiral) / radius
    circle = centre + radius * np.column_stack([np.sin(turned), -np.cos(turned)])
    middle = half + body / 2 / radius
    axis = np.array([np.sin(middle), -np.cos(middle)])  # from the centre to mid curve: the other half is mirrored
    first = np.vstack([straight, entry, circle])
    across = np.array([-axis[1], axis[0]])
    mirrored = first - 2 * np.outer((first - centre) @ across, across)
    return np.vstack([first, mirrored[::-1]])


def track(places: np.ndarray, noise: float, seed: int = 7) -> SmoothedLine:
    """The track of places (n, 2) [m] that each miss by ``noise`` [m]."""
    seen = places + np.random.default_rng(seed).normal(size=places.shape) * noise
    return track_of(*to_degrees(*(seen - seen.mean(axis=0)).T))


@pytest.mark.parametrize(("degree", "feet"), [(k, CHORD_RADII_FT[k]) for k in (1, 2, 4, 6, 10)])
def test_curves_of_the_printed_radii_are_read_with_their_degree(degree: int, feet: float):
    """Published: radii of the table of curves. Drawn between clothoids of scipy's Fresnel integrals with 0.2 m of
    noise, each is read with the degree printed beside it, within 4 of its standard errors and within 5 %."""
    radius, spiral = feet * FOOT, 60.0 + 14 * degree
    line = track(of_fresnel(radius, spiral, 300.0), 0.2)
    (curve,) = line.curves
    assert curve.hand == "left"
    assert float(degree_of_curve(curve.curvature)) == pytest.approx(degree, rel=0.05)
    assert curve.curvature == pytest.approx(1 / radius, abs=4 * curve.curvature_se)
    assert line.curvature.max() == pytest.approx(curve.curvature)


@pytest.mark.parametrize(("radius", "spiral"), [(300.0, 120.0), (600.0, 90.0), (875.0, 90.0)])
def test_spirals_against_fresnel(radius: float, spiral: float):
    """Outside: scipy.special.fresnel lays the clothoids. Spirals are read within 4 standard errors or 25 m, the
    whole turns by (L + body)/R, and the ends at the middle of the spirals lie within 10 m."""
    line = track(of_fresnel(radius, spiral, 240.0), 0.2)
    (curve,) = line.curves
    assert curve.deflection == pytest.approx((spiral + 240) / radius, abs=4 * curve.deflection_se + 1e-3)
    assert curve.spiral_in == pytest.approx(spiral, abs=max(4 * curve.spiral_in_se, 25))
    assert curve.spiral_out == pytest.approx(spiral, abs=max(4 * curve.spiral_out_se, 25))
    middles = (curve.start + curve.spiral_in / 2, curve.end - curve.spiral_out / 2)
    assert middles == pytest.approx((1000 + spiral / 2, 1240 + 1.5 * spiral), abs=10)


def test_curvature_along_a_spiral_grows_with_its_length():
    """Published: a clothoid's curvature is s/(R·L) (AREMA Manual, ch. 5: the degree grows linearly along the
    spiral): of the elements of a line and of the truth of these tests, which are the same trapezoid."""
    radius, spiral = 400.0, 100.0
    true = TrueCurve(50.0, 450.0, spiral, spiral, float(degree_of_curve(1 / radius)), 0)
    listed = CurveElement("1", "simple", 50.0, 450.0, spiral, spiral, 1 / radius, 1e-6)
    s = np.linspace(0.0, spiral, 11)
    assert curvature_at((true,), 50 + s) == pytest.approx(s / (radius * spiral), abs=1e-9)
    assert listed.deflection == pytest.approx((400 - spiral) / radius)
    assert true.deflection == pytest.approx(listed.deflection)


@pytest.mark.parametrize(("longitude", "latitude"), [(12.0, 0.0), (-31.0, -38.0), (20.0, 68.0)])
@pytest.mark.parametrize("azimuth", [0.0, 50.0, 90.0, 200.0])
def test_a_geodesic_is_as_long_as_pyproj_says(longitude: float, latitude: float, azimuth: float):
    """Outside: pyproj's Geod lays a geodesic of 12 km on WGS 84 (Karney 2013): drawn without noise it is straight,
    as long to 1 in a million, and heads where it says. A sphere would miss by up to 1 in 200."""
    lengths = np.arange(0.0, 12_001.0, 40.0)
    same = np.ones(lengths.size)
    lon, lat, back = WGS84.fwd(longitude * same, latitude * same, azimuth * same, lengths)
    line = track_of(lon, lat)
    assert line.curves == ()
    assert line.distance[-1] == pytest.approx(12_000, rel=1e-6)
    assert line.vertex_distance == pytest.approx(lengths, abs=0.05)
    ahead = np.radians(np.interp(line.distance, lengths, np.unwrap(back + 180, period=360)))
    assert np.abs(np.angle(np.exp(1j * (line.heading - ahead)))).max() < 1e-4


def test_distances_on_a_curved_line_are_those_of_pyproj():
    """Outside: pyproj's Geod measures the line through its own stations, chords of 10 m; arcs of 170 m radius are
    1.4 in 10,000 longer than those, and no more than that is between the two anywhere."""
    line = track(of_fresnel(radius_of_degree(10), 150.0, 500.0), 0.5)
    step = WGS84.line_lengths(line.longitude, line.latitude)
    told = np.diff(line.distance)
    assert told == pytest.approx(step, rel=1e-3, abs=1e-3)
    longer = told.sum() / np.sum(step) - 1
    assert 0 <= longer < 2e-5 * 10
