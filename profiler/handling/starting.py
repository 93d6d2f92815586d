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
from profiler.mechanics.under_train import spread_of, under_train
from profiler.train import Train
from profiler.units import GRAVITY, FloatArray

START_ACCELERATION = Cited(0.01, "m_s", "choice")
"""Acceleration with which a train counts as started: walking pace after two minutes. [m/s²]"""

NO_NOTCH = -1
"""Where even full power does not start the train."""


@dataclass(frozen=True, eq=False)
class Starting:
    """What it takes to start a train that stands with its head at ``head`` (h,), by distance travelled [m].

    Forces [N] are (h,): ``grade`` under the train, + holding it back; ``curve``, doubled as at a start; ``breakaway``
    and ``inertia``, the latter for a small acceleration, are the same everywhere. ``available`` is the effort of
    all units at a stand, by adhesion and starting effort, whichever is less: ``short_of`` says which ("adhesion" or
    "starting_effort"). ``draft`` and ``buff`` are the largest coupler forces with the effort needed, behind vehicles
    ``draft_at`` and ``buff_at`` from 0 at the head, ``draft_limit`` and ``draft_caution`` what couplers may carry.
    ``notch`` is the lowest that moves it: 0 where it rolls off by itself, `NO_NOTCH` where none does.
    ``probability`` is the share of the profile's draws in which it starts; ``independent`` what the independent
    brake of the head group holds; ``continued`` where part of the train stands before the line begins, the first
    grade going on there.
    """

    head: FloatArray
    grade: FloatArray
    curve: FloatArray
    breakaway: float
    inertia: float
    available: float
    short_of: str
    draft: FloatArray
    draft_at: FloatArray
    buff: FloatArray
    buff_at: FloatArray
    draft_limit: float
    draft_caution: float
    notch: FloatArray
    probability: FloatArray
    independent: float
    continued: FloatArray

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
    spread = spread_of(train)
    under = under_train(terrain, spread, head)
    curve = CURVE_START_FACTOR * under.curve_force
    breakaway, inertia = float(starting_resistances(train).sum()), train.rotating_mass * acceleration
    need = under.grade_force + curve + breakaway + inertia
    available = float(starting_efforts(train).sum())
    found = _peaks(train, terrain, under.head, need, acceleration)
    limit = float(train.limits.draft)
    probability = ((need <= available) & (found.draft <= limit)).astype(float)
    if draws is not None:
        cap = np.minimum(available, need + (limit - found.draft) / _draft_growth(train))
        spare = cap - (need - under.grade_force)
        count = np.zeros(need.shape)
        for drawn in draws:
            count += under_train(terrain.lifted(drawn), spread, head).grade_force <= spare
        probability = count / len(draws)
    return Starting(
        head=under.head,
        grade=under.grade_force,
        curve=curve,
        breakaway=breakaway,
        inertia=inertia,
        available=available,
        short_of=_short_of(train),
        draft=found.draft,
        draft_at=found.draft_at,
        buff=found.buff,
        buff_at=found.buff_at,
        draft_limit=limit,
        draft_caution=float(train.limits.draft_caution),
        notch=lowest_notch(np.array([block_efforts(train, 0.0, notch=n).sum() for n in notches_of(train)]), need),
        probability=probability,
        independent=independent_force(train),
        continued=under.head < train.length + terrain.way[0],
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


def _peaks(train: Train, terrain: Terrain, head: FloatArray, need: FloatArray, acceleration: float) -> Peaks:
    """Coupler forces with the effort needed, whatever there is; worked out no farther apart than `HEAD_STEP`."""
    vehicles = vehicles_of(train)
    if train.vehicles == 1:  # a light engine has no coupler to pull
        none, first = np.zeros(head.size), np.zeros(head.size, dtype=int)
        return Peaks(head, none, first, none, first)
    resistance = vehicle_starts(train, acceleration)
    effort = vehicle_efforts(train, 0.0)
    full = max(float(need.max()), 1.0)
    effort = effort * (full / effort.sum())  # as if the wheels held: what the coupler would have to carry
    stride = max(int(HEAD_STEP / np.diff(head).max()), 1) if head.size > 2 else 1
    at = np.unique(np.r_[np.arange(0, head.size, stride), head.size - 1])
    some = peaks(terrain, vehicles, resistance, effort, head[at], curves=CURVE_START_FACTOR)
    if at.size == head.size:
        return some
    nearest = np.searchsorted((head[at][1:] + head[at][:-1]) / 2, head)
    return Peaks(
        head,
        np.interp(head, head[at], some.draft),
        some.draft_at[nearest],
        np.interp(head, head[at], some.buff),
        some.buff_at[nearest],
    )
