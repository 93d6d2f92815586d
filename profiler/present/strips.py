"""The line of a briefing cut into sheets of paper: where to cut, and the chart of each."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.grade_classes import Limits, class_limits
from profiler.mark import Mark
from profiler.present.chart import Chart, MoreRows, compose_sheet, sheet_height
from profiler.present.chart_frame import GUTTER, RIGHT, SHEET_HEIGHTS, Frame, sheets_frame
from profiler.present.chart_key import MARGIN, draw_classes
from profiler.present.sheet import Sheet, plain
from profiler.present.train_chart import rows_of_train
from profiler.present.typeface import CAPTION
from profiler.units import KILOMETRE, MILE

USUAL, LONGEST = {"us": 15 * MILE, "metric": 25 * KILOMETRE}, {"us": 18 * MILE, "metric": 30 * KILOMETRE}
"""Length of line on a sheet. [m]"""
_NEAR = 0.2
"""A sheet ends at a place with a name that is so near its fair end, as a share of its length."""
_FIRST = ("posts", "rail", "steps", "curves", "speed", "marks", "foot")
_ALSO = ("couplers", "under", "brakes")
"""Rows that leave a sheet, the last first, where its height needs it."""
_LOW = {**SHEET_HEIGHTS, "rail": 82.0, "steps": 58.0, "curves": 36.0, "speed": 40.0}
"""Rows of a sheet that has to hold a long table too. [pt]"""
_WHOLE = {"posts": SHEET_HEIGHTS["posts"], "rail": 84.0, "steps": 60.0, "foot": SHEET_HEIGHTS["foot"] + 20.0}
"""Rows of the whole line; under its ruler there is room for the brackets of sheets. [pt]"""
_PLACE_WORDS = {"crest": "crest", "sag": "sag", "grade_break": "break"}


@dataclass(frozen=True)
class Strip:
    """A stretch of line on one sheet, by distance travelled [m], between two places with a name."""

    start: float
    end: float
    first: str
    last: str

    def holds(self, briefing: Briefing, mark: Mark) -> bool:
        """Whether any of a mark lies on it."""
        a, b = sorted(float(briefing.terrain.way_at(x)) for x in (mark.earliest, mark.latest))
        return a <= self.end and b >= self.start


def strips_of(briefing: Briefing) -> tuple[Strip, ...]:
    """The line as travelled in sheets of equal length, cut at places with a name where there are any.

    A sheet begins one train length before the last has ended: a train whose head is there stands on it whole.
    """
    units, total = briefing.profile.units, briefing.terrain.length
    overlap = min(briefing.train.length, 0.3 * USUAL[units])
    count = max(round(total / USUAL[units]), math.ceil((total - overlap) / (LONGEST[units] - overlap)), 1)
    fair = total / count
    names = list(_named(briefing))
    route = briefing.as_travelled[0].route
    cuts = [(0.0, plain(wording.end_name(route, 0)))]
    for i in range(1, count):
        ideal = i * fair
        near = [(abs(at - ideal), at, name) for at, name in names if abs(at - ideal) < _NEAR * fair]
        at, name = min(near)[1:] if near else (ideal, wording.stretch_words(route.posts, ideal, ideal))
        cuts.append((at, name))
    cuts.append((total, plain(wording.end_name(route, 1))))
    return tuple(
        Strip(max(a - (overlap if i else 0.0), 0.0), b, first, last)
        for i, ((a, first), (b, last)) in enumerate(itertools.pairwise(cuts))
    )


def _named(briefing: Briefing) -> Iterator[tuple[float, str]]:
    """Places with a name along the line as travelled: stations, then what the ground does."""
    profile, landmarks = briefing.as_travelled
    for station in profile.route.stations:
        yield float(station.chainage), plain(station.name)
    for kind, words in _PLACE_WORDS.items():
        for mark in landmarks.shown(kind):
            yield mark.at, f"the {words} at {wording.stretch_words(profile.route.posts, mark.at, mark.at)}"


def strip_charts(
    briefing: Briefing,
    strips: tuple[Strip, ...],
    width: float,
    beside: tuple[float, ...],
    alone: float,
    limits: Limits | None,
) -> tuple[Chart, ...]:
    """A chart for every sheet, all of one scale in length and height.

    Each is no higher than its own of ``beside`` where that can be, so that its table has room under it, else no higher
    than ``alone`` [pt]. Rows are as high as lets most sheets hold their table, and most rows find room.
    """
    profile, landmarks = briefing.as_travelled
    limits = limits or class_limits(landmarks.steepest_ruling)
    panels = tuple((strip.start, strip.end) for strip in strips)

    def laid_out(heights: Mapping[str, float], ruling_only: bool) -> _Layout:
        frame = sheets_frame(profile, landmarks, limits, panels, width - GUTTER - RIGHT, heights["rail"])
        more = tuple(rows_of_train(briefing, frame.scale, panel) for panel in panels)
        return _Layout(frame, more, heights, ruling_only, beside, alone)

    layouts = [laid_out(*each) for each in ((SHEET_HEIGHTS, False), (SHEET_HEIGHTS, True), (_LOW, True))]
    every = range(len(strips))
    best = max(layouts, key=lambda x: (sum(map(x.fits, every)), sum(len(x.names(i)) for i in every)))
    return tuple(map(best.chart, every))


@dataclass(frozen=True, eq=False)
class _Layout:
    """One way to lay out all sheets: ``heights`` of rows, brackets of ruling grades only or all; the height of each
    sheet that leaves room for its table ``beside``, and that of a chart ``alone``. [pt]"""

    frame: Frame
    more: tuple[MoreRows, ...]
    heights: Mapping[str, float]
    ruling_only: bool
    beside: tuple[float, ...]
    alone: float

    def height(self, number: int, names: Collection[str]) -> float:
        return sheet_height(self.frame, number, names, self._tall(number), ruling_only=self.ruling_only)

    def fits(self, number: int) -> bool:
        """Whether a sheet holds its table too."""
        return self.height(number, self._first(number)) <= self.beside[number]

    def names(self, number: int) -> list[str]:
        """Rows of a sheet, those of the train that there is room for among them."""
        names = self._first(number)
        room = self.beside[number] if self.fits(number) else self.alone
        for name in _ALSO:
            if name in self.more[number].heights and self.height(number, [*names, name]) <= room:
                names.append(name)
        return names

    def chart(self, number: int) -> Chart:
        """The chart of a sheet."""
        names, tall, more = self.names(number), self._tall(number), self.more[number]
        return compose_sheet(self.frame, number, names, tall, more, ruling_only=self.ruling_only)[0]

    def _first(self, number: int) -> list[str]:
        there = {*self.frame.row_names(), *self.more[number].heights}
        return [name for name in _FIRST if name in there]

    def _tall(self, number: int) -> dict[str, float]:
        marks = self.more[number].heights.get("marks")
        return {**self.heights, **({} if marks is None else {"marks": marks})}


def overview_chart(
    briefing: Briefing, strips: tuple[Strip, ...], width: float, limits: Limits | None
) -> tuple[Chart, Sheet]:
    """The whole line, Rail and Steps only, with a bracket for every sheet under its ruler; and the key of grades."""
    profile, landmarks = briefing.as_travelled
    limits = limits or class_limits(landmarks.steepest_ruling)
    panels = ((0.0, briefing.terrain.length),)
    frame = sheets_frame(profile, landmarks, limits, panels, width - GUTTER - RIGHT, _WHOLE["rail"])
    chart, panel = compose_sheet(frame, 0, _WHOLE, _WHOLE, ruling_only=True)
    y = panel.rows["foot"].bottom + 14.0
    for i, strip in enumerate(strips):
        a, b = float(panel.x(strip.start)), float(panel.x(strip.end))
        at = y - 3.0 * (i % 2)
        chart.sheet.lines([[(a, at), (b, at)]], width=2.0)
        words = str(i + 1) if len(strips) > 6 else f"strip {i + 1}"
        chart.sheet.text((a + b) / 2, y - 12.5, words, CAPTION, align="center")
    key = Sheet(width, 32.0)
    draw_classes(key, MARGIN, 12.0, limits, profile.units)
    return chart, key
