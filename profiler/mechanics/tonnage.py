"""Tonnage rating: what this power starts and hauls over a line, and which place rules.

The cars are those of the train, more or fewer of them alike in every block, so that a heavier train is longer in
proportion and power between the cars stays in its share of them. The rating is where a train grown from nothing first
fails. Four things can rule: at minimum continuous speed the effort ("haul") or the draft limit ("draft"), and at
a start the same two ("start", "draft at start").
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from profiler.errors import InputError
from profiler.landmark import INTERVAL
from profiler.mechanics.places import first_most, slowest_speed
from profiler.mechanics.pull import block_starts
from profiler.mechanics.resistance import CURVE_START_FACTOR, block_coefficients
from profiler.mechanics.terrain import Terrain, as_met_by, terrain_of
from profiler.mechanics.traction import block_efforts, starting_efforts
from profiler.mechanics.under_train import Spread, rise_under, under_train
from profiler.profile import Profile
from profiler.route import DIRECTIONS
from profiler.train import Train
from profiler.units import GRAVITY, FloatArray

RULES = ("haul", "draft", "start", "draft at start")
"""What can rule, in the order of margins."""

CURVES = (1.0, float(CURVE_START_FACTOR))
"""What curves count for under way and at a start. [-]"""

STEP, SHORTEST = 2 ** (1 / 16), 1 / 64
"""A growing train is looked at each time its cars are so many times more, from this multiple of them on."""

LINES_AT_ONCE = 8
"""Lines of heights worked on together, so that they stay in the fast memory of a processor."""


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
class _Load:
    """What one coupler, or the wheels of the train, have to move: ``spread`` along the track.

    ``spare`` (2,) is the effort left for grades and curves at minimum continuous speed, and at a start, up to the
    limit [N]; with one more multiple of the cars it is less by ``resistance`` (2,) [N], and the boundaries of
    ``spread`` are farther back by ``back`` (b + 1,) [m].
    """

    spread: Spread
    spare: FloatArray
    resistance: FloatArray
    back: FloatArray


@dataclass(frozen=True, eq=False)
class _Power:
    """What does not change with the cars, per block: arrays are (b,), or (2, b) under way and at a start."""

    train: Train
    speed: float
    car: FloatArray
    resistance: FloatArray
    effort: FloatArray

    @property
    def firsts(self) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """First blocks of what the wheels move, and of what hangs on the coupler behind each group of power."""
        return (0,), tuple(g.last + 1 for g in self.train.groups if g.last + 1 < len(self.train.blocks))

    def spread(self, cars: float) -> Spread:
        """The train's mass along its length with so many times its cars."""
        lengths = self.train.lengths * np.where(self.car, cars, 1.0)
        return Spread(np.r_[0.0, np.cumsum(lengths)], self.train.masses_per_metre)

    def load(self, cars: float, first: int) -> _Load:
        """The blocks from `first` to the rear, all for the wheels; a coupler carries what they need, less what power
        among them gives."""
        whole, scale = self.spread(cars), np.where(self.car, cars, 1.0)
        spare = (self.effort - scale * self.resistance)[:, first:].sum(axis=1)
        return _Load(
            Spread(whole.edge[first:], whole.density[first:]),
            spare + (self.train.limits.draft if first else 0.0),
            (self.car * self.resistance)[:, first:].sum(axis=1),
            np.r_[0.0, np.cumsum(self.train.lengths * self.car)][first:],
        )


def _power(train: Train, acceleration: float) -> _Power:
    speed = slowest_speed(train)
    return _Power(
        train,
        speed,
        np.array([b.vehicle.kind == "car" for b in train.blocks]),
        np.array([[float(c(speed)) for c in block_coefficients(train)], block_starts(train, acceleration)]),
        np.array([block_efforts(train, speed, continuous=True), starting_efforts(train)]),
    )


def _margins(terrain: Terrain, loads: Sequence[_Load], start: int) -> FloatArray:
    """What the hardest of some loads leaves at every station [N], shape (n,); below 0 it fails.

    Under way, ``start`` 0, or at a start, 1.
    """
    left = np.full(terrain.elevation.shape, np.inf)
    for load in loads:
        rise = rise_under(terrain, terrain.elevation, load.spread)
        rise += CURVES[start] * rise_under(terrain, terrain.curve_rise, load.spread)
        left = np.minimum(left, load.spare[start] - GRAVITY * rise)
    return left


def _least(terrain: Terrain, loads: Sequence[_Load]) -> FloatArray:
    """The least of these margins on each line of a terrain, under way and at a start. [N], shape (2, d)"""
    least = np.full((2, len(terrain.elevation)), np.inf)
    for load in loads:
        curves = rise_under(terrain, terrain.curve_rise, load.spread)
        for i in range(0, len(terrain.elevation), LINES_AT_ONCE):
            some = slice(i, i + LINES_AT_ONCE)
            rise = rise_under(terrain, terrain.elevation[some], load.spread)
            for k, more in enumerate(np.diff(CURVES, prepend=0.0)):
                rise += more * curves
                np.minimum(least[k, some], load.spare[k] - GRAVITY * rise.max(axis=-1), out=least[k, some])
    return least


def _loss(terrain: Terrain, loads: Sequence[_Load]) -> FloatArray:
    """The most that these margins can lose with one more multiple of the cars. [N], shape (2, d)

    The boundaries of what is moved go back along the line, and no piece of it is steeper than the steepest.
    """
    loss = np.zeros((2, len(terrain.elevation)))
    for k, curves in enumerate(CURVES):
        grade = np.diff(terrain.elevation + curves * terrain.curve_rise) / np.diff(terrain.way)
        up, down = np.maximum(grade.max(axis=-1), 0.0), np.maximum(-grade.min(axis=-1), 0.0)
        for load in loads:
            gone = load.back * np.diff(np.r_[0.0, load.spread.density, 0.0])
            steep = np.maximum(-gone, 0.0).sum() * up + np.maximum(gone, 0.0).sum() * down
            loss[k] = np.maximum(loss[k], load.resistance[k] + GRAVITY * steep)
    return loss


def _grown(
    least: Callable[[float, FloatArray], FloatArray],
    loss: FloatArray,
    longest: float,
    shortest: float = SHORTEST,
    *,
    exact: bool = False,
) -> FloatArray:
    """Cars, as a multiple, at which each margin of a growing train first falls below 0, at most the longest.

    ``least`` gives margins (r, l) at a multiple for some of the lines (d,), ``loss`` (r, d) is the most they can lose
    with one more multiple: where none can fail yet no length is looked at. Any shape of margins where it is to be
    `exact`. Else a margin is taken to change evenly between two lengths, as it does on one grade.
    """
    lines, before = np.arange(loss.shape[1]), min(shortest, longest)
    left = least(before, lines)
    if before > SHORTEST and (left < 0).any():
        return _grown(least, loss, longest, exact=exact)
    found = np.where(left < 0, 0.0, np.inf)
    while before < longest and (stands := found == np.inf).any():
        going = stands.any(axis=0)[lines]
        lines, left = lines[going], left[:, going]
        stands, steepest = stands[:, lines], loss[:, lines]
        can = stands & (steepest > 0)
        safe = np.min(left[can] / steepest[can], initial=np.inf)
        steps = max(math.log1p(safe / before) // math.log(STEP), 1.0)
        cars = min(before * STEP**steps, longest)
        now = least(cars, lines)
        fails = stands & (now < 0)
        share = np.divide(left, left - now, out=np.zeros(left.shape), where=fails)
        for i, j in np.argwhere(fails):
            found[i, lines[j]] = before + share[i, j] * (cars - before)
            if exact:
                found[i, lines[j]] = brentq(
                    lambda c, i=i, j=j: least(c, lines[[j]])[i, 0],  # noqa: B023
                    before,
                    cars,
                    xtol=1e-9,
                )
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
    grown = _allowed(terrain, power, longest, exact=True)[:, 0]
    ruled = tuple(_ruled(terrain, power, i, float(c), mass, failed=c < longest) for i, c in enumerate(grown))
    within = None
    if drawn is not None:
        masses = mass * _allowed(drawn, power, longest, max(float(grown.min()) * 0.7, SHORTEST))
        ruled = tuple(_with_interval(r, m) for r, m in zip(ruled, masses, strict=True))
        within = float(np.mean(masses.min(axis=0) >= mass))
    return Rating(direction=terrain.direction, speed=power.speed, ruled=ruled, given=mass, probability=within)


def _allowed(
    terrain: Terrain, power: _Power, longest: float, shortest: float = SHORTEST, *, exact: bool = False
) -> FloatArray:
    """Cars, as a multiple, that each of `RULES` allows on each line of a terrain. Shape (4, d)"""
    lines = np.atleast_2d(terrain.elevation)
    found = []
    for firsts in power.firsts:

        def least(cars: float, some: FloatArray, firsts: Sequence[int] = firsts) -> FloatArray:
            return _least(terrain.lifted(lines[some]), [power.load(cars, first) for first in firsts])

        loss = _loss(terrain.lifted(lines), [power.load(1.0, first) for first in firsts])
        found.append(_grown(least, loss, longest, shortest, exact=exact))
    return np.stack(found, axis=1).reshape(len(RULES), len(lines))


def _ruled(terrain: Terrain, power: _Power, rule: int, cars: float, mass: float, *, failed: bool) -> Ruled:
    """What a rule allows, and where the train then just does it."""
    spread = power.spread(cars)
    head = grade = None
    if failed:
        under = under_train(terrain, spread)
        start, by_coupler = divmod(rule, 2)
        loads = [power.load(max(cars, SHORTEST), first) for first in power.firsts[by_coupler]]
        worst = first_most(-_margins(terrain, loads, start))
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
    profile = as_met_by(profile, train)
    return tuple(
        rate(terrain_of(profile, d), train, drawn_terrain(profile, d), acceleration=acceleration) for d in DIRECTIONS
    )
