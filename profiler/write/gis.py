"""A GeoPackage for a GIS: a layer a table, what people want to see in metric columns, described inside the file."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyogrio
import shapely

from profiler.landmark import Landmarks
from profiler.longitude import wrapped
from profiler.profile import Profile
from profiler.wording import INVENTED, capitalised, datum_words
from profiler.write.columns import TABLES, meaning
from profiler.write.geopackage import writing
from profiler.write.layers import Layer, class_sentence, layers_of
from profiler.write.shapes import cut_at_meridian
from profiler.write.statement import facts, left_out

Array = npt.NDArray[Any]


def write_gis(profile: Profile, landmarks: Landmarks, path: Path) -> tuple[str, ...]:
    """Write a layer for every table and for the line, and what the file says of itself as the table ``about``.

    Columns carry their description and unit (GeoPackage, schema extension), layers a spatial index; lines are cut
    at the 180° meridian. Nothing reads this file back: that is what profile.gpkg is for.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    path, layers = Path(path), layers_of(profile, landmarks)
    about = {**facts(profile), "grade_classes": class_sentence(landmarks)}
    with writing(path):
        for layer in layers:
            _write(path, layer, profile)
        _write_about(path, about)
        with contextlib.closing(sqlite3.connect(path)) as database:
            describe(database, _meanings(layers))
            _check(database, layers)
    return (left_out(),)


def _write(path: Path, layer: Layer, profile: Profile) -> None:
    shapes, kind = _shapes(layer)
    words = f"{TABLES[layer.table]} {capitalised(datum_words(profile.vertical_datum))}."
    options = {"IDENTIFIER": layer.name, "DESCRIPTION": f"{INVENTED} {words}" if profile.invented else words}
    pyogrio.raw.write(
        path,
        shapely.to_wkb(shapes),
        [_values(layer, name, cells) for name, cells in layer.columns.items()],
        list(layer.columns),
        layer=layer.name,
        driver="GPKG",
        geometry_type=kind,
        crs="EPSG:4326",
        layer_options=options,
    )


def _values(layer: Layer, name: str, cells: Sequence[str]) -> Array:
    kind = meaning(layer.table, name).type
    if kind == "string":
        return np.array(cells, dtype=object)
    if kind == "boolean":
        return np.array([cell == "yes" for cell in cells], dtype=bool)
    return np.array([cell or "nan" for cell in cells], dtype=float).astype(np.int32 if kind == "integer" else float)


def _shapes(layer: Layer) -> tuple[Array, str]:
    """Geometries (n,) of a layer and their one type: parts where any line crosses the meridian."""
    if layer.points is not None:
        return shapely.points(wrapped(layer.points[:, 0]), layer.points[:, 1]), "Point"
    parts = [[shapely.linestrings(part) for part in cut_at_meridian(line)] for line in layer.lines]
    if all(len(lines) == 1 for lines in parts):
        return np.array([lines[0] for lines in parts], dtype=object), "LineString"
    return np.array([shapely.multilinestrings(lines) for lines in parts], dtype=object), "MultiLineString"


def _write_about(path: Path, about: Mapping[str, object]) -> None:
    said = [value if isinstance(value, str) else json.dumps(value, ensure_ascii=False) for value in about.values()]
    columns = [np.array(texts, dtype=object) for texts in (list(about), said)]
    pyogrio.raw.write(path, None, columns, ["key", "value"], layer="about", driver="GPKG", geometry_type=None)


_SCHEMA = """
CREATE TABLE gpkg_data_columns (
    table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT, description TEXT, mime_type TEXT,
    constraint_name TEXT, CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
    CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE gpkg_data_column_constraints (
    constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT, min NUMERIC, min_is_inclusive BOOLEAN,
    max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
    CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
"""
"""OGC 12-128r18, annex F.9, tables of the schema extension."""


def _meanings(layers: Sequence[Layer]) -> Iterator[tuple[str, str, str]]:
    """Layer, column, and what that means."""
    for layer in layers:
        for column in layer.columns:
            it = meaning(layer.table, column)
            yield layer.name, column, f"{it.description} [{it.unit}]" if it.unit else it.description


def describe(database: sqlite3.Connection, rows: Iterable[tuple[str, str, str]]) -> None:
    """What every column means, where a GIS looks for it: table, column, words."""
    tables = ("gpkg_data_columns", "gpkg_data_column_constraints")
    with database:
        database.executescript(_SCHEMA)
        database.executemany(
            "INSERT INTO gpkg_data_columns (table_name, column_name, description) VALUES (?, ?, ?)", rows
        )
        database.executemany(
            "INSERT INTO gpkg_extensions VALUES (?, NULL, 'gpkg_schema', "
            "'http://www.geopackage.org/spec121/#extension_schema', 'read-write')",
            [(table,) for table in tables],
        )


def _check(database: sqlite3.Connection, layers: Sequence[Layer]) -> None:
    """Indexes of places are written as GDAL closes a file, and on a full disk left undone without a word."""
    for layer in layers:
        found = database.execute(f'SELECT count(*) FROM "rtree_{layer.name}_geom"').fetchone()[0]
        if found != len(next(iter(layer.columns.values()))):
            raise sqlite3.OperationalError(f"the index of {layer.name} is not whole")
