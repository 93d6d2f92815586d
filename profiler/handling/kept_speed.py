"""The highest speed at which a train can be taken all the way down a descent, not only past its hardest place."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from profiler.handling.approach import extremes_of
from profiler.handling.descents import Descent
from profiler.handling.holding import Holding, TopSpeed, top_speed
from profiler.handling.speeds import Speeds
from profiler.handling.staircase import AirStep, staircase
from profiler.handling.timeline import air_acts, cruising_acts, idling_acts
from profiler.mechanics.course import acts_of, places_of
from profiler.mechanics.motion import Course
from profiler.train import Train
from profiler.units import FloatArray


def kept_speed(
    course: Course, train: Train, speeds: Speeds, descent: Descent, table: Holding, doubt: FloatArray
) -> TopSpeed:
    """The highest speed of a holding table at which the whole descent can be run with its staircase.

    Where no speed of those that hold can, the highest of them: the plan then tells what cannot be done.
    """
    top = top_speed(table)
    if math.isnan(top.speed) or top.bound == "reserve":
        return top
    for row in np.flatnonzero(table.holds.any(axis=1)):
        if _can_be_run(course, train, _at_most(speeds, float(table.speed[row]), train), descent, doubt):
            speed = float(table.speed[row])
            return top if speed == top.speed else replace(top, speed=speed, bound="air")
    return top


def _at_most(speeds: Speeds, cap: float, train: Train) -> Speeds:
    return replace(
        speeds,
        limit=np.minimum(speeds.limit, cap + float(train.handling.margin)),
        hold=np.minimum(speeds.hold, cap),
        expected=np.minimum(speeds.expected, cap),
    )


def _can_be_run(course: Course, train: Train, speeds: Speeds, descent: Descent, doubt: FloatArray) -> bool:
    """Whether the staircase neither has to be set again uncharged nor stops the train nor lets it run away."""
    steps: tuple[AirStep, ...] = staircase(course, train, speeds, descent, doubt=doubt)
    if not all(step.charged for step in steps):
        return False
    start = float(np.interp(descent.start, places_of(course), speeds.expected))
    usable = float(train.handling.usable_dynamic)
    acts = [*cruising_acts(train, 0, descent.start), *idling_acts(usable, descent.start), *air_acts(train, steps)]
    run = extremes_of(speeds.on(course), acts_of(acts), head=descent.start, speed=start, until=descent.end, beyond=0.0)
    return run.over <= 0 and run.least >= 0
