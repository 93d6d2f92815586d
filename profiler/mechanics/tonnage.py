"""Tonnage rating: what this power starts and hauls over a line, and which place rules.

The cars are those of the train, more or fewer of them alike in every block, so that a heavier train is longer in
proportion and power between the cars stays in its share of them. The rating is where a train grown from nothing first
fails. Four things can rule: at minimum continuous speed the effort ("haul") or the draft limit ("draft"), and at
a start the same two ("start", "draft at start").
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from profiler.errors import InputError
from profiler.landmark import INTERVAL
from profiler.mechanics.places import first_most, slowest_speed
from profiler.mechanics.pull import block_starts
from profiler.mechanics.resistance import CURVE_START_FACTOR, block_coefficients
from profiler.mechanics.terrain import Terrain, terrain_of
from profiler.mechanics.traction import block_efforts, starting_efforts
from profiler.mechanics.under_train import Spread, under_train
from profiler.profile import Profile
from profiler.route import DIRECTIONS
from profiler.train import Train
from profiler.units import FloatArray

RULES = ("haul", "draft", "start", "draft at start")
"""What can rule, in the order of margins."""

STEP, SHORTEST = 2 ** (1 / 16), 1 / 64
"""A growing train is looked at each time its cars are so many times more, from this multiple of them on."""


@dataclass(frozen=True, kw_only=True)
class Ruled:
    """What one of `RULES` allows: ``mass`` of the cars [kg], the whole train then ``length`` long [m].

    It fails with the head end at ``head`` by distance travelled [m], on a compensated ``grade`` [m/m] under the train;
    curves count as for a running train. On a line that never fails it both are None, and the train is as long as the
    line. ``low`` and ``high`` are the 95 % interval of the mass by draws of the line [kg], None without.
    """

    rule: str
    mass: float
    length: float
    head: float | None
    grade: float | None
    low: float | None = None
    high: float | None = None

    @property
    def rear(self) -> float | None:
        """Where the rear stands then, by distance travelled [m]; below 0 before the line, its first grade going on."""
        return None if self.head is None else self.head - self.length


@dataclass(frozen=True, kw_only=True)
class Rating:
    """Tonnage rating in one direction.

    ``ruled`` has what each of `RULES` allows; ``speed`` is the minimum continuous speed [m/s]; ``given`` the mass of
    the cars the train has [kg]; ``probability`` that it is within all of them by the draws, None without.
    """

    direction: str
    speed: float
    ruled: tuple[Ruled, ...]
    given: float
    probability: float | None = None

    def of(self, *rules: str) -> Ruled:
        """The least that some of `RULES` allow."""
        return min((r for r in self.ruled if r.rule in rules), key=lambda r: r.mass)

    @property
    def by_power(self) -> Ruled:
        """What the power starts and hauls, whatever the couplers."""
        return self.of("haul", "start")

    @property
    def ruling(self) -> Ruled:
        """The least of all."""
        return self.of(*RULES)

    @property
    def enough(self) -> bool:
        """Whether the train as given is within all of them."""
        return self.given <= self.ruling.mass * (1 + 1e-9)


@dataclass(frozen=True, eq=False)
class _Power:
    """What does not change with the cars; per block (b,) or per group (g,)."""

    train: Train
    speed: float
    car: FloatArray
    rolling: FloatArray
    breakaway: FloatArray
    effort: FloatArray
    starting: FloatArray

    def spread(self, cars: float) -> Spread:
        """The train's mass along its length with so many times its cars."""
        lengths = self.train.lengths * np.where(self.car, cars, 1.0)
        return Spread(np.r_[0.0, np.cumsum(lengths)], self.train.masses_per_metre)


def _power(train: Train, acceleration: float) -> _Power:
    speed = slowest_speed(train)
    return _Power(
        train,
        speed,
        np.array([b.vehicle.kind == "car" for b in train.blocks]),
        np.array([float(c(speed)) for c in block_coefficients(train)]),
        block_starts(train, acceleration),
        block_efforts(train, speed, continuous=True),
        starting_efforts(train),
    )


def _margins(terrain: Terrain, power: _Power, cars: float) -> FloatArray:
    """What each of `RULES` leaves at every station [N], shape (4, …, n); below 0 it fails."""
    scale = np.where(power.car, cars, 1.0)
    spread = power.spread(cars)
    rolling, breakaway = scale * power.rolling, scale * power.breakaway

    def left(first: int) -> tuple[FloatArray, FloatArray]:
        """Running and starting: effort less need of the blocks from `first` to the rear."""
        under = under_train(terrain, Spread(spread.edge[first:], spread.density[first:]))
        running = power.effort[first:].sum() - rolling[first:].sum() - under.grade_force - under.curve_force
        curves = CURVE_START_FACTOR * under.curve_force
        return running, power.starting[first:].sum() - breakaway[first:].sum() - under.grade_force - curves

    haul, start = left(0)
    # behind a group the coupler carries what the rest needs, less what power farther back gives
    behind = [left(g.last + 1) for g in power.train.groups if g.last + 1 < scale.size]
    none = (np.full(haul.shape, np.inf),) * 2
    draft, draft_start = (np.min(x, axis=0) for x in zip(none, *behind, strict=True))
    limit = power.train.limits.draft
    return np.array([haul, limit + draft, start, limit + draft_start])


def _grown(
    margin: Callable[[float], FloatArray], longest: float, shortest: float = SHORTEST, *, exact: bool = False
) -> FloatArray:
    """Cars, as a multiple, at which each margin of a growing train first falls below 0, at most the longest.

    Any shape of margins; (r,) where it is to be `exact`. Else a margin is taken to change evenly between two lengths,
    as it does on one grade.
    """
    before = min(shortest, longest)
    left = margin(before)
    if before > SHORTEST and (left < 0).any():
        return _grown(margin, longest)
    found = np.where(left < 0, 0.0, np.inf)
    while before < longest and np.isinf(found).any():
        cars = min(before * STEP, longest)
        now = margin(cars)
        fails = np.isinf(found) & (now < 0)
        share = np.divide(left, left - now, out=np.zeros(left.shape), where=fails)
        found = np.where(fails, before + share * (cars - before), found)
        if exact:
            for i in np.flatnonzero(fails):
                found[i] = brentq(lambda c, i=i: margin(c)[i], before, cars, xtol=1e-9)
        before, left = cars, now
    return np.minimum(found, longest)


def rate(terrain: Terrain, train: Train, drawn: Terrain | None = None, *, acceleration: float = 0.0) -> Rating:
    """Tonnage rating of a train's power over a line.

    Parameters
    ----------
    terrain : Terrain
        Heads are put at its stations.
    train : Train
        Its cars are the mix that the rating is for.
    drawn : Terrain, optional
        The same line with elevations (d, n) of equally likely ones: for the interval.
    acceleration : float
        That a start must give. [m/s²]

    Raises
    ------
    InputError
        If the train has no cars, or its locomotives alone are longer than the line.
    """
    cars = [i for i, b in enumerate(train.blocks) if b.vehicle.kind == "car"]
    if not cars:
        raise InputError(train.name, "a rating needs cars to grow the train by", "add a block of them")
    mass, length = float(train.masses[cars].sum()), float(train.lengths[cars].sum())
    longest = (terrain.length - (train.length - length)) / length
    if longest <= 0:
        raise InputError(train.name, "its locomotives are longer than the line", "give a longer line")
    power = _power(train, acceleration)
    grown = _grown(lambda multiple: _margins(terrain, power, multiple).min(axis=-1), longest, exact=True)
    ruled = tuple(_ruled(terrain, power, i, float(c), mass, failed=c < longest) for i, c in enumerate(grown))
    within = None
    if drawn is not None:
        start = max(float(grown.min()) * 0.7, SHORTEST)
        masses = mass * _grown(lambda multiple: _margins(drawn, power, multiple).min(axis=-1), longest, start)
        ruled = tuple(_with_interval(r, m) for r, m in zip(ruled, masses, strict=True))
        within = float(np.mean(masses.min(axis=0) >= mass))
    return Rating(direction=terrain.direction, speed=power.speed, ruled=ruled, given=mass, probability=within)


def _ruled(terrain: Terrain, power: _Power, rule: int, cars: float, mass: float, *, failed: bool) -> Ruled:
    """What a rule allows, and where the train then just does it."""
    spread = power.spread(cars)
    head = grade = None
    if failed:
        under = under_train(terrain, spread)
        worst = first_most(-_margins(terrain, power, max(cars, SHORTEST))[rule])
        head, grade = float(under.head[worst]), float(under.grade[worst] + under.curve_grade[worst])
    return Ruled(rule=RULES[rule], mass=mass * cars, length=spread.length, head=head, grade=grade)


def _with_interval(ruled: Ruled, masses: FloatArray) -> Ruled:
    """By the masses (d,) [kg] that the draws allow; what the estimate allows lies within."""
    low, high = (float(x) for x in np.percentile(masses, INTERVAL))
    return replace(ruled, low=min(low, ruled.mass), high=max(high, ruled.mass))


def drawn_terrain(profile: Profile, direction: str = "with") -> Terrain:
    """All draws of a profile as one terrain, elevation (d, k), at the draws' own nodes: between two a draw has one
    grade."""
    whole = terrain_of(profile, direction)
    way, elevation = whole.way_at(profile.draws.chainage), profile.draws.elevation.astype(float)
    if direction == "against":
        way, elevation = way[::-1], elevation[:, ::-1]
    return Terrain(way, np.ascontiguousarray(elevation), np.interp(way, whole.way, whole.curve_rise), direction)


def ratings(profile: Profile, train: Train, *, acceleration: float = 0.0) -> tuple[Rating, ...]:
    """Tonnage rating of a train's power in each direction, with and then against chainage, and how sure."""
    return tuple(
        rate(terrain_of(profile, d), train, drawn_terrain(profile, d), acceleration=acceleration) for d in DIRECTIONS
    )
