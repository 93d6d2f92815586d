"""What couplers feel at the marked places of a page, in plain values: by way of handling, at the mark that tells it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from profiler import wording
from profiler.briefing.felt_words import (
    UNSURE,
    WAYS,
    Handled,
    Place,
    assumed_words,
    breaks_words,
    ends_words,
    felt_title,
    places,
    way_words,
    wears_words,
)
from profiler.briefing.hand_words import hand_words
from profiler.briefing.plan import Briefing
from profiler.briefing.sudden import after_place
from profiler.briefing.sudden_words import side_buffers
from profiler.briefing.words import place_words
from profiler.mark import Mark
from profiler.mechanics.in_train import Extreme
from profiler.present.felt_shown import largest_of, shown_of, some_couplings
from profiler.present.page_line import UNITS, read_in
from profiler.present.page_pack import Packer
from profiler.units import FloatArray

COLUMNS = 96
"""No event is drawn with more instants."""
COUPLINGS = 8
"""Nor with more single couplings."""
_LEVELS = 127
_NEAR = 1.0
"""A mark is that of an event whose place is its own so nearly. [m]"""
_KINDS = {
    "crest": ("power_off",),
    "air_step": ("air_step",),
    "release": ("release",),
    "sag": ("straddle",),
    "start": ("start_hard", "do_not_stop"),
}
"""Kinds of marks that tell what is felt in a kind of event."""


def felt_notes(briefing: Briefing) -> list[str]:
    """What the figures stand on, and how little is known of it; nothing where nothing is followed."""
    if not briefing.felt:
        return []
    return [
        f"Estimated, vehicle by vehicle; {assumed_words(briefing)}.",
        f"{wording.capitalised(UNSURE)}.",
        *(f"{wording.capitalised(said)}." for said in hand_words(briefing)),
        *side_buffers(briefing),
    ]


def with_felt_places(briefing: Briefing, marks: Sequence[dict[str, Any]], packer: Packer) -> list[dict[str, Any]]:
    """Marks of a page (`page_train.marks_data`) with what is felt there; a place that has no mark stands among them."""
    found = [dict(mark) for mark in marks]
    for place in places(briefing.felt):
        number = _number(briefing, place)
        its = next((mark for mark in found if number and mark["number"] == number and "felt" not in mark), None)
        if its is None:
            its = _unmarked(briefing, place)
            after = (i for i, mark in enumerate(found) if mark["start"] > its["start"])
            found.insert(next(after, len(found)), its)
        its["felt"] = _place(briefing, place, packer)
    return found


def _number(briefing: Briefing, place: Place) -> int:
    """Of the mark at a place, 0 where there is none."""
    event = place.planned.shown.event
    kinds = _KINDS[event.kind]

    def at(mark: Mark) -> float:
        return float(briefing.terrain.way_at(mark.earliest if event.kind == "sag" else mark.recommended))

    return next((m.number for m in briefing.marks if m.kind in kinds and abs(at(m) - event.place) <= _NEAR), 0)


def _unmarked(briefing: Briefing, place: Place) -> dict[str, Any]:
    """A mark without number for a place that has none."""
    event = place.planned.shown.event
    at = round(event.place, 1)
    title, _, _ = felt_title(briefing, place.planned.shown).partition(", ")
    words = {"title": title, "lines": []}
    return {
        "number": 0,
        "sign": "felt",
        **dict.fromkeys(("start", "at", "end"), at),
        "quarters": [],
        "crest": False,
        "opens": True,
        "ends": True,
        "empty": False,
        "where": f"at {place_words(briefing, event.place)}",
        "inside": ("here", ""),
        "us": words,
        "metric": words,
    }


def _place(briefing: Briefing, place: Place, packer: Packer) -> dict[str, Any]:
    couplings = some_couplings(briefing.train.vehicles - 1, COUPLINGS)
    order = list(WAYS)
    others = sorted(place.others, key=lambda one: order.index(one.shown.event.way))
    ways = [_way(briefing, one, couplings, packer) for one in (place.planned, *others)]
    return {
        "title": felt_title(briefing, place.planned.shown),
        "broken": wears_words(place.planned) if place.planned.broken else "",
        "couplings": couplings,
        "first": next((i for i, one in enumerate(others) if one is place.worst), 0),
        "ways": ways,
    }


def _way(briefing: Briefing, one: Handled, couplings: Sequence[int], packer: Packer) -> dict[str, Any]:
    """One way of handling; without forces where the train parts before its place."""
    told: dict[str, Any] = {
        "way": one.shown.event.way,
        "says": way_words(briefing, one),
        "ends": {u: "; ".join(ends_words(read_in(briefing, u), one)) for u in UNITS},
        "breaks": breaks_words(briefing, one),
        "drawn": None,
    }
    if not one.there:
        return told
    forces = [each.forces for each in one.by_wear]
    return told | {
        "pull": _peak(one, one.shown.forces.draft, [each.draft.force for each in forces], one.shown.draft),
        "push": _peak(one, one.shown.forces.buff, [each.buff.force for each in forces], one.shown.buff),
        "closes": round(max(each.run_in.speed for each in forces), 3),
        "drawn": _drawn(one, couplings, packer),
    }


def _peak(one: Handled, most: Extreme, by_wear: Sequence[float], steady: Extreme) -> dict[str, float]:
    """The largest force [N] in the state of wear that stands for all, how long after the act began [s], and its range
    over all states."""
    return {
        "force": round(most.force),
        "vehicle": most.vehicle,
        "after": round(after_place(one.shown, most.time), 1) if most.force > 0 else 0.0,
        "low": round(min(by_wear)),
        "high": round(max(by_wear)),
        "steady": round(steady.force),
    }


def _drawn(one: Handled, couplings: Sequence[int], packer: Packer) -> dict[str, Any]:
    """Forces by time in steps of even length from an instant on [s]: the largest pull and push, the same over all
    states of wear, all above zero; then those behind some vehicles, + pull."""
    shown = shown_of(one)
    time, count = shown.time, min(COLUMNS, shown.time.size)
    edges = np.linspace(time[0], time[-1], count + 1)
    first = np.searchsorted(time, edges[:-1])

    def most(values: FloatArray) -> FloatArray:
        return np.asarray(np.maximum.reduceat(values, first, axis=0))

    pull, push = largest_of(shown.force)
    some = shown.force[:, couplings]
    high, low = most(some), -most(-some)
    rows = [most(x) for x in (pull, push, shown.most_pull, shown.most_push)]
    rows += list(np.where(high > -low, high, low).T)
    parted = one.shown.forces.parted
    return {
        "from": round(float(time[0]), 2),
        "step": round(shown.lasts / count, 4),
        "count": count,
        "force": packer.add_fine(np.array(rows), _LEVELS),
        "parted": None if parted is None else round(after_place(one.shown, parted.time), 1),
        "cars": [[round(max(float(x.max()), 0.0)), round(max(-float(x.min()), 0.0))] for x in some.T],
    }
