"""The invented sample territory: it is what it says, it lies at sea, and it is small."""

from __future__ import annotations

import itertools
import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
import rasterio

from profiler.territory import Territory
from profiler.units import EARTH_RADIUS, FOOT, degree_of_curve
from sample_routes.make import SEED
from sample_routes.maker.cutoff import FROM_POST, TO_POST, cutoff_drawing, cutoff_territory
from sample_routes.maker.drawing import SIDINGS, drawing
from sample_routes.maker.line import (
    END,
    LENGTH,
    PVIS,
    START,
    WORKS,
    alignment,
    chainage_of,
    geographic,
    grades,
    plane,
)
from sample_routes.maker.words import gradients, territory, truth

FOLDER = Path(__file__).parents[1] / "sample_routes"
STATIONS = np.arange(0.0, LENGTH, 10.0)


@pytest.fixture(scope="module")
def pieces() -> list[dict]:
    return json.loads((FOLDER / "farrow-centreline.geojson").read_text(encoding="utf-8"))["features"]


@pytest.fixture(scope="module")
def misfit() -> np.ndarray:
    """Ground less rail at `STATIONS`, bilinear, NaN in voids. [m]"""
    with rasterio.open(FOLDER / "farrow-ground.tif") as file:
        cells = file.read(1, masked=True).filled(np.nan)
        inverse = ~file.transform
    lon, lat = geographic(*alignment().place(STATIONS))
    column, row = inverse.a * lon + inverse.c - 0.5, inverse.e * lat + inverse.f - 0.5
    c, r = np.floor(column).astype(int), np.floor(row).astype(int)
    u, v = column - c, row - r
    ground = (
        cells[r, c] * (1 - u) * (1 - v)
        + cells[r, c + 1] * u * (1 - v)
        + cells[r + 1, c] * (1 - u) * v
        + cells[r + 1, c + 1] * u * v
    )
    return ground - grades().at(STATIONS)


@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("farrow.toml", territory),
        ("farrow-truth.txt", truth),
        ("farrow-gradients.csv", gradients),
        ("farrow-centreline.geojson", lambda: drawing(SEED)),
        ("farrow-cutoff.toml", cutoff_territory),
        ("farrow-cutoff-centreline.geojson", lambda: cutoff_drawing(SEED)),
    ],
)
def test_text_files_come_out_again(name, make):
    """Law: the same seed gives the same files; coordinates may differ in the last printed digit."""
    numbers = [
        np.array([float(w) for w in _words(text) if _is_number(w)])
        for text in (make(), (FOLDER / name).read_text(encoding="utf-8"))
    ]
    assert numbers[0].size > 30
    np.testing.assert_allclose(numbers[0], numbers[1], atol=2e-2 if "truth" in name else 2e-6)


def _words(text: str) -> list[str]:
    for mark in "[]{}:,=\"'":
        text = text.replace(mark, " ")
    return text.split()


def _is_number(word: str) -> bool:
    return word.replace(".", "", 1).lstrip("-").isdigit()


def test_small_enough_for_a_wheel():
    """Law of the house: the sample's files together stay within 3 MB."""
    files = [p for p in FOLDER.iterdir() if p.suffix in (".toml", ".csv", ".geojson", ".tif", ".txt")]
    assert {"farrow.toml", "farrow-ground.tif", "README.txt"} <= {p.name for p in files}
    assert sum(p.stat().st_size for p in files) < 3_000_000


@pytest.mark.parametrize("name", ["farrow.toml", "farrow-cutoff.toml"])
def test_says_that_it_is_invented_and_validates(name):
    """Law: nobody takes it for a real place, and the territory is whole."""
    text = (FOLDER / name).read_text(encoding="utf-8")
    whole = Territory(**tomllib.loads(text))
    assert whole.route.invented
    assert "invented" in text.splitlines()[0]
    assert "INVENTED" in (FOLDER / "README.txt").read_text(encoding="utf-8")
    assert all((FOLDER / r).exists() for r in [*whole.elevation.rasters, whole.centreline.path])


def test_lies_at_sea(pieces):
    """Outside: the nearest land is Tristan da Cunha, 37.1° S 12.3° W, far off; cells and vertices stay
    within 31.6 to 30.7° W and 38.5 to 37.9° S, where charts show only ocean."""
    lon, lat = np.array(list(itertools.chain.from_iterable(p["geometry"]["coordinates"] for p in pieces))).T
    with rasterio.open(FOLDER / "farrow-ground.tif") as file:
        bounds = file.bounds
    assert -31.6 < bounds.left < lon.min() < lon.max() < bounds.right < -30.7
    assert -38.5 < bounds.bottom < lat.min() < lat.max() < bounds.top < -37.9


def test_margin_around_the_line():
    """Law: the map has at least 3 km of country on every side of the line."""
    with rasterio.open(FOLDER / "farrow-ground.tif") as file:
        west, south, east, north = file.bounds
    line = alignment()
    low = plane().transform([west, east], [south, south])
    high = plane().transform([west, east], [north, north])
    assert line.east.min() - max(low[0][0], high[0][0]) > 3000
    assert min(low[0][1], high[0][1]) - line.east.max() > 3000
    assert line.north.min() - max(low[1]) > 3000
    assert min(high[1]) - line.north.max() > 3000


def test_length_and_ends():
    """Worked: 32.6 true miles are 52,464.6 m; a geodesic over the ellipsoid, raised to the line's mean
    height, agrees within 0.5 m, and the line runs from one stated end to the other."""
    from pyproj import Geod

    line = alignment()
    lon, lat = geographic(line.east, line.north)
    raised = 1 + float(grades().at(line.chainage).mean()) / EARTH_RADIUS
    assert pytest.approx(52464.6, abs=0.1) == LENGTH
    assert Geod(ellps="WGS84").line_length(lon, lat) * raised == pytest.approx(LENGTH, abs=0.5)
    assert (lon[0], lat[0], lon[-1], lat[-1]) == pytest.approx((*START, *END), abs=1e-6)


def test_curves_within_ten_degrees():
    """Law: the sharpest curve is 10 degrees; curvature is the turning of the heading."""
    line = alignment()
    assert np.abs(degree_of_curve(line.curvature)).max() == pytest.approx(10, abs=1e-6)
    turning = np.diff(line.heading) / np.diff(line.chainage)
    np.testing.assert_allclose(turning, (line.curvature[1:] + line.curvature[:-1]) / 2, atol=1e-9)
    assert len(line.arcs) == 49
    reverse = [a for a, b in itertools.pairwise(line.arcs) if abs(b.start - a.end) < 1e-6]
    compound = [a for a, b in itertools.pairwise(line.arcs) if b.start < a.end - 1e-6]
    assert len(reverse) == 1
    assert len(compound) == 2
    assert all(a.degree * b.degree > 0 for a, b in itertools.pairwise(line.arcs) if b.start < a.end - 1e-6)


def test_grades_as_stated():
    """Worked: 383 ft at the start and the stated grades over stated miles give 14.7 ft at the quay;
    the summit's parabola lies A·L/8 = 1.49 m under the point of intersection at 1,040.4 ft."""
    g = grades()
    rises = sum((p - q) * 52.8 * grade for (p, grade), q in zip(PVIS, [38.0, *(p for p, _ in PVIS)], strict=False))
    assert float(g.at(LENGTH)) / FOOT == pytest.approx(383 + rises, abs=1e-6)
    assert 383 + rises == pytest.approx(14.72, abs=0.01)
    at = chainage_of(54.3)
    assert float(g.at(at)) == pytest.approx(1040.35 * FOOT - 0.028 * 1400 * FOOT / 8, abs=0.02)
    for (post, grade), before in zip(PVIS, [38.0, *(p for p, _ in PVIS)], strict=False):
        assert float(g.grade_at(chainage_of((post + before) / 2))) * 100 == pytest.approx(grade, abs=1e-9)
    slope = np.gradient(g.at(STATIONS), STATIONS)
    np.testing.assert_allclose(slope[1:-1], g.grade_at(STATIONS)[1:-1], atol=2e-4)
    reach = np.column_stack([g.chainage - g.curve_length / 2, g.chainage + g.curve_length / 2]).ravel()
    assert (np.diff(reach) > 0).all()


def test_drawing_is_about_a_metre_off(pieces):
    """Law: vertices stand 2 to 63 m apart and about 1 m beside the line; pieces share their ends."""
    from scipy.spatial import cKDTree

    main = [np.array(p["geometry"]["coordinates"]) for p in pieces if "service" not in p["properties"]]
    assert len(pieces) - len(main) == len(SIDINGS)
    line = alignment()
    tree = cKDTree(np.column_stack([line.east, line.north]))
    off = []
    for piece in main:
        places = np.column_stack(plane().transform(*piece.T))
        chords = np.hypot(*np.diff(places, axis=0).T)
        assert chords.min() > 2
        assert chords.max() < 63
        off.append(tree.query(places)[0])
    assert 0.6 < np.sqrt(np.mean(np.concatenate(off) ** 2)) < 1.4
    ends, count = np.unique(np.vstack([p[[0, -1]] for p in main]), axis=0, return_counts=True)
    assert sorted(count) == [1, 1] + [2] * (len(ends) - 2)


def test_the_cutoff_leaves_the_line_and_comes_back():
    """Law: outside its two posts the alternative is the line to a few metres; between them it is shorter, and apart."""
    from scipy.spatial import cKDTree

    line = alignment()
    tree = cKDTree(np.column_stack([line.east, line.north]))
    piece = json.loads(cutoff_drawing(SEED))["features"][0]["geometry"]["coordinates"]
    places = np.column_stack(plane().transform(*np.array(piece).T))
    away, nearest = tree.query(places)
    inside = (nearest > chainage_of(FROM_POST)) & (nearest < chainage_of(TO_POST))
    assert away[~inside].max() < 6
    assert 200 < away[inside].max() < 400
    assert np.hypot(*np.diff(places, axis=0).T).sum() < LENGTH - 1000


def test_ground_stands_off_the_rail_as_stated(misfit):
    """Law: 2 to 3 m on open track, hills of 20 to 95 m over tunnels, valleys under bridges, short voids."""
    inside = np.zeros(STATIONS.size, dtype=bool)
    for work in WORKS:
        inside |= (work.start - 60 < STATIONS) & (work.end + 60 > STATIONS)
        there = misfit[(work.start <= STATIONS) & (work.end >= STATIONS)]
        if work.kind == "tunnel":
            assert 20 < there.max() < 95
            assert there.min() > 3
        else:
            assert there.min() < -0.6 * work.height
    assert 2.0 < np.sqrt(np.nanmean(misfit[~inside] ** 2)) < 3.0
    void = np.isnan(misfit)
    runs = np.diff(np.flatnonzero(np.diff(np.r_[0, void, 0])))[::2] * 10
    assert runs.size == 2
    assert runs.max() < 300
