"""A sheet of paper measured in points from its lower left corner, drawn on by matplotlib."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import matplotlib
import matplotlib.style
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.patheffects import withStroke
from matplotlib.textpath import text_to_path

from profiler.files import output_error
from profiler.present.labels import Box
from profiler.present.palette import INK, MUTED, WHITE
from profiler.units import FloatArray

_STYLE = {
    "font.family": "DejaVu Sans",
    "svg.fonttype": "path",
    "svg.hashsalt": "gradewright",
    "path.simplify": False,
}
_POINTS_PER_INCH = 72
_HALO_PT = 2.2
_PNG_DPI = 150
_PNG_PIXELS = 40_000_000

_NO_BREAK = "\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}"
"""They hold figures together, and are kept."""

Points = Sequence[tuple[float, float]] | FloatArray


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
        return FontProperties(
            family="DejaVu Sans",
            size=self.size,
            weight="bold" if self.bold else "normal",
            style="italic" if self.italic else "normal",
        )


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


@lru_cache(maxsize=8192)
def extent(text: str, style: Type) -> tuple[float, float, float]:
    """Width, height and depth under the baseline of words. [pt]"""
    width, height, depth = text_to_path.get_text_width_height_descent(text, style.font, False)
    return float(width), float(height), float(depth)


def text_box(text: str, style: Type, x: float, y: float, align: str = "left") -> Box:
    """Room that words take when anchored at (x, y) on the baseline. [pt]"""
    width, height, depth = extent(text, style)
    left = x - {"left": 0.0, "center": width / 2, "right": width}[align]
    return Box(left, y - depth, left + width, y - depth + height)


def plain(text: str) -> str:
    """Words on one line, without control characters, which no picture file can hold."""
    kept = "".join(c if c.isprintable() or c in _NO_BREAK else " " for c in text)
    return " ".join(word for word in kept.split(" ") if word)


class Sheet:
    """An empty sheet; what has a higher ``z`` lies on top.

    Parameters
    ----------
    width, height : float
        Size of the paper. [pt]
    """

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        with matplotlib.style.context(["default", _STYLE]):
            self.figure = Figure(figsize=(width / _POINTS_PER_INCH, height / _POINTS_PER_INCH))
            FigureCanvasAgg(self.figure)
            self._axes = self.figure.add_axes((0, 0, 1, 1))
            self._axes.set(xlim=(0, width), ylim=(0, height))
            self._axes.set_axis_off()

    def lines(
        self,
        pieces: Sequence[Points],
        *,
        width: float,
        colour: str = INK,
        z: float = 3,
        dash: tuple[float, ...] | None = None,
        cap: str = "butt",
    ) -> None:
        """Draw lines of one kind; ``dash`` is on, off, … [pt]."""
        if not len(pieces):
            return
        style: Any = "solid" if dash is None else (0, tuple(d / width for d in dash))
        self._axes.add_collection(
            LineCollection(
                [np.asarray(p, dtype=float) for p in pieces],
                linewidths=width,
                colors=colour,
                linestyles=style,
                zorder=z,
                capstyle=cap,
                joinstyle="round",
            ),
            autolim=False,
        )

    def areas(
        self,
        shapes: Sequence[Points],
        fill: str | Sequence[str],
        *,
        edge: str = "none",
        width: float = 0.5,
        z: float = 2,
        alpha: float | None = None,
    ) -> None:
        """Draw closed shapes, all of one fill or one fill each."""
        if not len(shapes):
            return
        self._axes.add_collection(
            PolyCollection(
                [np.asarray(s, dtype=float) for s in shapes],
                facecolors=fill,
                edgecolors=edge,
                linewidths=width if edge != "none" else 0,
                zorder=z,
                alpha=alpha,
                joinstyle="miter",
            ),
            autolim=False,
        )

    def text(
        self,
        x: float,
        y: float,
        words: str,
        style: Type,
        *,
        align: str = "left",
        z: float = 9,
        colour: str | None = None,
        halo: bool = False,
    ) -> None:
        """Set words on a baseline."""
        self._axes.text(
            x,
            y,
            words,
            fontproperties=style.font,
            color=colour or style.colour,
            ha=align,
            va="baseline",
            zorder=z,
            parse_math=False,
            path_effects=[withStroke(linewidth=_HALO_PT, foreground=WHITE)] if halo else None,
        )

    def write(self, title: str, description: str, *, svg: Path | None = None, png: Path | None = None) -> None:
        """Write the sheet into the files asked for.

        Raises
        ------
        OutputError
            If a file cannot be written.
        """
        with warnings.catch_warnings():
            # A letter the font lacks is drawn as an empty box; the tables have the name in full.
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            if svg is not None:
                _write(Path(svg), self.svg(title, description))
            if png is not None:
                _write(Path(png), self.png())

    def svg(self, title: str, description: str) -> bytes:
        """The sheet as SVG with words as paths, a <title> and a <desc>; the same sheet, the same bytes."""
        text = self._saved("svg", metadata={"Date": None, "Creator": None}).decode("utf-8")
        head, root, rest = text.partition("<svg ")
        attributes, close, body = rest.partition(">")
        names = f'\n <title id="title">{escape(title)}</title>\n <desc id="desc">{escape(description)}</desc>'
        return f'{head}{root}role="img" aria-labelledby="title desc" {attributes}{close}{names}{body}'.encode()

    def png(self) -> bytes:
        """The sheet as PNG at 150 dots an inch, fewer for a very large sheet."""
        inches = self.width * self.height / _POINTS_PER_INCH**2
        dpi = min(_PNG_DPI, (_PNG_PIXELS / inches) ** 0.5)
        return self._saved("png", dpi=dpi, metadata={"Software": None})

    def _saved(self, kind: str, **options: Any) -> bytes:
        buffer = BytesIO()
        with matplotlib.style.context(["default", _STYLE]):
            self.figure.savefig(buffer, format=kind, facecolor=WHITE, **options)
        return buffer.getvalue()


def _write(path: Path, content: bytes) -> None:
    try:
        path.write_bytes(content)
    except OSError as error:
        raise output_error(path, error) from error
