"""Rows of a CSV file that somebody else made: its header, and cells with the row a spreadsheet shows."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from profiler.errors import InputError


@dataclass(frozen=True)
class CsvRows:
    """``header`` names the columns, ``rows`` are (number in the file, cells) in order; ``delimiter`` parts cells."""

    header: list[str]
    rows: list[tuple[int, list[str]]]
    delimiter: str


def csv_rows(path: Path) -> CsvRows:
    """Read a CSV with commas, semicolons or tabs; blank lines and those that begin with # are no rows.

    Raises
    ------
    InputError
        If it cannot be read, is empty, or a row has more or fewer cells than the header.
    """
    lines = [(i, line) for i, line in enumerate(_text(path).splitlines(), 1) if line.strip() and line[0] != "#"]
    if not lines:
        raise InputError(path, "is empty", "give a header and a row for each place")
    delimiter = max("\t;,", key=lines[0][1].count)
    (_, header), *rows = (
        (number, [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter))]) for number, line in lines
    )
    for number, cells in rows:
        if len(cells) != len(header):
            raise InputError(
                f"{path}, row {number}",
                f"has {len(cells)} cells, the header has {len(header)}",
                "leave a cell empty where nothing is known; with decimal commas, part cells by semicolons",
            )
    return CsvRows(header, rows, delimiter)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputError(path, "there is no such file", "check the name") from None
    except IsADirectoryError:
        raise InputError(path, "is a folder", "give a CSV file") from None
    except UnicodeDecodeError:
        raise InputError(path, "is no text in UTF-8", "save it as CSV in UTF-8") from None
    except OSError as error:
        raise InputError(path, f"cannot be read ({error.strerror})", "check the file") from error
