"""The run: a train followed in time over a line, as its crew handles it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.integrate import cumulative_trapezoid

from profiler.errors import InputError
from profiler.mechanics.course import Act, acts_of, in_use, place_of
from profiler.mechanics.motion import Course, integrate
from profiler.units import FloatArray

TIME_STEP = 0.5
"""[s]"""
LASTS = 4 * 3600.0
"""A run is followed no longer. [s]"""

Ended = Literal["there", "time", "stopped", "stalled"]


@dataclass(frozen=True, kw_only=True)
class Energy:
    """Where the work of a run went. [J]"""

    work: float
    """Of the effort at the wheel rims."""
    kinetic: float
    """Gained, rotating parts included."""
    potential: float
    """Gained."""
    rolling: float
    """Spent against running resistance."""
    curves: float
    """Spent in curves."""
    dynamic: float
    """Taken by the dynamic brake."""
    air: float
    """Taken by the air brake."""

    @property
    def error(self) -> float:
        """What does not close: the error of the integration."""
        return self.work - self.kinetic - self.potential - self.rolling - self.curves - self.dynamic - self.air


@dataclass(frozen=True, eq=False, kw_only=True)
class Run:
    """A run in time; arrays are (t,)."""

    course: Course
    """What was run."""
    time: FloatArray
    """Since it began. [s]"""
    head: FloatArray
    """Of the head end, by distance travelled. [m]"""
    speed: FloatArray
    """[m/s]"""
    effort: FloatArray
    """At the wheel rims. [N]"""
    dynamic: FloatArray
    """Dynamic brake. [N]"""
    air: FloatArray
    """Air brake. [N]"""
    begun: FloatArray
    """When each act began, in the order given, NaN where its place was not reached. [s], shape (acts,)"""
    ended: Ended
    """Why it ended: the head is where it was to go, the time is over, or the train came to rest or
    would roll back: stalled where it was pulled."""
    energy: Energy
    """Over the whole run."""

    @property
    def notch(self) -> FloatArray:
        """Lowest notch that gives the effort, 0 idle. [-]"""
        return in_use(self.course, self.effort, self.head, self.speed)

    @property
    def brake(self) -> FloatArray:
        """Dynamic and air together. [N]"""
        return self.dynamic + self.air

    def at(self, head: float) -> tuple[float, float]:
        """Time [s] and speed [m/s] at which the head first reaches a place [m]; NaN where it never does."""
        if not self.head[0] <= head <= self.head.max():
            return math.nan, math.nan
        i = int(np.argmax(self.head >= head))
        if i == 0:
            return float(self.time[0]), float(self.speed[0])
        way, v = head - self.head[i - 1], self.speed[i - 1]
        a = (self.speed[i] ** 2 - v * v) / (2 * (self.head[i] - self.head[i - 1]))
        speed = math.sqrt(max(v * v + 2 * a * way, 0.0))
        return float(self.time[i - 1] + (2 * way / (v + speed) if way else 0.0)), speed


def run(
    course: Course,
    acts: Sequence[Act],
    *,
    head: float,
    speed: float,
    until: float,
    lasts: float = LASTS,
    time_step: float = TIME_STEP,
) -> Run:
    """A train run from a place.

    Parameters
    ----------
    course : Course
        The train on its line, tabled.
    acts : sequence of Act
        What the crew does; with none the train coasts.
    head, speed : float
        Where its head end is [m], how fast it goes [m/s].
    until : float
        Where the head end is to get. [m]
    lasts : float
        The run ends after this time. [s]
    time_step : float
        [s]

    Raises
    ------
    InputError
        If the train moves backward or is to get where it has been, a step is not above zero, or there is no such
        notch.

    Notes
    -----
    Heun's method in time: acts of the crew are clocks, and a stall is singular in distance. A step ends exactly
    where an act begins. With a speed to be held the effort is what grade, curves and resistance ask, and what
    brings the train to that speed in 20 s; the dynamic brake takes what is left of it below nothing, air deducted.
    Neither remembers anything.
    """
    if speed < 0 or until < head or not time_step > 0:
        problem = f"from {head:g} m at {speed:g} m/s to {until:g} m in steps of {time_step:g} s it cannot go"
        raise InputError("run", problem, "give a way ahead, and a speed and a step above zero")
    highest = course.effort.shape[1] - 1
    for act in acts:
        if not act.step > 0:
            raise InputError("run", f"values of an act are {act.step:g} s apart", "give a time above zero")
        if act.kind == "notch" and not 0 <= np.min(act.value) <= np.max(act.value) <= highest:
            raise InputError("run", f"there is no notch {np.max(act.value):g}", f"give 0 to {highest}")
    found, spent, begun = integrate(
        course, acts_of(acts), float(head), float(speed), float(time_step), float(lasts), float(until), True
    )
    time, heads, speeds, effort, dynamic, air = found
    in_order = np.empty(len(acts))
    in_order[sorted(range(len(acts)), key=lambda i: place_of(acts[i]))] = begun
    ended: Ended = "there" if heads[-1] >= until - 1e-9 else "time"
    if ended == "time" and speeds[-1] == 0:
        ended = "stalled" if effort[-1] > 0 else "stopped"
    lifted = potential(course, heads[[0, -1]])
    return Run(
        course=course,
        time=time,
        head=heads,
        speed=speeds,
        effort=effort,
        dynamic=dynamic,
        air=air,
        begun=in_order,
        ended=ended,
        energy=Energy(
            work=float(spent[0]),
            kinetic=float(course.mass * (speeds[-1] ** 2 - speeds[0] ** 2) / 2),
            potential=float(lifted[1] - lifted[0]),
            dynamic=float(spent[1]),
            air=float(spent[2]),
            rolling=float(spent[3]),
            curves=float(spent[4]),
        ),
    )


def potential(course: Course, head: FloatArray) -> FloatArray:
    """Work against the weight from the first tabled place to head positions (h,) [m]. [J]"""
    summed = cumulative_trapezoid(course.weight, dx=course.step, initial=0.0)
    place = (head - course.first) / course.step
    i = np.clip(place.astype(int), 0, course.weight.size - 2)
    share = np.clip(place, 0, course.weight.size - 1) - i
    here = course.weight[i] + share * (course.weight[i + 1] - course.weight[i])
    inside = summed[i] + (course.weight[i] + here) / 2 * share * course.step
    return np.asarray(inside + here * (place - i - share) * course.step)
