"""How many units ought to pull on a climb: enough to start and to keep going, no more than the couplers bear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from profiler.mechanics.couplers import carried, held_back, vehicles_of
from profiler.mechanics.places import Climb, balancing_speeds, holding_back, slowest_speed
from profiler.mechanics.pull import block_starts, vehicle_efforts, vehicle_starts
from profiler.mechanics.resistance import CURVE_START_FACTOR
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.traction import starting_efforts
from profiler.train import Train
from profiler.units import FloatArray


@dataclass(frozen=True, kw_only=True)
class UnitsPulling:
    """A number of ``units`` of the head group pulling on a climb, power elsewhere as it is.

    ``starts``: their effort and that of the other groups is what a start needs, breakaway, grade and curves, at
    the hardest place. ``speed`` is the least they keep up [m/s], ``holds`` that it is the minimum continuous speed
    or more. ``needed_draft`` is the largest in the train at a start with the effort needed, ``full_draft`` that
    with all of it, the train gaining speed [N]: there with the head end at ``at`` by distance travelled [m] and
    behind ``vehicle``, counted from 0 at the head. ``excess`` is how far that is above the limit [N].
    """

    units: int
    starts: bool
    speed: float
    holds: bool
    needed_draft: float
    full_draft: float
    at: float
    vehicle: int
    excess: float


@dataclass(frozen=True, kw_only=True)
class UnitsToUse:
    """Units of the head group on a climb.

    ``pulling`` from one unit to all that can pull. ``start_need`` is what a start needs at the hardest place [N];
    ``head_limit`` [N] the most the head group may pull with at a start on the climb, the others pulling with all they
    have, so that no coupler behind it bears more than the draft ``limit`` [N].
    """

    climb: Climb
    pulling: tuple[UnitsPulling, ...]
    start_need: float
    head_limit: float
    limit: float

    @property
    def fewest(self) -> int | None:
        """Units that start the train and keep it at minimum continuous speed; None where all are too few."""
        return next((p.units for p in self.pulling if p.starts and p.holds), None)

    @property
    def most(self) -> int | None:
        """Units whose full effort stays within the draft limit; None where one is too many."""
        return max((p.units for p in self.pulling if p.excess == 0), default=None)

    @property
    def refused(self) -> bool:
        """Whether no number of units starts the train within the draft limit, whatever the throttle."""
        return not any(p.starts and p.holds and p.needed_draft <= self.limit for p in self.pulling)


def with_head_units(train: Train, units: int) -> Train:
    """The train with so many units of its first group pulling, those behind isolated."""
    group = train.groups[0]
    blocks = list(train.blocks)
    left = units
    for i in range(group.first, group.last + 1):
        pulling = min(left, blocks[i].working)
        left -= pulling
        blocks[i] = replace(blocks[i], isolated=blocks[i].count - pulling)
    return replace(train, blocks=tuple(blocks))


def units_to_use(terrain: Terrain, train: Train, climb: Climb, *, acceleration: float = 0.0) -> UnitsToUse:
    """Fewest and most units of the first group on a climb.

    Starts are made with the curve resistance of a start, and with an ``acceleration`` [m/s²] that the effort needed
    must give.
    """
    return units_on_climbs(terrain, train, [climb], acceleration=acceleration)[0]


def units_on_climbs(
    terrain: Terrain, train: Train, climbs: Sequence[Climb], *, acceleration: float = 0.0
) -> tuple[UnitsToUse, ...]:
    """The same on each of several climbs."""
    group, limit, slowest = train.groups[0], float(train.limits.draft), slowest_speed(train)
    curves, starts = CURVE_START_FACTOR, float(block_starts(train, acceleration).sum())
    needs = [float(holding_back(terrain, train, climb.heads, curves=curves).max()) + starts for climb in climbs]
    hardest = np.array([holding_back(terrain, train, climb.heads).max() for climb in climbs])
    trains = [with_head_units(train, units) for units in range(1, group.working + 1)]
    efforts = [vehicle_efforts(some, 0.0) for some in trains]
    able = [(float(starting_efforts(some).sum()), balancing_speeds(some, hardest)) for some in trains]
    first, last = int(train.counts[: group.first].sum()), int(train.counts[: group.last + 1].sum())
    others = vehicle_efforts(train, 0.0)
    available = float(others[first:last].sum())
    others[first:last] = 0.0
    vehicles, breakaway = vehicles_of(train), vehicle_starts(train)
    moving = vehicle_starts(train, acceleration)
    found = []
    for i, climb in enumerate(climbs):
        heads, pulling = climb.heads, []
        held = held_back(terrain, vehicles, heads, curves=curves)
        for units, (effort, (most, speed)) in enumerate(zip(efforts, able, strict=True), 1):
            needed = carried(vehicles, held + moving, effort, heads).force
            full = carried(vehicles, held + breakaway, effort, heads, full=True).force
            row, vehicle = np.unravel_index(int(full.argmax()), full.shape)
            pulling.append(
                UnitsPulling(
                    units=units,
                    starts=most >= needs[i],
                    speed=float(speed[i]),
                    holds=bool(speed[i] >= slowest),
                    needed_draft=max(float(needed.max()), 0.0),
                    full_draft=max(float(full.max()), 0.0),
                    at=float(heads[row]),
                    vehicle=int(vehicle),
                    excess=max(float(full.max()) - limit, 0.0),
                )
            )
        without = carried(vehicles, held + breakaway, others, heads, full=True).force
        found.append(
            UnitsToUse(
                climb=climb,
                pulling=tuple(pulling),
                start_need=needs[i],
                head_limit=min(_bearable(without[:, last - 1 :], vehicles.inertia, last, limit), available),
                limit=limit,
            )
        )
    return tuple(found)


def _bearable(force: FloatArray, inertia: FloatArray, last: int, limit: float) -> float:
    """Effort [N] ahead of vehicle ``last`` that brings the couplers behind, under ``force`` (h, k) [N], to a limit [N].

    It passes on what the vehicles behind a coupler weigh of the whole train.
    """
    passed = np.cumsum(inertia[::-1])[::-1][last:] / inertia.sum()
    return max(float(((limit - force) / passed).min(initial=np.inf)), 0.0)
