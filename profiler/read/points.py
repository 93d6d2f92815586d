"""Read point features: stations, posts."""

from __future__ import annotations

from pathlib import Path

import shapely

from profiler.centreline import PointFeature
from profiler.errors import InputError
from profiler.read.features import POINTS, Features
from profiler.read.gpx import read_gpx
from profiler.read.markup import check_kml
from profiler.read.opening import VectorFile, opened
from profiler.read.openstreetmap import read_nodes
from profiler.read.vector import layer_of, read_layer


def read_points(path: Path | str, *, layer: str | None = None) -> tuple[PointFeature, ...]:
    """Points of a vector file on WGS 84, in the file's order.

    The formats are those of `read_centreline`; of OpenStreetMap files stations, halts and
    mileposts are read, of GPX files way points. ``layer`` is needed where several hold points.

    Raises
    ------
    InputError
        If the file is not what its name says, is damaged or holds no points.
    MissingCRSError
        If the file declares no CRS.
    """
    with opened(path) as file:
        features = _read(file, layer)
    points = point_features(features.of_type(POINTS))
    if not points:
        raise InputError(path, "holds no points", "give a file with points in it")
    return points


def point_features(points: Features) -> tuple[PointFeature, ...]:
    """Point features, one a point: a multipoint gives several of one row."""
    parts, owner = shapely.get_parts(points.geometry, return_index=True)
    place = shapely.get_coordinates(parts)
    return tuple(
        PointFeature(float(x), float(y), points.attributes[i], int(points.row[i]))
        for (x, y), i in zip(place, owner, strict=True)
    )


def _read(file: VectorFile, layer: str | None) -> Features:
    if file.kind.startswith("OpenStreetMap"):
        return read_nodes(file.path, file.source)
    if file.kind == "GPX":
        return read_gpx(file.path, file.source)
    if file.kind == "KML":
        check_kml(file.path, file.source)
    return read_layer(file.path, file.source, layer_of(file.path, file.source, layer, POINTS))
