"""Layers of a whole network: what of each line's written profile goes into the one file, and what its columns mean."""

from __future__ import annotations

import contextlib
import json
import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import shapely

from profiler.errors import InputError
from profiler.longitude import wrapped
from profiler.read import layout
from profiler.wording import CAUTION, INVENTED
from profiler.write.shapes import cut_at_meridian
from profiler.write.statement import CRS, UNITS

Array = npt.NDArray[Any]


class Column(NamedTuple):
    """A column: its ``name`` here and in the line's file, what it means, and whether it holds ``text``."""

    name: str
    description: str
    text: bool = False


@dataclass(frozen=True)
class NetworkLayer:
    """A layer: the ``table`` of a line's file that fills it, its own ``columns``, and the ``kind`` of its shapes."""

    name: str
    table: str
    columns: tuple[Column, ...]
    kind: str | None

    @property
    def all_columns(self) -> tuple[Column, ...]:
        """With the key of the line before them."""
        return (LINE, *self.columns)


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows of a layer: ``cells``, one tuple a row, the key first; ``shapes`` (n,), None of a line on no map."""

    layer: NetworkLayer
    cells: Sequence[tuple[Any, ...]]
    shapes: Array | None


LINE = Column("line", "Key of the line: the name of its file in the folder lines", text=True)
_START = Column("start_m", "Where it begins, by chainage [m]")
_END = Column("end_m", "Where it ends, by chainage [m]")
_POST = Column("post", "Post, as a number in the unit of the line's posts")
_GRADE = Column("grade_pct", "Grade, + uphill with chainage [%]")
_GRADE_SE = Column("grade_se_pct", "Standard error of the grade [%]")

LINES = NetworkLayer(
    "lines",
    "centreline",
    (
        Column("name", "Name of the line", text=True),
        Column("start", "Name of the end where chainage begins", text=True),
        Column("end", "Name of the other end", text=True),
        Column("length_m", "Length along the line [m]"),
        Column("ruling_grade_with_pct", "Ruling grade with chainage for a train of train_length_m [%]"),
        Column("ruling_grade_with_low_pct", "Lower bound of its 95 % interval [%]"),
        Column("ruling_grade_with_high_pct", "Upper bound of its 95 % interval [%]"),
        Column("ruling_grade_against_pct", "Ruling grade against chainage for a train of train_length_m [%]"),
        Column("ruling_grade_against_low_pct", "Lower bound of its 95 % interval [%]"),
        Column("ruling_grade_against_high_pct", "Upper bound of its 95 % interval [%]"),
        Column("train_length_m", "Length of train of the ruling grades, the longest asked for [m]"),
        Column("lowest_m", "Lowest elevation of the rail [m]"),
        Column("highest_m", "Highest elevation of the rail [m]"),
        Column("vertical_datum", "Vertical datum of all elevations of the line", text=True),
        Column("post_unit", "Unit of the line's posts", text=True),
        Column("invented", "yes if the line is invented", text=True),
        Column("attribution", "Words that the provider of the elevation data asks for", text=True),
        Column("licence", "Licence of the elevation data", text=True),
        Column("assumptions", "What was assumed, a sentence each", text=True),
    ),
    "MultiLineString",
)
LAYERS = (
    LINES,
    NetworkLayer(
        "grade_runs",
        "grade_runs",
        (
            _START,
            _END,
            _POST,
            _GRADE,
            _GRADE_SE,
            Column("rise_m", "Rise with chainage [m]"),
            Column("end_se_m", "Standard error of the place where the run ends [m]"),
        ),
        "MultiLineString",
    ),
    NetworkLayer(
        "landmarks",
        "landmarks",
        (
            Column("kind", "What it is", text=True),
            Column("direction", "Whom it concerns: with or against chainage, or both", text=True),
            Column("train_length_m", "Length of train it belongs to [m]"),
            _START,
            _END,
            Column("at_m", "The one place that stands for it, by chainage [m]"),
            _POST,
            Column("value", "Its figure, in the unit of the row"),
            Column("low", "Lower bound of the 95 % interval of the figure"),
            Column("high", "Upper bound of the 95 % interval of the figure"),
            Column("unit", "Unit of the figure", text=True),
            Column("probability", "Probability that it exists as stated"),
            Column("note", "The rest", text=True),
        ),
        "Point",
    ),
    NetworkLayer(
        "pvis",
        "pvis",
        (
            Column("chainage_m", "Chainage [m]"),
            Column("chainage_se_m", "Standard error of the chainage [m]"),
            _POST,
            Column("elevation_m", "Elevation where the tangents meet [m]"),
            Column("elevation_se_m", "Standard error of that elevation [m]"),
            Column("grade_in_pct", "Grade before it, + uphill with chainage [%]"),
            Column("grade_out_pct", "Grade after it, + uphill with chainage [%]"),
            Column("curve_length_m", "Length of the vertical curve [m]"),
            Column("probability", "Probability that it exists as stated"),
        ),
        "Point",
    ),
)
STATIONS = NetworkLayer(
    "stations",
    "profile",
    (
        Column("chainage_m", "Chainage [m]"),
        _POST,
        Column("elevation_m", "Elevation of the rail above the line's vertical datum [m]"),
        Column("elevation_se_m", "Standard error of the elevation [m]"),
        Column("ground_m", "Ground as the elevation data have it [m]"),
        _GRADE,
        _GRADE_SE,
        Column("degree_of_curve", "Degree of curve, chord of 100 ft, + left with chainage [degree]"),
        Column("structure_probability", "Probability of a tunnel or a bridge"),
    ),
    "Point",
)
FAILURES = NetworkLayer(
    "failures",
    "",
    (
        Column("territory", "Territory file, or row of the plan", text=True),
        Column("error", "Why it failed", text=True),
    ),
    None,
)


def read_line(key: str, path: Path, layers: Sequence[NetworkLayer]) -> list[Rows]:
    """Rows of all layers of one line, out of its written profile.

    Raises
    ------
    InputError
        If the file is not there, damaged, or none of ours.
    """
    if not path.is_file():
        raise InputError(path, "there is no such file", "start the network again: its line is done anew")
    try:
        with contextlib.closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as file:
            return [_rows(file, key, layer) for layer in layers]
    except (sqlite3.Error, ValueError, KeyError, IndexError, TypeError, shapely.errors.ShapelyError) as error:
        raise damaged(path) from error


def damaged(path: Path) -> InputError:
    """What is said of a line's profile that cannot be read."""
    return InputError(path, "is cut short or damaged", "delete it, and start the network again: its line is done anew")


def _rows(file: sqlite3.Connection, key: str, layer: NetworkLayer) -> Rows:
    spatial = "geom" in [row[1] for row in file.execute(f'PRAGMA table_info("{layer.table}")')]
    shape = ["geom"] if spatial else []
    if layer is LINES:
        cells = [_line_cells(file, key)]
        blobs = [row[0] for row in file.execute('SELECT geom FROM "centreline"')] if spatial else []
    else:
        names = ", ".join(f'"{name}"' for name in [*(column.name for column in layer.columns), *shape])
        found = file.execute(f'SELECT {names} FROM "{layer.table}" ORDER BY fid').fetchall()
        blobs = [row[-1] for row in found] if spatial else []
        cells = [(key, *(row[:-1] if spatial else row)) for row in found]
    shapes = _on_globe(shapely.from_wkb([_bare(blob) for blob in blobs]), layer) if spatial else None
    return Rows(layer, cells, shapes)


def _line_cells(file: sqlite3.Connection, key: str) -> tuple[Any, ...]:
    facts = {name: json.loads(value) for name, value in file.execute("SELECT key, value FROM about")}
    length = file.execute("SELECT length_m FROM centreline").fetchone()[0]
    low, high = file.execute("SELECT min(elevation_m), max(elevation_m) FROM profile").fetchone()
    ruling: dict[str, tuple[Any, ...]] = {
        row[0]: row[1:]
        for row in file.execute(
            "SELECT direction, value, low, high, train_length_m FROM landmarks "
            "WHERE kind = 'ruling_grade' ORDER BY train_length_m"  # the last, the longest, stays
        )
    }
    ways = [ruling.get(direction, (None,) * 4) for direction in ("with", "against")]
    return (
        key,
        facts["name"],
        *facts["ends"],
        length,
        *ways[0][:3],
        *ways[1][:3],
        ways[0][3] or ways[1][3],
        low,
        high,
        facts["vertical_datum"],
        facts["post_unit"],
        "yes" if facts["invented"] else "no",
        facts.get("attribution", ""),
        facts.get("licence", ""),
        " ".join(f"{sentence}." for sentence in (*facts["line_assumptions"], *facts["assumptions"])),
    )


_ENVELOPE = (0, 32, 48, 48, 64)


def _bare(blob: bytes) -> bytes:
    """Well-known binary out of the binary of a GeoPackage (OGC 12-128r18, section 2.1.3)."""
    return blob[8 + _ENVELOPE[blob[3] >> 1 & 7] :]


def _on_globe(shapes: Array, layer: NetworkLayer) -> Array:
    """Shapes with longitudes −180 to 180; lines in parts, cut where they cross the meridian."""
    if layer.kind == "Point":
        return shapely.points(wrapped(shapely.get_x(shapes)), shapely.get_y(shapes))
    parts = [
        [shapely.linestrings(part) for part in cut_at_meridian(shapely.get_coordinates(line))]
        if max(abs(x) for x in (line.bounds[0], line.bounds[2])) > 180
        else [line]
        for line in shapes
    ]
    return np.array([shapely.multilinestrings(lines) for lines in parts], dtype=object)


def told(name: str, invented: bool) -> Iterator[tuple[str, str]]:
    """What a network's file says of itself, by key."""
    yield "written_by", layout.WRITTEN_BY
    yield "name", name
    yield "caution", f"{INVENTED} {CAUTION}" if invented else CAUTION
    yield "coordinate_reference_system", CRS
    yield "units", UNITS
    yield "elevation_data", "Vertical datum, attribution and licence of each line stand in the rows of the layer lines"
