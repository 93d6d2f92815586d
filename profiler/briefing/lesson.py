"""Questions for a lesson, made of one train on one line, with answers out of its briefing.

Only what has a telling answer here is asked. What stands on a choice is said to; ranges are those of the draws.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from profiler import wording
from profiler.briefing.descent_words import charging_words, share_words, time_words
from profiler.briefing.forces_words import largest_forces
from profiler.briefing.holding_words import alone_words, window_words
from profiler.briefing.plan import Briefing
from profiler.briefing.sequence_words import held_back
from profiler.briefing.story import order_words, state_at, strictest_order
from profiler.briefing.sudden_words import gradual_or_sudden
from profiler.briefing.words import (
    HEAD_RULE,
    NO_ORDER,
    place_words,
    reliefs_words,
    start_words,
    vehicle_words,
)
from profiler.cited import TAGS, Cited
from profiler.handling.descent_plan import DescentPlan
from profiler.handling.friction_alone import HAND_BRAKE, REACTION_TIME
from profiler.handling.holding import SLOWEST_HELD
from profiler.handling.stopping import LONGEST
from profiler.handling.what_if import Outcome, WhatIf
from profiler.landmark import SHOWN_FROM
from profiler.mechanics.conditions import SHOES_LOW
from profiler.mechanics.places import FASTEST, slowest_speed
from profiler.mechanics.units_to_use import UnitsPulling
from profiler.train_words import force_text, pressure_text, speed_text
from profiler.units import UNITS

QUESTIONS = 12
"""No more are asked."""


@dataclass(frozen=True)
class Question:
    """A question, ``text``, and its ``answer``: whole sentences."""

    text: str
    answer: str


NOBODY = Question(
    "What may nobody conclude from the marks?",
    f"That anything is to be done there. {HEAD_RULE} {NO_ORDER} They are estimates for one train, one direction and "
    "the assumptions printed with them: a heavier train, wet rail, weak brakes or another speed move them. Between "
    "marks nothing is promised, and a window that is open is no permission: local rules, the timetable, signals and "
    "qualified people come first.",
)


def lesson(briefing: Briefing) -> tuple[Question, ...]:
    """Questions that the train and line of a briefing have an answer to, at most `QUESTIONS`, as a lesson goes."""
    asked = list(_asked(briefing))
    least = sorted(asked, key=lambda one: one[0])[:QUESTIONS]
    return tuple(question for rank, question in asked if (rank, question) in least)


def _asked(briefing: Briefing) -> Iterator[tuple[int, Question]]:
    """Questions, each with a rank: the greatest are left out first."""
    for question in _climb(briefing):
        yield 8, question
    yield 1, _units(briefing)
    yield 1, _hardest_start(briefing)
    for question in _astride(briefing):
        yield 1, question
    found = [
        (plan, what_if)
        for plan, what_if in zip(briefing.line.descents, briefing.what_ifs, strict=True)
        if plan.descent.force > 0
    ]
    if found:
        plan, what_if = max(found, key=lambda one: one[0].descent.force)
        for question in _balance(briefing, plan):
            yield 1, question
        yield 1, _held(briefing, plan, what_if)
        yield 2, _lost(briefing, plan, what_if)
        if what_if.standing.weight > 0:
            yield 3, _stopped(briefing, plan, what_if)
    for plan, _ in found:
        if not plan.held:
            yield 2, _not_held(briefing, plan)
            break
    for question in _slow_order(briefing):
        yield 2, question
    for question in _charging(briefing):
        yield 3, question
    for question in _couplers(briefing):
        yield 7, question
    for text, answer in gradual_or_sudden(briefing):
        yield 2, Question(text, answer)
    yield 1, NOBODY


def _of(figure: Cited) -> str:
    """ "", " (our choice)": where a figure comes from, nothing if it is given."""
    return "" if figure.source == "given" else f" ({TAGS[figure.tag].split(',')[0]})"


def _at(briefing: Briefing, way: float) -> str:
    return place_words(briefing, way, decimals=2)


def _climb(briefing: Briefing) -> Iterator[Question]:
    """Not asked where it is as fast as it may be anyway."""
    units, one = briefing.profile.units, min(briefing.speeds, key=lambda s: s.speed)
    if one.speed >= min(float(briefing.line.speeds.hold.max()), float(FASTEST)):
        return
    text = "How fast does this train climb the hardest grade with all of its power, and is that enough?"
    grade = f"{wording.grade_text(one.grade, units)} compensated under the train"
    where = f"with its head at {place_words(briefing, one.head)}, {grade}"
    least = speed_text(slowest_speed(briefing.train), units)
    if not one.speed:
        yield Question(text, f"It stalls {where}: grade and curves take more than all of its power gives at any speed.")
        return
    verdict = f"that is {'enough' if one.enough else 'too slow'}: {least} is its least continuous speed"
    if one.enough and one.speed < slowest_speed(briefing.train):
        verdict = f"below its least continuous speed of {least}, but for no longer than its units stand"
    words = f"{speed_text(one.speed, units)} {where}; {verdict}. A train that comes faster slows"
    yield Question(text, f"{words} towards it if the climb is long enough; held to the draft limit it may be slower.")


def _units(briefing: Briefing) -> Question:
    units, train, use = briefing.profile.units, briefing.train, briefing.units[0]
    where = place_words(briefing, use.climb.start, use.climb.end)
    text = f"How many of the head units may pull on the ruling climb, {where}, and why?"
    limit = f"the limit of {force_text(use.limit, units)}{_of(train.limits.draft)}"
    every = use.pulling[-1]
    if use.most is None:
        said = ["Not even one with full throttle"]
    elif use.most == every.units:
        said = [f"All {every.units}" if every.units > 1 else "The one there is"]
    else:
        said = [f"{use.most} with full throttle, not all {every.units}"]
    over = next((p for p in use.pulling if p.excess > 0), None)
    said[0] += f": {_carries(briefing, over or every)}, {'over' if over else 'within'} {limit}."
    if use.refused:
        alike = ", all groups pulling alike" if len(train.groups) > 1 else ""
        said.append(f"No number of them starts the train there within that limit, whatever the throttle{alike}.")
    elif use.fewest is None:
        said.append("All of them are too few to start it there and to keep it at its least continuous speed.")
    else:
        said.append(f"{use.fewest} at least start it there and keep it at its least continuous speed.")
    if len(train.groups) > 1:
        said.append("The power farther back pulls with all it has in this count.")
    if use.most != every.units:
        force = force_text(use.head_limit, units)
        said.append(f"Together they may pull with {force} at a start there, whatever their number.")
        near = [
            (i, sequence)
            for i, sequence in briefing.sequences
            if abs(briefing.places[i].head - use.climb.end) <= train.length
        ]
        if any(held_back(briefing, i, sequence) for i, sequence in near):
            said.append("Held to that, the power behind pulling more than they, it starts.")
    return Question(text, " ".join(said))


def _carries(briefing: Briefing, pulling: UnitsPulling) -> str:
    """ "3 of them bring the coupler behind unit 3 to 320 kips"."""
    behind = vehicle_words(briefing.train, pulling.vehicle)
    many = f"{pulling.units} of them bring" if pulling.units > 1 else "one of them brings"
    return f"{many} the coupler behind {behind} to {force_text(pulling.full_draft, briefing.profile.units)}"


def _hardest_start(briefing: Briefing) -> Question:
    found, train, units = briefing.everywhere, briefing.train, briefing.profile.units
    share = np.maximum(found.need / found.available, found.draft / found.draft_limit)
    i = int(np.argmax(share))
    where = place_words(briefing, float(found.head[i]))
    said = f"With its head at {where}: there it {start_words(train, found, i, units)}."
    near = [place for place in briefing.places if place.reliefs and abs(place.head - found.head[i]) <= train.length]
    if near:
        place = min(near, key=lambda place: abs(place.head - found.head[i]))
        said += f" What would help at {place_words(briefing, place.head)}: {reliefs_words(place.reliefs, units)}."
    if found.starts.all():
        said += " It starts everywhere else too, with less."
    return Question("Where on this line would a stop be hardest to leave?", said)


def _astride(briefing: Briefing) -> Iterator[Question]:
    units = briefing.profile.units
    crests = [a.straddle for a in briefing.astride if a.straddle.probability >= SHOWN_FROM]
    if not crests:
        return
    one = max(crests, key=lambda s: abs(s.change))
    s = one.straddle
    head, half, clear = (float(briefing.terrain.way_at(x)) for x in (s.head, s.half, s.clear))
    change = wording.grade_text(abs(one.change), units)
    answer = (
        f"With its head at {_at(briefing, half)} half of its mass is past the crest. It is astride from the moment its "
        f"head is there until its rear is clear, head at {_at(briefing, clear)}; halfway the front half feels {change} "
        "steeper down than the rear half, so that the front runs ahead while the rear still hangs on the climb."
    )
    low, high = (briefing.landmarks.items[s.landmark].place_low, briefing.landmarks.items[s.landmark].place_high)
    if low is not None and high is not None:
        ends = sorted(float(briefing.terrain.way_at(x)) for x in (low, high))
        answer += f" The crest itself lies at {place_words(briefing, ends[0], ends[1], 2)} (95 %)."
    yield Question(f"Where does this train lie half over the crest at {_at(briefing, head)}?", answer)


def _balance(briefing: Briefing, plan: DescentPlan) -> Iterator[Question]:
    off, come = plan.power_off, plan.approach
    if off is None or come.balance <= plan.descent.crest:
        return
    units, crest = briefing.profile.units, _at(briefing, plan.descent.crest)
    speed = speed_text(come.crest_speed, units)
    past = float(np.interp(come.balance, plan.quarters, np.arange(5) / 4))
    balance = f"With its head at {_at(briefing, come.balance)}, {wording.percent_text(past)} of its mass past the crest"
    said = [f"{balance}: from there on the grade under it keeps {speed} without power."]
    window = "no place is right" if off.empty else window_words(briefing, off.earliest, off.latest)
    said.append(f"The plan begins to take power off at {_at(briefing, off.recommended)} ({window}).")
    low, high = off.spread
    if math.isfinite(low) and math.isfinite(high) and high - low > 50.0:
        said.append(f"How well the line is known moves the last place over {place_words(briefing, low, high, 2)}.")
    if come.stalls:
        said.append("It is told as if the train were got over the crest: its pull held to the draft limit, it stalls.")
    yield Question(f"Where does this train stop needing power over the summit, {crest}, at {speed}?", " ".join(said))


def _held(briefing: Briefing, plan: DescentPlan, what_if: WhatIf) -> Question:
    units, train = briefing.profile.units, briefing.train
    now, weak = what_if.outcome("as_planned"), what_if.outcome("weak_shoes")
    speed = speed_text(what_if.speed, units)
    text = f"What holds this train on the steepest part of the descent, {place_words(briefing, plan.descent.worst)}?"
    length = wording.short_length_text(plan.descent.worst_length, units)
    force = f"{force_text(plan.descent.force, units)} are to be held there, over {length}, at {speed}"
    usable = f"{share_words(train.handling.usable_dynamic)} of it counts as usable{_of(train.handling.usable_dynamic)}"
    said = f"{force}: {_by(now, units)} {'hold' if now.held else 'are all there is, and do not hold'} it; {usable}."
    run = state_at(briefing.journey, plan.descent.worst)
    if run is not None and now.held and run.reduction > now.reduction:
        more = f"{pressure_text(run.reduction, units)} of air and {share_words(run.share)}"
        said += f" The plan has {more} there: the line may be steeper, and that is enough in 95 % of its draws."
    said += (
        f" With shoes × {SHOES_LOW:g} (our choice) {_by(weak, units)} {'would' if weak.held else 'would not'} hold it."
    )
    return Question(text, said)


def _by(found: Outcome, units: str) -> str:
    """ "10 psi of air and 71 % of the dynamic brake"."""
    dynamic = f"{share_words(found.share)} of the dynamic brake"
    if math.isnan(found.reduction):
        return f"the greatest reduction planned with and {dynamic}"
    return (
        f"{pressure_text(found.reduction, units)} of air and {dynamic}" if found.reduction else f"no air and {dynamic}"
    )


def _lost(briefing: Briefing, plan: DescentPlan, what_if: WhatIf) -> Question:
    units, lost = briefing.profile.units, what_if.lost
    said = f"{wording.capitalised(alone_words(briefing, plan))}."
    text = "What if this train had no dynamic brake on the steepest part?"
    if lost is not None:
        late = f"{float(REACTION_TIME):.0f} s later ({TAGS[REACTION_TIME.tag].split(',')[0]})"
        ways = [
            _stands(name, *pair, units)
            for name, pair in (
                ("full service", (lost.service, lost.weak_service)),
                ("emergency", (lost.emergency, lost.weak_emergency)),
            )
        ]
        where = place_words(briefing, lost.head)
        said += (
            f" Lost with the head at {where}, whence stopping takes longest, the crew acting {late}: {'; '.join(ways)}."
        )
        text = "What if all of the dynamic brake is lost on the steepest part?"
    return Question(text, said)


def _stands(name: str, usual: float, weak: float, units: str) -> str:
    """ "emergency stops it in 3,100 ft, with shoes × 0.7 in 4,900 ft"."""
    far = wording.short_length_text(LONGEST, units)
    plain, low = (
        f"in {wording.short_length_text(x, units)}" if math.isfinite(x) else f"not within {far}" for x in (usual, weak)
    )
    return f"{name} stops it {plain}, with shoes × {SHOES_LOW:g} {low}"


def _stopped(briefing: Briefing, plan: DescentPlan, what_if: WhatIf) -> Question:
    units, standing = briefing.profile.units, what_if.standing
    minutes = [f"{x / UNITS['minutes']:.1f}" for x in standing.charged]
    keeps = (
        f"a reduction of {pressure_text(standing.reduction, units)} keeps it at rest"
        if math.isfinite(standing.reduction)
        else "not even full service keeps it at rest"
    )
    holds = "holds" if standing.independent_holds else "does not hold"
    said = [
        f"{force_text(standing.weight, units)} draw it down the grade: {keeps}; the independent brake of the head "
        f"units alone {holds} it."
    ]
    if standing.hand_brakes <= standing.cars:
        source = ": ".join(HAND_BRAKE.words.split(": ")[:2])
        count = f"Hand brakes on {standing.hand_brakes} of {standing.cars} cars would, by one table"
        said.append(f"{count} ({source}): an order of size, local rules say how many, and they are tested.")
    else:
        said.append("The hand brakes of all its cars would not be enough by one table: local rules say what else.")
    if math.isinf(standing.runs):
        said.append("Let go, it does not get faster again than the plan has it: the dynamic brake alone holds it.")
    else:
        runs = f"{standing.runs / UNITS['minutes']:.1f} min"
        time = "in time" if all(standing.charges_in_time) else "in time only if neither cold nor leaky"
        time = time if standing.charges_in_time[0] else "not in time"
        said.append(
            f"Let go, it is at {speed_text(what_if.speed, units)} again after {runs}, and the air is back after "
            f"{minutes[0]} min, {minutes[1]} min if cold or leaky: {time}."
        )
    where = place_words(briefing, plan.descent.worst)
    return Question(
        f"What if it is stopped on the steepest part, {where}: what keeps it there, and what then?", " ".join(said)
    )


def _not_held(briefing: Briefing, plan: DescentPlan) -> Question:
    units, one = briefing.profile.units, plan.descent
    where = place_words(briefing, one.start, one.end)
    speeds = f"from {speed_text(float(plan.holding.speed[0]), units)} to {speed_text(SLOWEST_HELD, units)}"
    hot = " At a lower speed the force would do, but wheels get too hot." if math.isfinite(plan.top.force) else ""
    answer = (
        f"At none {speeds}, with the reductions planned with and the share of the dynamic brake that counts as usable: "
        f"{force_text(one.force, units)} are needed with the head at {place_words(briefing, one.worst)}.{hot} "
        "More dynamic brake, fewer or lighter cars, or finer reductions would change it; as it is there is no plan."
    )
    return Question(f"At which speed is this train held over the descent, {where}?", answer)


def _slow_order(briefing: Briefing) -> Iterator[Question]:
    units, one = briefing.profile.units, strictest_order(briefing)
    if one is None:
        return
    slow, came, limit = (speed_text(x, units) for x in (one.slow, one.approach, one.limit.speed))
    text = f"Where must slowing down for the {order_words(one)} at {_at(briefing, one.start)} begin?"
    can = [way for way in one.ways if not way.cannot]
    if not can:
        yield Question(text, f"Nothing that this train has slows it from {came} to {slow} in time.")
        return
    mild, last = can[0], max(can, key=lambda way: way.begins)
    means = "by coasting" if not mild.dynamic and not mild.reduction else "with the dynamic brake alone"
    if mild.reduction:
        means = f"with {pressure_text(mild.reduction, units)} of air"
        means += " beside the dynamic brake" if mild.dynamic else ""
    said = [f"By {_at(briefing, mild.begins)} {means}: from {came} down to {slow}, under the {limit} ordered."]
    if last.begins - mild.begins > 50.0:
        air = f"{pressure_text(last.reduction, units)} of air" if last.reduction else "the dynamic brake"
        said.append(f"With {air} {_at(briefing, last.begins)} would be the last place.")
    said.append(f"The tail is out of it with the head at {_at(briefing, one.clear)}, not before.")
    yield Question(text, " ".join(said))


def _charging(briefing: Briefing) -> Iterator[Question]:
    """How long a direct brake takes to be charged again, beside what the plan leaves it."""
    if briefing.train.air_brake != "direct release":
        return
    rows = briefing.ledger
    again = [row for row in rows if row.step.before == 0 and math.isfinite(row.since_release)]
    released = [row for row in rows if row.step.after == 0]
    words = f"{charging_words(briefing.train)} (our choice of constants)"
    said = [f"At the far end {words}."]
    if again:
        least = min(again, key=lambda row: row.since_release)
        soon = f"no sooner than {time_words(least.since_release)}" if least.since_release >= 1 else "at once"
        said.append(f"The plan sets air again {soon} after a release, at {_at(briefing, least.step.at)}.")
        if not all(row.step.charged for row in rows):
            said.append("That is before it is charged, and nothing to rely on: cycle or stop, by local rules.")
    elif released:
        said.append("The plan sets air once only; a stop, or anything unforeseen, within that time has less air.")
    else:
        said.append("The plan needs no release; after any stop it counts.")
    yield Question(
        "How long after a release is the pipe charged again, and does the plan leave it that long?", " ".join(said)
    )


def _couplers(briefing: Briefing) -> Iterator[Question]:
    train, units = briefing.train, briefing.profile.units
    said = []
    for name, most, limit in largest_forces(briefing):
        side = f"{share_words(most.force / limit)} of the limit of {force_text(limit, units)}{_of(limit)}"
        where = f"behind {vehicle_words(train, most.vehicle)}, head at {_at(briefing, most.head)}"
        said.append(f"The largest {name} is {force_text(most.force, units)} {where}: {side}.")
    if said:
        said.append("These are forces of steady, gradual handling: sudden acts and slack that runs add to them.")
        yield Question("Where do the couplers carry most if the train is run by plan?", " ".join(said))
