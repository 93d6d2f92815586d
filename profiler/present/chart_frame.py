"""Where everything stands on a strip chart: one scale along the line, panels, rows."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from profiler.grade_classes import Limits
from profiler.landmark import Landmarks
from profiler.profile import Profile
from profiler.units import FOOT, KILOMETRE, MILE, FloatArray

GUTTER = 108.0
RIGHT = 46.0
SHARE = 57.0
"""Height of a row of share 1. [pt]"""
GAP = 9.0
PANEL_GAP = 30.0
LEAST_WIDTH = 560.0
_SHARES = {"posts": 0.5, "rail": 3.0, "steps": 1.9, "curves": 0.95, "speed": 0.62, "foot": 0.34}
ORDER = ("posts", "rail", "steps", "under", "curves", "speed", "brakes", "couplers", "marks", "foot")
"""Rows from the top, those of a train among them."""

SHEET_HEIGHTS = {
    "posts": 28.5,
    "rail": 112.0,
    "steps": 82.0,
    "under": 52.0,
    "curves": 46.0,
    "speed": 46.0,
    "brakes": 42.0,
    "couplers": 88.0,
    "foot": 19.4,
}
"""Rows of the line and of a train where a sheet of paper holds a table too. [pt]"""
WIDEST = 1080.0
"""Of a picture that is not cut into panels. [pt]"""

_PER_MILE = 0.55 * 72
_PER_KILOMETRE = 0.25 * 72
_LONGEST_MI, _LONGEST_KM = 35, 60

BELOW, ABOVE = 0.14, 0.42
"""Room under and over the rail in its row, as shares of the rail's range."""
MOST_EXAGGERATED = 100.0
_SEEN = 0.15
"""A third of a pixel at 150 dots an inch: what is smaller than this cannot be seen. [pt]"""


@dataclass(frozen=True)
class Row:
    """A strip across a panel, from ``bottom`` to ``top``. [pt]"""

    bottom: float
    top: float


@dataclass(frozen=True)
class Panel:
    """A stretch of line, by chainage [m], and its place on the sheet [pt].

    ``base`` is the elevation at the bottom of the Rail row [m]; ``scale`` is points a metre of line,
    ``height`` points a metre of elevation.
    """

    number: int
    start: float
    end: float
    left: float
    scale: float
    height: float
    base: float
    rows: Mapping[str, Row]

    @property
    def right(self) -> float:
        """Right edge. [pt]"""
        return self.left + (self.end - self.start) * self.scale

    def x(self, chainage: FloatArray | float) -> FloatArray:
        """Place across the sheet of chainages [m]. [pt]"""
        return self.left + (np.asarray(chainage, dtype=float) - self.start) * self.scale

    def y(self, elevation: FloatArray | float) -> FloatArray:
        """Place up the sheet of elevations [m], in the Rail row. [pt]"""
        return self.rows["rail"].bottom + (np.asarray(elevation, dtype=float) - self.base) * self.height

    def holds(self, chainage: float) -> bool:
        """Whether a place is on this panel."""
        return self.start <= chainage <= self.end

    def clipped(self, start: float, end: float) -> tuple[float, float] | None:
        """The part of a stretch [m] that is on this panel, None where nothing is."""
        a, b = max(start, self.start), min(end, self.end)
        return (a, b) if b > a else None


@dataclass(frozen=True)
class Frame:
    """What is drawn, and the scales all panels share.

    ``scale`` points a metre of line, ``height`` points a metre of elevation, ``limits`` of the
    grade classes [m/m].
    """

    profile: Profile
    landmarks: Landmarks
    limits: Limits
    scale: float
    height: float
    panels_m: tuple[tuple[float, float], ...]

    @property
    def units(self) -> str:
        """ "us" or "metric"."""
        return self.profile.units

    @property
    def width(self) -> float:
        """Width of a panel between its margins. [pt]"""
        start, end = self.panels_m[0]
        return (end - start) * self.scale

    @property
    def exaggeration(self) -> float:
        """How many times heights are drawn larger than lengths."""
        return self.height / self.scale

    @property
    def elevation_unit_m(self) -> float:
        """What elevation is read in. [m]"""
        return FOOT if self.units == "us" else 1.0

    def row_names(self) -> list[str]:
        """Rows that exist, from the top."""
        route = self.profile.route
        there = {"curves": bool(route.curves or route.corners), "speed": bool(route.limits or route.slow_orders)}
        return [name for name in _SHARES if there.get(name, True)]

    def row_heights(self, extra: Mapping[str, float], more: Mapping[str, float] | None = None) -> dict[str, float]:
        """Height of every row, ``extra`` included, and of those that are there besides. [pt]"""
        heights = {name: _SHARES[name] * SHARE + extra.get(name, 0.0) for name in self.row_names()} | dict(more or {})
        return {name: heights[name] for name in ORDER if name in heights}

    def panel(self, number: int, top: float, heights: Mapping[str, float]) -> Panel:
        """Lay one panel out under a line of the sheet. [pt]"""
        rows = rows_under(top, heights)
        start, end = self.panels_m[number]
        elevation = cut(start, end, self.profile.chainage, self.profile.elevation)[1]
        spare = heights["rail"] / self.height / (1 + BELOW + ABOVE)
        base = float(elevation.min()) - BELOW * spare
        return Panel(number, start, end, GUTTER, self.scale, self.height, base, rows)


def rows_under(top: float, heights: Mapping[str, float]) -> dict[str, Row]:
    """Rows of some heights one under another, the first from ``top`` down. [pt]"""
    rows = {}
    for name, height in heights.items():
        rows[name] = Row(top - height, top)
        top -= height + GAP
    return rows


def one_sheet_scale(length: float, units: str, least: float = LEAST_WIDTH) -> float:
    """Points a metre for a line of a length [m] that stands on one sheet, at least ``least`` wide [pt]."""
    wished = _PER_MILE / MILE if units == "us" else _PER_KILOMETRE / KILOMETRE
    return max(min(wished, WIDEST / length), least / length)


def frame_of(profile: Profile, landmarks: Landmarks, limits: Limits, scale: float | None = None) -> Frame:
    """Choose scales and panels: about 0.55 in a mile or 0.25 in a km, panels of 35 mi or 60 km at most."""
    us = profile.units == "us"
    start, end = float(profile.chainage[0]), float(profile.chainage[-1])
    longest = _LONGEST_MI * MILE if us else _LONGEST_KM * KILOMETRE
    count = max(1, math.ceil((end - start) / longest - 1e-9))
    edges = np.linspace(start, end, count + 1)
    panels = tuple((float(a), float(b)) for a, b in itertools.pairwise(edges))
    wished = _PER_MILE / MILE if us else _PER_KILOMETRE / KILOMETRE
    scale = max(scale or wished, LEAST_WIDTH / (panels[0][1] - panels[0][0]))
    return Frame(profile, landmarks, limits, scale, _height(profile, panels, scale, _SHARES["rail"] * SHARE), panels)


def sheets_frame(
    profile: Profile,
    landmarks: Landmarks,
    limits: Limits,
    panels: tuple[tuple[float, float], ...],
    width: float,
    rail: float = SHEET_HEIGHTS["rail"],
) -> Frame:
    """The same for sheets of paper: one panel each, stretches given [m], the longest ``width`` wide [pt].

    ``rail`` is the height of the Rail row. [pt]
    """
    scale = width / max(b - a for a, b in panels)
    return Frame(profile, landmarks, limits, scale, _height(profile, panels, scale, rail), panels)


def _height(profile: Profile, panels: tuple[tuple[float, float], ...], scale: float, row: float) -> float:
    """Points a metre of elevation that the rail of every panel fits with, in a Rail row so high [pt]."""
    spread = max(float(np.ptp(cut(a, b, profile.chainage, profile.elevation)[1])) for a, b in panels)
    within = row / (1 + BELOW + ABOVE)
    return min(within / spread if spread > 0 else math.inf, MOST_EXAGGERATED * scale)


def cut(start: float, end: float, chainage: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The stretch start…end [m] of values along the line, with both ends interpolated."""
    inside = (chainage > start) & (chainage < end)
    s = np.r_[start, chainage[inside], end]
    return s, np.atleast_1d(np.interp(s, chainage, values))


def seen(x: FloatArray, y: FloatArray) -> FloatArray:
    """A line (n, 2) [pt] without the points that nobody could see missing."""
    line = shapely.LineString(np.column_stack((x, y)))
    return shapely.get_coordinates(shapely.simplify(line, _SEEN, preserve_topology=False))


def area(line: FloatArray, level: float) -> FloatArray:
    """The shape between a line (n, 2) and a level. [pt]"""
    return np.vstack(([line[0, 0], level], line, [line[-1, 0], level]))


def nice_step(least: float, steps: tuple[float, ...] = (1, 2, 5)) -> float:
    """The smallest round step (1, 2 or 5 times a power of ten) that is at least ``least``."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(s * power for s in (*steps, 10 * steps[0]) if s * power >= least * (1 - 1e-9))
