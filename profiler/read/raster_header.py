"""What a raster file says about itself, checked before a cell is read."""

from __future__ import annotations

import functools
import os
import re
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import rasterio
from pyproj.transformer import TransformerGroup
from rasterio.enums import ColorInterp, MaskFlags
from rasterio.errors import CRSError, NotGeoreferencedWarning, RasterioIOError

from profiler.errors import InputError, MissingCRSError
from profiler.ground import Bounds
from profiler.longitude import continuous
from profiler.units import FOOT, US_SURVEY_FOOT, FloatArray

MOST_CELLS = 4e10
MOST_BLOCK_CELLS = 64e6
_FEWEST_STRIP_CELLS = 1 << 16

UNIT_M = {"m": 1.0, "ft": FOOT, "us-ft": US_SURVEY_FOOT}
_UNIT_WORDS = {
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), "m"),
    **dict.fromkeys(("ft", "foot", "feet", "international foot", "international feet"), "ft"),
    **dict.fromkeys(("us-ft", "ftus", "us survey foot", "us survey feet", "us foot", "us feet", "foot_us"), "us-ft"),
}

GDAL_OPTIONS = {
    "GDAL_DISABLE_READDIR_ON_OPEN": "TRUE",  # a folder of thousands of tiles is not listed at each open
    "GDAL_CACHEMAX": 64 << 20,  # every block is read once: a larger cache would hold what is done with
    "CPL_DEBUG": "OFF",
}

_TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_HGT_NAME = re.compile(r"[NS]\d{2}[EW]\d{3}", re.IGNORECASE)
_HGT_BYTES = {2 * 1201 * 1201, 2 * 3601 * 3601, 2 * 3601 * 1801}
_KINDS = "give a GeoTIFF, .hgt, .asc, .img, .dt0-2, or a raw grid with its .hdr"


@dataclass(frozen=True)
class Header:
    """A raster file that can be read as ground.

    ``affine`` are a, b, c, d, e, f of x = a·column + b·row + c, y = d·column + e·row + f, with
    (0, 0) the outer corner of the first cell. Raw values become metres by ``· factor + shift``.
    ``nodata`` is the declared void value, ``masked`` says that a mask marks voids too, ``alpha``
    is the number of a band that does so by zeros (0: none), which GDAL knows in 8 and 16 bits only.
    """

    path: Path
    driver: str
    shape: tuple[int, int]
    block_shape: tuple[int, int]
    affine: tuple[float, float, float, float, float, float]
    wkt: str
    vertical_datum: str
    nodata: float | None
    masked: bool
    alpha: int
    factor: float
    shift: float
    overviews: bool
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class Plane:
    """The way between WGS 84 and a horizontal reference system."""

    name: str
    to_plane: pyproj.Transformer
    geographic: bool
    caution: str


def read_header(
    path: Path, *, vertical_unit: str | None = None, vertical_datum: str = "unknown", offset_m: float = 0.0
) -> Header:
    """Open a raster, check everything it declares, and close it again.

    Raises
    ------
    InputError
        Not a raster of an accepted kind, no place on the ground, absurd size, unknown unit.
    MissingCRSError
        No reference system.
    """
    _check_proj()
    driver = _driver(path)
    with open_dataset(path, driver) as dataset:
        _check_grid(path, dataset)
        _check_band(path, dataset)
        wkt = dataset.crs.to_wkt()
        plane = _plane_or_sentence(path, wkt)
        unit, said_unit = _unit(path, dataset.units[0], vertical_unit)
        datum, said_datum = _datum(wkt, vertical_datum)
        said = [*said_unit, *said_datum, *([plane.caution] if plane.caution else [])]
        if dataset.count > 1:
            said.append(f"{dataset.count} bands, the first one used")
        scale, band_offset = dataset.scales[0], dataset.offsets[0]
        rows, columns = dataset.block_shapes[0]
        if columns >= dataset.width:  # strips: a few at a time, never one line alone
            rows = min(rows * max(1, _FEWEST_STRIP_CELLS // (rows * columns)), dataset.height)
        masked = MaskFlags.per_dataset in dataset.mask_flag_enums[0]
        alpha = (
            0
            if masked or ColorInterp.alpha not in dataset.colorinterp
            else dataset.colorinterp.index(ColorInterp.alpha) + 1
        )
        return Header(
            path=path,
            driver=driver,
            shape=(dataset.height, dataset.width),
            block_shape=(rows, min(columns, dataset.width)),
            affine=tuple(dataset.transform)[:6],
            wkt=wkt,
            vertical_datum=datum,
            nodata=_nodata(dataset),
            masked=masked,
            alpha=alpha,
            factor=scale * UNIT_M[unit],
            shift=band_offset * UNIT_M[unit] + offset_m,
            overviews=bool(dataset.overviews(1)),
            assumptions=tuple(said),
        )


def open_dataset(path: Path, driver: str) -> Any:
    """A rasterio dataset, opened with one driver only; the caller closes it."""
    try:
        with rasterio.Env(**GDAL_OPTIONS), warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            return rasterio.open(path, driver=driver, sharing=False)
    except RasterioIOError as error:
        raise InputError(
            path, "cannot be opened, it is damaged or not what its name says", "get the file again"
        ) from error


def _driver(path: Path) -> str:
    """The one driver that may open this file, from its first bytes and its name."""
    _check_file(path)
    suffixes = [s.lower() for s in path.suffixes]
    if ".hgt" in suffixes[-2:]:
        _check_hgt(path, suffixes[-1])
        return "SRTMHGT"
    with path.open("rb") as file:
        start = file.read(1024)
    if b"<VRTDataset" in start:
        raise InputError(path, "is a virtual raster, which can point at any file", "name the files it is made of")
    if start[:4] in _TIFF:
        return "GTiff"
    if start.startswith(b"EHFA_HEADER_TAG"):
        return "HFA"
    if start[:4] == b"UHL1":
        return "DTED"
    if start.lstrip().lower().startswith((b"ncols", b"nrows")):
        return "AAIGrid"
    header = path.with_suffix(".hdr")
    if header != path and header.is_file():
        with header.open("rb") as file:
            return "ENVI" if file.read(4) == b"ENVI" else "EHdr"
    problem = "is empty" if not start else "is not a raster of a kind that is read here"
    raise InputError(path, problem, _KINDS)


def _check_file(path: Path) -> None:
    text = path.as_posix()
    if re.match(r"[A-Za-z][A-Za-z0-9+.-]+:/", text) or text.startswith("/vsi"):
        raise InputError(text, "is a remote address, only local files are read", "download it first")
    if path.is_dir():
        raise InputError(path, "is a folder", f"name its files, {path.name}/*.tif")
    if not path.is_file():
        raise InputError(path, "there is no such file", "check the path")


def _check_hgt(path: Path, suffix: str) -> None:
    if suffix == ".gz":
        raise InputError(path, "is compressed with gzip", "unpack it first")
    if not _HGT_NAME.match(path.name):
        raise InputError(path, "an .hgt tile has its place in its name only", "give it back its name, as N46E008.hgt")
    size = path.stat().st_size
    if suffix == ".hgt" and size not in _HGT_BYTES:
        raise InputError(
            path,
            f"has {size:,} bytes, an .hgt tile has 2,884,802 or 25,934,402",
            "get the file again, it is cut short or something else",
        )


def _check_grid(path: Path, dataset: Any) -> None:
    rows, columns = dataset.shape
    if rows * columns > MOST_CELLS:
        raise InputError(path, f"declares {rows:,} × {columns:,} cells, too many to be true", "cut it into tiles")
    block_rows, block_columns = dataset.block_shapes[0]
    if block_rows * block_columns > MOST_BLOCK_CELLS:
        raise InputError(
            path,
            f"is stored in blocks of {block_rows:,} × {block_columns:,} cells, too large to read",
            "store it in blocks of 512 × 512 cells",
        )
    if dataset.crs is None:
        raise MissingCRSError(path, "has no reference system (CRS)", "assign the one it was made in")
    if dataset.transform.is_identity:
        raise InputError(path, "does not say where on the ground its cells lie", "georeference it first")
    if dataset.transform.is_degenerate:
        raise InputError(path, "has cells without area", "georeference it again")


def _check_band(path: Path, dataset: Any) -> None:
    dtype = np.dtype(dataset.dtypes[0])
    if dtype.kind not in "iuf":
        raise InputError(path, f"holds {dtype.name} values, not elevations", "give a raster of plain numbers")
    if dataset.colorinterp[0] in (ColorInterp.palette, ColorInterp.red):
        raise InputError(path, "is a picture, its values are colours", "give a raster of elevations")
    scale, offset = dataset.scales[0], dataset.offsets[0]
    if not (np.isfinite(scale) and np.isfinite(offset) and scale != 0):
        raise InputError(path, f"declares scale {scale} and offset {offset}", "correct its metadata")


def _nodata(dataset: Any) -> float | None:
    """The declared void value as the band can hold it; None where it cannot, or is NaN."""
    declared, dtype = dataset.nodata, np.dtype(dataset.dtypes[0])
    if declared is None or np.isnan(declared):
        return None
    if dtype.kind == "f":
        with np.errstate(over="ignore"):
            return float(dtype.type(declared))
    limits = np.iinfo(dtype)
    return declared if declared == int(declared) and limits.min <= declared <= limits.max else None


def _unit(path: Path, declared: str | None, stated: str | None) -> tuple[str, tuple[str, ...]]:
    """The vertical unit: what the user states counts, then what the file says, then metres."""
    if stated is not None and stated not in UNIT_M:
        raise InputError(path, f"vertical unit “{stated}” is not known", "state m, ft or us-ft")
    words = (declared or "").strip().lower()
    known = _UNIT_WORDS.get(words)
    if stated is not None:
        if known is not None and known != stated:
            return stated, (f"vertical unit stated as {stated}, the file says {known}: the statement counts",)
        return stated, ()
    if known is not None:
        return known, ()
    if words:
        raise InputError(path, f"vertical unit “{declared}” is not known", 'state vertical_unit = "m", "ft" or "us-ft"')
    return "m", ("vertical unit not declared, metres assumed",)


def _datum(wkt: str, stated: str) -> tuple[str, tuple[str, ...]]:
    """The vertical datum: stated, or declared by a compound reference system."""
    crs = pyproj.CRS.from_wkt(wkt)
    declared = "unknown"
    for part in crs.sub_crs_list:
        if part.is_vertical:
            declared = part.name
    if declared == "unknown" and len(crs.axis_info) == 3:
        declared = f"ellipsoid of {crs.name}"
    if stated != "unknown":
        said = f"vertical datum stated as {stated}, the file says {declared}: the statement counts"
        return stated, () if declared in ("unknown", stated) else (said,)
    return declared, () if declared != "unknown" else ("vertical datum not declared",)


def _plane_or_sentence(path: Path, wkt: str) -> Plane:
    try:
        return plane(wkt)
    except pyproj.exceptions.ProjError as error:
        raise InputError(
            path,
            "its reference system cannot be brought to longitude and latitude",
            "assign the one it was made in",
        ) from error


@functools.lru_cache(maxsize=64)
def plane(wkt: str) -> Plane:
    """The horizontal part of a reference system, once per system."""
    crs = pyproj.CRS.from_wkt(wkt)
    flat = next((part for part in crs.sub_crs_list if not part.is_vertical), crs).to_2d()
    authority = flat.to_authority()
    name = ":".join(authority) if authority else flat.to_wkt()
    with warnings.catch_warnings():  # the caution below says what the warning says
        warnings.simplefilter("ignore")
        best = TransformerGroup(4326, flat, always_xy=True).best_available
    short = ":".join(authority) if authority else flat.name
    caution = f"the best datum shift for {short} is not installed, places may be off by some metres"
    return Plane(
        name=name,
        to_plane=pyproj.Transformer.from_crs(4326, flat, always_xy=True),
        geographic=flat.is_geographic,
        caution="" if best else caution,
    )


@functools.lru_cache(maxsize=1)
def _proj_works() -> bool:
    try:
        rasterio.crs.CRS.from_epsg(4326)
    except CRSError:
        return False
    return True


def _check_proj() -> None:
    if not _proj_works():
        names = [name for name in ("PROJ_DATA", "PROJ_LIB") if name in os.environ]
        raise InputError(
            " and ".join(names) or "PROJ",
            "the coordinate database found there belongs to another installation",
            f"unset {' and '.join(names)}" if names else "install rasterio again",
        )


def outer_bounds(affine: tuple[float, ...], shape: tuple[int, int], way: Plane) -> Bounds:
    """Bounds on WGS 84 that hold every place up to a cell outside the raster, a little generous."""
    along = np.linspace(0.0, 1.0, 21)
    edge = np.zeros_like(along)
    column = np.r_[along, edge + 1, along[::-1], edge] * (shape[1] + 2) - 1
    row = np.r_[edge, along, edge + 1, along[::-1]] * (shape[0] + 2) - 1
    longitude, latitude = to_degrees(affine, way, row - 0.5, column - 0.5)
    if not (np.isfinite(longitude).all() and np.isfinite(latitude).all()):
        return Bounds(-180.0, -90.0, 180.0, 90.0)
    longitude = continuous(longitude)  # once round the edge
    west, east, south, north = longitude.min(), longitude.max(), latitude.min(), latitude.max()
    if east - west > 180 and not way.geographic:  # it may hold a pole
        return Bounds(-180.0, -90.0, 180.0, 90.0)
    # Edges bulge between the places looked at, by far less than a hundredth of the extent.
    wide, high = (east - west) / 100, (north - south) / 100
    return Bounds(float(west - wide), float(south - high), float(east + wide), float(north + high))


def columns_around(affine: tuple[float, ...], shape: tuple[int, int], way: Plane) -> int:
    """Columns once round the globe, of a raster in degrees whose far edge meets its near one; else 0.

    They need to be a whole number to a tenth only: cells are often declared in a few digits.
    """
    a, b, _, d, _, _ = affine
    if not way.geographic or b != 0 or d != 0:
        return 0
    turn = 360.0 / abs(a)
    return round(turn) if round(turn) <= shape[1] and abs(turn - round(turn)) < 0.1 else 0


def to_degrees(
    affine: tuple[float, ...], way: Plane, row: FloatArray, column: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Longitude and latitude [degree] of fractional cells counted from cell centres."""
    a, b, c, d, e, f = affine
    x, y = a * (column + 0.5) + b * (row + 0.5) + c, d * (column + 0.5) + e * (row + 0.5) + f
    return way.to_plane.transform(x, y, direction="INVERSE")


def cell_side(affine: tuple[float, ...], shape: tuple[int, int], way: Plane) -> float:
    """The longer side of the middle cell on the ellipsoid. [m]"""
    row, column = (shape[0] - 1) / 2, (shape[1] - 1) / 2
    longitude, latitude = to_degrees(affine, way, row + np.array([0, 1, 0]), column + np.array([0, 0, 1]))
    _, _, sides = pyproj.Geod(ellps="WGS84").inv(longitude[[0, 0]], latitude[[0, 0]], longitude[1:], latitude[1:])
    return float(np.max(sides))
