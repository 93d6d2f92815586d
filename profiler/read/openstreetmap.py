"""Railway ways and nodes of OpenStreetMap files, through GDAL's own driver."""

from __future__ import annotations

import json
import mmap
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely

from profiler.errors import InputError
from profiler.read.features import Features
from profiler.read.vector import read_layer

POINT_KINDS = ("station", "halt", "milestone")
"""Values of `railway` on nodes that are read along with a line."""

_NO_NUMBER = re.compile(rb"""\s(?:lat|lon)=["'](?!\s*[-+]?\.?\d)[^"']*["']""")
_OWN_FIELDS = ("other_tags", "z_order")


def read_ways(path: Path, source: str, *, layer: str | None = None) -> Features:
    """Every way with a `railway` tag, all its tags as attributes.

    Raises
    ------
    InputError
        If the file is damaged or another layer than "lines" is asked for.
    """
    if layer not in (None, "lines"):
        raise InputError(
            f"{source}, layer {layer}",
            "the ways of OpenStreetMap stand in the layer lines",
            "leave layer out",
        )
    return _read(path, source, "lines", "railway IS NOT NULL")


def read_nodes(path: Path, source: str) -> Features:
    """Stations, halts and mileposts: nodes with railway=station, halt or milestone."""
    return stops(_read(path, source, "points", "other_tags LIKE '%\"railway\":%'"))


def stops(points: Features) -> Features:
    """Those points that are stations, halts or mileposts."""
    return points.where(np.array([a.get("railway") in POINT_KINDS for a in points.attributes], dtype=bool))


def outlines_as_stops(ways: Features, nodes: Features) -> tuple[Features, Features]:
    """Ways that are no outlines of stations, and nodes with a point amid each outline whose name no node has.

    Outlines that are tagged as buildings too are among the areas of a file, which are not read.
    """
    outline = np.array([a.get("railway") in ("station", "halt") for a in ways.attributes], dtype=bool)
    known = {a.get("name") for a in nodes.attributes}
    lacking = np.array([a.get("name") not in known | {None} for a in ways.attributes], dtype=bool)
    drawn = ways.where(outline & lacking)
    stops = replace(
        nodes,
        geometry=np.concatenate([nodes.geometry, shapely.centroid(drawn.geometry)]),
        attributes=(*nodes.attributes, *drawn.attributes),
        row=np.concatenate([nodes.row, drawn.row]),
    )
    return ways.where(~outline), stops


def _read(path: Path, source: str, layer: str, where: str) -> Features:
    found = read_layer(path, source, layer, where=where, TAGS_FORMAT="JSON")
    if path.suffix.lower() == ".osm" and (shapely.get_coordinates(found.geometry) == 0).any():
        _check_positions(path, source)
    return replace(found, attributes=tuple(_tags(fields) for fields in found.attributes))


def _tags(fields: Mapping[str, object]) -> dict[str, object]:
    own = {name: value for name, value in fields.items() if name not in _OWN_FIELDS}
    return own | json.loads(str(fields.get("other_tags", "{}")))


def _check_positions(path: Path, source: str) -> None:
    """GDAL reads lat="abc" as 0: where a zero turns up, look whether the file says so."""
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as text:
        found = _NO_NUMBER.search(text)
        said = found[0].strip().decode("utf-8", "replace") if found else ""
    if said:
        raise InputError(source, f"a node has {said}, which is no position", "correct or remove the node")
