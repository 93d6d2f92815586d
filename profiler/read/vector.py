"""Layers of the formats GDAL reads, with what it passes over in silence said aloud."""

from __future__ import annotations

import json
import mmap
import re
import warnings
from collections.abc import Mapping
from math import isnan
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyogrio
import shapely
from pyogrio.errors import DataLayerError, DataSourceError, FieldError

from profiler.errors import InputError
from profiler.read.features import LINES, Features, ObjectArray, on_wgs84

_FAILURES = (DataSourceError, DataLayerError, FieldError, IndexError, UnicodeDecodeError)


def layer_of(path: Path, source: str, layer: str | None, types: tuple[int, ...] = LINES) -> str:
    """The asked layer, or the only one that holds geometry of these types.

    Raises
    ------
    InputError
        If there is no such layer, none with such geometry, or several and none was asked.
    """
    try:
        with warnings.catch_warnings(action="ignore"):
            known = [(str(name), kind) for name, kind in pyogrio.list_layers(path)]
    except _FAILURES as error:
        raise _damaged(source, error) from error
    if not known:
        raise _damaged(source, IndexError())
    names = ", ".join(f'"{name}"' for name, _ in known)
    if layer is not None:
        if layer not in [name for name, _ in known]:
            raise InputError(f"{source}, layer {layer}", "there is no such layer", f"choose one of {names}")
        return layer
    what = "lines" if types == LINES else "points"
    fit = [name for name, kind in known if kind is not None and _may_hold(str(kind), types)]
    if len(fit) > 1:
        fit = [name for name in fit if _holds(path, source, name, types)]
    if not fit:
        raise InputError(source, f"no layer holds {what}", f"give a file with {what} (layers here: {names})")
    if len(fit) > 1:
        listed = ", ".join(f'"{name}"' for name in fit)
        raise InputError(source, f"several layers hold {what}: {listed}", 'choose one with layer = "…"')
    return fit[0]


def read_layer(path: Path, source: str, layer: str, *, where: str | None = None, **options: str) -> Features:
    """All features of a layer on WGS 84; ``options`` are GDAL's for opening the file.

    Raises
    ------
    InputError
        If the file is damaged, a geometry cannot be read, or coordinates do not suit the CRS.
    """
    try:
        with warnings.catch_warnings(action="ignore"):
            meta, _, wkb, columns = pyogrio.raw.read(path, layer=layer, where=where, **options)
    except _FAILURES as error:
        raise _damaged(source, error) from error
    declared = meta["crs"]
    row = np.arange(1, len(wkb) + 1)
    geometry = _geometry(wkb, row, source)
    if path.suffix.lower() in (".geojson", ".json"):
        declared = _geojson_crs(path, source) or declared
        _check_geojson_gaps(path, source, geometry)
    features = Features(geometry, _attributes(meta["fields"], columns, len(row)), row, "")
    return on_wgs84(features, declared, source)


def _damaged(source: str, error: Exception) -> InputError:
    # of what the library says, the place is of use to a reader
    place = re.search(r"line \d+, (?:character|column) \d+", str(error))
    said = f" at {place.group()}" if place else ""
    return InputError(
        source,
        f"holds no layer, or is cut short or damaged{said}",
        "open it in a GIS to see, or get it again",
    )


def _may_hold(kind: str, types: tuple[int, ...]) -> bool:
    flat = kind.split(" ")[0].replace("2.5D", "")
    wanted = ("LineString", "Curve") if types == LINES else ("Point",)
    return flat in ("Unknown", "GeometryCollection", "Geometry") or flat.endswith(wanted)


def _holds(path: Path, source: str, layer: str, types: tuple[int, ...]) -> bool:
    try:
        wkb = pyogrio.raw.read(path, layer=layer, columns=[])[2]
    except _FAILURES as error:
        raise _damaged(source, error) from error
    with np.errstate(invalid="ignore"):
        return bool(np.isin(shapely.get_type_id(shapely.from_wkb(wkb, on_invalid="ignore")), types).any())


def _geometry(wkb: ObjectArray, row: npt.NDArray[np.int_], source: str) -> ObjectArray:
    with np.errstate(invalid="ignore"):
        geometry: ObjectArray = np.asarray(shapely.from_wkb(wkb, on_invalid="ignore"), dtype=object)
    broken = shapely.is_missing(geometry) & np.array([value is not None for value in wkb], dtype=bool)
    if broken.any():
        raise InputError(
            f"{source}, feature {row[np.argmax(broken)]}",
            "its geometry cannot be read, it may be a line of a single point",
            "correct or remove the feature",
        )
    return geometry


def _attributes(fields: ObjectArray, columns: list[ObjectArray], count: int) -> tuple[Mapping[str, object], ...]:
    found: list[dict[str, object]] = [{} for _ in range(count)]
    for name, column in zip(fields, columns, strict=True):
        for attributes, value in zip(found, column.tolist(), strict=True):
            if not _missing(value):
                attributes[str(name)] = value
    return tuple(found)


def _missing(value: object) -> bool:
    return value is None or (isinstance(value, str) and not value) or (isinstance(value, float) and isnan(value))


def _geojson_crs(path: Path, source: str) -> str | None:
    """The `crs` member of a GeoJSON file: GDAL takes one it does not know for EPSG:4326."""
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as text:
        if not re.search(rb'"crs"\s*:', text):
            return None
    member = _json(path, source).get("crs")
    if member is None:
        return None
    name = member.get("properties", {}).get("name") if isinstance(member, dict) else None
    if not isinstance(name, str):
        raise InputError(source, "its crs member names no reference system", 'write {"type": "name", …} or remove it')
    return name


def _check_geojson_gaps(path: Path, source: str, geometry: ObjectArray) -> None:
    """A geometry GDAL gave up on (coordinates that are no numbers) is not one that is absent."""
    if not shapely.is_missing(geometry).any():
        return
    for number, feature in enumerate(_json(path, source).get("features", []), 1):
        if number <= len(geometry) and geometry[number - 1] is None and feature.get("geometry") is not None:
            raise InputError(f"{source}, feature {number}", "its coordinates are not numbers", "correct or remove it")


def _json(path: Path, source: str) -> dict[str, Any]:
    try:
        whole = json.loads(path.read_text(encoding="utf-8-sig"))
    except ValueError as error:
        raise InputError(source, f"is not sound JSON ({error})", "get or write the file again") from error
    return whole if isinstance(whole, dict) else {}
