"""Real elevation tiles as agencies give them, and heights that railways publish.

Needs the folder of open data named by GRADEWRIGHT_OPEN_DATA (see DEVELOPERS.md); ground: SRTM
(public domain), stations: OpenStreetMap (ODbL).
"""

from __future__ import annotations

import csv
import json
import os
from pathlib import Path

import numpy as np
import pytest

from profiler.elevation.sampling import sample
from profiler.ground import Bounds
from profiler.read.rasters import open_ground, open_sources
from profiler.read.relief import read_relief

OPEN_DATA = os.environ.get("GRADEWRIGHT_OPEN_DATA", "")
pytestmark = pytest.mark.skipif(not Path(OPEN_DATA, "ch-gotthard").is_dir(), reason="GRADEWRIGHT_OPEN_DATA is not set")


def test_voids_of_an_unfilled_tile_are_voids():
    """Published: the tile's description counts 103,743 voids, written −32767."""
    ground = open_ground(Path(OPEN_DATA, "ch-gotthard", "N46E008_unfilled.tif"))
    cells = ground.read(0, 0, *ground.shape)
    assert np.isnan(cells).sum() == 103_743
    assert np.nanmin(cells) > 0


def test_voids_never_become_elevations():
    """Law: on a line across the mountains of that tile every value lies between the least and the
    greatest valid cell nearby, and where the tile is void the filled one answers."""
    sources = open_sources(["N46E008_unfilled.tif", "N46E008.hgt"], Path(OPEN_DATA, "ch-gotthard"))
    longitude, latitude = np.linspace(8.0, 9.0, 20_000), np.linspace(46.2, 46.8, 20_000)
    got = sample(sources, longitude, latitude)
    assert 0.01 < np.isnan(got.values[0]).mean() < 0.3
    assert np.nanmin(got.values) > 150
    ground, source = got.preferred()
    assert np.isfinite(ground).all()
    np.testing.assert_array_equal(source == 1, np.isnan(got.values[0]))


def test_an_hgt_cell_centre_is_the_cell():
    """Published: rows and columns of an .hgt tile lie on whole multiples of three arc seconds, big
    endian, from the north-western corner (SRTM User's Guide): read here byte by byte."""
    path = Path(OPEN_DATA, "ch-gotthard", "N46E008.hgt")
    cells = np.fromfile(path, ">i2").reshape(1201, 1201)
    rows, columns = np.arange(0, 1201, 7), (np.arange(0, 1201, 7) * 5) % 1201
    got = sample(open_sources([path.name], path.parent), 8 + columns / 1200, 47 - rows / 1200)
    np.testing.assert_allclose(got.values[0], cells[rows, columns], atol=1e-3)


def test_station_elevations_across_two_tiles():
    """Published: station elevations of the line Bayreuth to Neuenmarkt-Wirsberg (see the folder's
    list); the ground at the stations agrees within 5 m on both sides of the tile edge at 50° north."""
    folder = Path(OPEN_DATA, "de-bayreuth")
    with (folder / "published_elevations.csv").open(encoding="utf-8") as file:
        told = {r["station"]: r["published_elevation_m"] for r in csv.DictReader(file)}
    published = {station: float(height) for station, height in told.items() if height}
    features = json.loads((folder / "rail.geojson").read_text(encoding="utf-8"))["features"]
    places = {
        f["properties"].get("name"): f["geometry"]["coordinates"]
        for f in features
        if f["geometry"]["type"] == "Point" and f["properties"].get("name") in published
    }
    longitude, latitude = np.array(list(places.values()), dtype=float)[:, :2].T
    assert latitude.min() < 50 < latitude.max()
    got = sample(open_sources(["*.hgt"], folder), longitude, latitude).values[0]
    np.testing.assert_allclose(got, [published[name] for name in places], atol=5)


def test_the_seam_of_two_tiles_is_no_step():
    """Law: the two tiles share the row at 50° north: 20 m to both sides of it the ground differs by no
    more than the ground between neighbouring rows does, anywhere along it."""
    sources = open_sources(["*.hgt"], Path(OPEN_DATA, "de-bayreuth"))
    longitude = np.linspace(11.01, 11.99, 4000)
    rows = [sample(sources, longitude, np.full(4000, 50 + d)).values[0] for d in (-2e-4, 0, 2e-4)]
    assert all(np.isfinite(row).all() for row in rows)
    steps = [np.std(np.diff(rows, axis=0)[k]) for k in (0, 1)]
    inland = [sample(sources, longitude, np.full(4000, 49.9 + d)).values[0] for d in (0, 2e-4)]
    assert max(steps) < 2 * np.std(inland[1] - inland[0])


def test_a_picture_of_two_tiles():
    """Law: the mosaic has no hole at the seam and lies within the heights of the tiles."""
    sources = open_sources(["*.hgt"], Path(OPEN_DATA, "de-bayreuth"))
    relief = read_relief(sources, Bounds(11.4, 49.88, 11.7, 50.1), max_cells=40_000)
    assert np.isfinite(relief.elevation).all()
    assert 250 < relief.elevation.min() < relief.elevation.max() < 800
