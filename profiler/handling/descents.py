"""Stretches where a train must be held back: what it takes along them, at the speed held."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.handling.speeds import Speeds
from profiler.mechanics.course import effort_needed, held_back_by, places_of
from profiler.mechanics.motion import Course
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.under_train import height_at
from profiler.units import FloatArray

COASTED = 0.7
"""A rise within a descent is coasted over where it leaves so much of the speed. [-]"""
TRACED = 0.05
"""A speed traced back and tabled by place asks for no more than so much of the dynamic brake beside. [-]"""
WORST_SHARE = 0.95
"""The worst stretch of a descent is where so much of the greatest force is needed. [-]"""


def retard_needed(course: Course, hold: FloatArray, *, slowing: bool = True) -> FloatArray:
    """Force [N] that holds the train to speeds (p,) [m/s] at the places of a course, negative where it must be pulled.

    With ``slowing`` it also slows the train where they fall; speeds that rise ask for nothing.
    """
    needed = -effort_needed(course, hold)
    if slowing:
        needed -= course.mass * hold * np.minimum(np.diff(hold, append=hold[-1:]) / course.step, 0.0)
    return needed


@dataclass(frozen=True, kw_only=True)
class Descent:
    """A stretch of head positions, by distance travelled [m], where more than rolling resistance must hold the train.

    ``start`` to ``end``; ``crest`` is where the head began to descend before it; the force that holds the speed is
    greatest, ``force`` [N], with the head at ``worst``, and nearly so over ``worst_length`` [m]. Before a lower limit
    a train that slows down is on such a stretch too: on level track ``force`` is then below zero.
    """

    start: float
    end: float
    crest: float
    worst: float
    force: float
    worst_length: float


def descents(
    course: Course, speeds: Speeds, terrain: Terrain, length: float, *, share: float = 0.0
) -> tuple[Descent, ...]:
    """Stretches where a train, coasting, would pass its limit, in order of travel.

    Parameters
    ----------
    course : Course
    speeds : Speeds
        Of that course.
    terrain : Terrain
        Of that course.
    length : float
        Of the train: its crest lies no farther back. [m]
    share : float
        Of the dynamic brake. Where no more than that slows the train for a lower limit, and nothing else is asked of
        it, there is no descent. [-]

    Notes
    -----
    Stretches between which the train coasts without falling below `COASTED` of its speed are one.
    """
    places = places_of(course)
    need, steady = retard_needed(course, speeds.expected), retard_needed(course, speeds.expected, slowing=False)
    dynamic = held_back_by(course, places, speeds.expected)
    work = np.r_[0.0, np.cumsum(need * course.step)]
    kinetic = course.mass * speeds.expected**2 / 2
    edge = np.flatnonzero(np.diff(np.r_[False, need > 0, False]))
    merged: list[list[int]] = []
    for first, end in zip(edge[::2], edge[1::2], strict=True):
        if merged and work[merged[-1][1]] - work[first] < (1 - COASTED**2) * kinetic[first]:
            merged[-1][1] = int(end)
        else:
            merged.append([int(first), int(end)])
    spare = course.mass * (speeds.limit**2 - speeds.expected**2) / 2
    found, before = [], 0
    for first, end in merged:
        gained = work[first + 1 : end + 1] - np.minimum.accumulate(work[first:end])
        eased = steady[first:end].max() <= 0 and bool((need <= (share + TRACED) * dynamic)[first:end].all())
        if gained.max() >= spare[first:end].min() and not eased:
            most = first + int(np.argmax(steady[first:end]))
            less = np.r_[-1, np.flatnonzero(steady < steady[most] - (1 - WORST_SHARE) * abs(steady[most])), need.size]
            i = int(np.searchsorted(less, most))
            top = np.arange(max(before, first - int(np.ceil(length / course.step))), first + 1)
            height = height_at(terrain.way, terrain.elevation, places[top])
            found.append(
                Descent(
                    start=float(places[first]),
                    end=float(places[end - 1]),
                    crest=float(places[top[np.argmax(height)]]),
                    worst=float(places[most]),
                    force=float(steady[most]),
                    worst_length=float((less[i] - less[i - 1] - 1) * course.step),
                )
            )
        before = end
    return tuple(found)
