"""A raster as it came, or the blocks of it under a corridor, as a GeoTIFF of one kind."""

from __future__ import annotations

import errno
import gzip
import math
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pyproj
import rasterio
from rasterio._err import CPLE_BaseError
from rasterio.enums import ColorInterp
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.warp import transform, transform_bounds
from rasterio.windows import Window

from pipelines.fetching.catalogues import Wanted
from pipelines.fetching.tiles import Box, Corridor
from profiler import InputError

LOWEST, HIGHEST = -2_000.0, 31_000.0
"""No elevation lies outside, in metres or in feet."""

_VOID = -9999.0
_VOIDS = (-32768, -32767, -9999, -99999, -999999)
"""Written where there are no data, also by files that do not declare it."""
_HALO = 2
_NEAR = 0.02
"""Of a degree, or of the width of a box: edges this near agree."""
_MOST_CELLS, _MOST_BLOCK_CELLS = 4e9, 32e6
"""A small file can declare any number of them, and reading one cell takes the memory of its block."""
_MOST_HGT = 2 * 3601 * 3601
_OPTIONS = {"GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR", "GDAL_CACHEMAX": 64 << 20, "CPL_DEBUG": "OFF"}
_ANOTHER = "take another catalogue, or tell its keeper"


@dataclass(frozen=True)
class Values:
    """Cells that were read: how many, and how many of them hold an elevation."""

    cells: int
    known: int

    def words(self) -> tuple[str, ...]:
        """What deserves to be said."""
        if not self.cells:
            return ("nothing of it lies along the line",)
        return () if self.known else ("all of it void, no cell holds an elevation",)


@contextmanager
def opened(path: Path | str, driver: str = "GTiff", opener: Any = None) -> Iterator[Any]:
    """A dataset, by one driver only, nothing beside the file looked at."""
    more = {} if opener is None else {"opener": opener}
    with rasterio.Env(**_OPTIONS), warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        with rasterio.open(path, driver=driver, sharing=False, **more) as dataset:
            yield dataset


@contextmanager
def readable(path: Path, source: str, driver: str = "GTiff") -> Iterator[Any]:
    """A file that is here, opened; in a sentence if it cannot be."""
    try:
        with opened(path, driver) as dataset:
            yield dataset
    except RasterioError as error:
        raise damaged(source, error) from error


def check(dataset: Any, wanted: Wanted, source: str) -> None:
    """Refuse a raster that is not what its name or its catalogue says.

    Raises
    ------
    InputError
        If it is no grid of elevations in one band, or lies elsewhere, or in another reference system.
    """
    high, wide = dataset.block_shapes[0]
    if dataset.height * dataset.width > _MOST_CELLS or high * wide > _MOST_BLOCK_CELLS:
        raise InputError(source, "declares more cells, or larger blocks, than any tile has", _ANOTHER)
    if dataset.count != 1:
        raise InputError(source, f"has {dataset.count} bands, elevations have one", _ANOTHER)
    if np.dtype(dataset.dtypes[0]).kind not in "iuf" or dataset.colorinterp[0] == ColorInterp.palette:
        raise InputError(source, "is a picture, not a grid of elevations", _ANOTHER)
    if dataset.crs is None or dataset.transform.is_identity:
        raise InputError(source, "does not say where it lies", _ANOTHER)
    if wanted.epsg is not None and not _same_plane(dataset.crs, wanted.epsg):
        raise InputError(
            source, f"is not in the reference system that its catalogue says (EPSG:{wanted.epsg})", _ANOTHER
        )
    try:
        found, box = extent(dataset), wanted.box
    except (CPLE_BaseError, RasterioError, ValueError) as error:
        raise InputError(source, "lies nowhere on the globe by its own reference system", _ANOTHER) from error
    turn = 360 * round((box.west + box.east - found.west - found.east) / 720)
    room = _NEAR * max(box.east - box.west, box.north - box.south, 0.01 if not wanted.exact else 1.0)
    beyond = [
        found.west + turn - box.west,
        found.south - box.south,
        box.east - found.east - turn,
        box.north - found.north,
    ]
    if max(beyond) > room or (wanted.exact and min(beyond) < -room):
        raise InputError(
            source,
            f"lies within {_words(found)} and should fill {_words(box)}: it is not what its name says",
            _ANOTHER,
        )


def extent(dataset: Any) -> Box:
    """Where a raster lies on WGS 84; ValueError or an error of GDAL where that is nowhere. [degree]"""
    west, south, east, north = transform_bounds(dataset.crs, "EPSG:4326", *dataset.bounds, densify_pts=21)
    if not np.isfinite([west, south, east, north]).all():
        raise ValueError("no place on the globe")
    return Box(west, south, east if east > west else east + 360, north)


def _words(box: Box) -> str:
    return f"longitude {box.west:.2f} to {box.east:.2f}, latitude {box.south:.2f} to {box.north:.2f}"


def _same_plane(crs: Any, epsg: int) -> bool:
    """Whether a raster's horizontal reference system is that of a code."""
    flat = []
    try:
        both = pyproj.CRS.from_wkt(crs.to_wkt()), pyproj.CRS.from_epsg(epsg)
    except pyproj.exceptions.CRSError:
        return False
    for one in both:
        flat.append(next((part for part in one.sub_crs_list if not part.is_vertical), one).to_2d())
    return bool(flat[0].equals(flat[1], ignore_axis_order=True)) or flat[0].to_epsg(min_confidence=70) == epsg


def blocks_under(dataset: Any, corridor: Corridor) -> list[tuple[int, int]]:
    """Row and column of the blocks of a raster that a corridor touches, in file order."""
    box = extent(dataset)
    cells = corridor.inside(box.grown(_NEAR))
    if not len(cells.cells):
        return []
    longitude, latitude = cells.corners((box.west + box.east) / 2)
    there = transform("EPSG:4326", dataset.crs, longitude.ravel(), latitude.ravel())[:2]
    x, y = (np.array(part).reshape(longitude.shape) for part in there)
    back = ~dataset.transform
    column, row = back.a * x + back.b * y + back.c, back.d * x + back.e * y + back.f
    fits = np.isfinite(column).all(axis=1) & np.isfinite(row).all(axis=1)
    high, wide = dataset.block_shapes[0]
    rows, columns = (
        _spans(part[fits], size, side)
        for part, size, side in ((row, dataset.height, high), (column, dataset.width, wide))
    )
    found = {
        (i, j) for a, b, c, d in zip(*rows, *columns, strict=True) for i in range(a, b + 1) for j in range(c, d + 1)
    }
    return sorted(found)


def _spans(places: Any, size: int, side: int) -> tuple[Any, Any]:
    """First and last block along one axis for every cell; a last before the first where it lies outside."""
    low = np.floor(places.min(axis=1)) - _HALO
    high = np.ceil(places.max(axis=1)) + _HALO
    inside = (high >= 0) & (low < size)
    first = np.clip(low, 0, size - 1).astype(int) // side
    last = np.clip(high, 0, size - 1).astype(int) // side
    return np.where(inside, first, 1), np.where(inside, last, 0)


def all_blocks(dataset: Any) -> list[tuple[int, int]]:
    """Row and column of every block."""
    high, wide = dataset.block_shapes[0]
    return [(i, j) for i in range(math.ceil(dataset.height / high)) for j in range(math.ceil(dataset.width / wide))]


def read_values(dataset: Any, blocks: list[tuple[int, int]], source: str) -> Iterator[tuple[Window, Any]]:
    """Blocks one by one, float32 with NaN where there is nothing.

    Raises
    ------
    InputError
        If the file is damaged, or what it holds are no elevations.
    """
    high, wide = dataset.block_shapes[0]
    scale, offset = dataset.scales[0], dataset.offsets[0]
    for i, j in blocks:
        window = Window(j * wide, i * high, min(wide, dataset.width - j * wide), min(high, dataset.height - i * high))
        try:
            cells = dataset.read(1, window=window, masked=True).astype("float64").filled(np.nan)
        except RasterioError as error:
            raise damaged(source, error) from error
        cells[np.isin(cells, _VOIDS) | (cells < -1e30)] = np.nan
        metres = cells * scale + offset
        low, top = np.fmin.reduce(metres, axis=None), np.fmax.reduce(metres, axis=None)
        if low < LOWEST or top > HIGHEST:
            raise InputError(source, f"holds values from {low:g} to {top:g}, which are no elevations", _ANOTHER)
        yield window, cells.astype("float32")


def write_cut(dataset: Any, blocks: list[tuple[int, int]], path: Path, source: str, tags: dict[str, str]) -> Values:
    """Blocks of a raster on its own grid, void elsewhere, as a tiled GeoTIFF; what is void takes no room."""
    high, wide = dataset.block_shapes[0]
    tiled = high % 16 == 0 and wide % 16 == 0
    declared = dataset.nodata
    nodata = declared if declared is not None and abs(np.float32(declared)) < 1e30 else _VOID
    profile = {
        "driver": "GTiff",
        "height": dataset.height,
        "width": dataset.width,
        "count": 1,
        "dtype": "float32",
        "crs": dataset.crs,
        "transform": dataset.transform,
        "nodata": nodata,
        "tiled": True,
        "blockysize": high if tiled else 512,
        "blockxsize": wide if tiled else 512,
        "compress": "deflate",
        "predictor": 3,
        "zlevel": 6,
        "sparse_ok": True,
        "bigtiff": "if_safer",
    }
    known = count = 0
    try:
        with rasterio.open(path, "w", **profile) as out:
            out.update_tags(**tags)
            out.scales, out.offsets = dataset.scales, dataset.offsets
            if dataset.units[0]:
                out.units = dataset.units
            for window, cells in read_values(dataset, blocks, source):
                known += int(np.isfinite(cells).sum())
                count += cells.size
                out.write(np.where(np.isnan(cells), np.float32(nodata), cells), 1, window=window)
    except RasterioError as error:
        raise OSError(errno.EIO, "writing broke off") from error
    try:  # a full disk may show only when the file is closed, and then to nobody
        with opened(path) as again:
            written = read_all(again, source, blocks if tiled else None).known
    except (RasterioError, InputError):
        written = -1
    if written != known:
        raise OSError(errno.EIO, "what was written does not read back")
    return Values(count, known)


def read_all(dataset: Any, source: str, blocks: list[tuple[int, int]] | None = None) -> Values:
    """These blocks of a raster, else every one, to know that it is whole."""
    known = count = 0
    for _, cells in read_values(dataset, all_blocks(dataset) if blocks is None else blocks, source):
        known += int(np.isfinite(cells).sum())
        count += cells.size
    return Values(count, known)


def damaged(source: str, error: Exception | None = None) -> InputError:
    """The sentence for a file that no reader can read."""
    told = InputError(source, "is damaged, or no raster at all", "start again, or take another catalogue")
    told.__cause__ = error
    return told


def kind_of(path: Path, source: str) -> str:
    """What a file is by its first bytes: "tiff", "gzip", "zip" or "hgt", the last by its size alone.

    Raises
    ------
    InputError
        If it is none of them: a page of a web server, say.
    """
    with path.open("rb") as file:
        start = file.read(512)
    if start[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "tiff"
    if start[:2] == b"\x1f\x8b":
        return "gzip"
    if start[:4] == b"PK\x03\x04":
        return "zip"
    if start.lstrip()[:1] == b"<":
        raise InputError(source, "is a web page, not a raster", "look at the address in a browser")
    if path.stat().st_size in (2 * 1201 * 1201, _MOST_HGT, 2 * 3601 * 1801):
        return "hgt"
    raise damaged(source)


def unpack(path: Path, kind: str, target: Path, source: str) -> None:
    """The one .hgt tile in a .gz or .zip, into ``target``; names inside are never paths.

    Raises
    ------
    InputError
        If there is none, or several, or it is damaged, or far larger than a tile.
    """
    try:
        if kind == "gzip":
            with gzip.open(path) as packed:
                _copy(packed, target, source)  # type: ignore[arg-type]
            return
        with zipfile.ZipFile(path) as archive:
            names = [name for name in archive.namelist() if name.lower().endswith(".hgt")]
            if len(names) != 1:
                raise InputError(source, f"holds {len(names)} .hgt tiles instead of one", _ANOTHER)
            with archive.open(names[0]) as packed:
                _copy(packed, target, source)  # type: ignore[arg-type]
    except (EOFError, gzip.BadGzipFile, zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError) as error:
        raise damaged(source, error) from error


def _copy(packed: BinaryIO, target: Path, source: str) -> None:
    came = packed.read(_MOST_HGT + 1)
    if len(came) > _MOST_HGT:
        raise InputError(source, "unpacks to more than a tile", _ANOTHER)
    target.write_bytes(came)
