"""The Marks row of a strip chart: where one train lies astride, where it had better not be stopped."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from dataclasses import dataclass

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.briefing.words import mark_short
from profiler.mark import Mark
from profiler.present import signs
from profiler.present.chart_frame import GUTTER, Panel
from profiler.present.chart_names import RANK_STATION, candidate, gutter
from profiler.present.labels import Box, Label, Room
from profiler.present.palette import HAIR
from profiler.present.sheet import CAPTION, Sheet, text_box

LANE = 25.0
"""Height of a lane: the box, and words above it. [pt]"""
_LEAST = 6.0
"""A stretch shorter than this keeps its box about its middle, so long. [pt]"""
_GAP = 3.0


@dataclass(frozen=True)
class Laid:
    """A mark in a ``lane``, its stretch by distance travelled [m]."""

    mark: Mark
    start: float
    end: float
    lane: int = 0


@dataclass(frozen=True)
class Lanes:
    """Marks in lanes from the top: first those astride, ``astride`` lanes of them, then those of stopping, one."""

    laid: tuple[Laid, ...]
    astride: int

    @property
    def height(self) -> float:
        """Of the row. [pt]"""
        return LANE * (self.astride + self.stopping)

    @property
    def stopping(self) -> int:
        """Lanes of stretches where the train had better not be stopped: 0 or 1."""
        return int(any(item.mark.kind != "straddle" for item in self.laid))


def lanes_of(briefing: Briefing, scale: float) -> Lanes:
    """Marks in lanes, so that neither boxes nor chips meet; ``scale`` is points a metre of line."""
    terrain = briefing.terrain
    items = [Laid(m, float(terrain.way_at(m.earliest)), float(terrain.way_at(m.latest))) for m in briefing.marks]
    on_line = [item for item in items if item.end > 0 and item.start < terrain.length]
    ends: list[float] = []
    laid = []
    for item in on_line:
        if item.mark.kind != "straddle":
            laid.append(item)
            continue
        first = item.start - (signs.chip_width(item.mark.number) + _GAP) / scale
        lane = next((i for i, end in enumerate(ends) if end <= first), len(ends))
        ends[lane : lane + 1] = [item.end + _GAP / scale]
        laid.append(dataclasses.replace(item, lane=lane))
    resting = [dataclasses.replace(x, lane=len(ends)) for x in laid if x.mark.kind != "straddle"]
    return Lanes((*(x for x in laid if x.mark.kind == "straddle"), *resting), len(ends))


def draw_marks(sheet: Sheet, room: Room, panel: Panel, briefing: Briefing, lanes: Lanes) -> list[Label]:
    """Boxes and chips of every mark on a panel; a mark's number never drops, its words may."""
    row = panel.rows["marks"]
    gutter(sheet, panel, "marks", "Marks", [])
    forbidden = any(item.mark.kind == "do_not_stop" for item in lanes.laid)
    for lane, words in ((0, "astride"), (lanes.astride, "do not stop" if forbidden else "start hard")):
        if lane < lanes.astride + lanes.stopping and (lane or lanes.astride):
            y = _middle(row.top, lane) - (2.4 if lane else 5.0)
            sheet.text(GUTTER - 14, y, words, CAPTION, align="right")
            room.take(text_box(words, CAPTION, GUTTER - 14, y, "right"))
    for lane in range(1, lanes.astride + lanes.stopping):
        y = row.top - lane * LANE
        sheet.lines([[(panel.left, y), (panel.right, y)]], width=0.5, colour=HAIR, z=0.5)
    here = [x for x in lanes.laid if panel.clipped(x.start, x.end) or panel.holds((x.start + x.end) / 2)]
    resting = [x for x in here if x.mark.kind == "do_not_stop"]
    labels: list[Label] = []
    for item in here:
        covered = item.mark.kind == "start_hard" and any(_meets(item, other) for other in resting)
        labels += _mark(sheet, room, panel, briefing, item, _middle(row.top, item.lane), covered=covered)
    return labels


def _middle(top: float, lane: int) -> float:
    return top - lane * LANE - LANE + signs.MARK_HIGH / 2 + 4.0


def _meets(a: Laid, b: Laid) -> bool:
    return a.start < b.end and b.start < a.end


def _mark(
    sheet: Sheet, room: Room, panel: Panel, briefing: Briefing, item: Laid, y: float, *, covered: bool
) -> Iterable[Label]:
    mark, owner = item.mark, f"mark {item.mark.number}"
    left, right = (float(panel.x(min(max(s, panel.start), panel.end))) for s in (item.start, item.end))
    if right - left < _LEAST:
        left, right = (left + right - _LEAST) / 2, (left + right + _LEAST) / 2
    best = float(panel.x(float(briefing.terrain.way_at(mark.recommended))))
    half = signs.chip_width(mark.number) / 2
    if covered:
        if not panel.left <= best <= panel.right:
            return []
        room.take(signs.chip(sheet, best, y, mark.number, mark.kind), owner)
        return []
    if mark.kind == "straddle":
        quarters = (mark.quarter, mark.half, mark.three_quarter)
        ticks = [float(panel.x(float(briefing.terrain.way_at(q)))) for q in quarters if q is not None]
        box = signs.astride(sheet, left, right, y, tuple(t for t in ticks if left < t < right))
    else:
        box = getattr(signs, mark.kind)(sheet, left, right, y)
    room.take(box, owner)
    if item.start < panel.start - 1:  # begun on the panel before, where its number stands
        return []
    x = left - half - 1.5
    before = Box(x - half, y - 1, x + half, y + 1)
    if not room.is_free(before) and right - left > 2 * half + 8:  # another stretch ends where this one begins
        x = left + half + 1.5
    chip = signs.chip(sheet, x, y, mark.number, mark.kind)
    room.take(chip, owner)
    words = mark_short(mark, briefing.train, briefing.profile.units)
    where = wording.post_text(briefing.profile.route.posts, mark.recommended)
    spots = (
        candidate("mark", words, right + 4, y - 2.4),
        candidate("mark", words, left, y + signs.MARK_HIGH / 2 + 5.0),
        candidate("mark", words, right, y + signs.MARK_HIGH / 2 + 5.0, "right"),
        candidate("mark", words, chip.left - 3, y - 2.4, "right"),
    )
    return [Label(f"mark {mark.number}, {words}, {where}", RANK_STATION, spots)]
