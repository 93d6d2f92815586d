"""A sheet as SVG, words as paths: written here, since matplotlib's own writer takes ten times as long."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache
from xml.sax.saxutils import escape

import numpy as np
from matplotlib.path import Path

from profiler.present.ink import HALO, Areas, Drawn, Lines, Words
from profiler.present.offline import data_url
from profiler.present.palette import WHITE
from profiler.present.typeface import EM, glyph_path, glyphs
from profiler.units import FloatArray

_CAPS = {"butt": "butt", "projecting": "square", "round": "round"}
_COMMANDS = {Path.MOVETO: "M", Path.LINETO: "L", Path.CURVE3: "Q", Path.CURVE4: "C", Path.CLOSEPOLY: "Z"}


def svg(
    width: float, height: float, drawn: Iterable[Drawn], title: str, description: str, *, ground: bytes = b""
) -> bytes:
    """A sheet of a size [pt] as SVG with a <title> and a <desc>; ``drawn`` from the bottom up.

    On white paper, or on a ``ground`` of the same size, a JPEG.
    """
    w, h = _number(width), _number(height)
    words = _WordsUsed()
    body = [part for item in drawn for part in _element(item, height, words)]
    parts = [
        '<?xml version="1.0" encoding="utf-8" standalone="no"?>',
        '<svg role="img" aria-labelledby="title desc" xmlns="http://www.w3.org/2000/svg" '
        f'xmlns:xlink="http://www.w3.org/1999/xlink" version="1.1" width="{w}pt" height="{h}pt" '
        f'viewBox="0 0 {w} {h}">',
        f'<title id="title">{escape(title)}</title>',
        f'<desc id="desc">{escape(description)}</desc>',
        "<defs>",
        *words.definitions(),
        "</defs>",
        f'<rect width="{w}" height="{h}" fill="{WHITE}"/>',
        *([_picture(ground, w, h)] if ground else []),
        '<g fill="none" stroke-linejoin="round">',
        *body,
        "</g>",
        "</svg>",
        "",
    ]
    return "\n".join(parts).encode()


def _picture(jpeg: bytes, width: str, height: str) -> str:
    return f'<image width="{width}" height="{height}" xlink:href="{data_url("image/jpeg", jpeg)}"/>'


class _WordsUsed:
    """Different words of a sheet, each defined once; their shapes too."""

    def __init__(self) -> None:
        self._names: dict[tuple[str, bool, bool], str] = {}

    def name(self, item: Words) -> str:
        key = (item.text, item.style.bold, item.style.italic)
        return self._names.setdefault(key, f"w{len(self._names)}")

    def definitions(self) -> Iterator[str]:
        shapes = sorted({glyph.name for key in self._names for glyph in glyphs(*key)})
        yield from (f'<path id="{shape}" d="{_outline(shape)}"/>' for shape in shapes)
        for key, name in self._names.items():
            yield f'<g id="{name}"><!-- {key[0].replace("--", "- -")} -->{_glyphs_used(*key)}</g>'


@lru_cache(maxsize=32768)
def _glyphs_used(text: str, bold: bool, italic: bool) -> str:
    return "".join(
        f'<use xlink:href="#{glyph.name}" x="{_number(glyph.x)}"' + (f' y="{_number(glyph.y)}"/>' if glyph.y else "/>")
        for glyph in glyphs(text, bold, italic)
    )


@lru_cache(maxsize=4096)
def _outline(name: str) -> str:
    return "".join(
        _COMMANDS[code] + (" ".join(map(_number, points)) if code != Path.CLOSEPOLY else "")
        for points, code in glyph_path(name).iter_segments(simplify=False)
    )


def _element(item: Drawn, height: float, words: _WordsUsed) -> Iterator[str]:
    if isinstance(item, Lines):
        dash = f' stroke-dasharray="{" ".join(map(_number, item.dash))}"' if item.dash is not None else ""
        cap = f' stroke-linecap="{_CAPS[item.cap]}"' if item.cap != "butt" else ""
        d = "".join(f"M{_points(piece, height)}" for piece in item.pieces)
        yield f'<path d="{d}" stroke="{item.colour}" stroke-width="{_number(item.width)}"{dash}{cap}/>'
    elif isinstance(item, Areas):
        edge = (
            f' stroke="{item.edge}" stroke-width="{_number(item.width)}" stroke-linejoin="miter"'
            if item.edge != "none"
            else ""
        )
        alpha = f' opacity="{_number(item.alpha)}"' if item.alpha is not None else ""
        for shape, fill in zip(item.shapes, item.fills, strict=True):
            yield f'<path d="M{_points(shape, height)}Z" fill="{fill}"{edge}{alpha}/>'
    else:
        scale = item.style.size / EM
        place = f"translate({_number(item.left)} {_number(height - item.y)}) scale({scale:.4g} {-scale:.4g})"
        used = f'<use xlink:href="#{words.name(item)}" transform="{place}"'
        if item.halo:
            yield f'{used} fill="{WHITE}" stroke="{WHITE}" stroke-width="{_number(HALO / scale)}"/>'
        yield f'{used} fill="{item.colour}"/>'


def _number(value: float) -> str:
    """A length to a hundredth of a point, as short as it can be."""
    return f"{round(float(value), 2):.9g}"


def _points(line: FloatArray, height: float) -> str:
    """Points (n, 2) from the top of the sheet down, to a hundredth of a point."""
    flat = np.round(np.column_stack((line[:, 0], height - line[:, 1])), 2).ravel().tolist()
    return " ".join([f"{value:.9g}" for value in flat])
