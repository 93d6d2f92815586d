"""Open elevation rasters: files, tiles and patterns of tiles as ground that gives blocks of cells."""

from __future__ import annotations

import functools
import glob
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any
from weakref import WeakValueDictionary

import numpy as np
import rasterio
from rasterio.enums import Resampling
from rasterio.errors import RasterioError
from rasterio.transform import from_bounds
from rasterio.vrt import WarpedVRT
from rasterio.windows import Window

from profiler.errors import InputError
from profiler.ground import Bounds, GroundSource
from profiler.longitude import toward
from profiler.read.datum import UNKNOWN, known_datum, same_datum
from profiler.read.raster_header import (
    GDAL_OPTIONS,
    Header,
    Plane,
    cell_side,
    columns_around,
    open_dataset,
    outer_bounds,
    plane,
    read_header,
)
from profiler.units import FloatArray

LOWEST, HIGHEST = -500.0, 9000.0
"""No ground above water lies outside: the shore of the Dead Sea is at −430 m, Everest at 8,849 m."""

VOID_VALUES = (-32768, -32767, -9999, -99999, float(np.finfo(np.float32).min))
"""What rasters write where they have no data, taken as such even where the file does not declare it."""

MOST_DECODED = 2e9
"""Cells of one raster that may be decoded for a picture. [-]"""

_SIDECARS = (".aux.xml", ".ovr", ".msk", ".prj", ".hdr", ".tfw", ".tifw", ".wld", ".xml", ".txt", ".sha256")
_MOST_OPEN = 64
_opened: WeakValueDictionary[int, RasterGround] = WeakValueDictionary()


class RasterGround:
    """One raster file as `Ground`; made by `open_ground`.

    The file is opened at the first read and closed by `close`, or when many others have been
    opened since; it opens again by itself. It pickles by path. One thread at a time.
    """

    def __init__(self, header: Header) -> None:
        self.header = header
        self._dataset: Any = None
        self._void_seen: set[float] = set()
        self._too_large = False

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.header,)

    def __repr__(self) -> str:
        return f"RasterGround({self.name!r}, {self.shape[0]} × {self.shape[1]}, {self.cell_m:.4g} m)"

    @property
    def name(self) -> str:
        """The file's name."""
        return self.header.path.name

    @property
    def path(self) -> Path:
        """The file itself."""
        return self.header.path

    @property
    def crs(self) -> str:
        """Horizontal reference system, as "EPSG:4326" or WKT."""
        return self._plane.name

    @property
    def vertical_datum(self) -> str:
        """Name of the height datum, "unknown" where none is declared."""
        return self.header.vertical_datum

    @functools.cached_property
    def cell_m(self) -> float:
        """Side of the middle cell on the ellipsoid, the longer one. [m]"""
        return cell_side(self.header.affine, self.shape, self._plane)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.header.shape

    @functools.cached_property
    def around(self) -> int:
        """Columns once round the globe, after which the raster meets itself; 0 where it does not."""
        return columns_around(self.header.affine, self.shape, self._plane)

    @property
    def block_shape(self) -> tuple[int, int]:
        """Rows and columns of a block; thin strips of a file are taken several at a time."""
        return self.header.block_shape

    @functools.cached_property
    def bounds(self) -> Bounds:
        """Bounds that hold every place up to a cell outside the raster, a little generous."""
        return outer_bounds(self.header.affine, self.shape, self._plane)

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What was assumed in reading so far; it can grow while cells are read."""
        said = self.header.assumptions
        if self._void_seen:
            values = " and ".join(f"{value:g}".replace("-", "−") for value in sorted(self._void_seen))
            said += (f"{values} taken as no data, though the file does not declare it",)
        if self._too_large:
            said += ("left out of the hillshade, the file is large and has no overviews",)
        return said

    @property
    def _plane(self) -> Plane:
        return plane(self.header.wkt)

    def cells(self, longitude: FloatArray, latitude: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Fractional (row, column), counted from cell centres, of places on WGS 84 [degree].

        NaN where the projection does not reach.
        """
        x, y = self._plane.to_plane.transform(longitude, latitude)
        a, b, c, d, e, f = self.header.affine
        if self._plane.geographic:
            x = toward(x, a * self.shape[1] / 2 + b * self.shape[0] / 2 + c)
        area = a * e - b * d
        with np.errstate(invalid="ignore"):
            column = (e * (x - c) - b * (y - f)) / area - 0.5
            row = (a * (y - f) - d * (x - c)) / area - 0.5
        inside = np.isfinite(row) & np.isfinite(column)
        return np.where(inside, row, np.nan), np.where(inside, column, np.nan)

    def read(self, row: int, column: int, rows: int, columns: int) -> FloatArray:
        """Elevation (rows, columns), float32 [m], of a window inside; NaN where there is no data.

        Raises
        ------
        InputError
            The file is damaged there.
        """
        window = Window(column, row, columns, rows)
        try:
            with rasterio.Env(**GDAL_OPTIONS):
                dataset = self._open()
                raw = dataset.read(1, window=window)
                void = self._void_cells(dataset, window)
        except RasterioError as error:
            raise InputError(
                self.header.path,
                f"cannot be read at row {row:,}, column {column:,}, it is damaged or cut short",
                "get the file again",
            ) from error
        return self._metres(raw, void)

    def overview(self, bounds: Bounds, rows: int, columns: int) -> FloatArray:
        """Elevation [m] on a regular longitude-latitude grid over ``bounds``, north first.

        ``bounds`` count longitudes by the same turns as the raster's own bounds.

        Decimated by averaging, from the file's own overviews where it has them; NaN outside, and
        everywhere if more than `MOST_DECODED` cells would have to be decoded.
        """
        blank = np.full((rows, columns), np.nan, dtype=np.float32)
        if self.shape[0] * self.shape[1] > MOST_DECODED and not self.header.overviews:
            self._too_large = True
            return blank
        void = self.header.nodata
        if void is None and not self.header.masked:
            void = next(iter(sorted(self._void_seen)), None)
        grid = from_bounds(bounds.west, bounds.south, bounds.east, bounds.north, columns, rows)
        coarse = (bounds.north - bounds.south) / rows * 111_000 > 2 * self.cell_m
        try:
            with (
                rasterio.Env(**GDAL_OPTIONS),
                WarpedVRT(
                    self._open(),
                    crs="EPSG:4326",
                    transform=grid,
                    width=columns,
                    height=rows,
                    resampling=Resampling.average if coarse else Resampling.bilinear,
                    src_nodata=void,
                    nodata=np.nan,
                    dtype="float32",
                ) as warped,
            ):
                raw = warped.read(1)
        except RasterioError as error:
            raise InputError(
                self.header.path, "cannot be read for the hillshade, it is damaged", "get the file again"
            ) from error
        elevation = self._metres(raw, None)
        with np.errstate(invalid="ignore"):
            elevation[(elevation < LOWEST) | (elevation > HIGHEST)] = np.nan
        return elevation

    def close(self) -> None:
        """Close the file; a later read opens it again."""
        if self._dataset is not None:
            self._dataset.close()
            self._dataset = None
            _opened.pop(id(self), None)

    def _open(self) -> Any:
        if self._dataset is None:
            self._dataset = open_dataset(self.header.path, self.header.driver)
            _opened[id(self)] = self
            while len(_opened) > _MOST_OPEN:
                next(iter(_opened.values())).close()
        return self._dataset

    def _void_cells(self, dataset: Any, window: Window) -> FloatArray | None:
        """Cells that a mask or an alpha band marks as void."""
        if self.header.masked:
            return dataset.read_masks(1, window=window) == 0
        if self.header.alpha:
            return dataset.read(self.header.alpha, window=window) == 0
        return None

    def _metres(self, raw: FloatArray, void: FloatArray | None) -> FloatArray:
        head = self.header
        with np.errstate(over="ignore", invalid="ignore"):
            elevation = raw.astype(np.float32)
            if head.factor != 1:
                elevation *= np.float32(head.factor)
            if head.shift != 0:
                elevation += np.float32(head.shift)
            if head.nodata is not None:
                elevation[raw == raw.dtype.type(head.nodata)] = np.nan
            if void is not None:
                elevation[void] = np.nan
            if np.fmin.reduce(elevation, axis=None) < LOWEST:
                self._take_voids(raw, elevation)
        return elevation

    def _take_voids(self, raw: FloatArray, elevation: FloatArray) -> None:
        """Values that usually stand for "no data" and cannot be ground become NaN, and are noted."""
        low = elevation < LOWEST
        for value in VOID_VALUES:
            hit = low & (raw.astype(np.float32) == np.float32(value))
            if hit.any():
                elevation[hit] = np.nan
                self._void_seen.add(float(value))


def open_ground(
    path: Path | str,
    *,
    vertical_unit: str | None = None,
    vertical_datum: str = "unknown",
    offset_m: float = 0.0,
) -> RasterGround:
    """One raster file as ground.

    Parameters
    ----------
    path : path
        GeoTIFF (also cloud-optimised), .hgt, ASCII grid, .img, DTED, or a raw grid with its .hdr.
    vertical_unit : {"m", "ft", "us-ft"}, optional
        Unit of the values; by default what the file says, metres (said aloud) where it is silent.
    vertical_datum : str
        Name of the height datum; by default what the file says.
    offset_m : float
        Added to every elevation. [m]

    Raises
    ------
    InputError
        No such file, not a raster, damaged, absurd in size, without a place, of unknown unit.
    MissingCRSError
        No reference system.
    """
    header = read_header(Path(path), vertical_unit=vertical_unit, vertical_datum=vertical_datum, offset_m=offset_m)
    return RasterGround(header)


def open_sources(
    entries: Sequence[str | Path],
    folder: Path | str,
    *,
    vertical_datum: str = "unknown",
    vertical_unit: str | None = None,
    offset_m: float = 0.0,
) -> tuple[GroundSource, ...]:
    """One `GroundSource` per entry, in order of preference.

    An entry is a path or a pattern ("dem/*.tif", "**" reaches into folders), relative to
    ``folder``; its tiles are sorted by name. A file already taken by an earlier entry is left
    out of later ones. The other parameters are those of `open_ground`, for every file.

    Raises
    ------
    InputError, MissingCRSError
        As `open_ground`; an entry that matches no file, or only files taken before, or files that
        stand above different vertical datums.
    """
    sources: list[GroundSource] = []
    taken: set[Path] = set()
    for entry in entries:
        found = _matches(str(entry), Path(folder))
        paths = [path for path in found if path not in taken]
        if not paths:
            raise InputError(entry, "all its files belong to an earlier entry already", "name them once")
        taken.update(paths)
        tiles = tuple(
            open_ground(
                path,
                vertical_unit=vertical_unit,
                vertical_datum=vertical_datum,
                offset_m=offset_m,
            )
            for path in paths
        )
        sources.append(GroundSource(_source_name(str(entry)), tiles, _one_datum(str(entry), tiles)))
    return tuple(sources)


def _one_datum(entry: str, tiles: Sequence[RasterGround]) -> str:
    """The vertical datum of all tiles of an entry; "unknown" if one of them does not tell."""
    of_name = {tile.vertical_datum: tile for tile in tiles}
    named = [name for name in of_name if known_datum(name)]
    other = next((name for name in named if not same_datum(name, named[0])), None)
    if other is not None:
        raise InputError(
            entry,
            f"{of_name[named[0]].name} stands above {named[0]}, {of_name[other].name} above {other}",
            "name them in separate entries",
        )
    return named[0] if named and len(named) == len(of_name) else UNKNOWN


def assumptions_of(sources: Iterable[GroundSource]) -> tuple[str, ...]:
    """What was assumed in reading all these rasters, like things said once per source."""
    said: list[str] = []
    for source in sources:
        counts: dict[str, int] = {}
        for tile in source.tiles:
            for text in getattr(tile, "assumptions", ()):
                counts[text] = counts.get(text, 0) + 1
        for text, count in counts.items():
            some = "" if count == len(source.tiles) else f" ({count:,} of {len(source.tiles):,} files)"
            said.append(f"{source.name}: {text}{some}")
    return tuple(said)


def _matches(entry: str, folder: Path) -> list[Path]:
    """Files of a path or a pattern, sorted by name."""
    path = folder / entry
    if "://" in entry or not glob.has_magic(entry) or path.exists():
        return [path if "://" not in entry else Path(entry)]
    pattern = entry if Path(entry).is_absolute() else str(Path(glob.escape(str(folder))) / entry)
    found = [Path(name) for name in glob.glob(pattern, recursive=True)]  # noqa: PTH207 (absolute patterns)
    files = [p for p in found if p.is_file() and not p.name.lower().endswith(_SIDECARS)]
    if not files:
        raise InputError(Path(folder) / entry, "no raster matches", "check the path and the pattern")
    return sorted(files)


def _source_name(entry: str) -> str:
    """The entry as given; of an absolute one only the end, since the rest tells of the machine."""
    path = Path(entry)
    if not path.is_absolute():
        return path.as_posix()
    return "/".join(path.parts[-2:]) if glob.has_magic(path.name) else path.name
