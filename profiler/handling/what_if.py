"""What if something is otherwise on a descent: brakes lost or weak, another buff limit, no dynamic brake, a stop there.

All at its worst place, and, but for the highest speed, at the speed that the plan holds there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from profiler.cited import Cited
from profiler.handling.descent_plan import LinePlan
from profiler.handling.descents import retard_needed
from profiler.handling.friction_alone import DynamicLost, Standing, dynamic_lost, standings
from profiler.handling.holding import SLOWEST_HELD, SPEED_STEPS, course_friction, shares
from profiler.handling.speeds import LEAST_HELD
from profiler.handling.stopping import Stops
from profiler.mechanics.air import customary_reductions
from profiler.mechanics.air_acts import brake_force
from profiler.mechanics.changed import braked_as, cut_out, has_dynamic, with_buff, without_dynamic
from profiler.mechanics.conditions import NOMINAL, SHOES_LOW, Conditions
from profiler.mechanics.course import held_back_by, places_of
from profiler.mechanics.motion import Course
from profiler.mechanics.places import FASTEST
from profiler.mechanics.speed_limits import HeadLimit
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.thermal import customary_limit, wheel_power
from profiler.train import Train
from profiler.units import FloatArray

CUT_OUT = Cited(0.1, "", "choice")
"""Share of the cars whose brakes are cut out. [-]"""
BUFF_LIMITS = tuple(Cited(x, "kips", "choice") for x in (150, 200, 250))
"""Of buff behind the head group, tried beside the train's own. [N]"""


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What holds the train in one ``case`` of `WhatIf`, ``value`` its figure in SI, NaN for none.

    The smallest ``reduction`` that does [Pa], NaN for none, and the ``share`` of the dynamic brake then [-]; without
    any, that of the greatest reduction: above what is usable it is too little, below zero the steps are too coarse.
    ``heat`` on a wheel of the worst car [W], ``cool`` whether wheels stand it; ``top`` the highest speed that holds,
    no higher than is posted, and wheels stand [m/s], NaN for none.
    """

    case: str
    value: float
    reduction: float
    share: float
    heat: float
    cool: bool
    top: float

    @property
    def held(self) -> bool:
        """Whether the speed of the plan is held, and wheels stand it."""
        return math.isfinite(self.reduction) and self.cool


@dataclass(frozen=True, kw_only=True)
class WhatIf:
    """All cases of one descent, in order, the plan itself first, with the head at its worst place ``head`` [m].

    ``speed`` is the one that the plan holds there [m/s]. Cases: "as_planned"; "unit_lost", the dynamic brake of one
    unit of the head group, and "dynamic_lost", that of all; "poor_rail"; "buff_limit", each of `BUFF_LIMITS`;
    "cut_out", `CUT_OUT` of the cars; "weak_shoes"; "low_pressure", the low case of a direct brake's cylinders.
    ``lost`` is None where there is no dynamic brake to be lost.
    """

    head: float
    speed: float
    outcomes: tuple[Outcome, ...]
    lost: DynamicLost | None
    standing: Standing

    def outcome(self, case: str, value: float = math.nan) -> Outcome:
        """One of them; of several of a case the one with a value."""
        return next(x for x in self.outcomes if x.case == case and (math.isnan(value) or x.value == value))


@dataclass(frozen=True, eq=False)
class _Case:
    name: str
    value: float
    train: Train
    course: Course
    conditions: Conditions = NOMINAL


def what_ifs(train: Train, terrain: Terrain, line: LinePlan, posted: HeadLimit) -> tuple[WhatIf, ...]:
    """What if, for every descent of a line.

    Parameters
    ----------
    train : Train
    terrain : Terrain
    line : LinePlan
        Of that train.
    posted : HeadLimit
        With which it was planned.

    Notes
    -----
    Only what is named is changed: the plan's speed stays, no reduction is tried that is not one of the train's; all
    customary ones where no dynamic brake is left. Where a train is on a descent only because it slows down for a limit,
    its speed needs no holding, and shares are below zero.
    """
    if not line.descents:
        return ()
    cases, stops = tuple(_cases(train, line.course)), Stops(train, line.course, line.speeds)
    worst = np.array([plan.descent.worst for plan in line.descents])
    limit, margin = np.minimum(posted.at(worst), float(FASTEST)), float(train.handling.margin)
    speed = np.interp(worst, places_of(line.course), line.speeds.hold)
    allowed = np.maximum(np.maximum(limit - margin, LEAST_HELD * limit), speed)
    standing = standings(train, terrain, line.course, worst.tolist(), speed.tolist())
    return tuple(
        WhatIf(
            head=float(head),
            speed=float(now),
            outcomes=tuple(_outcome(case, float(head), float(now), float(most)) for case in cases),
            lost=dynamic_lost(stops, plan) if has_dynamic(train) else None,
            standing=stood,
        )
        for plan, head, now, most, stood in zip(line.descents, worst, speed, allowed, standing, strict=True)
    )


def _cases(train: Train, course: Course) -> Iterator[_Case]:
    """Every case, the train as planned first."""
    yield _Case("as_planned", math.nan, train, course)
    changed: list[tuple[str, float, Train]] = []
    if has_dynamic(train):
        changed += [("unit_lost", 1.0, without_dynamic(train, 1))]
        changed += [("dynamic_lost", math.nan, without_dynamic(train))]
        changed += [("poor_rail", math.nan, replace(train, rail="poor"))]
        changed += [("buff_limit", float(x), with_buff(train, x)) for x in BUFF_LIMITS]
    for name, value, other in changed:
        yield _Case(name, value, other, braked_as(course, train, other))
    yield _Case("cut_out", float(CUT_OUT), cut_out(train, float(CUT_OUT)), course)
    yield _Case("weak_shoes", float(SHOES_LOW), train, course, Conditions(shoes=float(SHOES_LOW)))
    if train.air_brake == "direct release":
        yield _Case("low_pressure", math.nan, train, course, Conditions(low=True))


def _outcome(case: _Case, place: float, speed: float, allowed: float) -> Outcome:
    step = SPEED_STEPS[case.train.units]
    lower = np.arange(math.ceil(allowed / step - 1e-9) - 1, math.ceil(SLOWEST_HELD / step) - 1, -1) * step
    speeds = np.r_[speed, allowed, lower]
    reductions, share = _share(case, place, speeds)
    usable = float(case.train.handling.usable_dynamic)
    enough = ((share >= 0) | (reductions == 0)) & (share <= usable)
    heat = case.conditions.shoes * wheel_power(case.train, reductions, speeds[:, None])
    cool = heat <= float(customary_limit(case.train).power)
    fast = np.flatnonzero((enough & cool)[1:].any(axis=1))
    least = int(np.argmax(enough[0])) if enough[0].any() else -1
    return Outcome(
        case=case.name,
        value=case.value,
        reduction=float(reductions[least]) if enough[0].any() else math.nan,
        share=float(share[0, least]),
        heat=float(heat[0, least]),
        cool=bool(cool[0, least]),
        top=float(speeds[1 + fast[0]]) if fast.size else math.nan,
    )


def _share(case: _Case, place: float, speeds: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Reductions (r,) [Pa], and the share of the dynamic brake that each leaves to it at speeds (k,) [m/s]: (k, r).

    Where there is none at all, 0 of it is needed if the air is enough.
    """
    train, course = case.train, case.course
    places = places_of(course)
    weight, bend = (np.full(speeds.size, np.interp(place, places, x)) for x in (course.weight, course.bend))
    need = retard_needed(course._replace(weight=weight, bend=bend), speeds, slowing=False)
    alone = not has_dynamic(train)
    reductions = np.r_[0.0, customary_reductions(train) if alone else [float(r) for r in train.handling.reductions]]
    air = brake_force(train, reductions, case.conditions) * course_friction(course, speeds)[:, None]
    left = need[:, None] - air
    if alone:
        return reductions, np.where(left > 1.0, np.inf, 0.0)
    return reductions, shares(left, held_back_by(course, place, speeds)[:, None])
