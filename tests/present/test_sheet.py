"""A sheet of paper: what is drawn on it, in both kinds of file."""

from __future__ import annotations

import io
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image

from profiler.present.palette import INK, MUTED, WHITE
from profiler.present.sheet import Sheet
from profiler.present.typeface import BODY, EM, NAME_BOLD, Type, extent, words_path

SVG = "{http://www.w3.org/2000/svg}"
SQUARE = [(24.0, 24.0), (48.0, 24.0), (48.0, 72.0), (24.0, 72.0)]


def pixels(sheet: Sheet) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(sheet.png())))


def body(sheet: Sheet) -> tuple[ET.Element, ET.Element]:
    """Definitions and what is drawn."""
    root = ET.fromstring(sheet.svg("a title", "what it shows"))
    defined, drawn = root.find(f"{SVG}defs"), root.find(f"{SVG}g")
    assert defined is not None
    assert drawn is not None
    return defined, drawn


def test_png_is_read_as_it_was_drawn():
    """Outside: Pillow reads it. Worked: 144 by 96 pt at 150 dots an inch are 300 by 200 dots; the square from 24 pt
    right and 24 to 72 pt up covers columns 50 to 100 and rows 50 to 150 from the top."""
    sheet = Sheet(144.0, 96.0)
    sheet.areas([SQUARE], MUTED)
    picture = Image.open(io.BytesIO(sheet.png()))
    assert picture.size == (300, 200)
    assert picture.info["dpi"] == pytest.approx((150, 150), abs=0.02)  # kept in whole dots a metre
    muted = (np.asarray(picture) == [int(MUTED[i : i + 2], 16) for i in (1, 3, 5)]).all(axis=2)
    rows, columns = np.nonzero(muted)
    assert (rows.min(), rows.max() + 1, columns.min(), columns.max() + 1) == (50, 150, 50, 100)
    assert (np.asarray(picture)[~muted] == 255).all()


def test_a_very_large_sheet_has_fewer_dots():
    """Law: no more than 40 million dots, whatever the length of the line."""
    wide, high = Image.open(io.BytesIO(Sheet(20_000.0, 3_000.0).png())).size
    assert 39e6 < wide * high <= 40e6


def test_svg_is_measured_from_the_top():
    """Worked: on paper 96 pt high what stands 24 to 72 pt up lies 72 to 24 pt down."""
    sheet = Sheet(144.0, 96.0)
    sheet.areas([SQUARE], MUTED, edge=INK, width=0.7)
    sheet.lines([[(1.0, 2.0), (3.004, 4.0)]], width=0.5, dash=(1.0, 2.2))
    _, drawn = body(sheet)
    area, line = drawn
    assert area.get("d") == "M24 72 48 72 48 24 24 24Z"
    assert (area.get("fill"), area.get("stroke"), area.get("stroke-width")) == (MUTED, INK, "0.7")
    assert (line.get("d"), line.get("stroke-dasharray")) == ("M1 94 3 92", "1 2.2")


def test_what_has_a_higher_z_lies_on_top():
    """Law: whatever was drawn first; of equal height the later lies on top, in both files."""
    sheet = Sheet(144.0, 96.0)
    for fill, z in ((INK, 3.0), (MUTED, 2.0), (WHITE, 3.0)):
        sheet.areas([SQUARE], fill, z=z)
    _, drawn = body(sheet)
    assert [item.get("fill") for item in drawn] == [MUTED, INK, WHITE]
    assert (pixels(sheet) == 255).all()


def test_words_are_defined_once():
    """Law: words set three times, once with a halo, are one definition; hyphens leave the file well-formed."""
    sheet = Sheet(144.0, 96.0)
    for y, halo in ((20.0, False), (40.0, False), (60.0, True)):
        sheet.text(10.0, y, "North--South -", BODY, halo=halo)
    defined, drawn = body(sheet)
    assert len(defined.findall(f"{SVG}g")) == 1
    assert len(drawn) == 4
    assert [item.get("fill") for item in drawn[2:]] == [WHITE, INK]
    names = {shape.get("id") for shape in defined}
    used = {use.get("{http://www.w3.org/1999/xlink}href") for use in defined.iter(f"{SVG}use")}
    assert used <= {f"#{name}" for name in names}


@pytest.mark.parametrize("style", [BODY, NAME_BOLD, Type(9.0, italic=True)])
def test_words_end_where_they_are_anchored(style: Type):
    """Law: ink of words set to the left of x ends at x, but for the bearing of the last letter, in pixels too."""
    sheet, words = Sheet(216.0, 30.0), "Ruling grade 17.4 ‰, AVATAR"
    sheet.text(200.0, 12.0, words, style, align="right")
    (item,) = sheet.words
    assert item.right == pytest.approx(200.0)
    outline = words_path(words, style.bold, style.italic).get_extents()
    assert outline.width * style.size / EM == pytest.approx(extent(words, style)[0], abs=0.2 * style.size)
    columns = np.nonzero((pixels(sheet) < 128).any(axis=(0, 2)))[0] * 72 / 150
    assert columns.max() == pytest.approx(200.0, abs=0.2 * style.size)
    assert columns.min() == pytest.approx(item.left, abs=0.2 * style.size)
