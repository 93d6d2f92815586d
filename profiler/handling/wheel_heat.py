"""Heat of the worst car's wheels over a descent, as its plan is run."""

from __future__ import annotations

import math

import numpy as np

from profiler.handling.descents import Descent
from profiler.handling.journey import Journey
from profiler.mechanics.air_acts import brake_force
from profiler.mechanics.thermal import WheelHeat, customary_limit, descent_heat
from profiler.train import Train


def heat_over(train: Train, trip: Journey, descent: Descent) -> WheelHeat:
    """Heat of a descent by the air brake in use on a journey, energy adding up over its runs.

    All zero, (1,), where the journey does not get there, or where no car has a brake.
    """
    full = float(brake_force(train, math.inf))
    found: WheelHeat | None = None
    for run in trip.runs:
        on = (run.head >= descent.start) & (run.head <= descent.end)
        if full <= 0 or on.sum() < 2:
            continue
        heat = descent_heat(train, run.head[on], run.air[on] / full, run.speed[on])
        if found is not None:
            energy = np.r_[found.energy, found.energy[-1] + heat.energy]
            heat = WheelHeat(np.r_[found.power, heat.power], energy, heat.block, heat.limit)
        found = heat
    return found or WheelHeat(np.zeros(1), np.zeros(1), 0, customary_limit(train))
