"""What the ground does along the line: landmarks, grade runs, straddles."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

from profiler.units import PERCENT

INTERVAL = (2.5, 97.5)
"""Percentiles between which a stated interval lies: 95 %."""

SHOWN_FROM = 0.5
"""Crests, sags, grade breaks and suspected structures are shown from this probability on."""

KINDS = (
    "crest",
    "sag",
    "grade_break",
    "ruling_grade",
    "ruling_grade_compensated",
    "sustained_grade",
    "heavy_grade_4000_or_less",
    "heavy_grade_over_4000",
    "sharpest_curve",
    "total_rise",
    "total_fall",
    "suspected_tunnel",
    "suspected_bridge",
)


@dataclass(frozen=True, kw_only=True)
class Landmark:
    """One thing worth knowing, of a ``kind`` ("crest", "ruling_grade", …), with its figures and how sure.

    Places are chainages [m]: the stretch ``start``…``end`` and the one place ``at`` that stands
    for it. ``direction`` says whom it concerns ("with", "against", "both"); ``value`` is as
    travelled, with ``low`` and ``high`` its 95 % interval (None where there is none), in ``unit``
    ("m", "%", "degree"). For a crest or a sag ``value`` is its prominence and ``place_low``,
    ``place_high`` bound its place. ``probability`` is that the thing exists as stated.
    ``train_length`` [m] where the figure belongs to a length of train. ``note`` says the rest.
    """

    kind: str
    direction: str
    start: float
    end: float
    at: float
    value: float
    unit: str
    low: float | None = None
    high: float | None = None
    probability: float = 1.0
    train_length: float | None = None
    place_low: float | None = None
    place_high: float | None = None
    note: str = ""


@dataclass(frozen=True)
class GradeRun:
    """A stretch that agrees with one grade within its standard error: a way of reading.

    ``start``, ``end`` [m]; ``grade``, ``grade_se`` [m/m]; ``rise`` [m] with chainage;
    ``end_se`` is the standard error of the place where the run ends [m].
    """

    start: float
    end: float
    grade: float
    grade_se: float
    rise: float
    end_se: float = 0.0


@dataclass(frozen=True, kw_only=True)
class PracticeNote:
    """The line beside customary design practice: information, never an error.

    By chainage [m]: the stretch ``start``…``end``. ``kind`` is "tight_curve", "short_spiral",
    "sharp_vertical_curve" or "cant" where it departs from practice; "balanced_cant" is a plain figure
    of a curve. ``value`` is what is there (for a cant, what the speed asks) and ``practice`` the limit
    of practice, both in ``unit`` ("degree", "m", "mm"); ``value_se`` the standard error of ``value``;
    ``speed`` [m/s] that of the trains of ``train_class`` ("": of all), None where speed plays no part.
    ``of`` names what it is about ("curve 62C"), ``source`` where the practice is written.
    """

    kind: str
    start: float
    end: float
    value: float
    practice: float
    unit: str
    value_se: float = 0.0
    speed: float | None = None
    train_class: str = ""
    of: str = ""
    source: str = ""

    @property
    def departs(self) -> bool:
        """Whether the line departs from practice here."""
        return self.kind != "balanced_cant"


@dataclass(frozen=True)
class Straddle:
    """Head positions, by chainage [m], for which a train lies on both sides of a landmark.

    From ``head`` (the head end reaches it) over ``quarter``, ``half`` and ``three_quarter`` of the train to
    ``clear`` (the rear leaves it), for a train of ``train_length`` [m] travelling in a ``direction``, whose figures
    fall against chainage. ``landmark`` is the position of the landmark, ``kind`` its kind.
    """

    landmark: int
    kind: str
    direction: str
    train_length: float
    head: float
    quarter: float
    half: float
    three_quarter: float
    clear: float


@dataclass(frozen=True)
class Landmarks:
    """What is worth knowing of a line: ``items``, ``grade_runs``, ``straddles``, notes of design ``practice``.

    All in order of chainage; ``straddles`` point into ``items`` by position.
    """

    items: tuple[Landmark, ...]
    grade_runs: tuple[GradeRun, ...]
    straddles: tuple[Straddle, ...]
    practice: tuple[PracticeNote, ...] = ()

    def of_kind(self, *kinds: str, direction: str | None = None) -> tuple[Landmark, ...]:
        """Those of some kinds, for one direction where asked ("both" counts for either)."""
        return tuple(
            item
            for item in self.items
            if item.kind in kinds and (direction is None or item.direction in (direction, "both"))
        )

    def shown(self, *kinds: str) -> tuple[Landmark, ...]:
        """Those of some kinds that are sure enough to be drawn: `SHOWN_FROM`."""
        return tuple(item for item in self.of_kind(*kinds) if item.probability >= SHOWN_FROM)

    @property
    def steepest_ruling(self) -> float:
        """The steepest ruling grade of all trains and directions, 0 where nothing climbs. [m/m]"""
        return max((item.value * PERCENT for item in self.of_kind("ruling_grade")), default=0.0)

    @property
    def suspected(self) -> tuple[Landmark, ...]:
        """Suspected tunnels and bridges sure enough to be shown."""
        return self.shown("suspected_tunnel", "suspected_bridge")


_TURNED = {"with": "against", "against": "with", "both": "both"}
_WITH_CHAINAGE = ("grade_break", "sharpest_curve")
"""Kinds whose ``value`` has its sign with chainage."""


def reversed_landmarks(marks: Landmarks, total: float) -> Landmarks:
    """The same landmarks by chainage from the other end of a line of a length ``total`` [m], in order of it.

    What concerned one direction concerns the other; doing it twice gives them back.
    """
    order = sorted(range(len(marks.items)), key=lambda i: -marks.items[i].end)
    place = {old: new for new, old in enumerate(order)}
    runs = marks.grade_runs
    before = (0.0, *(run.end_se for run in runs[:-1]))  # how sure the start of each run is
    return Landmarks(
        items=tuple(_turned(marks.items[i], total) for i in order),
        grade_runs=tuple(
            GradeRun(total - run.end, total - run.start, -run.grade, run.grade_se, -run.rise, se)
            for run, se in reversed(tuple(zip(runs, before, strict=True)))
        ),
        straddles=tuple(
            sorted(
                (
                    dataclasses.replace(
                        s,
                        landmark=place[s.landmark],
                        direction=_TURNED[s.direction],
                        **{name: total - getattr(s, name) for name in _STRADDLE_PLACES},
                    )
                    for s in marks.straddles
                ),
                key=lambda s: s.landmark,
            )
        ),
        practice=tuple(
            dataclasses.replace(note, start=total - note.end, end=total - note.start)
            for note in sorted(marks.practice, key=lambda note: -note.end)
        ),
    )


_STRADDLE_PLACES = ("head", "quarter", "half", "three_quarter", "clear")


def _turned(item: Landmark, total: float) -> Landmark:
    sign = -1.0 if item.kind in _WITH_CHAINAGE else 1.0
    low, high = (None if x is None else sign * x for x in (item.low, item.high))
    nearest, farthest = (None if x is None else total - x for x in (item.place_low, item.place_high))
    return dataclasses.replace(
        item,
        direction=_TURNED[item.direction],
        start=total - item.end,
        end=total - item.start,
        at=total - item.at,
        value=sign * item.value,
        low=low if sign > 0 else high,
        high=high if sign > 0 else low,
        place_low=farthest,
        place_high=nearest,
    )
