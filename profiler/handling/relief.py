"""What would help a train that starts hardly, or not at all: each way tried at the place itself."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property

import numpy as np

from profiler.handling.starting import Stand, stand
from profiler.mechanics.couplers import coupler_forces, vehicles_of
from profiler.mechanics.pull import vehicle_efforts, vehicle_starts
from profiler.mechanics.resistance import CURVE_START_FACTOR
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.units_to_use import with_head_units
from profiler.train import Block, Train
from profiler.units import FloatArray


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
    return reliefs_at(train, terrain, [head])[0]


def reliefs_at(train: Train, terrain: Terrain, heads: Sequence[float]) -> tuple[tuple[Relief, ...], ...]:
    """The same for several places: each way is tried at all of them at once."""
    tries = _Tries(train, terrain, np.array(heads, dtype=float))
    return tuple(tuple(r for r in _reliefs(tries, i) if r is not None) for i in range(len(heads)))


@dataclass(frozen=True, eq=False)
class _Tries:
    """Trains tried at all the places ``heads`` (h,) [m], each but once."""

    train: Train
    terrain: Terrain
    heads: FloatArray

    @cached_property
    def as_it_is(self) -> Stand:
        return stand(self.train, self.terrain, self.heads)

    @cached_property
    def on_dry_rail(self) -> Stand:
        return stand(replace(self.train, rail="dry"), self.terrain, self.heads)

    @cached_property
    def moved_back(self) -> dict[int, Stand]:
        return {n: stand(moved, self.terrain, self.heads) for n, moved in _moved_back(self.train)}

    @cached_property
    def full_draft(self) -> FloatArray:
        return _full_draft(self.train, self.terrain, self.heads)

    @cached_property
    def with_units(self) -> Callable[[int], tuple[Stand, FloatArray]]:
        """By number of units of the head group; with the draft (h,) [N] of their full throttle."""

        @cache
        def tried(units: int) -> tuple[Stand, FloatArray]:
            some = with_head_units(self.train, units)
            return stand(some, self.terrain, self.heads), _full_draft(some, self.terrain, self.heads)

        return tried

    @cached_property
    def with_cars(self) -> Callable[[int], Stand]:
        """By number of cars."""
        return cache(lambda cars: stand(_with_cars(self.train, cars), self.terrain, self.heads))


def _reliefs(tries: _Tries, i: int) -> Iterator[Relief | None]:
    """At the place of a number."""
    here = tries.as_it_is
    yield _fewer_units(tries, i)
    if here.draft[i] > tries.train.limits.draft_caution:
        yield _rear_power(tries, i)
    if tries.train.rail != "dry":
        yield _relief("dry_rail", 0, tries.on_dry_rail, i)
    if not here.starts[i]:
        yield _doubling(tries, i)


def _relief(kind: str, count: int, found: Stand, i: int) -> Relief:
    margin, draft, buff = (float(x[i]) for x in (found.margin, found.draft, found.buff))
    return Relief(kind, count, margin, draft, buff, bool(found.starts[i]))


def _full_draft(train: Train, terrain: Terrain, heads: FloatArray) -> FloatArray:
    """Largest draft (h,) [N] with full throttle at a stand, the train gaining speed."""
    force = coupler_forces(
        terrain,
        vehicles_of(train),
        vehicle_starts(train),
        vehicle_efforts(train, 0.0),
        heads,
        curves=CURVE_START_FACTOR,
        full=True,
    ).force
    return np.asarray(force.max(axis=1, initial=0.0))


def _fewer_units(tries: _Tries, i: int) -> Relief | None:
    """The most units of the head group that pull it away with no risk to a knuckle, if that is not all of them."""
    limit = tries.train.limits.draft
    if tries.full_draft[i] <= limit:
        return None
    for units in range(tries.train.groups[0].working - 1, 0, -1):
        found, draft = tries.with_units(units)
        if draft[i] <= limit and found.starts[i]:
            return replace(_relief("fewer_units", units, found, i), draft=float(draft[i]))
    return None


def _rear_power(tries: _Tries, i: int) -> Relief | None:
    """The fewest units at the rear that bring the draft to the caution, or the number that brings it lowest.

    No more of them than may push: their buff is within its limit.
    """
    limits = tries.train.limits
    tried = [_relief("rear_power", n, found, i) for n, found in tries.moved_back.items()]
    better = [r for r in tried if r.draft < tries.as_it_is.draft[i] and r.buff <= limits.buff]
    eased = [r for r in better if r.draft <= limits.draft_caution]
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


def _doubling(tries: _Tries, i: int) -> Relief | None:
    """The most cars that all the power starts, the rest being cut off behind them."""
    least, most = (
        0,
        sum(b.count for b in tries.train.blocks if b.vehicle.kind == "car"),
    )  # so many start, so many do not
    best = None
    while most - least > 1:
        middle = (least + most) // 2
        found = tries.with_cars(middle)
        if found.starts[i]:
            least, best = middle, _relief("doubling", middle, found, i)
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
