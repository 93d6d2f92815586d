"""The printed briefing and the one for screens: the same words, on sheets that hold them."""

from __future__ import annotations

import dataclasses
import html
import itertools
import re
from functools import cache

import numpy as np
import pypdfium2 as pdfium
import pytest

from profiler import wording
from profiler.briefing.plan import Briefing, plan_handling
from profiler.present.book import Book, book_of
from profiler.present.book_html import book_html
from profiler.present.book_pdf import book_pdf
from profiler.present.strips import LONGEST, strips_of
from profiler.route import Station
from tests.briefed import briefed
from tests.invented import invented_landmarks, invented_profile
from tests.trains import TRIAL

NASTY = '#*Nasty* <b>$x$</b> \\ "quote" @ref [x] {{ 1 }} </script><script>alert(1)</script>'
INCH, MM = 72.0, 72 / 25.4


@cache
def printed(train: str = "b", direction: str = "with", units: str = "us") -> tuple[Briefing, Book, bytes]:
    """A briefing of the invented line, its book and its PDF."""
    briefing = briefed(train, direction, units)
    book = book_of(briefing)
    return briefing, book, book_pdf(book)


def pages_of(pdf: bytes) -> list[str]:
    """Text of each page, in one line, white space as one blank."""
    with pdfium.PdfDocument(pdf) as document:
        return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


@pytest.mark.parametrize("direction", ["with", "against"])
def test_text_of_the_pdf_holds_every_mark(direction: str):
    """Law: what people search for is text: title and places of every mark, questions, answers and table heads."""
    _, book, pdf = printed("b", direction)
    text = " ".join(pages_of(pdf))
    assert len(book.marks) > 10
    for row in book.marks:
        assert f"{row.number} {row.title}".strip() in text
        assert {place for place in (row.earliest, row.best, row.last) if place != "–"} <= set(text.split())
    for table in book.tables:
        assert table.title in text
    for question in book.questions:
        assert text.count(question.text) == 2
        assert question.answer[:40] in text
    for sentence in book.sentences:
        assert f"{sentence.place} {sentence.text}"[:50] in text


def test_every_sheet_has_its_caution_and_number():
    """Law of the look: cautions, name, direction and number stand at the foot of every sheet."""
    _, book, pdf = printed()
    pages = pages_of(pdf)
    for number, text in enumerate(pages, start=1):
        assert wording.CAUTION_SHORT in text
        assert f"sheet {number} of {len(pages)}" in text
        assert book.foot in text


@pytest.mark.parametrize(
    ("units", "size"), [("us", (8.5 * INCH, 11 * INCH)), ("metric", (210 * MM, 297 * MM))], ids=["letter", "A4"]
)
def test_paper_follows_the_units(units: str, size: tuple[float, float]):
    """Published: letter is 8.5 × 11 in (ANSI/ASME Y14.1), A4 210 × 297 mm (ISO 216); portrait."""
    with pdfium.PdfDocument(printed("b", "with", units)[2]) as document:
        for page in document:
            assert page.get_size() == pytest.approx(size, abs=0.1)


def test_the_same_book_makes_the_same_bytes():
    """Law: no clock, no chance."""
    briefing, _, pdf = printed()
    again = book_of(briefing)
    assert book_pdf(again) == pdf
    assert book_html(again) == book_html(book_of(briefing))


def test_it_is_tagged_and_says_what_it_is():
    """Law: title, language and structure are in the file, an author is not, and all fonts are."""
    _, book, pdf = printed()
    with pdfium.PdfDocument(pdf) as document:
        said = document.get_metadata_dict()
        assert document.is_tagged()
    assert said["Title"] == f"{book.title}, {book.subtitle}"
    assert not said["Author"]
    assert b"/Lang" in pdf
    assert b"pdfuaid" in pdf


def test_nothing_is_printed_beyond_the_margins():
    """Law of the look: nothing essential within 6 mm of the edge, so nothing is clipped: a frame of white about all."""
    edge = 6 * MM
    with pdfium.PdfDocument(printed()[2]) as document:
        for page in document:
            ink = np.asarray(page.render(scale=1.0).to_pil().convert("L")) < 250
            rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
            assert rows[0] > edge
            assert columns[0] > edge
            assert rows[-1] < ink.shape[0] - edge
            assert columns[-1] < ink.shape[1] - edge


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("direction", ["with", "against"])
def test_strips_hold_the_line_and_overlap_by_a_train(units: str, direction: str):
    """Law: sheets follow each other from end to end, each begins a train length before the last has ended."""
    briefing = briefed("b", direction, units)
    strips = strips_of(briefing)
    assert strips[0].start == 0
    assert strips[-1].end == briefing.terrain.length
    for before, after in itertools.pairwise(strips):
        assert before.end - after.start == pytest.approx(briefing.train.length)
        assert before.last == after.first
    assert max(strip.end - strip.start for strip in strips) < 1.25 * LONGEST[units]


def test_every_mark_with_a_number_is_on_a_strip():
    """Law: a mark that reaches the line is in the table of the sheet it lies on."""
    briefing, book, _ = printed()
    listed = {row.number for strip in book.strips for row in strip.marks}
    way, length = briefing.terrain.way_at, briefing.terrain.length
    reach = {str(m.number) for m in briefing.marks if m.number and way(m.latest) >= 0 and way(m.earliest) <= length}
    assert reach
    assert reach <= listed


@cache
def nasty() -> Book:
    """A station, a train and a reason that are markup in every language at hand."""
    profile = invented_profile()
    route = dataclasses.replace(profile.route, stops=(Station(NASTY, 20_900.0),), ends=(NASTY, "Ende"))
    train = dataclasses.replace(TRIAL["b"], name=NASTY)
    return book_of(plan_handling(dataclasses.replace(profile, route=route), invented_landmarks(), train))


def test_a_nasty_name_stays_text_on_paper():
    """Law: what comes out of an input file is never markup."""
    text = " ".join(pages_of(book_pdf(nasty())))
    assert text.count(" ".join(NASTY.split())) > 3


def test_a_nasty_name_stays_text_on_a_screen():
    """Law: no tag, attribute or expression of a name is one of the page."""
    page = book_html(nasty())
    assert html.escape(NASTY, quote=False)[:20] in page
    assert "<script" not in page
    assert "<b>$x$" not in page
    assert "{{ 1 }}" in page


def test_letters_that_no_typeface_has_do_not_stop_it():
    """Law: a name in any script is set, if need be as boxes; Cyrillic and Greek as themselves."""
    book = dataclasses.replace(printed()[1], title="Ферма Δέλτα 中山")
    assert {"Ферма", "Δέλτα"} <= set(pages_of(book_pdf(book))[0].split())


def test_the_page_for_screens_says_the_same():
    """Law: every word of the printed tables is in the HTML too, which asks for nothing from anywhere."""
    _, book, _ = printed()
    page = book_html(book)
    text = html.unescape(re.sub(r"<[^>]+>", "\n", page))
    for table in book.tables:
        assert {cell for row in table.rows for cell in row if cell} <= set(text.split("\n"))
    for row in book.marks:
        assert row.words in text
    assert wording.CAUTION_SHORT in text
    assert not re.findall(r'(?:src|href)="(?!data:|#)', page)
    images = re.findall(r"<img[^>]*>", page)
    assert images
    assert all('alt="' in image and 'alt=""' not in image for image in images)
