"""A train under way at steady speed: the grade under it, what it takes to go on, and what its couplers carry."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.handling.speeds import Speeds
from profiler.mechanics.course import places_of
from profiler.mechanics.motion import Course
from profiler.mechanics.places import head_positions
from profiler.mechanics.pull import Pull, pull_along
from profiler.mechanics.resistance import train_coefficients
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.traction import block_efforts
from profiler.mechanics.under_train import UnderTrain, spread_of, under_train
from profiler.train import Train
from profiler.units import FloatArray

SAID_EVERY = 5
"""Every so many-th head position is one for which the draws say how sure the grade under the train is."""


@dataclass(frozen=True, eq=False)
class Lying:
    """A train by its head positions (h,), whatever its speed: ``under`` is the grade under it, ``grade_se`` its
    standard error by the draws [m/m]."""

    under: UnderTrain
    grade_se: FloatArray


@dataclass(frozen=True, eq=False)
class Running:
    """The train under way; arrays are (h,), one value a head position of ``pull``, by distance travelled.

    ``under`` is the grade under the train, ``grade_se`` its standard error by the draws [m/m]; ``rolling`` its
    resistance on level straight track at the speed of ``pull``, ``available`` its full effort there [N].
    """

    under: UnderTrain
    grade_se: FloatArray
    rolling: FloatArray
    available: FloatArray
    pull: Pull

    @property
    def needed(self) -> FloatArray:
        """Effort that keeps the speed, below zero where the train has to be held back. [N]"""
        return self.under.grade_force + self.under.curve_force + self.rolling


def lying_along(train: Train, terrain: Terrain, drawn: Terrain) -> Lying:
    """The grade under a train from end to end of a line, and of all its draws."""
    head, spread = head_positions(0.0, terrain.length), spread_of(train)
    some = np.unique(np.r_[np.arange(0, head.size, SAID_EVERY), head.size - 1])
    grades = under_train(drawn, spread, head[some]).grade
    return Lying(under_train(terrain, spread, head), np.interp(head, head[some], grades.std(axis=0)))


def running_by_plan(train: Train, terrain: Terrain, lying: Lying, course: Course, speeds: Speeds) -> Running:
    """A train that goes as fast as its plan has it, and slower where full power does not keep that up."""
    head = lying.under.head
    pull = pull_along(terrain, train, np.interp(head, places_of(course), speeds.expected), head)
    return Running(
        under=lying.under,
        grade_se=lying.grade_se,
        rolling=np.asarray(train_coefficients(train)(pull.speed)),
        available=block_efforts(train, pull.speed).sum(axis=0),
        pull=pull,
    )
