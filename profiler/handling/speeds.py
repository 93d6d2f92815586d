"""The speed a train may have and the speed its crew holds, by place, slowed down in time where the limit falls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.errors import InputError
from profiler.mechanics.air_acts import brake_force
from profiler.mechanics.course import places_of
from profiler.mechanics.motion import Course
from profiler.mechanics.places import FASTEST
from profiler.mechanics.slowing import SlowDown, slow_down
from profiler.mechanics.speed_limits import HeadLimit
from profiler.train import Train
from profiler.units import KMH, FloatArray

LEAST_HELD = 0.8
"""The speed held is no lower than so much of a low limit, whatever the margin. [-]"""
WALKING = 4 * KMH
"""No train is planned to be held to less. [m/s]"""


@dataclass(frozen=True, eq=False)
class Drop:
    """A limit that falls as the head reaches ``place`` [m]: from ``approach`` to ``slow``, speeds held [m/s].

    ``braking`` is traced back with the dynamic brake as far as usable, and the least of the train's ``reduction``s
    that does it [Pa]; None where nothing slows the train in time.
    """

    place: float
    approach: float
    slow: float
    reduction: float
    braking: SlowDown | None


@dataclass(frozen=True, eq=False)
class Speeds:
    """Speeds by place of a course (p,): ``limit`` that may not be passed and ``hold``, the one held [m/s]."""

    limit: FloatArray
    hold: FloatArray
    drops: tuple[Drop, ...]

    def on(self, course: Course) -> Course:
        """The course with these speeds."""
        return course._replace(hold=self.hold, limit=self.limit)


def speeds_along(course: Course, train: Train, posted: HeadLimit, cap: FloatArray | None = None) -> Speeds:
    """Speeds of a train along a course.

    Parameters
    ----------
    course : Course
    train : Train
    posted : HeadLimit
        Where none is, `FASTEST` is.
    cap : ndarray, shape (p,), optional
        The speed held is no higher [m/s]; the limit then is that and the margin.

    Raises
    ------
    InputError
        If a limit is below walking pace.
    """
    places = places_of(course)
    limit = np.minimum(posted.at(places), float(FASTEST))
    if limit.min() < WALKING:
        speed = f"{limit.min() / KMH:.1f} km/h"
        raise InputError("speed limit", f"{speed} is below walking pace", "no run can be planned at it; give a stop")
    margin = float(train.handling.margin)
    hold = np.maximum(limit - margin, LEAST_HELD * limit)
    if cap is not None:
        limit, hold = np.minimum(limit, cap + margin), np.minimum(hold, cap)
    level, drops = hold.copy(), []
    for i in np.flatnonzero(np.diff(level) < 0)[::-1]:
        drop = _drop(course, train, float(places[i + 1]), float(level[i]), float(level[i + 1]))
        drops.append(drop)
        if drop.braking is not None:
            back = slice(int(np.searchsorted(places, drop.braking.head[0])), i + 1)
            hold[back] = np.minimum(hold[back], np.interp(places[back], drop.braking.head, drop.braking.speed))
    return Speeds(limit, hold, tuple(drops[::-1]))


def _drop(course: Course, train: Train, place: float, approach: float, slow: float) -> Drop:
    """The least braking that brings a train down in time."""
    share = float(train.handling.usable_dynamic)
    for reduction in (0.0, *map(float, train.handling.reductions)):
        air = float(brake_force(train, reduction))
        braking = slow_down(course, place=place, slow=slow, approach=approach, share=share, air=air, time_step=1.0)
        if braking.begins is not None:
            return Drop(place, approach, slow, reduction, braking)
    return Drop(place, approach, slow, float("nan"), None)
