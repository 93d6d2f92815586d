"""A briefing as one HTML file for screens: the same words and pictures as on paper, no script, nothing fetched."""

from __future__ import annotations

from pathlib import Path

from jinja2 import Environment, StrictUndefined

from profiler import wording
from profiler.briefing.words import HEAD_RULE
from profiler.files import output_error
from profiler.present.book import Book, Picture
from profiler.present.offline import data_url, own_file


def write_book_html(book: Book, path: Path) -> None:
    """Write a briefing as HTML, the same bytes for the same book.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    try:
        path.write_text(book_html(book), encoding="utf-8", newline="\n")
    except OSError as error:
        raise output_error(path, error) from error


def book_html(book: Book) -> str:
    """A briefing as HTML; words from input files are escaped wherever they stand."""
    paper = Environment(autoescape=True, undefined=StrictUndefined)
    paper.filters["data_url"] = _data_url
    template = paper.from_string(own_file("book.html"))
    return template.render(book=book, caution=wording.CAUTION_SHORT, head_rule=HEAD_RULE) + "\n"


def _data_url(picture: Picture) -> str:
    return data_url("image/svg+xml", picture.svg)
