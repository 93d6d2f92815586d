"""Read what a railway publishes of a line, as CSV: gradients, PVIs, elevations of stations, a profile."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np

from profiler.errors import InputError
from profiler.read.csv_rows import csv_rows
from profiler.read.table_columns import Column, columns_of
from profiler.reference import Reference
from profiler.units import FloatArray

DENSE = 100.0
"""Elevations by position that stand closer in the median are a profile, not a list of PVIs. [m]"""

OVERLAP = 1.0
"""Pieces that overlap by no more do so by rounding. [m]"""

_NUMBER = re.compile(r"[+\-\N{MINUS SIGN}]?\d+(?:[.,]\d+)?")
_THOUSANDS = re.compile(r"[+\-\N{MINUS SIGN}]?[1-9]\d{0,2},\d{3}")
_EACH = {"position": "a position", "to": "a position", "elevation": "an elevation", "grade": "a grade"}

_SHOWN = {"permille": "‰", "promille": "‰", "pct": "%", "percent": "%"}

Rows = list[tuple[int, list[str]]]


def read_reference(path: Path | str) -> Reference:
    """Read a table to hold a profile against.

    Parameters
    ----------
    path : path
        CSV with semicolons, commas or tabs; lines that begin with # are notes. Columns are told by
        their names, which hold the units; decimal commas are taken where nothing else can be meant.

    Raises
    ------
    InputError
        If a column names no unit, a cell is no number, rows are not in order, or two of them
        contradict each other.
    """
    path = Path(path)
    header, rows = _cells(path)
    columns = columns_of(header, path)
    table = _Table(path, columns, rows)
    return _with_grades(table, header) if "grade" in columns and not table.dense() else _with_elevations(table, header)


def _cells(path: Path) -> tuple[list[str], Rows]:
    """Header, and each row with its number in the file."""
    if path.is_dir():
        raise InputError(path, "is a folder and no written profile", "give a CSV file or an output folder")
    found = csv_rows(path)
    if not found.rows:
        raise InputError(path, "has no rows", "give a header and a row for each place")
    return found.header, found.rows


@dataclass(frozen=True, eq=False)
class _Table:
    """Rows with their columns, read on demand."""

    path: Path
    columns: Mapping[str, Column]
    rows: Rows

    def at(self, i: int) -> str:
        """Where a row stands, for a message."""
        return f"{self.path}, row {self.rows[i][0]}"

    def text(self, key: str) -> list[str]:
        """Cells (n,) of a column, empty where there is none."""
        column = self.columns.get(key)
        return [cells[column.place] if column else "" for _, cells in self.rows]

    def numbers(self, key: str) -> FloatArray:
        """Values (n,) of a column in SI, NaN where a cell is empty."""
        column = self.columns.get(key)
        if column is None:
            return np.full(len(self.rows), np.nan)
        cells = self.text(key)
        self._refuse_thousands(column, cells)
        values = [self._number(i, column, cell, _EACH.get(key, "a number")) for i, cell in enumerate(cells)]
        return np.array(values, dtype=float) * column.factor

    def _number(self, i: int, column: Column, cell: str, what: str) -> float:
        if not cell:
            return np.nan
        if not _NUMBER.fullmatch(cell):
            raise InputError(self.at(i), f"{cell!r} in column {column.name!r} is not {what}", "write it like 12.345")
        return float(cell.replace(",", ".").replace("\N{MINUS SIGN}", "-"))

    def _refuse_thousands(self, column: Column, cells: list[str]) -> None:
        """A comma before three digits may part thousands, unless another cell shows that it does not."""
        commas = [cell for cell in cells if "," in cell]
        if not commas or column.unit in ("km", "mi") or not all(_THOUSANDS.fullmatch(cell) for cell in commas):
            return
        i = cells.index(commas[0])
        raise InputError(
            self.at(i), f"{commas[0]!r} in column {column.name!r} can be read in two ways", "write decimals as points"
        )

    def rounding(self, key: str) -> float:
        """Standard error of what is left out by the digits printed: a step is uniform over its width. [SI]"""
        column = self.columns.get(key)
        if column is None:
            return 0.0
        digits = (re.split("[.,]", cell)[1:] for cell in self.text(key) if cell)
        decimals = max((len(found[0]) if found else 0 for found in digits), default=0)
        return float(10.0**-decimals * column.factor / np.sqrt(12))

    def errors(self, key: str) -> tuple[FloatArray, tuple[str, ...]]:
        """Standard errors (n,) of a column: as stated, or of its rounding, which is said."""
        column = self.columns.get(key)
        if column is None:
            return np.full(len(self.rows), np.nan), ()
        stated = self.numbers(f"{key}_se")
        if (stated < 0).any():
            raise InputError(self.at(int((stated < 0).argmax())), "a standard error is below 0", "correct it")
        said: tuple[str, ...] = ()
        if f"{key}_se" not in self.columns:
            half = self.rounding(key) * np.sqrt(12) / column.factor / 2
            shown = f"±{half:g} {_SHOWN.get(column.unit, column.unit)}"
            said = (f"{key}s state no standard error: the rounding of their figures, {shown}, counts",)
        return np.where(np.isnan(stated), self.rounding(key), stated), said

    def dense(self) -> bool:
        """Whether grades stand beside elevations of a profile, which hold them already."""
        if "elevation" not in self.columns or "to" in self.columns:
            return False
        return self.columns["position"].word != "from" if "position" in self.columns else True

    def positions(self) -> FloatArray:
        """Positions (n,) [m]; each row has one if it has no name and no coordinates."""
        position = self.numbers("position")
        named = np.array([bool(name) for name in self.text("name")])
        for i in np.flatnonzero(np.isnan(position)).tolist():
            if not named[i] and "longitude" not in self.columns:
                raise InputError(self.at(i), "says no place", "fill its cell or remove the row")
        return position

    def kept(self, keep: FloatArray) -> _Table:
        """Some of the rows."""
        return _Table(self.path, self.columns, [self.rows[i] for i in np.flatnonzero(keep).tolist()])

    def place_words(self, metres: float) -> str:
        """A position as the file counts it."""
        column = self.columns["position"]
        return f"{metres / column.factor:.10g} {column.unit}"


def _with_grades(table: _Table, header: list[str]) -> Reference:
    """A gradient table: every row's grade holds to its end, or to the next row."""
    table, said = _without_repeats(table, table.numbers("position"), ("grade", "elevation"))
    position, grade, end = table.positions(), table.numbers("grade"), table.numbers("to")
    if np.isnan(position).any():
        raise InputError(table.at(int(np.isnan(position).argmax())), "its grade has no position", "fill the cell")
    falling = _falling(table, position)
    if "to" not in table.columns:
        end = np.r_[position[1:], np.nan]
        if np.isfinite(grade[-1]):
            said = (*said, "its last row has no next one: where that grade ends is not known, it is left out")
    backward = end < position
    start, finish = np.where(backward, end, position), np.where(backward, position, end)
    grade = np.where(backward, -grade, grade)
    if backward.any():
        said = (*said, "positions fall from row to row: grades are taken to climb in that order")
    said = (*said, "it states tangents: vertical curves of customary length count in the error of its means")
    held = np.isfinite(finish) & np.isfinite(grade)
    order = np.argsort(position, kind="stable") if falling else np.arange(position.size)
    _refuse_overlaps(table, start, finish, order[held[order]])
    grade_se, more = table.errors("grade")
    elevation_se, also = table.errors("elevation")
    grade_se, grade = (np.where(held, values, np.nan) for values in (grade_se, grade))
    return _reference(
        table,
        header,
        kind="gradients",
        order=order,
        position=position,
        elevation=table.numbers("elevation"),
        elevation_se=elevation_se,
        start=np.where(held, start, np.nan),
        end=np.where(held, finish, np.nan),
        grade=grade,
        grade_se=grade_se,
        remarks=(*said, *more, *also),
    )


def _with_elevations(table: _Table, header: list[str]) -> Reference:
    """Elevations by position, by station or by coordinates."""
    filled = np.isfinite(table.numbers("elevation"))
    if not filled.any():
        raise InputError(table.path, "no row has an elevation", "fill that column")
    table, said = _without_repeats(table.kept(filled), table.numbers("position")[filled], ("elevation",))
    _refuse_two_names(table)
    position = table.positions()
    falling = _falling(table, position)
    elevation = table.numbers("elevation")
    elevation_se, more = table.errors("elevation")
    order = np.argsort(position, kind="stable") if falling else np.arange(position.size)
    curved = table.numbers("curve_length")
    if np.isfinite(curved).any():
        elevation = elevation + _rounded_off(position, elevation, curved)
        more = (*more, "at a PVI the rail of its vertical curve is meant: A·L/8 over or under it")
    empty = np.full(position.size, np.nan)
    grade_se = table.numbers("grade_se")
    return _reference(
        table,
        header,
        kind=_kind(table, header, position),
        order=order,
        position=position,
        elevation=elevation,
        elevation_se=elevation_se,
        start=empty,
        end=empty,
        grade=empty,
        grade_se=grade_se,
        remarks=(*said, *more),
    )


def _reference(
    table: _Table, header: list[str], *, kind: str, order: FloatArray, remarks: tuple[str, ...], **arrays: FloatArray
) -> Reference:
    column, names = table.columns.get("position"), table.text("name")
    return Reference(
        source=str(table.path),
        kind=kind,
        row=np.array([number for number, _ in table.rows])[order],
        longitude=table.numbers("longitude")[order],
        latitude=table.numbers("latitude")[order],
        names=tuple(names[i] for i in order.tolist()),
        unit=column.unit if column else "",
        se_stated="elevation_se" in table.columns,
        by_chainage=column is not None and column.word == "chainage",
        columns=tuple(header[c.place] for c in table.columns.values()),
        remarks=remarks,
        **{name: values[order] for name, values in arrays.items()},
    )


def _kind(table: _Table, header: list[str], position: FloatArray) -> str:
    if "pvi" in table.columns or "curve_length" in table.columns or any("pvi" in name.lower() for name in header):
        return "pvis"
    if "name" in table.columns or not np.isfinite(position).any():
        return "stations"
    if "grade" in table.columns or position.size < 2:
        return "profile"
    return "profile" if np.median(np.abs(np.diff(position))) < DENSE else "pvis"


def _rounded_off(position: FloatArray, elevation: FloatArray, curve_length: FloatArray) -> FloatArray:
    """How far (n,) the rail lies over its PVIs [m]: A·L/8, with the grades between neighbouring PVIs."""
    lift = np.zeros(position.size)
    order = np.argsort(position)
    grade = np.diff(elevation[order]) / np.diff(position[order])
    inner = order[1:-1]
    lift[inner] = np.diff(grade) * np.nan_to_num(curve_length[inner]) / 8
    return lift


def _falling(table: _Table, position: FloatArray) -> bool:
    """Whether positions fall from row to row; refused where they do neither."""
    placed = np.flatnonzero(np.isfinite(position))
    steps = np.diff(position[placed])
    falling = bool(steps.size) and int((steps < 0).sum()) > steps.size / 2
    wrong = np.flatnonzero(steps >= 0 if falling else steps <= 0)
    if wrong.size:
        before, here = placed[wrong[0]], placed[wrong[0] + 1]
        words = [table.place_words(float(position[i])) for i in (here, before)]
        raise InputError(table.at(int(here)), f"{words[0]} comes after {words[1]}", "sort the rows by position")
    return falling


def _without_repeats(table: _Table, position: FloatArray, keys: tuple[str, ...]) -> tuple[_Table, tuple[str, ...]]:
    """Rows that say the same of the same place count once; refused where they contradict each other."""
    keep = np.ones(position.size, dtype=bool)
    values = np.array([table.numbers(key) for key in keys])
    for i in np.flatnonzero(position[1:] == position[:-1]).tolist():
        if not np.array_equal(values[:, i], values[:, i + 1], equal_nan=True):
            cells = (" and ".join(filter(None, (table.text(key)[j] for key in keys))) for j in (i, i + 1))
            raise InputError(
                table.at(i + 1),
                f"stands at {table.place_words(float(position[i]))} like row {table.rows[i][0]} and contradicts it "
                f"({' against '.join(cells)})",
                "keep one of them",
            )
        keep[i + 1] = False
    count = int((~keep).sum())
    return table.kept(keep), (f"{count} rows that say the same twice count once",) if count else ()


def _refuse_two_names(table: _Table) -> None:
    """A station that stands twice, for tables whose rows have no positions."""
    if "position" in table.columns or "longitude" in table.columns:
        return
    seen: dict[str, int] = {}
    for i, name in enumerate(table.text("name")):
        if name in seen:
            first = table.rows[seen[name]][0]
            raise InputError(table.at(i), f"names {name!r} again, as row {first} does", "keep one of them")
        seen[name] = i


def _refuse_overlaps(table: _Table, start: FloatArray, end: FloatArray, order: FloatArray) -> None:
    for a, b in _pairs(order):
        if end[a] > start[b] + OVERLAP:
            raise InputError(
                table.at(b),
                f"overlaps row {table.rows[a][0]}: it begins at {table.place_words(float(start[b]))}, "
                f"that one ends at {table.place_words(float(end[a]))}",
                "let each piece end where the next begins",
            )


def _pairs(order: FloatArray) -> Iterator[tuple[int, int]]:
    yield from pairwise(int(i) for i in order)
