"""The Marks row of a strip chart: where one train lies astride, had better not be stopped, is not held, begins acts."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.briefing.words import mark_name, mark_short
from profiler.mark import Mark
from profiler.mechanics.terrain import Terrain
from profiler.present import train_signs as signs
from profiler.present.chart_frame import GUTTER, Panel
from profiler.present.chart_names import RANK_STATION, candidate, gutter
from profiler.present.labels import Box, Label, Room
from profiler.present.palette import HAIR
from profiler.present.sheet import Sheet
from profiler.present.typeface import CAPTION, text_box

LANE = 25.0
"""Height of a lane: the box, and words above it. [pt]"""
GROUPS = {
    "astride": ("straddle",),
    "do not stop": ("do_not_stop", "start_hard"),
    "not held": ("not_held",),
    "begin": signs.BEGIN,
}
"""Kinds of marks by groups of lanes, from the top."""
_SPREAD = ("astride", "begin")
"""Groups of which as many lanes are made as it takes, as of places where a start is hard if there are no others;
marks of the others cannot overlap."""
_LEAST = 6.0
"""A stretch shorter than this keeps its box about its middle, so long. [pt]"""
_GAP = 3.0
_OFF_LEFT = 11.0
"""Room left of a panel for the chip of what begins there. [pt]"""


@dataclass(frozen=True)
class Laid:
    """A mark in a ``lane``, its stretch and its best place by distance travelled [m]."""

    mark: Mark
    start: float
    best: float
    end: float
    lane: int = 0


@dataclass(frozen=True)
class Window:
    """What there is of a window: an earliest place (``opens``), a latest one (``ends``); neither is ``empty``."""

    opens: bool
    ends: bool
    empty: bool

    def words(self, first: str, best: str, last: str) -> str:
        """ "begins 64.2, best 64.6, last 65.0": its places in words, and which of them there are not."""
        if self.empty:
            return f"by plan at {best}, no window"
        return f"{f'begins {first}' if self.opens else 'no first'}, {self.last_words(best, last)}"

    def last_words(self, best: str, last: str) -> str:
        """The same from the best place on."""
        return f"best {best}, {f'last {last}' if self.ends else 'no last'}"


def ways_of(mark: Mark, terrain: Terrain) -> tuple[float, float, float]:
    """The earliest, the best and the last place of a mark by distance travelled. [m]"""
    first, best, last = (float(terrain.way_at(x)) for x in (mark.earliest, mark.recommended, mark.latest))
    return first, best, last


def window_of(mark: Mark, terrain: Terrain) -> Window:
    """The window of a mark where something begins: its figures tell of places never found, and of windows that have
    no place in them."""
    told = {figure.name: figure.value for figure in mark.figures}
    earliest, latest = (told.get(name, getattr(mark, name)) for name in ("earliest", "latest"))
    best = float(terrain.way_at(mark.recommended))
    empty = bool(told.get("empty", 0.0)) or mark.reason == "cannot"
    empty |= bool(terrain.way_at(earliest) > best + 1.0 or terrain.way_at(latest) < best - 1.0)
    return Window(math.isfinite(earliest), math.isfinite(latest), empty)


@dataclass(frozen=True)
class Lanes:
    """Marks in lanes from the top; ``groups`` are their names with how many lanes each has."""

    laid: tuple[Laid, ...]
    groups: tuple[tuple[str, int], ...]

    @property
    def count(self) -> int:
        """Lanes in all."""
        return sum(lanes for _, lanes in self.groups)

    @property
    def height(self) -> float:
        """Of the row. [pt]"""
        return LANE * self.count


def lanes_of(briefing: Briefing, scale: float, stretch: tuple[float, float] | None = None) -> Lanes:
    """Marks in lanes, so that neither signs nor chips meet; ``scale`` is points a metre of line.

    All that reach the line, or a stretch of it by distance travelled [m].
    """
    terrain = briefing.terrain
    first_m, last_m = stretch or (0.0, terrain.length)
    items = []
    for mark in briefing.marks:
        start, best, end = ways_of(mark, terrain)
        if end >= first_m and start < last_m:
            items.append(Laid(mark, start, best, end))
    laid: list[Laid] = []
    groups: list[tuple[str, int]] = []
    first = 0
    for name, kinds in GROUPS.items():
        own = [item for item in items if item.mark.kind in kinds]
        if not own:
            continue
        stopping = name == "do not stop" and not any(item.mark.kind == "do_not_stop" for item in own)
        lanes = _spread(own, terrain, scale) if stopping or name in _SPREAD else [0] * len(own)
        laid += [dataclasses.replace(item, lane=first + lane) for item, lane in zip(own, lanes, strict=True)]
        groups.append(("start hard" if stopping else name, max(lanes) + 1))
        first += max(lanes) + 1
    return Lanes(tuple(laid), tuple(groups))


def _spread(items: Sequence[Laid], terrain: Terrain, scale: float) -> list[int]:
    """For each item the first lane in which it meets none before it."""
    ends: list[float] = []
    lanes = []
    for item in items:
        left, right = _reach(item, terrain)
        first = item.start * scale - left
        lane = next((i for i, end in enumerate(ends) if end <= first), len(ends))
        ends[lane : lane + 1] = [item.end * scale + right]
        lanes.append(lane)
    return lanes


def _reach(item: Laid, terrain: Terrain) -> tuple[float, float]:
    """How far chip and sign reach out of a stretch to the left and to the right. [pt]"""
    mark = item.mark
    left, right = signs.chip_width(mark.number, mark.kind) + _GAP, _GAP
    if mark.kind in signs.BEGIN:
        window = window_of(mark, terrain)
        if window.empty:
            return left + signs.LEAST, right + signs.LEAST
        left += 0.0 if window.opens else signs.OPEN_END
        right += 1.0 if window.ends else signs.OPEN_END
    return left, right


def draw_marks(sheet: Sheet, room: Room, panel: Panel, briefing: Briefing, lanes: Lanes) -> list[Label]:
    """Signs and chips of every mark on a panel; a mark's number never drops, its words may."""
    row = panel.rows["marks"]
    gutter(sheet, panel, "marks", "Marks", [])
    lane = 0
    for words, count in lanes.groups:
        y = _middle(row.top, lane) - (2.4 if lane else 5.0)
        sheet.text(GUTTER - 14, y, words, CAPTION, align="right")
        room.take(text_box(words, CAPTION, GUTTER - 14, y, "right"))
        lane += count
    for lane in range(1, lanes.count):
        y = row.top - lane * LANE
        sheet.lines([[(panel.left, y), (panel.right, y)]], width=0.5, colour=HAIR, z=0.5)
    here = [x for x in lanes.laid if panel.clipped(x.start, x.end) or panel.holds(x.end)]
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
    half = signs.chip_width(mark.number, mark.kind) / 2
    if covered:
        best = float(panel.x(item.best))
        if panel.left <= best <= panel.right:
            # the chip of a stretch that reaches in from the left stands there
            best = max(best, panel.left - _OFF_LEFT + 3 * half + 2)
            room.take(signs.chip(sheet, best, y, mark.number, mark.kind), owner)
        return []
    box = _sign(sheet, panel, briefing.terrain, item, y)
    room.take(box, owner)
    if item.start < panel.start - 1 and panel.number:  # begun on the panel before, where its number stands
        return []
    x = max(box.left - half - 1.5, panel.left - _OFF_LEFT + half)
    before = Box(x - half, y - 1, x + half, y + 1)
    if mark.kind not in signs.BEGIN and not room.is_free(before, {owner}) and box.right - box.left > 2 * half + 8:
        x = box.left + half + 1.5  # another stretch ends where this one begins
    chip = signs.chip(sheet, x, y, mark.number, mark.kind)
    room.take(chip, owner)
    texts = [mark_short(mark, briefing.train, briefing.profile.units)]
    if mark.kind not in ("straddle", *GROUPS["do not stop"]):  # else the lane tells what it is
        name = mark_name(mark)
        texts = [f"{name}, {texts[0]}", name]
    above = y + signs.MARK_HIGH / 2 + 5.0
    first = min(chip.left, box.left) - 3
    spots = [
        candidate("mark", text, x, at, align)
        for text in texts
        for x, at, align in (
            (box.right + 4, y - 2.4, "left"),
            (box.left, above, "left"),
            (box.right, above, "right"),
            (first, y - 2.4, "right"),
        )
    ]
    spots = [spot for spot in spots if spot.box.left >= panel.left]
    if mark.kind == "not_held":
        middle = (max(box.left, chip.right) + box.right) / 2
        inside = [candidate("mark_white", text, middle, y - 2.4, "center", over={owner}) for text in texts]
        spots = [s for s in inside if s.box.left > chip.right + 2 and s.box.right < box.right - 2] + spots
    where = wording.post_text(briefing.profile.route.posts, mark.recommended)
    return [Label(f"mark {mark.number}, {texts[0]}, {where}", RANK_STATION, tuple(spots))]


def _sign(sheet: Sheet, panel: Panel, terrain: Terrain, item: Laid, y: float) -> Box:
    """The sign of a mark over its stretch, as far as that is on the panel."""
    mark = item.mark
    left, best, right = (float(panel.x(min(max(s, panel.start), panel.end))) for s in (item.start, item.best, item.end))
    if mark.kind in signs.BEGIN:
        window = window_of(mark, terrain)
        if window.empty:
            return signs.no_window(sheet, left, best, right, y)
        return signs.begin(sheet, left, best, right, y, opens=window.opens, ends=window.ends)
    if right - left < _LEAST:
        left, right = (left + right - _LEAST) / 2, (left + right + _LEAST) / 2
    if mark.kind == "straddle":
        quarters = (mark.quarter, mark.half, mark.three_quarter)
        ticks = [float(panel.x(float(terrain.way_at(q)))) for q in quarters if q is not None]
        return signs.astride(sheet, left, right, y, tuple(t for t in ticks if left < t < right))
    sign = {"do_not_stop": signs.do_not_stop, "start_hard": signs.start_hard, "not_held": signs.not_held}[mark.kind]
    return sign(sheet, left, right, y)
