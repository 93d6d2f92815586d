"""Lines of a network thinned for the zooms of a map."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest
import shapely
from pyproj import Transformer

from profiler.grade_classes import DEFAULT_LIMITS
from profiler.landmark import GradeRun
from profiler.network_line import NetworkLine
from profiler.present.network_levels import CELL_PX, STEPS_PX, TOLERANCE_PX, ZOOMS, Levels, thinned, together, world
from profiler.present.page_pack import Packer
from profiler.route import Posts
from tests.invented import invented_landmarks, invented_profile
from tests.pages import array_of, unpacked

LINE = NetworkLine.of("a", invented_profile(), invented_landmarks())


def straight(runs: list[tuple[float, float, float]], north: float = 0.0, west: float = 0.0) -> NetworkLine:
    """A line due east on the equator, a station every 10 m, with grade runs (start m, end m, grade)."""
    s = np.arange(0.0, runs[-1][1] + 5, 10.0)
    return NetworkLine(
        key="s",
        name="",
        ends=("", ""),
        units="metric",
        posts=Posts(np.array([0.0]), np.array([0.0])),
        chainage=s,
        longitude=west + s / 111_319.49,
        latitude=np.full(s.size, north),
        elevation=np.zeros(s.size),
        grade_runs=tuple(GradeRun(a, b, g, 0.0, 0.0) for a, b, g in runs),
    )


@pytest.mark.parametrize("level", range(len(ZOOMS)))
def test_places_are_web_mercator(level: int):
    """Outside: pixels by PROJ's EPSG:3857, whose world is 2π·6378137 m wide; half a step of rounding."""
    x, y, _ = thinned(LINE, DEFAULT_LIMITS)[level]
    longitude, latitude = LINE.track
    east, north = Transformer.from_crs(4326, 3857, always_xy=True).transform(longitude[[0, -1]], latitude[[0, -1]])
    wide, steps = 2 * np.pi * 6378137, world(ZOOMS[level])
    assert x[[0, -1]] == pytest.approx((np.array(east) / wide + 0.5) * steps, abs=0.51)
    assert y[[0, -1]] == pytest.approx((0.5 - np.array(north) / wide) * steps, abs=0.51)


@pytest.mark.parametrize("level", range(len(ZOOMS)))
def test_no_station_strays_from_what_is_drawn(level: int):
    """Law: every station lies within what each zoom thinned away, half a pixel of it and of each closer one, and
    rounding."""
    x, y, _ = thinned(LINE, DEFAULT_LIMITS)[level]
    full_x, full_y, _ = _unthinned(ZOOMS[level])
    drawn = shapely.linestrings(np.column_stack([x, y]) / STEPS_PX)
    away = shapely.distance(shapely.points(full_x, full_y), drawn).max()
    lost = TOLERANCE_PX * sum(2.0 ** (ZOOMS[level] - zoom) for zoom in ZOOMS[level:])
    assert away <= lost + 1 / STEPS_PX
    assert x.size < LINE.chainage.size / 10


def _unthinned(zoom: int) -> tuple[np.ndarray, np.ndarray, None]:
    longitude, latitude = LINE.track
    east, north = Transformer.from_crs(4326, 3857, always_xy=True).transform(longitude, latitude)
    pixels, wide = 256 * 2.0**zoom, 2 * np.pi * 6378137
    return (np.array(east) / wide + 0.5) * pixels, (0.5 - np.array(north) / wide) * pixels, None


def test_classes_lie_where_their_runs_do():
    """Worked: on the equator a pixel of zoom 12 is 38.2 m; 3 km up 1.5 %, 2 km level, 4 km down 2.5 % change class at
    78.5 and 130.8 px, found to a cell of 3 px and a step."""
    x, _, classes = thinned(straight([(0, 3000, 0.015), (3000, 5000, 0.0), (5000, 9000, -0.025)]), DEFAULT_LIMITS)[-1]
    starts = np.flatnonzero(np.r_[True, np.diff(classes) != 0])
    assert classes[starts].tolist() == [3, 0, -4]
    assert (x[starts] - x[0]) / STEPS_PX == pytest.approx([0, 3000 / 38.22, 5000 / 38.22], abs=CELL_PX)


@pytest.mark.parametrize(("share", "shown"), [(0.30, 4), (0.20, 1)])
def test_a_stretch_too_short_to_be_seen_shows_the_steepest_quarter(share: float, shown: int):
    """Worked: at zoom 4 a pixel is 9.8 km, so that 20 km are one cell; 30 % of it at 3 % make it mountain, 20 % do
    not, and it has the class of the rest, 0.2 %."""
    cut = 20_000 * share
    _, _, classes = thinned(straight([(0, cut, 0.03), (cut, 20_000, 0.002)]), DEFAULT_LIMITS)[0]
    assert set(classes.tolist()) == {shown}


def test_without_runs_the_rail_itself_is_classed():
    """Worked: no run is told, elevation rises 12 m a kilometre: heavy all along, also where runs leave a gap."""
    bare = straight([(0, 6000, 0.0)])
    rising = dataclasses.replace(bare, grade_runs=(), elevation=0.012 * bare.chainage)
    gap = dataclasses.replace(rising, grade_runs=(GradeRun(0, 2000, 0.012, 0, 24), GradeRun(4000, 6000, 0.012, 0, 24)))
    for line in (rising, gap):
        assert set(thinned(line, DEFAULT_LIMITS)[-1][2].tolist()) == {3}


def test_a_line_across_the_meridian_goes_on():
    """Law: east of 180° places go on growing, whichever side of it the stations are given on."""
    line = straight([(0, 60_000, 0.0)], west=179.7)
    turned = dataclasses.replace(line, longitude=(line.longitude + 180) % 360 - 180)
    for one in (line, turned):
        x, _, _ = thinned(one, DEFAULT_LIMITS)[-1]
        assert (np.diff(x) > 0).all()
        assert x[-1] > world(12) > x[0]


def test_a_line_too_short_to_be_seen_is_two_vertices():
    """Law: a hundred metres are nothing at zoom 4, and can be drawn all the same."""
    assert [x.size for x, _, _ in thinned(straight([(0, 100, 0.0)]), DEFAULT_LIMITS)] == [2] * len(ZOOMS)


@pytest.mark.parametrize(
    ("west", "east", "turns"),
    [
        ([10, 20], [11, 25], [0, 0]),
        ([-179, 178], [-170, 179], [1, 0]),
        ([178, -179], [182, -170], [0, 1]),
        ([190, -100], [191, -99], [-1, 0]),
        ([0, np.nan], [1, np.nan], [0, 0]),
    ],
)
def test_lines_on_both_sides_of_the_meridian_lie_together(west: list[float], east: list[float], turns: list[int]):
    """Worked: the widest stretch of longitude without a line is left outside; 190° is −170°."""
    assert together(np.array(west, dtype=float), np.array(east, dtype=float)).tolist() == turns


@pytest.mark.parametrize("seed", range(20))
def test_together_is_the_narrowest(seed: int):
    """Law: no other choice of turns spans less, all tried."""
    rng = np.random.default_rng(seed)
    west = rng.uniform(-180, 180, 4)
    east = west + rng.uniform(0, 60, 4)
    turns = together(west, east)

    def wide(some: np.ndarray) -> float:
        return float((east + 360 * some).max() - (west + 360 * some).min())

    assert wide(turns) == pytest.approx(min(wide(np.array(some)) for some in itertools.product((-1, 0, 1), repeat=4)))


def test_what_is_packed_is_what_was_thinned():
    """Law: first places and ways add up to the vertices of every line; one on no map has none."""
    levels, packer = Levels(DEFAULT_LIMITS), Packer()
    nowhere = dataclasses.replace(LINE, longitude=LINE.longitude * np.nan)
    for line in (LINE, nowhere, LINE):
        levels.add(line)
    data, buffer = unpacked(packer.text({"levels": levels.packed(packer)}))
    for level, (x, y, classes) in zip(data["levels"], thinned(LINE, DEFAULT_LIMITS), strict=True):
        own = {key: array_of(value, buffer) for key, value in level.items() if key != "zoom"}
        assert own["n"].tolist() == [x.size, 0, x.size]
        for first, way, places in (("x", "dx", x), ("y", "dy", y)):
            halves = own[way].reshape(2, -1)
            assert (own[first][:, None] + np.cumsum(halves, axis=1) == places).all()
        assert (own["k"].reshape(2, -1) == classes).all()
