"""Forces by car and time at marked places, handled as planned and suddenly, side by side at one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from profiler import wording
from profiler.briefing.felt_words import (
    DRAWN,
    UNSURE,
    WAYS,
    Handled,
    feels,
    felt_title,
    peak_words,
    places,
    range_words,
)
from profiler.briefing.hand_words import hand_words
from profiler.briefing.plan import Briefing
from profiler.briefing.printed import force_unit
from profiler.briefing.sudden import after_place
from profiler.briefing.words import figure_of, has_knuckles, train_sentence, vehicle_words
from profiler.mechanics.pull import KNUCKLE_BREAKS
from profiler.present.chart_frame import GUTTER, RIGHT, Panel, Row, area, seen
from profiler.present.chart_key import FINE, LINE, MARGIN, SUMMARY, wrapped
from profiler.present.chart_names import baseline, candidate, gutter, set_label, tick_figure
from profiler.present.felt_shown import Shown, largest_of, shown_of, some_couplings
from profiler.present.labels import Box, Label, Room, place
from profiler.present.palette import BAND, INK, WHITE
from profiler.present.sheet import Sheet, plain
from profiler.present.time_sheet import SHEET_WIDE, Piece, compose_pieces, time_axis
from profiler.present.train_signs import LINES
from profiler.present.typeface import CAPTION, ROW
from profiler.units import FloatArray

MOST = 6
"""No more places are drawn."""
_BETWEEN = 16.0
"""Between both panels. [pt]"""
_NARROWEST = 0.35
"""Share of it that the narrower one has at least."""
_FORCES, _FORCES_ON_PAPER, _ABOVE = 120.0, 88.0, 14.0
"""Height of the largest row of forces, where two places stand on paper, and room over and under it for names. [pt]"""
_CARS, _CAR, _BEHIND, _TIME = 5, 16.0, 12.0, 18.0
"""Couplings drawn each by itself, height of one of them, of what stands over the first, of the time axis. [pt]"""
_OVER, _APART = 10.0, 16.0
"""Over the first place, and between two. [pt]"""
Pair = tuple[Handled, Handled]
"""A marked place as planned, and in the sudden way that is felt most there."""


@dataclass(frozen=True, eq=False)
class _Drawn:
    """A marked place as drawn: both events, words over either panel and under both, highest pull and push [N]."""

    title: str
    events: tuple[Shown, Shown]
    heads: tuple[list[str], list[str]]
    words: list[str]
    widths: tuple[float, float]
    scale: float
    pull: float
    push: float

    def height(self, force: float) -> float:
        """Of all of it, at a scale of forces [pt/N]. [pt]"""
        words = LINE * (max(map(len, self.heads)) + len(self.words))
        return 24.0 + words + (self.pull + self.push) * force + 2 * _ABOVE + _CARS * _CAR + _BEHIND + _TIME + 6.0


def draw_felt(briefing: Briefing, *, svg: Path | None = None, png: Path | None = None) -> tuple[str, ...]:
    """Draw what couplers feel where the train is handled as planned, and suddenly.

    Parameters
    ----------
    briefing : Briefing
        One with at least one place in ``felt`` that has a sudden way.
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
    sheet, description, dropped = compose_felt(briefing)
    sheet.write(_title(briefing), description, svg=svg, png=png)
    return dropped


def compose_felt(briefing: Briefing) -> tuple[Sheet, str, tuple[str, ...]]:
    """The sheet, what it says in words, and what found no room."""
    drawn, force = _places(briefing, largest_places(briefing), SHEET_WIDE, _FORCES)
    pieces = [
        Piece(one.title, one.words, one.height(force) + _APART, partial(_draw, briefing, one, force)) for one in drawn
    ]
    told = [f"{train_sentence(briefing)}.", *how_to_read(briefing)]
    return compose_pieces(_title(briefing), told, pieces, _OVER)


def largest_places(briefing: Briefing) -> list[Pair]:
    """As many places with a sudden way as a sheet holds, those felt most, in order of travel: as planned and so."""
    every = [(place.planned, worst) for place in places(briefing.felt) if (worst := place.worst) is not None]
    most = sorted(every, key=lambda pair: -pair[1].severity)[:MOST]
    return [pair for pair in every if pair in most]


def felt_pictures(briefing: Briefing, width: float) -> list[tuple[Sheet, str]]:
    """The same places for paper of a width [pt], a sheet for each, with what it says in words."""
    pairs = largest_places(briefing)
    if not pairs:
        return []
    drawn, force = _places(briefing, pairs, width, _FORCES_ON_PAPER)
    made = []
    for one in drawn:
        sheet = Sheet(width, one.height(force))
        _draw(briefing, one, force, sheet, sheet.height)
        made.append((sheet, f"{one.title}. {' '.join(one.words)}"))
    return made


def _places(briefing: Briefing, pairs: Sequence[Pair], width: float, high: float) -> tuple[list[_Drawn], float]:
    """Places on a sheet so wide, and the scale of forces that all share, by the largest row [pt]. [pt/N]"""
    drawn = [_place(briefing, pair, width) for pair in pairs]
    return drawn, high / max(one.pull + one.push for one in drawn)


def _title(briefing: Briefing) -> str:
    towards = wording.towards(briefing.profile.route, briefing.direction)
    return plain(f"Gradually and suddenly: {briefing.train.name}, {towards}")


def how_to_read(briefing: Briefing) -> list[str]:
    """How to read the places drawn, and what is not drawn."""
    left = len(places(briefing.felt)) - len(largest_places(briefing))
    return [
        "Estimated coupler forces, vehicle by vehicle, in seconds from where the act begins.",
        f"Up, open: the largest pull anywhere in the train; down, solid: the largest push; with {DRAWN} slack.",
        f"Grey, and in brackets: with slack {range_words(briefing)}.",
        "Dashed: limits. Thin: the largest steady force.",
        f"{wording.capitalised(UNSURE)}.",
        *(f"{wording.capitalised(said)}." for said in hand_words(briefing)),
        *([f"Other places, {left} of them, are in in_train.csv only."] if left > 0 else []),
    ]


def _place(briefing: Briefing, pair: Pair, width: float) -> _Drawn:
    events = (shown_of(pair[0]), shown_of(pair[1]))
    widths, scale = _shared(width - GUTTER - RIGHT - _BETWEEN, *(one.lasts for one in events))
    first = events[0].felt
    short = ("As planned", "Suddenly")
    names = (short[0], f"{short[1]}: {WAYS[pair[1].shown.event.way]}")
    said = [f"{name}: {feels(briefing, one.of)}." for name, one in zip(short, events, strict=True)]
    return _Drawn(
        title=plain(felt_title(briefing, first)),
        events=events,
        heads=(wrapped([names[0]], SUMMARY, widths[0] - 4.0), wrapped([names[1]], SUMMARY, widths[1] - 4.0)),
        words=[line for words in said for line in wrapped([words], FINE, width - 2 * MARGIN)],
        widths=widths,
        scale=scale,
        pull=max(first.draft_limit, *(max(float(one.most_pull.max()), one.felt.draft.force) for one in events)),
        push=max(first.buff_limit, *(max(float(one.most_push.max()), one.felt.buff.force) for one in events)),
    )


def _shared(room: float, first: float, second: float) -> tuple[tuple[float, float], float]:
    """Widths of two panels that last so long [s], and points a second, the same for both. [pt]"""
    short = room * max(min(first, second) / (first + second), _NARROWEST)
    widths = (short, room - short) if first < second else (room - short, short)
    return widths, min(widths[0] / first, widths[1] / second)


def _draw(briefing: Briefing, shown: _Drawn, force: float, sheet: Sheet, top: float) -> tuple[str, ...]:
    units = briefing.profile.units
    sheet.text(MARGIN, top - 12.0, shown.title, ROW)
    y = top - 24.0 - LINE * max(map(len, shown.heads))
    bottom = y - (shown.pull + shown.push) * force - 2 * _ABOVE
    low = bottom - _BEHIND - _CARS * _CAR
    rows = {"forces": Row(bottom, y), "cars": Row(low, bottom), "time": Row(low - _TIME, low)}
    zero = bottom + _ABOVE + shown.push * force
    room = Room(Box(MARGIN, rows["time"].bottom, sheet.width, y))
    lefts = (GUTTER, GUTTER + shown.widths[0] + _BETWEEN)
    labels: list[Label] = []
    couplings = some_couplings(shown.events[0].force.shape[1], _CARS)
    zeros, by_car = _by_car_zeros(rows["cars"], couplings, shown)
    panels = []
    for one, head, left, wide in zip(shown.events, shown.heads, lefts, shown.widths, strict=True):
        start = float(one.time[0])
        panel = Panel(0, start, start + wide / shown.scale, left, shown.scale, 1.0, 0.0, rows)
        panels.append(panel)
        for i, line in enumerate(head):
            sheet.text(left, top - 18.0 - LINE * (i + 0.8), line, SUMMARY)
        time_axis(sheet, room, panel, "forces")
        labels += _forces(sheet, briefing, room, panel, one, zero, force)
        _limits(sheet, briefing, room, panel, one, zero, force)
        _by_car(sheet, panel, one, couplings, zeros, by_car)
    gutter(sheet, panels[0], "forces", "In the train", [f"{force_unit(units)}, pull up,", "push down"])
    gutter(sheet, panels[0], "cars", "Behind")
    for coupling, y in zip(couplings, zeros, strict=True):
        sheet.text(GUTTER - 14.0, y - 2.4, vehicle_words(briefing.train, coupling), CAPTION, align="right")
    limit = shown.events[0].felt
    for value, figure in ((0.0, 0.0), (limit.draft_limit,) * 2, (-limit.buff_limit, limit.buff_limit)):
        tick_figure(sheet, room, panels[1], zero + value * force, figure_of(figure, units))
    placed, dropped = place(labels, room)
    for _, spot in placed:
        set_label(sheet, spot)
    y = rows["time"].bottom
    for line in shown.words:
        y -= LINE
        sheet.text(MARGIN, y, line, FINE)
    return dropped


def _forces(
    sheet: Sheet, briefing: Briefing, room: Room, panel: Panel, one: Shown, zero: float, scale: float
) -> list[Label]:
    """The largest pull and push by time, how far other states of wear go, steady ones; names of the peaks."""
    x, felt = panel.x(one.time), one.felt
    pull, push = largest_of(one.force)
    for values, most, sign, fill in ((pull, one.most_pull, 1, WHITE), (push, one.most_push, -1, INK)):
        _shape(sheet, x, zero, sign * scale * most, BAND, edge="none", z=1.8)
        _shape(sheet, x, zero, sign * scale * values, fill, edge=INK, z=2.0)
    baseline(sheet, panel, zero)
    labels = []
    for name, peak, steady, limit, sign in (
        ("pull", felt.forces.draft, felt.draft, felt.draft_limit, 1),
        ("push", felt.forces.buff, felt.buff, felt.buff_limit, -1),
    ):
        y = zero + sign * steady.force * scale
        sheet.lines([[(panel.left, y), (panel.right, y)]], width=2.0, colour=WHITE, z=3.0)
        sheet.lines([[(panel.left, y), (panel.right, y)]], z=3.1, **LINES["by_plan"])
        room.take(Box(panel.left, y - 0.5, panel.right, y + 0.5))
        at = float(panel.x(after_place(felt, peak.time)))
        if peak.force > 0:
            words = peak_words(briefing, name, peak, limit)
            tip = zero + sign * peak.force * scale
            edge = zero + sign * max(peak.force, steady.force, limit, *_breaking(briefing, one, sign)) * scale
            labels.append(_label(panel, words, at, tip, edge, sign, over=peak.force > limit))
    if felt.forces.parted is not None:
        spots = [candidate("force", "parts", float(x[-1]) + 5.0, zero + dy) for dy in (3.0, -8.0, 12.0, -18.0)]
        labels.append(Label("parts", 1, tuple(spots)))
    return labels


def _shape(sheet: Sheet, x: FloatArray, zero: float, values: FloatArray, fill: str, *, edge: str, z: float) -> None:
    """What lies between a line and the zero line. [pt]"""
    sheet.areas([area(seen(x, zero + values), zero)], fill, edge=edge, width=0.5, z=z)


def _label(panel: Panel, words: str, x: float, y: float, edge: float, sign: int, *, over: bool) -> Label:
    """The figure of a peak beyond it, else beyond all lines on its side, the last at ``edge``, else within. [pt]"""
    beyond, off = ((4.0, 8.0), 6.0) if sign > 0 else ((-8.0, -9.5), -9.5)
    within = (-12.0, -20.0) if sign > 0 else (6.0, 14.0)
    style = "force_over" if over else "force"
    spots = [
        candidate(style, words, min(max(x + dx, panel.left + 2), panel.right - 2), at, a)
        for at in (*(y + dy for dy in beyond), edge + off, *(y + dy for dy in within))
        for a, dx in (("center", 0.0), ("left", 6.0), ("right", -6.0))
    ]
    inside = [spot for spot in spots if spot.box.left >= panel.left and spot.box.right <= panel.right + 2]
    return Label(words, 0, tuple(inside))


def _limits(sheet: Sheet, briefing: Briefing, room: Room, panel: Panel, one: Shown, zero: float, scale: float) -> None:
    felt = one.felt
    lines = [("limit", felt.draft_limit), ("limit", -felt.buff_limit)]
    lines += [("breaks", force) for force in _breaking(briefing, one, 1)]
    for kind, force in lines:
        y = zero + force * scale
        sheet.lines([[(panel.left, y), (panel.right, y)]], z=3.2, **LINES[kind])
        room.take(Box(panel.left, y - 1, panel.right, y + 1))


def _breaking(briefing: Briefing, one: Shown, sign: int) -> list[float]:
    """Where a typical knuckle breaks, if a pull comes to that. [N]"""
    shown = sign > 0 and has_knuckles(briefing.train) and one.most_pull.max() > KNUCKLE_BREAKS
    return [float(KNUCKLE_BREAKS)] if shown else []


def _by_car_zeros(row: Row, couplings: Sequence[int], shown: _Drawn) -> tuple[list[float], float]:
    """Zero lines of some couplings [pt], the first highest, and the scale of both panels [pt/N]."""
    every = np.concatenate([event.force[:, couplings] for event in shown.events])
    high, low = max(float(every.max()), 0.0), max(-float(every.min()), 0.0)
    scale = (_CAR - 2.0) / ((high + low) or 1.0)
    top = row.bottom + len(couplings) * _CAR - 1.0 - scale * high
    return [top - i * _CAR for i in range(len(couplings))], scale


def _by_car(
    sheet: Sheet, panel: Panel, one: Shown, couplings: Sequence[int], zeros: Sequence[float], scale: float
) -> None:
    """The force behind some vehicles, each on its own line, all at one scale."""
    x = panel.x(one.time)
    for zero, coupling in zip(zeros, couplings, strict=True):
        force = one.force[:, coupling]
        _shape(sheet, x, zero, scale * np.maximum(force, 0.0), WHITE, edge=INK, z=2.0)
        _shape(sheet, x, zero, scale * np.minimum(force, 0.0), INK, edge=INK, z=2.0)
        baseline(sheet, panel, zero, 0.5)
