"""Rows of the run by plan on a strip chart: its speed beside the limits, and what brakes do along it."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.handling.journey import Journey
from profiler.mechanics.run import Run
from profiler.present import train_signs as signs
from profiler.present.chart_frame import SHARE, Frame, Panel, area, nice_step, seen
from profiler.present.chart_names import RANK_LANDMARK, RANK_STATION, baseline, candidate, gutter, tick_figure
from profiler.present.chart_rail import take_line
from profiler.present.chart_rows import speed_height
from profiler.present.labels import Box, Label, Room
from profiler.present.palette import HAIR, INK, WHITE, WINDOW_FILL
from profiler.present.sheet import Sheet
from profiler.present.typeface import BODY, extent
from profiler.train_words import pressure_text
from profiler.units import KMH, MPH, FloatArray

HEIGHTS = {"speed": 0.95 * SHARE, "brakes": 0.85 * SHARE}
"""Of rows. [pt]"""
_NAMED_AT = (0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9)
"""Where along a panel the line may be named."""
_UP, _LEFT_OUT = 0.55, 0.02
"""Part of the Brakes row that the dynamic brake has; less of it than this is not drawn. [-]"""
_EDGE = 3.0
_TICKS_APART = 12.0


@dataclass(frozen=True)
class Step:
    """A ``reduction`` [Pa] asked for from ``start`` to ``end``, by distance travelled [m]."""

    start: float
    end: float
    reduction: float


def fastest_by_plan(journey: Journey) -> float:
    """The highest speed of a run by plan. [m/s]"""
    return float(journey.speed.max())


def dynamic_used(journey: Journey) -> bool:
    """Whether the dynamic brake is used along a run."""
    return bool(journey.share.max() > _LEFT_OUT)


def air_used(journey: Journey) -> bool:
    """Whether air is set along a run."""
    return bool(journey.reduction.max() > 0)


def draw_by_plan(sheet: Sheet, room: Room, panel: Panel, frame: Frame, briefing: Briefing) -> list[Label]:
    """The speed of the run by plan as a thin line in the Speed row, a dot where the train comes to a stand."""
    row, journey = panel.rows["speed"], briefing.journey
    tall = speed_height(panel, frame.profile.route, fastest_by_plan(journey))
    unit = MPH if frame.units == "us" else KMH
    step = nice_step(_TICKS_APART / (tall * unit), (1, 2, 3, 5))
    for k in range(int((row.top - row.bottom - 6.0) / (tall * unit * step)) + 1):
        y = row.bottom + k * step * unit * tall
        sheet.lines([[(panel.left, y), (panel.right, y)]], width=0.5, colour=HAIR, z=1.5)
        tick_figure(sheet, room, panel, y, f"{k * step:g}")
    labels: list[Label] = []
    drawn: list[FloatArray] = []
    for run in journey.runs:
        part = _on_panel(panel, run.head, run.speed)
        if part is not None:
            drawn.append(seen(part[0], row.bottom + part[1] * tall))
    sheet.lines(drawn, width=2.2, colour=WHITE, z=4.4)
    sheet.lines(drawn, z=4.5, **signs.LINES["by_plan"])
    for line in drawn:
        take_line(room, line)
    for place in journey.stalls:
        if panel.holds(place):
            x = float(panel.x(place))
            room.take(signs.stall(sheet, x, row.bottom))
            sides = ((5, "left"), (-5, "right"), (-12, "right"), (-20, "right"), (16, "left"))
            spots = [candidate("slow", "stalls", x + dx, row.bottom + dy, a) for dy in (3.0, 12.0) for dx, a in sides]
            labels.append(Label(f"stalls, {_where(briefing, place)}", RANK_LANDMARK, tuple(spots)))
    if drawn:
        labels.append(_named(panel, max(drawn, key=np.ptp)))
    return labels


def _on_panel(panel: Panel, head: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray] | None:
    """The part of a run that is on a panel: places across the sheet [pt], and values there."""
    if head.size < 2 or head[-1] <= panel.start or head[0] >= panel.end:
        return None
    ends = np.clip([head[0], head[-1]], panel.start, panel.end)
    inside = (head > ends[0]) & (head < ends[1])
    s = np.r_[ends[0], head[inside], ends[1]]
    first, last = np.interp(ends, head, values)
    return panel.x(s), np.r_[first, values[inside], last]


def _named(panel: Panel, line: FloatArray) -> Label:
    """ "by plan", where there is room over or under the line."""
    left, right = line[0, 0], line[-1, 0]
    spots = []
    for share in _NAMED_AT:
        x = left + share * (right - left)
        y = float(np.interp(x, line[:, 0], line[:, 1]))
        spots += [candidate("curve_number", "by plan", x, y + dy, "center") for dy in (-9.5, 4.5)]
    low = panel.rows["speed"].bottom
    return Label("by plan", RANK_STATION, tuple(spot for spot in spots if spot.box.bottom > low + 1.0))


def draw_brakes(sheet: Sheet, room: Room, panel: Panel, frame: Frame, briefing: Briefing) -> list[Label]:
    """How much of the dynamic brake is in use, upward and open; reductions as steps hanging down, as pressure falls."""
    row, journey, units = panel.rows["brakes"], briefing.journey, frame.units
    unit = pressure_text(0.0, units).rpartition(" ")[2]
    gutter(sheet, panel, "brakes", "Brakes", ["dynamic up, share", f"air down, {unit}"])
    height = row.top - row.bottom
    zero = row.bottom + (1 - _UP) * height
    up = _UP * height - _EDGE
    for share, words in ((1.0, "all"), (0.5, "½")):
        y = zero + share * up
        sheet.lines([[(panel.left, y), (panel.right, y)]], width=0.5, colour=HAIR, z=0.5)
        tick_figure(sheet, room, panel, y, words)
    tick_figure(sheet, room, panel, zero, "0")
    for run, used in _by_run(journey, journey.share):
        part = _on_panel(panel, run.head, used)
        if part is None:
            continue
        line = seen(part[0], zero + np.where(part[1] > _LEFT_OUT, part[1], 0.0) * up)
        sheet.areas([area(line, zero)], WHITE, edge=INK, width=0.7, z=2)
    baseline(sheet, panel, zero, 0.6)
    down = (zero - row.bottom - _EDGE) / max(float(journey.reduction.max()), 1.0)
    labels = []
    for step in steps_of(journey):
        on = panel.clipped(step.start, step.end)
        if on is None:
            continue
        left, right, low = float(panel.x(on[0])), float(panel.x(on[1])), zero - step.reduction * down
        sheet.areas([[(left, zero), (left, low), (right, low), (right, zero)]], WINDOW_FILL, edge=INK, width=0.6, z=2)
        room.take(Box(left, low, right, zero), "air")
        figure = pressure_text(step.reduction, units).rpartition(" ")[0]
        wide = extent(figure, BODY)[0]
        y = max(low + 2.0, (zero + low) / 2 - 2.4)
        spots = [candidate("speed", figure, right + 3, row.bottom + 1.0)]
        spots = [spot for spot in spots if spot.box.right <= panel.right]
        if wide + 3 < right - left:
            spots.insert(0, candidate("speed", figure, (left + right) / 2, y, "center", over={"air"}))
        labels.append(Label(f"air {figure} {unit}, {_where(briefing, step.start)}", RANK_STATION, tuple(spots)))
    return labels


def steps_of(journey: Journey) -> list[Step]:
    """Stretches of one reduction, in order of travel; none where there is no air on."""
    steps = []
    for run, asked in _by_run(journey, journey.reduction):
        edges = np.r_[0, np.flatnonzero(np.diff(asked)) + 1, asked.size - 1]
        for a, b in itertools.pairwise(edges.tolist()):
            if asked[a] > 0 and run.head[b] > run.head[a]:
                steps.append(Step(float(run.head[a]), float(run.head[b]), float(asked[a])))
    return steps


def _by_run(journey: Journey, values: FloatArray) -> Iterator[tuple[Run, FloatArray]]:
    """Every run of a journey with its part of values all along it."""
    first = 0
    for run in journey.runs:
        yield run, values[first : first + run.head.size]
        first += run.head.size


def _where(briefing: Briefing, place: float) -> str:
    """A place by distance travelled [m] as a post."""
    return wording.post_text(briefing.profile.route.posts, float(briefing.terrain.chainage(place)))
