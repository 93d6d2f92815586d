"""Starts in time: what holds the train and what pulls it, and how it moves, for every stop and the hardest places."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from itertools import product
from pathlib import Path

import numpy as np

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.briefing.sequence_words import act_words, place_title, sequence_sentences
from profiler.briefing.words import train_sentence
from profiler.handling.start import StartSequence
from profiler.present.chart_frame import GAP, GUTTER, RIGHT, Panel, nice_step, rows_under, seen
from profiler.present.chart_key import LINE, MARGIN, SUMMARY, wrapped
from profiler.present.chart_names import baseline, candidate, gutter, set_label, tick_figure
from profiler.present.labels import Box, Candidate, Label, Room, place
from profiler.present.palette import GROUND, HAIR, INK, WHITE, WINDOW_FILL
from profiler.present.sheet import Sheet, plain
from profiler.present.time_sheet import PANELS_WIDE, SHEET_WIDE, Piece, compose_pieces, time_axis
from profiler.present.typeface import ROW
from profiler.units import FOOT, KIP, FloatArray

_OVER = 14.0
"""Over the first start. [pt]"""
_HEIGHTS = {"holding": 74.0, "moved": 64.0, "time": 20.0}
"""Of the rows under the acts, which take as much as their words ask for. [pt]"""
_TIERS, _TIER, _STEM = 7, 10.0, -3.0
"""Lines of words over each other, from one to the next, and where stems begin under the first. [pt]"""
_BRAKES = ("light: cars’ brakes", "dark: independent")
_AFTER, _LONGEST, _STUCK = 25.0, 300.0, 120.0
"""A start is shown so long after the train is under way, at most so long, and so long where it never is. [s]"""
_MOST_CLIMBS = 5
_TOGETHER = 0.5
"""Acts so close together are one moment. [s]"""


@dataclass(frozen=True, eq=False)
class _Run:
    """A start as drawn: the step of its time up to which it is shown, and its acts placed above the foot of their row.

    ``acts_high`` [pt] is the room they take, ``dropped`` the words that found none.
    """

    sequence: StartSequence
    title: str
    words: list[str]
    last: int
    acts: tuple[Candidate, ...]
    acts_high: float
    dropped: tuple[str, ...]

    @property
    def end(self) -> float:
        """Time up to which it is shown. [s]"""
        return float(self.sequence.run.time[self.last - 1])

    @property
    def heights(self) -> dict[str, float]:
        """Of the rows from the top. [pt]"""
        return {"acts": self.acts_high, **_HEIGHTS}

    @property
    def height(self) -> float:
        """Of all of it. [pt]"""
        rows = sum(self.heights.values()) + GAP * (len(self.heights) - 1)
        return rows + 26.0 + LINE * len(self.words) + 18.0


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
    shown = _hardest(briefing)
    runs = [_run(briefing, i, sequence, SHEET_WIDE - 2 * MARGIN) for i, sequence in shown]
    left_out = len(briefing.sequences) - len(shown)
    told = [
        f"{train_sentence(briefing)}.",
        "Estimated starts from the release of the air, in seconds. All cars start at once, slack stretched.",
        "Releases, charging, notch steps and the independent brake stand on choices without a source.",
        *([f"Easier climbs, {left_out} of them, are in starting_sequence.csv only."] if left_out else []),
    ]
    pieces = [Piece(run.title, run.words, run.height, partial(_draw, briefing, run)) for run in runs]
    return compose_pieces(_title(briefing), told, pieces, _OVER)


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
    title = plain(place_title(briefing, briefing.places[at]))
    return _Run(sequence, title, words, last, *_placed(sequence, float(run.time[last - 1])))


def _draw(briefing: Briefing, shown: _Run, sheet: Sheet, top: float) -> tuple[str, ...]:
    units, run, part = briefing.profile.units, shown.sequence.run, slice(0, shown.last)
    sheet.text(MARGIN, top - 12.0, shown.title, ROW)
    y = top - 16.0
    for line in shown.words:
        y -= LINE
        sheet.text(MARGIN, y, line, SUMMARY)
    time = run.time[part]
    panel = Panel(0, 0.0, shown.end, GUTTER, PANELS_WIDE / shown.end, 1.0, 0.0, rows_under(y - 12.0, shown.heights))
    room = Room(Box(MARGIN, panel.rows["time"].bottom - 2, panel.right + RIGHT, panel.rows["acts"].top + 2))
    x = panel.x(time)
    force, name = (KIP, "kips") if units == "us" else (1000.0, "kN")
    length, unit = (FOOT, "ft") if units == "us" else (1.0, "m")
    gutter(sheet, panel, "acts", "Acts")
    dashes = ["dashes: starts it"] if shown.sequence.slack.stretched > 0 else []
    gutter(sheet, panel, "holding", "Holding", [name, "line: pull", *dashes, *_BRAKES])
    gutter(sheet, panel, "moved", "Moved", [f"{unit}, ahead up"])
    time_axis(sheet, room, panel, "holding")
    _forces(sheet, room, panel, shown, x, force)
    _moved(sheet, room, panel, run.moved[part], x, length)
    _acts(sheet, panel, shown)
    return shown.dropped


def _forces(sheet: Sheet, room: Room, panel: Panel, shown: _Run, x: FloatArray, unit: float) -> None:
    """Brakes of cars and independent as areas on each other, the effort as a line, what rolls back dashed."""
    run, part, row = shown.sequence.run, slice(0, shown.last), panel.rows["holding"]
    air, both = run.air[part], run.air[part] + run.independent[part]
    effort, need = run.effort[part], shown.sequence.slack.stretched
    most = max(float(both.max()), float(effort.max()))
    scale = (row.top - row.bottom - 4) / max(most, need)
    y = [row.bottom + values * scale for values in (np.zeros(x.size), air, both)]
    for low, high, fill in ((y[0], y[1], GROUND), (y[1], y[2], WINDOW_FILL)):
        sheet.areas([np.column_stack((np.r_[x, x[::-1]], np.r_[high, low[::-1]]))], fill, edge=INK, width=0.5, z=2)
    pull = np.column_stack((x, row.bottom + effort * scale))
    sheet.lines([pull], width=3.0, colour=WHITE, z=3.4)
    sheet.lines([pull], width=1.5, z=3.5)
    told = need if need > 0 else most  # below nought it rolls off by itself
    height = row.bottom + told * scale
    if need > 0:
        sheet.lines([[(panel.left, height), (panel.right, height)]], width=0.8, z=3, dash=(6.0, 3.0))
    tick_figure(sheet, room, panel, height, f"{told / unit:,.0f}")
    tick_figure(sheet, room, panel, row.bottom, "0")
    baseline(sheet, panel, row.bottom, 0.6)


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


def _placed(sequence: StartSequence, end: float) -> tuple[tuple[Candidate, ...], float, tuple[str, ...]]:
    """Words of the acts up to a time [s] on stems over the foot of their row, at 0, those of one moment together.

    With the room that they take upwards [pt], and words for which there was none.
    """
    moments: dict[float, list[str]] = {}
    for act in sequence.acts:
        words = act_words(act)
        if words and act.time <= end:
            near = next((time for time in moments if act.time - time < _TOGETHER), act.time)
            moments.setdefault(near, []).append(words)
    labels = []
    for time, said in moments.items():
        x, text = GUTTER + time * PANELS_WIDE / end, ", ".join(said)
        spots = []
        for tier, (align, dx) in product(range(_TIERS), (("left", -2.0), ("right", 2.0))):
            y = 2.0 + tier * _TIER
            spots.append(candidate("mark", text, x + dx, y, align, stem=Box(x - 0.5, _STEM, x + 0.5, y - 1.4)))
        spots.sort(key=lambda spot: spot.align)
        # the last first: words of an earlier act then pass over its stem
        labels.append(Label(f"{text}, {time:g} s", -time, tuple(spots)))
    placed, dropped = place(labels, Room(Box(MARGIN, _STEM, SHEET_WIDE, (_TIERS + 1) * _TIER)))
    chosen = tuple(spot for _, spot in placed)
    return chosen, max((spot.box.top for spot in chosen), default=0.0), dropped


def _acts(sheet: Sheet, panel: Panel, shown: _Run) -> None:
    """Acts as words, their stems dotted on down to the time axis."""
    bottom, foot = panel.rows["acts"].bottom, panel.rows["time"].top
    for spot in shown.acts:
        assert spot.stem is not None
        x = (spot.stem.left + spot.stem.right) / 2
        sheet.lines([[(x, foot), (x, bottom + _STEM)]], width=0.5, z=2.6, dash=(1.0, 2.2))
        set_label(sheet, spot.lifted(bottom))
