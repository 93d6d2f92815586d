"""The Steps row: one block per stretch of grade, hung from a zero line, climbs above and falls below."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from profiler import wording
from profiler.grade_classes import grade_class, grade_colour
from profiler.present import signs
from profiler.present.chart_blocks import Block, outline, unsure
from profiler.present.chart_brackets import LANE, Bracket
from profiler.present.chart_frame import SHARE, Frame, Panel, cut, nice_step
from profiler.present.chart_names import (
    LETTERING,
    RANK_BLOCK,
    RANK_BRACKET,
    RANK_GENTLE,
    RANK_LANDMARK,
    baseline,
    candidate,
    gutter,
    tick_figure,
)
from profiler.present.ink import Points
from profiler.present.labels import Box, Candidate, Label, Room
from profiler.present.palette import GROUND_EDGE, HAIR, INK, text_colour
from profiler.present.sheet import Sheet
from profiler.present.typeface import extent, text_box
from profiler.units import PERCENT, PERMILLE, FloatArray

_FRINGE = 6.0
_STROKE_STEP = {1: 14.0, 2: 9.0, 3: 6.0, 4: 4.0}
_LEAST_SIDE = 13.0
_LEAST_GRADE = 0.005
_SLIVER, _NAMED_TWICE = 40.0, 120.0


@dataclass(frozen=True)
class Steps:
    """Scale of the row, the same in all panels.

    ``grade`` is points per m/m; ``up`` and ``down`` are points kept for the ``blocks`` over and
    under the zero line; ``brackets`` are drawn beyond them.
    """

    blocks: tuple[Block, ...]
    grade: float
    up: float
    down: float
    brackets: tuple[Bracket, ...]

    @property
    def lanes(self) -> tuple[int, int]:
        """How many lanes of brackets there are above and below."""
        above = [b.lane + 1 for b in self.brackets if b.above]
        below = [b.lane + 1 for b in self.brackets if not b.above]
        return max(above, default=0), max(below, default=0)

    @property
    def extra(self) -> float:
        """Height of the lanes. [pt]"""
        return LANE * sum(self.lanes)

    def zero(self, panel: Panel) -> float:
        """The zero line. [pt]"""
        return panel.rows["steps"].top - LANE * self.lanes[0] - _FRINGE - self.up


def plan_steps(blocks: tuple[Block, ...], brackets: tuple[Bracket, ...], share_of_row: float = 1.9) -> Steps:
    """Fit the steepest grades up and down into a row, of which the chart gives ``share_of_row``."""
    grades = [block.run.grade for block in blocks] or [0.0]
    up, down = max(0.0, *grades), max(0.0, *(-g for g in grades))
    height = share_of_row * SHARE - 2 * _FRINGE
    if up + down < _LEAST_GRADE:
        up = down = max(up, down, _LEAST_GRADE / 2)
    share = min(max(up / (up + down), _LEAST_SIDE / height), 1 - _LEAST_SIDE / height)
    scale = min(height * s / g for s, g in ((share, up), (1 - share, down)) if g > 0)
    return Steps(blocks, scale, height * share, height * (1 - share), brackets)


def draw_steps(sheet: Sheet, room: Room, panel: Panel, frame: Frame, steps: Steps) -> list[Label]:
    """Draw the row and hand back the figures that want room in it."""
    gutter(sheet, panel, "steps", "Steps", [steps_unit_words(frame), "climbs above,", "falls below"])
    return draw_blocks(sheet, room, panel, frame, steps)


def steps_unit_words(frame: Frame) -> str:
    """What the blocks are and in which unit: "grade runs, ‰"."""
    return f"{'grade' if frame.profile.pvis else 'grade runs'}, {wording.grade_unit(frame.units)}"


def draw_blocks(sheet: Sheet, room: Room, panel: Panel, frame: Frame, steps: Steps) -> list[Label]:
    """Blocks, brackets, scale and edges, without the words in the gutter."""
    zero = steps.zero(panel)
    baseline(sheet, panel, zero)
    _ticks(sheet, room, panel, frame, steps)
    labels = [b for bracket in steps.brackets for b in _bracket(sheet, room, panel, steps, bracket)]
    _edges(sheet, room, panel, frame, steps)
    strokes: list[Points] = []
    for i, block in enumerate(steps.blocks):
        run, edge = block.run, outline(steps.blocks, i)
        part = panel.clipped(edge[0][0], edge[0][-1])
        if part is None:
            continue
        ends = (float(panel.x(part[0])), float(panel.x(part[1])))
        places, grades = cut(*part, *edge)
        label = _block(
            sheet, room, frame, steps, block, _Edge(zero, panel.x(places), zero + grades * steps.grade), strokes
        )
        # A sliver left over by the cut between panels is named on the other side of it.
        if panel.holds((run.start + run.end) / 2) or ends[1] - ends[0] > _SLIVER:
            labels.append(label)
    sheet.lines(strokes, width=0.6, z=3)
    return labels


@dataclass(frozen=True, eq=False)
class _Edge:
    """Free edge of a block: points (m,) ``x``, ``y``, and the zero line it hangs from. [pt]"""

    zero: float
    x: FloatArray
    y: FloatArray


def _block(
    sheet: Sheet,
    room: Room,
    frame: Frame,
    steps: Steps,
    block: Block,
    shape: _Edge,
    strokes: list[Points],
) -> Label:
    """Draw one block along its free edge, add its strokes, and hand back its figure."""
    run, zero = block.run, shape.zero
    x0, x1 = float(shape.x[0]), float(shape.x[-1])
    shade = int(grade_class(run.grade, frame.limits))
    where = wording.stretch_words(frame.profile.route.posts, run.start, run.end)
    if shade == 0:
        sheet.lines([[(x0, zero + 1.6), (x1, zero + 1.6)]], width=0.6, z=4)
        level = candidate("number_outside", "level", (x0 + x1) / 2, zero + 4.6, "center")
        return Label(f"level, {where}", RANK_GENTLE, (level,))
    edge, rising = zero + run.grade * steps.grade, run.grade > 0
    fill = grade_colour(run.grade, frame.limits)
    sheet.areas([[(x0, zero), *zip(shape.x, shape.y, strict=True), (x1, zero)]], fill, edge=INK, width=0.5, z=3)
    flat = shape.x[np.isclose(shape.y, edge)]
    if flat.size:  # a panel may hold no more of a block than its curve
        strokes += signs.slope_strokes(float(flat[0]), float(flat[-1]), edge, rising, _STROKE_STEP[shade])
    owner, fringe = f"block {run.start:.1f}", edge + (5.4 if rising else -5.4)
    room.take(Box(x0, min(zero, fringe), x1, max(zero, fringe)), owner)
    box = Box(x0, min(zero, edge), x1, max(zero, edge))
    figure = wording.grade_figure(abs(run.grade), frame.units, run.grade_se)
    number = f"{'↗' if rising else '↘'}{figure}"
    length = wording.distance_text(run.end - run.start, frame.units)
    style = "number_white" if text_colour(fill) != INK else "number"
    choices = _inside(box, style, number, length, owner) + _outside(box, rising, number, length)
    return Label(f"{number}, {where}", RANK_GENTLE if shade == 1 else RANK_BLOCK, tuple(choices))


def _inside(block: Box, style: str, number: str, length: str, owner: str) -> list[Candidate]:
    """The number with its length under it, beside it, or alone, wherever the block has room."""
    width, height = block.right - block.left - 4, block.top - block.bottom
    middle = (block.bottom + block.top) / 2
    choices = []
    for words, least in (
        (f"{number}\n{length}", 25.0),
        (f"{number}  {length}", 10.5),
        (number, 10.5),
        (number[1:], 10.5),
    ):
        if height < least or extent(words.partition("\n")[0], LETTERING[style].type)[0] > width:
            continue
        y = middle + (1.6 if "\n" in words else -3.0)
        for x in (0.5, 0.35, 0.65, 0.22, 0.78):
            choice = candidate(style, words, block.left + x * (block.right - block.left), y, "center", over=(owner,))
            if choice.box.left > block.left + 1.5 and choice.box.right < block.right - 1.5:
                choices.append(choice)
    return choices


def _outside(block: Box, rising: bool, number: str, length: str) -> list[Candidate]:
    """Across the zero line, where the paper is always white; else beyond the strokes."""
    width, x = block.right - block.left, (block.left + block.right) / 2
    across = block.bottom - 10.0 if rising else block.top + 4.0
    beyond = block.top + 9.5 if rising else block.bottom - 15.5
    choices = []
    for y in (across, beyond):
        for text in (f"{number}  {length}", number):
            spare = (width - extent(text, LETTERING["number_outside"].type)[0]) / 2
            if spare < 0 and text != number:
                continue
            shifts = (0.0, -spare, spare) if spare > 0 else (0.0,)
            choices += [candidate("number_outside", text, x + shift, y, "center") for shift in shifts]
    return choices


def _edges(sheet: Sheet, room: Room, panel: Panel, frame: Frame, steps: Steps) -> None:
    """Unsure edges get a capped bar, sure ones are tied up to the rail."""
    zero = steps.zero(panel)
    ties: list[Points] = []
    for block, following in itertools.pairwise(steps.blocks):
        first, second = block.run, following.run
        if not panel.start < first.end < panel.end:
            continue
        x, se = float(panel.x(first.end)), first.end_se * panel.scale
        if unsure(block, frame):
            y = zero + (first.grade + second.grade) / 2 * steps.grade
            left, right = max(x - 1.96 * se, panel.left), min(x + 1.96 * se, panel.right)
            room.take(signs.unsure_edge(sheet, left, right, y))
        elif block.end_sure:
            top = (first.grade + second.grade) / 2 if block.end_curve else max(first.grade, second.grade)
            edge = zero + max(0.0, top) * steps.grade
            rail = float(panel.y(np.interp(first.end, frame.profile.chainage, frame.profile.elevation)))
            ties.append([(x, edge), (x, rail)])
    sheet.lines(ties, width=0.5, colour=INK, z=2.2, dash=(1.0, 2.2))


def _bracket(sheet: Sheet, room: Room, panel: Panel, steps: Steps, item: Bracket) -> list[Label]:
    part = panel.clipped(item.start, item.end)
    if part is None:
        return []
    zero = steps.zero(panel)
    if item.above:
        y = zero + steps.up + _FRINGE + 3.5 + item.lane * LANE
        text_y = y + 3.4
    else:
        y = zero - steps.down - _FRINGE - 3.5 - item.lane * LANE
        text_y = y - 8.6
    x0, x1 = float(panel.x(part[0])), float(panel.x(part[1]))
    owner = f"bracket {item.words[0]}"
    room.take(signs.bracket(sheet, x0, x1, y, above=item.above, heavy=item.heavy), owner)
    if not panel.holds((item.start + item.end) / 2) and x1 - x0 < _NAMED_TWICE:
        return []
    style = "ruling" if item.heavy else "bracket"
    choices = [c for words in item.words for c in _over(panel, style, words, (x0, x1), text_y, owner)]
    return [Label(item.words[0], RANK_LANDMARK if item.heavy else RANK_BRACKET, tuple(choices))]


def _over(panel: Panel, style: str, words: str, ends: tuple[float, float], y: float, owner: str) -> list[Candidate]:
    """Centred on the bracket, from its left end, up to its right end; pushed inside the panel."""
    choices = []
    for align, x in (("center", sum(ends) / 2), ("left", ends[0]), ("right", ends[1])):
        box = text_box(words, LETTERING[style].type, x, y, align)
        push = max(0.0, panel.left - box.left) - max(0.0, box.right - panel.right)
        choices.append(candidate(style, words, x + push, y, align, over=(owner,)))
    return choices


def _ticks(sheet: Sheet, room: Room, panel: Panel, frame: Frame, steps: Steps) -> None:
    unit = PERCENT if frame.units == "us" else PERMILLE
    step = nice_step(max(10.0 / steps.grade / unit, 0.05), (1, 2, 5))
    zero = steps.zero(panel)
    for k in range(-int(steps.down / steps.grade / unit / step), int(steps.up / steps.grade / unit / step) + 1):
        y = zero + k * step * unit * steps.grade
        if k:
            sheet.lines([[(panel.left, y), (panel.right, y)]], width=0.5, colour=HAIR, z=0.5)
        tick_figure(sheet, room, panel, y, f"{abs(k) * step:g}")
    sheet.lines([[(panel.right, zero), (panel.right + 4, zero)]], width=0.5, colour=GROUND_EDGE, z=3)
