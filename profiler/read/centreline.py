"""Read a track centreline from a vector file of any common format."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import shapely

from profiler.centreline import Centreline, Piece
from profiler.errors import InputError
from profiler.longitude import continuous
from profiler.read.features import LINES, POINTS, Features
from profiler.read.gpx import read_gpx
from profiler.read.markup import check_kml
from profiler.read.opening import VectorFile, opened
from profiler.read.openstreetmap import outlines_as_stops, read_nodes, read_ways, stops
from profiler.read.points import point_features
from profiler.read.vector import layer_of, read_layer

SERVICE_TRACKS = ("siding", "spur", "yard", "crossover")
NOT_IN_USE = ("abandoned", "disused", "razed", "construction", "proposed")

Keep = Mapping[str, Sequence[str]]


def read_centreline(path: Path | str, *, layer: str | None = None, keep: Keep | None = None) -> Centreline:
    """Read the lines of a file as pieces on WGS 84.

    Parameters
    ----------
    path : path-like
        GeoJSON, GeoPackage, Shapefile, FlatGeobuf, KML, GPX (tracks, else routes), OpenStreetMap XML
        or PBF; any of them also packed as ``.gz``.
    layer : str, optional
        Needed where several layers hold lines.
    keep : mapping of str to sequence of str, optional
        Fields and the values wanted; "" stands for no value. Where a file has a field `railway`,
        only rail is kept unless `keep` speaks of that field; pieces with `service` of a siding,
        spur, yard or crossover drop out unless it speaks of `service`.

    Returns
    -------
    Centreline
        ``left_out`` counts what was dropped by reason, ``assumptions`` say it in words.

    Raises
    ------
    InputError
        If the file is not what its name says, is damaged, holds no lines, declares a CRS that does
        not suit its coordinates or lies too near a pole, or if nothing is left after the filter.
    MissingCRSError
        If the file declares no CRS.
    """
    with opened(path) as file:
        lines, points = _read(file, layer)
        crs = lines.crs
    counts: Counter[str] = Counter(lines.left_out)
    counts["not a line"] += int((~np.isin(shapely.get_type_id(lines.geometry), (*LINES, *POINTS, -1))).sum())
    counts["no geometry"] += int((shapely.is_missing(lines.geometry) | shapely.is_empty(lines.geometry)).sum())
    lines = lines.of_type(LINES)
    if not lines.row.size:
        raise InputError(path, "holds no lines", "give a file with lines in it")
    kept = _chosen(lines, keep or {}, counts, str(path))
    pieces = _pieces(kept, counts) if kept.row.size else ()
    left_out = {reason: n for reason, n in sorted(counts.items()) if n}
    if not pieces:
        remedy = "give a line of at least two places" if kept.row.size else "say what to keep with keep"
        raise InputError(path, f"none of its lines is left ({_counted(left_out)})", remedy)
    heights, pieces = _level(pieces)
    said = (f"left out: {_counted(left_out)}",) if left_out else ()
    return Centreline(
        source=Path(path).name,
        pieces=pieces,
        crs=crs,
        points=point_features(points),
        left_out=left_out,
        assumptions=lines.assumptions + said + heights,
    )


def _read(file: VectorFile, layer: str | None) -> tuple[Features, Features]:
    """Everything of the layer, and the points that belong along with the lines."""
    if file.kind.startswith("OpenStreetMap"):
        return outlines_as_stops(read_ways(file.path, file.source, layer=layer), read_nodes(file.path, file.source))
    if file.kind == "GPX":
        features = read_gpx(file.path, file.source, layer=layer)
        return features, features.of_type(POINTS)
    if file.kind == "KML":
        check_kml(file.path, file.source)
    features = read_layer(file.path, file.source, layer_of(file.path, file.source, layer))
    points = features.of_type(POINTS)
    return features, stops(points) if any("railway" in a for a in features.attributes) else points


def _chosen(lines: Features, keep: Keep, counts: Counter[str], source: str) -> Features:
    fields = sorted({name for attributes in lines.attributes for name in attributes})
    for name in keep:
        if name not in fields:
            near = difflib.get_close_matches(name, fields, 1)
            hint = f"did you mean {near[0]}?" if near else f"its fields are {', '.join(fields) or 'none'}"
            raise InputError(source, f"keep asks for a field {name} that no line has", hint)
    tagged = "railway" in fields
    reasons = [_reason(attributes, keep, tagged) for attributes in lines.attributes]
    counts.update(reason for reason in reasons if reason)
    return lines.where(np.array([not reason for reason in reasons], dtype=bool))


def _reason(attributes: Mapping[str, object], keep: Keep, tagged: bool) -> str:
    """Why a line drops out; empty where it stays."""
    for name, values in keep.items():
        if _text(attributes.get(name, "")) not in [_text(value) for value in values]:
            return f"other {name}"
    railway = _text(attributes.get("railway", ""))
    if tagged and "railway" not in keep:
        if railway != "rail":
            return railway.replace("_", " ") or "no railway tag"
        state = next((state for state in NOT_IN_USE if attributes.get(state) == "yes"), "")
        if state:
            return state
    if "service" not in keep and attributes.get("service") in SERVICE_TRACKS:
        return "service track"
    return ""


def _text(value: object) -> str:
    """A value as one writes it: 5051.0 of a column with gaps is 5051."""
    return f"{value:g}" if isinstance(value, float) and value.is_integer() else str(value)


def _pieces(lines: Features, counts: Counter[str]) -> tuple[Piece, ...]:
    parts, owner = shapely.get_parts(lines.geometry, return_index=True)
    place, index = shapely.get_coordinates(parts, include_z=True, return_index=True)
    again = np.r_[False, (place[1:, :2] == place[:-1, :2]).all(axis=1) & (index[1:] == index[:-1])]
    counts["vertex drawn twice"] += int(again.sum())
    place, index = place[~again], index[~again]
    pieces = []
    for part, group in enumerate(np.split(place, np.flatnonzero(np.diff(index)) + 1)):
        row = int(lines.row[owner[part]])
        if len(group) < 2:
            counts["line without length"] += 1
            continue
        height = group[:, 2].copy() if np.isfinite(group[:, 2]).all() else None
        pieces.append(Piece(continuous(group[:, 0]), group[:, 1].copy(), lines.attributes[owner[part]], row, height))
    return tuple(pieces)


def _level(pieces: tuple[Piece, ...]) -> tuple[tuple[str, ...], tuple[Piece, ...]]:
    """Heights that are 0 throughout are a format's filler, not a height."""
    if any(p.height is None or p.height.any() for p in pieces):
        return (), pieces
    flat = tuple(Piece(p.longitude, p.latitude, p.attributes, p.row) for p in pieces)
    return ("heights in the file are all 0 and were taken as not given",), flat


def _counted(left_out: Mapping[str, int]) -> str:
    return ", ".join(f"{n} × {reason}" for reason, n in left_out.items()) or "nothing left out"
