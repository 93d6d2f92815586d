"""Rasters on both sides of the 180° meridian and across it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
from rasterio.transform import Affine

from profiler.elevation.sampling import sample
from profiler.ground import Bounds
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
