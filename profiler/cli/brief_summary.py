"""Briefings in a few plain lines."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

import numpy as np

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.briefing.words import (
    HEAD_RULE,
    NO_ORDER,
    knuckle_words,
    mark_words,
    relief_words,
    rule_words,
    speed_text,
    start_words,
    vehicle_words,
)
from profiler.mechanics.pull import Over
from profiler.train_words import force_text, mass_text
from profiler.wording import short_length_text, stretch_words

SHOWN = 5
"""More stretches than these are only counted."""
_OPEN = ("chart.png", "map.html", "marks.csv", "starting.png")


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
    lines.append(f"  {knuckle_words(profile.units)}")
    lines.append("  assumed of a train: see gradewright check TRAIN, or provenance.json")
    lines.append(f"  {HEAD_RULE} {NO_ORDER}")
    lines.append(f"  {wording.CAUTION_SHORT}")
    if not profile.route.on_map:
        lines.append("  no map: the table does not say where the line lies, a [centreline] beside it would")
    lines.append("Open:")
    places = [folder / name / briefing.direction for name, briefing in every]
    lines += [f"  {place / name}" for place in places for name in _OPEN if (place / name).exists()]
    return "\n".join(lines)


def briefing_lines(briefing: Briefing) -> list[str]:
    """The most telling figures of one train in one direction."""
    return [
        *_train(briefing),
        *_rating(briefing),
        *_draft(briefing),
        *_starts(briefing),
        *_stops(briefing),
        *_units(briefing),
        *_remote(briefing),
        *_climbs(briefing),
        *_helpers(briefing),
    ]


def _where(briefing: Briefing, way: float) -> str:
    at = float(briefing.terrain.chainage(way))
    return stretch_words(briefing.profile.route.posts, at, at)


def _between(briefing: Briefing, start: float, end: float) -> str:
    a, b = (float(briefing.terrain.chainage(x)) for x in (start, end))
    return stretch_words(briefing.profile.route.posts, a, b)


def _some(words: Iterable[str], file: str) -> list[str]:
    every = list(words)
    return every if len(every) <= SHOWN else [*every[:SHOWN], f"and {len(every) - SHOWN} more, see {file}"]


def _train(briefing: Briefing) -> list[str]:
    train, units = briefing.train, briefing.profile.units
    lines = [f"{short_length_text(train.length, units)} long, {mass_text(train.mass, units)}, rail {train.rail}"]
    if not briefing.fits:
        line = short_length_text(briefing.terrain.length, units)
        lines.append(f"longer than the line ({line}): nowhere all of it lies on it, its first and last grade go on")
    return lines


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
            where += f", head at {_where(briefing, ruled.head)}, {grade} compensated under the train"
        lines.append(f"{name}: {mass_text(ruled.mass, units)} of such cars{interval}{where}")
        if power is ruling:
            break
    verdict = "within its rating" if rating.enough else "over its rating"
    lines[0] += f"; it has {mass_text(rating.given, units)}: {verdict}"
    return lines


def _draft(briefing: Briefing) -> list[str]:
    train, units = briefing.train, briefing.profile.units
    under_way, start, limit = briefing.running.pull.needed, briefing.everywhere, float(briefing.train.limits.draft)
    lines = []
    for name, found in (("under way", under_way), ("to start", start)):
        i = int(np.argmax(found.draft))
        words = f"largest draft {name}: {force_text(found.draft[i], units)} behind "
        words += f"{vehicle_words(train, int(found.draft_at[i]))}, head at {_where(briefing, float(found.head[i]))}, "
        if found.draft[i] > limit:
            words += f"{force_text(found.draft[i] - limit, units)} over the limit of {force_text(limit, units)}"
        elif found.draft[i] > train.limits.draft_caution:
            words += f"over the caution of {force_text(train.limits.draft_caution, units)}, within the limit"
        else:
            words += f"within the limit of {force_text(limit, units)}"
        lines.append(words)
    over = briefing.over(limit)
    if over:
        lines.append(f"over the draft limit under way: {'; '.join(_some(_overs(briefing, over), 'under_train.csv'))}")
    return lines


def _overs(briefing: Briefing, over: Sequence[Over]) -> Iterable[str]:
    for one in over:
        excess = force_text(one.excess, briefing.profile.units)
        yield f"{_between(briefing, one.start, one.end)} by up to {excess}"


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
            found = briefing.at_places
            if not found.starts[i] or found.draft[i] > found.draft_caution:
                lines += [f"  would help: {relief_words(relief, units)}" for relief in place.reliefs]
    return lines


def _units(briefing: Briefing) -> list[str]:
    units, ruling = briefing.profile.units, briefing.units[0]
    where = _between(briefing, ruling.climb.start, ruling.climb.end)
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
    return [
        f"remote power ({remote.units} units) stands best with {best.cars_ahead} cars ahead of it, {wording.number(100 * best.back)} % "
        f"back: draft {force_text(best.draft, units)} instead of {force_text(now.draft, units)}, push ahead of it "
        f"{force_text(best.buff, units)} instead of {force_text(now.buff, units)}"
    ]


def _climbs(briefing: Briefing) -> list[str]:
    units, slowest = briefing.profile.units, min(briefing.speeds, key=lambda s: s.speed)
    where, needed = _where(briefing, slowest.head), briefing.needed
    words = (
        f"slowest on a climb: {speed_text(slowest.speed, units)}, head at {where}"
        if slowest.speed
        else f"stalls with the head at {where}"
    )
    if not slowest.enough:
        words += ", below the minimum continuous speed"
    lines = [words]
    if needed.units is None or needed.units > needed.has:
        count = "no number of units is enough" if needed.units is None else f"{needed.units} units"
        lines.append(f"the head group would need {count} like its first, it has {needed.has}")
    return lines


def _helpers(briefing: Briefing) -> list[str]:
    units = briefing.profile.units
    return [
        f"helper district: {_between(briefing, h.start, h.end)}, {force_text(h.missing, units)} short"
        + (
            f", {h.units} {'unit' if h.units == 1 else 'units'} like the first behind the train"
            if h.units is not None
            else ", no helper is enough"
        )
        for h in briefing.helpers
    ]
