"""The smoothed line: its length on the ellipsoid, its direction and its curvature, anywhere on Earth."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Geod

from profiler.alignment.smooth import SmoothedLine, smooth_line
from profiler.alignment.stations import lay_stations
from profiler.errors import RouteError

GEOD = Geod(ellps="WGS84")


def straight(longitude: float, latitude: float, azimuth: float, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Longitude and latitude (n,) [degree] along a geodesic, at distances [m]."""
    n = np.size(at)
    fixed = (np.full(n, float(x)) for x in (longitude, latitude, azimuth))
    lon, lat, _ = GEOD.fwd(*fixed, at)
    return lon, lat


def plane(longitude: float, latitude: float, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places x [m] east and y [m] north of a point, for lines of a few kilometres."""
    lon, lat, _ = GEOD.fwd(
        np.full(x.size, longitude), np.full(x.size, latitude), np.degrees(np.arctan2(x, y)), np.hypot(x, y)
    )
    return lon, lat


def circle(radius: float, turn: float, spacing: float, hand: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """An arc that sets out eastwards, hand +1 turning left."""
    angle = np.linspace(0, turn, round(turn * radius / spacing) + 1)
    return radius * np.sin(angle), hand * radius * (1 - np.cos(angle))


PLACES = [(-31.0, -38.0), (179.9, -17.0), (10.0, 70.0), (0.0, 0.0), (-179.99, 52.0)]


@pytest.mark.parametrize(("longitude", "latitude"), PLACES)
def test_a_straight_line_is_as_long_as_its_geodesic(longitude: float, latitude: float):
    """Outside: pyproj.Geod (GeographicLib, Karney 2013): 30 km of a geodesic to a millimetre, also in the
    south and across the antimeridian, with its heading at both ends and no curve in it."""
    lon, lat = straight(longitude, latitude, 80.0, np.arange(0, 30_001, 37.5))
    line = smooth_line(lon, lat)
    assert line.distance[-1] == pytest.approx(GEOD.line_length(lon, lat), abs=1e-3)
    assert line.distance[-1] == pytest.approx(30_000, abs=1e-3)
    _, back, _ = GEOD.inv(lon[0], lat[0], lon[-1], lat[-1])
    np.testing.assert_allclose(
        np.degrees(line.heading[[0, -1]]), [80, back + 180 if back < 0 else back - 180], atol=1e-4
    )
    assert np.abs(line.curvature).max() < 1e-8
    np.testing.assert_allclose(line.vertex_distance, np.arange(0, 30_001, 37.5), atol=1e-3)


@pytest.mark.parametrize(("longitude", "latitude"), PLACES)
def test_a_circle_anywhere(longitude: float, latitude: float):
    """Outside: pyproj.Geod lays a circle of 400 m; its radius comes back to 0.1 %, + where it turns left."""
    for hand in (1.0, -1.0):
        line = smooth_line(*plane(longitude, latitude, *circle(400.0, 4.0, 20.0, hand)))
        np.testing.assert_allclose(line.curvature[20:-20], hand / 400.0, rtol=1e-3)
        assert line.distance[-1] == pytest.approx(1600, rel=1e-4)
        length = GEOD.line_length(line.longitude, line.latitude)
        assert length == pytest.approx(line.distance[-1], abs=1e-3)


@pytest.mark.parametrize("noise", [0.5, 1.0, 2.0])
def test_drawing_noise_is_taken_out_and_told(noise: float):
    """Law: vertices every 20 m with a known s.d. give back this s.d., a line truer than its vertices, and
    a standard error that is honest within a factor of two; the drawn line would be far too long."""
    rng = np.random.default_rng(3)
    s = np.arange(0, 20_001, 20.0)
    x, y = s + rng.normal(0, noise, s.size), rng.normal(0, noise, s.size)
    lon, lat = plane(-31.0, -38.0, x, y)
    line = smooth_line(lon, lat)
    assert line.vertex_noise == pytest.approx(noise, rel=0.1)
    azimuth, _, distance = GEOD.inv(
        np.full(line.distance.size, -31.0), np.full(line.distance.size, -38.0), line.longitude, line.latitude
    )
    off = distance * np.cos(np.radians(azimuth))
    assert 0.5 < np.std(off[50:-50]) / np.median(line.lateral_se) < 2
    assert np.std(off) < 0.5 * noise
    assert abs(line.distance[-1] - (x[-1] - x[0])) < 3 * noise


def test_a_sliver_at_the_end_is_no_curve():
    """Law: however long a straight line is beyond its last whole step, it has no curve and one heading."""
    for extra in (1e-5, 4e-4, 0.3, 4.999, 5.001, 9.9996):
        lon, lat = straight(-31.0, -38.0, 30.0, np.linspace(0, 3000 + extra, 101))
        line = smooth_line(lon, lat)
        assert np.abs(line.curvature).max() < 1e-8
        assert np.ptp(np.degrees(line.heading)) < 0.05
        assert line.distance[-1] == pytest.approx(3000 + extra, abs=1e-4)
        assert np.diff(line.distance).min() > 4.9


@pytest.mark.parametrize("at", [[0, 20], [0, 200], [0, 240], [0, 4000], [0, 30, 60], [0, 10, 20, 30], [0, 9000, 9010]])
def test_few_vertices_far_apart(at: list[float]):
    """Law: a straight line stays straight and as long as it is, however few vertices it has."""
    lon, lat = straight(5.0, 50.0, 30.0, np.array(at, float))
    line = smooth_line(lon, lat)
    assert line.distance[-1] == pytest.approx(at[-1], abs=1e-3)
    assert np.abs(line.curvature).max() < 1e-7
    np.testing.assert_allclose(line.vertex_distance, at, atol=0.01)


def test_a_part_is_the_line_between():
    """Law: a part has the same places and headings, counted from its start."""
    line = smooth_line(*plane(179.995, -17.0, *circle(600.0, 3.0, 25.0)))
    part = line.part(304.2, 1507.7)
    assert (part.distance[0], part.distance[-1]) == (0, pytest.approx(1203.5))
    whole = np.interp(part.distance[1:-1] + 304.2, line.distance, np.mod(line.longitude, 360))
    np.testing.assert_allclose(np.mod(part.longitude[1:-1], 360), whole, atol=1e-9)
    assert GEOD.line_length(part.longitude, part.latitude) == pytest.approx(1203.5, abs=0.01)
    np.testing.assert_allclose(part.curvature[5:-5], 1 / 600, rtol=1e-3)
    np.testing.assert_allclose(part.vertex_distance, line.vertex_distance - 304.2)


def test_stations_at_equal_steps():
    """Outside: pyproj.Geod between neighbouring stations: 10 m each, both ends included, across 180°."""
    lon, lat = straight(179.99, -17.0, 85.0, np.linspace(0, 5004, 181))
    line = smooth_line(lon, lat)
    stations = lay_stations(line, 10.0)
    steps = GEOD.line_lengths(stations.longitude, stations.latitude)
    np.testing.assert_allclose(steps, 5004 / 500, atol=1e-4)
    assert stations.distance.size == 501
    assert stations.distance[-1] == line.distance[-1]
    assert 179 < stations.longitude[0] < 180 < stations.longitude[-1] < 181


def test_too_short_for_stations():
    """Law: a line of less than two steps is refused in one sentence."""
    line: SmoothedLine = smooth_line(*straight(5.0, 50.0, 30.0, np.array([0.0, 14.0])))
    with pytest.raises(RouteError, match="the line is only 14 m long; give a longer line or a shorter step_m"):
        lay_stations(line, 10.0)
    assert lay_stations(line, 5.0).distance.size == 4
