"""Draft and buff along the line: with full effort, and with the effort needed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from profiler.cited import Cited
from profiler.mechanics.couplers import Peaks, peaks_full_and_needed, vehicles_of
from profiler.mechanics.places import balancing_speeds, head_positions, holding_back
from profiler.mechanics.resistance import block_coefficients, starting_resistances
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.traction import block_efforts
from profiler.train import Train
from profiler.units import FloatArray

KNUCKLE_BREAKS = Cited(300, "kips", "prac")
"""About where a typical knuckle breaks; no licence to come near it. [N]"""


def vehicle_resistances(train: Train, speed: npt.ArrayLike) -> FloatArray:
    """Resistance of every vehicle on level straight track at a speed [m/s]. [N], shape (…speed, v)"""
    each = np.array([c(speed) / n for c, n in zip(block_coefficients(train), train.counts, strict=True)])
    return np.moveaxis(each[train.vehicle_block], 0, -1)


def block_starts(train: Train, acceleration: float = 0.0) -> FloatArray:
    """Force that moves each block off on level straight track: breakaway, and an acceleration. [N], shape (blocks,)"""
    return starting_resistances(train) + acceleration * train.rotating_masses


def vehicle_starts(train: Train, acceleration: float = 0.0) -> FloatArray:
    """The same of every vehicle. [N], shape (v,)"""
    return (block_starts(train, acceleration) / train.counts)[train.vehicle_block]


def vehicle_efforts(train: Train, speed: npt.ArrayLike) -> FloatArray:
    """Full effort of every vehicle at a speed [m/s]; the last units of a block are those isolated.

    [N], shape (…speed, v)
    """
    working = np.array([b.working for b in train.blocks])
    efforts = block_efforts(train, speed)
    each = np.divide(efforts.T, working, out=np.zeros(efforts.T.shape), where=working > 0)
    pulls = np.concatenate([np.arange(b.count) < b.working for b in train.blocks])
    return each[..., train.vehicle_block] * pulls


@dataclass(frozen=True, eq=False)
class Pull:
    """Largest draft and buff along the line, for head positions ``head`` (h,) by distance travelled [m].

    ``speed`` (h,) is what full power keeps up there, no more than asked [m/s]. ``full`` with all of the effort at
    that speed, the train gaining speed where it is more than needed; ``needed`` with as much as holds that speed.
    """

    head: FloatArray
    speed: FloatArray
    full: Peaks
    needed: Peaks


def pull_along(terrain: Terrain, train: Train, speed: npt.ArrayLike, head: FloatArray | None = None) -> Pull:
    """Coupler forces along the line.

    Parameters
    ----------
    terrain : Terrain
    train : Train
    speed : array_like, shape (h,) or one for all
        The train goes no faster, and slower where its power falls short. [m/s]
    head : ndarray, shape (h,), optional
        Head positions by distance travelled [m]; from end to end if not given.
    """
    head = head_positions(0.0, terrain.length) if head is None else head
    reached = balancing_speeds(train, holding_back(terrain, train, head), fastest=speed)
    vehicles = vehicles_of(train)
    resistance, effort = vehicle_resistances(train, reached), vehicle_efforts(train, reached)
    full, needed = peaks_full_and_needed(terrain, vehicles, resistance, effort, head)
    return Pull(head, reached, full, needed)


@dataclass(frozen=True, kw_only=True)
class Over:
    """Head positions from ``start`` to ``end`` by distance travelled [m] where a draft is above ``limit`` [N].

    The most is ``force`` [N], with the head end at ``at`` [m], behind ``vehicle``, counted from 0 at the head.
    """

    start: float
    end: float
    at: float
    force: float
    vehicle: int
    limit: float

    @property
    def excess(self) -> float:
        """Above the limit. [N]"""
        return self.force - self.limit


def draft_over(found: Peaks, limit: float) -> tuple[Over, ...]:
    """Where the draft is above a limit [N], in order of travel."""
    over = found.draft > limit
    edge = np.flatnonzero(np.diff(np.r_[False, over, False]))
    stretches = []
    for first, end in zip(edge[::2], edge[1::2], strict=True):
        most = first + int(np.argmax(found.draft[first:end]))
        stretches.append(
            Over(
                start=float(found.head[first]),
                end=float(found.head[end - 1]),
                at=float(found.head[most]),
                force=float(found.draft[most]),
                vehicle=int(found.draft_at[most]),
                limit=float(limit),
            )
        )
    return tuple(stretches)
