"""Printed tables of descents: what holds the train, slow orders, what if, losses, a stop on the grade, the air."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from profiler import wording
from profiler.briefing.descent_words import time_words
from profiler.briefing.holding_words import HOLDS, NOT_IN_HAND, TOO_HOT, TOO_LITTLE, descent_lines, verdicts
from profiler.briefing.plan import Briefing
from profiler.briefing.printed import Table, force_unit, post_cell, some
from profiler.briefing.words import figure_of, notch_words
from profiler.handling.descent_plan import DescentPlan
from profiler.handling.friction_alone import DynamicLost, Standing
from profiler.handling.slow_orders import Braking
from profiler.handling.stopping import StopAt, Stopping
from profiler.handling.what_if import CUT_OUT, Outcome, WhatIf
from profiler.mechanics.conditions import SHOES_LOW
from profiler.train_words import force_text, power_text, pressure_text, speed_text
from profiler.wording import number, short_length_text, speed_figure, speed_unit

NONE = "–"
_MOST_SPEEDS = 10
"""A holding table has about as many rows on paper."""
_CASES = {
    "as_planned": "as planned",
    "unit_lost": "dynamic brake of one unit lost",
    "dynamic_lost": "all of the dynamic brake lost",
    "poor_rail": "poor rail",
    "cut_out": f"{number(100 * float(CUT_OUT))} % of the cars cut out",
    "weak_shoes": f"shoes × {SHOES_LOW:g}",
    "low_pressure": "low cylinder pressure",
}
_WAYS = {
    "service_dynamic": "full service and dynamic brake",
    "service": "full service alone",
    "emergency": "emergency",
    "emergency_over": "emergency, over the limit",
}
_SHORT = {TOO_LITTLE: "too little", NOT_IN_HAND: "not in hand", TOO_HOT: "too hot"}


def descent_tables(briefing: Briefing) -> tuple[Table, ...]:
    """All that there are, in the order in which they are read."""
    holding = [_holding(briefing, n, plan) for n, plan in enumerate(briefing.line.descents, 1)]
    return some(
        [
            *holding,
            _slow_orders(briefing),
            _what_ifs(briefing),
            _lost(briefing),
            _standing(briefing),
            _stopping(briefing),
        ]
    )


def _speed(speed: float, units: str) -> str:
    return speed_figure(speed, units) if math.isfinite(speed) else NONE


def _length(length: float, units: str) -> str:
    return short_length_text(length, units).rpartition(" ")[0] if math.isfinite(length) else "never"


def _pressure(pressure: float, units: str) -> str:
    return pressure_text(pressure, units).rpartition(" ")[0] if math.isfinite(pressure) else NONE


def _pressure_unit(units: str) -> str:
    return pressure_text(0.0, units).rpartition(" ")[2]


def _share(share: float) -> str:
    return f"{number(100 * share)} %" if math.isfinite(share) else NONE


def _heat(power: float, units: str) -> str:
    return power_text(power, units).rpartition(" ")[0] if math.isfinite(power) else NONE


def _holding(briefing: Briefing, n: int, plan: DescentPlan) -> Table:
    """Share of the dynamic brake by speed and reduction, or why that does not hold."""
    units, found = briefing.profile.units, plan.holding
    said = verdicts(found, briefing.train)
    heads = (speed_unit(units), *("no air" if r == 0 else pressure_text(float(r), units) for r in found.reduction))
    every = max(1, math.ceil(found.speed.size / _MOST_SPEEDS))
    shown = sorted({*range(0, found.speed.size, every), int(np.argmin(np.abs(found.speed - plan.top.speed)))})
    rows = tuple(
        (
            _speed(float(found.speed[i]), units),
            *(_held(str(said[i, j]), float(found.share[i, j])) for j in range(found.reduction.size)),
        )
        for i in shown
    )
    line = descent_lines(briefing, plan)
    usable = number(100 * found.usable)
    how = (
        "Cells: share of the dynamic brake that holds it there beside the air of the column, at most "
        f"{usable} % by plan, or why not. A wheel stands {power_text(found.heat_limit, units)}."
    )
    notes = tuple(f"{wording.capitalised(words)}." for words in line)
    return Table(f"Holding, descent {n}", heads, rows, (), (*notes, how))


def _held(verdict: str, share: float) -> str:
    if verdict == HOLDS:
        return _share(max(share, 0.0))
    return _SHORT.get(verdict, "too much")


def _slow_orders(briefing: Briefing) -> Table | None:
    """What slows the train in time, by what it may take."""
    units = briefing.profile.units
    rows = []
    for one in briefing.slowings:
        name = one.limit.reason or ("slow order" if one.kind == "slow_order" else "lower limit")
        speeds = f"{_speed(one.approach, units)} to {_speed(one.slow, units)}"
        places = (post_cell(briefing, one.start), post_cell(briefing, one.clear))
        first = (name, _speed(one.limit.speed, units), *places, speeds)
        for i, way in enumerate(one.ways or (None,)):
            rows.append((*(first if i == 0 else ("",) * len(first)), *_braking(briefing, way)))
    if not rows:
        return None
    unit = speed_unit(units)
    heads = ("order or limit", unit, "from", "tail out", f"held, {unit}", "way", "begins", "brake valve")
    return Table("Slow orders and lower limits", heads, tuple(rows), (0, 5))


def _braking(briefing: Briefing, way: Braking | None) -> tuple[str, str, str]:
    if way is None:
        return "no faster anyway", NONE, NONE
    name = "dynamic brake" if way.dynamic else "coasting" if not way.reduction else ""
    air = pressure_text(way.reduction, briefing.profile.units) if way.reduction else ""
    words = " and ".join(filter(None, (name, air)))
    if way.cannot:
        return f"{words}: not in time", NONE, NONE
    return words, post_cell(briefing, way.begins), NONE if way.valve is None else post_cell(briefing, way.valve)


def _what_ifs(briefing: Briefing) -> Table | None:
    """What holds the train where something is otherwise."""
    if not briefing.what_ifs:
        return None
    units = briefing.profile.units
    rows = tuple(
        (
            str(n) if i == 0 else "",
            _case(outcome, units),
            _verdict(outcome),
            _pressure(outcome.reduction, units) if outcome.reduction else "no air",
            _share(outcome.share),
            _heat(outcome.heat, units),
            _speed(outcome.top, units),
        )
        for n, one in enumerate(briefing.what_ifs, 1)
        for i, outcome in enumerate(one.outcomes)
    )
    heads = (
        "descent",
        "if",
        "the speed planned is",
        f"air, {_pressure_unit(units)}",
        "dynamic",
        f"{power_text(0.0, units).rpartition(' ')[2]} a wheel",
        f"most, {speed_unit(units)}",
    )
    return Table("What if", heads, rows, (1, 2), tuple(_at_worst(briefing)))


def _at_worst(briefing: Briefing) -> Iterable[str]:
    units = briefing.profile.units
    said = [
        f"{n} at {post_cell(briefing, one.head)}, {speed_text(one.speed, units)}"
        for n, one in enumerate(briefing.what_ifs, 1)
    ]
    yield f"At the worst place of each descent and the speed planned there: {'; '.join(said)}."


def _case(outcome: Outcome, units: str) -> str:
    if outcome.case == "buff_limit":
        return f"buff limit {force_text(outcome.value, units)}"
    return _CASES[outcome.case]


def _verdict(outcome: Outcome) -> str:
    if outcome.held:
        return "held"
    return "held, but wheels get too hot" if math.isfinite(outcome.reduction) else "not held"


def _lost(briefing: Briefing) -> Table | None:
    """Friction alone."""
    units = briefing.profile.units
    rows = tuple(
        (
            str(n),
            post_cell(briefing, lost.head),
            "holds" if lost.cool else "holds, too hot" if lost.holds else "does not hold",
            _pressure(lost.alone.reduction, units),
            _share(lost.alone.share),
            _share(lost.alone.weak),
            _heat(lost.alone.heat, units),
            *(_length(x, units) for x in (lost.service, lost.emergency, lost.weak_service, lost.weak_emergency)),
        )
        for n, lost in _losses(briefing.what_ifs)
    )
    if not rows:
        return None
    length = wording.elevation_unit(units)
    heads = (
        "descent",
        "lost at",
        "air alone",
        f"air, {_pressure_unit(units)}",
        "of service",
        "weak shoes",
        f"{power_text(0.0, units).rpartition(' ')[2]} a wheel",
        f"service, {length}",
        f"emergency, {length}",
        "service, weak",
        "emergency, weak",
    )
    notes = ("Lengths are from the loss until the train stands, whence that takes longest.",)
    return Table("The dynamic brake lost", heads, rows, (2,), notes)


def _losses(every: tuple[WhatIf, ...]) -> Iterable[tuple[int, DynamicLost]]:
    return [(n, one.lost) for n, one in enumerate(every, 1) if one.lost is not None]


def _standing(briefing: Briefing) -> Table | None:
    """The train stopped at the worst place of each descent."""
    units = briefing.profile.units
    rows = tuple(
        (
            str(n),
            post_cell(briefing, one.head),
            figure_of(one.standing.weight, units),
            _pressure(one.standing.reduction, units),
            "holds" if one.standing.independent_holds else f"{figure_of(one.standing.independent, units)}, too little",
            _hand_brakes(one.standing),
            " / ".join(time_words(x) for x in one.standing.charged),
            time_words(one.standing.runs) if math.isfinite(one.standing.runs) else "held",
            notch_words(one.standing.notch),
        )
        for n, one in enumerate(briefing.what_ifs, 1)
    )
    if not rows:
        return None
    force = force_unit(units)
    heads = (
        "descent",
        "head at",
        f"to hold, {force}",
        f"air, {_pressure_unit(units)}",
        "independent alone",
        "hand brakes",
        "charged after, normal / cold",
        "released, at speed in",
        "leaves in",
    )
    return Table("A stop on the grade", heads, rows, (4, 8))


def _hand_brakes(standing: Standing) -> str:
    """How many hold it, of how many there are."""
    if standing.hand_brakes <= standing.cars:
        return f"{standing.hand_brakes} of {standing.cars}"
    return f"{standing.cars} are too few, {standing.hand_brakes} would"


def _stopping(briefing: Briefing) -> Table | None:
    """Stopping distances."""
    if not briefing.stops:
        return None
    units = briefing.profile.units
    named = [place.name for place in briefing.places if place.named]
    names = [*named, *(f"descent {n}, hardest" for n in range(1, len(briefing.stops) - len(named) + 1))]
    rows = tuple(row for name, stop in zip(names, briefing.stops, strict=True) for row in _ways(briefing, name, stop))
    length = wording.elevation_unit(units)
    heads = (
        "place",
        "post",
        "brakes",
        f"from, {speed_unit(units)}",
        f"stops in, {length}",
        "begins at",
        f"weak shoes, {length}",
    )
    notes = (
        f"Weak shoes: × {SHOES_LOW:g}. Stops begin at the posts told to have the head at the place itself; "
        "those of a descent from its hardest place.",
    )
    return Table("Stopping distances", heads, rows, (0, 2), notes)


def _ways(briefing: Briefing, name: str, stop: StopAt) -> Iterable[tuple[str, ...]]:
    units = briefing.profile.units
    nominal: list[Stopping] = [way for way in stop.ways if not way.weak]
    for i, way in enumerate(nominal):
        weak = stop.way(way.how, weak=True)
        place = (name, post_cell(briefing, stop.head)) if i == 0 else ("", "")
        yield (
            *place,
            _WAYS[way.how],
            _speed(way.speed, units),
            _length(way.distance, units),
            post_cell(briefing, way.begins),
            _length(weak.distance, units),
        )


def ledger_table(briefing: Briefing) -> Table | None:
    """Every movement of the brake valve with what the pipe has then; None where no air is set."""
    if not briefing.ledger:
        return None
    units = briefing.profile.units
    numbers = [n for n, plan in enumerate(briefing.line.descents, 1) for _ in plan.steps]
    rows = tuple(
        (
            str(n),
            post_cell(briefing, row.step.at),
            time_words(row.time),
            _moved(row.step.before, row.step.after, units),
            time_words(row.since_release) if np.isfinite(row.since_release) else NONE,
            *(_pressure(x, units) for x in (row.normal.lack, row.normal.gauge, row.normal.left, row.cold.lack)),
            "enough" if row.normal.enough and row.cold.enough else "not if cold" if row.normal.enough else "too little",
        )
        for n, row in zip(numbers, briefing.ledger, strict=True)
    )
    unit = _pressure_unit(units)
    heads = (
        "descent",
        "post",
        "since start",
        f"valve, {unit}",
        "since release",
        f"lacks, {unit}",
        "at the gauge",
        "left",
        "cold: lacks",
        "charge",
    )
    return Table("The air, movement by movement", heads, rows, (9,))


def _moved(before: float, after: float, units: str) -> str:
    a, b = (_pressure(x, units) if x else "0" for x in (before, after))
    return f"{a} to {b}"
