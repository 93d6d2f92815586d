"""Cells of CSV tables and the file they make: UTF-8, lines end with \\n, an empty cell is "none".

Figures have fixed decimals. A text that came in with the data and begins with ``=``, ``+``, ``-`` or
``@`` gets an apostrophe before it: spreadsheets would run it as a formula.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np

from profiler.route import Posts
from profiler.units import FloatArray


class Texts(list[str]):
    """A column of text from outside as it came in; `write_columns` makes cells of it."""


Columns = Mapping[str, Sequence[str]]
"""A table: name of a column to its cells, all of one length."""

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def write_columns(path: Path, columns: Columns) -> None:
    """Write a table.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    cells = (text_cells(column) if isinstance(column, Texts) else column for column in columns.values())
    rows = map(",".join, zip(*cells, strict=True))
    path.write_text("\n".join([",".join(columns), *rows, ""]), encoding="utf-8", newline="\n")


def fixed(values: FloatArray | Sequence[float | None], decimals: int) -> list[str]:
    """Cells with fixed decimals; NaN and None leave theirs empty, and nothing reads "-0.0"."""
    rounded = np.round(np.asarray(values, dtype=float), decimals) + 0.0
    # One format over a list is three times as fast as pandas' writer, and each column has its own.
    cells = list(map(f"%.{decimals}f".__mod__, rounded.tolist()))
    for i in np.flatnonzero(np.isnan(rounded)).tolist():
        cells[i] = ""
    return cells


def post_cells(posts: Posts, chainage: FloatArray | Sequence[float]) -> list[str]:
    """Cells with the posts at chainages. [m]"""
    return fixed(posts.at(np.asarray(chainage, dtype=float)), 3)


def text_cells(values: Iterable[str]) -> list[str]:
    """Cells of text from outside: harmless in a spreadsheet, quoted where CSV asks for it (RFC 4180)."""
    column = list(values)
    cells = {value: _text_cell(value) for value in set(column)}
    return [cells[value] for value in column]


def _text_cell(value: str) -> str:
    cell = f"'{value}" if value.startswith(_FORMULA) else value
    return '"' + cell.replace('"', '""') + '"' if set(cell) & set('",\r\n') else cell
