"""Rasters on both sides of the 180° meridian and across it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
from rasterio.transform import Affine
from scipy import ndimage

from profiler.elevation.sampling import sample
from profiler.ground import Bounds
from profiler.longitude import toward
from profiler.read.rasters import open_sources
from profiler.read.relief import read_relief

CELL = 0.001


def country(longitude: np.ndarray, latitude: np.ndarray) -> np.ndarray:
    """Elevation that rises eastwards by 1 m in 0.001° and northwards by half of that. [m]"""
    east = np.mod(longitude, 360) - 180
    return (500 + 1000 * east + 500 * (latitude + 17)).astype("float32")


def write(path: Path, west: float, columns: int, crs: int = 4326, cell: float = CELL, north: float = -16.9) -> None:
    """A raster of `country`, 200 rows high, its corner at ``west``, ``north``."""
    x, y = west + cell * (np.arange(columns) + 0.5), north - cell * (np.arange(200) + 0.5)
    way = pyproj.Transformer.from_crs(crs, 4326, always_xy=True)
    values = country(*way.transform(*np.meshgrid(x, y)))
    grid, size = Affine(cell, 0, west, 0, -cell, north), {"height": 200, "width": columns}
    with rasterio.open(
        path, "w", "GTiff", crs=crs, transform=grid, count=1, dtype="float32", nodata=-9999, **size
    ) as dataset:
        dataset.write(values, 1)


RASTERS = {
    "two tiles": [(179.8, 200), (-180.0, 200)],
    "one tile, 179.8 to 180.2": [(179.8, 400)],
    "one tile, −180.2 to −179.8": [(-180.2, 400)],
    "metres of zone 60": [(797_000.0, 400, 32760, 100.0, 8_128_000.0)],
    "metres of zone 1": [(159_000.0, 400, 32701, 100.0, 8_128_000.0)],
}


@pytest.mark.parametrize("rasters", RASTERS.values(), ids=RASTERS)
@pytest.mark.parametrize("turn", [0.0, -360.0])
def test_ground_on_both_sides(tmp_path: Path, rasters: list[tuple], turn: float):
    """Worked: over a plane interpolation is exact, however the line and the raster count their longitudes."""
    for number, raster in enumerate(rasters):
        write(tmp_path / f"{number}.tif", *raster)
    sources = open_sources(["*.tif"], tmp_path)
    longitude, latitude = np.linspace(179.95, 180.05, 500) + turn, np.full(500, -17.0)
    np.testing.assert_allclose(sample(sources, longitude, latitude).values[0], country(longitude, latitude), atol=0.01)
    bounds = Bounds(179.95 + turn, -17.03, 180.05 + turn, -16.97)
    relief = read_relief(sources, bounds)
    rows, columns = relief.elevation.shape
    x = bounds.west + (np.arange(columns) + 0.5) * (bounds.east - bounds.west) / columns
    y = bounds.north - (np.arange(rows) + 0.5) * (bounds.north - bounds.south) / rows
    assert np.abs(relief.elevation - country(*np.meshgrid(x, y))).max() < 1.0  # a cell's worth


def test_a_raster_of_the_whole_globe_is_met_from_both_sides(tmp_path: Path):
    """Law: bounds beyond 180 find the other edge of a raster from −180 to 180, and of one from 0 to 360."""
    values = np.tile(np.arange(360, dtype="float32"), (180, 1))
    for name, west in (("a.tif", -180.0), ("b.tif", 0.0)):
        grid = Affine(1, 0, west, 0, -1, 90)
        with rasterio.open(
            tmp_path / name, "w", "GTiff", crs=4326, transform=grid, count=1, dtype="float32", height=180, width=360
        ) as dataset:
            dataset.write(np.roll(values, int(-west - 180), axis=1), 1)
        elevation = read_relief(open_sources([name], tmp_path), Bounds(170.0, -5.0, 190.0, 5.0)).elevation
        columns = elevation.shape[1]
        east = 170 + (np.arange(columns) + 0.5) * 20 / columns - 180
        away = np.abs(east) > 1.5  # beside the seam the two edges mix
        # the cells from −180 onwards are 0, 1, …, the last one before 180 is 359
        assert np.abs(elevation - (np.mod(east, 360) - 0.5))[:, away].max() < 0.2
        assert np.isfinite(elevation).all()


def test_tiles_elsewhere_are_not_met():
    """Law: a box meets another by whole turns only where they share area."""
    box = Bounds(179.0, 0.0, 180.0, 1.0)
    assert box.turns_to(Bounds(179.5, 0.5, 180.5, 0.6)) == (0,)
    assert box.turns_to(Bounds(-180.5, 0.5, -179.5, 0.6)) == (-1,)
    assert Bounds(-180.0, 0.0, -179.0, 1.0).turns_to(Bounds(179.5, 0.5, 180.5, 0.6)) == (1,)
    assert box.turns_to(Bounds(-178.0, 0.0, 10.0, 1.0)) == ()
    assert box.turns_to(Bounds(179.5, 2.0, 180.5, 3.0)) == ()


def write_cells(path: Path, values: np.ndarray, west: float, cell: float, north: float = 4.0) -> None:
    """Cells in degrees as a file of blocks of 16, their outer corner at ``west``, ``north``."""
    grid, blocks = Affine(cell, 0, west, 0, -cell, north), {"tiled": True, "blockxsize": 16, "blockysize": 16}
    size = {"height": values.shape[0], "width": values.shape[1], "count": 1, "dtype": "float32"}
    with rasterio.open(path, "w", "GTiff", crs=4326, transform=grid, **size, **blocks) as dataset:
        dataset.write(values, 1)


def to_and_fro(middle: float, reach: float, rows: int, cell: float) -> tuple[np.ndarray, np.ndarray]:
    """A line that crosses a meridian three times, over all rows but the outermost."""
    turn = np.linspace(0, 3 * np.pi, 900)
    return middle + reach * np.cos(turn), 4.0 - cell * (rows / 2 + (rows / 2 - 2.6) * np.cos(turn / 3))


@pytest.mark.parametrize("west", [-180.0, 0.0, -180.5])
@pytest.mark.parametrize("columns", [360, 361])
def test_a_raster_round_the_globe_adjoins_itself(tmp_path: Path, west: float, columns: int):
    """Outside: scipy.ndimage.map_coordinates in its mode "grid-wrap", with a first column that is written once
    more at the end or is not; every block is read once, in the order of the file."""
    cells = np.random.default_rng(11).uniform(0, 900, (40, 360)).astype("float32")
    write_cells(tmp_path / "globe.tif", np.c_[cells, cells[:, : columns - 360]], west, 1.0)
    (source,) = open_sources(["globe.tif"], tmp_path)
    longitude, latitude = to_and_fro(west, 6.0, 40, 1.0)
    place = np.array([3.5 - latitude, longitude - west - 0.5])
    tile, windows = source.tiles[0], []
    tile.read = lambda *window, read=tile.read: (windows.append(window), read(*window))[1]
    got = sample([source], longitude, latitude).values[0]
    expected = ndimage.map_coordinates(cells.astype(float), place, order=1, mode="grid-wrap")
    np.testing.assert_allclose(got, expected, atol=2e-3)
    assert windows == sorted(set(windows))


@pytest.mark.parametrize("method", ["bilinear", "cubic"])
def test_where_a_raster_round_the_globe_is_cut_makes_no_difference(tmp_path: Path, method: str):
    """Law: the same cells from −180 to 180 and from −90 to 270, which has no edge at 180°, on the line and beside."""
    cells = np.random.default_rng(12).uniform(0, 900, (40, 720)).astype("float32")
    longitude, latitude = to_and_fro(180.0, 4.0, 40, 0.5)
    found = []
    for number, (west, turned) in enumerate([(-180.0, cells), (-90.0, np.roll(cells, -180, axis=1))]):
        write_cells(tmp_path / f"{number}.tif", turned, west, 0.5)
        sources = open_sources([f"{number}.tif"], tmp_path)
        found.append(sample(sources, longitude, latitude, heading=np.zeros(900), method=method))
    np.testing.assert_allclose(found[0].values, found[1].values, rtol=1e-6)
    np.testing.assert_allclose(found[0].shoulders, found[1].shoulders, rtol=1e-6)
    assert np.isfinite(found[0].shoulders).all()


@pytest.mark.parametrize(
    ("columns", "cell", "around"),
    [(360, 1.0, 360), (361, 1.0, 360), (359, 1.0, 0), (200, 0.7, 0), (600, 0.7, 0), (43_200, 0.008333333, 43_200)],
)
def test_what_goes_round_the_globe(tmp_path: Path, columns: int, cell: float, around: int):
    """Worked: 360° are 360 columns of 1° or 43,200 of 30″ (declared in a few digits), no whole number of 0.7°."""
    write_cells(tmp_path / "a.tif", np.zeros((16, columns), dtype="float32"), -180.0, cell)
    assert open_sources(["a.tif"], tmp_path)[0].tiles[0].around == around


@pytest.mark.parametrize("seam", [11.0, 180.0])
@pytest.mark.parametrize(("shift", "shared"), [(0.0, 0), (0.5, 0), (0.5, 1)], ids=["edge", "centre", "shared column"])
def test_tiles_that_meet_are_one_raster(tmp_path: Path, seam: float, shift: float, shared: int):
    """Law: tiles whose edges meet on a meridian, or whose first centres lie on it, or that both have the column on
    it, equal the raster they were cut from, at 180° as elsewhere."""
    cells = np.random.default_rng(13).uniform(0, 900, (40, 80)).astype("float32")
    west = seam - (40 + shift) * CELL
    for folder, tiles in {
        "whole": [(west - seam + 100.0, cells)],
        "cut": [(west, cells[:, : 40 + shared]), (toward(west + 40 * CELL, 0.0), cells[:, 40:])],
    }.items():
        (tmp_path / folder).mkdir()
        for number, (corner, part) in enumerate(tiles):
            write_cells(tmp_path / folder / f"{number}.tif", part, float(corner), CELL)
    longitude, latitude = to_and_fro(0.0, 8 * CELL, 40, CELL)
    whole = sample(open_sources(["whole/*.tif"], tmp_path), longitude + 100.0, latitude).values
    cut = sample(open_sources(["cut/*.tif"], tmp_path), longitude + seam, latitude).values
    np.testing.assert_allclose(cut, whole, atol=2e-3)
