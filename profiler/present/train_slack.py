"""The lane of slack above the pulls of the Couplers row: where it runs in and out along the run by plan."""

from __future__ import annotations

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.briefing.words import mark_name
from profiler.mark import Mark
from profiler.present import train_signs as signs
from profiler.present.chart_frame import Panel
from profiler.present.chart_names import RANK_STATION, candidate
from profiler.present.labels import Box, Label, Room
from profiler.present.sheet import Sheet
from profiler.present.train_marks import ways_of

SLACK_LANE = 10.0
"""Height of the lane. [pt]"""
_APART = 2.0


def slack_of(briefing: Briefing) -> tuple[Mark, ...]:
    """Marks of slack that reach the line, in order of travel."""
    way, length = briefing.terrain.way_at, briefing.terrain.length
    found = [mark for mark in briefing.marks if mark.kind in signs.SLACK]
    return tuple(mark for mark in found if way(mark.latest) > 0 and way(mark.earliest) < length)


def draw_slack(sheet: Sheet, room: Room, panel: Panel, briefing: Briefing) -> list[Label]:
    """A sign each at the middle of the change, with a thin line over the stretch that it takes."""
    y = panel.rows["couplers"].top - SLACK_LANE / 2
    half = signs.CARS / 2
    labels: list[Label] = []
    free = panel.left
    for mark in slack_of(briefing):
        start, middle, end = ways_of(mark, briefing.terrain)
        part = panel.clipped(start, end)
        if part is not None:
            left, right = (float(panel.x(s)) for s in part)
            sheet.lines([[(left, y), (right, y)]], width=0.6)
            room.take(Box(left, y - 1, right, y + 1), f"slack {mark.number}")
        if not panel.holds(middle):
            continue
        x = min(max(float(panel.x(middle)), free + half), panel.right - half)
        room.take(signs.slack(sheet, mark.kind, x, y), f"slack {mark.number}")
        free = x + half + _APART
        words = mark_name(mark)
        base = y - 2.4
        edges = (max(x + half, float(panel.x(end))) + 4, min(x - half, float(panel.x(start))) - 4)
        spots = [candidate("mark", words, at, base, a) for at, a in zip(edges, ("left", "right"), strict=True)]
        where = wording.post_text(briefing.profile.route.posts, mark.recommended)
        inside = tuple(spot for spot in spots if panel.left <= spot.box.left and spot.box.right <= panel.right)
        labels.append(Label(f"{words}, {where}", RANK_STATION, inside))
    return labels
