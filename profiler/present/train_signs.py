"""One sign everywhere: the small shapes that stand for what a train does and feels, on charts and in their keys."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from profiler.present.ink import Points
from profiler.present.labels import Box
from profiler.present.palette import INK, WHITE, WINDOW_FILL
from profiler.present.sheet import Sheet
from profiler.present.signs import circle, hatching, upright
from profiler.present.typeface import Type, extent

MARK_HIGH = 11.0
"""Height of the boxes of marks. [pt]"""
CHIP = 9.5
"""Width of a chip with one figure. [pt]"""
LEAST = 6.0
"""A window shorter than this keeps its wall alone. [pt]"""
OPEN_END = 7.0
"""How far the dashes run on where a window has no end. [pt]"""
CARS = 16.0
"""Width of the two cars of a slack sign. [pt]"""
BEGIN = ("power_off", "dynamic_brake", "air_step", "release", "slow_order")
"""Kinds of marks where something begins."""
SLACK = ("slack_in", "slack_out")
_DOTS = 2.6
_WALL, _TALL = 2.2, 3.0
_Z_BOX, _Z_SIGN = 5.0, 6.0
_FIGURES, _OPEN_FIGURES = Type(6.6, bold=True, colour=WHITE), Type(6.6, bold=True)


def dots(sheet: Sheet, left: float, right: float, bottom: float, top: float) -> None:
    """A stretch filled with dots."""
    rows = np.arange(bottom + _DOTS / 2, top, _DOTS)
    lines = [[(left + (1.0 if i % 2 else 2.3), y), (right - 0.8, y)] for i, y in enumerate(rows)]
    sheet.lines([line for line in lines if line[1][0] > line[0][0]], width=0.9, z=_Z_SIGN, dash=(0.9, 1.7))


def do_not_stop(sheet: Sheet, left: float, right: float, y: float) -> Box:
    """A dotted box about a line at ``y``: no clean place to rest."""
    box = _framed(sheet, left, right, y)
    dots(sheet, left, right, box.bottom, box.top)
    return box


def start_hard(sheet: Sheet, left: float, right: float, y: float) -> Box:
    """A box with the lower half dotted: one may rest, but barely leave."""
    box = _framed(sheet, left, right, y)
    sheet.lines([[(left, y), (right, y)]], width=0.5, z=_Z_BOX)
    dots(sheet, left, right, box.bottom, y)
    return box


def not_held(sheet: Sheet, left: float, right: float, y: float) -> Box:
    """A solid bar between two walls: nothing holds the train here."""
    return _framed(sheet, left, right, y, INK, walls=_WALL)


def astride(sheet: Sheet, left: float, right: float, y: float, quarters: tuple[float, ...] = ()) -> Box:
    """A box from where the head is over to where the rear is, ticks at ¼, ½ (heavy) and ¾."""
    box = _framed(sheet, left, right, y, walls=0.9)
    for i, x in enumerate(quarters):
        sheet.lines([_up(x, y)], width=1.8 if i == 1 else 0.6, z=_Z_SIGN)
    return box


def _framed(sheet: Sheet, left: float, right: float, y: float, fill: str = WHITE, *, walls: float = 0.0) -> Box:
    """A box about a line at ``y``, between taller walls if these have a width."""
    low, high = y - MARK_HIGH / 2, y + MARK_HIGH / 2
    sheet.areas([upright(left, low, right, high)], fill, edge=INK, width=0.6, z=_Z_BOX)
    if not walls:
        return Box(left, low, right, high)
    sheet.lines([_up(x, y, _TALL) for x in (left, right)], width=walls, z=_Z_SIGN)
    return Box(left, low - _TALL, right, high + _TALL)


def _up(x: float, y: float, more: float = 0.0) -> Points:
    """An upright line through a box about ``y``, so much taller than it at both ends."""
    return [(x, y - MARK_HIGH / 2 - more), (x, y + MARK_HIGH / 2 + more)]


def begin(
    sheet: Sheet, earliest: float, best: float, latest: float, y: float, *, opens: bool = True, ends: bool = True
) -> Box:
    """A wedge from a thin tick at the earliest to full height at the best, then hatched up to a thick tall wall.

    Where there is no earliest (not ``opens``) or no latest (not ``ends``), dashes run on instead.
    """
    low, high = y - MARK_HIGH / 2, y + MARK_HIGH / 2
    left, right = (earliest if opens else best - OPEN_END), (latest if ends else best + OPEN_END)
    if opens and ends and right - left < LEAST:
        sheet.lines([_up(right, y, _TALL)], width=_WALL, z=_Z_SIGN)
        return Box(left, low - _TALL, right + _WALL / 2, high + _TALL)
    if opens:
        sheet.lines([_up(left, y)], width=0.6, z=_Z_SIGN)
        if best > left:
            sheet.areas([[(left, y), (best, high), (best, low)]], WINDOW_FILL, edge=INK, width=0.6, z=_Z_BOX)
    if ends:
        sheet.areas([upright(best, low, right, high)], WHITE, edge=INK, width=0.6, z=_Z_BOX)
        sheet.lines(hatching(best, right, low, high, 2.6), width=0.5, z=_Z_BOX)
        sheet.lines([_up(right, y, _TALL)], width=_WALL, z=_Z_SIGN)
    for end in [x for x, there in ((left, opens), (right, ends)) if not there]:
        sheet.lines([[(best, at), (end, at)] for at in (low, high)], width=0.6, z=_Z_BOX, dash=(1.6, 1.2))
    sheet.lines([_up(best, y)], width=1.1, z=_Z_SIGN)
    return Box(left, low - _TALL, right + _WALL / 2, high + _TALL)


def no_window(sheet: Sheet, left: float, best: float, right: float, y: float) -> Box:
    """A dashed box about what was tried, a cross where the plan has it: no place is early and late enough."""
    left, right = min(left, best - LEAST), max(right, best + LEAST)
    low, high = y - MARK_HIGH / 2, y + MARK_HIGH / 2
    corners = [*upright(left, low, right, high), (left, low)]
    sheet.areas([corners], WHITE, z=_Z_BOX)
    sheet.lines([corners], width=0.8, z=_Z_SIGN, dash=(2.2, 1.4))
    reach = MARK_HIGH / 2 - 2.0
    sheet.lines([[(best - reach, y - s * reach), (best + reach, y + s * reach)] for s in (1, -1)], width=1.1, z=_Z_SIGN)
    return Box(left, low, right, high)


def slack(sheet: Sheet, kind: str, x: float, y: float) -> Box:
    """Two cars about (x, y): pressed on a thick joint where slack runs in, apart on a thin link where it runs out."""
    half, high = CARS / 2, 2.6
    gap = 1.2 if kind == "slack_in" else 3.4
    cars = [upright(a, y - high, b, y + high) for a, b in ((x - half, x - gap), (x + gap, x + half))]
    sheet.lines([[(x - gap, y), (x + gap, y)]], width=0.9, z=_Z_SIGN)
    sheet.areas(cars, WHITE, edge=INK, width=0.9, z=_Z_SIGN)
    if kind == "slack_in":
        sheet.lines([[(x, y - high - 1.6), (x, y + high + 1.6)]], width=2.4, z=_Z_SIGN)
    return Box(x - half, y - high - 1.6, x + half, y + high + 1.6)


def chip_width(number: int, kind: str) -> float:
    """Room across that a chip takes. [pt]"""
    wide = extent(str(number), _FIGURES)[0]
    if kind in BEGIN:
        return max(1.3 * CHIP, wide + 6.4)
    return max(CHIP, wide + 4.0) + (3.2 if kind == "not_held" else 0.0)


def chip(sheet: Sheet, x: float, y: float, number: int, kind: str) -> Box:
    """The number of a mark about (x, y).

    Round for astride, on its corner where something begins, square else: open where a start is hard, in a frame
    where nothing holds the train.
    """
    half, open_ = chip_width(number, kind) / 2, kind == "start_hard"
    tall = CHIP / 2
    if kind == "straddle":
        tall = half
        shape: Points = circle(x, y, half, 32)
    elif kind in BEGIN:
        tall = half
        shape = [(x - half, y), (x, y - half), (x + half, y), (x, y + half)]
    elif kind == "not_held":
        tall += 1.6
        sheet.areas([upright(x - half, y - tall, x + half, y + tall)], WHITE, edge=INK, width=0.9, z=_Z_SIGN + 1)
        shape = upright(x - half + 1.8, y - tall + 1.8, x + half - 1.8, y + tall - 1.8)
    else:
        shape = upright(x - half, y - tall, x + half, y + tall)
    sheet.areas([shape], WHITE if open_ else INK, edge=INK, width=0.9, z=_Z_SIGN + 1)
    words = _OPEN_FIGURES if open_ else _FIGURES
    sheet.text(x, y - 2.4, str(number), words, align="center", z=_Z_SIGN + 2)
    return Box(x - half - 0.5, y - tall - 0.5, x + half + 0.5, y + tall + 0.5)


LINES: dict[str, dict[str, Any]] = {
    "limit": {"width": 1.1, "dash": (6.0, 3.0)},
    "caution": {"width": 0.7, "dash": (6.0, 3.0)},
    "breaks": {"width": 0.9, "dash": (1.0, 2.2)},
    "start_pull": {"width": 0.8, "dash": (2.6, 1.4)},
    "by_plan": {"width": 0.7},
}
"""How lines in the rows of a train are drawn."""


def _under(sheet: Sheet, x: float, y: float) -> None:
    sheet.areas([[(x, y - 4), (x, y), (x + 8, y + 3), (x + 20, y + 3), (x + 20, y - 4)]], WINDOW_FILL, z=_Z_BOX)
    sheet.lines([[(x, y), (x + 8, y + 3), (x + 20, y + 3)]], width=1.1, z=_Z_SIGN)


def _hump(sheet: Sheet, x: float, y: float, tip: float, fill: str) -> None:
    sheet.areas([[(x, y), (x + 6, y + tip), (x + 14, y + tip), (x + 20, y)]], fill, edge=INK, width=0.7, z=_Z_BOX)
    sheet.lines([[(x, y), (x + 20, y)]], width=0.6, z=_Z_SIGN)


def _air(sheet: Sheet, x: float, y: float) -> None:
    steps = [(x, y + 2), (x, y - 1), (x + 9, y - 1), (x + 9, y - 4), (x + 20, y - 4), (x + 20, y + 2)]
    sheet.areas([steps], WINDOW_FILL, edge=INK, width=0.7, z=_Z_BOX)


def _stall(sheet: Sheet, x: float, y: float) -> None:
    sheet.lines([[(x, y - 4), (x + 20, y - 4)]], width=0.6, z=_Z_BOX)
    sheet.lines([[(x, y + 4), (x + 7, y + 2), (x + 12, y - 4)]], width=0.7, z=_Z_SIGN)
    stall(sheet, x + 12, y - 4)


def stall(sheet: Sheet, x: float, y: float) -> Box:
    """A dot at (x, y), where the train comes to a stand."""
    sheet.areas([circle(x, y, 2.0, 16)], INK, z=_Z_SIGN)
    return Box(x - 2, y - 2, x + 2, y + 2)


def felt(sheet: Sheet, x: float, y: float, *, push: bool) -> Box:
    """A peak felt vehicle by vehicle at (x, y): a ring for a pull, a dot on white for a push."""
    rings = ((2.8, WHITE, "none"), (2.0, INK, "none")) if push else ((2.2, WHITE, INK),)
    for radius, fill, edge in rings:
        sheet.areas([circle(x, y, radius, 16)], fill, edge=edge, width=0.8, z=_Z_SIGN)
    return Box(x - 2.8, y - 2.8, x + 2.8, y + 2.8)


def _felt(sheet: Sheet, x: float, y: float) -> None:
    felt(sheet, x + 5, y + 1, push=False)
    felt(sheet, x + 14, y - 1, push=True)


_SAMPLES: dict[str, Callable[[Sheet, float, float], object]] = {
    "astride": lambda sheet, x, y: astride(sheet, x + 1, x + 19, y, (x + 5.5, x + 10, x + 14.5)),
    "do_not_stop": lambda sheet, x, y: do_not_stop(sheet, x + 1, x + 19, y),
    "start_hard": lambda sheet, x, y: start_hard(sheet, x + 1, x + 19, y),
    "not_held": lambda sheet, x, y: not_held(sheet, x + 2, x + 18, y),
    "begin": lambda sheet, x, y: begin(sheet, x, x + 9, x + 18, y),
    "no_latest": lambda sheet, x, y: begin(sheet, x + 1, x + 11, x + 11, y, ends=False),
    "no_window": lambda sheet, x, y: no_window(sheet, x + 2, x + 10, x + 18, y),
    "slack_in": lambda sheet, x, y: slack(sheet, "slack_in", x + 10, y),
    "slack_out": lambda sheet, x, y: slack(sheet, "slack_out", x + 10, y),
    "under": _under,
    "pull": lambda sheet, x, y: _hump(sheet, x, y, 4, WHITE),
    "push": lambda sheet, x, y: _hump(sheet, x, y, -4, INK),
    "dynamic": lambda sheet, x, y: _hump(sheet, x, y - 3, 7, WHITE),
    "air": _air,
    "stall": _stall,
    "felt": _felt,
}
OF_TRAINS = frozenset({*_SAMPLES, *LINES})
"""Signs in the rows of a train."""


def of_train(sheet: Sheet, kind: str, x: float, y: float) -> None:
    """A sample, 20 pt wide, of one of `OF_TRAINS`."""
    if kind in _SAMPLES:
        _SAMPLES[kind](sheet, x, y)
    else:
        sheet.lines([[(x, y), (x + 20, y)]], z=_Z_SIGN, **LINES[kind])
