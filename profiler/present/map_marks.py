"""What stands on the map beside the line, as signs with words: posts, stations, structures, landmarks."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from profiler import curve_words, wording
from profiler.landmark import GradeRun, Landmark, Landmarks
from profiler.profile import Profile
from profiler.route import Posts, Structure
from profiler.units import PERCENT, curvature_of_degree

Mark = dict[str, Any]
"""``sign``, ``at`` and mostly ``start``, ``end`` (chainage, m), ``label``, ``short``, ``where``, ``lines`` of words.

``side`` is "left" or "right" of the line for signs that lie beside it."""

SAME_STRETCH = 0.8
"""Heavy and sustained grades that share so much of their stretches are drawn as one."""
PLACES_APART_M, MOST_PLACES = 200.0, 1000
"""Distance of places [m] at which elevation and grade can be asked for, and how many there may be."""
BREAK_REACH_M = 250.0
"""How far from a break the grade runs that meet in it may end. [m]"""
LONG_GRADES = ("sustained_grade", "heavy_grade_4000_or_less", "heavy_grade_over_4000")


def post_marks(profile: Profile) -> list[list[float]]:
    """Every whole post on the line: [chainage m, post]."""
    return sorted([round(place, 1), int(post)] for post, place in profile.route.whole_posts)


def place_words(profile: Profile) -> list[list[Any]]:
    """Elevation and grade with how sure, for a touch on the line: [chainage m, words] at places
    `PLACES_APART_M` apart, farther on lines of more than `MOST_PLACES`."""
    s = profile.chainage
    count = int(np.clip((s[-1] - s[0]) / PLACES_APART_M, 1, MOST_PLACES))
    stations = np.unique(np.searchsorted(s, np.linspace(s[0], s[-1], count + 1)).clip(0, s.size - 1))
    z, se, grade, grade_se = profile.elevation, profile.elevation_se, profile.grade, profile.grade_se
    posts, units = profile.route.posts, profile.units
    return [
        [round(float(s[i]), 1), wording.place_sure_words(posts, s[i], (z[i], se[i]), (grade[i], grade_se[i]), units)]
        for i in stations
    ]


def grade_words(profile: Profile, landmarks: Landmarks) -> list[list[Any]]:
    """Every grade run, for a touch on the line: [start m, end m, lines of words]."""
    return [[round(run.start, 1), round(run.end, 1), _run_lines(profile, run)] for run in landmarks.grade_runs]


def _run_lines(profile: Profile, run: GradeRun) -> list[str]:
    units, posts = profile.units, profile.route.posts
    slope = wording.slope_words(run.grade, units, run.grade_se)
    height = wording.elevation_text(abs(run.rise), units)
    return [
        slope[0].upper() + slope[1:],
        wording.stretch_words(posts, run.start, run.end),
        f"{wording.distance_text(run.end - run.start, units)} long, {'rises' if run.rise > 0 else 'falls'} {height}",
        wording.grade_sure_words(run.grade_se, units),
    ]


def marks(profile: Profile, landmarks: Landmarks) -> list[Mark]:
    """All signs with their words, in order of chainage."""
    found = [
        *_stations(profile),
        *(_structure(profile, s) for s in profile.route.structures),
        *(_suspected(profile, item) for item in landmarks.suspected),
        *(_turn(profile, item) for item in landmarks.shown("crest", "sag")),
        *(_break(profile, landmarks, item) for item in landmarks.shown("grade_break")),
        *(_sharpest(profile, item) for item in landmarks.of_kind("sharpest_curve")),
        *_ruling(profile, landmarks),
        *_long_grades(profile, landmarks),
        *_equations(profile),
    ]
    return sorted(found, key=lambda mark: (mark["at"], mark["sign"]))


def _stations(profile: Profile) -> Iterable[Mark]:
    posts = profile.route.posts
    for station in profile.route.stations:
        where = wording.stretch_words(posts, station.chainage, station.chainage)
        yield mark_of("station", station.chainage, station.name, where, ["station"], title=station.name)


def _equations(profile: Profile) -> Iterable[Mark]:
    posts, s = profile.route.posts, profile.chainage
    for at, back, ahead in posts.equations:
        if s[0] < at < s[-1]:
            label = wording.equation_text(posts, back, ahead)
            lines = [wording.equation_words(posts, back, ahead, profile.units)]
            yield mark_of("equation", at, label, "post equation", lines, title=label)


def _structure(profile: Profile, structure: Structure) -> Mark:
    length = wording.short_length_text(structure.end - structure.start, profile.units)
    name = structure.name or structure.kind.capitalize()
    where = wording.stretch_words(profile.route.posts, structure.start, structure.end, 2)
    return mark_of(
        structure.kind,
        (structure.start + structure.end) / 2,
        f"{name}, {length}",
        where,
        [f"{structure.kind}, {length}", "known from the data"],
        title=name,
        stretch=(structure.start, structure.end),
    )


def _suspected(profile: Profile, item: Landmark) -> Mark:
    units, open_end = profile.units, profile.route.reaches_end(item.start, item.end)
    length = wording.short_length_text(item.end - item.start, units)
    where = wording.stretch_words(profile.route.posts, item.start, item.end, 2)
    percent = wording.percent_text(item.probability)
    inside = (profile.chainage >= item.start) & (profile.chainage <= item.end)
    se = profile.elevation_se[inside]
    lines = [
        f"{'at least' if open_end else 'about'} {length} long",
        f"suspected from the ground, {percent} likely; not in the data",
        *(["no end seen before the line ends"] if open_end else []),
        wording.elevation_sure_words(float(np.median(se)), float(se.max()), units) if se.size else "",
    ]
    return mark_of(
        "suspected",
        item.at,
        wording.suspected_words(item.kind, item.probability, open_end),
        where,
        [line for line in lines if line],
        title=wording.kind_words(item.kind).capitalize(),
        stretch=(item.start, item.end),
    )


def _turn(profile: Profile, item: Landmark) -> Mark:
    posts, units = profile.route.posts, profile.units
    name = wording.doubted_words(item.kind, item.probability)
    prominence = wording.interval_text(item.value, item.unit, units, item.low, item.high)
    where = wording.stretch_words(posts, item.at, item.at, 2)
    lines = [f"prominence {prominence}", _sure(item)]
    if item.place_low is not None and item.place_high is not None:
        between = wording.stretch_words(posts, item.place_low, item.place_high, 2)
        lines.append(f"its place: {between} (95 %)")
    return mark_of(
        item.kind, item.at, f"{name} {wording.post_text(posts, item.at)}", where, lines, title=item.kind.capitalize()
    )


def _break(profile: Profile, landmarks: Landmarks, item: Landmark) -> Mark:
    units = profile.units
    before, after = _meeting(landmarks.grade_runs, item.at)
    change = wording.interval_text(abs(item.value), item.unit, units, item.low, item.high)
    name = wording.doubted_words(item.kind, item.probability)
    label = f"{name} {change}"
    if before is not None and after is not None:
        words = wording.break_words(before.grade, after.grade, units, before.grade_se, after.grade_se)
        label = f"{name} {words}"
    where = wording.stretch_words(profile.route.posts, item.at, item.at, 2)
    return mark_of(
        "break",
        item.at,
        label,
        where,
        [*_both(before, after, units), f"the grade changes by {change}", _sure(item)],
        title="Grade break",
    )


def _both(before: GradeRun | None, after: GradeRun | None, units: str) -> list[str]:
    """The grades on both sides of a break, where the runs show them."""
    if before is None or after is None:
        return []
    slopes = (wording.slope_words(run.grade, units, run.grade_se) for run in (before, after))
    return [", then ".join(slopes)]


def _meeting(runs: Sequence[GradeRun], at: float) -> tuple[GradeRun | None, GradeRun | None]:
    """The grade runs that meet nearest to a place, if near enough."""
    near = [(abs(a.end - at), a, b) for a, b in pairwise(runs) if abs(a.end - at) <= BREAK_REACH_M]
    return min(near, key=lambda row: row[0])[1:] if near else (None, None)


def _sharpest(profile: Profile, item: Landmark) -> Mark:
    units = profile.units
    curvature = float(curvature_of_degree(item.value))
    where = wording.stretch_words(profile.route.posts, item.start, item.end, 2)
    hand = "left" if item.value > 0 else "right"
    lines = [f"{curve_words.size_text(curvature, units)}, to the {hand}", _sure(item)]
    named = (c for c in profile.route.curves if (c.start, c.end) == (item.start, item.end))
    title = next((f"Sharpest curve, {c.number}" for c in named), "Sharpest curve")
    label = f"sharpest curve {wording.curve_text(curvature, units)}"
    return mark_of("curve", item.at, label, where, lines, title=title)


def _ruling(profile: Profile, landmarks: Landmarks) -> Iterable[Mark]:
    """One bracket a direction, for the longest train; the other lengths are in its words."""
    units, posts = profile.units, profile.route.posts
    for direction in ("with", "against"):
        items = landmarks.of_kind("ruling_grade", direction=direction)
        if not items:
            continue
        items = tuple(sorted(items, key=lambda item: -(item.train_length or 0.0)))
        head, towards = items[0], wording.towards(profile.route, direction)
        others = landmarks.of_kind("ruling_grade_compensated", direction=direction)
        lines = [_ruling_line(profile, item, head) for item in (*items, *others)]
        grade = _landmark_grade(head, units)
        yield mark_of(
            "ruling",
            head.at,
            f"ruling {grade} {towards}",
            wording.stretch_words(posts, head.start, head.end),
            [*lines, "in brackets: 95 % interval", _sure(head)],
            title=f"Ruling grade {grade} {towards}",
            stretch=(head.start, head.end),
            side="left" if direction == "with" else "right",
            short=f"ruling {grade}",
        )


def _ruling_line(profile: Profile, item: Landmark, head: Landmark) -> str:
    """Figure, interval and train of one ruling grade, and its place where it is not that of the bracket."""
    units = profile.units
    line = wording.interval_text(item.value, item.unit, units, item.low, item.high)
    if item.kind == "ruling_grade_compensated":
        figure = wording.compensation_figure(profile.curve_compensation, units, profile.curve_resistance)
        line += f", compensated for curves at {figure}"
    if item.train_length:
        line += f", for a train of {wording.short_length_text(item.train_length, units)}"
    if (item.start, item.end) != (head.start, head.end):
        line += f", {wording.stretch_words(profile.route.posts, item.start, item.end)}"
    return line


def _long_grades(profile: Profile, landmarks: Landmarks) -> Iterable[Mark]:
    units, posts = profile.units, profile.route.posts
    for direction in ("with", "against"):
        towards = wording.towards(profile.route, direction)
        for group in _grouped(landmarks.of_kind(*LONG_GRADES, direction=direction)):
            lines = []
            for item in group:
                value = wording.interval_text(item.value, item.unit, units, item.low, item.high)
                where = wording.stretch_words(posts, item.start, item.end)
                lines.append(f"{wording.kind_words(item.kind)}: {value}, {where}, {_sure(item)}")
            head = group[0]
            stretch = min(i.start for i in group), max(i.end for i in group)
            kind = "heavy" if any(item.kind != "sustained_grade" for item in group) else "sustained"
            grade = _landmark_grade(head, units)
            yield mark_of(
                "heavy",
                sum(stretch) / 2,
                f"{kind} {grade} {towards}",
                wording.stretch_words(posts, *stretch),
                lines,
                title=f"{kind.capitalize()} grade {grade} {towards}",
                stretch=stretch,
                side="left" if direction == "with" else "right",
                short=f"{kind} {grade}",
            )


def _grouped(items: Sequence[Landmark]) -> list[list[Landmark]]:
    """Landmarks that cover nearly the same stretch, together."""
    groups: list[list[Landmark]] = []
    for item in sorted(items, key=lambda i: (i.start, i.end)):
        for group in groups:
            other = group[0]
            shared = min(item.end, other.end) - max(item.start, other.start)
            if shared >= SAME_STRETCH * (max(item.end, other.end) - min(item.start, other.start)):
                group.append(item)
                break
        else:
            groups.append([item])
    return groups


def _landmark_grade(item: Landmark, units: str) -> str:
    if item.low is None or item.high is None:
        return wording.grade_text(item.value * PERCENT, units)
    return wording.grade_text(item.value * PERCENT, units, (item.high - item.low) / 3.92 * PERCENT)


def _sure(item: Landmark) -> str:
    return wording.probability_words(item.probability)


def mark_of(
    sign: str,
    at: float,
    label: str,
    where: str,
    lines: Sequence[str],
    *,
    title: str,
    stretch: tuple[float, float] | None = None,
    side: str = "",
    short: str = "",
) -> Mark:
    """A mark at one place, or beside a ``stretch``, by chainage. [m]"""
    start, end = stretch or (at, at)
    return {
        "sign": sign,
        "at": round(at, 1),
        "start": round(start, 1),
        "end": round(end, 1),
        "label": label,
        "short": short or label,
        "side": side,
        "title": title,
        "where": where,
        "lines": list(lines),
    }


def post_unit_words(posts: Posts) -> str:
    """What a bare post number on the map means."""
    kind = "mile post" if posts.unit == "mi" else "kilometre post"
    return kind if posts.stated else f"{'miles' if posts.unit == 'mi' else 'km'} from the start"
