"""A start as a sequence, in words: acts, what is before and after, and what a late hand costs."""

from __future__ import annotations

import math

from profiler import wording
from profiler.briefing.plan import Briefing, StartPlace
from profiler.briefing.words import figure_of, notch_words, place_words
from profiler.handling.start import Act, Slip, StartSequence
from profiler.handling.start_sequence import REACH
from profiler.handling.starting import NO_NOTCH
from profiler.train_words import force_text, pressure_text, speed_text

_MINUTE = 60.0  # [s]
_TELLING = 0.5
"""A roll back shorter than this is none. [m]"""
_ACTS = {
    "release": "air released",
    "independent_eased": "independent eased",
    "independent_off": "independent off",
    "rear_begins": "rear begins to let go",
    "rear_released": "rear let go",
    "moves": "moves",
    "under_way": "under way",
}


def act_words(act: Act) -> str:
    """An act or event in two or three words; empty for those that stand elsewhere."""
    return f"N{act.value:.0f}" if act.kind == "notch" else _ACTS.get(act.kind, "")


def place_title(briefing: Briefing, place: StartPlace) -> str:
    """ "Stop at post 53.5", "Hardest place of a climb, post 53.9"."""
    where = place_words(briefing, place.head)
    return f"Stop, {where}" if place.kind == "stop" else f"Hardest place of a climb, {where}"


def sequence_sentences(briefing: Briefing, at: int, sequence: StartSequence) -> list[str]:
    """What a start at a place, by its position among those of the briefing, asks for, how it goes, and goes wrong."""
    units = briefing.profile.units
    return [
        _before(sequence, units),
        _notches(sequence, units) + (f" {HELD_BACK}" if held_back(briefing, at, sequence) else ""),
        _slack(sequence, units),
        _wrong(sequence, units),
        _charge(sequence),
    ]


HELD_BACK = "The head units are held to the draft limit there, the others pull more than they."


def held_back(briefing: Briefing, at: int, sequence: StartSequence) -> bool:
    """Whether it starts there only if the groups pull unlike each other."""
    return sequence.starts and not briefing.at_places.starts[at]


def _before(sequence: StartSequence, units: str) -> str:
    if math.isfinite(sequence.reduction):
        held = f"Before: a reduction of {pressure_text(sequence.reduction, units)} keeps it at rest"
    else:
        held = "Before: not even full service keeps it at rest"
    holds = "holds" if sequence.independent_holds else "does not hold"
    return f"{held}; the independent brake of the head units alone {holds} it while the train air is let go."


def _notches(sequence: StartSequence, units: str) -> str:
    holding = f"{notch_words(sequence.holding_notch)} keeps it from rolling back, friction apart"
    if sequence.starting_notch == NO_NOTCH:
        rolls = "; let go, it rolls back" if sequence.run.rolled_back > _TELLING else ""
        return f"Within the draft limit of {force_text(sequence.limit, units)} no notch starts it{rolls}."
    words = f"{wording.capitalised(holding)}; {notch_words(sequence.starting_notch)} starts it."
    if sequence.slack.stretched <= 0:
        words = "It rolls off by itself."
    if not math.isfinite(sequence.run.moves):
        return f"{words} It does not move."
    return f"{words} It moves {sequence.run.moves:.0f} s after the release."


def _slack(sequence: StartSequence, units: str) -> str:
    slack = sequence.slack
    length = wording.short_length_text(slack.length, units)
    if slack.stretched <= 0:
        return f"Slack: {length} in all."
    needs = f"{force_text(slack.stretched, units)} start it stretched, {figure_of(slack.bunched, units)} bunched"
    return f"Slack: {length} in all; {needs}, one car after another, with run-outs that steady figures do not show."


def _wrong(sequence: StartSequence, units: str) -> str:
    rows = []
    for dropped, name in ((False, "independent eased in time"), (True, "independent dropped with the release")):
        slips = [slip for slip in sequence.slips if slip.dropped == dropped]
        if all(slip.back < _TELLING for slip in slips):
            rows.append(f"{name} not at all")
            continue
        figures = ", ".join(f"{slip.late:.0f} s: {_back(slip, units)}" for slip in slips)
        speeds = [slip.speed for slip in slips if slip.back <= REACH]
        rows.append(f"{name} {figures}" + (f" (up to {speed_text(max(speeds), units)})" if speeds else ""))
    return f"Rolls back if the first notch comes late: {'; '.join(rows)}."


def _back(slip: Slip, units: str) -> str:
    """How far it rolls; beyond what the run knows of the line only that it is more."""
    return f"{'over ' if slip.back > REACH else ''}{wording.short_length_text(min(slip.back, REACH), units)}"


def _charge(sequence: StartSequence) -> str:
    normal, slowly = sequence.charged[1] / _MINUTE, sequence.charged_slowly[1] / _MINUTE
    return (
        f"Pipe charged again to 95 % at the rear after {normal:.1f} min, {slowly:.1f} min if cold or leaky; "
        "a second stop before has less air."
    )
