"""The Rail row of lines side by side: every line on one axis, told apart by its stroke and its letter."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler import wording
from profiler.comparison.beside import Side
from profiler.present import signs
from profiler.present.beside_table import short_name
from profiler.present.chart_frame import Frame, Panel, seen
from profiler.present.chart_names import RANK_LANDMARK, RANK_STATION, candidate
from profiler.present.chart_rail import elevation_ticks, name_on_stem, take_line
from profiler.present.labels import Candidate, Label, Room
from profiler.present.palette import BAND, INK, WHITE
from profiler.present.sheet import Sheet, plain
from profiler.units import FloatArray


@dataclass(frozen=True)
class Stroke:
    """How a line is drawn, widths and dashes in points, and how people call that."""

    width: float
    dash: tuple[float, ...] | None
    words: str


STROKES = (
    Stroke(1.1, None, "thin line"),
    Stroke(2.8, (7.0, 4.5), "heavy dashes"),
    Stroke(2.8, (1.8, 3.6), "heavy dots"),
    Stroke(2.8, (9.0, 3.0, 1.8, 3.0), "dash and dot"),
    Stroke(1.8, (3.0, 2.2), "short dashes"),
    Stroke(2.8, (18.0, 6.0), "long dashes"),
)
"""The first is thin and whole: where another line lies on it, both are seen."""

_RANK_HIGHEST = RANK_LANDMARK - 0.7
_NEAR = 16.0
"""Highest points closer together than this share a sign. [pt]"""
_SPOTS, _CLOSE = 24, 90.0
_LETTERS = (0.04, 0.25, 0.5, 0.75, 0.96)


@dataclass(frozen=True)
class AxisPanel(Panel):
    """A line on an axis that it shares with others.

    ``start`` and ``end`` are chainages of the line itself; its ``chainage`` (n,) [m] stands at
    ``places`` (n,) [m] on the axis, which begins at ``origin`` [m] and is ``across`` wide [pt].
    """

    chainage: FloatArray
    places: FloatArray
    origin: float
    across: float

    @property
    def right(self) -> float:
        """Right edge of the picture, wherever the line ends. [pt]"""
        return self.left + self.across

    def x(self, chainage: FloatArray | float) -> FloatArray:
        """Place across the sheet of chainages of the line. [pt]"""
        places = np.interp(np.asarray(chainage, dtype=float), self.chainage, self.places)
        return np.asarray(self.left + (places - self.origin) * self.scale)


@dataclass(frozen=True)
class Strand:
    """One of the lines with all that is needed to draw it."""

    side: Side
    frame: Frame
    panel: AxisPanel
    stroke: Stroke

    @property
    def line(self) -> FloatArray:
        """Rail (n, 2) on the sheet. [pt]"""
        profile = self.side.profile
        return np.column_stack((self.panel.x(profile.chainage), self.panel.y(profile.elevation)))


def draw_lines(sheet: Sheet, room: Room, strands: list[Strand]) -> list[Label]:
    """Draw the row and hand back the names that want room in it."""
    lines = [strand.line for strand in strands]
    drawn = [seen(*line.T) for line in lines]
    for strand, line in zip(strands, drawn, strict=True):
        _band(sheet, strand)
        take_line(room, line)
    sheet.lines(drawn, width=4.0, colour=WHITE, z=3.0)
    for strand, line in zip(strands, drawn, strict=True):
        sheet.lines([line], width=strand.stroke.width, dash=strand.stroke.dash, z=3.5)
    elevation_ticks(sheet, room, strands[0].panel, strands[0].frame)
    labels = _summits(sheet, room, strands) + _stations(sheet, room, strands)
    for i, strand in enumerate(strands):
        labels += _letters(strand, [line for j, line in enumerate(lines) if j != i])
    return labels


def _band(sheet: Sheet, strand: Strand) -> None:
    """Where the rail may lie, 95 %, cut at the edges of the row."""
    profile, panel = strand.side.profile, strand.panel
    row, x = panel.rows["rail"], panel.x(profile.chainage)
    low, high = (
        seen(x, np.clip(panel.y(profile.elevation + way * 1.96 * profile.elevation_se), row.bottom, row.top))
        for way in (-1, 1)
    )
    sheet.areas([np.vstack((low, high[::-1]))], BAND, z=2, alpha=0.45)


def _summits(sheet: Sheet, room: Room, strands: list[Strand]) -> list[Label]:
    """The highest point of every line; of those that lie close together one bears the sign and the names."""
    tops = []
    for strand in strands:
        at = strand.side.figure("summit").at or 0.0
        tops.append((float(strand.panel.x(at)), at, strand))
    tops.sort(key=lambda top: top[0])
    labels: list[Label] = []
    while tops:
        x, at, strand = tops[0]
        near = [top for top in tops if top[0] - x < _NEAR]
        del tops[: len(near)]
        heights = [_summit_words(top[2]) for top in near]
        height = strand.side.figure("summit").value or 0.0
        room.take(signs.crest(sheet, x, float(strand.panel.y(height))), f"place {at:.1f}")
        labels += name_on_stem(
            strand.panel, strand.frame, at, f"Highest: {', '.join(heights)}", "landmark", _RANK_HIGHEST
        )
    return labels


def _summit_words(strand: Strand) -> str:
    height = wording.elevation_text(strand.side.figure("summit").value or 0.0, strand.frame.units)
    return f"{strand.side.letter} {height}"


def _stations(sheet: Sheet, room: Room, strands: list[Strand]) -> list[Label]:
    """Stations of all lines, one that several share on the first of them only."""
    labels, named = [], set()
    for strand in strands:
        profile, panel = strand.side.profile, strand.panel
        for stop in profile.route.stations:
            if stop.name in named or not panel.holds(stop.chainage):
                continue
            named.add(stop.name)
            height = float(np.interp(stop.chainage, profile.chainage, profile.elevation))
            sign = signs.station(sheet, float(panel.x(stop.chainage)), float(panel.y(height)))
            room.take(sign, f"place {stop.chainage:.1f}")
            labels += name_on_stem(panel, strand.frame, stop.chainage, plain(stop.name), "station", RANK_STATION)
    return labels


def _letters(strand: Strand, others: list[FloatArray]) -> list[Label]:
    """The name of a line beside it where it lies farthest from the others, and its letter here and there."""
    line, letter = strand.line, strand.side.letter
    x = np.linspace(line[0, 0], line[-1, 0], _SPOTS + 2)[1:-1]
    away, over = _away(x, line, others)
    order = np.argsort(-away, kind="stable")
    name = short_name(strand.side)
    choices = tuple(
        choice
        for words in (name, letter)
        for i in order
        for choice in _beside(line, float(x[i]), words, above=bool(over[i]))
    )
    labels = [Label(f"line {name}", RANK_LANDMARK - 0.5, choices)]
    for share in _LETTERS:
        place = float(line[0, 0] + share * (line[-1, 0] - line[0, 0]))
        if abs(place - x[order[0]]) < _CLOSE:
            continue
        above = bool(_away(np.array([place]), line, others)[1][0])
        labels.append(Label(f"letter {letter}", RANK_STATION + 0.5, tuple(_beside(line, place, letter, above=above))))
    return labels


def _away(x: FloatArray, line: FloatArray, others: list[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """How far a line lies from the nearest other one at places ``x`` (m,) [pt], and whether over it."""
    own = np.interp(x, line[:, 0], line[:, 1])
    apart = np.array([own - np.interp(x, other[:, 0], other[:, 1], left=-1e4, right=-1e4) for other in others])
    nearest = np.abs(apart).argmin(axis=0)
    gap = apart[nearest, np.arange(x.size)]
    return np.abs(gap), gap > 0


def _beside(line: FloatArray, x: float, words: str, *, above: bool) -> list[Candidate]:
    """Over the line and under it, the side away from the nearest other line first."""
    choices = []
    for up in (above, not above):
        for shift in (0.0, 8.0, 16.0):
            choice = candidate("landmark", words, x, 0.0, "center")
            across = np.linspace(choice.box.left, choice.box.right, 9)
            heights = np.interp(across, line[:, 0], line[:, 1])
            y = heights.max() + 6.0 + shift if up else heights.min() - 10.5 - shift
            choices.append(candidate("landmark", words, x, float(y), "center"))
    return choices


def stroke_sample(sheet: Sheet, stroke: Stroke, x: float, y: float) -> None:
    """A piece of a line, 40 pt long, for the key."""
    sheet.lines([[(x, y), (x + 40.0, y)]], width=stroke.width, dash=stroke.dash, colour=INK)
