"""The speed a train may have and the speed its crew holds, by place, slowed down in time where the limit falls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.errors import InputError
from profiler.mechanics.air_acts import brake_force
from profiler.mechanics.course import Act, kept_going, places_of
from profiler.mechanics.motion import FREE, Course
from profiler.mechanics.places import FASTEST, balancing_speeds, slowest_speed
from profiler.mechanics.run import run
from profiler.mechanics.slowing import SlowDown, slow_down
from profiler.mechanics.speed_limits import HeadLimit
from profiler.train import Train
from profiler.units import KILOMETRE, KMH, FloatArray

LEAST_HELD = 0.8
"""The speed held is no lower than so much of a low limit, whatever the margin. [-]"""
WALKING = 4 * KMH
"""No train is planned to be held to less. [m/s]"""
LONGEST = 48 * 3600.0
"""No line is followed longer. [s]"""


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
    """Speeds by place of a course (p,): ``limit`` that may not be passed, ``hold``, the highest one held, and
    ``expected``, as fast as its power gets the train there [m/s]."""

    limit: FloatArray
    hold: FloatArray
    expected: FloatArray
    drops: tuple[Drop, ...]

    def on(self, course: Course) -> Course:
        """The course with these speeds."""
        return course._replace(hold=self.hold, limit=self.limit)


def speeds_along(
    course: Course,
    train: Train,
    posted: HeadLimit,
    cap: FloatArray | float = FREE,
    slower: FloatArray | float = FREE,
    *,
    pace: float = 1.0,
) -> Speeds:
    """Speeds of a train along a course.

    Parameters
    ----------
    course : Course
    train : Train
    posted : HeadLimit
        Where none is, `FASTEST` is.
    cap, slower : array_like, shape (p,)
        The speed held is no higher [m/s]; with ``cap`` the limit is no higher than that and the margin.
    pace : float
        Speeds held over the customary ones; never above the limit. [-]

    Raises
    ------
    InputError
        If a limit is below walking pace.
    """
    places = places_of(course)
    limit = np.minimum(posted.at(places), float(FASTEST))
    if limit.min() < WALKING:
        speed, where = f"{limit.min() / KMH:.1f} km/h", f"{places[np.argmin(limit)] / KILOMETRE:.1f} km on the way"
        problem = f"{speed}, met {where}, is below walking pace, no run can be planned at it"
        raise InputError("speed limit", problem, "raise it, or end the line before it")
    margin = float(train.handling.margin)
    hold = np.minimum(pace * np.maximum(limit - margin, LEAST_HELD * limit), limit)
    limit, hold = np.minimum(limit, cap + margin), np.minimum(hold, np.minimum(cap, slower))
    level, drops = hold.copy(), []
    for i in np.flatnonzero(np.diff(level) < 0)[::-1]:
        drop = _drop(course, train, float(places[i + 1]), float(level[i]), float(level[i + 1]))
        drops.append(drop)
        if drop.braking is not None:
            back = slice(int(np.searchsorted(places, drop.braking.head[0])), i + 1)
            hold[back] = np.minimum(hold[back], np.interp(places[back], drop.braking.head, drop.braking.speed))
    return Speeds(limit, hold, expected_speeds(course, train, hold), tuple(drops[::-1]))


def _drop(course: Course, train: Train, place: float, approach: float, slow: float) -> Drop:
    """The least braking that brings a train down in time."""
    share = float(train.handling.usable_dynamic)
    for reduction in (0.0, *map(float, train.handling.reductions)):
        air = float(brake_force(train, reduction))
        braking = slow_down(course, place=place, slow=slow, approach=approach, share=share, air=air, time_step=1.0)
        if braking.begins is not None:
            return Drop(place, approach, slow, reduction, braking)
    return Drop(place, approach, slow, float("nan"), None)


def coming_speed(course: Course, train: Train, head: float) -> float:
    """Speed at which a train comes to a place [m]: the one it holds there, or as fast as its power keeps it. [m/s]"""
    places = places_of(course)
    held, most = (float(np.interp(head, places, x)) for x in (course.weight + course.bend, course.hold))
    return min(most, float(balancing_speeds(train, np.array([held]), fastest=most)[0]))


def expected_speeds(course: Course, train: Train, hold: FloatArray) -> FloatArray:
    """Speed by place (p,) [m/s] of a train that its brakes never fail, and that is got over where it stalls.

    It is at least `places.slowest_speed` then, or the speed held where that is less.
    """
    places, top_notch = places_of(course), course.effort.shape[1] - 1
    perfect = np.zeros_like(course.dynamic)
    perfect[0] = FREE
    braked = course._replace(hold=hold, dynamic=perfect, push=np.full_like(course.push, FREE))
    least = slowest_speed(train)
    runs_again = kept_going(course, top_notch, least)
    acts = [Act("hold", FREE), Act("notch", float(top_notch)), Act("dynamic", 1.0)]
    speed, first = np.minimum(hold, least), 0
    start = coming_speed(braked, train, float(places[0]))
    while first < places.size - 1:
        done = run(braked, acts, head=places[first], speed=start, until=places[-1], lasts=LONGEST, time_step=1.0)
        last = places.size if done.ended == "there" else int(np.searchsorted(places, done.head[-1], side="right"))
        speed[first:last] = np.minimum(np.interp(places[first:last], done.head, done.speed), hold[first:last])
        if done.ended == "there":
            break
        again = np.flatnonzero(runs_again[last:])
        if not again.size:
            break
        first = last + int(again[0])
        start = float(min(least, hold[first]))
    return np.maximum(speed, np.minimum(hold, least))
