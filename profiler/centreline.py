"""A centreline as read: pieces of line with their attributes, in longitude and latitude."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from profiler.units import FloatArray


@dataclass(frozen=True, eq=False)
class Piece:
    """One line of the file.

    ``longitude`` and ``latitude`` are (n,), n >= 2, on WGS 84 [degree], the longitudes continuous:
    across the 180° meridian they go on beyond it. ``height`` is (n,) [m],
    or None where the file has none. ``attributes`` are the file's own, missing values left out.
    ``row`` is the feature's number in the file, from 1.
    """

    longitude: FloatArray
    latitude: FloatArray
    attributes: Mapping[str, object] = field(default_factory=dict)
    row: int = 0
    height: FloatArray | None = None


@dataclass(frozen=True)
class PointFeature:
    """A point of a file: a station, a post.

    ``longitude``, ``latitude`` on WGS 84 [degree]; ``attributes`` by the file's names; ``row`` counts from 1.
    """

    longitude: float
    latitude: float
    attributes: Mapping[str, object] = field(default_factory=dict)
    row: int = 0


@dataclass(frozen=True, eq=False)
class Centreline:
    """The lines of one file or layer, and what was assumed in reading them.

    ``source`` is the file as a reader would name it, ``crs`` the declared reference system
    ("EPSG:4326"), ``assumptions`` what was assumed, in sentences, ``points`` point features read along
    with the lines (stations of an OpenStreetMap file), ``left_out`` counts pieces dropped by reason
    ("service track": 3).
    """

    source: str
    pieces: tuple[Piece, ...]
    crs: str
    points: tuple[PointFeature, ...] = ()
    left_out: Mapping[str, int] = field(default_factory=dict)
    assumptions: tuple[str, ...] = ()
