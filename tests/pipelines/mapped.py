"""Invented railways as OpenStreetMap has them: ways that share nodes, drawn in metres at sea."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import osmium
import pyproj

MAIN = {"railway": "rail", "usage": "main"}


class Mapped:
    """Ways and nodes in metres about a place; points drawn at the same metre are one node."""

    def __init__(self, longitude: float = -25.0, latitude: float = -38.0) -> None:
        plane = f"+proj=tmerc +lon_0={longitude} +lat_0={latitude} +ellps=WGS84"
        self._to_degrees = pyproj.Transformer.from_crs(plane, 4326, always_xy=True)
        self.nodes: dict[tuple[float, float], int] = {}
        self.tags: dict[int, dict[str, str]] = {}
        self.ways: list[tuple[list[int], dict[str, str]]] = []

    def node(self, east: float, north: float, **tags: str) -> int:
        number = self.nodes.setdefault((round(float(east), 2), round(float(north), 2)), len(self.nodes) + 1)
        if tags:
            self.tags[number] = {key.replace("__", ":"): value for key, value in tags.items()}
        return number

    def way(self, points: Iterable[Sequence[float]], **tags: str) -> None:
        """A way through points (east, north) [m] with railway=rail, usage=main and other tags, a: b as a__b."""
        tagged = {key.replace("__", ":"): value for key, value in (MAIN | tags).items() if value}
        self.ways.append(([self.node(*point) for point in points], tagged))

    def degrees(self, east: float, north: float) -> tuple[float, float]:
        longitude, latitude = self._to_degrees.transform(east, north)
        return longitude, latitude

    def write(self, path: Path) -> Path:
        """A .pbf or .osm, by the ending of its name; anew if it is there."""
        path.unlink(missing_ok=True)
        with osmium.SimpleWriter(str(path)) as out:
            for (east, north), number in self.nodes.items():
                place, tags = self.degrees(east, north), self.tags.get(number, {})
                out.add_node(osmium.osm.mutable.Node(id=number, location=place, tags=tags))
            for number, (nodes, tags) in enumerate(self.ways, start=1):
                out.add_way(osmium.osm.mutable.Way(id=number, nodes=nodes, tags=tags))
        return path


def straight(start: float, end: float, north: float = 0.0, step: float = 100.0) -> list[tuple[float, float]]:
    """Points from west to east at one northing, the ends and whole steps between them. [m]"""
    inner = np.arange(np.floor(start / step) + 1, np.ceil(end / step)) * step
    return [(float(x), north) for x in (start, *inner, end)]


def leaving(start: float, north: float, length: float, *, to: float, back: bool = False) -> list[tuple[float, float]]:
    """A branch that leaves a line at an easting and bends to the north (``to`` 1) or south (−1) by radius 600 m,
    then goes straight; ``back`` to the west instead of the east. [m]"""
    radius, turn = 600.0, 1.0
    s = np.r_[np.arange(0.0, length, 50.0), length]
    a = np.minimum(s / radius, turn)
    beyond = np.maximum(s - radius * turn, 0.0)
    east = radius * np.sin(a) + beyond * np.cos(turn)
    across = radius * (1 - np.cos(a)) + beyond * np.sin(turn)
    return [(start + (-x if back else x), north + to * y) for x, y in zip(east, across, strict=True)]
