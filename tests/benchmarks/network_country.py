"""A synthetic network for scale runs: lines of 50 km side by side over 10 m tiles; also a script.

python -m tests.benchmarks.network_country FOLDER ROUTES
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pyproj
import rasterio
from rasterio.transform import Affine

from tests.country import write_lines

PLANE = "EPSG:32725"
LENGTH, APART, STEP = 50_000.0, 250.0, 30.0
"""Length of a line, distance of neighbours, and of vertices. [m]"""
CELL, SIDE, BLOCK = 10.0, 2048, 512
WEST, NORTH = 400_000.0, 5_800_000.0
_MARGIN = 2000.0

PLAN = """
[network]
name = "Benchmark"
invented = true
territories = ["lines/*.toml"]
[elevation]
rasters = ["tiles/*.tif"]
vertical_datum = "EGM2008"
vertical_unit = "m"
"""
TERRITORY = """
[route]
name = "Route {0}"
[centreline]
path = "{0}.geojson"
"""


def country(easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
    """Ground with slopes of up to 1.5 %, as a railway seeks it. [m]"""
    return 600 + 100 * np.sin(easting / 14_000) + 25 * np.sin(easting / 3500 + northing / 9000)


def route(number: int) -> tuple[np.ndarray, np.ndarray]:
    """Easting and northing [m] of a winding line, each line its own."""
    s = np.arange(0, LENGTH + 1, STEP)
    heading = 0.5 * np.sin(s / (2100 + 7 * (number % 50)) + number) + 0.25 * np.sin(s / 900 + 2 * number)
    x, y = (np.r_[0, np.cumsum(f(heading[:-1])) * STEP] for f in (np.cos, np.sin))
    drift = np.linspace(0, y[-1], y.size)
    return WEST + _MARGIN + x, NORTH - _MARGIN - APART * number + y - drift


def make(folder: Path, routes: int) -> Path:
    """Write tiles, lines, territory files and the plan; returns the plan."""
    (folder / "tiles").mkdir(parents=True)
    (folder / "lines").mkdir()
    way = pyproj.Transformer.from_crs(PLANE, 4326, always_xy=True)
    for number in range(routes):
        name = f"{number:05d}"
        write_lines(folder / "lines" / f"{name}.geojson", np.column_stack(way.transform(*route(number))).round(7))
        (folder / "lines" / f"{name}.toml").write_text(TERRITORY.format(name), encoding="utf-8")
    extent = (LENGTH + 2 * _MARGIN, APART * routes + 2 * _MARGIN + 6000)
    wide, high = (int(np.ceil(length / CELL / SIDE)) for length in extent)
    y, x = np.mgrid[:SIDE, :SIDE] * CELL
    layout = {"tiled": True, "blockxsize": BLOCK, "blockysize": BLOCK, "compress": "deflate", "zlevel": 1}
    for i, j in np.ndindex(high, wide):
        west, north = WEST + j * SIDE * CELL, NORTH + 4000 - i * SIDE * CELL
        noise = np.random.default_rng([i, j]).normal(0, 1, (SIDE, SIDE))
        ground = (country(west + x, north - y) + noise).round(2).astype("float32")
        size = {"height": SIDE, "width": SIDE, "count": 1, "dtype": "float32", "num_threads": 2}
        path = folder / "tiles" / f"{i:03d}-{j:03d}.tif"
        with rasterio.open(
            path, "w", "GTiff", crs=PLANE, transform=Affine(CELL, 0, west, 0, -CELL, north), **size, **layout
        ) as dataset:
            dataset.write(ground, 1)
    plan = folder / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    return plan


if __name__ == "__main__":
    print(make(Path(sys.argv[1]), int(sys.argv[2])))
