"""Places on the line where a train is looked at: head positions by distance travelled, and climbs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from profiler.cited import Cited
from profiler.landmark import Landmarks
from profiler.mechanics.rating import balancing_speed
from profiler.mechanics.resistance import train_coefficients
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.traction import block_efforts
from profiler.mechanics.under_train import spread_of, under_train
from profiler.train import Train
from profiler.units import FloatArray

HEAD_STEP = 20.0
"""Distance between head positions where forces are worked out vehicle by vehicle. [m] Where grades
break sharply by up to 5 % every 300 m, peaks differ from those found every 10 m by 20 kN at most (measured)."""

FASTEST = Cited(100, "kmh", "choice")
"""Balancing speeds are sought up to here. [m/s]"""

SLOWEST = Cited(10, "mph", "choice")
"""Least speed on a climb where heat sets no limit to the effort. [m/s]"""


def head_positions(start: float, end: float) -> FloatArray:
    """Head positions [m] evenly from start to end [m], both included, no farther apart than `HEAD_STEP`."""
    return np.linspace(start, end, max(int(np.ceil((end - start) / HEAD_STEP)), 0) + 1)


@dataclass(frozen=True, kw_only=True)
class Climb:
    """A climb by distance travelled: ``start`` to ``end`` [m], its ``kind`` "sustained_grade" or "ruling"."""

    kind: str
    start: float
    end: float

    @property
    def heads(self) -> FloatArray:
        """Head positions at which a train is on it (h,) [m]; on the ruling climb the one that rules."""
        return head_positions(self.end if self.kind == "ruling" else self.start, self.end)


def first_most(values: FloatArray) -> int:
    """Where the largest of some values (n,) is first reached, but for rounding: on one grade all are equal."""
    return int(np.argmax(values >= values.max() - 1e-9 * np.abs(values).max()))


def slowest_speed(train: Train) -> float:
    """Minimum continuous speed of a train [m/s]: that of the unit which needs most, `SLOWEST` where none needs any."""
    stated = [b.vehicle.traction.continuous_speed for b in train.blocks if b.working and b.vehicle.traction]
    return float(max((s for s in stated if s is not None), default=SLOWEST))


def holding_back(terrain: Terrain, train: Train, head: FloatArray | None = None, *, curves: float = 1.0) -> FloatArray:
    """Grade and curve force [N] on a train for head positions (h,) [m], + holding it back; stations if not given."""
    under = under_train(terrain, spread_of(train), head)
    return under.grade_force + curves * under.curve_force


def balancing_speeds(train: Train, held: FloatArray, *, fastest: npt.ArrayLike = FASTEST) -> FloatArray:
    """Speed [m/s] at which full power holds a train that grade and curves hold back by forces (h,) [N].

    0 where it does not move, `fastest` where it would go faster still.
    """
    resistance = train_coefficients(train)
    return balancing_speed(
        lambda v: block_efforts(train, v).sum(axis=0), lambda v: resistance(v) + held, fastest=fastest
    )


def ruling_climb(terrain: Terrain, train: Train) -> Climb:
    """Where grade and curves hold the train back most: what lies under it there."""
    under = under_train(terrain, spread_of(train))
    head = float(under.head[first_most(under.grade + under.curve_grade)])
    return Climb(kind="ruling", start=head - train.length, end=head)


def climbs_of(terrain: Terrain, train: Train, landmarks: Landmarks | None = None) -> tuple[Climb, ...]:
    """The ruling climb of a train, then the sustained grades it climbs, in order of travel."""
    found: Sequence[Climb] = ()
    if landmarks is not None:
        items = landmarks.of_kind("sustained_grade", direction=terrain.direction)
        ends = [sorted(float(terrain.way_at(x)) for x in (item.start, item.end)) for item in items]
        found = [Climb(kind="sustained_grade", start=a, end=b) for a, b in sorted(map(tuple, ends))]
    return (ruling_climb(terrain, train), *found)


def hardest_head(terrain: Terrain, train: Train, climb: Climb, *, curves: float = 1.0) -> float:
    """Head position [m] on a climb at which grade and curves hold the train back most."""
    held = holding_back(terrain, train, climb.heads, curves=curves)
    return float(climb.heads[first_most(held)])
