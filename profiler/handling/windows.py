"""When each act of a descent may begin: earliest, recommended, latest, each found by running the train.

Latest is found by bisection: a later start leaves the train nowhere slower. Recommended is the earlier of custom and
of what all but a few draws of the line allow, with weak shoes and little resistance too where the train is held so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from profiler.handling.approach import (
    FOLLOWED,
    ON_DRAWS,
    TIME_STEP,
    TOLERANCE,
    first_place,
    last_place,
)
from profiler.handling.scene import Moving, Scene
from profiler.mechanics.conditions import EVERY, NOMINAL, STRONG, WEAK, Conditions
from profiler.mechanics.course import Act, acts_of
from profiler.mechanics.motion import Acts, Course
from profiler.units import MPH, FloatArray

CAUTIOUS = 0.05
"""Quantile of the draws that is recommended. [-]"""
LEAST_RELEASE = 10 * MPH
"""A direct brake is not reckoned to be released while running any slower [m/s]; many rules forbid it altogether."""
REACH = 4000.0
"""Acts are tried no farther from where they are planned. [m]"""
NEXT = 1000.0
"""A release is judged by the run so far past the next movement of the valve. [m]"""
SPREAD = 400.0
"""On draws they are first tried so near to the window of the estimate. [m]"""


@dataclass(frozen=True, kw_only=True)
class Window:
    """Places of the head at which an act may begin, by distance travelled [m].

    ``earliest`` before which the train would lose the hill, or run away with a release; ``latest`` after which it
    would pass the limit, or be too slow to release: NaN where no place does, infinite where every one tried does. A
    train that stays below the limit because it never gets over the hill is not held.
    ``custom`` is where trade custom or the plan has it; ``recommended`` that, or what all but `CAUTIOUS` of the draws
    allow, whichever is safer. ``spread`` are the 5 % and 95 % quantiles of the safe side over the draws, ``surest`` the
    place that suits every draw that has one, ``weak`` that side with weak shoes and little resistance: it counts where
    it leaves a window. ``strong`` is the other side with strong shoes and much resistance: it is told only. ``fails``
    is the share of draws in which no place from the earliest on does.
    """

    earliest: float
    recommended: float
    latest: float
    custom: float
    spread: tuple[float, float]
    surest: float
    weak: float
    strong: float
    fails: float

    @property
    def empty(self) -> bool:
        """Whether there is no place from earliest to latest that is also safe."""
        return not self.earliest <= self.recommended <= self.latest


def _over_draws(find: Callable[[Course], float], drawn: Sequence[Course]) -> FloatArray:
    """The same on every draw, on as many threads as there are processors."""
    with ThreadPoolExecutor() as pool:
        return np.array(list(pool.map(find, drawn)))


def power_off_window(scene: Scene) -> Window:
    """When the first notch goes off."""
    come, start = scene.approach, scene.descent.start
    low, high, until = come.quiet, min(start + REACH, scene.end), min(start + FOLLOWED, scene.end)
    custom = come.balance - come.crest_speed * scene.line.idle

    def acts(place: float, conditions: Conditions, share: float | None) -> list[Act]:
        return scene.acts(place, conditions=conditions, share=share)

    early = min(start + scene.train.length, until)
    parts = _Parts(scene, low, high, until, acts, early)
    return _latest_side(parts, custom, early, max(custom, low), None)


def step_window(scene: Scene, number: int, power_off: float) -> Window:
    """When one application is made, or graduated brakes are set further, the others as planned."""
    step = scene.steps[number]
    ahead = scene.steps[number + 1].at if number + 1 < len(scene.steps) else scene.descent.end
    behind = scene.steps[number - 1].at if number else scene.approach.head
    low, high = max(step.at - REACH, behind), max(min(step.need + REACH, ahead), step.at)
    until = min(step.need + FOLLOWED, ahead + FOLLOWED / 2)
    parts = _Parts(scene, low, high, until, _with_step(scene, number, power_off))
    return _latest_side(parts, step.at, min(until, ahead), high, 1.0)


def release_window(scene: Scene, number: int, power_off: float) -> Window:
    """When a direct brake is released, or a graduated one eased: neither while the train would run away after it,
    nor once it is too slow."""
    step = scene.steps[number]
    ahead = scene.steps[number + 1].at if number + 1 < len(scene.steps) else min(scene.descent.end + REACH, scene.end)
    low, high = max(step.at - REACH, scene.steps[number - 1].need), max(min(step.at + REACH, ahead), step.at)
    last = number + 1 == len(scene.steps)
    until = max(step.need, scene.descent.end) + FOLLOWED / 2 if last else ahead + NEXT
    parts = _Parts(scene, low, high, until, _with_step(scene, number, power_off))

    def last_fast(conditions: Conditions) -> float:
        moving = parts.moving(scene.floored(conditions), step.at, conditions)
        if scene.train.air_brake == "direct release":
            return last_place(lambda place: moving.speed_at(place) >= LEAST_RELEASE, low, high)
        return last_place(lambda place: moving.least(place, place) >= 0, low, high)

    latest, strong = last_fast(NOMINAL), last_fast(STRONG)

    def first(course: Course, bound: float, conditions: Conditions = NOMINAL, near: float | None = None) -> float:
        at, close = (low, TOLERANCE) if near is None else (max(near - SPREAD, low), ON_DRAWS)
        runs = parts.moving(course, step.at, conditions, low=at, coarse=near is not None)
        if near is not None and at > low and runs.held(at, bound):
            return first(course, bound, conditions)
        known, reach = near is not None and at > low, high
        if near is not None and near + SPREAD < high and runs.held(near + SPREAD, bound):
            reach = near + SPREAD
        return first_place(lambda place: runs.held(place, bound), at, reach, tolerance=close, known=known)

    earliest, cautious = first(scene.courses[0], 0.0), first(scene.courses[0], -scene.margin)
    near = cautious if math.isfinite(cautious) else step.at
    draws = _over_draws(lambda course: first(course, -scene.margin, near=near), scene.drawn)
    weak = first(scene.courses[EVERY.index(WEAK)], -scene.margin, WEAK)
    spread = _quantiles(draws[np.isfinite(draws)], cautious)
    return Window(
        earliest=earliest,
        recommended=max(x for x in (step.at, spread[1], weak) if x == step.at or (math.isfinite(x) and x <= latest)),
        latest=latest,
        custom=step.at,
        spread=spread,
        surest=max(draws[np.isfinite(draws)], default=cautious),
        weak=weak,
        strong=strong,
        fails=float(np.isinf(draws).mean()) if draws.size else 0.0,
    )


ActsOf = Callable[[float, Conditions, float | None], list[Act]]
"""Acts of a scene with one of them at a place, under conditions, with a share of the dynamic brake."""


def _with_step(scene: Scene, number: int, power_off: float) -> ActsOf:
    """One movement of the brake valve at a place, all else as planned."""

    def acts(place: float, conditions: Conditions, share: float | None) -> list[Act]:
        steps = [*scene.steps]
        steps[number] = replace(steps[number], at=place)
        return scene.acts(power_off, steps, conditions=conditions, share=share)

    return acts


@dataclass(frozen=True, eq=False)
class _Parts:
    """Places between which an act is tried, how far its run is followed [m], and all acts with it at a place; ``hill``
    is where the head has to get to for the hill to be over [m], None where it is."""

    scene: Scene
    low: float
    high: float
    until: float
    acts: ActsOf
    hill: float | None = None

    def moving(
        self,
        course: Course,
        place: float,
        conditions: Conditions = NOMINAL,
        share: float | None = None,
        *,
        low: float | None = None,
        coarse: bool = False,
    ) -> Moving:
        """Runs with the act moved, on a course."""
        key = (conditions, share)
        if key not in self._made:
            self._made[key] = acts_of(self.acts(place, conditions, share))
        return Moving(
            self.scene,
            course,
            self._made[key],
            place,
            low=self.low if low is None else low,
            until=self.until,
            time_step=self.scene.coarse if coarse else TIME_STEP,
        )

    @cached_property
    def _made(self) -> dict[tuple[Conditions, float | None], Acts]:
        return {}

    def earliest(self, place: float, until: float, high: float, conditions: Conditions) -> float:
        """The first place [m] up to ``high`` from which on it keeps above its floor until its head is at ``until``."""
        runs = self.moving(self.scene.floored(conditions), place, conditions)
        return first_place(lambda x: runs.least(x, until) >= 0, self.low, high)

    def latest(
        self,
        course: Course,
        place: float,
        bound: float,
        conditions: Conditions = NOMINAL,
        share: float | None = None,
        near: float | None = None,
    ) -> float:
        """The last place [m] at which the train gets over and is held within a bound [m/s] above its limit."""
        if near is None:
            runs = self.moving(course, place, conditions, share)
            return self._gets_over(runs, last_place(lambda x: runs.held(x, bound), self.low, self.high))
        low, high = max(near - SPREAD, self.low), min(near + SPREAD, self.high)
        runs, known = self.moving(course, place, conditions, share, low=low, coarse=True), True
        if not runs.held(low, bound):
            low, high, known = self.low, low, False
            runs = self.moving(course, place, conditions, share, low=low, coarse=True)
        elif high < self.high and runs.held(high, bound):
            low, high = high, self.high
            runs = self.moving(course, place, conditions, share, low=low, coarse=True)
        found = last_place(lambda x: runs.held(x, bound), low, high, tolerance=ON_DRAWS, known=known)
        return self._gets_over(runs, found)

    def _gets_over(self, runs: Moving, place: float) -> float:
        """The place, or NaN where the train is held because it comes to a stand before the hill is over."""
        stands = math.isfinite(place) and self.hill is not None and runs.least(place, self.hill) <= 0
        return math.nan if stands else place


def _latest_side(parts: _Parts, custom: float, over: float, tried: float, share: float | None) -> Window:
    """A window whose safe side is its latest, with ``share`` of the dynamic brake, as far as usable if not given; its
    earliest, sought up to ``tried``, is judged by the run until the head is at ``over`` [m]."""
    scene = parts.scene
    earliest, strong = (parts.earliest(custom, over, tried, conditions) for conditions in (NOMINAL, STRONG))
    allowed = parts.latest(scene.courses[0], custom, 0.0, share=share)
    cautious = parts.latest(scene.courses[0], custom, -scene.margin)
    near = cautious if math.isfinite(cautious) else min(max(custom, parts.low), parts.high)
    first = min(earliest, near)  # sooner the hill would be lost: a draw that asks for it is not held by timing
    inside = replace(parts, low=max(parts.low, first)) if math.isfinite(first) else parts
    draws = _over_draws(lambda course: inside.latest(course, custom, -scene.margin, near=near), scene.drawn)
    weak = parts.latest(scene.courses[EVERY.index(WEAK)], custom, -scene.margin, WEAK)
    spread = _quantiles(draws[~np.isnan(draws)], cautious)
    safe = min(spread[0], weak) if earliest <= weak else spread[0]  # not true of NaN either
    planned = max(custom, earliest) if share is not None and math.isfinite(earliest) else custom
    safe = allowed if math.isnan(safe) else safe
    return Window(
        earliest=earliest,
        recommended=planned if math.isnan(safe) else min(planned, safe),
        latest=allowed,
        custom=custom,
        spread=spread,
        surest=min(draws[~np.isnan(draws)], default=cautious),
        weak=weak,
        strong=strong,
        fails=float(np.isnan(draws).mean()) if draws.size else 0.0,
    )


def _quantiles(good: FloatArray, instead: float) -> tuple[float, float]:
    """Lower and upper cautious quantiles, infinite values among them; of nothing, what is given."""
    if not good.size:
        return instead, instead
    low, high = np.quantile(good, [CAUTIOUS, 1 - CAUTIOUS], method="inverted_cdf")
    return float(low), float(high)
