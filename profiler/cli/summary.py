"""A profile in a few plain lines."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from profiler import wording
from profiler.curve_words import curve_sentences
from profiler.landmark import Landmark, Landmarks
from profiler.practice_words import practice_summary
from profiler.profile import Profile
from profiler.route import DIRECTIONS
from profiler.units import PERCENT

SHOWN = 5
"""More known elevations that do not fit, or suspected structures, than these are only counted."""


TELLING_PCT = 0.02
"""A compensated ruling grade that differs by no more from the plain one is not said apart. [%]"""


def summary(profile: Profile, landmarks: Landmarks, folder: Path) -> str:
    """What a reader wants to know first, what was assumed, and what to open."""
    route, units = profile.route, profile.units
    lines = [f"{route.name or 'Line'}, {wording.distance_text(route.length, units)}, {wording.travel_words(route)}"]
    if profile.invented:
        lines.append(f"  {wording.INVENTED}")
    for direction in DIRECTIONS:
        lines += _ruling(profile, landmarks, direction)
    if any(", compensated" in line for line in lines):
        model = wording.compensation_words(profile.curve_compensation, units)
        lines.append(f"  compensated for curves: {model}")
    crests = landmarks.of_kind("crest")
    if crests:
        top = max(crests, key=lambda c: c.value)
        height = float(np.interp(top.at, profile.chainage, profile.elevation))
        lines.append(
            f"  highest crest at {wording.post_text(route.posts, top.at)}, {wording.elevation_text(height, units)}"
        )
    lines += _practice(profile, landmarks)
    lines += [f"  {said}" for said in curve_sentences(route, units)]
    lines += _suspected(profile, landmarks)
    reach = 1.96 * profile.elevation_se
    datum = wording.datum_words(profile.vertical_datum)
    lines.append(
        f"  how sure: elevation to ±{wording.elevation_text(float(np.median(reach)), units, 1)}, "
        f"at worst ±{wording.elevation_text(float(reach.max()), units, 1)}; {datum}"
    )
    lines += _known(profile)
    credit = wording.credit_words(profile.attribution, profile.licence)
    lines += [f"  {credit[0].lower()}{credit[1:]}"] if credit else []
    lines += [f"  assumed: {said}" for said in (*route.assumptions, *profile.assumptions)]
    lines.append(f"  {wording.CAUTION_SHORT}")
    if not route.on_map:
        lines.append("  no map: the table does not say where the line lies, a [centreline] beside it would")
    names = [n for n in ("map.html", "chart.png", "profile.csv", "landmarks.csv") if (folder / n).exists()]
    lines.append("Open:")
    lines += [f"  {folder / name}" for name in names]
    return "\n".join(lines)


def _suspected(profile: Profile, landmarks: Landmarks) -> list[str]:
    """Structures that the ground suggests and the data do not name, the longest first."""
    found = sorted(landmarks.suspected, key=lambda item: item.start - item.end)
    if not found:
        return []
    shown = [_suspected_words(profile, item) for item in found[:SHOWN]]
    if len(found) > SHOWN:
        shown.append(f"and {len(found) - SHOWN} more, see landmarks.csv")
    return [f"  suspected, not in the data: {'; '.join(shown)}"]


def _suspected_words(profile: Profile, item: Landmark) -> str:
    route = profile.route
    where = wording.stretch_words(route.posts, item.start, item.end)
    name = item.kind.removeprefix("suspected_")
    words = f"{name} {where} ({wording.percent_text(item.probability)} likely)"
    if route.reaches_end(item.start, item.end):
        words += f", no end seen: elevation in it to ±{_half_width(profile, item)}"
    return words


def _practice(profile: Profile, landmarks: Landmarks) -> list[str]:
    """How often the line surely departs from customary design practice, and what was not looked at."""
    if not profile.route.curves:
        return []
    said = practice_summary(landmarks.practice)
    without = "" if profile.route.limits else "; no speed limits given: spirals and cants not looked at"
    if not said:
        return [f"  design practice: nothing surely departs from it{without}"]
    return [f"  design practice: {said}{without}; see practice.csv (information, no finding about the track)"]


def _half_width(profile: Profile, item: Landmark) -> str:
    inside = (profile.chainage >= item.start) & (profile.chainage <= item.end)
    return wording.elevation_text(1.96 * float(profile.elevation_se[inside].max()), profile.units)


def _known(profile: Profile) -> list[str]:
    """How many known elevations count, and which do not."""
    if not profile.known:
        return []
    wrong = [item for item in profile.known if not item.used]
    lines = [f"  known elevations: {len(profile.known) - len(wrong)} of {len(profile.known)} used"]
    for item in wrong[:SHOWN]:
        why = wording.known_words(item.reason, item.standard_errors, item.rival, item.unit_meant)
        height, fitted = (wording.elevation_text(z, profile.units, 1) for z in (item.known, item.fitted))
        lines.append(f"  not used: {height} at {item.place}, {why} (the rest says {fitted})")
    if len(wrong) > SHOWN:
        lines.append(f"  not used: {len(wrong) - SHOWN} more, see known_elevations.csv")
    return lines


def _ruling(profile: Profile, landmarks: Landmarks, direction: str) -> list[str]:
    found = [x for x in landmarks.of_kind("ruling_grade", direction=direction) if x.train_length]
    if not found:
        return []
    item = max(found, key=lambda x: x.train_length or 0.0)
    if item.value * PERCENT <= 0:
        return [f"  {wording.towards(profile.route, direction)}: no climb as long as the train"]
    figure = wording.interval_text(item.value, item.unit, profile.units, item.low, item.high)
    place = wording.post_text(profile.route.posts, item.at)
    length = wording.short_length_text(item.train_length or 0.0, profile.units)
    bent = _compensated(profile, landmarks, item)
    return [
        f"  {wording.towards(profile.route, direction)}: ruling grade {figure}{bent} near {place}, train of {length}"
    ]


def _compensated(profile: Profile, landmarks: Landmarks, plain: Landmark) -> str:
    """ ", compensated 1.55 % (1.51–1.59)", where curves make a difference for the same train."""
    for item in landmarks.of_kind("ruling_grade_compensated", direction=plain.direction):
        if item.train_length == plain.train_length and abs(item.value - plain.value) > TELLING_PCT:
            figure = wording.interval_text(item.value, item.unit, profile.units, item.low, item.high)
            return f", compensated {figure}"
    return ""
