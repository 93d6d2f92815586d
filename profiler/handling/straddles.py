"""A real train astride crests, sags and breaks: quarters by mass, and two landmarks under one train."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from profiler.landmark import SHOWN_FROM, Landmark, Straddle
from profiler.landmarks.straddles import straddles
from profiler.mark import Figure, Mark
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.under_train import height_at, spread_of
from profiler.train import Train
from profiler.units import FloatArray

TURNS = ("crest", "sag")
SHARES = np.arange(5) / 4


def mass_quarters(train: Train) -> FloatArray:
    """Distances behind the head end [m] with none, a quarter, half, three quarters and all of the mass ahead, (5,)."""
    spread = spread_of(train)
    ahead = np.r_[0.0, np.cumsum(np.diff(spread.edge) * spread.density)]
    return np.interp(SHARES * ahead[-1], ahead, spread.edge)


@dataclass(frozen=True)
class TrainStraddle:
    """A train astride a landmark: its ``straddle``, quarters by mass, and ``change`` [m/m], what its two halves feel.

    With half of the mass past the landmark: mean grade under the part past it less that under the part before it,
    as travelled; negative over a crest.
    """

    straddle: Straddle
    change: float
    probability: float


@dataclass(frozen=True)
class PairStraddle:
    """Two crests or sags under one train: ``first`` and ``second`` in order of travel, positions among the landmarks.

    ``kind`` is "two_sags", "two_crests", "crest_and_sag" or "sag_and_crest"; ``start`` to ``end`` are head positions
    by chainage [m]; ``change`` [m/m] is the sum of what both bend the grade by; ``probability`` that both are there.
    """

    first: int
    second: int
    kind: str
    start: float
    end: float
    change: float
    probability: float


def train_straddles(train: Train, terrain: Terrain, items: Sequence[Landmark]) -> tuple[TrainStraddle, ...]:
    """Straddles of one train in the terrain's direction, in order of travel; ``items``: the line's landmarks."""
    found = []
    for straddle in straddles(items, [mass_quarters(train)], (terrain.direction,)):
        item = items[straddle.landmark]
        place, head = (float(terrain.way_at(x)) for x in (item.at, straddle.half))
        at = np.array([head, place, head - train.length])
        rise = -np.diff(height_at(terrain.way, terrain.elevation, at))
        grades = rise / -np.diff(at)
        found.append(TrainStraddle(straddle, float(grades[0] - grades[1]), item.probability))
    return tuple(sorted(found, key=lambda s: float(terrain.way_at(s.straddle.head))))


def sags(terrain: Terrain, found: Sequence[TrainStraddle]) -> tuple[tuple[float, float], ...]:
    """Head positions by distance travelled from and to which a train lies astride of each sag that is shown. [m]"""
    return tuple(
        (float(terrain.way_at(one.straddle.head)), float(terrain.way_at(one.straddle.clear)))
        for one in found
        if one.straddle.kind == "sag" and one.probability >= SHOWN_FROM
    )


def pair_straddles(found: Sequence[TrainStraddle]) -> tuple[PairStraddle, ...]:
    """Every two crests or sags of `train_straddles` that lie under the train at once, the worst first."""
    pairs = []
    for a, b in combinations([s for s in found if s.straddle.kind in TURNS], 2):
        one, other = a.straddle, b.straddle
        if abs(other.head - one.head) >= one.train_length:
            continue
        kinds = one.kind, other.kind
        kind = f"two_{one.kind}s" if one.kind == other.kind else "_and_".join(kinds)
        change, probability = abs(a.change) + abs(b.change), a.probability * b.probability
        pairs.append(PairStraddle(one.landmark, other.landmark, kind, other.head, one.clear, change, probability))
    return tuple(sorted(pairs, key=lambda p: -p.change))


def straddle_marks(found: Sequence[TrainStraddle], pairs: Sequence[PairStraddle]) -> tuple[Mark, ...]:
    """Marks of kind "straddle", not yet numbered: from the head end at the landmark to the rear clear of it.

    Of landmarks too unsure to be shown there are none.
    """
    marks = []
    for one in (x for x in found if x.probability >= SHOWN_FROM):
        s = one.straddle
        marks.append(
            Mark(
                number=0,
                kind="straddle",
                direction=s.direction,
                earliest=s.head,
                recommended=s.half,
                latest=s.clear,
                quarter=s.quarter,
                half=s.half,
                three_quarter=s.three_quarter,
                clear=s.clear,
                value=one.change,
                unit="m/m",
                probability=one.probability,
                reason=s.kind,
                figures=(Figure("landmark", s.landmark, ""),),
            )
        )
    for pair in (x for x in pairs if x.probability >= SHOWN_FROM):
        marks.append(
            Mark(
                number=0,
                kind="straddle",
                direction=found[0].straddle.direction,
                earliest=pair.start,
                recommended=(pair.start + pair.end) / 2,
                latest=pair.end,
                value=pair.change,
                unit="m/m",
                probability=pair.probability,
                reason=pair.kind,
                figures=(Figure("first_landmark", pair.first, ""), Figure("second_landmark", pair.second, "")),
            )
        )
    return tuple(marks)
