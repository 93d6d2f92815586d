"""One sign everywhere: the small shapes that stand for things on the line, on charts and in their keys."""

from __future__ import annotations

import numpy as np

from profiler.present.ink import Points
from profiler.present.labels import Box
from profiler.present.palette import INK, WHITE
from profiler.present.sheet import Sheet
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
    _shape(sheet, circle(x, y, SIDE / 2, 24))
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
    sheet.areas([upright(left, bottom, right, top)], WHITE, edge=INK, width=0.6, z=_Z_SIGN)
    sheet.lines(hatching(left, right, bottom, top, 3.0), width=0.5, z=_Z_SIGN)


def circle(x: float, y: float, radius: float, corners: int) -> FloatArray:
    """So many corners of a circle about (x, y)."""
    angle = np.linspace(0, 2 * np.pi, corners + 1)[:-1]
    return np.column_stack((x + radius * np.cos(angle), y + radius * np.sin(angle)))


def upright(left: float, bottom: float, right: float, top: float) -> Points:
    """Corners of a rectangle."""
    return [(left, bottom), (right, bottom), (right, top), (left, top)]


def hatching(left: float, right: float, bottom: float, top: float, apart: float) -> list[Points]:
    """Strokes leaning to the left that fill a rectangle, so far apart along its edge."""
    strokes: list[Points] = []
    for start in np.arange(bottom, top + (right - left), apart):
        a, b = max(bottom, start - (right - left)), min(top, start)
        if b > a:
            strokes.append([(left + start - b, b), (left + start - a, a)])
    return strokes
