"""What would help a train that starts hardly, or not at all: each way tried at the place itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from profiler.handling.starting import Starting, starting
from profiler.mechanics.couplers import coupler_forces, vehicles_of
from profiler.mechanics.pull import vehicle_efforts, vehicle_starts
from profiler.mechanics.resistance import CURVE_START_FACTOR
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.units_to_use import with_head_units
from profiler.train import Block, Train


@dataclass(frozen=True)
class Relief:
    """One way to make a start easier, tried at one place.

    ``kind``: "fewer_units" (``count`` units of the head group pull, so that full throttle stays within the draft
    limit), "rear_power" (``count`` units go from the head to the rear), "dry_rail" (sand, or waiting; ``count`` 0),
    "doubling" (``count`` cars go first, the rest is left standing). ``margin`` [N] and ``draft`` [N] are those of
    `Starting` then, with "fewer_units" the draft is that of full throttle; ``buff`` [N] too; ``starts`` whether the
    train then does.
    """

    kind: str
    count: int
    margin: float
    draft: float
    buff: float
    starts: bool


def reliefs(train: Train, terrain: Terrain, head: float) -> tuple[Relief, ...]:
    """What would help where the head stands at a place [m] by distance travelled; nothing that changes nothing.

    Fewer units and power at the rear are told where couplers are at their caution, a dry rail where it is not, and
    doubling where the train does not start as it is.
    """
    here = _at(train, terrain, head)
    found = [_fewer_units(train, terrain, head)]
    if here.draft[0] > train.limits.draft_caution:
        found.append(_rear_power(train, terrain, head, float(here.draft[0])))
    if train.rail != "dry":
        found.append(_relief("dry_rail", 0, _at(replace(train, rail="dry"), terrain, head)))
    if not here.starts[0]:
        found.append(_doubling(train, terrain, head))
    return tuple(relief for relief in found if relief is not None)


def _at(train: Train, terrain: Terrain, head: float) -> Starting:
    return starting(train, terrain, head=np.array([head]))


def _relief(kind: str, count: int, found: Starting) -> Relief:
    margin, draft, buff = (float(x[0]) for x in (found.margin, found.draft, found.buff))
    return Relief(kind, count, margin, draft, buff, bool(found.starts[0]))


def _full_draft(train: Train, terrain: Terrain, head: float) -> float:
    """Largest draft [N] with full throttle at a stand, the train gaining speed."""
    force = coupler_forces(
        terrain,
        vehicles_of(train),
        vehicle_starts(train),
        vehicle_efforts(train, 0.0),
        np.array([head]),
        curves=CURVE_START_FACTOR,
        full=True,
    ).force
    return float(force.max(initial=0.0))


def _fewer_units(train: Train, terrain: Terrain, head: float) -> Relief | None:
    """The most units of the head group that pull it away with no risk to a knuckle, if that is not all of them."""
    pulling = train.groups[0].working
    if _full_draft(train, terrain, head) <= train.limits.draft:
        return None
    for units in range(pulling - 1, 0, -1):
        some = with_head_units(train, units)
        found, draft = _at(some, terrain, head), _full_draft(some, terrain, head)
        if draft <= train.limits.draft and found.starts[0]:
            return replace(_relief("fewer_units", units, found), draft=draft)
    return None


def _rear_power(train: Train, terrain: Terrain, head: float, draft: float) -> Relief | None:
    """The fewest units at the rear that bring the draft to the caution, or the number that brings it lowest.

    No more of them than may push: their buff is within its limit.
    """
    tried = [_relief("rear_power", n, _at(moved, terrain, head)) for n, moved in _moved_back(train)]
    better = [r for r in tried if r.draft < draft and r.buff <= train.limits.buff]
    eased = [r for r in better if r.draft <= train.limits.draft_caution]
    return eased[0] if eased else min(better, key=lambda r: r.draft, default=None)


def _moved_back(train: Train) -> Iterator[tuple[int, Train]]:
    """The train with ever more of the head group's units behind its last car; at least one stays in front."""
    for count in range(1, train.vehicles):
        blocks: list[Block | None] = list(train.blocks)
        left, moved = count, []
        for i in range(train.groups[0].last, train.groups[0].first - 1, -1):
            block = train.blocks[i]
            taken = min(left, block.count)
            if taken:
                moved.append(Block(vehicle=block.vehicle, count=taken, isolated=min(taken, block.isolated)))
                blocks[i] = _less(block, taken)
                left -= taken
        kept = [b for b in blocks if b is not None]
        if left or not kept or kept[0].vehicle.kind != "locomotive" or not kept[0].working:
            return
        yield count, replace(train, blocks=(*kept, *moved))


def _less(block: Block, taken: int) -> Block | None:
    """A block without so many vehicles, isolated ones first."""
    left = block.count - taken
    return Block(vehicle=block.vehicle, count=left, isolated=max(block.isolated - taken, 0)) if left else None


def _doubling(train: Train, terrain: Terrain, head: float) -> Relief | None:
    """The most cars that all the power starts, the rest being cut off behind them."""
    cars = sum(b.count for b in train.blocks if b.vehicle.kind == "car")
    least, most = 0, cars  # so many start, so many do not
    best = None
    while most - least > 1:
        middle = (least + most) // 2
        found = _at(_with_cars(train, middle), terrain, head)
        if found.starts[0]:
            least, best = middle, _relief("doubling", middle, found)
        else:
            most = middle
    return best


def _with_cars(train: Train, cars: int) -> Train:
    """The train with its first cars only, and all of its power."""
    blocks, left = [], cars
    for block in train.blocks:
        if block.vehicle.kind != "car":
            blocks.append(block)
        elif left:
            blocks.append(replace(block, count=min(left, block.count)))
            left -= min(left, block.count)
    return replace(train, blocks=tuple(blocks))
