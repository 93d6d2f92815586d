"""What stands around the rows of a strip chart: title, summary, key, foot."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from profiler import wording
from profiler.grade_classes import DOWN, UP, Limits
from profiler.landmark import Landmark
from profiler.present import signs, train_signs
from profiler.present.chart_blocks import blocks_of, unsure
from profiler.present.chart_brackets import ruling_grade
from profiler.present.chart_curves import whiskers
from profiler.present.chart_frame import Frame
from profiler.present.ink import Points
from profiler.present.palette import INK
from profiler.present.sheet import Sheet, plain
from profiler.present.typeface import BODY, CAPTION, TITLE, Type, extent
from profiler.route import DIRECTIONS

MARGIN = 18.0
LINE = 11.5
SUMMARY = Type(8.2)
FINE = Type(7.4, colour=CAPTION.colour)
_UNIT = re.compile(r"(\d) (?=[%‰]|(?:ft|mi|km|m|mph|s|min|kips|kN|psi|bar)\b)")
_SWATCH, _SWATCH_HIGH = 27.0, 9.0
CLASSES_WIDE = 9 * _SWATCH + 150.0
"""Room across that the classes of steepness take. [pt]"""
_KEY_LINE, _UNDER_LIMITS = 16.0, 8.0
_NEAR = 0.05
"""Words set together are as wide as their sum to within so much."""


def title(frame: Frame) -> str:
    """The name of the route, or its ends, or that it has neither."""
    route = frame.profile.route
    return plain(route.name) or plain(" to ".join(filter(None, route.ends))) or "Line without a name"


def summary(frame: Frame) -> list[str]:
    """Sentences that say, without looking, how the line lies and where it is hardest."""
    route, z, units = frame.profile.route, frame.profile.elevation, frame.units
    first, last = (wording.elevation_text(float(z[i]), units) for i in (0, -1))
    highest, lowest = (_height_at(frame, int(i)) for i in (np.argmax(z), np.argmin(z)))
    sentences = [
        f"{wording.distance_text(route.length, units)} {wording.travel_words(route)}: "
        f"starts at {first}, highest {highest}, lowest {lowest}, ends at {last}."
    ]
    for direction in DIRECTIONS:
        mark = ruling_grade(frame.landmarks, direction)
        if mark is not None:
            sentences.append(_ruling_sentence(frame, mark, direction))
    return [plain(sentence) for sentence in sentences]


def _height_at(frame: Frame, station: int) -> str:
    place = float(frame.profile.chainage[station])
    height = wording.elevation_text(float(frame.profile.elevation[station]), frame.units)
    return f"{height} at {wording.stretch_words(frame.profile.route.posts, place, place)}"


def _ruling_sentence(frame: Frame, mark: Landmark, direction: str) -> str:
    route, units = frame.profile.route, frame.units
    figure = wording.interval_text(mark.value, mark.unit, units, mark.low, mark.high)
    where = wording.stretch_words(route.posts, mark.start, mark.end)
    train = f", train of {wording.short_length_text(mark.train_length, units)}" if mark.train_length else ""
    return f"Ruling grade {wording.towards(route, direction)}: {figure}, {where}{train}."


def provenance(frame: Frame) -> list[str]:
    """Sentences about where the figures come from and how to read them."""
    profile = frame.profile
    sources = ", ".join(plain(name) for name in profile.source_names)
    sentences = [wording.INVENTED] if profile.invented else []
    if sources and not profile.charted:
        sentences.append(f"Ground: {sources}.")
    credit = wording.credit_words(plain(profile.attribution), plain(profile.licence))
    sentences += [credit] if credit else []
    sentences.append(f"Vertical datum: {plain(profile.vertical_datum)}.")
    if profile.known:
        used = sum(item.used for item in profile.known)
        sentences.append(f"Known elevations: {used} of {len(profile.known)} used.")
    how = "typed from a track chart, nothing of it estimated" if profile.charted else "estimated"
    sentences.append(f"Rail elevation {how}, band ±1.96 standard errors.")
    if frame.landmarks.of_kind("ruling_grade_compensated"):
        model = wording.compensation_words(profile.curve_compensation, frame.units, profile.curve_resistance)
        sentences.append(f"Compensated for curves: {model}.")
    if profile.pvis and profile.charted:
        sentences.append("Blocks lie between PVIs, edges slope over vertical curves.")
    elif profile.pvis:
        sentences.append("Blocks lie between PVIs where these are seen, edges slope over vertical curves.")
        sentences.append("Elsewhere blocks are grade runs, a way of reading.")
    else:
        sentences.append("Blocks are grade runs, a way of reading, not built grades.")
    if not profile.charted:
        sentences.append("Bars across an edge: where it may lie (95 %).")
    if profile.route.curves:
        named = "" if profile.charted else "; 62C is the third past post 62"
        sentences.append(f"Curves: as high as sharp, sloping over their spirals{named}.")
    return sentences


def wrapped(sentences: list[str], style: Type, width: float) -> list[str]:
    """Sentences in lines no wider than ``width`` [pt], broken between words."""
    lines: list[str] = []
    taken, space = 0.0, extent("n n", style)[0] - 2 * extent("n", style)[0]
    for word in _UNIT.sub("\\1\N{NO-BREAK SPACE}", " ".join(sentences)).split(" "):
        wide = extent(word, style)[0]
        if lines and _fits(f"{lines[-1]} {word}", taken + space + wide, style, width):
            lines[-1] += f" {word}"
            taken += space + wide
        else:
            lines.append(word)
            taken = wide
    return lines


def _fits(line: str, about: float, style: Type, width: float) -> bool:
    """Whether a line is no wider than ``width``; measured only if the sum of its words comes near. [pt]"""
    if abs(about - width) > _NEAR * width:
        return about < width
    return extent(line, style)[0] <= width


def draw_heading(sheet: Sheet, heading: list[str], told: list[str], small: list[str]) -> float:
    """Lines at the top of a sheet: title, what it shows, how to read it; where they end. [pt]"""
    y = sheet.height - MARGIN
    for line in heading:
        sheet.text(MARGIN, y - 11.0, line, TITLE)
        y -= 17.0
    for lines, style in ((told, SUMMARY), (small, FINE)):
        for line in lines:
            y -= LINE
            sheet.text(MARGIN, y, line, style)
    return y


def draw_last_lines(sheet: Sheet, lines: list[str]) -> None:
    """Lines at the foot of a sheet."""
    y = MARGIN + LINE * (len(lines) - 1)
    for line in lines:
        sheet.text(MARGIN, y, line, FINE)
        y -= LINE


@dataclass(frozen=True)
class Words:
    """What a sheet says besides of a train: ``title``, sentences ``told`` and how to ``read`` them, ``last`` ones at
    the foot, and ``signs`` of the key, pairs of a kind and its words."""

    title: str = ""
    told: tuple[str, ...] = ()
    read: tuple[str, ...] = ()
    last: tuple[str, ...] = ()
    signs: tuple[tuple[str, str], ...] = ()


NO_WORDS = Words()


class Heading:
    """Title, summary and provenance, measured before they are drawn; a train's words come first."""

    def __init__(self, frame: Frame, width: float, words: Words = NO_WORDS) -> None:
        name = f"{words.title} · {title(frame)}" if words.title else title(frame)
        self._title = wrapped([name], TITLE, width - 2 * MARGIN)
        self._summary = wrapped([*words.told, *summary(frame)], SUMMARY, width - 2 * MARGIN)
        self._provenance = wrapped([*words.read, *provenance(frame)], FINE, width - 2 * MARGIN)

    @property
    def height(self) -> float:
        """Room it takes at the top of the sheet. [pt]"""
        rows = len(self._summary) + len(self._provenance)
        return MARGIN + 17.0 * len(self._title) + LINE * rows + 10.0

    def draw(self, sheet: Sheet) -> None:
        """Set it from the top of the sheet."""
        draw_heading(sheet, self._title, self._summary, self._provenance)


class Foot:
    """Key and caution, measured before they are drawn."""

    def __init__(self, frame: Frame, width: float, words: Words = NO_WORDS) -> None:
        self._frame = frame
        travel = plain(wording.travel_words(frame.profile.route))
        direction = f"Drawn as travelled {travel}: up and down are meant in this direction."
        kinds = [mark.kind for mark in frame.landmarks.suspected]
        suspected = wording.suspected_sentence(kinds.count("suspected_tunnel"), kinds.count("suspected_bridge"))
        sentences = filter(None, [direction, suspected, *words.last, wording.CAUTION_SHORT])
        self._lines = wrapped(list(sentences), FINE, width - 2 * MARGIN)
        self._rows = _in_rows([*_signs_used(frame), *words.signs], width - 2 * MARGIN, CLASSES_WIDE)

    @property
    def height(self) -> float:
        """Room it takes at the foot of the sheet. [pt]"""
        return MARGIN + LINE * len(self._lines) + 40.0 + self._drop(len(self._rows) - 1)

    @staticmethod
    def _drop(row: int) -> float:
        """How far a row of the key lies under the first, which has figures under its samples. [pt]"""
        return row * _KEY_LINE + (_UNDER_LIMITS if row else 0.0)

    def draw(self, sheet: Sheet) -> None:
        """Set it from the bottom of the sheet upwards."""
        draw_last_lines(sheet, self._lines)
        top = self.height - 24.0
        draw_classes(sheet, MARGIN, top, self._frame.limits, self._frame.units)
        for i, row in enumerate(self._rows):
            y = top - self._drop(i)
            x = MARGIN + (CLASSES_WIDE if i == 0 else 0.0)
            for kind, words in row:
                _sample(sheet, kind, x, y + 3)
                sheet.text(x + 25, y + 1, words, BODY)
                x += _sample_width(words)


def draw_classes(sheet: Sheet, x: float, y: float, limits_of_classes: Limits, units: str) -> None:
    """Nine samples, from steep up over level to steep down, with their limits at the borders."""
    names = wording.class_words(limits_of_classes, units)
    limits = [name.partition("–")[0].rstrip("+") for name in names[1:]]
    sheet.text(x, y + 1, "up, as travelled", BODY)
    x += 62.0
    strokes: list[Points] = []
    borders = [*reversed(limits), *limits]
    for i, fill in enumerate((*reversed(UP), *DOWN[1:])):
        left, right = x + i * _SWATCH, x + (i + 1) * _SWATCH
        sheet.areas(
            [[(left, y), (right, y), (right, y + _SWATCH_HIGH), (left, y + _SWATCH_HIGH)]],
            fill,
            edge=INK,
            width=0.5,
        )
        step = {0: 14.0, 1: 9.0, 2: 6.0, 3: 4.0}.get(abs(i - 4) - 1)
        if step is not None:
            edge = y + _SWATCH_HIGH if i < 4 else y
            strokes += signs.slope_strokes(left, right, edge, i < 4, step)
        if i < 8:
            sheet.text(right, y - 8.6 if i < 4 else y + _SWATCH_HIGH + 2.6, borders[i], BODY, align="center")
    sheet.lines(strokes, width=0.6)
    unit = wording.grade_unit(units)
    sheet.text(x + 9 * _SWATCH + 5, y + 1, f"down, {unit}", BODY)


_SIGN_WORDS = {
    "crest": "crest",
    "sag": "sag",
    "grade_break": "grade break",
    "station": "station",
    "tunnel": "tunnel",
    "bridge": "bridge",
    "suspected": "suspected, with its probability",
    "ruling": "ruling grade",
    "stretch": "heavy or sustained grade",
    "unsure": "edge may lie in here",
    "tie": "edge sure",
    "whisker": "curvature may lie in here",
    "corner": "corner of the drawn line",
    "slow": "slow order",
    "equation": "post equation, back = ahead",
}


def _signs_used(frame: Frame) -> list[tuple[str, str]]:
    route, marks, edges = frame.profile.route, frame.landmarks, blocks_of(frame)[:-1]
    structures = {item.kind for item in route.structures}
    used = {kind: bool(marks.shown(kind)) for kind in ("crest", "sag", "grade_break")}
    used |= {
        "station": bool(route.stations),
        "tunnel": "tunnel" in structures,
        "bridge": "bridge" in structures,
        "suspected": bool(marks.suspected),
        "ruling": bool(marks.of_kind("ruling_grade")),
        "stretch": bool(marks.of_kind("sustained_grade", "heavy_grade_4000_or_less", "heavy_grade_over_4000")),
        "unsure": any(unsure(block, frame) for block in edges),
        "tie": any(block.end_sure for block in edges),
        "whisker": whiskers(frame),
        "corner": bool(route.corners),
        "slow": bool(route.slow_orders),
        "equation": any(route.chainage[0] < place < route.chainage[-1] for place, _, _ in route.posts.equations),
    }
    return [(kind, words) for kind, words in _SIGN_WORDS.items() if used[kind]]


def _sample_width(words: str) -> float:
    return 25.0 + extent(words, BODY)[0] + 14.0


def _in_rows(items: list[tuple[str, str]], width: float, taken: float) -> list[list[tuple[str, str]]]:
    """Samples in rows; the first row is shortened by what stands before it."""
    rows: list[list[tuple[str, str]]] = [[]]
    left = width - taken
    for item in items:
        needed = _sample_width(item[1])
        if needed > left:
            rows.append([])
            left = width
        rows[-1].append(item)
        left -= needed
    return rows


def _sample(sheet: Sheet, kind: str, x: float, y: float) -> None:
    """A sign on a short piece of rail, 20 pt wide."""
    rail = np.array([[x, y], [x + 20, y]])
    middle = np.array([[x + 4, y], [x + 16, y]])
    if kind in ("crest", "sag", "grade_break", "station", "tunnel", "bridge", "suspected"):
        sheet.lines([rail], width=1.5)
    if kind in ("crest", "sag", "grade_break", "station"):
        getattr(signs, kind)(sheet, x + 10, y)
    elif kind in ("tunnel", "suspected"):
        signs.tunnel(sheet, middle, suspected=kind == "suspected")
    elif kind == "bridge":
        signs.bridge(sheet, middle, np.full(2, y - 5.0))
    elif kind in ("ruling", "stretch"):
        signs.bracket(sheet, x + 1, x + 19, y + 2, above=True, heavy=kind == "ruling")
    elif kind == "unsure":
        sheet.lines([[(x + 10, y - 5), (x + 10, y + 5)]], width=0.5)
        signs.unsure_edge(sheet, x + 3, x + 17, y)
    elif kind == "tie":
        sheet.lines([[(x + 10, y - 5), (x + 10, y + 5)]], width=0.5, dash=(1.0, 2.2))
    elif kind == "whisker":
        sheet.lines([[(x + 4, y), (x + 16, y)]], width=0.6)
        signs.whisker(sheet, x + 10, y - 3.5, y + 3.5)
    elif kind == "corner":
        sheet.lines([rail], width=0.6)
        signs.corner(sheet, x + 10, y)
    elif kind == "equation":
        sheet.lines([[(x + 3, y - 4), (x + 17, y - 4)]], width=0.8)
        signs.equation(sheet, x + 10, y - 4)
    elif kind in train_signs.OF_TRAINS:
        train_signs.of_train(sheet, kind, x, y)
    else:
        signs.hatched_post(sheet, x + 5, x + 15, y - 5, y + 5)
