"""What the map can show of the plan when asked: curves, corners of the drawn line, notes of design practice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import groupby

from profiler import curve_words, wording
from profiler.landmark import Landmarks, PracticeNote
from profiler.practice_words import PRACTICE_CAUTION, practice_words
from profiler.present.map_marks import Mark, mark_of
from profiler.profile import Profile
from profiler.route import CurveElement


def curve_marks(profile: Profile, landmarks: Landmarks) -> list[Mark]:
    """Signs with their words, in order of chainage: a bracket on the outer side of every curve, a cross at every
    corner, an asterisk where the line departs from practice."""
    found = [*_curves(profile, landmarks.practice), *_corners(profile), *_departures(profile, landmarks.practice)]
    return sorted(found, key=lambda mark: (mark["at"], mark["sign"]))


def heading(marks: Sequence[Mark]) -> str:
    """What the layer holds, arcs as one curve: "Curves (61), corners (2)", "Curves (61), notes of practice (3)"."""
    names = {"bend": "curves", "corner": "corners", "practice": "notes of practice"}
    of_arcs = {mark["label"].split()[0].partition(".")[0] for mark in marks if mark["sign"] == "bend"}
    counts = Counter(mark["sign"] for mark in marks)
    counts["bend"] = len(of_arcs)
    words = ", ".join(f"{name} ({counts[sign]})" for sign, name in names.items() if counts[sign])
    return words[:1].upper() + words[1:]


def _curves(profile: Profile, notes: Sequence[PracticeNote]) -> Iterable[Mark]:
    units, posts = profile.units, profile.route.posts
    for curve in profile.route.curves:
        size = curve_words.short_size_text(curve.curvature, units)
        yield mark_of(
            "bend",
            (curve.start + curve.end) / 2,
            f"{curve.number} {size}",
            wording.stretch_words(posts, curve.start, curve.end, 2),
            [*curve_words.curve_lines(curve, units), *_noted(curve, notes, units)],
            title=curve_words.curve_title(curve),
            stretch=(curve.start, curve.end),
            side="right" if curve.hand == "left" else "left",
            short=size,
        )


def _noted(curve: CurveElement, notes: Sequence[PracticeNote], units: str) -> list[str]:
    """What practice says of a curve and of its spirals."""
    about = [n for n in notes if curve.number in n.of.split() and n.start < curve.end and n.end > curve.start]
    words = list(dict.fromkeys(practice_words(note, units) for note in about))
    return [*words, PRACTICE_CAUTION] if any(note.departs for note in about) else words


def _corners(profile: Profile) -> Iterable[Mark]:
    for corner in profile.route.corners:
        lines = curve_words.corner_lines(corner, profile.units)
        where = wording.stretch_words(profile.route.posts, corner.chainage, corner.chainage, 2)
        label = f"corner {lines[0]}"
        yield mark_of("corner", corner.chainage, label, where, lines, title="Corner in the drawn line")


def _departures(profile: Profile, notes: Sequence[PracticeNote]) -> Iterable[Mark]:
    """One sign for all that is said of one thing, for whatever train."""

    def thing(note: PracticeNote) -> tuple[float, float, str]:
        return note.start, note.end, note.of

    departing = sorted((note for note in notes if note.departs), key=thing)
    for (start, end, of), group in groupby(departing, key=thing):
        words = dict.fromkeys(practice_words(note, profile.units) for note in group)
        where = wording.stretch_words(profile.route.posts, start, end, 2)
        lines = [*words, PRACTICE_CAUTION]
        yield mark_of("practice", (start + end) / 2, f"{of}*", where, lines, title=f"Design practice: {of}")
