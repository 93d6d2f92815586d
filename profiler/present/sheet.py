"""A sheet of paper measured in points from its lower left corner: what is drawn on it, and its files."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from profiler.files import output_error
from profiler.present import sheet_png, sheet_svg
from profiler.present.ink import Areas, Drawn, Lines, Points, Words
from profiler.present.palette import INK
from profiler.present.typeface import Type, text_box
from profiler.units import FloatArray

_NO_BREAK = "\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}"
"""They hold figures together, and are kept."""


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
        self.drawn: list[Drawn] = []

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
        if len(pieces):
            self.drawn.append(Lines(_arrays(pieces), width, colour, z, dash, cap))

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
        if len(shapes):
            fills = (fill,) * len(shapes) if isinstance(fill, str) else tuple(fill)
            self.drawn.append(Areas(_arrays(shapes), fills, edge, width, z, alpha))

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
        if words:
            left = text_box(words, style, x, y, align).left if align != "left" else x
            self.drawn.append(Words(left, y, words, style, colour or style.colour, z, halo))

    @property
    def words(self) -> list[Words]:
        """All words set, in the order of setting."""
        return [item for item in self.drawn if isinstance(item, Words)]

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

    def svg(self, title: str, description: str, *, ground: bytes = b"") -> bytes:
        """The sheet as SVG with words as paths, a <title> and a <desc>; the same sheet, the same bytes.

        On white, or on a ``ground`` of the same size, a JPEG.
        """
        return sheet_svg.svg(self.width, self.height, self._from_below(), title, description, ground=ground)

    def png(self) -> bytes:
        """The sheet as PNG at 150 dots an inch, fewer for a very large sheet."""
        return sheet_png.png(self.width, self.height, self._from_below())

    def _from_below(self) -> list[Drawn]:
        return sorted(self.drawn, key=lambda item: item.z)


def _arrays(pieces: Sequence[Points]) -> tuple[FloatArray, ...]:
    return tuple(np.asarray(piece, dtype=float) for piece in pieces)


def _write(path: Path, content: bytes) -> None:
    try:
        path.write_bytes(content)
    except OSError as error:
        raise output_error(path, error) from error
