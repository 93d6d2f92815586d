"""One sign everywhere: the small shapes that stand for things, on charts and in their keys."""

from __future__ import annotations

from typing import Any

import numpy as np

from profiler.present.labels import Box
from profiler.present.palette import INK, WHITE, WINDOW_FILL
from profiler.present.sheet import Points, Sheet, Type, extent
from profiler.units import FloatArray

SIDE = 6.0
"""Width and height of the signs that stand on the rail. [pt]"""
_HOLLOW = 3.6
_LIFT = 1.2
_PIER_STEP = 4.0
_CAP = 3.2
_Z_RAIL, _Z_SIGN = 5.0, 6.0


def crest(sheet: Sheet, x: float, y: float) -> Box:
    """An open caret standing on the rail at (x, y)."""
    _shape(sheet, [(x - SIDE / 2, y + _LIFT), (x + SIDE / 2, y + _LIFT), (x, y + _LIFT + SIDE)])
    return Box(x - SIDE / 2, y, x + SIDE / 2, y + _LIFT + SIDE)


def sag(sheet: Sheet, x: float, y: float) -> Box:
    """An open caret hanging under the rail at (x, y)."""
    _shape(sheet, [(x - SIDE / 2, y - _LIFT), (x + SIDE / 2, y - _LIFT), (x, y - _LIFT - SIDE)])
    return Box(x - SIDE / 2, y - _LIFT - SIDE, x + SIDE / 2, y)


def grade_break(sheet: Sheet, x: float, y: float) -> Box:
    """A ring on the rail at (x, y)."""
    angle = np.linspace(0, 2 * np.pi, 25)[:-1]
    _shape(sheet, np.column_stack((x + SIDE / 2 * np.cos(angle), y + SIDE / 2 * np.sin(angle))))
    return Box(x - SIDE / 2, y - SIDE / 2, x + SIDE / 2, y + SIDE / 2)


def station(sheet: Sheet, x: float, y: float) -> Box:
    """A small open square on the rail at (x, y)."""
    half = SIDE / 2 - 0.4
    _shape(sheet, [(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)])
    return Box(x - half, y - half, x + half, y + half)


def _shape(sheet: Sheet, corners: Points) -> None:
    sheet.areas([corners], WHITE, edge=INK, width=0.9, z=_Z_SIGN)


def tunnel(sheet: Sheet, line: FloatArray, *, suspected: bool = False) -> None:
    """A hollow rail along a line (n, 2); dashed where it is only suspected."""
    sheet.lines([line], width=_HOLLOW, colour=WHITE, z=_Z_RAIL)
    offset = np.array([0.0, _HOLLOW / 2])
    dash = (2.4, 1.6) if suspected else None
    sheet.lines([line - offset, line + offset], width=0.8, z=_Z_RAIL, dash=dash)
    if not suspected:
        sheet.lines([[p - offset, p + offset] for p in (line[0], line[-1])], width=0.8, z=_Z_RAIL)


def bridge(sheet: Sheet, line: FloatArray, feet: FloatArray) -> Box:
    """A heavy rail along a line (n, 2) on thin piers down to ``feet`` (n,), the ground under it."""
    sheet.lines([line], width=2.8, z=_Z_RAIL)
    x = line[:, 0]
    places = np.linspace(x[0], x[-1], max(2, round((x[-1] - x[0]) / _PIER_STEP) + 1))
    top = np.interp(places, x, line[:, 1])
    # A pier is seen even where the ground model has filled the valley in.
    foot = np.minimum(np.interp(places, x, feet), top - 5.0)
    sheet.lines([[(a, b), (a, c)] for a, b, c in zip(places, top, foot, strict=True)], width=0.5, z=_Z_RAIL)
    return Box(float(x[0]), float(foot.min()), float(x[-1]), float(top.max()) + 1.4)


def unsure_edge(sheet: Sheet, left: float, right: float, y: float) -> Box:
    """A capped bar from ``left`` to ``right``: the edge lies somewhere in here."""
    pieces = [
        [(left, y), (right, y)],
        [(left, y - _CAP), (left, y + _CAP)],
        [(right, y - _CAP), (right, y + _CAP)],
    ]
    sheet.lines(pieces, width=2.7, colour=WHITE, z=_Z_SIGN, cap="projecting")
    sheet.lines(pieces, width=0.9, z=_Z_SIGN)
    return Box(left - 1.5, y - _CAP - 1, right + 1.5, y + _CAP + 1)


def whisker(sheet: Sheet, x: float, low: float, high: float) -> Box:
    """A thin capped bar from ``low`` up to ``high``: the height lies somewhere in here."""
    cap = _CAP / 2
    pieces = [[(x, low), (x, high)], [(x - cap, low), (x + cap, low)], [(x - cap, high), (x + cap, high)]]
    sheet.lines(pieces, width=1.8, colour=WHITE, z=_Z_SIGN)
    sheet.lines(pieces, width=0.6, z=_Z_SIGN)
    return Box(x - cap, low - 0.5, x + cap, high + 0.5)


def corner(sheet: Sheet, x: float, y: float) -> Box:
    """A small cross on the line at (x, y): the drawing is broken here."""
    half = _CAP * 0.7
    pieces = [[(x - half, y - half), (x + half, y + half)], [(x - half, y + half), (x + half, y - half)]]
    sheet.lines(pieces, width=2.8, colour=WHITE, z=_Z_SIGN)
    sheet.lines(pieces, width=1.1, z=_Z_SIGN)
    return Box(x - half, y - half, x + half, y + half)


def equation(sheet: Sheet, x: float, y: float) -> Box:
    """Two strokes side by side up from the ruler at (x, y): two posts stand at one place."""
    sheet.lines([[(x + dx, y), (x + dx, y + SIDE + 1)] for dx in (-1.1, 1.1)], width=0.9, z=_Z_SIGN)
    return Box(x - 1.6, y, x + 1.6, y + SIDE + 1)


def bracket(sheet: Sheet, left: float, right: float, y: float, *, above: bool, heavy: bool) -> Box:
    """A bracket over (or under) a stretch, its ends turned towards the blocks."""
    turn = -3.5 if above else 3.5
    sheet.lines(
        [[(left, y + turn), (left, y), (right, y), (right, y + turn)]],
        width=1.3 if heavy else 0.8,
        z=_Z_SIGN,
    )
    return Box(left - 0.7, min(y, y + turn) - 0.7, right + 0.7, max(y, y + turn) + 0.7)


def slope_strokes(x0: float, x1: float, edge: float, rising: bool, step: float) -> list[Points]:
    """Strokes just outside the free edge of a block, leaning like its grade."""
    count = int((x1 - x0 - 1.0) // step)
    middle = (x0 + x1) / 2
    base, tip = (edge + 1.2, edge + 5.0) if rising else (edge - 1.2, edge - 5.0)
    lean = 1.4
    strokes: list[Points] = []
    for i in range(max(count, 1)):
        x = middle + (i - (max(count, 1) - 1) / 2) * step
        strokes.append([(x - lean, base), (x + lean, tip)])
    return strokes


def hatched_post(sheet: Sheet, left: float, right: float, bottom: float, top: float) -> None:
    """An upright post filled with strokes leaning to the left."""
    corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
    sheet.areas([corners], WHITE, edge=INK, width=0.6, z=_Z_SIGN)
    strokes = []
    for start in np.arange(bottom, top + (right - left), 3.0):
        a, b = max(bottom, start - (right - left)), min(top, start)
        if b > a:
            strokes.append([(left + start - b, b), (left + start - a, a)])
    sheet.lines(strokes, width=0.5, z=_Z_SIGN)


MARK_HIGH = 11.0
"""Height of the boxes of marks. [pt]"""
CHIP = 9.5
"""Width of a chip with one figure. [pt]"""
_DOTS = 2.6
OF_TRAINS = (
    *("astride", "do_not_stop", "start_hard", "under", "pull", "push"),
    *("start_pull", "limit", "caution", "breaks"),
)
"""Signs in the rows of a train."""


def _box(left: float, bottom: float, right: float, top: float) -> Points:
    return [(left, bottom), (right, bottom), (right, top), (left, top)]


def dots(sheet: Sheet, left: float, right: float, bottom: float, top: float) -> None:
    """A stretch filled with dots."""
    rows = np.arange(bottom + _DOTS / 2, top, _DOTS)
    lines = [[(left + (1.0 if i % 2 else 2.3), y), (right - 0.8, y)] for i, y in enumerate(rows)]
    sheet.lines([line for line in lines if line[1][0] > line[0][0]], width=0.9, z=_Z_SIGN, dash=(0.9, 1.7))


def do_not_stop(sheet: Sheet, left: float, right: float, y: float) -> Box:
    """A dotted box about a line at ``y``: no clean place to rest."""
    low, high = y - MARK_HIGH / 2, y + MARK_HIGH / 2
    sheet.areas([_box(left, low, right, high)], WHITE, edge=INK, width=0.6, z=_Z_RAIL)
    dots(sheet, left, right, low, high)
    return Box(left, low, right, high)


def start_hard(sheet: Sheet, left: float, right: float, y: float) -> Box:
    """A box with the lower half dotted: one may rest, but barely leave."""
    low, high = y - MARK_HIGH / 2, y + MARK_HIGH / 2
    sheet.areas([_box(left, low, right, high)], WHITE, edge=INK, width=0.6, z=_Z_RAIL)
    sheet.lines([[(left, y), (right, y)]], width=0.5, z=_Z_RAIL)
    dots(sheet, left, right, low, y)
    return Box(left, low, right, high)


def astride(sheet: Sheet, left: float, right: float, y: float, quarters: tuple[float, ...] = ()) -> Box:
    """A box from where the head is over to where the rear is, ticks at ¼, ½ (heavy) and ¾."""
    low, high = y - MARK_HIGH / 2, y + MARK_HIGH / 2
    sheet.areas([_box(left, low, right, high)], WHITE, edge=INK, width=0.6, z=_Z_RAIL)
    walls = [[(x, low - 3), (x, high + 3)] for x in (left, right)]
    sheet.lines(walls, width=0.9, z=_Z_SIGN)
    for i, x in enumerate(quarters):
        sheet.lines([[(x, low), (x, high)]], width=1.8 if i == 1 else 0.6, z=_Z_SIGN)
    return Box(left, low - 3, right, high + 3)


_FIGURES, _OPEN_FIGURES = Type(6.6, bold=True, colour=WHITE), Type(6.6, bold=True)


def chip_width(number: int) -> float:
    """Room across that a chip takes. [pt]"""
    return max(CHIP, extent(str(number), _FIGURES)[0] + 4.0)


def chip(sheet: Sheet, x: float, y: float, number: int, kind: str) -> Box:
    """The number of a mark about (x, y): round for astride, square else, open where a start is hard."""
    half, open_ = chip_width(number) / 2, kind == "start_hard"
    if kind == "straddle":
        angle = np.linspace(0, 2 * np.pi, 33)[:-1]
        shape: Points = np.column_stack((x + half * np.cos(angle), y + max(half, CHIP / 2) * np.sin(angle)))
    else:
        shape = _box(x - half, y - CHIP / 2, x + half, y + CHIP / 2)
    sheet.areas([shape], WHITE if open_ else INK, edge=INK, width=0.9, z=_Z_SIGN + 1)
    words = _OPEN_FIGURES if open_ else _FIGURES
    sheet.text(x, y - 2.4, str(number), words, align="center", z=_Z_SIGN + 2)
    tall = max(half, CHIP / 2)
    return Box(x - half - 0.5, y - tall - 0.5, x + half + 0.5, y + tall + 0.5)


LINES: dict[str, dict[str, Any]] = {
    "limit": {"width": 1.1, "dash": (6.0, 3.0)},
    "caution": {"width": 0.7, "dash": (6.0, 3.0)},
    "breaks": {"width": 0.9, "dash": (1.0, 2.2)},
    "start_pull": {"width": 0.8, "dash": (2.6, 1.4)},
}
"""How lines of the couplers' row are drawn."""


def of_train(sheet: Sheet, kind: str, x: float, y: float) -> None:
    """A sample, 20 pt wide, of one of `OF_TRAINS`."""
    if kind == "astride":
        astride(sheet, x + 1, x + 19, y, (x + 5.5, x + 10, x + 14.5))
    elif kind == "do_not_stop":
        do_not_stop(sheet, x + 1, x + 19, y)
    elif kind == "start_hard":
        start_hard(sheet, x + 1, x + 19, y)
    elif kind == "under":
        sheet.areas([[(x, y - 4), (x, y), (x + 8, y + 3), (x + 20, y + 3), (x + 20, y - 4)]], WINDOW_FILL, z=_Z_RAIL)
        sheet.lines([[(x, y), (x + 8, y + 3), (x + 20, y + 3)]], width=1.1, z=_Z_SIGN)
    elif kind in ("pull", "push"):
        tip = y + 4 if kind == "pull" else y - 4
        shape = [(x, y), (x + 6, tip), (x + 14, tip), (x + 20, y)]
        sheet.areas([shape], WHITE if kind == "pull" else INK, edge=INK, width=0.7, z=_Z_RAIL)
        sheet.lines([[(x, y), (x + 20, y)]], width=0.6, z=_Z_SIGN)
    else:
        sheet.lines([[(x, y), (x + 20, y)]], z=_Z_SIGN, **LINES[kind])
