"""Slow orders and lower limits: where braking must begin for each, by each way to brake, and where the tail is out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from profiler.handling.air_ledger import applied
from profiler.handling.descent_plan import LinePlan
from profiler.handling.descents import retard_needed
from profiler.handling.speeds import Drop
from profiler.handling.staircase import AirStep
from profiler.handling.timeline import BUNCHING_SHARE, SETTING_TIME, timeline
from profiler.mechanics.air_acts import brake_force, lead_time
from profiler.mechanics.changed import has_dynamic
from profiler.mechanics.course import held_back_by, in_use, places_of
from profiler.mechanics.slowing import SlowDown, slow_down
from profiler.mechanics.terrain import Terrain
from profiler.route import SpeedLimit
from profiler.train import Train
from profiler.units import FloatArray

SETTLED = 300.0
"""The speed that a train comes with is the highest so far before it slows down. [m]"""


@dataclass(frozen=True, kw_only=True)
class Braking:
    """One way to be slow in time: power off, the dynamic brake as far as usable unless it coasts (``dynamic``), and a
    ``reduction`` of the pipe [Pa], 0 for none.

    Head positions by distance travelled [m], NaN where it cannot be done: ``at_work`` where all of it must be there,
    ``power_off`` where the crew begins with it (the first notch off, or the dynamic brake set further), ``valve`` where
    the brake valve is moved, None where no air is set for it. They lie below zero where the line is too short for it.
    ``most`` is the highest speed from which it does slow the train [m/s].
    """

    dynamic: bool
    reduction: float
    at_work: float
    power_off: float
    valve: float | None
    most: float

    @property
    def cannot(self) -> bool:
        """Whether nothing slows the train in time."""
        return math.isnan(self.at_work)

    @property
    def begins(self) -> float:
        """Where the first of its acts begins; NaN where it cannot be done. [m]"""
        return self.power_off if self.valve is None else min(self.power_off, self.valve)


@dataclass(frozen=True, kw_only=True)
class Slowing:
    """A ``limit`` that binds a train: a slow order, or a posted limit that falls (``kind`` "slow_order" or "limit").

    Head positions by distance travelled [m]: ``start`` where it begins to bind, ``clear`` where the tail is out, which
    may lie beyond the line. ``approach`` and ``slow`` are speeds held, or that power gets the train to, before and in
    it [m/s]; ``air`` the reduction that the plan has set as the head gets there [Pa]. ``ways``: coasting where that is
    enough and no air is set, the dynamic brake alone, with each of the train's reductions; none where the train is no
    faster anyway.
    """

    kind: str
    limit: SpeedLimit
    start: float
    clear: float
    approach: float
    slow: float
    air: float
    ways: tuple[Braking, ...]


def slow_orders(
    train: Train, terrain: Terrain, line: LinePlan, limits: Sequence[SpeedLimit], orders: Sequence[SpeedLimit]
) -> tuple[Slowing, ...]:
    """Slow orders that bind a train, and posted limits that fall, in order of travel.

    Parameters
    ----------
    train : Train
    terrain : Terrain
    line : LinePlan
        Made with these limits and orders.
    limits, orders : sequence of SpeedLimit
        Of the route, by chainage.

    Notes
    -----
    Traced back from the start of the limit (`slowing.slow_down`), at most to where a lower limit before it lets the
    train go no faster. Before it the crew sets up the brake, at the speed then held: power off, pause, bunching and
    setting (`timeline.timeline`), or only setting where the train is held back by its dynamic brake already; and the
    air, `air_acts.lead_time`. Reductions are of the whole pipe: one that the plan has set by the time it is wanted is
    not set again. Lesser ones than the plan's are told as if they were all there is.
    """
    on = _OnLine(train, line)
    found = []
    for kind, limit in [*(("limit", x) for x in limits), *(("slow_order", x) for x in orders)]:
        if limit.train_class in ("", train.train_class):
            start, end = sorted(float(terrain.way_at(x)) for x in (limit.start, limit.end))
            drop = on.drop_at(start)
            if drop is not None or kind == "slow_order":
                found.append(_slowing(on, kind, limit, start, end + train.length, drop))
    return tuple(sorted(found, key=lambda x: x.start))


def _slowing(on: _OnLine, kind: str, limit: SpeedLimit, start: float, clear: float, drop: Drop | None) -> Slowing:
    line, train = on.line, on.train
    slow = approach = float(np.interp(start, on.places, line.speeds.hold))
    air = applied(on.steps, start)
    ways: list[Braking] = []
    if drop is not None:
        slow = drop.slow
        begins = start if drop.braking is None else float(drop.braking.head[0])
        approach = min(drop.approach, on.comes(begins))
    if approach > slow:
        coasting = [on.braking(start, slow, approach, 0.0, 0.0)]
        ways = [way for way in coasting if air == 0 and not way.cannot]
        usable = float(train.handling.usable_dynamic) if has_dynamic(train) else 0.0
        reductions = [*((0.0,) if usable else ()), *map(float, train.handling.reductions)]
        ways += [on.braking(start, slow, approach, usable, r) for r in reductions]
    return Slowing(
        kind=kind, limit=limit, start=start, clear=clear, approach=approach, slow=slow, air=air, ways=tuple(ways)
    )


@dataclass(frozen=True, eq=False)
class _OnLine:
    """A train on its line as planned."""

    train: Train
    line: LinePlan

    @cached_property
    def places(self) -> FloatArray:
        return places_of(self.line.course)

    @cached_property
    def steps(self) -> list[AirStep]:
        return [step for plan in self.line.descents for step in plan.steps]

    @cached_property
    def level(self) -> FloatArray:
        """Speed that limits alone let it hold, by place (p,). [m/s]"""
        speeds = self.line.speeds
        return np.maximum(speeds.limit - float(self.train.handling.margin), speeds.hold)

    @cached_property
    def lead(self) -> float:
        return lead_time(self.train)

    def comes(self, head: float) -> float:
        """Speed to which its power gets it before a place [m], at which it may have begun to slow down. [m/s]"""
        before = (self.places >= head - SETTLED) & (self.places < head)
        return float(self.line.speeds.expected[before].max(initial=0.0)) if before.any() else math.inf

    def drop_at(self, start: float) -> Drop | None:
        """The fall of the speed held as the head gets to a place [m]."""
        step = self.line.course.step
        return next((d for d in self.line.speeds.drops if -1e-6 <= d.place - start < step - 1e-6), None)

    def braking(self, start: float, slow: float, approach: float, share: float, reduction: float) -> Braking:
        """One way to come down from one speed to another [m/s] at a place [m]."""
        air = float(brake_force(self.train, reduction))
        back = slow_down(self.line.course, place=start, slow=slow, approach=approach, share=share, air=air)
        at_work, speed = self._reached(back, approach)
        valve = at_work - self.lead * speed
        return Braking(
            dynamic=share > 0,
            reduction=reduction,
            at_work=at_work,
            power_off=at_work if math.isnan(at_work) else at_work - self._set_up(at_work, speed, share) * speed,
            valve=valve if reduction > applied(self.steps, valve) else None,
            most=speed,
        )

    def _reached(self, back: SlowDown, approach: float) -> tuple[float, float]:
        """Where a train so slowed has the speed it comes with [m], NaN for nowhere, and that speed [m/s]."""
        comes = np.minimum(approach, np.interp(back.head, self.places, self.level))
        early = np.flatnonzero((back.speed >= comes * (1 - 1e-9)) & (back.head < back.head[-1]))
        if not early.size:
            return math.nan, float(back.speed.max())
        return float(back.head[early[-1]]), float(back.speed[early[-1]])

    def _set_up(self, at_work: float, speed: float, share: float) -> float:
        """Time [s] from power, or from the dynamic brake in use, to a share of it."""
        train, course = self.train, self.line.course
        longest = timeline(train, course.effort.shape[1] - 1)
        place = np.array([at_work - longest.full * speed])
        weight, bend = (np.interp(place, self.places, force) for force in (course.weight, course.bend))
        here = course._replace(weight=weight, bend=bend)
        held = retard_needed(here, np.array([speed]), slowing=False)
        if held[0] <= 0:
            line = timeline(train, int(in_use(course, -held, place, np.array([speed]))[0]))
            return line.full if share else line.idle
        if not share:
            return 0.0
        used = float(held[0] / max(held_back_by(course, place[0], speed), 1.0))
        rise = (share - used) / (float(train.handling.usable_dynamic) - BUNCHING_SHARE)
        return float(np.clip(rise, 0.0, 1.0) * SETTING_TIME)
