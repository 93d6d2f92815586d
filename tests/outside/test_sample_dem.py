"""A real elevation model from a package registry, sampled as a file, against a reference library.

The Jacksboro fault scarp, Tennessee, comes with matplotlib (U.S. Geological Survey, public domain).
"""

from __future__ import annotations

import numpy as np
import pytest
import rasterio
from pyproj import Geod
from rasterio.transform import Affine
from scipy import ndimage

from profiler.alignment.smooth import smooth_line
from profiler.elevation.sampling import sample
from profiler.read.rasters import open_sources

cbook = pytest.importorskip("matplotlib.cbook")


@pytest.fixture(scope="module")
def scarp(tmp_path_factory):
    """The model as a GeoTIFF with its own geolocation (outer edges in degrees)."""
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as data:
        cells = data["elevation"]
        west, east = float(data["xmin"]), float(data["xmax"])
        south, north = sorted((float(data["ymin"]), float(data["ymax"])))
    rows, columns = cells.shape
    grid = Affine((east - west) / columns, 0, west, 0, (south - north) / rows, north)
    folder = tmp_path_factory.mktemp("scarp")
    with rasterio.open(
        folder / "scarp.tif",
        "w",
        driver="GTiff",
        height=rows,
        width=columns,
        count=1,
        dtype="int16",
        crs="EPSG:4269",
        transform=grid,
        tiled=True,
        blockxsize=64,
        blockysize=64,
        compress="deflate",
    ) as dataset:
        dataset.write(cells, 1)
        dataset.units = ("m",)
    return folder, cells, grid


def winding(grid: Affine, shape: tuple[int, int], n: int = 5000):
    """A line across the model: longitude, latitude [degree], and rows and columns of it."""
    along = np.linspace(0.05, 0.95, n)
    column = along * (shape[1] - 1)
    row = (0.5 + 0.4 * np.sin(14 * along)) * (shape[0] - 1)
    longitude, latitude = grid @ (column + 0.5, row + 0.5)
    return longitude, latitude, row, column


def test_bilinear_on_a_real_model(scarp):
    """Outside: scipy.ndimage.map_coordinates, order 1, on the array the package holds."""
    folder, cells, grid = scarp
    longitude, latitude, row, column = winding(grid, cells.shape)
    got = sample(open_sources(["scarp.tif"], folder), longitude, latitude)
    expected = ndimage.map_coordinates(cells.astype(float), [row, column], order=1)
    np.testing.assert_allclose(got.values[0], expected, atol=0.01)


def test_cubic_on_a_real_model(scarp):
    """Outside: scipy.ndimage.map_coordinates, order 3: another cubic, so the two need agree only to a
    share of what the ground does between neighbouring cells, and better than bilinear does."""
    folder, cells, grid = scarp
    longitude, latitude, row, column = winding(grid, cells.shape)
    sources = open_sources(["scarp.tif"], folder)
    spline = ndimage.map_coordinates(cells.astype(float), [row, column], order=3)
    cubic = sample(sources, longitude, latitude, method="cubic").values[0] - spline
    linear = sample(sources, longitude, latitude).values[0] - spline
    rough = np.std(np.diff(cells, axis=1))
    assert np.std(cubic) < 0.1 * rough
    assert np.std(cubic) < 0.5 * np.std(linear)


def test_chainage_on_the_same_line(scarp):
    """Outside: pyproj.Geod (GeographicLib, Karney 2013) along the vertices of the same line; the line is
    drawn every metre or so without noise, so smoothing may change its length by no more than 1e-4."""
    _, cells, grid = scarp
    longitude, latitude, _, _ = winding(grid, cells.shape)
    line = smooth_line(longitude, latitude)
    expected = Geod(ellps="WGS84").line_length(longitude, latitude)
    assert line.distance[-1] == pytest.approx(expected, rel=1e-4)
