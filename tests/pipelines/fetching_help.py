"""What tests of fetching share: an invented square degree, cloud-optimised, a line on it, little patience."""

from __future__ import annotations

import dataclasses
import functools
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from rasterio.transform import from_origin

from pipelines.fetching.catalogues import Wanted
from pipelines.fetching.download import Patience, Web
from pipelines.fetching.plan import Plan
from pipelines.fetching.tiles import Corridor, corridor_of, square

SOUTH, WEST = -39, -32
"""The square degree of the invented country, at sea in the southern Atlantic."""
SIDE = 600
QUICK = Patience(connect=20.0, read=20.0, tries=3, pause=0.01, longest_pause=0.05, budget=200.0)
"""Quick to try again, but ready to wait for a busy machine: where a server is silent a test takes less ``read``."""


@functools.cache
def hills() -> np.ndarray:
    """Heights (600, 600) of the square degree, 6 arc-seconds apart, hard to pack. [m]"""
    y, x = np.mgrid[:SIDE, :SIDE] / 40.0
    noise = np.random.default_rng(5).normal(0, 2, (SIDE, SIDE))
    return (400 + 200 * np.sin(x) * np.cos(y) + noise).astype("float32")


def tiff(
    values: np.ndarray | None = None, west: float = WEST, north: float = SOUTH + 1, driver: str = "COG", **more: Any
) -> bytes:
    """A GeoTIFF of one square degree as bytes."""
    values = hills() if values is None else values
    bands = values if values.ndim == 3 else values[None]
    size = 1.0 / bands.shape[2]
    blocks = {"blocksize": 128} if driver == "COG" else {}
    profile = {
        "driver": driver,
        "height": bands.shape[1],
        "width": bands.shape[2],
        "count": bands.shape[0],
        "dtype": bands.dtype,
        "crs": "EPSG:4326",
        "transform": from_origin(west, north, size, size),
        "compress": "deflate",
        **blocks,
    }
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "made.tif")
        with rasterio.open(path, "w", **(profile | more)) as out:
            out.write(bands)
        return path.read_bytes()


@functools.cache
def cog() -> bytes:
    """The square degree, cloud-optimised."""
    return tiff()


def hgt(values: np.ndarray | None = None) -> bytes:
    """A tile of 1201 × 1201 as .hgt: big-endian whole metres."""
    if values is None:
        y, x = np.mgrid[:1201, :1201] / 80.0
        values = 400 + 200 * np.sin(x) * np.cos(y)
    return np.rint(values).astype(">i2").tobytes()


def corridor(half_width: float = 2000.0) -> Corridor:
    """Along a line through the north of the square degree."""
    return corridor_of(np.linspace(WEST + 0.2, WEST + 0.7, 200), np.full(200, SOUTH + 0.8), half_width)


def wanted(*places: str | Path, name: str = "S39W032", **more: Any) -> Wanted:
    """The square degree, at these places."""
    return Wanted(name, places, more.pop("box", square(SOUTH, WEST)), str(places[0]), **more)


def plan_of(*tiles: Wanted) -> Plan:
    """A plan for tiles of a catalogue that nobody knows."""
    return Plan("sedge", "Sedge", tiles, corridor(), "EGM2008", "Sedge", "open", ())


def web(**more: Any) -> Web:
    """A session of little patience."""
    return Web(dataclasses.replace(QUICK, **more))
