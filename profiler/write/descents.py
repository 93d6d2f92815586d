"""Tables of a briefing's descents: what holds the train, its plans, the crest in time, and the whole line run by them.

Metric, positions by the route's own chainage, rows in order of travel; a descent has the same number in every table.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from profiler.briefing.holding_words import alone_verdict, verdicts, with_weak_shoes
from profiler.briefing.plan import Briefing
from profiler.handling.descent_plan import DescentPlan
from profiler.handling.timeline import BUNCHING_SHARE
from profiler.handling.wheel_heat import heat_over
from profiler.mechanics.dynamic import BINDING
from profiler.units import KMH, FloatArray
from profiler.write.cells import Columns, Texts, fixed
from profiler.write.places import at_head, by_case, kilonewtons, whole, yes

KILO, MEGA = 1000.0, 1e6
TOLD_EVERY = 5.0
"""The run is told so often. [s]"""
_STEP = 30.0
"""A run goes no farther in a step. [m]"""
_BOUND = BINDING[1:]
_QUARTERS = (0.0, 0.25, 0.5, 0.75, 1.0)


def descent_tables(briefing: Briefing) -> dict[str, Columns]:
    """Tables by name; those of descents only where there is one."""
    run = {"run": by_case(briefing, _run)}
    if not briefing.line.descents:
        return run
    return {
        **run,
        "descents": _holding(briefing),
        "descent_plans": _plans(briefing),
        "crest_timeline": _timelines(briefing),
    }


def _numbered(briefing: Briefing) -> list[tuple[int, DescentPlan]]:
    return list(enumerate(briefing.line.descents, start=1))


def _holding(briefing: Briefing) -> Columns:
    """Every speed and reduction of every descent; behind them air alone at the speed held."""
    rows = [(number, plan, row) for number, plan in _numbered(briefing) for row in _held(briefing, plan)]
    told = [row for *_, row in rows]
    plans = [plan for _, plan, _ in rows]
    return {
        "descent": whole([number for number, *_ in rows]),
        **at_head(briefing, [plan.descent.worst for plan in plans]),
        "brakes": [row.brakes for row in told],
        "speed_kmh": fixed([row.speed / KMH for row in told], 1),
        "reduction_kpa": fixed([row.reduction / KILO for row in told], 1),
        "dynamic_share": fixed([row.share for row in told], 3),
        "verdict": [row.verdict for row in told],
        "wheel_kw": fixed([row.heat / KILO for row in told], 1),
        "wheel_limit_kw": fixed([plan.holding.heat_limit / KILO for plan in plans], 1),
        "weak_dynamic_share": fixed([row.weak_share for row in told], 3),
        "weak_verdict": [row.weak_verdict for row in told],
    }


class _Row(NamedTuple):
    """One way to hold a train; shares are None where there is no dynamic brake to share."""

    brakes: str
    speed: float
    reduction: float
    heat: float
    share: float | None
    weak_share: float | None
    verdict: str
    weak_verdict: str


def _held(briefing: Briefing, plan: DescentPlan) -> Iterator[_Row]:
    train, table, alone = briefing.train, plan.holding, plan.alone
    plain, weak = verdicts(table, train), verdicts(with_weak_shoes(table), train)
    for i, speed in enumerate(table.speed):
        for j, reduction in enumerate(table.reduction):
            plain_share, weak_share = (
                float(x[i, j]) if np.isfinite(x[i, j]) else None for x in (table.share, table.weak)
            )
            yield _Row(
                brakes="dynamic and air",
                speed=float(speed),
                reduction=float(reduction),
                heat=float(table.heat[i, j]),
                share=plain_share,
                weak_share=weak_share,
                verdict=str(plain[i, j]),
                weak_verdict=str(weak[i, j]),
            )
    said = [alone_verdict(train, alone, table.heat_limit, weak=x) for x in (False, True)]
    held = _held_at(briefing, plan.descent.worst)
    yield _Row("air alone", held, alone.reduction, alone.heat, None, None, said[0], said[1])


def _held_at(briefing: Briefing, place: float) -> float:
    """The speed held with the head at a place [m]. [m/s]"""
    course = briefing.line.course
    return float(np.interp((place - course.first) / course.step, np.arange(course.hold.size), course.hold))


def _plans(briefing: Briefing) -> Columns:
    train = briefing.train
    numbered = _numbered(briefing)
    plans = [plan for _, plan in numbered]
    ones, offs = [plan.descent for plan in plans], [plan.power_off for plan in plans]
    heats = [heat_over(train, briefing.journey, one) for one in ones]
    alone = [plan.alone for plan in plans]
    proofs = [plan.proof for plan in plans]

    def chainage(way: Sequence[float | None]) -> list[str]:
        places = np.array(way, dtype=float)
        return fixed(briefing.terrain.chainage(np.where(np.isfinite(places), places, np.nan)), 1)

    def kmh(speeds: Sequence[float]) -> list[str]:
        return fixed([x / KMH for x in speeds], 1)

    return {
        "descent": whole([number for number, _ in numbered]),
        "start_m": chainage([one.start for one in ones]),
        "end_m": chainage([one.end for one in ones]),
        "crest_m": chainage([one.crest for one in ones]),
        **at_head(briefing, [one.worst for one in ones], "worst_m"),
        "worst_length_m": fixed([one.worst_length for one in ones], 0),
        "required_kn": kilonewtons([one.force for one in ones]),
        "dynamic_kn": kilonewtons([plan.dynamic_brake for plan in plans]),
        "dynamic_bound": [plan.bound if plan.bound in _BOUND else "" for plan in plans],
        "held": yes([plan.held for plan in plans]),
        "allowed_kmh": kmh([float(plan.holding.speed[0]) for plan in plans]),
        "top_kmh": kmh([plan.top.speed for plan in plans]),
        "bound": [plan.top.bound if plan.held else "" for plan in plans],
        "force_kmh": kmh([plan.top.force for plan in plans]),
        "crest_kmh": kmh([plan.approach.crest_speed for plan in plans]),
        "notch": whole([plan.approach.notch for plan in plans]),
        "stalls_before": yes([plan.approach.stalls for plan in plans]),
        "balance_m": chainage([plan.approach.balance for plan in plans]),
        "power_off_m": chainage([None if off is None else off.recommended for off in offs]),
        "air_steps": whole([sum(step.kind == "air_step" for step in plan.steps) for plan in plans]),
        "reduction_kpa": fixed([max((s.after for s in plan.steps), default=0.0) / KILO for plan in plans], 1),
        "over_limit_kmh": kmh([proof.over for proof in proofs]),
        "least_kmh": kmh([proof.least for proof in proofs]),
        **{
            f"share_{name}": fixed([getattr(proof, name) for proof in proofs], 2)
            for name in ("late", "late_reacting", "level", "stalled", "stalled_reacting")
        },
        "wheel_kw": fixed([heat.most_power / KILO for heat in heats], 1),
        "wheel_mj": fixed([heat.total / MEGA for heat in heats], 1),
        "wheel_limit_kw": fixed([heat.limit.power / KILO for heat in heats], 1),
        "wheel_limit_source": Texts(heat.limit.words for heat in heats),
        "alone_kpa": fixed([x.reduction / KILO for x in alone], 1),
        "alone_service_share": fixed([x.share if np.isfinite(x.share) else None for x in alone], 3),
        "alone_wheel_kw": fixed([x.heat / KILO for x in alone], 1),
        "alone_verdict": [
            alone_verdict(train, x, plan.holding.heat_limit) for x, plan in zip(alone, plans, strict=True)
        ],
        "alone_weak_verdict": [
            alone_verdict(train, x, plan.holding.heat_limit, weak=True) for x, plan in zip(alone, plans, strict=True)
        ],
    }


def _timelines(briefing: Briefing) -> Columns:
    rows: list[tuple[int, DescentPlan, str, float, float, float, float]] = []
    for number, plan in _numbered(briefing):
        rows += [(number, plan, *row) for row in _crest(briefing, plan)]
    crest = np.array([plan.descent.crest for _, plan, *_ in rows])
    way = np.array([row[5] for row in rows])
    return {
        "descent": whole([row[0] for row in rows]),
        "act": [row[2] for row in rows],
        "value": fixed([row[3] for row in rows], 2),
        "time_s": fixed([row[4] for row in rows], 0),
        **at_head(briefing, way),
        "past_crest_m": fixed(way - crest, 1),
        "speed_kmh": fixed([row[6] / KMH for row in rows], 1),
    }


def _crest(briefing: Briefing, plan: DescentPlan) -> Iterator[tuple[str, float, float, float, float]]:
    """Act, value, seconds since the first notch goes off, place [m] and speed [m/s]: over the crest, then the cut that
    keeps its speed, then the timeline as recommended."""
    nan, trip = float("nan"), briefing.journey
    for share, place in zip(_QUARTERS, plan.quarters, strict=True):
        row = _row_at(trip.head, float(place))
        yield "past_crest", share, nan, float(place), nan if row is None else float(trip.speed[row])
    for place, notch in plan.cut:
        yield "cut", float(notch), nan, place, plan.approach.crest_speed
    for act, value, seconds, row in _timeline_rows(briefing, plan):
        yield act, value, seconds, float(trip.head[row]), float(trip.speed[row])


def _timeline_rows(briefing: Briefing, plan: DescentPlan) -> Iterator[tuple[str, float, float, int]]:
    """Acts over the crest as run: name, notch or share of the dynamic brake, seconds, row of the journey."""
    trip, line, off = briefing.journey, plan.timeline, plan.power_off
    first = None if off is None else _row_at(trip.head, off.recommended)
    if first is None:
        return
    usable = float(briefing.train.handling.usable_dynamic)
    told = [("notch", float(line.notches - i), i * line.notch_time) for i in range(line.notches + 1)]
    if line.full > line.idle:
        bunched = ("bunched", float(BUNCHING_SHARE), line.bunched)
        told += [("dynamic_brake", 0.0, line.dynamic), bunched, ("set_up", usable, line.full)]
    for act, value, seconds in told:
        row = int(np.searchsorted(trip.time, trip.time[first] + seconds - 1e-6))
        if row < trip.time.size and trip.head[row] <= plan.descent.end:
            yield act, value, seconds, row


def _row_at(head: FloatArray, place: float) -> int | None:
    """Row of a journey as its head gets to a place [m]; None where it never passes there."""
    row = int(np.searchsorted(head, place - 1e-6))
    return row if row < head.size and head[row] - place < _STEP else None


def _run(briefing: Briefing) -> Columns:
    trip, course = briefing.journey, briefing.line.course
    acts = dict(_acts(briefing))
    ends = np.cumsum([0, *(run.time.size for run in trip.runs)])
    time = trip.time
    every = np.flatnonzero(np.diff(np.floor(time / TOLD_EVERY), prepend=-1) > 0)
    row = np.unique([*every, *acts, *ends[:-1], *(ends[1:] - 1)]).astype(int)
    places = (trip.head[row] - course.first) / course.step
    hold, limit = (np.interp(places, np.arange(x.size), x) for x in (course.hold, course.limit))
    return {
        "run": whole(np.searchsorted(ends, row, side="right")),
        "time_s": fixed(time[row], 1),
        **at_head(briefing, trip.head[row]),
        "act": [acts.get(int(i), "") for i in row],
        "speed_kmh": fixed(trip.speed[row] / KMH, 1),
        "hold_kmh": fixed(hold / KMH, 1),
        "limit_kmh": fixed(limit / KMH, 1),
        "notch": whole(trip.notch[row]),
        "effort_kn": kilonewtons(trip.effort[row]),
        "dynamic_kn": kilonewtons(trip.dynamic[row]),
        "dynamic_share": fixed(trip.share[row], 3),
        "reduction_kpa": fixed(trip.reduction[row] / KILO, 1),
        "air_kn": kilonewtons(trip.air[row]),
        **_couplers(briefing, trip.head[row]),
    }


def _couplers(briefing: Briefing, head: FloatArray) -> dict[str, list[str]]:
    """Steady forces along the run, at the nearest place they were worked out for."""
    forces, curves = briefing.forces, briefing.in_curves
    if not forces.head.size:
        return {}
    after = np.clip(np.searchsorted(forces.head, head), 1, max(forces.head.size - 1, 1))
    nearer = np.abs(forces.head[after - 1] - head) < np.abs(forces.head[after % forces.head.size] - head)
    at = np.where(nearer, after - 1, after % forces.head.size)
    peaks = forces.peaks
    return {
        "draft_kn": kilonewtons(peaks.draft[at]),
        "draft_behind_vehicle": whole(peaks.draft_at[at] + 1),
        "buff_kn": kilonewtons(peaks.buff[at]),
        "buff_behind_vehicle": whole(peaks.buff_at[at] + 1),
        "lateral_over_vertical": fixed(curves.largest[at], 3),
    }


def _acts(briefing: Briefing) -> Iterator[tuple[int, str]]:
    """Rows of the journey at which an act begins, with its name."""
    trip = briefing.journey
    found: dict[int, list[str]] = {}
    for _, plan in _numbered(briefing):
        names: list[tuple[int | None, str]] = [
            (row, "power_off" if seconds == 0 else act) for act, _, seconds, row in _timeline_rows(briefing, plan)
        ]
        names += [(_row_at(trip.head, step.at), step.kind) for step in plan.steps]
        names.append((_row_at(trip.head, plan.descent.end), "descent_ends"))
        for row, name in names:
            if row is not None and name != "notch":
                found.setdefault(row, []).append(name)
    yield from ((row, " ".join(names)) for row, names in found.items())
