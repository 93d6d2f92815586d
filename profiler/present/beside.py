"""Lines side by side as one picture: rail, grade blocks and curves over one axis, and a table of the figures."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from profiler import wording
from profiler.comparison.beside import Beside, Side
from profiler.comparison.words import invented_words
from profiler.grade_classes import Limits, class_limits
from profiler.present.beside_lines import STROKES, AxisPanel, Strand, draw_lines, stroke_sample
from profiler.present.beside_table import Table
from profiler.present.chart_blocks import blocks_of
from profiler.present.chart_curves import curve_unit_words, draw_bends
from profiler.present.chart_frame import (
    ABOVE,
    BELOW,
    GAP,
    GUTTER,
    LEAST_WIDTH,
    MOST_EXAGGERATED,
    RIGHT,
    SHARE,
    Frame,
    Panel,
    Row,
    one_sheet_scale,
    rows_under,
)
from profiler.present.chart_key import (
    FINE,
    LINE,
    MARGIN,
    SUMMARY,
    draw_classes,
    draw_heading,
    draw_last_lines,
    wrapped,
)
from profiler.present.chart_names import gutter, set_label
from profiler.present.chart_rows import draw_posts
from profiler.present.chart_steps import Steps, draw_blocks, plan_steps, steps_unit_words
from profiler.present.labels import Box, Candidate, Label, Room, place
from profiler.present.sheet import Sheet, plain
from profiler.present.typeface import TITLE
from profiler.units import PERCENT

_RAIL, _STEPS, _CURVES, _RULER, _FOOT = 2.6, 1.2, 0.72, 0.5, 0.34
"""Shares of the rows, as in the strip chart; Steps and Curves for every line."""

_UNEQUAL = 0.005
"""Posts and track of a line differ by this share of its length before the picture speaks of it."""


@dataclass(frozen=True)
class BesidePicture:
    """The drawn sheet, the labels as placed, and what found no room."""

    sheet: Sheet
    table: Table
    placed: tuple[tuple[Label, Candidate], ...]
    dropped: tuple[str, ...]
    sentences: tuple[str, ...]


def draw_beside(beside: Beside, *, svg: Path | None = None, png: Path | None = None) -> tuple[str, ...]:
    """Draw lines side by side into the files asked for.

    Returns
    -------
    tuple of str
        Labels for which there was no room; their figures are in the tables.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    picture = compose_beside(beside)
    rows = ("; ".join(filter(None, row)) for row in picture.table.words)
    about = " ".join([*picture.sentences, ". ".join(rows)])
    picture.sheet.write(f"Side by side: {title(beside)}", about, svg=svg, png=png)
    return picture.dropped


def title(beside: Beside) -> str:
    """The names of all lines, each with its letter."""
    return " · ".join(f"{side.letter} {plain(side.name)}" for side in beside.sides)


def compose_beside(beside: Beside) -> BesidePicture:
    """Draw on a sheet without writing it."""
    table = Table(beside)
    scale = _scale(beside, table.width)
    across = (beside.end - beside.start) * scale
    width = GUTTER + across + RIGHT
    heading = wrapped([title(beside)], TITLE, width - 2 * MARGIN)
    told = wrapped(_summary(beside), SUMMARY, width - 2 * MARGIN)
    small = wrapped(_reading(beside), FINE, width - 2 * MARGIN)
    foot = wrapped([wording.CAUTION], FINE, width - 2 * MARGIN)
    heights = _row_heights(beside)
    head_height = MARGIN + 17.0 * len(heading) + LINE * (len(told) + len(small)) + 16.0 + 10.0
    body = sum(heights.values()) + GAP * (len(heights) - 1)
    foot_height = MARGIN + LINE * len(foot) + 42.0
    sheet = Sheet(width, head_height + body + 14.0 + table.height + 16.0 + foot_height)
    y = draw_heading(sheet, heading, told, small)
    _key(sheet, beside, y - 18.0)
    rows = rows_under(sheet.height - head_height, heights)
    placed, dropped = _draw_rows(sheet, beside, scale, rows)
    table.draw(sheet, MARGIN, rows["foot"].bottom - 14.0)
    _draw_foot(sheet, foot, foot_height, _limits(beside), beside.units)
    return BesidePicture(sheet, table, placed, dropped, (*_summary(beside), *_reading(beside), wording.CAUTION))


def _scale(beside: Beside, table_width: float) -> float:
    """Points a metre of the axis: as on a strip chart, but all on one sheet, and no narrower than the table."""
    least = max(LEAST_WIDTH, table_width + 2 * MARGIN - GUTTER - RIGHT)
    return one_sheet_scale(beside.end - beside.start, beside.units, least)


def _row_heights(beside: Beside) -> dict[str, float]:
    letters = [side.letter for side in beside.sides]
    shares = {"posts": _RULER, "rail": _RAIL} | {f"steps {x}": _STEPS for x in letters}
    if any(side.profile.route.curves for side in beside.sides):
        shares |= {f"curves {x}": _CURVES for x in letters}
    return {name: share * SHARE for name, share in (shares | {"foot": _FOOT}).items()}


def _limits(beside: Beside) -> Limits:
    """Grade classes that suit the steepest of the lines."""
    ruling = [f.value or 0.0 for side in beside.sides for f in side.figures if f.key == "ruling_grade"]
    return class_limits(max(ruling, default=0.0) * PERCENT)


def _draw_rows(
    sheet: Sheet, beside: Beside, scale: float, rows: Mapping[str, Row]
) -> tuple[tuple[tuple[Label, Candidate], ...], tuple[str, ...]]:
    strands = _strands(beside, scale, rows)
    first = strands[0].panel
    ruler = Panel(0, beside.start, beside.end, GUTTER, scale, first.height, first.base, rows)
    room = Room(Box(first.left - 14, rows["foot"].bottom, first.right + 14, rows["posts"].top))
    frame = strands[0].frame
    lines = [f"elevation, {wording.elevation_unit(beside.units)}", f"height ×{wording.number(frame.exaggeration)}"]
    gutter(sheet, ruler, "rail", "Rail", lines)
    labels = draw_posts(sheet, ruler, beside.axis, ("of all lines",) if beside.by_posts else ())
    labels += draw_lines(sheet, room, strands)
    steps = _common_steps(strands)
    tightest = max((abs(c.curvature) for side in beside.sides for c in side.profile.route.curves), default=0.0)
    for strand, plan in zip(strands, steps, strict=True):
        letter, panel = strand.side.letter, strand.panel
        _ends(sheet, panel, rows[f"steps {letter}"], plan)
        own = dataclasses.replace(panel, rows={**rows, "steps": rows[f"steps {letter}"]})
        gutter(sheet, own, "steps", f"Steps {letter}", [steps_unit_words(strand.frame)])
        labels += draw_blocks(sheet, room, own, strand.frame, plan)
        if f"curves {letter}" in rows:
            own = dataclasses.replace(panel, rows={**rows, "curves": rows[f"curves {letter}"]})
            gutter(sheet, own, "curves", f"Curves {letter}", [curve_unit_words(beside.units), "left up"])
            labels += draw_bends(sheet, room, own, strand.frame, tightest)
    placed, dropped = place([label for label in labels if label.candidates], room)
    for _, chosen in placed:
        set_label(sheet, chosen)
    return tuple(placed), dropped


def _strands(beside: Beside, scale: float, rows: Mapping[str, Row]) -> list[Strand]:
    """Every line with the scales that all share."""
    low = min(float(side.profile.elevation.min()) for side in beside.sides)
    high = max(float(side.profile.elevation.max()) for side in beside.sides)
    row = (rows["rail"].top - rows["rail"].bottom) / (1 + BELOW + ABOVE)
    height = min(row / (high - low) if high > low else math.inf, MOST_EXAGGERATED * scale)
    base = low - BELOW * row / height
    limits, across = _limits(beside), (beside.end - beside.start) * scale
    strands = []
    for side, stroke in zip(beside.sides, STROKES, strict=False):
        s = side.profile.chainage
        ends = (float(s[0]), float(s[-1]))
        frame = Frame(side.profile, side.landmarks, limits, scale, height, (ends,))
        panel = AxisPanel(0, *ends, GUTTER, scale, height, base, rows, s, side.places, beside.start, across)
        strands.append(Strand(side, frame, panel, stroke))
    return strands


def _ends(sheet: Sheet, panel: AxisPanel, row: Row, steps: Steps) -> None:
    """Upright strokes through the zero line where a line begins or ends within the picture."""
    own = dataclasses.replace(panel, rows={"steps": row})
    zero = steps.zero(own)
    within = (
        x for x in (float(panel.x(panel.start)), float(panel.x(panel.end))) if panel.left + 1 < x < panel.right - 1
    )
    sheet.lines([[(x, zero - 9.0), (x, zero + 9.0)] for x in within], width=1.5, z=5)


def _common_steps(strands: list[Strand]) -> list[Steps]:
    """Blocks of every line at one scale of grade; no edge is tied up to a rail that others lie between."""
    blocks = [tuple(dataclasses.replace(b, end_sure=False) for b in blocks_of(s.frame)) for s in strands]
    plan = plan_steps(tuple(itertools.chain.from_iterable(blocks)), (), _STEPS)
    return [dataclasses.replace(plan, blocks=own) for own in blocks]


def _key(sheet: Sheet, beside: Beside, y: float) -> None:
    x = MARGIN
    for side, stroke in zip(beside.sides, STROKES, strict=False):
        stroke_sample(sheet, stroke, x, y + 2.4)
        words = f"{side.letter}, {stroke.words}"
        sheet.text(x + 45.0, y, words, FINE)
        x += 130.0


def _draw_foot(sheet: Sheet, lines: list[str], height: float, limits: Limits, units: str) -> None:
    draw_classes(sheet, MARGIN, height - 24.0, limits, units)
    draw_last_lines(sheet, lines)


def _summary(beside: Beside) -> list[str]:
    """What lies beside what, and over which axis."""
    first, units = beside.sides[0], beside.units
    travel = plain(wording.travel_words(first.profile.route))
    lengths = ", ".join(f"{s.letter} {wording.distance_text(s.profile.route.length, units, 2)}" for s in beside.sides)
    axis = "over the posts that all share" if beside.by_posts else "over the distance from each line's start"
    return [f"Drawn {axis}, as travelled {travel}.", f"Length: {lengths}.", *_stretched(beside)]


def _stretched(beside: Beside) -> list[str]:
    """Where a mile of posts is not a mile of track, the drawn slopes are not comparable by eye."""
    if not beside.by_posts:
        return []
    unequal = [(side, _track_per_post(side)) for side in beside.sides]
    told = [f"{s.letter} {wording.number(ratio, 3)}" for s, ratio in unequal if abs(ratio - 1) > _UNEQUAL]
    unit = "mile" if beside.axis.unit == "mi" else "kilometre"
    return [f"Track in a {unit} of posts, on average: {', '.join(told)} {unit}s."] if told else []


def _track_per_post(side: Side) -> float:
    return side.profile.route.length / float(side.places[-1] - side.places[0])


def _reading(beside: Beside) -> list[str]:
    """How to read it, and what was done to make the lines comparable."""
    first = beside.sides[0]
    invented = invented_words(beside.invented, len(beside.sides))
    sentences = [invented] if invented else []
    for side in beside.sides:
        reach = 1.96 * float(np.median(side.profile.elevation_se))
        half = wording.elevation_text(reach, beside.units, 0 if reach > 5 else 1)
        sentences.append(f"{side.letter}: {wording.datum_words(plain(side.profile.vertical_datum))}, sure to ±{half}.")
    owed = (wording.credit_words(side.profile.attribution, side.profile.licence) for side in beside.sides)
    sentences += dict.fromkeys(plain(credit) for credit in owed if credit)
    sentences.append("Bands: where the rail may lie (95 %). Blocks: grade, climbs above, falls below.")
    sentences.append("Bars across an edge: where it may lie (95 %). Heavy upright: a line begins or ends.")
    sentences.append(f"A difference from {first.letter} is clear where its 95 % interval leaves out nought.")
    return sentences + [f"{plain(said[0].upper() + said[1:])}." for said in beside.remarks]
