"""The Curves row of a strip chart: curvature by hand, numbers, how sure, corners of the drawn line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

import numpy as np

from profiler import curve_words, wording
from profiler.plan_elements import PlanElement, elements_of
from profiler.present import signs
from profiler.present.chart_frame import Frame, Panel
from profiler.present.chart_names import RANK_CURVE, RANK_GENTLE, baseline, candidate, gutter
from profiler.present.chart_rows import label_step
from profiler.present.ink import Points
from profiler.present.labels import Box, Label, Room
from profiler.present.palette import CURVE_FILL, INK, WHITE
from profiler.present.sheet import Sheet
from profiler.route import CurveElement

_NARROW_CURVE = 7.0
_FIGURES = 10.0
"""Room for a line of figures beyond the tallest curve. [pt]"""
_LEAST_WHISKER = 1.0
"""Half a whisker shorter than this cannot be told from the edge it stands on. [pt]"""
_WHISKER_ROOM = 4.5
"""A body narrower than this has no room for a whisker. [pt]"""


def curve_unit_words(units: str) -> str:
    """What the figures of curves are: "degrees" or "radius, m"."""
    return "degrees" if units == "us" else "radius, m"


def tightest(frame: Frame) -> float:
    """The sharpest curvature of the line, 0 without curves. [1/m]"""
    return max((abs(curve.curvature) for curve in frame.profile.route.curves), default=0.0)


def draw_curves(sheet: Sheet, room: Room, panel: Panel, frame: Frame) -> list[Label]:
    """Curvature by hand, as tall as the tightest curve of the line asks for."""
    gutter(sheet, panel, "curves", "Curves", [curve_unit_words(frame.units), "left up,", "right down"])
    return draw_bends(sheet, room, panel, frame, tightest(frame))


def draw_bends(sheet: Sheet, room: Room, panel: Panel, frame: Frame, full: float) -> list[Label]:
    """Left up and grey, right down and white; ramps are spirals. The row is full at ``full`` [1/m].

    A compound curve is one outline, reverse curves adjoin. Whiskers are ±1.96 standard errors of a
    curvature, where that can be seen. The figure stands outside the curve, its number across the line.
    """
    row, route = panel.rows["curves"], frame.profile.route
    zero = (row.bottom + row.top) / 2
    baseline(sheet, panel, zero, 0.6)
    tall = _height(row.top - row.bottom, full)
    narrow = _is_narrow(route.curves, panel.scale)
    elements = elements_of(route.curves, panel.start, panel.end)
    for left in (True, False):
        shapes = [_placed(panel, zero, tall, line) for hand, line in outlines(elements) if hand == left]
        sheet.areas(shapes, CURVE_FILL if left else WHITE, edge=INK, width=0.35 if narrow else 0.6, z=3)
    here = [c for c in route.curves if panel.clipped(c.start, c.end)]
    for curve in here:
        _take(room, panel, curve, zero, tall)
        if _has_whisker(curve, panel.scale, tall) and panel.holds(_middle(curve)):
            room.take(_whisker(sheet, panel, curve, zero, tall), "curve")
    for corner in route.corners:
        if panel.holds(corner.chainage):
            room.take(signs.corner(sheet, float(panel.x(corner.chainage)), zero), "curve")
    named = _tightest_per_step(panel, frame, here) if narrow else here
    labels = [_figure(panel, frame, c, zero, tall) for c in sorted(named, key=lambda c: -abs(c.curvature))]
    return labels + _numbers(panel, here, named, zero)


def whiskers(frame: Frame) -> bool:
    """Whether the Curves row of this line has any whisker."""
    tall = _height(frame.row_heights({}).get("curves", 0.0), tightest(frame))
    return any(_has_whisker(curve, frame.scale, tall) for curve in frame.profile.route.curves)


def _height(row: float, full: float) -> float:
    """Points up the sheet for a curvature of 1 a metre."""
    return (row / 2 - _FIGURES) / full if full else 0.0


def _is_narrow(curves: Sequence[CurveElement], scale: float) -> bool:
    return bool(curves) and float(np.median([c.end - c.start for c in curves])) * scale < _NARROW_CURVE


def outlines(elements: Sequence[PlanElement]) -> Iterator[tuple[bool, Points]]:
    """Closed shapes of curvature, each of one hand (True: left), as points of chainage [m] and curvature [1/m]."""
    pieces = [piece for element in elements for piece in _of_one_hand(element)]
    for hand, group in groupby(pieces, key=lambda piece: np.sign(piece[1] + piece[3])):
        if hand == 0:
            continue
        rows = list(group)
        line = [point for a, ka, b, kb in rows for point in ((a, ka), (b, kb))]
        yield hand > 0, [(rows[0][0], 0.0), *line, (rows[-1][2], 0.0)]


def _of_one_hand(element: PlanElement) -> list[tuple[float, float, float, float]]:
    """An element as start, curvature there, end, curvature there; two where it goes over to the other hand."""
    a, ka, b, kb = element.start, element.curvature_start, element.end, element.curvature_end
    if ka * kb >= 0:
        return [(a, ka, b, kb)]
    zero = a + (b - a) * ka / (ka - kb)
    return [(a, ka, zero, 0.0), (zero, 0.0, b, kb)]


def _placed(panel: Panel, zero: float, tall: float, line: Points) -> Points:
    places, curvature = np.asarray(line, dtype=float).T
    return np.column_stack((panel.x(places), zero + curvature * tall))


def _take(room: Room, panel: Panel, curve: CurveElement, zero: float, tall: float) -> None:
    """Keep words out of a curve."""
    start, end = panel.clipped(curve.start, curve.end) or (panel.start, panel.start)
    low, high = sorted((zero, zero + curve.curvature * tall))
    room.take(Box(float(panel.x(start)), low, float(panel.x(end)), high), "curve")


def _middle(curve: CurveElement) -> float:
    """Middle of the body. [m]"""
    return (curve.start + curve.spiral_in + curve.end - curve.spiral_out) / 2


def _has_whisker(curve: CurveElement, scale: float, tall: float) -> bool:
    body = curve.end - curve.start - curve.spiral_in - curve.spiral_out
    return 1.96 * curve.curvature_se * tall >= _LEAST_WHISKER and body * scale >= _WHISKER_ROOM


def _whisker(sheet: Sheet, panel: Panel, curve: CurveElement, zero: float, tall: float) -> Box:
    half, edge = 1.96 * curve.curvature_se * tall, zero + curve.curvature * tall
    return signs.whisker(sheet, float(panel.x(_middle(curve))), edge - half, edge + half)


def _tightest_per_step(panel: Panel, frame: Frame, curves: list[CurveElement]) -> list[CurveElement]:
    """The tightest curve of each hand between two labelled posts."""
    posts = frame.profile.route.posts
    step = label_step(panel, posts)
    best: dict[tuple[int, bool], CurveElement] = {}
    for curve in curves:
        key = (int(posts.at((curve.start + curve.end) / 2) // step), curve.curvature > 0)
        if key not in best or abs(curve.curvature) > abs(best[key].curvature):
            best[key] = curve
    return list(best.values())


def _figure(panel: Panel, frame: Frame, curve: CurveElement, zero: float, tall: float) -> Label:
    """Degree or radius, outside the curve and the whisker on it."""
    words = wording.curve_figure(curve.curvature, frame.units)
    reach = 1.96 * curve.curvature_se * tall if _has_whisker(curve, panel.scale, tall) else 0.0
    x, edge = float(panel.x(_middle(curve))), zero + curve.curvature * tall
    y = edge + reach + 3.2 if curve.curvature > 0 else edge - reach - 8.4
    choices = tuple(candidate("curve", words, x + dx, y, "center") for dx in (0.0, -5.0, 5.0))
    where = wording.post_text(frame.profile.route.posts, _middle(curve))
    name = f"{curve_words.curve_line(curve, frame.units)}, {where}"
    return Label(name, RANK_CURVE, choices if panel.holds(_middle(curve)) else ())


def _numbers(panel: Panel, here: list[CurveElement], named: list[CurveElement], zero: float) -> list[Label]:
    """Numbers of whole curves, on the other side of the line than the curve."""
    labels = []
    for name in dict.fromkeys(curve.name for curve in named if curve.name):
        arcs = [curve for curve in here if curve.name == name]
        middle = (arcs[0].start + arcs[-1].end) / 2
        y = zero - 8.4 if arcs[0].curvature > 0 else zero + 3.2
        spots = tuple(
            candidate("curve_number", name, float(panel.x(middle)) + dx, y, "center") for dx in (0.0, -5.0, 5.0)
        )
        labels.append(Label(f"curve number {name}", RANK_GENTLE, spots if panel.holds(middle) else ()))
    return labels
