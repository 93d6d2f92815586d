"""What holds a train on a descent: the share of the dynamic brake over speed and reduction, and the highest speed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from profiler.handling.descents import Descent, retard_needed
from profiler.handling.speeds import Speeds
from profiler.mechanics.air import customary_reductions
from profiler.mechanics.air_acts import brake_force
from profiler.mechanics.conditions import NOMINAL, SHOES_LOW, Conditions
from profiler.mechanics.course import held_back_by, places_of
from profiler.mechanics.motion import Course
from profiler.mechanics.thermal import customary_limit, wheel_power
from profiler.train import Train
from profiler.units import KMH, MPH, FloatArray

SPEED_STEPS = {"us": 1 * MPH, "metric": 2 * KMH}
"""Between the speeds of a table, by what people read. [m/s]"""
SLOWEST_HELD = 5 * MPH
"""Tables go down to here: below, dynamic brakes fade. [m/s]"""

Bound = Literal["posted", "force", "heat", "air", "reserve"]


@dataclass(frozen=True, eq=False)
class Holding:
    """Holding a train on one descent, for speeds (k,) [m/s], falling, and reductions (r,) [Pa], the first none.

    ``share`` (k, r) of the dynamic brake is needed at the hardest place, below zero where the air alone takes more
    than is needed; without a dynamic brake infinite where the air is too little, 0 for the least reduction that is
    enough, minus infinite beyond; ``weak`` the same with weak shoes; ``heat`` (k, r) is the power on a wheel of the
    worst car [W].
    ``usable`` is the share that a plan may use, ``heat_limit`` what a wheel stands [W].
    """

    speed: FloatArray
    reduction: FloatArray
    share: FloatArray
    weak: FloatArray
    heat: FloatArray
    usable: float
    heat_limit: float

    @property
    def cool(self) -> FloatArray:
        """Whether wheels stand it. shape (k, r)"""
        return self.heat <= self.heat_limit

    @property
    def holds(self) -> FloatArray:
        """Whether the train is held, neither too little nor too much, and wheels stand it. shape (k, r)"""
        return self.enough & self.cool

    @property
    def enough(self) -> FloatArray:
        """Whether it is neither too little nor too much; without air nothing is too much. shape (k, r)"""
        return ((self.share >= 0) | (self.reduction == 0)) & (self.share <= self.usable)

    def fewest(self, row: int) -> int | None:
        """Number of the smallest reduction that holds at a speed; None where none does."""
        return int(np.argmax(self.holds[row])) if self.holds[row].any() else None


@dataclass(frozen=True)
class TopSpeed:
    """The highest speed that holds [m/s], NaN where none does, and what binds it.

    "reserve": no reduction leaves the dynamic brake a share that is usable, and all of it would do without: nothing is
    kept in hand. "air": faster, air would have to be set that stops the train on a gentler stretch, or that has to be
    released and set again before the pipe is charged. ``force`` alone would allow so much [m/s], no more than is
    posted, NaN where it never holds.
    """

    speed: float
    bound: Bound
    force: float


def holding(course: Course, train: Train, speeds: Speeds, descent: Descent) -> Holding:
    """The holding table of a descent: from the highest speed held there down; curves help in full.

    Where less is held at a place than the speed of a row, the row has that there. Slowing down for a lower limit is
    not in it.
    """
    places = places_of(course)
    on = slice(int(np.searchsorted(places, descent.start)), int(np.searchsorted(places, descent.end)) + 1)
    here = course._replace(
        first=float(places[on][0]),
        weight=course.weight[on],
        bend=course.bend[on],
        room=course.room[:, on],
        push=course.push[:, on],
    )
    top = float(speeds.hold[on].max())
    step = SPEED_STEPS[train.units]
    whole = np.arange(math.ceil(top / step - 1e-9) - 1, math.ceil(SLOWEST_HELD / step) - 1, -1) * step
    speed = np.r_[top, whole]
    reduction = np.r_[0.0, [float(r) for r in train.handling.reductions]]
    share, weak = np.empty((speed.size, reduction.size)), np.empty((speed.size, reduction.size))
    for i, v in enumerate(speed):
        held = np.minimum(speeds.hold[on], v)
        need, dynamic = retard_needed(here, held, slowing=False), held_back_by(here, places[on], held)
        for row, conditions in ((share, NOMINAL), (weak, Conditions(shoes=float(SHOES_LOW)))):
            left = need[:, None] - brake_force(train, reduction, conditions) * course_friction(course, held)[:, None]
            row[i] = shares(left, dynamic[:, None]).max(axis=0)
    if not course.dynamic.any():
        share, weak = least_enough(share), least_enough(weak)
    heat = wheel_power(train, reduction, speed[:, None])
    limit = float(customary_limit(train).power)
    return Holding(speed, reduction, share, weak, heat, float(train.handling.usable_dynamic), limit)


def shares(left: FloatArray, dynamic: FloatArray) -> FloatArray:
    """Share of the dynamic brake [N] that does what is left to it [N]; infinite where there is none to do it."""
    least = 1.0  # a newton is none
    none = np.where(left > least, np.inf, np.where(left < -least, -np.inf, 0.0))
    return np.where(dynamic > least, left / np.maximum(dynamic, least), none)


def least_enough(share: FloatArray) -> FloatArray:
    """Shares (k, r) without a dynamic brake: the least reduction that takes all that is needed holds, with none."""
    enough = share <= 0
    first = enough & (np.cumsum(enough, axis=1) == 1)
    return np.where(first, 0.0, share)


def course_friction(course: Course, speed: FloatArray) -> FloatArray:
    """Force of the air brake over what it is reckoned with, at speeds [m/s]. [-]"""
    return np.interp(speed, course.speed_step * np.arange(course.friction.size), course.friction)


def top_speed(found: Holding) -> TopSpeed:
    """The highest speed of a holding table at which something holds."""
    force = _first(found.speed, found.enough)
    speed = _first(found.speed, found.holds)
    top = float(found.speed[0])
    if speed == top:
        return TopSpeed(speed, "posted", force)
    if math.isnan(force):  # the least that is enough takes more than is needed: what is kept in reserve may do
        all_of_it = ((found.share >= 0) | (found.reduction == 0)) & (found.share <= 1)
        return TopSpeed(_first(found.speed, all_of_it & found.cool), "reserve", force)
    return TopSpeed(speed, "heat" if math.isnan(speed) or force > speed else "force", force)


def _first(speed: FloatArray, good: FloatArray) -> float:
    """The highest speed (k,) at which any reduction is good (k, r)."""
    rows = np.flatnonzero(good.any(axis=1))
    return float(speed[rows[0]]) if rows.size else math.nan


@dataclass(frozen=True, kw_only=True)
class AirAlone:
    """Holding with no dynamic brake at all: the smallest ``reduction`` that does at the worst place [Pa], NaN for
    none, its ``share`` of full service [-], ``heat`` on a wheel of the worst car [W]; ``weak`` the share of full
    service with weak shoes, above 1 where it does not hold."""

    reduction: float
    share: float
    heat: float
    weak: float


def air_alone(train: Train, force: float, speed: float) -> AirAlone:
    """What the train air alone must do against a force [N] at a speed [m/s]: whole steps that a crew makes."""
    full = float(brake_force(train, np.inf))
    share = force / full if full else math.inf
    steps = customary_reductions(train)
    enough = brake_force(train, steps) >= force
    reduction = float(steps[np.argmax(enough)]) if enough.any() else math.nan
    heat = float(wheel_power(train, reduction if enough.any() else np.inf, speed))
    return AirAlone(reduction=reduction, share=share, heat=heat, weak=share / float(SHOES_LOW))
