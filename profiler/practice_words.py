"""Notes of design practice in words, beside `profiler.wording`: what people read on maps and in the console."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from profiler import wording
from profiler.landmark import PracticeNote
from profiler.units import INCH, MILLIMETRE, radius_of_degree

PRACTICE_CAUTION = "Design practice beside an estimate made without a survey: information, no finding about the track."
"""Belongs wherever such notes are read."""

_WORDS = {
    "tight_curve": "{value}, tighter than the {practice} customary on main lines",
    "short_spiral": "{value} long, practice asks for {practice} or more{speed}, whatever the cant",
    "sharp_vertical_curve": "{value} long, practice makes it {practice} or longer{speed}",
    "cant": "balanced by {value} of cant{speed}, over the {practice} that cant and unbalance customarily make",
    "balanced_cant": "balanced by {value} of cant{speed}",
}
_COUNTED = {
    "tight_curve": ("curve", "tighter than 15°"),
    "short_spiral": ("spiral", "shorter than practice for the speed"),
    "sharp_vertical_curve": ("vertical curve", "shorter than practice"),
    "cant": ("curve", "whose speed asks for more than the customary cant"),
}


def practice_words(note: PracticeNote, units: str) -> str:
    """ "curve 62C: 16.2° ±0.4°, tighter than the 15.0° customary on main lines": one note, 95 % beside its figure."""
    value, practice = (_figure(note.kind, x, units) for x in (note.value, note.practice))
    if note.value_se > 0:
        value += f" ±{_spread(note.kind, note.value, 1.96 * note.value_se, units)}"
    speed = " on secondary lines"
    if note.speed is not None:
        trains = f" ({note.train_class})" if note.train_class else ""
        speed = f" at {wording.speed_figure(note.speed, units)} {wording.speed_unit(units)}{trains}"
    return f"{note.of}: {_WORDS[note.kind].format(value=value, practice=practice, speed=speed)}"


def practice_summary(notes: Iterable[PracticeNote]) -> str:
    """ "3 curves tighter than 15°, 1 spiral shorter than …": what departs, counted once for all classes of train."""
    things = {(note.kind, note.of, note.start) for note in notes if note.departs}
    counts = Counter(kind for kind, _, _ in things)
    return ", ".join(
        f"{counts[kind]} {noun}{'s' if counts[kind] > 1 else ''} {words}"
        for kind, (noun, words) in _COUNTED.items()
        if counts[kind]
    )


def _figure(kind: str, value: float, units: str) -> str:
    """A figure in the unit of its kind as people read it."""
    if kind == "tight_curve":
        metric = f"radius {wording.number(radius_of_degree(value))} m"
        return f"{wording.number(value, 1)}°" if units == "us" else metric
    if kind in ("cant", "balanced_cant"):
        if units == "us":
            return f"{wording.number(value * MILLIMETRE / INCH, 1)} in"
        return f"{wording.number(value, units=units)} mm"
    return wording.short_length_text(value, units)


def _spread(kind: str, value: float, half: float, units: str) -> str:
    """What ``half`` of the note's unit to either side of its value is, as people read it."""
    if kind == "tight_curve" and units == "metric":
        return f"{wording.number((radius_of_degree(value - half) - radius_of_degree(value + half)) / 2)} m"
    return _figure(kind, half, units)
