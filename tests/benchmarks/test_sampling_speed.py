"""Cost of sampling against its floor: decoding every touched block once.

Figures are printed (pytest -s); only ratios of one run are ever asserted, never wall-clock times.
"""

from __future__ import annotations

import time

import numpy as np
import pyproj
import pytest
import rasterio
from rasterio.transform import Affine
from rasterio.windows import Window

from profiler.elevation.sampling import sample
from profiler.ground import GroundSource
from profiler.read.rasters import RasterGround, open_ground

SIDE, CELL, STEP = 512, 10.0, 10.0


def winding_line(n: int, within: float = 400_000) -> tuple[np.ndarray, np.ndarray]:
    """Easting and northing [m] of n stations of a sinuous line, folded to stay within so many metres."""
    s = np.arange(n) * STEP
    heading = 1.1 * np.sin(s / 9000) + 0.5 * np.sin(s / 1300)
    x, y = np.cumsum(np.cos(heading)) * STEP, np.cumsum(np.sin(heading)) * STEP
    fold, rest = np.divmod(x, within)
    return 300_000 + np.where(fold % 2 == 0, rest, within - rest), 4_900_000 + y + 14_000 * fold


def steep_hills(easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
    """Steep ground. [m]"""
    return 600 + 200 * np.sin(northing / 1500) * np.cos(easting / 1300)


def write_ground(path, easting: np.ndarray, northing: np.ndarray, height=steep_hills) -> None:
    """A 10 m raster over the line, with noise in the blocks it touches and nothing in the others.

    ``height`` gives the ground [m] of a block's cells from their easting and northing [m].
    """
    west, north = easting.min() - 200, northing.max() + 200
    row, column = (north - northing) / CELL / SIDE, (easting - west) / CELL / SIDE
    around = [(i, j) for i in (-0.01, 0.01) for j in (-0.01, 0.01)]
    places = np.concatenate([np.column_stack([row + i, column + j]) for i, j in around])
    touched = np.unique(np.floor(places).astype(int), axis=0)
    high, wide = (SIDE * (touched.max(axis=0) + 1)).tolist()
    random, (y, x) = np.random.default_rng(0), np.mgrid[:SIDE, :SIDE]
    noise = random.normal(0, 1, (SIDE, SIDE))
    layout = {"tiled": True, "blockxsize": SIDE, "blockysize": SIDE, "compress": "deflate", "zlevel": 1}
    size = {"height": high, "width": wide, "count": 1, "dtype": "float32", "sparse_ok": True}
    grid = Affine(CELL, 0, west, 0, -CELL, north)
    with rasterio.open(
        path, "w", "GTiff", crs="EPSG:32633", transform=grid, bigtiff="YES", num_threads=2, **size, **layout
    ) as dataset:
        for i, j in touched.tolist():
            ground = height(west + (j * SIDE + x) * CELL, north - (i * SIDE + y) * CELL) + noise
            dataset.write(ground.astype("float32"), 1, window=Window(j * SIDE, i * SIDE, SIDE, SIDE))


class Counted:
    """A raster that notes the windows read from it."""

    def __init__(self, ground: RasterGround) -> None:
        self.ground, self.windows = ground, []

    def __getattr__(self, name):
        return getattr(self.ground, name)

    def read(self, *window):
        self.windows.append(window)
        return self.ground.read(*window)


def measure(folder, n: int, rounds: int, *, sides: bool = False) -> tuple[float, int]:
    """Least cost of sampling over least cost of decoding [-], and the number of blocks; with both
    sides of the line if asked."""
    easting, northing = winding_line(n)
    path = folder / "ground.tif"
    write_ground(path, easting, northing)
    degrees = pyproj.Transformer.from_crs(32633, 4326, always_xy=True).transform(easting, northing)
    ground = Counted(open_ground(path))
    heading = np.arctan2(np.gradient(easting), np.gradient(northing)) if sides else None
    samples = sample([GroundSource("ground", (ground,))], *degrees, heading=heading)
    assert np.isfinite(samples.values).all()
    assert (samples.shoulders is not None) == sides
    assert len(ground.windows) == len(set(ground.windows))
    floors, costs = [], []
    for _ in range(rounds):
        with rasterio.Env(GDAL_CACHEMAX=64 << 20), rasterio.open(path) as dataset:
            start = time.perf_counter()
            for row, column, rows, columns in ground.windows:
                dataset.read(1, window=Window(column, row, columns, rows))
            floors.append(time.perf_counter() - start)
        ground.close()
        start = time.perf_counter()
        sample([GroundSource("ground", (ground.ground,))], *degrees, heading=heading)
        costs.append(time.perf_counter() - start)
    ground.close()
    ratio = min(costs) / min(floors)
    print(
        f"\n{n:,} stations{' and both sides' if sides else ''}, {len(ground.windows):,} blocks: "
        f"floor {min(floors):.3f} s, sampling {min(costs):.3f} s, ratio {ratio:.2f}"
    )
    return ratio, len(ground.windows)


def test_twenty_thousand_stations(tmp_path):
    """Law: 200 km of line touch about one block of 5.12 km per 4 km, and read none of them twice."""
    _, blocks = measure(tmp_path, 20_000, rounds=1)
    assert 30 <= blocks <= 90


@pytest.mark.slow
@pytest.mark.parametrize("n", [100_000, 1_000_000])
@pytest.mark.parametrize(("sides", "most"), [(False, 1.6), (True, 1.9)], ids=["line", "line and sides"])
def test_sampling_costs_little_more_than_decoding(tmp_path, n, sides, most):
    """Law: the aim is 1.3 × the floor, and 1.5 × with both sides; asserted with room for a busy machine."""
    ratio, _ = measure(tmp_path, n, rounds=3, sides=sides)
    assert ratio < most
