"""A briefing as PDF, set by typst: pictures and words go in as files, words as JSON, so that they are never markup."""

from __future__ import annotations

import dataclasses
import json
from importlib import resources
from pathlib import Path
from typing import Any

import matplotlib
import typst

from profiler import wording
from profiler.briefing.printed import Table
from profiler.briefing.words import HEAD_RULE
from profiler.errors import OutputError
from profiler.files import output_error, source_date
from profiler.present.book import Book, Picture
from profiler.present.sheet import plain

_FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
"""Letters that typst's own typeface lacks; never those of the machine, so that all make the same bytes."""


def write_book_pdf(book: Book, path: Path) -> None:
    """Write a briefing as PDF, the same bytes for the same book.

    Raises
    ------
    OutputError
        If the file cannot be written, or typst does not set it.
    """
    try:
        path.write_bytes(book_pdf(book))
    except OSError as error:
        raise output_error(path, error) from error


def book_pdf(book: Book) -> bytes:
    """A briefing as PDF: PDF/UA-1, but for names in letters that no typeface here has.

    Raises
    ------
    OutputError
        If typst does not set it.
    """
    files = _files(book)
    try:
        return _set(files, ["ua-1"])
    except typst.TypstError:
        pass
    try:
        return _set(files, [])
    except typst.TypstError as error:
        raise OutputError("briefing.pdf", f"cannot be set ({error})", "install typst 0.14 or newer") from error


def _set(files: dict[str, bytes], standards: list[str]) -> bytes:
    date = source_date()
    made: bytes = typst.compile(
        files,
        format="pdf",
        font_paths=[str(_FONTS)],
        ignore_system_fonts=True,
        pdf_standards=standards,
        timestamp=0 if date is None else int(date.timestamp()),
    )
    return made


def _files(book: Book) -> dict[str, bytes]:
    """The source, the words, and every picture by its name."""
    pictures: dict[str, bytes] = {}

    def told(value: Any) -> Any:
        if isinstance(value, Picture):
            pictures[f"{value.name}.svg"] = value.svg
            return {"file": f"{value.name}.svg", "words": told(value.words), "width": value.width}
        if isinstance(value, Table):
            return {
                **{f.name: told(getattr(value, f.name)) for f in dataclasses.fields(value)},
                "stretch": value.stretch,
            }
        if dataclasses.is_dataclass(value) and not isinstance(value, type):
            return {f.name.replace("_", "-"): told(getattr(value, f.name)) for f in dataclasses.fields(value)}
        if isinstance(value, dict):
            return {key: told(item) for key, item in value.items()}
        if isinstance(value, tuple | list):
            return [told(item) for item in value]
        return plain(value) if isinstance(value, str) else value

    words = told(book)
    words["signs"] = {name: {"picture": told(p), "words": said} for name, (p, said) in book.signs.items()}
    words |= {"caution": wording.CAUTION_SHORT, "head-rule": HEAD_RULE}
    source = resources.files("profiler.present").joinpath("book.typ").read_bytes()
    return {"main.typ": source, "book.json": json.dumps(words, ensure_ascii=False).encode(), **pictures}
