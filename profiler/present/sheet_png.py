"""A sheet as PNG: drawn by matplotlib's renderer, without its artists, which would cost ten times as much."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.colors import to_rgba
from matplotlib.path import Path
from matplotlib.transforms import Affine2D
from numpy.typing import NDArray

from profiler.present.ink import HALO, Areas, Drawn, Lines, Words
from profiler.present.palette import WHITE
from profiler.present.typeface import EM, words_path
from profiler.units import FloatArray

_POINTS_PER_INCH, _INCHES_PER_METRE = 72, 1 / 0.0254
_DPI = 150
_MOST_PIXELS = 40_000_000
_PACKED = 3
"""zlib's level; 6 takes more than twice the time for a tenth of the bytes."""


def png(width: float, height: float, drawn: Iterable[Drawn]) -> bytes:
    """A sheet of a size [pt] as PNG at 150 dots an inch, fewer for a very large one; ``drawn`` from the bottom up."""
    dpi = min(_DPI, (_MOST_PIXELS / (width * height / _POINTS_PER_INCH**2)) ** 0.5)
    scale = dpi / _POINTS_PER_INCH
    renderer = RendererAgg(max(1, int(width * scale)), max(1, int(height * scale)), dpi)
    to_pixels = Affine2D().scale(scale)
    paper = _closed(np.array([(0, 0), (width, 0), (width, height), (0, height)], dtype=float))
    renderer.draw_path(_context(renderer, WHITE, 0.0), paper, to_pixels, to_rgba(WHITE))
    for item in drawn:
        _DRAW[type(item)](renderer, item, to_pixels)
    return _encoded(np.asarray(renderer.buffer_rgba())[:, :, :3], dpi)


def _context(renderer: Any, colour: str, width: float, alpha: float | None = None) -> Any:
    context = renderer.new_gc()
    context.set_foreground(to_rgba(colour, alpha), isRGBA=True)
    context.set_linewidth(width)  # the renderer takes lengths of strokes in points, places in pixels
    return context


def _closed(shape: FloatArray) -> Path:
    return Path(np.concatenate((shape, shape[:1])), closed=True)


def _lines(renderer: Any, item: Lines, to_pixels: Any) -> None:
    context = _context(renderer, item.colour, item.width)
    context.set_capstyle(item.cap)
    context.set_joinstyle("round")
    if item.dash is not None:
        context.set_dashes(0.0, item.dash)
    for piece in item.pieces:
        path = Path(piece)
        path.should_simplify = False
        renderer.draw_path(context, path, to_pixels)


def _areas(renderer: Any, item: Areas, to_pixels: Any) -> None:
    edged = item.edge != "none"
    context = _context(renderer, item.edge if edged else WHITE, item.width if edged else 0.0, item.alpha)
    context.set_joinstyle("miter")
    for shape, fill in zip(item.shapes, item.fills, strict=True):
        renderer.draw_path(context, _closed(shape), to_pixels, to_rgba(fill, item.alpha))


def _words(renderer: Any, item: Words, to_pixels: Any) -> None:
    path = words_path(item.text, item.style.bold, item.style.italic)
    place = Affine2D().scale(item.style.size / EM).translate(item.left, item.y) + to_pixels
    if item.halo:
        renderer.draw_path(_context(renderer, WHITE, HALO), path, place, to_rgba(WHITE))
    renderer.draw_path(_context(renderer, item.colour, 0.0), path, place, to_rgba(item.colour))


_DRAW: dict[type, Any] = {Lines: _lines, Areas: _areas, Words: _words}


def _encoded(pixels: NDArray[np.uint8], dpi: float) -> bytes:
    """Pixels (rows, columns, 3) as PNG without filters (PNG, third edition, W3C 2025).

    Flat colours pack a quarter better without, and libraries spend most of their time on choosing filters.
    """
    high, wide, _ = pixels.shape
    rows = np.zeros((high, 1 + 3 * wide), dtype=np.uint8)
    rows[:, 1:].reshape(high, wide, 3)[:] = pixels
    dots = round(dpi * _INCHES_PER_METRE)
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", wide, high, 8, 2, 0, 0, 0)),
        (b"pHYs", struct.pack(">IIB", dots, dots, 1)),
        (b"IDAT", zlib.compress(rows.data, _PACKED)),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(kind, content) for kind, content in chunks)


def _chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))
