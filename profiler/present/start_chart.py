"""Starts in time: what holds the train and what pulls it, and how it moves, for every stop and the hardest places."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from pathlib import Path

import numpy as np

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.briefing.sequence_words import act_words, place_title, sequence_sentences
from profiler.briefing.words import NO_ORDER
from profiler.handling.start import StartSequence
from profiler.present.chart_frame import GUTTER, RIGHT, Panel, nice_step, rows_under, seen
from profiler.present.chart_key import FINE, MARGIN, SUMMARY, draw_heading, draw_last_lines, wrapped
from profiler.present.chart_names import baseline, candidate, gutter, set_label, tick_figure
from profiler.present.labels import Box, Label, Room, place
from profiler.present.palette import GROUND, HAIR, INK, WHITE, WINDOW_FILL
from profiler.present.sheet import BODY, ROW, TITLE, Sheet, plain
from profiler.units import FOOT, KIP, FloatArray

_WIDTH = 560.0
_HEIGHTS = {"acts": 74.0, "holding": 74.0, "moved": 64.0, "time": 20.0}
_TIERS, _TIER = 7, 10.0
_AFTER, _LONGEST, _STUCK = 25.0, 300.0, 120.0
"""A start is shown so long after the train is under way, at most so long, and so long where it never is. [s]"""
_MOST_CLIMBS = 5
_TOGETHER = 0.5
"""Acts so close together are one moment. [s]"""
_LINE = 11.5


@dataclass(frozen=True, eq=False)
class _Run:
    """A start as drawn: its panel, and the step of its time [s] up to which it is shown."""

    sequence: StartSequence
    title: str
    words: list[str]
    last: int

    @property
    def height(self) -> float:
        return sum(_HEIGHTS.values()) + 9.0 * (len(_HEIGHTS) - 1) + 22.0 + _LINE * len(self.words) + 18.0


def draw_starts(briefing: Briefing, *, svg: Path | None = None, png: Path | None = None) -> tuple[str, ...]:
    """Draw how the train starts at every planned stop and at the hardest place of each climb.

    Parameters
    ----------
    briefing : Briefing
        One with at least one sequence.
    svg, png : Path, optional
        Where to write; the same briefing gives the same bytes.

    Returns
    -------
    tuple of str
        Words for which there was no room.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    sheet, description, dropped = compose_starts(briefing)
    sheet.write(_title(briefing), description, svg=svg, png=png)
    return dropped


def compose_starts(briefing: Briefing) -> tuple[Sheet, str, tuple[str, ...]]:
    """The sheet, what it says in words, and what found no room."""
    width = GUTTER + _WIDTH + RIGHT
    inside = width - 2 * MARGIN
    shown = _hardest(briefing)
    runs = [_run(briefing, i, sequence, inside) for i, sequence in shown]
    left_out = len(briefing.sequences) - len(shown)
    heading = wrapped([_title(briefing)], TITLE, inside)
    told = wrapped(
        [
            "Estimated starts from the release of the air, in seconds. All cars start at once, slack stretched.",
            "Releases, charging, notch steps and the independent brake stand on choices without a source.",
            *([f"Easier climbs, {left_out} of them, are in starting_sequence.csv only."] if left_out else []),
        ],
        FINE,
        inside,
    )
    last = wrapped([NO_ORDER, wording.CAUTION_SHORT], FINE, inside)
    top = MARGIN + 17.0 * len(heading) + _LINE * len(told) + 14.0
    sheet = Sheet(width, top + sum(run.height for run in runs) + MARGIN + _LINE * len(last))
    y = draw_heading(sheet, heading, [], told) - 14.0
    dropped: list[str] = []
    for run in runs:
        dropped += _draw(sheet, briefing, run, y)
        y -= run.height
    draw_last_lines(sheet, last)
    said = " ".join(f"{run.title}: {' '.join(run.words)}" for run in runs)
    return sheet, said, tuple(dropped)


def _hardest(briefing: Briefing) -> list[tuple[int, StartSequence]]:
    """Stops, and as many of the hardest climbs as a sheet holds, in order of travel."""
    stops = {i for i, _ in briefing.sequences if briefing.places[i].kind == "stop"}
    climbs = sorted((i for i, _ in briefing.sequences if i not in stops), key=lambda i: -briefing.at_places.need[i])
    drawn = stops | set(climbs[:_MOST_CLIMBS])
    return [(i, sequence) for i, sequence in briefing.sequences if i in drawn]


def _title(briefing: Briefing) -> str:
    return plain(f"Starting: {briefing.train.name}, {wording.towards(briefing.profile.route, briefing.direction)}")


def _run(briefing: Briefing, at: int, sequence: StartSequence, width: float) -> _Run:
    run = sequence.run
    shown = min(run.under_way + _AFTER, _LONGEST) if np.isfinite(run.under_way) else _STUCK
    words = [
        line for said in sequence_sentences(briefing, at, sequence) for line in wrapped([plain(said)], SUMMARY, width)
    ]
    last = min(int(np.searchsorted(run.time, shown)) + 1, run.time.size)
    return _Run(sequence, plain(place_title(briefing, briefing.places[at])), words, last)


def _draw(sheet: Sheet, briefing: Briefing, shown: _Run, top: float) -> tuple[str, ...]:
    units, run, part = briefing.profile.units, shown.sequence.run, slice(0, shown.last)
    sheet.text(MARGIN, top - 12.0, shown.title, ROW)
    y = top - 16.0
    for line in shown.words:
        y -= _LINE
        sheet.text(MARGIN, y, line, SUMMARY)
    time = run.time[part]
    end = float(time[-1])
    panel = Panel(0, 0.0, end, GUTTER, _WIDTH / end, 1.0, 0.0, rows_under(y - 8.0, _HEIGHTS))
    room = Room(Box(MARGIN, panel.rows["time"].bottom - 2, panel.right + RIGHT, panel.rows["acts"].top + 2))
    x = panel.x(time)
    force, name = (KIP, "kips") if units == "us" else (1000.0, "kN")
    length, unit = (FOOT, "ft") if units == "us" else (1.0, "m")
    gutter(sheet, panel, "acts", "Acts")
    gutter(sheet, panel, "holding", "Holding", [f"{name}: brakes", "grey, pull line"])
    gutter(sheet, panel, "moved", "Moved", [f"{unit}, ahead up"])
    _time_axis(sheet, room, panel)
    _forces(sheet, room, panel, shown, x, force)
    _moved(sheet, room, panel, run.moved[part], x, length)
    return _acts(sheet, room, panel, shown, end)


def _time_axis(sheet: Sheet, room: Room, panel: Panel) -> None:
    row = panel.rows["time"]
    baseline(sheet, panel, row.top, 0.8)
    step = nice_step(36.0 / panel.scale, (1, 2, 3, 5))
    for k in range(int(panel.end / step) + 1):
        x = float(panel.x(k * step))
        sheet.lines([[(x, row.top), (x, row.top - 4)]], width=0.8, z=4)
        sheet.lines([[(x, row.top), (x, panel.rows["holding"].top)]], width=0.5, colour=HAIR, z=0.5)
        sheet.text(x, row.top - 12.0, f"{k * step:g}{' s' if k == 0 else ''}", BODY, align="center")
    room.take(Box(panel.left - 10, row.bottom, panel.right + 10, row.top))


def _forces(sheet: Sheet, room: Room, panel: Panel, shown: _Run, x: FloatArray, unit: float) -> None:
    """Brakes of cars and independent as areas on each other, the effort as a line, what rolls back dashed."""
    run, part, row = shown.sequence.run, slice(0, shown.last), panel.rows["holding"]
    air, both = run.air[part], run.air[part] + run.independent[part]
    effort, need = run.effort[part], shown.sequence.slack.stretched
    scale = (row.top - row.bottom - 4) / max(float(both.max()), float(effort.max()), need)
    y = [row.bottom + values * scale for values in (np.zeros(x.size), air, both)]
    for low, high, fill in ((y[0], y[1], GROUND), (y[1], y[2], WINDOW_FILL)):
        sheet.areas([np.column_stack((np.r_[x, x[::-1]], np.r_[high, low[::-1]]))], fill, edge=INK, width=0.5, z=2)
    pull = np.column_stack((x, row.bottom + effort * scale))
    sheet.lines([pull], width=3.0, colour=WHITE, z=3.4)
    sheet.lines([pull], width=1.5, z=3.5)
    starts = row.bottom + need * scale
    sheet.lines([[(panel.left, starts), (panel.right, starts)]], width=0.8, z=3, dash=(6.0, 3.0))
    tick_figure(sheet, room, panel, starts, f"{need / unit:,.0f}")
    tick_figure(sheet, room, panel, row.bottom, "0")
    baseline(sheet, panel, row.bottom, 0.6)
    for words, height, align, place_x in (
        ("starts it", starts + 2.5, "right", panel.right - 3),
        ("cars", row.bottom + 4.0, "left", panel.left + 4),
    ):
        sheet.text(place_x, height, words, BODY, align=align, halo=True)
    middle = row.bottom + (float(air[0]) + float(both[0])) / 2 * scale - 2.4
    if (float(both[0]) - float(air[0])) * scale > 9:
        sheet.text(panel.left + 4, middle, "independent", BODY, halo=True)


def _moved(sheet: Sheet, room: Room, panel: Panel, moved: FloatArray, x: FloatArray, unit: float) -> None:
    row = panel.rows["moved"]
    low, high = min(float(moved.min()), 0.0), max(float(moved.max()), 1.0)
    scale = (row.top - row.bottom - 6) / (high - low)
    zero = row.bottom + 3 - low * scale
    line = seen(x, zero + moved * scale)
    sheet.lines([line], width=3.0, colour=WHITE, z=3.4)
    sheet.lines([line], width=1.5, z=3.5)
    baseline(sheet, panel, zero, 0.6)
    step = nice_step(12.0 / scale / unit)
    for k in range(int(np.ceil(low / unit / step)), int(np.floor(high / unit / step)) + 1):
        y = zero + k * step * unit * scale
        if k:
            sheet.lines([[(panel.left, y), (panel.right, y)]], width=0.5, colour=HAIR, z=0.5)
        tick_figure(sheet, room, panel, y, wording.number(k * step))


def _acts(sheet: Sheet, room: Room, panel: Panel, shown: _Run, end: float) -> tuple[str, ...]:
    """Acts as words on stems down to the time axis, those of one moment together."""
    row, labels = panel.rows["acts"], []
    moments: dict[float, list[str]] = {}
    for act in shown.sequence.acts:
        words = act_words(act)
        if words and act.time <= end:
            near = next((time for time in moments if act.time - time < _TOGETHER), act.time)
            moments.setdefault(near, []).append(words)
    foot = panel.rows["time"].top
    for time, said in moments.items():
        x, text = float(panel.x(time)), ", ".join(said)
        sheet.lines([[(x, foot), (x, row.bottom - 3)]], width=0.5, z=2.6, dash=(1.0, 2.2))
        spots = []
        for tier, (align, dx) in product(range(_TIERS), (("left", -2.0), ("right", 2.0))):
            y = row.bottom + 2.0 + tier * _TIER
            stem = Box(x - 0.5, row.bottom - 3, x + 0.5, y - 1.4)
            spots.append(candidate("mark", text, x + dx, y, align, stem=stem))
        spots.sort(key=lambda spot: spot.align)
        # the last first: words of an earlier act then pass over its stem
        labels.append(Label(f"{text}, {time:g} s", -time, tuple(spots)))
    placed, dropped = place(labels, room)
    for _, chosen in placed:
        set_label(sheet, chosen)
    return dropped
