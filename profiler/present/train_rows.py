"""Rows of a train on a strip chart: the grade under it, and what its couplers carry, by places of its head end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler import wording
from profiler.briefing.felt_words import handled
from profiler.briefing.plan import Briefing
from profiler.briefing.words import figure_of, has_knuckles, vehicle_words
from profiler.grade_classes import DOWN, UP
from profiler.mechanics.in_train import Extreme
from profiler.mechanics.pull import KNUCKLE_BREAKS
from profiler.present import train_signs as signs
from profiler.present.chart_blocks import blocks_of, outline
from profiler.present.chart_frame import Frame, Panel, area, cut, nice_step, seen
from profiler.present.chart_names import RANK_LANDMARK, baseline, candidate, gutter, tick_figure
from profiler.present.chart_rail import take_line
from profiler.present.labels import Box, Label, Room
from profiler.present.palette import BAND, HAIR, INK, MUTED, WHITE
from profiler.present.sheet import Sheet
from profiler.present.train_slack import SLACK_LANE, slack_of
from profiler.train_words import force_text
from profiler.units import PERCENT, PERMILLE, FloatArray

UNDER_SHARE, COUPLERS_SHARE = 1.05, 1.75
_LEAST_GRADE = 0.005
_NAMED = 10.0
"""Room for a figure above and below the line. [pt]"""
_SAME = 0.02
"""An extreme of a panel is named if it comes so close to that of the whole line."""


@dataclass(frozen=True)
class Scale:
    """Values up a row: points for one of the unit, and where nought is in the row. [pt]"""

    per_unit: float
    above_bottom: float

    def y(self, row_bottom: float, values: FloatArray | float) -> FloatArray:
        """Heights of values. [pt]"""
        return row_bottom + self.above_bottom + np.asarray(values, dtype=float) * self.per_unit


def _scale(low: float, high: float, height: float) -> Scale:
    per_unit = (height - 2 * _NAMED) / (high - low)
    return Scale(per_unit, _NAMED - low * per_unit)


def draw_under(sheet: Sheet, room: Room, panel: Panel, frame: Frame, briefing: Briefing) -> list[Label]:
    """Mass-weighted grade under the train at the place of its head, over its band; the rail's own grade behind it."""
    run, units, row = briefing.running, frame.units, panel.rows["under"]
    head, grade, half = run.pull.head, run.under.grade, 1.96 * run.grade_se
    rail = [block.run.grade for block in blocks_of(frame)] or [0.0]
    low, high = min(float((grade - half).min()), *rail, 0.0), max(float((grade + half).max()), *rail, 0.0)
    if high - low < _LEAST_GRADE:
        low, high = low - _LEAST_GRADE / 2, high + _LEAST_GRADE / 2
    scale = _scale(low, high, row.top - row.bottom)
    zero = float(scale.y(row.bottom, 0.0))
    typical = wording.grade_sure_words(float(np.median(run.grade_se)), units).removeprefix("sure to ")
    gutter(sheet, panel, "under", "Under", ["grade under", f"the train, {wording.grade_unit(units)}", typical])
    s, line = cut(panel.start, panel.end, head, grade)
    upper, lower = (cut(panel.start, panel.end, head, grade + sign * half)[1] for sign in (1, -1))
    x = panel.x(s)
    band = np.column_stack((np.r_[x, x[::-1]], scale.y(row.bottom, np.r_[upper, lower[::-1]])))
    sheet.areas([area(np.column_stack((x, scale.y(row.bottom, np.maximum(line, 0.0)))), zero)], UP[1], z=1)
    sheet.areas([area(np.column_stack((x, scale.y(row.bottom, np.minimum(line, 0.0)))), zero)], DOWN[1], z=1)
    sheet.areas([band], BAND, z=1.5, alpha=0.75)
    _rail_grade(sheet, panel, frame, scale)
    baseline(sheet, panel, zero, 0.6)
    drawn = seen(x, scale.y(row.bottom, line))
    sheet.lines([drawn], width=2.4, colour=WHITE, z=3.4)
    sheet.lines([drawn], width=1.1, z=3.5)
    _ticks(sheet, room, panel, "under", scale, PERCENT if units == "us" else PERMILLE, 9.0)
    labels = []
    for i, most in ((int(np.argmax(line)), float(grade.max())), (int(np.argmin(line)), float(grade.min()))):
        if abs(line[i] - most) > _SAME * abs(most) or not line[i]:
            continue
        up = line[i] > 0
        figure = wording.grade_figure(abs(float(line[i])), units, float(np.interp(s[i], head, run.grade_se)))
        y = float(scale.y(row.bottom, line[i])) + (3.0 if up else -8.6)
        words = f"{'↗' if up else '↘'}{figure}"
        spots = [candidate("number_outside", words, float(x[i]) + dx, y, "center") for dx in (0.0, -18.0, 18.0)]
        labels.append(Label(f"under the train {words}", RANK_LANDMARK, tuple(spots)))
    return labels


def _rail_grade(sheet: Sheet, panel: Panel, frame: Frame, scale: Scale) -> None:
    """The blocks of the Steps row once more, as one thin line."""
    blocks = blocks_of(frame)
    edges = [outline(blocks, i) for i in range(len(blocks))]
    if not edges:
        return
    places, grades = np.concatenate([e[0] for e in edges]), np.concatenate([e[1] for e in edges])
    inside = (places >= panel.start) & (places <= panel.end)
    first, last = np.interp([panel.start, panel.end], places, grades)
    s, g = np.r_[panel.start, places[inside], panel.end], np.r_[first, grades[inside], last]
    line = np.column_stack((panel.x(s), scale.y(panel.rows["under"].bottom, g)))
    sheet.lines([line], width=0.5, colour=MUTED, z=3.0)


def _ticks(sheet: Sheet, room: Room, panel: Panel, name: str, scale: Scale, unit: float, apart: float) -> None:
    """Figures of a scale in the margin, without sign, and hair lines."""
    row = panel.rows[name]
    step = nice_step(max(apart / scale.per_unit / unit, 1e-9))
    low, high = ((edge - scale.above_bottom) / scale.per_unit / unit for edge in (4.0, row.top - row.bottom - 4.0))
    for k in range(int(np.ceil(low / step)), int(np.floor(high / step)) + 1):
        y = float(scale.y(row.bottom, k * step * unit))
        if k:
            sheet.lines([[(panel.left, y), (panel.right, y)]], width=0.5, colour=HAIR, z=0.5)
        tick_figure(sheet, room, panel, y, f"{abs(k) * step:g}")


def near_breaking(briefing: Briefing) -> bool:
    """Whether drafts come so near to where a knuckle breaks that the row shows it."""
    highest = max(float(briefing.running.pull.needed.draft.max()), float(briefing.everywhere.draft.max()))
    return has_knuckles(briefing.train) and max(highest, briefing.train.limits.draft) > 0.75 * KNUCKLE_BREAKS


def felt_as_planned(briefing: Briefing) -> list[tuple[Extreme, bool]]:
    """Peaks felt at the marked places of the plan in the usual state of wear, each with whether it is a push."""
    shown = [one.shown.forces for one in handled(briefing.felt) if one.shown.event.way == "planned"]
    return [(most, push) for one in shown for most, push in ((one.draft, False), (one.buff, True)) if most.force > 0]


def _felt(sheet: Sheet, room: Room, panel: Panel, scale: Scale, felt: list[tuple[Extreme, bool]]) -> None:
    """Rings and dots where the head is as a peak is felt."""
    for most, push in felt:
        if panel.holds(most.head):
            y = scale.y(panel.rows["couplers"].bottom, -most.force if push else most.force)
            room.take(signs.felt(sheet, float(panel.x(most.head)), float(y), push=push))


def draw_couplers(sheet: Sheet, room: Room, panel: Panel, frame: Frame, briefing: Briefing) -> list[Label]:
    """Largest pull upward, open, and largest push downward, solid ink, under way; what a start would take, dashed."""
    units, row, train = frame.units, panel.rows["couplers"], briefing.train
    under_way, start = briefing.running.pull.needed, briefing.everywhere
    pushes, pushed = briefing.push
    limits = train.limits
    high = max(float(under_way.draft.max()), float(start.draft.max()), float(limits.draft)) * 1.04
    if near_breaking(briefing):
        high = max(high, KNUCKLE_BREAKS * 1.04)
    felt = felt_as_planned(briefing)
    high = max([high, *(1.04 * most.force for most, is_push in felt if not is_push)])
    push = float(pushes.max())
    deepest = max([push, *(1.04 * most.force for most, is_push in felt if is_push)])
    pressed = deepest > 0.5 * limits.buff
    low = -max(deepest, 1.04 * limits.buff if pressed else 0.0, 0.15 * high)
    scale = _scale(low, high, row.top - row.bottom - (SLACK_LANE if slack_of(briefing) else 0.0))
    zero = float(scale.y(row.bottom, 0.0))
    unit = force_text(0.0, units).rpartition(" ")[2]
    gutter(sheet, panel, "couplers", "Couplers", [f"{unit}, steady", "pull up, push", "down, by head"])
    s, draft = cut(panel.start, panel.end, under_way.head, under_way.draft)
    _, buff = cut(panel.start, panel.end, under_way.head, pushes)
    x = panel.x(s)
    sheet.areas([area(np.column_stack((x, scale.y(row.bottom, draft))), zero)], WHITE, edge=INK, width=0.7, z=2)
    sheet.areas([area(np.column_stack((x, scale.y(row.bottom, -buff))), zero)], INK, z=2)
    baseline(sheet, panel, zero, 0.6)
    at, starting = cut(panel.start, panel.end, start.head, start.draft)
    line = seen(panel.x(at), scale.y(row.bottom, starting))
    sheet.lines([line], z=3.4, **signs.LINES["start_pull"])
    take_line(room, line)
    lines = [("limit", float(limits.draft))]
    if limits.draft_caution < limits.draft:
        lines.insert(0, ("caution", float(limits.draft_caution)))
    if pressed:
        lines.append(("limit", -float(limits.buff)))
    if near_breaking(briefing):
        lines.append(("breaks", float(KNUCKLE_BREAKS)))
    _felt(sheet, room, panel, scale, felt)
    figures = [(zero, "0")]
    for kind, force in lines:
        y = float(scale.y(row.bottom, force))
        sheet.lines([[(panel.left, y), (panel.right, y)]], z=3.2, **signs.LINES[kind])
        room.take(Box(panel.left, y - 1, panel.right, y + 1))
        figures.append((y, f"{'≈' if kind == 'breaks' else ''}{figure_of(abs(force), units)}"))
    for y, figure in _apart(figures):
        tick_figure(sheet, room, panel, y, figure)
    labels = []
    extremes: tuple[tuple[str, FloatArray, FloatArray, float, FloatArray, FloatArray], ...] = (
        ("pull", s, draft, float(under_way.draft.max()), under_way.draft_at, under_way.head),
        ("to start", at, starting, float(start.draft.max()), start.draft_at, start.head),
        ("push", s, buff, push, pushed, under_way.head),
    )
    for name, places, values, most, vehicle, heads in extremes:
        i = int(np.argmax(values))
        if not most or values[i] < (1 - _SAME) * most:
            continue
        behind = vehicle_words(train, int(vehicle[int(np.argmin(np.abs(heads - places[i])))]))
        limit = limits.buff if name == "push" else limits.draft
        over = bool(values[i] > limit)
        words = f"{name} {figure_of(float(values[i]), units)}, {behind}"
        if over:
            words += f", {figure_of(float(values[i] - limit), units)} over"
        y = float(scale.y(row.bottom, -values[i] if name == "push" else values[i]))
        labels.append(_extreme(panel, words, float(panel.x(places[i])), y, name, over=over))
    return labels


def _apart(figures: list[tuple[float, str]], least: float = 8.0) -> list[tuple[float, str]]:
    """Figures of a margin moved up as far as it takes to read each of them."""
    moved: list[tuple[float, str]] = []
    for y, figure in sorted(figures):
        moved.append((max(y, moved[-1][0] + least) if moved else y, figure))
    return moved


def _extreme(panel: Panel, words: str, x: float, y: float, name: str, *, over: bool) -> Label:
    """The figure of an extreme: of a pull inside its shape if there is room, of a start above, of a push under it."""
    style = "force_over" if over else "force"
    rows = {"pull": (-11.0, -20.0, -29.0, 4.0), "to start": (4.0, 8.0), "push": (-9.5, -18.0)}[name]
    spots = [
        candidate(style, words, min(max(x + dx, panel.left + 2), panel.right - 2), y + dy, align)
        for dy in rows
        for align, dx in (("center", 0.0), ("right", -10.0), ("left", 10.0), ("right", -40.0), ("left", 40.0))
    ]
    return Label(words, RANK_LANDMARK, tuple(spots))
