"""Slowing down and stopping: where braking must begin, and how far a train goes until it stands."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from profiler.mechanics.course import Act
from profiler.mechanics.motion import Course, trace_back
from profiler.mechanics.run import TIME_STEP, Run, run
from profiler.units import FloatArray

FARTHEST = 60_000.0
"""Braking is traced back, and a stop followed, no farther. [m]"""


@dataclass(frozen=True, eq=False)
class SlowDown:
    """A train slowed down to be slow at a place: ``head`` (t,) [m] and ``speed`` (t,) [m/s], in order of travel.

    ``begins`` is the head position at which the brake must be at work [m]; None where it cannot slow the train: then
    the arrays tell what is the most that the train may have where.
    """

    head: FloatArray
    speed: FloatArray
    begins: float | None


def slow_down(
    course: Course,
    *,
    place: float,
    slow: float,
    approach: float,
    share: float = 0.0,
    air: npt.ArrayLike = 0.0,
    time_step: float = TIME_STEP,
) -> SlowDown:
    """Where braking must begin, traced back from where the head end must be slow.

    Parameters
    ----------
    course : Course
    place, slow, approach : float
        The head is to be at the place [m] with the slow speed [m/s]; it comes with the speed of approach [m/s].
    share : float
        Of the dynamic brake. [-]
    air : array_like
        Force of the air brake, built up; one, or at the speeds of the course; friction is that of the speed. [N]
    time_step : float
        [s]

    Notes
    -----
    The train coasts. What sets the brake up, notches, pause, build-up, comes before, at the speed then held. Where
    the forces on the train do not slow it anywhere on the way, it cannot be done.
    """
    force = np.array(np.broadcast_to(np.asarray(air, dtype=float), course.friction.shape)) * course.friction
    back = trace_back(
        course, float(place), float(slow), float(approach), float(share), force, float(time_step), FARTHEST
    )
    head, speed = back[:, ::-1]
    return SlowDown(head, speed, float(head[0]) if speed[0] >= approach * (1 - 1e-12) else None)


@dataclass(frozen=True, eq=False)
class Stop:
    """A stop: ``distance`` [m] that the head runs until the train stands and ``time`` [s], infinite for never;
    ``top_speed`` [m/s] reached while the brake builds up; ``run`` is all of it."""

    distance: float
    time: float
    top_speed: float
    run: Run


def stop(
    course: Course,
    *,
    head: float,
    speed: float,
    air: npt.ArrayLike,
    step: float = 1.0,
    share: float = 0.0,
    time_step: float = TIME_STEP,
) -> Stop:
    """How far a train runs until it stands.

    Parameters
    ----------
    course : Course
    head, speed : float
        Where the brake valve is moved [m], and how fast the train goes [m/s].
    air : array_like
        Force of the air brake over time since then at steps of ``step`` [s], delay and build-up included; the last
        stays. [N]
    share : float
        Of the dynamic brake, all the time. [-]
    time_step : float
        [s]
    """
    acts = [Act("air", air, step=step), Act("dynamic", share)]
    done = run(course, acts, head=head, speed=speed, until=head + FARTHEST, time_step=time_step)
    stands = done.ended == "stopped"
    return Stop(
        float(done.head[-1] - head) if stands else math.inf,
        float(done.time[-1]) if stands else math.inf,
        float(done.speed.max()),
        done,
    )
