"""Plans of the trial's trains on its hills, made once for all tests."""

from __future__ import annotations

from functools import cache

from profiler.handling.descent_plan import LinePlan, plan_descents
from profiler.handling.speeds import Speeds, speeds_along
from profiler.mechanics.course import course_of
from profiler.mechanics.motion import Course
from profiler.mechanics.speed_limits import HeadLimit, head_limit
from profiler.mechanics.terrain import Terrain
from profiler.route import SpeedLimit
from profiler.train import Train
from profiler.units import KMH, MPH
from tests.trial import erring, hill, steep, trial_trains

TRAINS = trial_trains()
NAMES = tuple(TRAINS)
LIMIT = {name: 45 * KMH if name == "f" else 25 * MPH for name in NAMES}
DTM, DSM = (0.4, 400.0), (1.7, 1000.0)
"""Error of heights, and over how far it goes on, of terrain and of surface models. [m]"""


def line_of_trial(name: str) -> Terrain:
    """The hill a train of the trial has."""
    return steep() if name == "f" else hill()


def posted(train: Train, terrain: Terrain, speed: float) -> HeadLimit:
    """One limit [m/s] from end to end."""
    return head_limit([SpeedLimit(0, terrain.length, speed)], terrain, train.length)


@cache
def planned(name: str, errors: tuple[float, float] | None = DTM) -> LinePlan:
    """A train's plan under the trial's limit, on 100 draws if any."""
    train, terrain = TRAINS[name], line_of_trial(name)
    drawn = erring(terrain, *errors) if errors else None
    return plan_descents(train, terrain, posted(train, terrain, LIMIT[name]), drawn)


@cache
def held_along(name: str) -> tuple[Course, Speeds]:
    """A train's course under the trial's limit, held at that whatever its wheels stand."""
    train, terrain = TRAINS[name], line_of_trial(name)
    course = course_of(train, terrain)
    return course, speeds_along(course, train, posted(train, terrain, LIMIT[name]))
