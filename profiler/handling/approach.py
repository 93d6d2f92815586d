"""How a train comes to a descent, and when its acts may begin: runs of the same train with one act moved."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from profiler.handling.descents import Descent
from profiler.handling.speeds import LONGEST, coming_speed
from profiler.handling.timeline import cruising_acts
from profiler.mechanics.course import Act, effort_needed, kept_going, places_of
from profiler.mechanics.motion import Acts, Course, extremes
from profiler.mechanics.places import slowest_speed
from profiler.mechanics.run import Run, run
from profiler.train import Train
from profiler.units import MPH, FloatArray

APPROACH = 5000.0
"""A descent is approached from so far before its crest [m], where there is as much line."""
QUIET = 1000.0
"""Farther before a descent than this, and than it takes to set up the dynamic brake, no plan begins. [m]"""
FOLLOWED = 6000.0
"""When power goes off is judged by the run as far past where holding begins. [m]"""
TIME_STEP, COARSE, QUICK = 0.5, 2.0, 1.0
"""Of runs on the estimate [s], and on draws of a train whose power gives it no more than an acceleration [m/s²]."""
TOLERANCE, ON_DRAWS = 5.0, 10.0
"""Places of acts are found to so much, on the estimate and on draws. [m]"""
FLOOR_SHARE, FLOOR, FLOOR_SLOW = 0.6, 5 * MPH, 0.9
"""A train that falls below such a share of its speed at the crest, or this speed [m/s], has lost the hill; one that
is slow at the crest already where it falls below the last share."""


def floor_under(speed: FloatArray) -> FloatArray:
    """Slowest that a train may become that would have a speed [m/s]; where that is slow, a tenth less. [m/s]"""
    return np.minimum(np.maximum(FLOOR_SHARE * speed, FLOOR), FLOOR_SLOW * speed)


@dataclass(frozen=True, eq=False)
class Approach:
    """A train coming to a descent, as a run under power with no brake begun: from ``head`` [m] at ``speed`` [m/s].

    From ``quiet`` on [m] the dynamic brake waits for the plan; before, it may hold a speed.

    ``crest_speed`` is its speed as the head passes the crest [m/s]; ``notch`` the one it then needs; ``balance`` the
    head position at which it needs none at that speed [m]. ``stalls`` tells that it does not get there with its
    power and draft limit: it is taken to have its least continuous speed where they keep it, however it got there.
    """

    head: float
    speed: float
    quiet: float
    run: Run
    crest_speed: float
    notch: int
    balance: float
    stalls: bool = False


def approach(
    course: Course, train: Train, descent: Descent, *, after: float, top_notch: int, set_up: float
) -> Approach:
    """The approach to a descent, from the end of what came before it [m], on a course that knows its speeds.

    ``set_up`` is the longest time from the first notch off to the whole dynamic brake [s].
    """
    places = places_of(course)
    head = max(after, descent.crest - APPROACH, float(places[0]))
    speed = coming_speed(course, train, head)
    until = max(descent.start, head) + FOLLOWED
    first = min(descent.crest, descent.start)
    quiet = max(first - QUIET - set_up * float(np.interp(first, places, course.hold)), head)
    done = run(course, approach_acts(train, head, quiet, top_notch), head=head, speed=speed, until=until)
    crest = max(descent.crest, head)
    _, crest_speed = done.at(crest)
    stalls = not crest_speed > 0
    if stalls:
        head = got_over(course, train, crest, top_notch)
        speed = min(slowest_speed(train), float(np.interp(head, places, course.hold)))
        quiet = head
        done = run(course, approach_acts(train, head, quiet, top_notch), head=head, speed=speed, until=until)
        crest_speed = speed
    notch = int(done.notch[max(int(np.searchsorted(done.head, crest)) - 1, 0)])
    beyond = (places >= crest) & (effort_needed(course, crest_speed) <= 0)
    balance = min(float(places[np.argmax(beyond)]), descent.start) if beyond.any() else descent.start
    return Approach(head, speed, quiet, done, crest_speed, notch, balance, stalls)


def got_over(course: Course, train: Train, crest: float, top_notch: int) -> float:
    """The first place [m] from a crest on at which its power keeps a train at its least speed; the crest for none."""
    places = places_of(course)
    keeps = (places >= crest) & kept_going(course, top_notch, slowest_speed(train))
    return float(places[np.argmax(keeps)]) if keeps.any() else crest


def approach_acts(train: Train, head: float, quiet: float, top_notch: int) -> list[Act]:
    """Speeds held from a place on [m], from another on by power alone."""
    return [*cruising_acts(train, top_notch, head), Act("dynamic", 0.0, at=quiet)]


def last_place(
    holds: Callable[[float], bool], low: float, high: float, *, tolerance: float = TOLERANCE, known: bool = False
) -> float:
    """The last place [m] at which something holds that ceases to hold once: NaN if not even at ``low``, infinite if
    still at ``high``. ``known``: it does at ``low``."""
    if not known and not holds(low):
        return float("nan")
    if holds(high):
        return float("inf")
    while high - low > tolerance:
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


def first_place(
    holds: Callable[[float], bool], low: float, high: float, *, tolerance: float = TOLERANCE, known: bool = False
) -> float:
    """The first place [m] at which something holds that then holds on: infinite if not even at ``high``, ``low`` if
    already there. ``known``: it does not at ``low``."""
    if not known and holds(low):
        return low
    if not holds(high):
        return float("inf")
    while high - low > tolerance:
        middle = (low + high) / 2
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


@dataclass(frozen=True, eq=False)
class Extremes:
    """How far a run was above the limit at most and above the floor at least [m/s], where it ended [m], at what
    speed [m/s], and when its acts had begun before then (m,) [s], NaN for not yet."""

    over: float
    least: float
    head: float
    speed: float
    begun: FloatArray


def extremes_of(
    course: Course,
    acts: Acts,
    *,
    head: float,
    speed: float,
    until: float,
    beyond: float = np.inf,
    time_step: float = TIME_STEP,
    since: FloatArray | None = None,
) -> Extremes:
    """A run of which nothing is kept but its extremes; it ends once more than ``beyond`` [m/s] over the limit.

    ``since`` is when acts that lie behind had begun, as another run tells; they begin now if not given.
    """
    begun = np.full(acts.place.size, np.nan)
    if since is not None:
        had = np.isfinite(since).sum()
        begun[:had] = since[:had]
    return Extremes(
        *extremes(course, acts, begun, float(head), float(speed), time_step, LONGEST, float(until), float(beyond))
    )
