"""Where a remote group should stand: every coupler between cars is tried, at a start on the hardest places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from profiler.cited import Cited
from profiler.mechanics.couplers import Vehicles, coupler_forces, vehicles_of
from profiler.mechanics.places import Climb, hardest_head
from profiler.mechanics.pull import vehicle_efforts, vehicle_starts
from profiler.mechanics.resistance import CURVE_START_FACTOR
from profiler.mechanics.terrain import Terrain
from profiler.train import Group, Train
from profiler.units import FloatArray

SAME_FORCE = Cited(1, "kips", "choice")
"""Forces closer than this are the same when places are ranked. [N]"""


@dataclass(frozen=True, kw_only=True)
class Standing:
    """A remote group between the cars, ``cars_ahead`` of them ahead of it, ``back`` their share of all cars.

    At a start on the hardest places with the effort needed: the largest ``draft`` in the train, its ``excess`` above
    the limit, the largest ``buff`` ahead of the group, and the root mean square ``rms`` of all forces between
    vehicles. [N]
    """

    cars_ahead: int
    back: float
    draft: float
    excess: float
    buff: float
    rms: float

    @property
    def rank(self) -> tuple[float, float, float]:
        """Less is better: draft over the limit, then buff ahead of the group, then the root mean square."""
        return round(self.excess / SAME_FORCE), round(self.buff / SAME_FORCE), self.rms


@dataclass(frozen=True, kw_only=True)
class RemotePlaces:
    """Where ``units`` of remote power may stand: ``standings`` by cars ahead of it, none to all.

    ``now`` is where they stand, or at the head where they are part of the head group.
    """

    units: int
    now: Standing
    standings: tuple[Standing, ...]

    @property
    def best(self) -> Standing:
        """By rank; of the same rank the foremost."""
        return min(self.standings, key=lambda s: s.rank)

    @property
    def smoothest(self) -> Standing:
        """The least root mean square, whatever the buff ahead of the group."""
        return min(self.standings, key=lambda s: s.rms)

    @property
    def gain(self) -> Standing:
        """What the best place saves of each figure against now; cars and share are by how many farther back."""
        a, b = self.now, self.best
        return Standing(
            cars_ahead=b.cars_ahead - a.cars_ahead,
            back=b.back - a.back,
            draft=a.draft - b.draft,
            excess=a.excess - b.excess,
            buff=a.buff - b.buff,
            rms=a.rms - b.rms,
        )


@dataclass(frozen=True, eq=False)
class _Stock:
    """Vehicle by vehicle; arrays (v,)."""

    length: FloatArray
    mass: FloatArray
    inertia: FloatArray
    breakaway: FloatArray
    effort: FloatArray
    car: FloatArray  # whether it is one

    def ordered(self, order: FloatArray) -> _Stock:
        return _Stock(*(x[order] for x in vars(self).values()))


def remote_places(
    terrain: Terrain,
    train: Train,
    climbs: Sequence[Climb],
    *,
    group: int = -1,
    units: int | None = None,
    acceleration: float = 0.0,
) -> RemotePlaces | None:
    """Every place for a remote group, and where it stands.

    Parameters
    ----------
    terrain : Terrain
    train : Train
    climbs : sequence of Climb
        The train is looked at where each holds it back most.
    group : int
        Which of the train's groups is moved, -1 the last.
    units : int, optional
        So many vehicles of its rear are moved, and the rest stays; all of it if not given.

    acceleration : float
        That a start must give. [m/s²]

    Returns
    -------
    RemotePlaces or None
        None where there is nothing to move, or nothing to move it between: no cars, or all of the only group.
    """
    moved = train.groups[group]
    last = int(train.counts[: moved.last + 1].sum())
    count = int(train.counts[moved.first : moved.last + 1].sum()) if units is None else units
    stock = _stock(train, acceleration)
    if count < 1 or not stock.car.any() or (len(train.groups) == 1 and count >= _vehicles_in(train, moved)):
        return None
    heads = np.array([hardest_head(terrain, train, climb, curves=CURVE_START_FACTOR) for climb in climbs])
    remote = np.arange(last - count, last)
    rest = np.delete(np.arange(train.vehicles), remote)
    cars = np.cumsum(stock.car[rest])
    places = [0, *(int(i) + 1 for i in np.flatnonzero(stock.car[rest]))]
    if not stock.car[rest][0]:  # behind the power that leads
        places[0] = int(np.argmax(stock.car[rest]))
    tried = {}
    for place in places:
        order = np.insert(rest, place, remote)
        force = _forces(terrain, stock.ordered(order), heads)
        tried[place] = _standing(force, place, int(cars[place - 1]) if place else 0, int(cars[-1]), train.limits.draft)
    now = int(np.searchsorted(rest, remote[0]))
    if now not in tried:  # beside another group
        now = max(p for p in places if p <= now)
    return RemotePlaces(units=count, now=tried[now], standings=tuple(tried.values()))


def _vehicles_in(train: Train, group: Group) -> int:
    return int(train.counts[group.first : group.last + 1].sum())


def _stock(train: Train, acceleration: float) -> _Stock:
    vehicles = vehicles_of(train)
    car = np.array([b.vehicle.kind == "car" for b in train.blocks])[train.vehicle_block]
    effort = vehicle_efforts(train, 0.0)
    return _Stock(
        np.diff(vehicles.edge), vehicles.mass, vehicles.inertia, vehicle_starts(train, acceleration), effort, car
    )


def _forces(terrain: Terrain, stock: _Stock, heads: FloatArray) -> FloatArray:
    """Between vehicles at a start with the effort needed. [N], shape (heads, vehicles - 1)"""
    vehicles = Vehicles(np.r_[0.0, np.cumsum(stock.length)], stock.mass, stock.inertia)
    return coupler_forces(terrain, vehicles, stock.breakaway, stock.effort, heads, curves=CURVE_START_FACTOR).force


def _standing(force: FloatArray, place: int, ahead: int, cars: int, limit: float) -> Standing:
    draft = max(0.0, float(force.max()))
    return Standing(
        cars_ahead=ahead,
        back=ahead / cars,
        draft=draft,
        excess=max(draft - limit, 0.0),
        buff=max(0.0, -float(force[:, :place].min(initial=0.0))),
        rms=float(np.sqrt(np.mean(force**2))),
    )
