"""A table that somebody typed, as CSV: known columns only, the unit in each one's name."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from profiler.errors import InputError
from profiler.read.csv_rows import csv_rows
from profiler.units import FloatArray

Known = Mapping[str, Mapping[str, float]]
"""Quantity to the units in which a column may give it, and how much one is in SI: {"elevation": {"m": 1.0}}.
A unit of "" is a column without one, a factor of 0 one of text."""

_NUMBER = re.compile(r"[+\-\N{MINUS SIGN}]?(?:\d+(?:[.,]\d*)?|[.,]\d+)")
_THOUSANDS = re.compile(r"[+\-\N{MINUS SIGN}]?[1-9]\d{0,2},\d{3}")


@dataclass(frozen=True, eq=False)
class TypedTable:
    """``source`` is the file, ``row`` (n,) the number of each row in it, ``cells`` its columns by name.

    ``column`` names the column of each quantity that is there, ``factor`` how much one is in SI.
    """

    source: str
    row: FloatArray
    cells: Mapping[str, Sequence[str]]
    column: Mapping[str, str]
    factor: Mapping[str, float]
    decimal_comma: bool

    def at(self, i: int) -> str:
        """Where a row stands, for a message."""
        return f"{self.source}, row {int(self.row[i])}"

    def texts(self, quantity: str) -> tuple[str, ...]:
        """Cells (n,) of a column, empty where there is none."""
        if quantity not in self.column:
            return ("",) * self.row.size
        return tuple(self.cells[self.column[quantity]])

    def numbers(self, quantity: str, low: float = -np.inf) -> FloatArray:
        """Values (n,) in SI, NaN where a cell is empty.

        Raises
        ------
        InputError
            If a cell is no number, or one below ``low`` [SI].
        """
        values = np.array([self._number(i, quantity, cell) for i, cell in enumerate(self.texts(quantity))])
        values = values * self.factor.get(quantity, 1.0)
        if (values < low).any():
            i = int((values < low).argmax())
            raise InputError(
                self.at(i), f"{self.column[quantity]} is {self.texts(quantity)[i]}, less than {low:g}", "correct it"
            )
        return values

    def rounding(self, quantity: str) -> FloatArray:
        """Half of the last digit of each cell (n,), in SI."""
        cells = self.texts(quantity)
        digits = [len(re.split("[.,]", cell)[1]) if re.search("[.,]", cell) else 0 for cell in cells]
        return np.asarray(0.5 * 10.0 ** -np.array(digits) * self.factor.get(quantity, 1.0))

    def _number(self, i: int, quantity: str, cell: str) -> float:
        if not cell:
            return np.nan
        name = self.column[quantity]
        if not _NUMBER.fullmatch(cell) or ("," in cell and not self.decimal_comma):
            raise InputError(self.at(i), f"{cell!r} in column {name} is no number", "write it like 1035.5")
        if _THOUSANDS.fullmatch(cell):
            raise InputError(
                self.at(i), f"{cell!r} in column {name} can be read in two ways", "write decimals with a point"
            )
        return float(cell.replace(",", ".").replace("\N{MINUS SIGN}", "-"))


def read_typed_table(path: Path | str, known: Known) -> TypedTable:
    """Read a CSV as `csv_rows` does.

    Raises
    ------
    InputError
        If it cannot be read, a column is unknown or names no unit, or two of them give one quantity.
    """
    path = Path(path)
    found = csv_rows(path)
    header = [name.lower() for name in found.header]
    column, factor = _columns(path, header, known)
    return TypedTable(
        source=str(path),
        row=np.array([number for number, _ in found.rows], dtype=int),
        cells={name: [cells[k] for _, cells in found.rows] for k, name in enumerate(header)},
        column=column,
        factor=factor,
        decimal_comma=found.delimiter != ",",
    )


def _columns(path: Path, header: Sequence[str], known: Known) -> tuple[dict[str, str], dict[str, float]]:
    names = {
        f"{quantity}_{unit}" if unit else quantity: (quantity, factor)
        for quantity, units in known.items()
        for unit, factor in units.items()
    }
    column: dict[str, str] = {}
    factors: dict[str, float] = {}
    for name in header:
        if name not in names:
            raise _unknown(path, name, names, known)
        quantity, factor = names[name]
        if column.get(quantity) == name:
            raise InputError(path, f"column {name} stands twice", "keep one of them")
        if quantity in column:
            said = quantity.replace("_", " ")
            raise InputError(path, f"columns {column[quantity]} and {name} both give the {said}", "keep one of them")
        column[quantity], factors[quantity] = name, factor
    return column, factors


def _unknown(path: Path, name: str, names: Mapping[str, object], known: Known) -> InputError:
    if name in known:
        units = [f"{name}_{unit}" for unit in known[name]]
        return InputError(path, f"column {name} names no unit", f"name it {' or '.join(units)}")
    near = difflib.get_close_matches(name, names, n=1, cutoff=0.6)
    remedy = f"did you mean {near[0]}?" if near else f"known here: {', '.join(sorted(names))}"
    return InputError(path, f"column {name!r} is not known", remedy)
