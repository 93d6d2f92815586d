"""A train on a line and what its crew does, tabled for the loops of motion."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from profiler.mechanics.air_applied import train_friction
from profiler.mechanics.conditions import NOMINAL, Conditions
from profiler.mechanics.dynamic import group_dynamics
from profiler.mechanics.motion import AIR, FREE, HOLD, NOTCH, SHARE, Acts, Course
from profiler.mechanics.resistance import (
    CURVE_START_FACTOR,
    block_coefficients,
    starting_resistances,
    train_coefficients,
)
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.traction import group_efforts, notches_of
from profiler.mechanics.under_train import Spread, spread_of, under_train
from profiler.train import Train
from profiler.units import FloatArray

SPEED_STEP, FASTEST = 0.1, 40.0
SPEEDS = SPEED_STEP * np.arange(round(FASTEST / SPEED_STEP) + 1)
"""At which efforts and brakes are tabled; above the last they stay. [m/s], shape (k,)"""
PLACE_STEP = 10.0
"""Grade and curves under the train are tabled so far apart. [m]"""
KINDS = {"notch": NOTCH, "hold": HOLD, "dynamic": SHARE, "air": AIR}


@dataclass(frozen=True)
class Act:
    """Something the crew does: it begins as the head passes ``at`` [m], at once where that lies behind.

    ``value`` is one figure, or its course over time at steps of ``step`` [s] since then, straight in between; the
    last stays. With ``over`` [m/s] it begins instead when the speed is so far above the one held. Of one ``kind`` the
    act begun last holds, but air adds up. "notch" is the throttle, 0 idle, and the
    highest that may be used while a speed is held; "hold" the speed to be held [m/s], NaN for none; "dynamic" the
    share of the dynamic brake in use, allowed while a speed is held; "air" the force of the air brake [N]. ``cars``
    (n, v) of an air act is what every vehicle has of the last value at each step [-]; as at full service if not given.
    """

    kind: Literal["notch", "hold", "dynamic", "air"]
    value: npt.ArrayLike
    at: float = -math.inf
    step: float = 1.0
    over: float = math.inf
    cars: FloatArray | None = None


def acts_of(acts: Iterable[Act]) -> Acts:
    """Acts in order of place, tabled; those of one place as given, those that wait for a speed last."""
    ordered = sorted(acts, key=place_of)
    values = [np.atleast_1d(np.asarray(act.value, dtype=float)) for act in ordered]
    longest = max((v.size for v in values), default=0)
    table = [np.pad(v, (0, max(longest, 2) - v.size), mode="edge") for v in values]
    return Acts(
        np.array([place_of(act) for act in ordered], dtype=float),
        np.array([KINDS[act.kind] for act in ordered], dtype=np.int64),
        np.array([act.step for act in ordered], dtype=float),
        np.array(table).reshape(len(values), max(longest, 2)),
        np.array([act.over for act in ordered], dtype=float),
    )


def place_of(act: Act) -> float:
    """Where an act begins by its place [m]; nowhere if it waits for a speed."""
    return act.at if math.isinf(act.over) else math.inf


def course_of(
    train: Train,
    terrain: Terrain,
    *,
    start: float = 0.0,
    end: float | None = None,
    draft_limit: float | None = None,
    dynamic: npt.ArrayLike | None = None,
    conditions: Conditions = NOMINAL,
) -> Course:
    """A train on a line; no speed is held but those of acts.

    Parameters
    ----------
    train : Train
    terrain : Terrain
    start, end : float
        Stretch for which it is tabled, by distance travelled; from end to end if not given. Beyond it the grade under
        the train stays. [m]
    draft_limit : float, optional
        Instead of the train's own limit; infinite for none. [N]
    dynamic : array_like, optional
        All of the dynamic brake at `SPEEDS`, or the same at every speed, given by the head group and held to nothing
        [N]; that of the train's units, held to adhesion and caps, if not given.
    conditions : Conditions
        Running and curve resistance follow them, and shoe friction in `air_acts`.

    Notes
    -----
    What a group of power takes for itself, grade, curves and rolling at no speed, does not pass its coupler; nor does
    the part of the head group's dynamic brake that holds its own weight.
    """
    places = start + PLACE_STEP * np.arange(
        np.ceil(((terrain.length if end is None else end) - start) / PLACE_STEP) + 1
    )
    under = under_train(terrain, spread_of(train), places)
    limit = train.limits.draft if draft_limit is None else draft_limit
    blocks = np.array([c.a for c in block_coefficients(train)])
    room, push = [], []
    for group in train.groups:
        mass = group.mass / (group.end - group.start)
        its = under_train(terrain, Spread(np.array([group.start, group.end]), np.array([mass])), places)
        own = its.grade_force + its.curve_force + blocks[group.first : group.last + 1].sum()
        room.append(np.maximum(float(limit) + own, 0.0))
        push.append(np.maximum(train.limits.buff - its.grade_force, 0.0) if group.place == "head" else FREE + 0 * own)
    if dynamic is None:
        braking = group_dynamics(train, SPEEDS, -math.inf).effort
    else:
        braking = np.zeros((len(train.groups), SPEEDS.size))
        braking[0] = dynamic
        push = [np.full(places.size, FREE) for _ in train.groups]
    rolling = train_coefficients(train) * conditions.rolling
    efforts = [group_efforts(train, SPEEDS, notch=n, draft_limit=math.inf) for n in notches_of(train)]
    return Course(
        first=float(start),
        step=PLACE_STEP,
        weight=under.grade_force,
        bend=conditions.curves * under.curve_force,
        resistance=np.array([rolling.a, rolling.b, rolling.c]),
        breakaway=float(starting_resistances(train).sum()),
        bend_start=float(CURVE_START_FACTOR),
        mass=train.rotating_mass,
        speed_step=SPEED_STEP,
        effort=np.ascontiguousarray(np.swapaxes(efforts, 0, 1)),
        room=np.array(room),
        dynamic=np.array(braking),
        push=np.array(push),
        friction=train_friction(train, SPEEDS),
        hold=np.full(places.size, FREE),
        limit=np.full(places.size, FREE),
        floor=np.zeros(places.size),
    )


def places_of(course: Course) -> FloatArray:
    """Places at which a course is tabled (p,), by distance travelled. [m]"""
    return course.first + course.step * np.arange(course.weight.size)


def held_back_by(course: Course, place: npt.ArrayLike, speed: npt.ArrayLike) -> FloatArray:
    """All of the dynamic brake at places [m] and speeds [m/s], broadcast together. [N]"""
    x, v = np.broadcast_arrays(np.asarray(place, dtype=float), np.asarray(speed, dtype=float))
    places, speeds = places_of(course), course.speed_step * np.arange(course.dynamic.shape[1])
    total = np.zeros(x.shape)
    for effort, most in zip(course.dynamic, course.push, strict=True):
        total += np.minimum(np.interp(v, speeds, effort), np.interp(x, places, most))
    return total


def pulled_by(course: Course, notch: int, speed: float) -> FloatArray:
    """Effort of all groups in a notch at a speed [m/s], at every place of the course (p,). [N]"""
    speeds = course.speed_step * np.arange(course.effort.shape[-1])
    each = [
        np.minimum(np.interp(speed, speeds, g[notch]), room) for g, room in zip(course.effort, course.room, strict=True)
    ]
    return np.asarray(np.sum(each, axis=0))


def effort_needed(course: Course, speed: FloatArray | float) -> FloatArray:
    """Effort that keeps speeds (p,) [m/s], or one, at every place of the course, negative where it must be held. [N]"""
    a, b, c = course.resistance
    return np.asarray(course.weight + course.bend + a + speed * (b + speed * c))


def kept_going(course: Course, notch: int, speed: float) -> FloatArray:
    """Where a notch keeps a speed [m/s]. shape (p,)"""
    return pulled_by(course, notch, speed) >= effort_needed(course, speed)


def drawn_along(train: Train, drawn: Terrain, course: Course) -> tuple[Course, ...]:
    """The course over every draw of its line: the weight follows the draw, couplers' room stays as estimated."""
    weight = under_train(drawn, spread_of(train), places_of(course)).grade_force
    return tuple(course._replace(weight=np.ascontiguousarray(w)) for w in weight)


def in_use(course: Course, effort: FloatArray, head: FloatArray, speed: FloatArray) -> FloatArray:
    """Lowest notch (t,) that gives the efforts (t,) [N] at head positions (t,) [m] and speeds (t,) [m/s]."""
    speeds = course.speed_step * np.arange(course.effort.shape[-1])
    places = places_of(course)
    each = np.zeros((course.effort.shape[1], effort.size))
    for group, room in zip(course.effort, course.room, strict=True):
        most = np.interp(head, places, room)
        each += [np.minimum(np.interp(np.abs(speed), speeds, row), most) for row in group]
    return np.asarray(np.argmax(each >= effort * (1 - 1e-9), axis=0))
