"""A small invented line with its ground as files, for tests that stand outside the package.

Nine kilometres of nearly straight track at sea in the southern Atlantic, over a raster of smooth hills.
Plane coordinates are metres of UTM zone 25 south.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pyproj
import rasterio
from rasterio.transform import Affine

PLANE = "EPSG:32725"
CELL = 30.0
WEST, NORTH = 640_000.0, 5_785_000.0  # corner of the raster
ROWS, COLUMNS = 100, 400

TERRITORY = """
[route]
name = "Marram to Sallow"
units = "us"
ends = ["Marram", "Sallow"]
invented = true
[centreline]
path = "line.geojson"
[elevation]
rasters = ["ground.tif"]
vertical_datum = "EGM2008"
vertical_unit = "m"
[posts]
unit = "mi"
at = [{ post = "10.0", chainage_m = 0 }]
[[stations]]
name = "Marram"
at = { chainage_m = 200 }
[[structures]]
kind = "tunnel"
name = "Sedge Tunnel"
from = { chainage_m = 7000 }
to = { chainage_m = 7400 }
"""


def line(start: float = 0.0, end: float = 9000.0, north: float = 0.0) -> np.ndarray:
    """Longitude and latitude (n, 2) of vertices every 30 m, by distance from the line's west end. [degree]"""
    s = np.arange(start, end + 1, 30.0)
    return degrees(WEST + 1500 + s, NORTH - 1500 + 150 * np.sin(s / 1500) + north)


def degrees(easting: np.ndarray, northing: np.ndarray) -> np.ndarray:
    """Plane coordinates [m] as longitude and latitude (n, 2)."""
    return np.column_stack(pyproj.Transformer.from_crs(PLANE, 4326, always_xy=True).transform(easting, northing))


def write_lines(path: Path, *pieces: np.ndarray, **properties: object) -> Path:
    """A GeoJSON file of lines, one feature each."""
    features = [
        {
            "type": "Feature",
            "properties": properties,
            "geometry": {"type": "LineString", "coordinates": np.asarray(piece).tolist()},
        }
        for piece in pieces
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def hills() -> np.ndarray:
    """Ground (ROWS, COLUMNS) with a little noise. [m]"""
    y, x = np.mgrid[:ROWS, :COLUMNS] * CELL
    noise = np.random.default_rng(3).normal(0, 0.3, x.shape)
    return (300 + 25 * np.sin(x / 1800) + 10 * np.cos(y / 900) + noise).astype("float32")


def write_ground(path: Path, values: np.ndarray | None = None, west: float = WEST, **options: object) -> Path:
    """A tiled GeoTIFF of `hills`, or of other values, by default with void −9999."""
    values = hills() if values is None else values
    grid = Affine(CELL, 0, west, 0, -CELL, NORTH)
    settings = {"crs": PLANE, "nodata": -9999, "compress": "deflate", "tiled": True, "blockxsize": 64, "blockysize": 64}
    size = {"height": values.shape[0], "width": values.shape[1], "count": 1, "dtype": values.dtype}
    with rasterio.open(path, "w", "GTiff", transform=grid, **(size | settings | options)) as dataset:
        dataset.write(values, 1)
    return path


def write_territory(folder: Path, text: str = TERRITORY, name: str = "route.toml") -> Path:
    """A folder with a territory file, its line and its ground."""
    folder.mkdir(parents=True, exist_ok=True)
    write_lines(folder / "line.geojson", line())
    write_ground(folder / "ground.tif")
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path
