"""What the power of a train does on the climbs: how fast, how many units it takes, and where a helper is needed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from profiler.mechanics.places import (
    Climb,
    balancing_speeds,
    hardest_head,
    head_positions,
    holding_back,
    slowest_speed,
)
from profiler.mechanics.pull import block_starts
from profiler.mechanics.rating import units_needed
from profiler.mechanics.resistance import (
    CURVE_START_FACTOR,
    train_coefficients,
    vehicle_coefficients,
)
from profiler.mechanics.short_time import allowed, short_time_spent
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.traction import block_efforts, starting_efforts, unit_effort
from profiler.mechanics.under_train import Spread, spread_of, under_train
from profiler.train import Block, Train
from profiler.vehicle import Vehicle

MOST_UNITS = 40
"""More units than this are not looked for."""


@dataclass(frozen=True, kw_only=True)
class ClimbSpeed:
    """Balancing ``speed`` on a climb [m/s], where it holds the train back most: head end at ``head`` [m].

    ``grade`` [m/m] is the compensated mean under the train there. ``short_time`` [s] is how long the units work below
    their continuous speed about there, 0 where none does, infinite where the train stalls (`short_time_spent`).
    ``enough``: the speed is the minimum continuous one or more, or less for no longer than the train file allows;
    0 is a stall.
    """

    climb: Climb
    head: float
    grade: float
    speed: float
    short_time: float
    enough: bool


def climb_speeds(terrain: Terrain, train: Train, climbs: Sequence[Climb]) -> tuple[ClimbSpeed, ...]:
    """Balancing speed of a train under full power on each climb."""
    head = np.array([hardest_head(terrain, train, climb) for climb in climbs])
    under = under_train(terrain, spread_of(train), head)
    speed, least = balancing_speeds(train, under.grade_force + under.curve_force), slowest_speed(train)
    along = np.union1d(head_positions(0.0, terrain.length), head)
    spent = short_time_spent(terrain, train, along)[np.searchsorted(along, head)]
    enough = (speed >= least) | allowed(train, spent)
    rows = zip(climbs, head, under.grade + under.curve_grade, speed, spent, enough, strict=True)
    return tuple(
        ClimbSpeed(climb=c, head=float(h), grade=float(g), speed=float(v), short_time=float(t), enough=bool(ok))
        for c, h, g, v, t, ok in rows
    )


def leading_unit(train: Train) -> Vehicle:
    """The foremost locomotive that pulls."""
    return next(b.vehicle for b in train.blocks if b.working)


@dataclass(frozen=True, kw_only=True)
class UnitsNeeded:
    """Units like the leading one that the first group needs on a line, power elsewhere as it is.

    ``has`` pull there now; ``haul`` keep up the minimum continuous speed, ``start`` start the train anywhere, None
    where none do.
    """

    has: int
    haul: int | None
    start: int | None

    @property
    def units(self) -> int | None:
        """For both."""
        return None if self.haul is None or self.start is None else max(self.haul, self.start)


def units_for(terrain: Terrain, train: Train, *, acceleration: float = 0.0) -> UnitsNeeded:
    """How many units like its leading one a train needs at its head; a start must give an acceleration [m/s²]."""
    group, unit = train.groups[0], leading_unit(train)
    haul = start = None
    for units in range(1, MOST_UNITS + 1):
        block = Block(vehicle=unit, count=units)
        some = replace(train, blocks=(*train.blocks[: group.first], block, *train.blocks[group.last + 1 :]))
        speed = slowest_speed(some)
        under = under_train(terrain, spread_of(some))
        need = under.grade_force + under.curve_force + float(train_coefficients(some)(speed))
        if haul is None and block_efforts(some, speed, continuous=True).sum() >= need.max():
            haul = units
        need = under.grade_force + CURVE_START_FACTOR * under.curve_force + block_starts(some, acceleration).sum()
        if start is None and starting_efforts(some).sum() >= need.max():
            start = units
        if haul is not None and start is not None:
            break
    return UnitsNeeded(has=group.working, haul=haul, start=start)


@dataclass(frozen=True, kw_only=True)
class HelperDistrict:
    """Head positions from ``start`` to ``end`` by distance travelled [m] where the through power is not enough.

    At minimum continuous speed it falls short by ``missing`` at most [N], with the head end at ``at`` [m]. So many
    ``units`` at the rear, like the leading one, make up for it; None where none do.
    """

    start: float
    end: float
    at: float
    missing: float
    units: int | None


def helper_districts(terrain: Terrain, train: Train) -> tuple[HelperDistrict, ...]:
    """Where a train needs a helper to keep up its minimum continuous speed, in order of travel.

    Districts closer together than the train is long are one: a helper is not taken off for less. None is needed where
    the train gets over in short-time effort within the time its file allows.
    """
    head, speed, unit = head_positions(0.0, terrain.length), slowest_speed(train), leading_unit(train)
    need = holding_back(terrain, train, head) + float(train_coefficients(train)(speed))
    missing = need - float(block_efforts(train, speed, continuous=True).sum())
    short = np.flatnonzero(missing > 0)
    if short.size == 0:
        return ()
    spared = allowed(train, short_time_spent(terrain, train, head))
    behind = Spread(np.array([train.length, train.length + unit.length]), np.array([unit.mass_per_metre]))
    own = under_train(terrain, behind, head)
    own_need = own.grade_force + own.curve_force + float(vehicle_coefficients(unit)(speed))
    effort = float(unit_effort(unit, speed, rail=train.rail, continuous=True))
    apart = np.flatnonzero(np.diff(head[short]) > train.length) + 1
    found = []
    for part in np.split(short, apart):
        if spared[part].any():
            continue
        most = part[int(np.argmax(missing[part]))]
        units = max(
            units_needed(float(missing[i]), effort=effort, own_need=float(own_need[i])) for i in part if missing[i] > 0
        )
        found.append(
            HelperDistrict(
                start=float(head[part[0]]),
                end=float(head[part[-1]]),
                at=float(head[most]),
                missing=float(missing[most]),
                units=math.ceil(units - 1e-9) if math.isfinite(units) else None,
            )
        )
    return tuple(found)
