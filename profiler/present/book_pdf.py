"""A briefing as PDF, set by typst: words go into it as JSON, so that they are never markup."""

from __future__ import annotations

import dataclasses
import json
from functools import lru_cache
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
from profiler.present.offline import own_file
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
    inputs = _inputs(book)
    try:
        return _set(inputs, accessible=True)
    except typst.TypstError:  # a letter that no typeface has is forbidden by PDF/UA
        pass
    try:
        return _set(inputs, accessible=False)
    except typst.TypstError as error:
        raise OutputError("briefing.pdf", f"cannot be set ({error})", "install typst 0.15 or newer") from error


@lru_cache
def _fonts() -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False, font_paths=[str(_FONTS)])


def _set(inputs: dict[str, str], *, accessible: bool) -> bytes:
    date = source_date()
    return typst.compile(
        own_file("book.typ").encode(),
        format="pdf",
        font_paths=_fonts(),
        sys_inputs=inputs,
        pdf_standards="ua-1" if accessible else "1.7",
        timestamp=0 if date is None else int(date.timestamp()),
    )


def _inputs(book: Book) -> dict[str, str]:
    """The words as JSON, and every picture by its name."""
    pictures: dict[str, str] = {}

    def told(value: Any) -> Any:
        if isinstance(value, Picture):
            pictures[value.name] = value.svg.decode()
            return {"name": value.name, "words": told(value.words), "width": value.width}
        if isinstance(value, Table):
            return {**told(vars(value)), "stretch": value.stretch, "together": value.together}
        if dataclasses.is_dataclass(value) and not isinstance(value, type):
            return {f.name.replace("_", "-"): told(getattr(value, f.name)) for f in dataclasses.fields(value)}
        if isinstance(value, dict):
            return {key: told(item) for key, item in value.items()}
        if isinstance(value, tuple | list):
            return [told(item) for item in value]
        return plain(value) if isinstance(value, str) else value

    words = told(book)
    words |= {"caution": wording.CAUTION_SHORT, "head-rule": HEAD_RULE}
    return {"book": json.dumps(words, ensure_ascii=False), **pictures}
