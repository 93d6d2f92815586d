"""One descent while its acts are moved about: everything that stays, and runs with the acts of one place moved."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from profiler.handling.approach import (
    COARSE,
    FOLLOWED,
    QUICK,
    TIME_STEP,
    Approach,
    Extremes,
    approach_acts,
    extremes_of,
    floor_under,
)
from profiler.handling.descents import Descent
from profiler.handling.staircase import AirStep
from profiler.handling.timeline import Timeline, air_acts, idling_acts, power_off_acts
from profiler.mechanics.conditions import EVERY, NOMINAL, Conditions
from profiler.mechanics.course import Act, places_of
from profiler.mechanics.motion import Acts, Course
from profiler.mechanics.run import run
from profiler.train import Train
from profiler.units import FloatArray


@dataclass(frozen=True, eq=False)
class Scene:
    """Everything about one descent that stays while its acts are moved.

    ``courses`` are those of `EVERY` conditions, nominal first; ``drawn`` that of every draw; all know their speeds.
    """

    train: Train
    descent: Descent
    approach: Approach
    line: Timeline
    steps: tuple[AirStep, ...]
    courses: tuple[Course, ...]
    drawn: tuple[Course, ...]
    top_notch: int

    @cached_property
    def margin(self) -> float:
        """So much is kept from the limit by what is recommended: half of what the speed held keeps. [m/s]"""
        course, places = self.courses[0], places_of(self.courses[0])
        on = (places >= self.descent.start) & (places <= self.descent.end)
        return min(float((course.limit - course.hold)[on].min()), float(self.train.handling.margin)) / 2

    @cached_property
    def coarse(self) -> float:
        """Time step on draws: coarse, but for a train so light that its speed changes within it. [s]"""
        course = self.courses[0]
        return COARSE if course.effort[:, -1, 0].sum() <= QUICK * course.mass else TIME_STEP

    @cached_property
    def floor(self) -> FloatArray:
        """Slowest that the train may become by place (p,), by what it has at the crest or may have there. [m/s]"""
        return floor_under(np.minimum(self.courses[0].hold, self.approach.crest_speed))

    def floored(self, conditions: Conditions = NOMINAL) -> Course:
        """The estimate under one of `EVERY` conditions, with that floor."""
        return self.courses[EVERY.index(conditions)]._replace(floor=self.floor)

    @cached_property
    def end(self) -> float:
        """Of the line: nothing is followed any farther. [m]"""
        return float(places_of(self.courses[0])[-1])

    def acts(
        self,
        power_off: float,
        steps: Sequence[AirStep] | None = None,
        *,
        share: float | None = None,
        conditions: Conditions = NOMINAL,
    ) -> list[Act]:
        """All acts, power going off at a place [m]; minus infinity: it is off, and the dynamic brake set up."""
        usable = float(self.train.handling.usable_dynamic) if share is None else share
        off = power_off_acts(self.line, usable, power_off) if math.isfinite(power_off) else idling_acts(usable)
        return [
            *approach_acts(self.train, self.approach.head, self.approach.quiet, self.top_notch),
            *off,
            *air_acts(self.train, self.steps if steps is None else steps, conditions),
        ]

    def head_after(self, power_off: float, seconds: float) -> float:
        """Where the head is so long [s] after power began to go off at a place [m], on the estimate; NaN for none."""
        if not np.isfinite(power_off):
            return float("nan")
        come = self.approach
        until = min(power_off + FOLLOWED, self.end)
        done = run(self.courses[0], self.acts(power_off), head=come.head, speed=come.speed, until=until)
        begun, _ = done.at(max(power_off, come.head))
        return float(np.interp(begun + seconds, done.time, done.head)) if np.isfinite(begun) else float("nan")


class Moving:
    """Runs of a scene with the acts of one place moved together to another, each begun where they may be tried first.

    What comes before ``low`` is run once; ``until`` the head gets there, all is followed. [m]
    """

    def __init__(
        self,
        scene: Scene,
        course: Course,
        acts: Acts,
        place: float,
        *,
        low: float,
        until: float,
        time_step: float = TIME_STEP,
    ) -> None:
        self._acts, self._moves = acts, acts.place == place
        self._course, self._until, self._time_step = course, until, time_step
        come = scene.approach
        self._before = Extremes(-np.inf, come.speed, come.head, come.speed, np.full(acts.place.size, np.nan))
        if low > come.head:
            self._before = self._run(math.inf, low)

    def _run(self, place: float, until: float, beyond: float = np.inf) -> Extremes:
        places = np.where(self._moves, place, self._acts.place)
        order = np.argsort(places, kind="stable")
        return extremes_of(
            self._course,
            Acts(places[order], *(x[order] for x in self._acts[1:])),
            head=self._before.head,
            speed=self._before.speed,
            until=until,
            beyond=beyond,
            time_step=self._time_step,
            since=self._before.begun,
        )

    def held(self, place: float, bound: float) -> bool:
        """Whether the train stays within a bound [m/s] above its limit with the acts at a place [m]."""
        if self._before.over > bound:
            return False
        return self._run(place, self._until, bound).over <= bound

    def speed_at(self, place: float) -> float:
        """How fast the train gets to a place [m], the acts being there. [m/s]"""
        return self._run(place, place).speed if self._before.speed > 0 else 0.0

    def least(self, place: float, until: float | None = None) -> float:
        """How far the train is above the floor of its course at least [m/s], until its head is at a place [m], with the
        acts at a place [m]."""
        if self._before.speed <= 0:
            return self._before.least
        return min(self._before.least, self._run(place, self._until if until is None else until).least)
