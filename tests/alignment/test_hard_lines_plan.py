"""Lines that are drawn badly and lines that look it: stray vertices, reversals, loops, the 180° meridian."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from profiler.alignment.join import Joined, join
from profiler.alignment.smooth import earth_centred
from profiler.alignment.stray import strays, without_strays
from profiler.centreline import Centreline, Piece
from profiler.errors import RouteError
from profiler.units import EARTH_RADIUS

QUARTER = np.pi / 2
TO, BACK = False, True
SHAPES = {  # (length m, curvature 1/m, whether the train reverses before it)
    "straight": [(2000, 0, TO)],
    "hairpin of 70 m": [(800, 0, TO), (np.pi * 70, 1 / 70, TO), (800, 0, TO)],
    "helical line": [(500, 0, TO), (1.5 * np.pi * 250, 1 / 250, TO), (900, 0, TO)],
    "zigzag": [
        *((1000, 0, TO), (100, 1 / 300, TO), (200, 0, TO)),
        *((300, -1 / 300, BACK), (700, 0, TO), (100, 1 / 200, BACK), (1000, 0, TO)),
    ],
    "wye": [
        *((500, 0, TO), (QUARTER * 150, 1 / 150, TO), (150, 0, TO)),
        *((150, 0, BACK), (QUARTER * 150, 1 / 150, TO), (900, 0, TO)),
    ],
    "valley of 400 m": [
        *((600, 0, TO), (QUARTER * 130, 1 / 130, TO), (400, 0, TO), (2 * QUARTER * 130, -1 / 130, TO)),
        *((400, 0, TO), (QUARTER * 130, 1 / 130, TO), (600, 0, TO)),
    ],
}


def degrees(plane: np.ndarray, longitude: float = 10.0, latitude: float = 47.0) -> tuple[np.ndarray, np.ndarray]:
    """Places (n, 2) east and north [m] of a point as longitude and latitude, near enough for a few kilometres."""
    scale = np.degrees(1 / EARTH_RADIUS)
    east = longitude + plane[:, 0] * scale / np.cos(np.radians(latitude))
    return np.where(east > 180, east - 360, east), latitude + plane[:, 1] * scale


def drawn(name: str, step: float) -> np.ndarray:
    """Vertices (n, 2) [m] of a shape."""
    place, heading = [np.zeros(2)], 0.0
    for length, curvature, reverses in SHAPES[name]:
        heading += np.pi * reverses
        count = max(round(length / step), 1)
        for _ in range(count):
            heading += curvature * length / count / 2
            place.append(place[-1] + length / count * np.array([np.cos(heading), np.sin(heading)]))
            heading += curvature * length / count / 2
    return np.array(place)


def pieces(*planes: np.ndarray, **place: float) -> Centreline:
    """A centreline of pieces given by plane coordinates [m]."""
    rows = (Piece(*(np.asarray(x) for x in degrees(plane, **place)), row=i) for i, plane in enumerate(planes, 1))
    unwrapped = (dataclasses.replace(p, longitude=np.unwrap(p.longitude, period=360)) for p in rows)
    return Centreline("line.geojson", tuple(unwrapped), "EPSG:4326")


def length(joined: Joined) -> float:
    """Of a joined line. [m]"""
    return float(np.linalg.norm(np.diff(earth_centred(joined.longitude, joined.latitude), axis=0), axis=1).sum())


@pytest.mark.parametrize("step", [0.5, 5, 20, 50, 200])
@pytest.mark.parametrize("name", SHAPES)
def test_no_shape_of_track_is_astray(name: str, step: float):
    """Law: hairpins, loops and reversals stay whole, drawn densely or sparsely, exactly or 3 m beside."""
    plane = drawn(name, step)
    for noise in (0.0, 3.0):
        beside = plane + np.random.default_rng(5).normal(0, 1, plane.shape) * noise
        assert strays(*degrees(beside)).keep.all()


@pytest.mark.parametrize("step", [5, 20, 50])
@pytest.mark.parametrize("name", SHAPES)
def test_one_vertex_aside_is_left_out(name: str, step: float):
    """Law: 500 m to the left of a straight stretch is no track, and nothing else is left out with it."""
    plane = drawn(name, step)
    at = int(250 / step)
    plane[at, 1] += 500
    found = strays(*degrees(plane))
    assert np.flatnonzero(~found.keep).tolist() == [at]
    assert found.aside[at] == pytest.approx(500, rel=0.01)


def test_two_vertices_aside_are_left_out():
    """Law: two neighbours astray, on one side or on both; beyond two it may be a line."""
    for other in (400, -600):
        plane = drawn("straight", 20)
        plane[[40, 41], 1] += 500, other
        assert np.flatnonzero(~strays(*degrees(plane)).keep).tolist() == [40, 41]


def test_stray_vertices_of_a_joined_line_are_said_with_feature_and_place():
    """Worked: the vertex is the 11th of the second piece, 1,200 m on; the spans of both pieces stay."""
    plane = drawn("straight", 20)
    plane[60, 1] += 500
    line = pieces(plane[:51], plane[50:])
    joined, said = without_strays(join(line), line)
    assert said == ("feature 2: the vertex at 10.01582, 47.00450 lies 500 m aside of its neighbours and is left out",)
    assert length(joined) == pytest.approx(2000, rel=0.005)
    assert [(s.first, s.last) for s in joined.spans] == [(0, 50), (50, 99)]
    assert without_strays(joined, line) == (joined, ())


def test_a_line_of_stray_vertices_is_refused():
    """Law: where more than one vertex in twenty is astray nobody can tell the line."""
    plane = drawn("straight", 20)
    plane[5:95:9, 1] += 300
    line = pieces(plane)
    with pytest.raises(RouteError, match=r"feature 1: 10 of 101 vertices .* by 300 m; correct or remove them"):
        without_strays(join(line), line)


def test_pieces_on_both_sides_of_the_180_degree_meridian_join():
    """Law: a line cut at the meridian, its ends at 180 and −180, is as long as one that is not, either way round."""
    plane = drawn("straight", 20)
    whole = join(pieces(plane, longitude=179.99))
    half = pieces(plane[:51], plane[50:], longitude=179.99).pieces
    other = half[1]
    over = dataclasses.replace(other, longitude=other.longitude - 360)
    turned = dataclasses.replace(other, longitude=other.longitude[::-1] - 360, latitude=other.latitude[::-1])
    for second in (other, over, turned):
        both = join(Centreline("line.geojson", (half[0], second), "EPSG:4326"))
        assert np.abs(np.diff(both.longitude)).max() < 0.001
        assert length(both) == pytest.approx(length(whole), abs=1e-6)
        assert np.ptp(both.longitude) == pytest.approx(np.ptp(whole.longitude), abs=1e-9)


def test_a_gap_across_the_180_degree_meridian_is_named_on_both_sides():
    """Law: places are said between −180 and 180."""
    plane = drawn("straight", 20)
    line = pieces(plane[:40], plane[60:], longitude=179.987)
    with pytest.raises(RouteError, match=r"gap of 421 m between -179\.99\d+, 47\.00000 and 179\.99\d+, 47\.00000"):
        join(line)


def crossing_itself() -> tuple[np.ndarray, int, int]:
    """A helical line with a vertex where it crosses itself, and that vertex's two numbers.

    Worked: 500 m straight, then three quarters of a circle of 250 m: it comes back to the straight at 250 m.
    """
    plane, crossing = drawn("helical line", 20), np.array([250.0, 0.0])
    after = int(np.flatnonzero((plane[:-1, 1] > 0) & (plane[1:, 1] <= 0))[-1]) + 1
    before = int(np.flatnonzero(plane[:, 0] > 250)[0])
    return (
        np.vstack((plane[:before], crossing, plane[before:after], crossing, plane[after:])),
        before,
        after + 1,
    )


def test_a_line_that_crosses_itself_is_one_line():
    """Law: drawn as one piece, with or without a vertex in common, or cut there, it is as long as it is."""
    plane, first, second = crossing_itself()
    bare = np.delete(plane, [first, second], axis=0)
    cuts = [(plane[: first + 1], plane[first : second + 1], plane[second:]), (plane[: second + 1], plane[second:])]
    whole = length(join(pieces(bare)))
    for drawn_as in ((plane,), *cuts, cuts[0][::-1]):
        assert length(join(pieces(*drawn_as))) == pytest.approx(whole, abs=0.3)
    ends = [tuple(float(x[0]) for x in degrees(plane[[i]])) for i in (0, -1)]
    assert length(join(pieces(*cuts[0]), start=ends[0], end=ends[1])) == pytest.approx(whole, abs=0.3)


def test_tracks_that_part_at_less_than_thirty_degrees_are_a_junction():
    """Law: four ways that meet at 20° may be joined by slips: which way is meant has to be said."""
    ways = [np.outer(np.arange(0, 2001, 50), [np.cos(a), np.sin(a)]) for a in np.radians([0, 20, 180, 200])]
    with pytest.raises(RouteError, match=r"the line forks at 10\.00000, 47\.00000"):
        join(pieces(*ways))
    across = [np.outer(np.arange(0, 2001, 50), [np.cos(a), np.sin(a)]) for a in np.radians([0, 60, 180, 240])]
    with pytest.raises(RouteError, match=r"two lines that cross at 10\.00000, 47\.00000; give start and end on one"):
        join(pieces(*across))


def test_a_ring_has_no_ends():
    """Law: a closed line is refused; with its ends given the shorter way between them is taken, and said."""
    turn = np.linspace(0, 2 * np.pi, 101)
    ring = 500 * np.column_stack((np.cos(turn), np.sin(turn)))
    ring[-1] = ring[0]
    with pytest.raises(RouteError, match="closed upon itself and has no ends; give start and end"):
        join(pieces(ring))
    ends = [tuple(float(x[0]) for x in degrees(ring[[i]])) for i in (10, 40)]
    joined = join(pieces(ring), start=ends[0], end=ends[1])
    assert length(joined) == pytest.approx(0.3 * 2 * np.pi * 500, rel=0.005)
    assert any("the shorter is taken" in said for said in joined.assumptions)


def test_ends_with_exchanged_coordinates_are_told():
    """Law: an end that would lie on the line with its two figures exchanged is said to look so."""
    line = pieces(drawn("straight", 20))
    with pytest.raises(
        RouteError, match=r"the start at 47\.00000, 10\.00000 lies \d+ km .*; longitude and latitude look"
    ):
        join(line, start=(47.0, 10.0), end=(10.02, 47.0))
    with pytest.raises(
        RouteError, match=r"the start at 10\.00000, 48\.00000 lies 111 km .*; give a place within 500 m"
    ):
        join(line, start=(10.0, 48.0), end=(10.02, 47.0))
