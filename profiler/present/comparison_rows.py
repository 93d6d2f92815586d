"""The rows of a comparison: heights off, grades of both, grades off; within the interval light, beyond it ink."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from profiler import wording
from profiler.comparison.compare import Compared, Comparison
from profiler.comparison.figures import SURE
from profiler.comparison.reference_words import TELLING, difference_text
from profiler.grade_classes import Limits, class_limits, grade_colour
from profiler.present.beside_lines import STROKES
from profiler.present.chart_frame import Panel, Row, nice_step
from profiler.present.chart_names import baseline, gutter, tick_figure
from profiler.present.ink import Points
from profiler.present.labels import Room
from profiler.present.palette import BAND, HAIR, INK, WHITE
from profiler.present.sheet import Sheet
from profiler.units import FOOT, PERCENT, PERMILLE, FloatArray

OURS = STROKES[0]
"""How the profile's own line is drawn."""

DOT = 1.7
"""Half the width of a difference within its interval. [pt]"""

_APART, _TICKS = 5.0, 11.0


@dataclass(frozen=True)
class _Scale:
    """A row of values about a ``zero`` line [pt]: ``unit`` is what one is in SI, ``high`` points for one in SI."""

    row: Row
    zero: float
    unit: float
    high: float

    def y(self, value: FloatArray) -> FloatArray:
        """Places up the sheet, cut at the edges of the row. [pt]"""
        return np.clip(self.zero + value * self.high, self.row.bottom, self.row.top)


def limits_of(comparison: Comparison) -> Limits:
    """Classes of grade that suit the reference."""
    steepest = np.abs(comparison.grade.reference)
    return class_limits(float(np.percentile(steepest, 95)) if steepest.size else 0.0)


def _scale(row: Row, found: Compared, unit: float) -> _Scale:
    """Room for nearly all differences and for the band; the rest is cut at the edge, and stays in the table."""
    usual = max(float(np.percentile(np.abs(found.difference), 98)), 1.3 * SURE * float(np.median(found.se)))
    half = (row.top - row.bottom) / 2
    return _Scale(row, row.bottom + half, unit, half / max(1.1 * usual, 1e-9))


def _axis(sheet: Sheet, room: Room, panel: Panel, scale: _Scale, units: str, *, sign: bool = True) -> None:
    """The zero line, and hair lines at round values with their figures in the margin; ``sign`` is for differences."""
    baseline(sheet, panel, scale.zero, 0.7)
    step = nice_step(_TICKS / scale.high / scale.unit)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    low, high = ((y - scale.zero) / scale.high / scale.unit / step for y in (scale.row.bottom, scale.row.top))
    for k in range(math.ceil(low), math.floor(high) + 1):
        y = scale.zero + k * step * scale.unit * scale.high
        if k:
            sheet.lines([[(panel.left, y), (panel.right, y)]], width=0.5, colour=HAIR, z=0.5)
        tick_figure(sheet, room, panel, y, wording.number(k * step, decimals, units=units, sign=sign))


def draw_heights(sheet: Sheet, room: Room, panel: Panel, comparison: Comparison) -> None:
    """Differences of elevation: a stem and a dot each, those beyond the interval larger and solid."""
    found, units = comparison.elevation, comparison.units
    scale = _scale(panel.rows["height"], found, FOOT if units == "us" else 1.0)
    gutter(
        sheet,
        panel,
        "height",
        "Height off",
        ["profile less", f"reference, {wording.elevation_unit(units)}", *_offset(comparison)],
    )
    _axis(sheet, room, panel, scale, units)
    order = np.argsort(found.start, kind="stable")
    at, off, inside = found.start[order], found.difference[order], found.within[order]
    x, y, reach = panel.x(at), scale.y(off), SURE * found.se[order]
    sheet.areas(
        [np.vstack((np.column_stack((x, scale.y(-reach))), np.column_stack((x, scale.y(reach)))[::-1]))],
        BAND,
        z=1,
        alpha=0.6,
    )
    if at.size > 1 and np.median(np.diff(x)) < _APART:
        sheet.lines([np.column_stack((x, y))], width=0.9, z=4)
    else:
        sheet.lines([[(a, scale.zero), (a, b)] for a, b in zip(x, y, strict=True)], width=0.6, z=4)
        sheet.areas(
            [dot(a, b, DOT) for a, b in zip(x[inside], y[inside], strict=True)], WHITE, edge=INK, width=0.7, z=5
        )
    sheet.areas([dot(a, b, 1.5 * DOT) for a, b in zip(x[~inside], y[~inside], strict=True)], INK, z=5)


def _offset(comparison: Comparison) -> list[str]:
    offset = comparison.elevation.offset
    return [f"{difference_text('elevation', offset, comparison.units)} taken off"] if abs(offset) >= TELLING else []


def dot(x: float, y: float, size: float) -> Points:
    """A diamond. [pt]"""
    return [(x - size, y), (x, y + size), (x + size, y), (x, y - size)]


def draw_grades(sheet: Sheet, room: Room, panel: Panel, comparison: Comparison) -> None:
    """The reference's grades as blocks of the project's colours, our means over the same pieces as a line."""
    found, units, row = comparison.grade, comparison.units, panel.rows["grade"]
    unit = PERCENT if units == "us" else PERMILLE
    both = np.r_[found.reference, np.clip(found.ours, found.reference.min() - 0.01, found.reference.max() + 0.01), 0.0]
    high = (row.top - row.bottom) / max(float(np.ptp(both)), 0.005) / 1.06
    zero = row.bottom - (float(both.min()) * 1.03) * high
    scale = _Scale(row, zero, unit, high)
    gutter(sheet, panel, "grade", "Grade", [f"means, {wording.grade_unit(units)}", "blocks: reference"])
    _axis(sheet, room, panel, scale, units, sign=False)
    limits = limits_of(comparison)
    left, right = panel.x(found.start), panel.x(found.end)
    blocks = [
        [(a, zero), (b, zero), (b, zero + g * high), (a, zero + g * high)]
        for a, b, g in zip(left, right, found.reference.tolist(), strict=True)
    ]
    fills = [grade_colour(g, limits) for g in found.reference.tolist()]
    thin = np.median(right - left) < _APART
    sheet.areas(blocks, fills, edge=INK, width=0.25 if thin else 0.5, z=2)
    ours = _step_line(found, panel, scale.y, found.ours)
    sheet.lines(ours, width=3.0, colour=WHITE, z=3.0)
    sheet.lines(ours, width=OURS.width, z=3.5)


def _step_line(
    found: Compared, panel: Panel, y: Callable[[FloatArray], FloatArray], values: FloatArray
) -> list[FloatArray]:
    """Values (m,) over their pieces as lines with steps, broken where pieces do not meet. [pt]"""
    x = np.column_stack((panel.x(found.start), panel.x(found.end))).ravel()
    line = np.column_stack((x, np.repeat(y(values), 2)))
    return np.split(line, 2 * (np.flatnonzero(found.start[1:] - found.end[:-1] > 1.0) + 1))


def draw_slopes(sheet: Sheet, room: Room, panel: Panel, comparison: Comparison) -> None:
    """Differences of grade as bars as wide as their pieces, white within the interval, ink beyond it."""
    found, units = comparison.grade, comparison.units
    scale = _scale(panel.rows["slope"], found, PERCENT if units == "us" else PERMILLE)
    gutter(sheet, panel, "slope", "Grade off", ["profile less", f"reference, {wording.grade_unit(units)}"])
    _axis(sheet, room, panel, scale, units)
    for upper, lower in zip(
        _step_line(found, panel, scale.y, SURE * found.se),
        _step_line(found, panel, scale.y, -SURE * found.se),
        strict=True,
    ):
        sheet.areas([np.vstack((lower, upper[::-1]))], BAND, z=1, alpha=0.6)
    left, right, y = panel.x(found.start), panel.x(found.end), scale.y(found.difference)
    bars = [
        [(a, scale.zero), (b, scale.zero), (b, top), (a, top)]
        for a, b, top in zip(left, right, y.tolist(), strict=True)
    ]
    thin = np.median(right - left) < _APART
    _bars(sheet, [bar for bar, inside in zip(bars, found.within, strict=True) if inside], WHITE, 0.3 if thin else 0.5)
    _bars(sheet, [bar for bar, inside in zip(bars, found.within, strict=True) if not inside], INK, 0.5)


def _bars(sheet: Sheet, bars: Sequence[Points], fill: str, width: float) -> None:
    sheet.areas(bars, fill, edge=INK, width=width, z=3)
