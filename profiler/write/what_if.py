"""Tables of what else a train may meet on its descents: losses, a stop on the grade, stopping, slow orders, the air.

Metric, positions by the route's own chainage, rows in order of travel; a descent has its number in every table.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from profiler.briefing.plan import Briefing
from profiler.handling.friction_alone import DynamicLost, Standing
from profiler.handling.slow_orders import Braking
from profiler.handling.starting import NO_NOTCH
from profiler.handling.what_if import Outcome, WhatIf
from profiler.mechanics.air_applied import Application
from profiler.units import KMH, FloatArray
from profiler.write.cells import Columns, Texts, fixed
from profiler.write.places import at_head, kilonewtons, whole, yes

KILO = 1000.0


def what_if_tables(briefing: Briefing) -> dict[str, Columns]:
    """Tables by name, each only where there is something in it."""
    tables: dict[str, Columns] = {"stopping": _stopping(briefing)} if briefing.stops else {}
    if briefing.what_ifs:
        tables |= {"what_if": _what_if(briefing), "standing": _standing(briefing)}
    if any(one.lost for one in briefing.what_ifs):
        tables["dynamic_lost"] = _lost(briefing)
    if briefing.slowings:
        tables["slow_orders"] = _slow_orders(briefing)
    if briefing.ledger:
        tables["air_ledger"] = _ledger(briefing)
    return tables


def _finite(values: Sequence[float] | FloatArray, size: float, decimals: int) -> list[str]:
    """Values in a unit of a size; empty for never and none."""
    return fixed([float(x) / size if math.isfinite(x) else None for x in values], decimals)


def _what_if(briefing: Briefing) -> Columns:
    rows: list[tuple[int, WhatIf, Outcome]] = [
        (n, one, outcome) for n, one in enumerate(briefing.what_ifs, 1) for outcome in one.outcomes
    ]
    outcomes = [outcome for *_, outcome in rows]
    return {
        "descent": whole([n for n, *_ in rows]),
        **at_head(briefing, [one.head for _, one, _ in rows]),
        "speed_kmh": fixed([one.speed / KMH for _, one, _ in rows], 1),
        "case": [outcome.case for outcome in outcomes],
        "value": [_value(outcome) for outcome in outcomes],
        "held": yes([outcome.held for outcome in outcomes]),
        "reduction_kpa": _finite([outcome.reduction for outcome in outcomes], KILO, 1),
        "dynamic_share": _finite([outcome.share for outcome in outcomes], 1.0, 3),
        "wheel_kw": fixed([outcome.heat / KILO for outcome in outcomes], 1),
        "cool": yes([outcome.cool for outcome in outcomes]),
        "top_kmh": _finite([outcome.top for outcome in outcomes], KMH, 1),
    }


def _value(outcome: Outcome) -> str:
    """The figure of a case: kN of a buff limit, else a share or a count."""
    if math.isnan(outcome.value):
        return ""
    return fixed([outcome.value / KILO], 0)[0] if outcome.case == "buff_limit" else f"{outcome.value:g}"


def _lost(briefing: Briefing) -> Columns:
    rows: list[tuple[int, DynamicLost]] = [
        (n, one.lost) for n, one in enumerate(briefing.what_ifs, 1) if one.lost is not None
    ]
    losses = [lost for _, lost in rows]
    return {
        "descent": whole([n for n, _ in rows]),
        **at_head(briefing, [lost.head for lost in losses]),
        "holds": yes([lost.holds for lost in losses]),
        "reduction_kpa": _finite([lost.alone.reduction for lost in losses], KILO, 1),
        "service_share": _finite([lost.alone.share for lost in losses], 1.0, 3),
        "weak_service_share": _finite([lost.alone.weak for lost in losses], 1.0, 3),
        "wheel_kw": fixed([lost.alone.heat / KILO for lost in losses], 1),
        "wheel_limit_kw": fixed([lost.heat_limit / KILO for lost in losses], 1),
        "cool_kmh": _finite([lost.cool_speed for lost in losses], KMH, 1),
        "service_m": _finite([lost.service for lost in losses], 1.0, 0),
        "emergency_m": _finite([lost.emergency for lost in losses], 1.0, 0),
        "weak_service_m": _finite([lost.weak_service for lost in losses], 1.0, 0),
        "weak_emergency_m": _finite([lost.weak_emergency for lost in losses], 1.0, 0),
    }


def _standing(briefing: Briefing) -> Columns:
    every: list[Standing] = [one.standing for one in briefing.what_ifs]
    return {
        "descent": whole(range(1, len(every) + 1)),
        **at_head(briefing, [one.head for one in briefing.what_ifs]),
        "weight_kn": kilonewtons([one.weight for one in every]),
        "reduction_kpa": _finite([one.reduction for one in every], KILO, 1),
        "independent_kn": kilonewtons([one.independent for one in every]),
        "independent_holds": yes([one.independent_holds for one in every]),
        "retained_kn": kilonewtons([one.retained for one in every]),
        "retainers_hold": yes([one.retainers_hold for one in every]),
        "hand_brakes": whole([one.hand_brakes for one in every]),
        "cars": whole([one.cars for one in every]),
        "charged_s": _finite([one.charged[0] for one in every], 1.0, 0),
        "charged_cold_s": _finite([one.charged[1] for one in every], 1.0, 0),
        "at_speed_s": _finite([one.runs for one in every], 1.0, 0),
        "start_notch": ["" if one.notch == NO_NOTCH else str(one.notch) for one in every],
    }


def _stopping(briefing: Briefing) -> Columns:
    places = [(place.name, place.kind) for place in briefing.places if place.named]
    places += [(f"descent {n}", "descent") for n in range(1, len(briefing.stops) - len(places) + 1)]
    told = zip(places, briefing.stops, strict=True)
    rows = [(name, kind, stop, way) for (name, kind), stop in told for way in stop.ways]
    ways = [way for *_, way in rows]
    return {
        "place": Texts(name for name, *_ in rows),
        "kind": [kind for _, kind, *_ in rows],
        **at_head(briefing, [stop.head for *_, stop, _ in rows]),
        "brakes": [way.how for way in ways],
        "shoes": ["weak" if way.weak else "nominal" for way in ways],
        "speed_kmh": fixed([way.speed / KMH for way in ways], 1),
        "stops": yes([way.stops for way in ways]),
        "distance_m": _finite([way.distance for way in ways], 1.0, 0),
        "time_s": _finite([way.time for way in ways], 1.0, 0),
        "top_kmh": _finite([way.top_speed for way in ways], KMH, 1),
        "begins_m": _chainages(briefing, [way.begins for way in ways]),
    }


def _chainages(briefing: Briefing, way: Sequence[float]) -> list[str]:
    return fixed([float(briefing.terrain.chainage(x)) if math.isfinite(x) else None for x in way], 1)


def _slow_orders(briefing: Briefing) -> Columns:
    rows = [(n, one, way) for n, one in enumerate(briefing.slowings, 1) for way in one.ways or (None,)]
    ones, ways = [one for _, one, _ in rows], [way for *_, way in rows]
    none = math.nan
    return {
        "number": whole([n for n, *_ in rows]),
        "kind": [one.kind for one in ones],
        "limit_kmh": fixed([one.limit.speed / KMH for one in ones], 1),
        "reason": Texts(one.limit.reason for one in ones),
        **at_head(briefing, [one.start for one in ones], "start_m"),
        "clear_m": _chainages(briefing, [one.clear for one in ones]),
        "approach_kmh": fixed([one.approach / KMH for one in ones], 1),
        "slow_kmh": fixed([one.slow / KMH for one in ones], 1),
        "plan_kpa": fixed([one.air / KILO for one in ones], 1),
        "way": [_way(way) for way in ways],
        "reduction_kpa": _finite([none if way is None else way.reduction for way in ways], KILO, 1),
        "in_time": ["" if way is None else "no" if way.cannot else "yes" for way in ways],
        "begins_m": _chainages(briefing, [none if way is None else way.begins for way in ways]),
        "power_off_m": _chainages(briefing, [none if way is None else way.power_off for way in ways]),
        "valve_m": _chainages(briefing, [none if way is None or way.valve is None else way.valve for way in ways]),
        "at_work_m": _chainages(briefing, [none if way is None else way.at_work for way in ways]),
    }


def _way(way: Braking | None) -> str:
    """How a train is slowed; "no faster" where it need not be."""
    if way is None:
        return "no faster"
    if way.reduction:
        return "dynamic and air" if way.dynamic else "air"
    return "dynamic" if way.dynamic else "coasting"


def _ledger(briefing: Briefing) -> Columns:
    rows = briefing.ledger
    numbers = [n for n, plan in enumerate(briefing.line.descents, 1) for _ in plan.steps]
    return {
        "descent": whole(numbers),
        **at_head(briefing, [row.step.at for row in rows]),
        "time_s": fixed([row.time for row in rows], 0),
        "since_release_s": _finite([row.since_release for row in rows], 1.0, 0),
        "before_kpa": fixed([row.step.before / KILO for row in rows], 1),
        "after_kpa": fixed([row.step.after / KILO for row in rows], 1),
        **_pipe([row.normal for row in rows], ""),
        **_pipe([row.cold for row in rows], "cold_"),
    }


def _pipe(every: Sequence[Application], prefix: str) -> dict[str, list[str]]:
    """The pipe at the far end, before and at each movement."""
    figures = {
        f"{prefix}{name}_kpa": fixed([getattr(one, name) / KILO for one in every], 1)
        for name in ("lack", "charge", "gauge", "left")
    }
    return {
        **figures,
        f"{prefix}enough": yes([one.enough for one in every]),
        f"{prefix}false_gradient": yes([one.false_gradient for one in every]),
    }
