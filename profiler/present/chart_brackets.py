"""Which stretches are bracketed in the Steps row: ruling, heavy and sustained grades."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

from profiler import wording
from profiler.landmark import Landmark, Landmarks
from profiler.present.chart_frame import Frame
from profiler.present.chart_names import LETTERING
from profiler.present.typeface import extent
from profiler.route import DIRECTIONS

LANE = 18.0
"""Height of a bracket with its words. [pt]"""
_MOST_LANES = 3
_OTHERS = ("heavy_grade_over_4000", "heavy_grade_4000_or_less", "sustained_grade")
"""By rank: the legal ones find a lane first."""


@dataclass(frozen=True)
class Bracket:
    """A stretch by chainage [m] with its words from the fullest to the shortest.

    ``above`` where the line climbs with chainage; ``heavy`` strokes are for the ruling grade.
    """

    start: float
    end: float
    above: bool
    heavy: bool
    words: tuple[str, ...]
    lane: int = 0


def brackets_of(frame: Frame) -> tuple[tuple[Bracket, ...], tuple[str, ...]]:
    """The brackets in lanes, nearest the blocks first, and the words of those beyond the last lane."""
    wished = [b for direction in DIRECTIONS for b in _ruling(frame, direction)]
    found: dict[tuple[str, float, float], Bracket] = {}
    for mark in sorted(frame.landmarks.of_kind(*_OTHERS), key=lambda mark: _OTHERS.index(mark.kind)):
        found.setdefault((mark.kind, mark.start, mark.end), _other(frame, mark))
    return _in_lanes([*wished, *found.values()], frame.scale)


def _climbs(mark: Landmark) -> bool:
    return (mark.value > 0) == (mark.direction != "against")


def ruling_grade(landmarks: Landmarks, direction: str, kind: str = "ruling_grade") -> Landmark | None:
    """The ruling grade of a direction for the longest train asked for, None where there is none."""
    marks = landmarks.of_kind(kind, direction=direction)
    return max(marks, key=lambda mark: mark.train_length or 0.0, default=None)


def _figure(mark: Landmark, units: str) -> str:
    return wording.interval_text(mark.value, mark.unit, units, mark.low, mark.high)


def _ruling(frame: Frame, direction: str) -> list[Bracket]:
    """One bracket for the plain and the compensated figure where their stretches meet, else two."""
    units, route = frame.units, frame.profile.route
    plain = ruling_grade(frame.landmarks, direction)
    if plain is None:
        return []
    train = wording.short_length_text(plain.train_length, units) if plain.train_length else ""
    bent = ruling_grade(frame.landmarks, direction, "ruling_grade_compensated")
    together = bent is not None and bent.start < plain.end and plain.start < bent.end
    words = wording.ruling_variants(
        route, direction, _figure(plain, units), _figure(bent, units) if bent and together else "", train
    )
    result = [Bracket(plain.start, plain.end, _climbs(plain), True, words)]
    if bent is not None and not together:
        words = wording.ruling_variants(route, direction, "", _figure(bent, units), train)
        result.append(Bracket(bent.start, bent.end, _climbs(bent), True, words))
    return result


def _other(frame: Frame, mark: Landmark) -> Bracket:
    figure = _figure(mark, frame.units)
    name = wording.kind_words(mark.kind)
    bare = figure.split(" (")[0]
    words = dict.fromkeys((f"{name}: {figure}", f"{name}: {bare}", f"{name.split(',')[0]} {bare}"))
    return Bracket(mark.start, mark.end, _climbs(mark), False, tuple(words))


def _in_lanes(brackets: list[Bracket], scale: float) -> tuple[tuple[Bracket, ...], tuple[str, ...]]:
    """Each in the lane nearest the blocks in which neither it nor its words meet another."""
    ends: dict[tuple[bool, int], list[tuple[float, float]]] = {}
    laid, left_out = [], []
    for item in brackets:
        style = LETTERING["ruling" if item.heavy else "bracket"].type
        spare = max(0.0, extent(item.words[0], style)[0] / scale - (item.end - item.start)) / 2 + 6 / scale
        span = (item.start - spare, item.end + spare)
        for lane in range(_MOST_LANES):
            taken = ends.setdefault((item.above, lane), [])
            if all(span[1] <= a or b <= span[0] for a, b in taken):
                taken.append(span)
                laid.append(dataclasses.replace(item, lane=lane))
                break
        else:
            left_out.append(item.words[0])
    return tuple(laid), tuple(left_out)
