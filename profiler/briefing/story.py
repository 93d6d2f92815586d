"""What a briefing begins with: five facts, and what the worked plan does in at most six sentences, none an order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import takewhile

import numpy as np

from profiler import wording
from profiler.briefing.descent_words import share_words, step_words
from profiler.briefing.forces_words import largest_forces, over_words
from profiler.briefing.plan import Briefing
from profiler.briefing.words import place_words, post_words, vehicle_words
from profiler.handling.descent_plan import DescentPlan
from profiler.handling.holding import SLOWEST_HELD
from profiler.handling.journey import Journey
from profiler.handling.slow_orders import Slowing
from profiler.mechanics.course import places_of
from profiler.mechanics.places import FASTEST
from profiler.train_words import force_text, pressure_text, speed_text
from profiler.units import FloatArray

SENTENCES = 6
"""No more of them are told."""
GAINING = 0.95
"""Where brakes give less than so much of what holds the speed, the train gains speed. [-]"""
CLEARLY = 0.9
"""A climb is told where the train has no more than so much of the speed that may be held there. [-]"""
_LANES = {"straddle": "astride", "do_not_stop": "do not stop", "start_hard": "start hard", "not_held": "not held"}
"""Marks as they are counted; all others tell where something begins."""


@dataclass(frozen=True)
class Fact:
    """A big ``figure`` and the few ``words`` under it."""

    figure: str
    words: str


@dataclass(frozen=True)
class State:
    """The run by plan at one place: ``speed`` [m/s], ``notch``, brakes in use [N], ``share`` of the dynamic brake [-]
    and the ``reduction`` asked for [Pa]."""

    speed: float
    notch: int
    dynamic: float
    air: float
    share: float
    reduction: float


def state_at(trip: Journey, way: float) -> State | None:
    """The run as its head gets to a place by distance travelled [m]; None where it never does."""
    at = np.flatnonzero(trip.head >= way)
    if not at.size:
        return None
    i = at[0]
    speed, dynamic, air, share, reduction = (
        float(x[i]) for x in (trip.speed, trip.dynamic, trip.air, trip.share, trip.reduction)
    )
    return State(speed, int(trip.notch[i]), dynamic, air, share, reduction)


@dataclass(frozen=True)
class Sentence:
    """What the worked plan does at a ``place``, by its post; ``text`` is a sentence without it."""

    place: str
    text: str


def five_facts(briefing: Briefing) -> tuple[Fact, ...]:
    """Of a briefing: ruling grade for its train, steepest and how long, summit to sag, marks, balancing speed."""
    return _ruling(briefing), _steepest(briefing), _summit_to_sag(briefing), _marks(briefing), _balance(briefing)


def _ruling(briefing: Briefing) -> Fact:
    units, (plain, compensated) = briefing.profile.units, briefing.ruling
    if plain is None or compensated is None:
        return Fact("–", "no ruling grade: the train is longer than the line")
    figure, _, interval = wording.interval_text(
        compensated.value, compensated.unit, units, compensated.low, compensated.high
    ).partition(" (")
    bare = wording.interval_text(plain.value, plain.unit, units, plain.low, plain.high)
    first, last = sorted(float(briefing.terrain.way_at(x)) for x in (compensated.start, compensated.end))
    where = place_words(briefing, first, last)
    return Fact(figure, f"ruling for this train, compensated ({interval}, {where}; without curves {bare}")


def _steepest(briefing: Briefing) -> Fact:
    units, runs = briefing.profile.units, briefing.as_travelled[1].grade_runs
    if not runs:
        return Fact("–", "no stretch of one grade is told apart")
    long = [run for run in runs if run.end - run.start >= briefing.train.length] or runs
    run = max(long, key=lambda run: abs(run.grade))
    length = wording.distance_text(run.end - run.start, units)
    where = place_words(briefing, run.start, run.end)
    return Fact(wording.slope_words(run.grade, units, run.grade_se), f"steepest under a whole train: {length}, {where}")


def _summit_to_sag(briefing: Briefing) -> Fact:
    """The greatest fall of the line as travelled, or its greatest rise where that is more."""
    profile, _ = briefing.as_travelled
    units, z = profile.units, profile.elevation
    falls, rises = _greatest_fall(z), _greatest_fall(-z)
    down = z[falls[0]] - z[falls[1]] >= z[rises[1]] - z[rises[0]]
    first, last = falls if down else rises
    height = wording.elevation_text(abs(float(z[first] - z[last])), units)
    where = place_words(briefing, float(profile.chainage[first]), float(profile.chainage[last]))
    length = wording.distance_text(float(profile.chainage[last] - profile.chainage[first]), units)
    ends = ("start of the line", *(("summit", "sag") if down else ("sag", "summit")), "end of the line")
    words = f"{ends[min(first, 1)]} to {ends[2 if last < z.size - 1 else 3]}: {where}, {length}"
    return Fact(f"{height} {'down' if down else 'up'}", words)


def _greatest_fall(height: FloatArray) -> tuple[int, int]:
    """Where the greatest fall along heights (n,) begins and ends."""
    end = int(np.argmax(np.maximum.accumulate(height) - height))
    return int(np.argmax(height[: end + 1])), end


def _marks(briefing: Briefing) -> Fact:
    counts = Counter(_LANES.get(mark.kind, "begin") for mark in briefing.marks if mark.number)
    words = ", ".join(f"{counts[lane]} {lane}" for lane in ("begin", *_LANES.values()) if counts[lane])
    total = sum(counts.values())
    return Fact(f"{total} {'mark' if total == 1 else 'marks'}", words or "nothing to mark")


def _balance(briefing: Briefing) -> Fact:
    units, slowest = briefing.profile.units, min(briefing.speeds, key=lambda s: s.speed)
    where = place_words(briefing, slowest.head)
    if not slowest.speed:
        return Fact("stalls", f"no balancing speed: all of its power does not move it on, head at {where}")
    enough = "" if slowest.enough else ", below the minimum continuous speed"
    more = "over " if slowest.speed >= FASTEST - 1e-6 else ""
    return Fact(
        f"{more}{speed_text(slowest.speed, units)}",
        f"balancing speed on the hardest climb, full power, head at {where}{enough}",
    )


def six_sentences(briefing: Briefing) -> tuple[Sentence, ...]:
    """The worked plan of a briefing in at most `SENTENCES` sentences as travelled: what it does where, never an order.

    Told first is where the plan fails; then the hardest descent, the slowest climb, the strictest slow order, the
    largest coupler force; other descents while there is room.
    """
    told = sorted(_candidates(briefing), key=lambda one: one[0])[:SENTENCES]
    return tuple(Sentence(post_words(briefing, way), text) for _, way, text in sorted(told, key=lambda one: one[1]))


def _candidates(briefing: Briefing) -> Iterator[tuple[float, float, str]]:
    """Rank, place by distance travelled [m], and sentence."""
    units = briefing.profile.units
    for at in briefing.journey.stalls:
        text = (
            "The plan stalls here, its pull held to the draft limit; the rest is told as if it had been got over the "
        )
        yield 0, at, f"{text}next crest."
    for plan in briefing.line.descents:
        if not plan.held:
            fast, slow = (speed_text(x, units) for x in (float(plan.holding.speed[0]), SLOWEST_HELD))
            force = force_text(plan.descent.force, units)
            yield (
                0,
                plan.descent.worst,
                f"Here the plan holds the train at no speed from {fast} to {slow}: it takes {force}.",
            )
    held = [plan for plan in briefing.line.descents if plan.held and plan.descent.force > 0]
    for i, plan in enumerate(sorted(held, key=lambda plan: -plan.descent.force)):
        yield from ((rank + 4 * min(i, 1) + i / 100, way, text) for rank, way, text in _descent(briefing, plan))
    yield from _climb(briefing)
    if (order := strictest_order(briefing)) is not None:
        yield 2.2, *_slowing(briefing, order)
    yield from _couplers(briefing)


def _descent(briefing: Briefing, plan: DescentPlan) -> Iterator[tuple[float, float, str]]:
    units, one = briefing.profile.units, plan.descent
    off, notch = plan.power_off, plan.approach.notch
    if off is not None:
        crest = f"the head passes the crest at {speed_text(plan.approach.crest_speed, units)}"
        idle = _idle(briefing, off.recommended)
        by = "" if idle is None else f" and is at idle by {post_words(briefing, idle)}"
        goes = f"The plan begins to take power off, from notch {notch},{by}" if notch else "The plan has no power on"
        yield 1, off.recommended, f"{goes}; {crest}."
    if (run := state_at(briefing.journey, one.worst)) is not None:
        force = force_text(run.dynamic + run.air, units)
        words = f"On the steepest part the plan is at {speed_text(run.speed, units)}, {held_by(run, one.force, units)}"
        yield 1.1, one.worst, f"{words}: {force} in all."
    sets = [step for step in plan.steps if step.kind == "air_step"]
    if sets:
        moved = step_words(sets[0].before, sets[0].after, units)
        first = list(takewhile(lambda step: step.before > 0, sets[1:]))
        more = [step_words(step.before, step.after, units) for step in first]
        later = f", later {', '.join(more)}" if more else ""
        again = sum(step.before == 0 for step in sets[1:])
        times = {0: "", 1: "; it sets air once more after a release"}.get(again, f"; it sets air {again} times more")
        yield 2, sets[0].at, f"The plan sets air here, {moved}{later}{times}."
        gone = [step for step in plan.steps if step.after == 0]
        if gone:
            uncharged = not all(step.charged for step in plan.steps)
            doubt = "; air was set again before the pipe was charged, which is nothing to rely on" if uncharged else ""
            yield 2.3, gone[-1].at, f"The plan has let all of the air go from here{doubt}."


def _idle(briefing: Briefing, way: float) -> float | None:
    """Where the run by plan is at idle after a place [m]."""
    trip = briefing.journey
    at = np.flatnonzero((trip.head >= way) & (trip.notch == 0))
    return float(trip.head[at[0]]) if at.size else None


def held_by(run: State, force: float, units: str) -> str:
    """ "held by 83 % of the dynamic brake and 10 psi of air": the brakes where a force [N] would hold the speed."""
    air = f"{pressure_text(run.reduction, units)} of air" if run.reduction else ""
    dynamic = f"{share_words(run.share)} of the dynamic brake" if run.share >= 0.005 else ""
    by = " and ".join(filter(None, (dynamic, air))) or "nothing"
    return f"held by {by}" if run.dynamic + run.air >= GAINING * force else f"still gaining speed, braked by {by}"


def _climb(briefing: Briefing) -> Iterator[tuple[float, float, str]]:
    """Where the run is slowest under power, if it is by much."""
    trip, units = briefing.journey, briefing.profile.units
    pulls = np.flatnonzero((trip.notch > 0) & (trip.speed > 0) & (trip.time > 0))
    if briefing.journey.stalls or not pulls.size:
        return
    i = int(pulls[np.argmin(trip.speed[pulls])])
    if trip.speed[i] > CLEARLY * np.interp(trip.head[i], places_of(briefing.line.course), briefing.line.speeds.hold):
        return
    words = f"The plan is at its slowest under power, {speed_text(float(trip.speed[i]), units)} in notch"
    yield 2.1, float(trip.head[i]), f"{words} {trip.notch[i]:.0f}."


def strictest_order(briefing: Briefing) -> Slowing | None:
    """The slow order with the lowest speed that the train has to slow down for."""
    orders = [one for one in briefing.slowings if one.ways and one.kind == "slow_order"]
    return min(orders, key=lambda one: one.slow, default=None)


def order_words(one: Slowing) -> str:
    """ "slow order (Culvert)"."""
    return f"slow order{f' ({one.limit.reason})' if one.limit.reason else ''}"


def _slowing(briefing: Briefing, one: Slowing) -> tuple[float, str]:
    """Where slowing down for a slow order begins, by the mildest way that does it in time."""
    units = briefing.profile.units
    slow, came = (speed_text(x, units) for x in (one.slow, one.approach))
    can = [way for way in one.ways if not way.cannot]
    if not can:
        return one.start, f"Nothing slows the train from {came} to the {slow} of the {order_words(one)} in time."
    start, clear = (post_words(briefing, x) for x in (one.start, one.clear))
    words = f"{slow} by {start}, the tail out at {clear}"
    return can[0].begins, f"The plan begins to slow from {came} for the {order_words(one)}: {words}."


def _couplers(briefing: Briefing) -> Iterator[tuple[float, float, str]]:
    """The largest pull and push of the run."""
    units = briefing.profile.units
    for name, most, limit in largest_forces(briefing):
        behind = vehicle_words(briefing.train, most.vehicle)
        words = f"{force_text(most.force, units)} behind {behind}{over_words(most, limit, units)}"
        text = f"The couplers carry their largest {name} of the plan here, {words}."
        yield {"pull": 2.5, "push": 2.6}[name] - 2 * (most.force > limit), most.head, text
