"""The whole profile as one GeoJSON text (RFC 7946)."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain
from pathlib import Path

import numpy as np

from profiler.landmark import Landmarks
from profiler.longitude import wrapped
from profiler.profile import Profile
from profiler.units import FloatArray
from profiler.wording import datum_words
from profiler.write.cells import fixed
from profiler.write.columns import meaning
from profiler.write.layers import Layer, class_sentence, layers_of
from profiler.write.shapes import cut_at_meridian
from profiler.write.statement import facts, left_out

_DECIMALS = 7


def write_geojson(profile: Profile, landmarks: Landmarks, path: Path) -> tuple[str, ...]:
    """Write one FeatureCollection; ``layer`` among the properties says what a feature is.

    Positions have two numbers: a third would be a height above the ellipsoid (RFC 7946, section 3.1.1), and
    elevations here are above the stated vertical datum; they are properties, ``elevation_m``. Lines are cut at the
    180° meridian (section 3.1.9). Datum, units, caution and the meaning of every property are foreign members
    (section 6.1) of the collection.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    layers = layers_of(profile, landmarks)
    head = {
        "type": "FeatureCollection",
        "bbox": _box(profile),
        **facts(profile),
        "grade_classes": class_sentence(landmarks),
        "properties_of": {layer.name: _described(layer) for layer in layers},
    }
    text = json.dumps(head, ensure_ascii=False)
    with Path(path).open("w", encoding="utf-8", errors="replace", newline="\n") as file:
        file.write(f'{text[:-1]}, "features": [\n')
        file.write(",\n".join(chain.from_iterable(map(_features, layers))))
        file.write("\n]}\n")
    return (
        f"GeoJSON positions have no height, elevations are properties: {datum_words(profile.vertical_datum)}",
        left_out(),
    )


def _described(layer: Layer) -> dict[str, dict[str, str]]:
    told = {name: meaning(layer.table, name) for name in layer.columns}
    return {name: {"description": it.description, "unit": it.unit} for name, it in told.items()}


def _box(profile: Profile) -> list[float]:
    """West, south, east, north; west is the greater across the 180° meridian (RFC 7946, section 5.2)."""
    x, y = profile.route.longitude, profile.route.latitude
    west, east = (float(wrapped(edge)) for edge in (x.min(), x.max()))
    return [round(edge, _DECIMALS) for edge in (west, float(y.min()), east, float(y.max()))]


def _features(layer: Layer) -> Iterator[str]:
    """Every feature of a layer as text: one template a layer, filled row by row."""
    keys = ", ".join(f"{json.dumps(name)}: %s" for name in layer.columns)
    template = (
        f'{{"type": "Feature", "id": "{layer.name}/%d", "geometry": %s, '
        f'"properties": {{"layer": "{layer.name}", {keys}}}}}'
    )
    values = [_values(layer, name, cells) for name, cells in layer.columns.items()]
    return map(template.__mod__, zip(range(1, len(values[0]) + 1), _geometries(layer), *values, strict=True))


def _values(layer: Layer, name: str, cells: Sequence[str]) -> Sequence[str]:
    """The cells of a column as JSON; an empty figure is null."""
    kind = meaning(layer.table, name).type
    if kind == "string":
        said = {cell: json.dumps(cell, ensure_ascii=False) for cell in set(cells)}
        return [said[cell] for cell in cells]
    if kind == "boolean":
        return ["true" if cell == "yes" else "false" for cell in cells]
    return [cell or "null" for cell in cells]


def _geometries(layer: Layer) -> Iterable[str]:
    if layer.points is not None:
        x, y = fixed(wrapped(layer.points[:, 0]), _DECIMALS), fixed(layer.points[:, 1], _DECIMALS)
        return map('{"type": "Point", "coordinates": [%s, %s]}'.__mod__, zip(x, y, strict=True))
    return map(_line, layer.lines)


def _line(points: FloatArray) -> str:
    parts = [_positions(part) for part in cut_at_meridian(points)]
    if len(parts) == 1:
        return f'{{"type": "LineString", "coordinates": {parts[0]}}}'
    return f'{{"type": "MultiLineString", "coordinates": [{", ".join(parts)}]}}'


def _positions(part: FloatArray) -> str:
    x, y = (fixed(np.asarray(column), _DECIMALS) for column in part.T)
    return "[" + ", ".join(map("[%s, %s]".__mod__, zip(x, y, strict=True))) + "]"
