"""Vertical datums by name, and the way from one to another, if an installed one is real.

Where a grid is missing, PROJ offers a "ballpark" operation that changes nothing and does not say so.
Here that counts as no way at all, and nothing is fetched.
"""

from __future__ import annotations

import functools
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
import pyproj
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import CRSError, ProjError
from pyproj.network import is_network_enabled, set_network_enabled  # type: ignore[attr-defined]
from pyproj.transformer import TransformerGroup

from profiler.errors import InputError
from profiler.longitude import wrapped
from profiler.units import FloatArray

UNKNOWN = "unknown"

_SPELLINGS = {
    "ign69": "ngfign69",
    "egm08": "egm2008",
    "navd1988": "navd88",
    "ngvd1929": "ngvd29",
    "nn1954": "nn54",
    "newlyn": "odn",
}
"""What the trade says for names of the EPSG list, both as `_plain` writes them."""

_NOT_NAME = re.compile(r"\((?:m|ft|ftus)\)|\b(?:height|heights|geoid|vertical datum)\b|[\s_\-.]", re.IGNORECASE)


@dataclass(frozen=True, eq=False)
class Shift:
    """What to add to heights (n,) [m] to bring them to another datum, and by which operation.

    ``accuracy`` [m] is what the database says of the operation, None where it says nothing.
    """

    metres: FloatArray
    operation: str
    accuracy: float | None


def known_datum(name: str) -> bool:
    """Whether anything but "unknown" is said."""
    return name.strip().casefold() not in ("", UNKNOWN)


def same_datum(a: str, b: str) -> bool:
    """Whether two names mean one datum, in whatever unit: "NAVD 88" and "NAVD88 height (ftUS)" do."""
    if _plain(a) == _plain(b):
        return True
    first, second = vertical_crs(a), vertical_crs(b)
    return first is not None and second is not None and _datum(first) == _datum(second)


@functools.lru_cache(maxsize=256)
def vertical_crs(name: str) -> pyproj.CRS | None:
    """The system of the EPSG list that a name or a code ("EPSG:5703") means; None if there is none."""
    if name.strip().upper().startswith("EPSG:"):
        try:
            crs = pyproj.CRS.from_user_input(name.strip())
        except CRSError:
            return None
        return next((part for part in (*crs.sub_crs_list, crs) if part.is_vertical), None)
    plain = _plain(name)
    code = _codes().get(_SPELLINGS.get(plain, plain))
    return None if code is None else pyproj.CRS.from_epsg(code)


def datum_shift(
    source: str, above: str, wanted: str, longitude: FloatArray, latitude: FloatArray, remedy: str
) -> Shift:
    """The way from heights above one datum to heights above another.

    Parameters
    ----------
    source : str
        What the heights belong to, for the message.
    above, wanted : str
        Names of the two datums.
    longitude, latitude : ndarray, shape (n,)
        Places on WGS 84. [degree]
    remedy : str
        What to do where there is no way, for the message.

    Raises
    ------
    InputError
        If a name is not in the EPSG list, a grid that the way needs is not installed, the list
        knows no way, or it does not reach these places.
    """
    said = f"heights above {above} cannot be brought to {wanted}"
    ends = []
    for name in (above, wanted):
        crs = vertical_crs(name)
        if crs is None:
            raise InputError(source, f"{said}: the EPSG list has no vertical datum “{name}”", remedy)
        ends.append(crs)
    with _offline():
        ways = _ways(ends[0], ends[1], longitude, latitude)
        if not ways.transformers:
            raise InputError(source, *_no_way(said, ways, remedy))
        way = ways.transformers[0]
        try:
            raised = way.transform(wrapped(longitude), latitude, np.zeros(np.shape(longitude)), errcheck=True)[2]
        except ProjError as error:
            raise InputError(source, f"{said}: {_words(way)} fails here", remedy) from error
    metres = np.asarray(raised, dtype=float) * ends[1].axis_info[0].unit_conversion_factor
    if not (np.isfinite(metres) & _reached(way, longitude, latitude)).all():
        raise InputError(source, f"{said}: {_words(way)} does not reach all of the line", remedy)
    return Shift(metres, _words(way), way.accuracy if way.accuracy >= 0 else None)


def _words(way: pyproj.Transformer) -> str:
    """An operation by the names of its parts, those that only turn axes left out."""
    return " + ".join(part for part in way.description.split(" + ") if not part.startswith("axis order"))


def _reached(way: pyproj.Transformer, longitude: FloatArray, latitude: FloatArray) -> FloatArray:
    """Places (n,) in the area for which an operation is meant: outside it PROJ extrapolates."""
    area = way.area_of_use
    if area is None:
        return np.ones(np.shape(longitude), dtype=bool)
    east = np.mod(longitude - area.west, 360.0)
    wide = np.mod(area.east - area.west, 360.0) or 360.0
    return np.asarray((east <= wide) & (latitude >= area.south) & (latitude <= area.north))


def _ways(above: pyproj.CRS, wanted: pyproj.CRS, longitude: FloatArray, latitude: FloatArray) -> TransformerGroup:
    """Operations that work with what is installed, the best first; a no-op by ignorance is none."""
    west, east = wrapped(np.min(longitude)), wrapped(np.max(longitude))
    area = AreaOfInterest(float(west), np.min(latitude), float(east), np.max(latitude))
    start, end = (pyproj.CRS.from_user_input(f"EPSG:4326+{crs.to_epsg()}") for crs in (above, wanted))
    with warnings.catch_warnings():  # that a better one is not installed is known from the group itself
        warnings.simplefilter("ignore")
        return TransformerGroup(start, end, always_xy=True, area_of_interest=area, allow_ballpark=False)  # type: ignore[arg-type]


def _no_way(said: str, ways: TransformerGroup, remedy: str) -> tuple[str, str]:
    """Problem and remedy where no operation works here."""
    lacking = [[grid for grid in way.grids if not grid.available] for way in ways.unavailable_operations]
    lacking = [grids for grids in lacking if grids]
    if lacking:
        grids = next((grids for grids in lacking if all(grid.url for grid in grids)), lacking[0])
        names = [grid.short_name for grid in grids]
        if all(grid.url for grid in grids):
            remedy += f", or install what is missing ({', '.join(f'pyproj sync --file {name}' for name in names)})"
        return f"{said} (grid{'s' if len(names) > 1 else ''} not installed: {', '.join(names)})", remedy
    return f"{said}: the EPSG list knows no way between them here", remedy


@contextmanager
def _offline() -> Iterator[None]:
    """Keep PROJ from fetching grids, whatever the environment allows."""
    before = is_network_enabled()
    set_network_enabled(False)
    try:
        yield
    finally:
        set_network_enabled(before)


@functools.lru_cache(maxsize=1)
def _codes() -> dict[str, str]:
    """Codes of all heights of the EPSG list by plain name; of one datum in several units the metric one."""
    found: dict[str, str] = {}
    listed = query_crs_info("EPSG", PJType.VERTICAL_CRS)
    for info in sorted(listed, key=lambda info: ("(ft" in info.name, info.name)):
        if "depth" not in info.name:
            found.setdefault(_plain(info.name), info.code)
    return found


def _plain(name: str) -> str:
    return _NOT_NAME.sub("", name).casefold()


def _datum(crs: pyproj.CRS) -> str:
    return str((crs.datum or crs).name)
