"""Marks of descents: where power goes off, the dynamic brake begins, air is set, released, and where nothing holds."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from profiler.handling.descent_plan import DescentPlan, LinePlan
from profiler.handling.staircase import AirStep
from profiler.handling.windows import Window
from profiler.mark import Figure, Mark
from profiler.mechanics.terrain import Terrain


def descent_marks(plan: LinePlan, terrain: Terrain) -> tuple[Mark, ...]:
    """Marks of every act of every descent that the train can be held on, and of those it cannot, in order of travel."""
    marks: list[Mark] = []
    for one in plan.descents:
        marks += _held(plan, one, terrain) if one.held else [_not_held(one, terrain)]
    return tuple(marks)


def _held(plan: LinePlan, one: DescentPlan, terrain: Terrain) -> Iterable[Mark]:
    speeds = plan.speeds
    place = min(max(one.descent.start, 0.0), terrain.length)
    index = min(int((place - plan.course.first) / plan.course.step), speeds.hold.size - 1)
    common = (
        Figure("hold", float(speeds.hold[index]), "m/s"),
        Figure("limit", float(speeds.limit[index]), "m/s"),
        Figure("crest", float(terrain.chainage(one.descent.crest)), "m"),
        Figure("crest_speed", one.approach.crest_speed, "m/s"),
        Figure("top", one.top.speed, "m/s"),
        Figure("allowed", float(one.holding.speed[0]), "m/s"),
    )
    if one.power_off is not None:
        yield _power_off(one, terrain, common)
        if one.dynamic is not None:
            yield _dynamic(one, terrain, common)
    for step, window in zip(one.steps, one.windows, strict=True):
        yield _air(one.steps, step, window, terrain, common)


def _window_figures(window: Window, terrain: Terrain) -> tuple[Figure, ...]:
    """What belongs to any window; places by chainage."""
    low, high = window.spread
    places = {"custom": window.custom, "spread_low": low, "spread_high": high}
    places |= {"weak": window.weak, "strong": window.strong}
    figures = [Figure(name, float(terrain.chainage(x)), "m") for name, x in places.items()]
    return (*figures, Figure("fails", window.fails, ""), Figure("empty", float(window.empty), ""))


def _mark(
    kind: str,
    terrain: Terrain,
    places: tuple[float, float, float],
    value: float,
    unit: str,
    reason: str,
    figures: tuple[Figure, ...],
    *,
    probability: float = 1.0,
    quarters: Sequence[float] = (),
) -> Mark:
    """Places never found are at the recommended one, and told among the figures as NaN or infinite."""
    earliest, recommended, latest = places
    shown = [x if math.isfinite(x) else recommended for x in (earliest, recommended, latest)]
    shown = [min(shown[0], recommended), recommended, max(shown[2], recommended)]
    first, best, last = (float(terrain.chainage(x)) for x in shown)
    named = dict(
        zip(("quarter", "half", "three_quarter", "clear"), (float(terrain.chainage(x)) for x in quarters), strict=False)
    )
    figures = (*figures, Figure("earliest", float(terrain.chainage(earliest)), "m"))
    figures = (*figures, Figure("latest", float(terrain.chainage(latest)), "m"))
    return Mark(
        number=0,
        kind=kind,
        direction=terrain.direction,
        earliest=first,
        recommended=best,
        latest=last,
        value=float(value),
        unit=unit,
        probability=float(probability),
        reason=reason,
        figures=figures,
        **named,
    )


def _power_off(one: DescentPlan, terrain: Terrain, common: tuple[Figure, ...]) -> Mark:
    window, proof = one.power_off, one.proof
    assert window is not None
    if one.approach.stalls:
        reason = "stalls"
    elif window.empty:
        reason = "empty"
    else:
        reason = "crest" if one.descent.force > 0 else "slow"
    figures = (
        *common,
        *_window_figures(window, terrain),
        Figure("balance", float(terrain.chainage(one.approach.balance)), "m"),
        Figure("notch", float(one.approach.notch), ""),
        Figure("idle_time", one.timeline.idle, "s"),
        Figure("dynamic_time", one.timeline.dynamic, "s"),
        Figure("full_time", one.timeline.full, "s"),
        Figure("late", proof.late, ""),
        Figure("late_reacting", proof.late_reacting, ""),
    )
    for name, speed in (("slowed_from", one.slowed_from), ("opens_at", one.opens_at)):
        if speed is not None:
            figures += (Figure(name, speed, "m/s"),)
    places = window.earliest, window.recommended, window.latest
    return _mark(
        "power_off",
        terrain,
        places,
        one.approach.crest_speed,
        "m/s",
        reason,
        figures,
        probability=1.0 - max(0.0, window.fails),
        quarters=one.quarters[1:].tolist(),
    )


def _dynamic(one: DescentPlan, terrain: Terrain, common: tuple[Figure, ...]) -> Mark:
    assert one.dynamic is not None
    assert one.power_off is not None
    row = int(np.argmin(np.abs(one.holding.speed - one.top.speed)))
    least = one.holding.fewest(row)
    share = one.holding.share[row, least] if least is not None else float("nan")
    reduction = one.holding.reduction[least] if least is not None else float("nan")
    figures = (
        *common,
        Figure("fails", one.power_off.fails, ""),
        Figure("dynamic_time", one.timeline.dynamic, "s"),
        Figure("bunched_time", one.timeline.bunched, "s"),
        Figure("full_time", one.timeline.full, "s"),
        Figure("reduction", float(reduction), "Pa"),
    )
    return _mark(
        "dynamic_brake", terrain, one.dynamic, float(share), "", "dynamic", figures, probability=1 - one.power_off.fails
    )


def _air(steps: Sequence[AirStep], step: AirStep, window: Window, terrain: Terrain, common: tuple[Figure, ...]) -> Mark:
    """A movement of the brake valve."""
    if step.kind == "air_step":
        reason = "uncharged" if not step.charged else "first" if step.before == 0 else "more"
    elif step.after > 0:
        reason = "ease"
    else:
        follows = next((s for s in steps if s.at >= step.at and s.before == 0 and s is not step), None)
        cycle = not window.earliest <= window.latest or (follows is not None and not follows.charged)
        reason = "cycle_or_stop" if cycle else "release"
    figures = (
        *common,
        *_window_figures(window, terrain),
        Figure("before", step.before, "Pa"),
        Figure("need", float(terrain.chainage(step.need)), "m"),
    )
    places = window.earliest, step.at, window.latest
    return _mark(step.kind, terrain, places, step.after, "Pa", reason, figures, probability=1 - window.fails)


def _not_held(one: DescentPlan, terrain: Terrain) -> Mark:
    figures = (
        Figure("full_service_share", one.alone.share, ""),
        Figure("weak_share", one.alone.weak, ""),
        Figure("worst_length", one.descent.worst_length, "m"),
        Figure("force_speed", one.top.force, "m/s"),
        Figure("allowed", float(one.holding.speed[0]), "m/s"),
    )
    places = one.descent.start, one.descent.worst, one.descent.end
    return _mark("not_held", terrain, places, one.descent.force, "N", "not_held", figures)
