"""Briefings in a few plain lines."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from profiler import wording
from profiler.briefing.case_words import case_lines
from profiler.briefing.descent_words import OVERSPEED_RULE
from profiler.briefing.forces_words import curves_told, force_lines, yardstick_words
from profiler.briefing.holding_words import descent_lines, run_lines
from profiler.briefing.plan import Briefing
from profiler.briefing.sequence_words import held_back
from profiler.briefing.sudden_words import sudden_lines
from profiler.briefing.words import (
    HEAD_RULE,
    NO_ORDER,
    draft_sentences,
    has_knuckles,
    knuckle_words,
    mark_words,
    place_words,
    relief_words,
    rule_words,
    short_time_words,
    start_words,
    train_sentence,
)
from profiler.mechanics.pull import Over
from profiler.train_words import force_text, mass_text, speed_text
from profiler.wording import stretch_words

SHOWN = 5
"""More stretches than these are only counted."""
_OPEN = ("briefing.pdf", "chart.png", "map.html", "marks.csv", "descents.csv", "starting.png", "sudden.png")


def summary(briefings: Mapping[str, Sequence[Briefing]], folder: Path) -> str:
    """What a reader wants to know first of each train and direction, and what to open."""
    every = [(name, briefing) for name, some in briefings.items() for briefing in some]
    profile = every[0][1].profile
    lines = [f"{profile.route.name or 'Line'}, {wording.distance_text(profile.route.length, profile.units)}"]
    if profile.invented:
        lines.append(f"  {wording.INVENTED}")
    lines += [f"  assumed: {said}" for said in (*profile.route.assumptions, *profile.assumptions)]
    for _, briefing in every:
        lines.append(f"{briefing.train.name}, {wording.towards(profile.route, briefing.direction)}")
        lines += [f"  {said}" for said in briefing_lines(briefing)]
    if any(has_knuckles(briefing.train) for _, briefing in every):
        lines.append(f"  {knuckle_words(profile.units)}")
    if any(curves_told(briefing) for _, briefing in every):
        lines.append(f"  {yardstick_words()}")
    if any(not plan.held for _, briefing in every for plan in briefing.line.descents):
        lines.append(f"  {OVERSPEED_RULE}")
    lines.append("  assumed of a train: see gradewright check TRAIN, or provenance.json")
    lines.append(f"  {HEAD_RULE} {NO_ORDER}")
    lines.append(f"  {wording.CAUTION_SHORT}")
    if not profile.route.on_map:
        lines.append("  no map: the table does not say where the line lies, a [centreline] beside it would")
    lines.append("Open:")
    lines += [f"  {page}" for page in [folder / "page.html"] if page.exists()]
    places = [folder / name / briefing.direction for name, briefing in every]
    lines += [f"  {place / name}" for place in places for name in _OPEN if (place / name).exists()]
    return "\n".join(lines)


def briefing_lines(briefing: Briefing) -> list[str]:
    """The most telling figures of one train in one direction."""
    return [
        train_sentence(briefing),
        *_rating(briefing),
        *_draft(briefing),
        *_starts(briefing),
        *_stops(briefing),
        *_units(briefing),
        *_remote(briefing),
        *_climbs(briefing),
        *_helpers(briefing),
        *run_lines(briefing),
        *case_lines(briefing),
        *force_lines(briefing),
        *sudden_lines(briefing),
        *_descents(briefing),
    ]


def _some(words: Iterable[str], file: str) -> list[str]:
    every = list(words)
    return every if len(every) <= SHOWN else [*every[:SHOWN], f"and {len(every) - SHOWN} more, see {file}"]


def _rating(briefing: Briefing) -> list[str]:
    rating, units = briefing.rating, briefing.profile.units
    if rating is None:
        return []
    ruling, power = rating.ruling, rating.by_power
    lines = []
    for name, ruled in (("rating", ruling), ("rating by power alone", power)):
        interval = ""
        if ruled.low is not None and ruled.high is not None:
            low, high = (mass_text(m, units).rpartition(" ")[0].removesuffix(" short") for m in (ruled.low, ruled.high))
            interval = f" ({low}–{high})"
        where = f", {rule_words(ruled)}"
        if ruled.head is not None and ruled.grade is not None:
            grade = wording.grade_text(ruled.grade, units)
            where += f", head at {place_words(briefing, ruled.head)}, {grade} compensated under the train"
        lines.append(f"{name}: {mass_text(ruled.mass, units)} of such cars{interval}{where}")
        if power is ruling:
            break
    verdict = "within its rating" if rating.enough else "over its rating"
    lines[0] += f"; it has {mass_text(rating.given, units)}: {verdict}"
    return lines


def _draft(briefing: Briefing) -> list[str]:
    limit = float(briefing.train.limits.draft)
    lines = [f"{said[:1].lower()}{said[1:]}" for said in draft_sentences(briefing)]
    over = briefing.over(limit)
    if over:
        lines.append(f"over the draft limit under way: {'; '.join(_some(_overs(briefing, over), 'under_train.csv'))}")
    return lines


def _overs(briefing: Briefing, over: Sequence[Over]) -> Iterable[str]:
    for one in over:
        excess = force_text(one.excess, briefing.profile.units)
        yield f"{place_words(briefing, one.start, one.end)} by up to {excess}"


def _starts(briefing: Briefing) -> list[str]:
    train, units, posts = briefing.train, briefing.profile.units, briefing.profile.route.posts
    lines = []
    stretches = [mark for mark in briefing.marks if mark.kind == "do_not_stop" and mark.reason != "draft_caution"]
    words = (
        f"do not stop: {stretch_words(posts, mark.earliest, mark.latest)}, {mark_words(mark, train, units)}"
        for mark in stretches
    )
    lines += _some(words, "marks.csv")
    if not stretches:
        lines.append("it starts wherever it is stopped on the line")
    telling = [astride for astride in briefing.astride if astride.telling]
    for astride in sorted(telling, key=lambda a: a.starting.notch[3] < 1)[:1]:  # one that does not just roll off
        crest = stretch_words(posts, astride.straddle.straddle.head, astride.straddle.straddle.head, 2)
        first, later = (start_words(train, astride.starting, i, units) for i in (0, 3))
        lines.append(f"crest at {crest}: with all cars before it {first}; with three quarters past it {later}")
    return lines


def _stops(briefing: Briefing) -> list[str]:
    train, units = briefing.train, briefing.profile.units
    lines = []
    for i, place in enumerate(briefing.places):
        if place.kind == "stop":
            lines.append(f"stop at {place.name}: {start_words(train, briefing.at_places, i, units)}")
            sequence = next(s for at, s in briefing.sequences if at == i)
            if held_back(briefing, i, sequence):
                lines.append("  would start with the head units held to the limit, the others pulling more")
            lines += [f"  would help: {relief_words(relief, units)}" for relief in place.reliefs]
    return lines


def _units(briefing: Briefing) -> list[str]:
    units, ruling = briefing.profile.units, briefing.units[0]
    where = place_words(briefing, ruling.climb.start, ruling.climb.end)
    if ruling.refused:
        words = "refused: no number of head units starts it within the draft limit"
    elif ruling.fewest is None:
        words = "all of the head units are too few"
    else:
        words = f"{ruling.fewest} at least to start and to keep going"
    most = "even one is too many" if ruling.most is None else f"{ruling.most} at most with full throttle"
    limit = force_text(ruling.head_limit, units)
    return [f"head units to use on the ruling climb, {where}: {words}; {most}, {limit} together within the draft limit"]


def _remote(briefing: Briefing) -> list[str]:
    remote, units = briefing.remote, briefing.profile.units
    if remote is None:
        return []
    best, now = remote.best, remote.now
    drafts, pushes = ([force_text(f, units) for f in pair] for pair in ((best.draft, now.draft), (best.buff, now.buff)))
    back = wording.number(100 * best.back)
    return [
        f"remote power ({remote.units} units) stands best with {best.cars_ahead} cars ahead of it, {back} % back: "
        f"draft {drafts[0]} instead of {drafts[1]}, push ahead of it {pushes[0]} instead of {pushes[1]}"
    ]


def _climbs(briefing: Briefing) -> list[str]:
    units, slowest = briefing.profile.units, min(briefing.speeds, key=lambda s: s.speed)
    where, needed = place_words(briefing, slowest.head), briefing.needed
    words = (
        f"slowest on a climb: {speed_text(slowest.speed, units)}, head at {where}"
        if slowest.speed
        else f"stalls with the head at {where}"
    )
    if slowest.short_time and slowest.enough:
        words += f", {short_time_words(slowest)} below the minimum continuous speed, which its file allows"
    elif not slowest.enough:
        words += ", below the minimum continuous speed"
        words += f" for {short_time_words(slowest)}" if 0 < slowest.short_time < math.inf else ""
    lines = [words]
    if needed.units is None or needed.units > needed.has:
        count = "no number of units is enough" if needed.units is None else f"{needed.units} units"
        going = ", to go on by continuous effort" if slowest.short_time and slowest.enough else ""
        lines.append(f"the head group would need {count} like its first, it has {needed.has}{going}")
    return lines


def _descents(briefing: Briefing) -> list[str]:
    """Each descent in a few lines, those beyond `SHOWN` counted."""
    descents = briefing.line.descents
    lines = []
    for plan in descents[:SHOWN]:
        first, *more = descent_lines(briefing, plan)
        lines += [first, *(f"  {said}" for said in more)]
    if len(descents) > SHOWN:
        lines.append(f"and {len(descents) - SHOWN} more descents, see descent_plans.csv")
    return lines


def _helpers(briefing: Briefing) -> list[str]:
    units = briefing.profile.units
    return [
        f"helper district: {place_words(briefing, h.start, h.end)}, {force_text(h.missing, units)} short"
        + (
            f", {h.units} {'unit' if h.units == 1 else 'units'} like the first behind the train"
            if h.units is not None
            else ", no helper is enough"
        )
        for h in briefing.helpers
    ]
