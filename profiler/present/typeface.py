"""How words are set and measured, and their outlines: one geometry for every kind of picture file."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.path import Path
from matplotlib.textpath import text_to_path

from profiler.present.labels import Box
from profiler.present.palette import INK, MUTED

FAMILY = "DejaVu Sans"
EM = float(text_to_path.FONT_SCALE)
"""Size at which outlines are kept. [pt]"""


@dataclass(frozen=True)
class Type:
    """A way to set words; never smaller than 6.5 pt."""

    size: float
    bold: bool = False
    italic: bool = False
    colour: str = INK

    @property
    def font(self) -> Any:
        """The font in matplotlib's terms."""
        return _font(self.size, self.bold, self.italic)


TITLE = Type(14, bold=True)
ROW = Type(8, bold=True)
NUMBER = Type(8.2, bold=True)
NAME = Type(7.6)
NAME_BOLD = Type(7.0, bold=True)
POST = Type(7)
BODY = Type(6.6)
CAPTION = Type(6.6, colour=MUTED)
STRUCTURE = Type(6.6, italic=True, colour=MUTED)
STRUCTURE_IN_GROUND = Type(6.6, italic=True)


@lru_cache
def _font(size: float, bold: bool, italic: bool) -> Any:
    weight = "bold" if bold else "normal"
    return FontProperties(family=FAMILY, size=size, weight=weight, style="italic" if italic else "normal")


def extent(text: str, style: Type) -> tuple[float, float, float]:
    """Width, height and depth under the baseline of words. [pt]"""
    width, height, depth = _extent(text, style.bold, style.italic)
    scale = style.size / EM
    return width * scale, height * scale, depth * scale


@lru_cache(maxsize=32768)
def _extent(text: str, bold: bool, italic: bool) -> tuple[float, float, float]:
    width, height, depth = text_to_path.get_text_width_height_descent(text, _font(EM, bold, italic), False)
    return float(width), float(height), float(depth)


def text_box(text: str, style: Type, x: float, y: float, align: str = "left") -> Box:
    """Room that words take when anchored at (x, y) on the baseline. [pt]"""
    width, height, depth = extent(text, style)
    left = x - {"left": 0.0, "center": width / 2, "right": width}[align]
    return Box(left, y - depth, left + width, y - depth + height)


@dataclass(frozen=True)
class Glyph:
    """A shape of a font at a place along the baseline, at `EM`: ``name`` is its own among all fonts. [pt]"""

    name: str
    x: float
    y: float


_OUTLINES: dict[str, tuple[Any, Any]] = {}
"""Vertices and codes of every shape met so far, by name."""


@lru_cache(maxsize=32768)
def glyphs(text: str, bold: bool, italic: bool) -> tuple[Glyph, ...]:
    """The shapes that words are set with."""
    font = get_font(findfont(_font(EM, bold, italic)))
    font.set_size(EM, text_to_path.DPI)
    found, _, _ = text_to_path.get_glyphs_with_font(font, text, glyph_map=_OUTLINES)
    return tuple(Glyph(name, float(x), float(y)) for name, x, y, _ in found)


@lru_cache(maxsize=4096)
def glyph_path(name: str) -> Path:
    """The outline of one shape met before, at `EM`, up is up. [pt]"""
    return Path(*_OUTLINES[name])


@lru_cache(maxsize=4096)
def words_path(text: str, bold: bool, italic: bool) -> Path:
    """The outline of words from (0, 0) on the baseline, at `EM`, up is up. [pt]"""
    vertices, codes = [np.empty((0, 2))], [np.empty(0, dtype=Path.code_type)]
    for glyph in glyphs(text, bold, italic):
        corners, kinds = _OUTLINES[glyph.name]
        if len(corners):  # a space has none
            vertices.append(np.add(corners, (glyph.x, glyph.y)))
            codes.append(np.asarray(kinds, dtype=Path.code_type))
    return Path(np.concatenate(vertices), np.concatenate(codes))
