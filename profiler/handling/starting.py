"""Starting a train on a grade: what it needs at every place, what there is, and what a coupler has to carry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.cited import Cited
from profiler.mechanics.air import independent_force
from profiler.mechanics.couplers import Peaks, peaks, vehicles_of
from profiler.mechanics.places import HEAD_STEP
from profiler.mechanics.pull import vehicle_efforts, vehicle_starts
from profiler.mechanics.resistance import CURVE_START_FACTOR, starting_resistances
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.traction import adhesion, block_efforts, notches_of, starting_efforts
from profiler.mechanics.under_train import rise_under, spread_of, under_train
from profiler.train import Train
from profiler.units import GRAVITY, FloatArray

START_ACCELERATION = Cited(0.01, "m_s", "choice")
"""Acceleration with which a train counts as started: walking pace after two minutes. [m/s²]"""

DRAWS_AT_ONCE = 4
"""Draws worked on together, so that they stay in the fast memory of a processor."""

NO_NOTCH = -1
"""Where even full power does not start the train."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Stand:
    """What a train needs to start with its head at ``head`` (h,), by distance travelled [m].

    Forces [N] are (h,): ``grade`` under the train, + holding it back; ``curve``, doubled as at a start; ``breakaway``
    and ``inertia``, the latter for a small acceleration, are the same everywhere. ``available`` is the effort of
    all units at a stand. ``draft`` and ``buff`` are the largest coupler forces with the effort needed, behind vehicles
    ``draft_at`` and ``buff_at`` from 0 at the head, ``draft_limit`` what couplers may carry.
    """

    head: FloatArray
    grade: FloatArray
    curve: FloatArray
    breakaway: float
    inertia: float
    available: float
    draft: FloatArray
    draft_at: FloatArray
    buff: FloatArray
    buff_at: FloatArray
    draft_limit: float

    @property
    def need(self) -> FloatArray:
        """Effort that starts the train. [N]"""
        return self.grade + self.curve + self.breakaway + self.inertia

    @property
    def margin(self) -> FloatArray:
        """Effort left over; below zero where the train does not start. [N]"""
        return self.available - self.need

    @property
    def starts(self) -> FloatArray:
        """Where there is effort enough and no coupler carries more than the limit. bool"""
        return np.asarray((self.margin >= 0) & (self.draft <= self.draft_limit))


@dataclass(frozen=True, kw_only=True, eq=False)
class Starting(Stand):
    """All that is told of starts: beside what is needed, how the crew starts and how sure it is.

    What bounds the effort available is told by ``short_of``: "adhesion" or "starting_effort", whichever is less.
    ``draft_caution`` is the draft above which it is told [N]. ``notch`` is the lowest that moves the train: 0 where
    it rolls off by itself, `NO_NOTCH` where none does. ``probability`` is the share of the profile's draws in which it
    starts; ``independent`` what the independent brake of the head group holds [N]; ``continued`` where part of the
    train stands before the line begins, the first grade going on there.
    """

    short_of: str
    draft_caution: float
    notch: FloatArray
    probability: FloatArray
    independent: float
    continued: FloatArray

    @property
    def limited_by(self) -> FloatArray:
        """What gives out first, were the train heavier: "adhesion", "starting_effort" or "knuckle". str, (h,)"""
        knuckle = self.draft * self.available > self.draft_limit * np.maximum(self.need, 0.0)
        return np.where(knuckle, "knuckle", self.short_of)

    @property
    def independent_holds(self) -> FloatArray:
        """Where the independent brake of the head group alone keeps the train from rolling back. bool"""
        return np.asarray(self.independent >= self.grade)


def lowest_notch(efforts: FloatArray, need: FloatArray) -> FloatArray:
    """Lowest notch whose effort, of ``efforts`` (n + 1,) rising from idle, meets a need (h,) [N]; else `NO_NOTCH`."""
    notch = np.searchsorted(efforts, need)
    return np.where(notch < efforts.size, notch, NO_NOTCH)


def starting(
    train: Train,
    terrain: Terrain,
    draws: FloatArray | None = None,
    *,
    head: FloatArray | None = None,
    acceleration: float = START_ACCELERATION,
) -> Starting:
    """What it takes to start a train anywhere.

    Parameters
    ----------
    train : Train
    terrain : Terrain
    draws : ndarray, shape (d, n), optional
        Elevations of equally likely profiles at the stations of the terrain (`terrain.drawn_elevations`) [m];
        without them the terrain counts as sure.
    head : ndarray, shape (h,), optional
        Head positions by distance travelled [m]; every station of the terrain if not given.
    acceleration : float
        With which the train counts as started. [m/s²]

    Notes
    -----
    Need = M g G + 2 C + Σ breakaway + M_rot a. All vehicles start at once: slack is stretched, as it is where the
    grade stopped the train. Coupler forces at places no farther apart than `HEAD_STEP`, between them in proportion.
    """
    found = stand(train, terrain, head, acceleration=acceleration)
    need, limit = found.need, found.draft_limit
    probability = found.starts.astype(float)
    if draws is not None:
        cap = np.minimum(found.available, need + (limit - found.draft) / _draft_growth(train))
        spare = (cap - (need - found.grade)) / GRAVITY
        spread = spread_of(train)
        count = np.zeros(need.shape)
        for i in range(0, len(draws), DRAWS_AT_ONCE):
            count += (rise_under(terrain, draws[i : i + DRAWS_AT_ONCE], spread, head) <= spare).sum(axis=0)
        probability = count / len(draws)
    return Starting(
        **vars(found),
        short_of=_short_of(train),
        draft_caution=float(train.limits.draft_caution),
        notch=lowest_notch(np.array([block_efforts(train, 0.0, notch=n).sum() for n in notches_of(train)]), need),
        probability=probability,
        independent=independent_force(train),
        continued=found.head < train.length + terrain.way[0],
    )


def stand(
    train: Train, terrain: Terrain, head: FloatArray | None = None, *, acceleration: float = START_ACCELERATION
) -> Stand:
    """What a train needs to start, and what its couplers carry; parameters and notes as in `starting`."""
    under = under_train(terrain, spread_of(train), head)
    curve = CURVE_START_FACTOR * under.curve_force
    breakaway, inertia = float(starting_resistances(train).sum()), train.rotating_mass * acceleration
    found = _peaks(train, terrain, head, float((under.grade_force + curve).max()) + breakaway + inertia, acceleration)
    return Stand(
        head=under.head,
        grade=under.grade_force,
        curve=curve,
        breakaway=breakaway,
        inertia=inertia,
        available=float(starting_efforts(train).sum()),
        draft=found.draft,
        draft_at=found.draft_at,
        buff=found.buff,
        buff_at=found.buff_at,
        draft_limit=float(train.limits.draft),
    )


def _short_of(train: Train) -> str:
    """What bounds the effort of the units that pull: the one for most of it."""
    by_adhesion = total = 0.0
    for block, effort in zip(train.blocks, starting_efforts(train), strict=True):
        if block.working and (traction := block.vehicle.traction):
            grip = float(adhesion(traction, train.rail, 0.0)) * block.vehicle.driven_mass * GRAVITY
            by_adhesion += effort if grip < traction.starting_effort else 0.0
            total += effort
    return "adhesion" if by_adhesion > total / 2 else "starting_effort"


def _draft_growth(train: Train) -> float:
    """How fast the largest draft grows with the need of a train that gets heavier all over, its units pulling alike."""
    mass, effort = vehicles_of(train).mass, vehicle_efforts(train, 0.0)
    behind = np.cumsum((mass / mass.sum() - effort / effort.sum())[::-1])
    return max(float(behind.max()), 1e-3)


def _peaks(train: Train, terrain: Terrain, head: FloatArray | None, need: float, acceleration: float) -> Peaks:
    """Coupler forces with the effort needed, whatever there is, at most ``need`` [N].

    At the heads given, or at all stations: worked out no farther apart than `HEAD_STEP`.
    """
    way = terrain.way if head is None else head
    vehicles = vehicles_of(train)
    if train.vehicles == 1:  # a light engine has no coupler to pull
        none, first = np.zeros(way.size), np.zeros(way.size, dtype=int)
        return Peaks(way, none, first, none, first)
    resistance = vehicle_starts(train, acceleration)
    effort = vehicle_efforts(train, 0.0)
    effort = effort * (max(need, 1.0) / effort.sum())  # as if the wheels held: what the coupler would have to carry
    stride = 1 if head is not None else max(int(HEAD_STEP / np.diff(way).max()), 1)
    at = np.unique(np.r_[np.arange(0, way.size, stride), way.size - 1])
    some = peaks(terrain, vehicles, resistance, effort, way[at], curves=CURVE_START_FACTOR)
    if stride == 1:
        return some
    nearest = np.searchsorted((some.head[1:] + some.head[:-1]) / 2, way)
    return Peaks(
        way,
        np.interp(way, some.head, some.draft),
        some.draft_at[nearest],
        np.interp(way, some.head, some.buff),
        some.buff_at[nearest],
    )
