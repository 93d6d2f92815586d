"""Steady forces in a train along a run: what every coupler carries while the crew does what the run has it do."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import Protocol

import numpy as np

from profiler.cited import Cited
from profiler.mechanics.air_applied import car_forces
from profiler.mechanics.conditions import NOMINAL, Conditions
from profiler.mechanics.couplers import Peaks, balanced, held_back, largest, vehicles_of
from profiler.mechanics.dynamic import unit_dynamic
from profiler.mechanics.motion import Course, each_over_groups
from profiler.mechanics.pull import vehicle_efforts, vehicle_resistances
from profiler.mechanics.terrain import Terrain
from profiler.train import Train
from profiler.units import FloatArray

EVERY = Cited(50, "m", "choice")
"""Forces are worked out once the head has gone so far. [m]"""
CHANGE = Cited(50, "kn", "choice")
"""And once effort less brakes has changed by so much. [N]"""


class States(Protocol):
    """A train in time, (t,) each: a `run.Run`, or several one after another."""

    @property
    def time(self) -> FloatArray:
        """[s]"""

    @property
    def head(self) -> FloatArray:
        """Of the head end, by distance travelled. [m]"""

    @property
    def speed(self) -> FloatArray:
        """[m/s]"""

    @property
    def effort(self) -> FloatArray:
        """At the wheel rims. [N]"""

    @property
    def dynamic(self) -> FloatArray:
        """Dynamic brake. [N]"""

    @property
    def air(self) -> FloatArray:
        """Air brake. [N]"""


@dataclass(frozen=True, kw_only=True)
class Extreme:
    """The largest draft or buff of a run: ``force`` [N], above zero, behind ``vehicle``, counted from 0 at the head.

    With the head end at ``head`` by distance travelled [m], at ``time`` [s] and ``speed`` [m/s].
    """

    force: float
    vehicle: int
    head: float
    time: float
    speed: float


@dataclass(frozen=True, eq=False, kw_only=True)
class InTrain:
    """Steady coupler forces at instants of a run, thinned; arrays are (t,), forces (t, v - 1).

    ``time`` [s], ``head`` by distance travelled [m], ``speed`` [m/s]. ``force`` behind each vehicle but the last, +
    draft, - buff; ``by_effort``, ``by_dynamic`` and ``by_air`` are the parts of it that those cause, the rest is of
    grade, curves and rolling [N]. ``effort``, ``dynamic`` and ``air`` [N] and ``acceleration`` [m/s²] are those of the
    whole train.
    """

    time: FloatArray
    head: FloatArray
    speed: FloatArray
    effort: FloatArray
    dynamic: FloatArray
    air: FloatArray
    force: FloatArray
    by_effort: FloatArray
    by_dynamic: FloatArray
    by_air: FloatArray
    acceleration: FloatArray

    @cached_property
    def peaks(self) -> Peaks:
        """The largest draft and buff anywhere in the train, by head position."""
        return Peaks(self.head, *largest(self.force))

    @property
    def draft(self) -> Extreme:
        """The largest draft of the run."""
        return self._extreme(self.peaks.draft, self.peaks.draft_at)

    @property
    def buff(self) -> Extreme:
        """The largest buff of the run."""
        return self._extreme(self.peaks.buff, self.peaks.buff_at)

    @cached_property
    def node(self) -> FloatArray:
        """Vehicle behind which draft turns to buff (t,), counted from 0 at the head, the first where there are more.

        -1 where no draft is ahead of a buff.
        """
        pulled = np.maximum.accumulate(self.force > 0, axis=1)
        turns = pulled & (self.force < 0)
        return np.where(turns.any(axis=1), turns.argmax(axis=1), -1)

    def _extreme(self, force: FloatArray, vehicle: FloatArray) -> Extreme:
        i = int(force.argmax())
        return Extreme(
            force=float(force[i]),
            vehicle=int(vehicle[i]),
            head=float(self.head[i]),
            time=float(self.time[i]),
            speed=float(self.speed[i]),
        )


def in_train(
    train: Train, terrain: Terrain, course: Course, states: States, *, conditions: Conditions = NOMINAL
) -> InTrain:
    """Steady coupler forces of a train along a run.

    Parameters
    ----------
    train : Train
    terrain : Terrain
        Its line.
    course : Course
        That train on that line, with the dynamic brake of its units.
    states : States
        What was run on the course, the train moving ahead; instants at rest are left out.
    conditions : Conditions
        Of the course.

    Notes
    -----
    Slack at rest in every coupler, acts gradual. All groups of power are in one notch, or as far between two; the
    dynamic brake is in use by the same share of what each group may give. Air is spread over the cars as at full
    service: while it builds up or lets go the cars near the head are ahead of that mean, and those far from it behind.
    Instants: every `EVERY` of travel, every `CHANGE` of effort less brakes, and all about the two extremes.
    """
    kept = _thinned(states)
    coarse = _at(train, terrain, course, states, kept, conditions)
    if kept.size < 2:
        return coarse
    most = (int(force.argmax()) for force in (coarse.peaks.draft, coarse.peaks.buff))
    around = [np.arange(kept[max(i - 1, 0)], kept[min(i + 1, kept.size - 1)]) for i in most]
    more = np.setdiff1d(np.concatenate(around), kept)
    more = more[states.speed[more] > 0]
    fine = _at(train, terrain, course, states, more, conditions)
    order = np.argsort(np.r_[kept, more])
    names = (field.name for field in fields(InTrain))
    return InTrain(**{x: np.concatenate([getattr(coarse, x), getattr(fine, x)])[order] for x in names})


def _thinned(states: States) -> FloatArray:
    """Instants at which the train moves, no more than needed."""
    moving = np.flatnonzero(states.speed > 0)
    driven = (states.effort - states.dynamic - states.air)[moving]
    level = np.floor([states.head[moving] / EVERY, driven / CHANGE])
    return moving[np.r_[True, (np.diff(level) != 0).any(axis=0)]] if moving.size else moving


def _at(
    train: Train, terrain: Terrain, course: Course, states: States, at: FloatArray, conditions: Conditions
) -> InTrain:
    """Forces at some instants (t,), positions in the states."""
    head, speed = states.head[at], states.speed[at]
    vehicles = vehicles_of(train)
    effort = over_units(train, efforts_of_groups(course, states.effort[at], head, speed), vehicle_efforts(train, speed))
    dynamic = over_units(
        train, dynamics_of_groups(course, states.dynamic[at], head, speed), vehicle_dynamics(train, speed)
    )
    cars = car_forces(train)
    air = states.air[at, None] * (cars / (cars.sum() or 1.0))
    line = conditions.rolling * vehicle_resistances(train, speed)
    line += held_back(terrain, vehicles, head, curves=conditions.curves)
    parts = [balanced(vehicles, held) for held in (line, -effort, dynamic, air)]
    (_, by_effort, by_dynamic, by_air), accelerations = zip(*parts, strict=True)
    return InTrain(
        time=states.time[at],
        head=head,
        speed=speed,
        effort=states.effort[at],
        dynamic=states.dynamic[at],
        air=states.air[at],
        force=np.sum([force for force, _ in parts], axis=0),
        by_effort=by_effort,
        by_dynamic=by_dynamic,
        by_air=by_air,
        acceleration=np.sum(accelerations, axis=0),
    )


def vehicle_dynamics(train: Train, speed: FloatArray) -> FloatArray:
    """Dynamic brake of every vehicle at speeds (t,) [m/s], group caps left aside; the last units of a block are those
    isolated. [N], shape (t, v)"""
    each = []
    for i, block in enumerate(train.blocks):
        leads = min(block.working, 1) if i == 0 else 0
        for count, lead in ((leads, True), (block.working - leads, False), (block.count - block.working, None)):
            if count:
                one = 0.0 * speed if lead is None else unit_dynamic(block.vehicle, speed, rail=train.rail, lead=lead)
                each.append(np.repeat(one[:, None], count, axis=1))
    return np.concatenate(each, axis=1)


def efforts_of_groups(course: Course, effort: FloatArray, head: FloatArray, speed: FloatArray) -> FloatArray:
    """The effort of a train (t,) [N] over its groups of power, all in one notch, or as far between two.

    At head positions (t,) [m] and speeds (t,) [m/s]; each held to what its coupler has room for. [N], (groups, t)
    """
    return np.asarray(each_over_groups(course, effort, 0.0 * effort, head, speed)[0])


def dynamics_of_groups(course: Course, dynamic: FloatArray, head: FloatArray, speed: FloatArray) -> FloatArray:
    """The dynamic brake of a train (t,) [N] over its groups, the same share of what each may give; as above."""
    return np.asarray(each_over_groups(course, 0.0 * dynamic, dynamic, head, speed)[1])


def over_units(train: Train, force: FloatArray, weight: FloatArray) -> FloatArray:
    """Forces of groups (groups, t) [N] over their units, by what each can do (t, v). [N], shape (t, v)"""
    first = np.r_[0, np.cumsum(train.counts)]
    shared = np.zeros(weight.shape)
    for group, its in zip(train.groups, force, strict=True):
        units = slice(first[group.first], first[group.last + 1])
        able = weight[:, units].sum(axis=1)
        shared[:, units] = weight[:, units] * np.divide(its, able, out=np.zeros(its.size), where=able > 0)[:, None]
    return shared
