"""What holds a train on a descent, in words: verdicts of the holding table, and each descent in a few lines."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from profiler import wording
from profiler.briefing.descent_words import draws_words, share_words, step_words
from profiler.briefing.plan import Briefing
from profiler.briefing.words import place_words, post_words
from profiler.handling.descent_plan import DescentPlan
from profiler.handling.holding import SLOWEST_HELD, AirAlone, Holding
from profiler.mechanics.air import service_share
from profiler.mechanics.conditions import SHOES_LOW
from profiler.mechanics.thermal import customary_limit
from profiler.train import Train
from profiler.train_words import force_text, power_text, pressure_text, speed_text
from profiler.units import MEGAWATT_HOUR, UNITS

HOLDS, TOO_LITTLE, NOT_IN_HAND, TOO_HOT = "holds", "does not hold", "not in hand", "too hot"
TOO_MUCH = {"direct release": "over-brakes: the train stops", "graduated release": "over-brakes: a step less would do"}
BOUNDS = {
    "posted": "no more is allowed",
    "force": "faster, the brakes hold too little",
    "heat": "faster, wheels get too hot",
    "reserve": "and that with more of the dynamic brake than counts as usable, nothing in hand: any air takes too much",
    "air": "faster, air would stop it where it is gentler, or be wanted again before the pipe is charged",
}
"""What binds the highest speed that holds."""


def verdicts(found: Holding, train: Train) -> npt.NDArray[np.str_]:
    """Verdict of every speed and reduction of a holding table. shape (k, r)"""
    over = (found.share < 0) & (found.reduction > 0)
    return np.select(
        [over, found.share > 1, found.share > found.usable, ~found.cool],
        [TOO_MUCH[train.air_brake], TOO_LITTLE, NOT_IN_HAND, TOO_HOT],
        HOLDS,
    )


def with_weak_shoes(found: Holding) -> Holding:
    """The same table with weak shoes: they hold less and get less hot."""
    return replace(found, share=found.weak, heat=found.heat * SHOES_LOW)


def alone_verdict(train: Train, alone: AirAlone, heat_limit: float, *, weak: bool = False) -> str:
    """Whether the train air holds alone; the least reduction may be more than is needed."""
    share = alone.weak if weak else alone.share
    if share > 1 or math.isnan(alone.reduction):
        return TOO_LITTLE
    if share < float(service_share(train, float(train.handling.reductions[0]))):
        return TOO_MUCH[train.air_brake]
    return HOLDS if alone.heat <= heat_limit else TOO_HOT


def descent_lines(briefing: Briefing, plan: DescentPlan) -> list[str]:
    """A descent in a few lines: where and how fast, the first act, the air, without dynamic brake, how sure."""
    lines = [_held(briefing, plan) if plan.held else _not_held(briefing, plan)]
    if plan.descent.force <= 0:
        return lines
    if plan.held:
        lines += [f"{_first(briefing, plan)}{_proof(plan)}", _air(briefing, plan)]
    return [*lines, alone_words(briefing, plan)]


def _held(briefing: Briefing, plan: DescentPlan) -> str:
    units, one, allowed = briefing.profile.units, plan.descent, float(plan.holding.speed[0])
    where, top = place_words(briefing, one.start, one.end), speed_text(plan.top.speed, units)
    if one.force <= 0:
        return f"slows down, {where}: its resistance holds it there once it is slow"
    least = plan.top.speed < allowed - 0.01
    speed = f"held at {top}"
    if least:
        speed = f"not held at {speed_text(allowed, units)}, which the limit leaves: held at {top} at most"
    return (
        f"descent, {where}: {speed} ({BOUNDS[plan.top.bound]}); {_worst(briefing, plan)}{bound_words(briefing, plan)}"
    )


def bound_words(briefing: Briefing, plan: DescentPlan) -> str:
    """What holds the dynamic brake down there, where something does."""
    words = {
        "adhesion": "what the rail takes",
        "equivalent axles": "its equivalent axles",
        "buff limit": "the buff limit behind the head units",
    }
    if plan.bound not in words:
        return ""
    return (
        f"; of dynamic brake {force_text(plan.dynamic_brake, briefing.profile.units)}, held down by {words[plan.bound]}"
    )


def _worst(briefing: Briefing, plan: DescentPlan) -> str:
    units, one = briefing.profile.units, plan.descent
    length = wording.short_length_text(one.worst_length, units)
    return f"worst, {place_words(briefing, one.worst)}: {force_text(one.force, units)} to be held over {length}"


def _not_held(briefing: Briefing, plan: DescentPlan) -> str:
    units, one = briefing.profile.units, plan.descent
    allowed, slowest = (speed_text(x, units) for x in (float(plan.holding.speed[0]), SLOWEST_HELD))
    force = plan.top.force
    hot = "" if math.isnan(force) else f", at {speed_text(force, units)} by force alone, but wheels get too hot"
    where = place_words(briefing, one.start, one.end)
    return f"descent, {where}: NOT HELD at any speed from {allowed} to {slowest}{hot}; {_worst(briefing, plan)}"


def _first(briefing: Briefing, plan: DescentPlan) -> str:
    units, off = briefing.profile.units, plan.power_off
    if off is None:
        return "it is on the descent as the line begins"
    crest = f"over the crest at {speed_text(plan.approach.crest_speed, units)} from notch {plan.approach.notch}"
    stalls = ", if it gets there: it stalls before" if plan.approach.stalls else ""
    at = place_words(briefing, off.recommended, decimals=2)
    sure = "no window, see marks.csv" if off.empty else window_words(briefing, off.earliest, off.latest)
    return f"power off by {at} ({sure}), {crest}{stalls}"


def window_words(briefing: Briefing, earliest: float, latest: float) -> str:
    """ "from 54.32, at the latest 54.54": a window, distances travelled [m]."""
    first, last = (post_words(briefing, x) if math.isfinite(x) else "" for x in (earliest, latest))
    return f"from {first}" + (f", at the latest {last}" if last else ", no latest")


def _air(briefing: Briefing, plan: DescentPlan) -> str:
    units = briefing.profile.units
    row = int(np.argmin(np.abs(plan.holding.speed - plan.top.speed)))
    if not plan.steps:
        return (
            f"no air: the dynamic brake alone holds it with {share_words(float(plan.holding.share[row, 0]))} of itself"
        )
    moves = []
    for step, window in zip(plan.steps, plan.windows, strict=True):
        word = "release" if step.after == 0 else "air" if step.after > step.before else "ease"
        moved = f"{word} {step_words(step.before, step.after, units)} at {place_words(briefing, step.at, decimals=2)}"
        if not step.charged:
            moved += " (the pipe is not charged by then: cycle or stop)"
        elif window.empty:
            moved += " (no window)"
        moves.append(moved)
    return "; ".join(moves)


def alone_words(briefing: Briefing, plan: DescentPlan) -> str:
    """Holding with the dynamic brake lost: by how much air, and whether wheels stand it."""
    train, units, alone = briefing.train, briefing.profile.units, plan.alone
    limit = customary_limit(train)
    if math.isinf(alone.share):
        return "without the dynamic brake nothing holds it: no car has an air brake that works"
    heat, most = power_text(alone.heat, units), power_text(limit.power, units)
    if math.isnan(alone.reduction):
        return f"without the dynamic brake it is not held: {share_words(alone.share)} of full service would be needed"
    air = f"{pressure_text(alone.reduction, units)}, {share_words(alone.share)} of full service"
    verdict = alone_verdict(train, alone, float(limit.power))
    if verdict == TOO_MUCH[train.air_brake]:
        least = f"the least reduction, {pressure_text(train.handling.reductions[0], units)}, takes more than is needed"
        left = "it slows the train, cycle or stop" if train.air_brake == "direct release" else "it slows the train"
        return f"without the dynamic brake {least}: {left}"
    words = f"without the dynamic brake {air}, "
    words += "holds it" if verdict == HOLDS else "holds it by force, but wheels get too hot: it has to stop"
    words += f" ({heat} a wheel, {most} is the guide, {limit.words.split(',')[0]})"
    weak = "does not hold" if alone.weak > 1 else f"takes {share_words(alone.weak)}"
    return f"{words}; with shoes × {SHOES_LOW:g} it {weak}"


def _proof(plan: DescentPlan) -> str:
    proof = plan.proof
    if math.isnan(proof.late):
        return ""
    words = f"; run so, {draws_words(proof.late)} of the draws pass the limit"
    if proof.late:
        words += f", {draws_words(proof.late_reacting)} with the customary reaction"
    if proof.level:
        words += f"; in {draws_words(proof.level)} the brakes planned are too little whenever they are set"
    if proof.stalled or proof.stalled_reacting:
        stand = draws_words(proof.stalled)
        words += f"; {stand} come to a stand, {draws_words(proof.stalled_reacting)} with the customary reaction"
    return words


def run_lines(briefing: Briefing) -> list[str]:
    """The run by plan: how long it takes, its work, and where it stalls."""
    trip = briefing.journey
    dynamic, air = trip.braked
    mwh = [f"{work / MEGAWATT_HOUR:.1f}" for work in (trip.work, dynamic, air)]
    time = f"{float(trip.time[-1]) / UNITS['minutes']:.0f} min"
    lines = [
        f"run by plan: {time}, {mwh[0]} MWh at the wheel rims; the dynamic brake takes {mwh[1]}, the air brake {mwh[2]}"
    ]
    if trip.stalls:
        where = ", ".join(place_words(briefing, at) for at in trip.stalls)
        lines.append(
            f"it stalls, its pull held to the draft limit, head at {where}; what comes after is told as if it had been "
            "got over the next crest"
        )
    return lines
