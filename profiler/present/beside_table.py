"""The table under lines drawn side by side: one row a figure, one column a line, and what differs from the first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from profiler import wording
from profiler.comparison.beside import Beside, Side
from profiler.comparison.figures import Figure
from profiler.comparison.words import figure_text, figure_words, interval_of_difference
from profiler.present.palette import HAIR, INK
from profiler.present.sheet import Sheet, plain
from profiler.present.typeface import BODY, CAPTION, NAME_BOLD, Type, extent
from profiler.route import DIRECTIONS
from profiler.units import curvature_of_degree

_ROW = 11.8
_APART = 16.0
_CLEAR = Type(BODY.size, bold=True)
_LONGEST_NAME = 46


@dataclass(frozen=True)
class Cell:
    """Words of one cell and how they are set."""

    words: str
    style: Type = BODY


class Table:
    """The table, measured before it is drawn."""

    def __init__(self, beside: Beside) -> None:
        self._rows = [_head(beside), *_rows(beside)]
        columns = zip(*self._rows, strict=True)
        self._widths = [max(extent(cell.words, cell.style)[0] for cell in column) for column in columns]

    @property
    def width(self) -> float:
        """Room it takes across. [pt]"""
        return sum(self._widths) + _APART * (len(self._widths) - 1)

    @property
    def height(self) -> float:
        """Room it takes downwards. [pt]"""
        return _ROW * len(self._rows)

    @property
    def words(self) -> tuple[tuple[str, ...], ...]:
        """Its rows, the head first."""
        return tuple(tuple(cell.words for cell in row) for row in self._rows)

    def draw(self, sheet: Sheet, x: float, top: float) -> None:
        """Set it from its upper left corner."""
        for i, row in enumerate(self._rows):
            y, left = top - _ROW * (i + 1), x
            for cell, width in zip(row, self._widths, strict=True):
                sheet.text(left, y + 3.2, cell.words, cell.style)
                left += width + _APART
            sheet.lines([[(x, y), (x + self.width, y)]], width=0.35, colour=HAIR if i else INK)


def short_name(side: Side) -> str:
    """ "A  Farrow to Thistle Quay": a line's letter and its name, cut where it is long."""
    name = plain(side.name)
    return f"{side.letter}  {name if len(name) <= _LONGEST_NAME else name[: _LONGEST_NAME - 1].rstrip() + '…'}"


def _head(beside: Beside) -> list[Cell]:
    first = beside.sides[0]
    cells = [Cell("", NAME_BOLD), Cell(short_name(first), NAME_BOLD)]
    for side in beside.sides[1:]:
        less = f"{side.letter} less {first.letter} (95 %)"
        cells += [Cell(short_name(side), NAME_BOLD), Cell(less, NAME_BOLD)]
    return cells


def _rows(beside: Beside) -> Iterator[list[Cell]]:
    first = beside.sides[0]
    for figure in first.figures:
        sides = [side.figure(figure.key, figure.direction, figure.train_length) for side in beside.sides]
        if _left_out(figure, sides):
            continue
        cells = [Cell(_name(beside, figure)), Cell(_value(first, sides[0], beside.units))]
        for side, own in zip(beside.sides[1:], sides[1:], strict=True):
            cells += [Cell(_value(side, own, beside.units)), _difference(beside, side.letter, sides[0], own)]
        yield cells


def _left_out(figure: Figure, sides: list[Figure]) -> bool:
    """Rise and fall change places the other way round; what no line has is not spoken of."""
    turned = figure.key in ("rise", "fall") and figure.direction == "against"
    return turned or not any(side.value for side in sides)


def _name(beside: Beside, figure: Figure) -> str:
    route, name = beside.sides[0].profile.route, figure_words(figure.key)
    if figure.direction not in DIRECTIONS:
        return name
    words = f"{name} {plain(wording.towards(route, figure.direction))}"
    if figure.train_length is None:
        return words
    return f"{words}, train of {wording.short_length_text(figure.train_length, beside.units)}"


def _value(side: Side, figure: Figure, units: str) -> str:
    if figure.value is None:
        return "none"
    posts = side.profile.route.posts
    where = "" if figure.at is None else f" at {wording.post_text(posts, figure.at)}"
    if figure.key == "sustained_grade":
        return f"{_figure(figure, units)} over {wording.distance_text(figure.extent or 0.0, units)}"
    if figure.train_length is not None:
        return wording.interval_text(figure.value, "%", units, figure.low, figure.high) + where
    if figure.key == "sharpest_curve":
        radius = wording.curve_text(float(curvature_of_degree(figure.value)), units)
        return f"{_figure(figure, units)}{f' ({radius})' if units == 'metric' else ''}{where}"
    return _figure(figure, units) + where


def _figure(figure: Figure, units: str) -> str:
    return figure_text(figure.key, figure.value or 0.0, units, figure.se)


def _difference(beside: Beside, letter: str, first: Figure, own: Figure) -> Cell:
    found = beside.difference(letter, own)
    if found is None:
        return Cell("not compared" if first.value is not None and own.value is not None else "", CAPTION)
    words = figure_text(own.key, found.value, beside.units, found.se, sign=True)
    if found.low is None or found.high is None:
        return Cell(words)
    told = interval_of_difference(own.key, found.low, found.high, beside.units, found.se)
    style = _CLEAR if found.verdict == "clear" else CAPTION
    return Cell(f"{words} ({told}), {found.verdict}", style)
