"""The strip chart: one route drawn along its posts, as SVG and PNG."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from pathlib import Path

from profiler.grade_classes import Limits, class_limits
from profiler.landmark import Landmarks
from profiler.present.chart_blocks import blocks_of
from profiler.present.chart_brackets import brackets_of, ruling_grade
from profiler.present.chart_curves import draw_curves
from profiler.present.chart_frame import (
    GAP,
    GUTTER,
    ORDER,
    PANEL_GAP,
    RIGHT,
    SHARE,
    SHEET_HEIGHTS,
    Frame,
    Panel,
    frame_of,
)
from profiler.present.chart_key import NO_WORDS, Foot, Heading, Words, provenance, summary, title
from profiler.present.chart_names import set_label
from profiler.present.chart_rail import draw_rail
from profiler.present.chart_rows import draw_posts, draw_speed
from profiler.present.chart_steps import Steps, draw_steps, plan_steps
from profiler.present.labels import Box, Candidate, Label, Room, place
from profiler.present.sheet import Sheet
from profiler.profile import Profile
from profiler.route import DIRECTIONS
from profiler.units import PERCENT

_LEAST_BRACKET = 26.0
"""A bracket of which a sheet has no more than this stands on the sheet beside, but for ruling grades. [pt]"""
_ABOVE = 4.0
"""Paper over the first row of a sheet by itself. [pt]"""


@dataclass(frozen=True)
class Chart:
    """A drawn chart: the sheet, the labels as placed, and what found no room."""

    frame: Frame
    sheet: Sheet
    placed: tuple[tuple[Label, Candidate], ...]
    dropped: tuple[str, ...]
    words: Words = NO_WORDS

    @property
    def description(self) -> str:
        """What the chart shows, in words, for those who cannot see it."""
        return " ".join([*self.words.told, *summary(self.frame), *self.words.read, *provenance(self.frame)])


@dataclass(frozen=True)
class MoreRows:
    """Rows that a chart has besides those of the line, and what the sheet says of them.

    ``heights`` are theirs by name [pt]; ``draw`` draws them on a panel and hands back the names that want room there.
    ``fastest`` is the highest speed drawn besides limits [m/s].
    """

    heights: Mapping[str, float]
    words: Words
    draw: Callable[[Sheet, Room, Panel, Frame], list[Label]]
    fastest: float = 0.0


def draw_chart(
    profile: Profile,
    landmarks: Landmarks,
    *,
    svg: Path | None = None,
    png: Path | None = None,
    limits: Limits | None = None,
) -> tuple[str, ...]:
    """Draw the strip chart of a profile into the files asked for.

    Parameters
    ----------
    profile : Profile
        Drawn as travelled in the order of its chainage.
    landmarks : Landmarks
        Landmarks and grade runs of the same profile.
    svg, png : Path, optional
        Where to write; the same profile gives the same bytes.
    limits : four floats, optional
        Lower limits of grade classes 1 to 4 [m/m]; by default they follow the ruling grade.

    Returns
    -------
    tuple of str
        Labels for which the chart had no room; their signs are drawn, their figures are in the tables.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    chart = compose_chart(profile, landmarks, limits=limits)
    chart.sheet.write(f"Strip chart: {title(chart.frame)}", chart.description, svg=svg, png=png)
    return chart.dropped


def compose_chart(
    profile: Profile,
    landmarks: Landmarks,
    *,
    limits: Limits | None = None,
    scale: float | None = None,
    more: MoreRows | None = None,
) -> Chart:
    """Draw a chart on a sheet without writing it; ``scale`` overrides points a metre of line, ``more`` adds rows."""
    steepest = [mark.value * PERCENT for d in DIRECTIONS if (mark := ruling_grade(landmarks, d)) is not None]
    frame = frame_of(profile, landmarks, limits or class_limits(max(steepest, default=0.0)), scale)
    brackets, left_out = brackets_of(frame)
    steps = plan_steps(blocks_of(frame), brackets)
    heights = frame.row_heights({"steps": steps.extra}, more.heights if more else None)
    words = more.words if more else NO_WORDS
    width = GUTTER + frame.width + RIGHT
    heading, foot = Heading(frame, width, words), Foot(frame, width, words)
    panel_height = sum(heights.values()) + GAP * (len(heights) - 1)
    count = len(frame.panels_m)
    body = count * panel_height + (count - 1) * PANEL_GAP
    sheet = Sheet(width, heading.height + body + foot.height)
    heading.draw(sheet)
    foot.draw(sheet)
    placed: list[tuple[Label, Candidate]] = []
    dropped = list(left_out)
    for number in range(count):
        top = sheet.height - heading.height - number * (panel_height + PANEL_GAP)
        panel = frame.panel(number, top, heights)
        here, missing = _draw_panel(sheet, panel, frame, steps, more)
        placed += here
        dropped += missing
    return Chart(frame, sheet, tuple(placed), tuple(dropped), words)


def sheet_height(
    frame: Frame, number: int, names: Collection[str], heights: Mapping[str, float], *, ruling_only: bool = False
) -> float:
    """How high a sheet of `compose_sheet` is. [pt]"""
    return _laid_out(frame, number, names, heights, ruling_only=ruling_only)[2]


def compose_sheet(
    frame: Frame,
    number: int,
    names: Collection[str],
    heights: Mapping[str, float],
    more: MoreRows | None = None,
    *,
    ruling_only: bool = False,
) -> tuple[Chart, Panel]:
    """One panel of a frame on a sheet of its own, without title, key and foot, and where it lies there.

    ``names`` are its rows; ``heights`` those of rows that are not as in `SHEET_HEIGHTS` [pt]. All brackets over the
    grades, or those of ruling grades only.
    """
    steps, rows, height = _laid_out(frame, number, names, heights, ruling_only=ruling_only)
    # a sheet is read by itself: what began on the one before has its number here too
    panel = dataclasses.replace(frame.panel(number, height - _ABOVE, rows), number=0)
    sheet = Sheet(panel.right + RIGHT, height)
    placed, dropped = _draw_panel(sheet, panel, frame, steps, more)
    return Chart(frame, sheet, tuple(placed), dropped, more.words if more else NO_WORDS), panel


def _laid_out(
    frame: Frame, number: int, names: Collection[str], heights: Mapping[str, float], *, ruling_only: bool
) -> tuple[Steps, dict[str, float], float]:
    """Steps of one scale on all sheets with the brackets of this one, its rows, and its height. [pt]"""
    start, end = frame.panels_m[number]
    tall = {**SHEET_HEIGHTS, **heights}
    least = _LEAST_BRACKET / frame.scale
    seen = [
        x
        for x in brackets_of(frame)[0]
        if (overlap := min(x.end, end) - max(x.start, start)) > 0 and (x.heavy or (overlap > least and not ruling_only))
    ]
    lanes = {above: sorted({x.lane for x in seen if x.above == above}) for above in (True, False)}
    here = tuple(dataclasses.replace(x, lane=lanes[x.above].index(x.lane)) for x in seen)
    steps = plan_steps(blocks_of(frame), here, tall["steps"] / SHARE)
    tall["steps"] += steps.extra
    rows = {name: tall[name] for name in ORDER if name in names}
    return steps, rows, sum(rows.values()) + GAP * (len(rows) - 1) + _ABOVE


def _draw_panel(
    sheet: Sheet, panel: Panel, frame: Frame, steps: Steps, more: MoreRows | None
) -> tuple[list[tuple[Label, Candidate]], tuple[str, ...]]:
    room = Room(Box(panel.left - 14, panel.rows["foot"].bottom, panel.right + 14, panel.rows["posts"].top))
    labels = draw_posts(sheet, panel, frame.profile.route.posts)
    labels += draw_rail(sheet, room, panel, frame)
    labels += draw_steps(sheet, room, panel, frame, steps)
    if "curves" in panel.rows:
        labels += draw_curves(sheet, room, panel, frame)
    if "speed" in panel.rows:
        labels += draw_speed(sheet, room, panel, frame, more.fastest if more else 0.0)
    if more is not None:
        labels += more.draw(sheet, room, panel, frame)
    placed, dropped = place([label for label in labels if label.candidates], room)
    for _, chosen in placed:
        set_label(sheet, chosen)
    return placed, dropped
