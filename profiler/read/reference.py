"""Coordinates of any declared reference system onto WGS 84, nothing guessed."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pyproj
from pyproj.exceptions import CRSError, ProjError

from profiler.errors import InputError, MissingCRSError
from profiler.longitude import wrapped
from profiler.units import FloatArray

_POLAR = 84.0
"""No line is laid nearer to a pole [degree]: the map's projection ends at 85°, and ground around the
line is shown too. The northernmost railways lie near 71°."""

IntArray = npt.NDArray[np.int_]


def crs_of(declared: str | None, source: str) -> pyproj.CRS:
    """The reference system a file declares.

    Raises
    ------
    MissingCRSError
        If the file declares none, or "undefined".
    InputError
        If the system is not known.
    """
    remedy = "declare it in the file (for a Shapefile: add the .prj)"
    if not declared:
        raise MissingCRSError(source, "the coordinates come without a reference system (CRS)", remedy)
    try:
        crs = pyproj.CRS.from_user_input(declared)
    except CRSError as error:
        raise InputError(
            source, f"the reference system {declared[:60]!r} is not known", "declare one of the EPSG list"
        ) from error
    if crs.name.lower().startswith("undefined") or crs.type_name == "Engineering CRS":
        raise MissingCRSError(source, f"the reference system is {crs.name!r}", remedy)
    return crs


def crs_words(crs: pyproj.CRS) -> str:
    """ "EPSG:2154" where the system has a code, otherwise its name."""
    code = crs.to_2d().to_authority()
    return ":".join(code) if code else str(crs.name)


def to_wgs84(crs: pyproj.CRS, place: FloatArray, row: IntArray, source: str) -> tuple[FloatArray, tuple[str, ...]]:
    """Longitude and latitude (n, 2) [degree] of coordinates (n, 2) in ``crs``, and what was assumed.

    ``row`` (n,) is the feature a coordinate belongs to, for the message.

    Raises
    ------
    InputError
        If a coordinate is not a number, does not suit the declared system, or lies beyond 84°
        of latitude.
    """
    _refuse(~np.isfinite(place).all(axis=1), row, place, source, "a coordinate is not a number", "correct it")
    outside = _off_globe(place[:, 0], place[:, 1])
    said: tuple[str, ...] = ()
    if crs.is_geographic:
        words = "does not suit degrees of longitude (−180 to 180) and latitude (−90 to 90)"
        remedy = f"declare the CRS the file is really in, not {crs_words(crs)}"
        if outside.any() and not _off_globe(place[:, 1], place[:, 0]).any():
            remedy = "exchange the two if latitude stands first, else declare the CRS the file is really in"
        round_the_globe = outside & ~_off_globe(place[:, 0] / 2, place[:, 1])
        _refuse(outside & ~round_the_globe, row, place, source, words, remedy)
        if round_the_globe.any():
            said += ("longitudes beyond 180° taken as counted on round the globe",)
    elif place.size and not outside.any():
        words = f"looks like degrees, though the file declares {crs_words(crs)}"
        _refuse(~outside, row, place, source, words, "declare the CRS the file is really in")
    try:
        transformer = pyproj.Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
        moved = np.column_stack(transformer.transform(place[:, 0], place[:, 1]))
    except ProjError as error:
        raise InputError(source, f"{crs_words(crs)} cannot be carried to WGS 84", "use another CRS") from error
    words = f"cannot be carried from {crs_words(crs)} to WGS 84"
    _refuse(~np.isfinite(moved).all(axis=1), row, place, source, words, "check the coordinates and the CRS")
    _refuse(
        np.abs(moved[:, 1]) > _POLAR,
        row,
        moved,
        source,
        "lies beyond 84° of latitude, too near the pole for the projection of the map",
        "give a line outside the polar regions",
    )
    moved[:, 0] = wrapped(moved[:, 0])
    if "allpark" in transformer.description:
        said += (f"{crs_words(crs)} to WGS 84 without its datum grid: places may be off by some metres",)
    return moved, said


def _off_globe(longitude: FloatArray, latitude: FloatArray) -> npt.NDArray[np.bool_]:
    return np.asarray((np.abs(longitude) > 180) | (np.abs(latitude) > 90))


def _refuse(bad: npt.ArrayLike, row: IntArray, place: FloatArray, source: str, words: str, remedy: str) -> None:
    if np.any(bad):
        i = int(np.argmax(bad))
        at = ", ".join(f"{value:.10g}" for value in place[i])
        raise InputError(f"{source}, feature {row[i]}", f"({at}) {words}", remedy)
