"""Tracks, routes and way points of a GPX file.

Parsed here and not by GDAL, which turns lat="abc" into 0 without a word.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from profiler.errors import InputError
from profiler.read.features import Features, on_wgs84
from profiler.read.markup import local_name, xml_root
from profiler.units import FloatArray


def read_gpx(path: Path, source: str, *, layer: str | None = None) -> Features:
    """Way points, and tracks (or, where the file has none, routes) as lines.

    ``layer`` may be "tracks" or "routes". A segment of a track is a line of its own; a segment of
    a single point is left out and counted.

    Raises
    ------
    InputError
        If the file is not sound XML, defines entities, or a position is not a pair of numbers.
    """
    if layer not in (None, "tracks", "routes"):
        raise InputError(f"{source}, layer {layer}", "there is no such layer", 'ask for "tracks" or "routes"')
    root = xml_root(path, source, "gpx")
    geometry: list[Any] = []
    attributes: list[dict[str, object]] = []
    single = 0
    for line, places in _lines(root, source, layer):
        if len(places) > 1:
            with_height = bool(np.isfinite(places[:, 2]).all())
            with np.errstate(invalid="ignore"):  # a NaN is refused with its place further on
                geometry.append(shapely.LineString(places if with_height else places[:, :2]))
            attributes.append(_texts(line))
        single += len(places) == 1
    for number, waypoint in enumerate(_children(root, "wpt"), 1):
        geometry.append(shapely.Point(_place(waypoint, f"{source}, wpt {number}")[:2]))
        attributes.append(_texts(waypoint))
    left_out = {"segment of a single point": single} if single else {}
    features = Features(
        np.array(geometry, dtype=object),
        tuple(attributes),
        np.arange(1, len(geometry) + 1),
        "",
        left_out=left_out,
    )
    return on_wgs84(features, "EPSG:4326", source)


def _lines(root: Any, source: str, layer: str | None) -> Iterator[tuple[Any, FloatArray]]:
    """Each drawn line's element with its places (n, 3); routes only where there are no tracks."""
    if layer != "routes":
        for number, track in enumerate(_children(root, "trk"), 1):
            for segment in _children(track, "trkseg"):
                yield track, _places(segment, "trkpt", f"{source}, trk {number}")
    if layer == "routes" or (layer is None and next(_children(root, "trk"), None) is None):
        for number, route in enumerate(_children(root, "rte"), 1):
            yield route, _places(route, "rtept", f"{source}, rte {number}")


def _places(element: Any, name: str, where: str) -> FloatArray:
    return np.array([_place(p, f"{where}, point {k}") for k, p in enumerate(_children(element, name), 1)], dtype=float)


def _children(element: Any, name: str) -> Iterator[Any]:
    return (child for child in element if local_name(child) == name)


def _texts(element: Any) -> dict[str, object]:
    found = ((local_name(child), (child.text or "").strip()) for child in element if not len(child))
    return {name: text for name, text in found if text}


def _place(point: Any, where: str) -> tuple[float, float, float]:
    """Longitude, latitude [degree] and height [m], NaN where there is none."""
    try:
        longitude, latitude = float(point.attrib["lon"]), float(point.attrib["lat"])
    except (KeyError, ValueError) as error:
        said = ", ".join(f'{key}="{point.attrib.get(key, "")}"' for key in ("lat", "lon"))
        raise InputError(where, f"{said} is not a position", "give both in degrees") from error
    height = next((child.text for child in _children(point, "ele")), None)
    try:
        return longitude, latitude, math.nan if height is None else float(height)
    except ValueError as error:
        raise InputError(where, f"ele {height!r} is not a height", "give it in metres or leave it out") from error
