"""What couplers feel at marked places in words, and which sudden handling stands beside which planned one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from profiler.briefing.plan import Briefing
from profiler.briefing.sudden import after_place
from profiler.briefing.words import figure_of, place_words, vehicle_words
from profiler.handling.events import AT_ONCE, CUT, NOTCH_SUDDEN, SUDDEN, Felt, Kind, Way
from profiler.mechanics.draft_gear import gears_of
from profiler.mechanics.in_train import Extreme
from profiler.train_words import cited_text, force_text, speed_text

DRAWN = "usual"
"""The state of wear that stands for all where one is told or drawn."""
_KINDS: dict[Kind, str] = {
    "crest": "Over the crest",
    "air_step": "Air set",
    "release": "Air released",
    "sag": "Through the sag",
    "start": "Start",
}
_DYNAMIC = f"all of the dynamic brake in {SUDDEN:g} s"
WAYS: dict[Way, str] = {
    "planned": "as planned",
    "no_pause": f"throttle shut in {CUT:g} s, no pause, {_DYNAMIC}",
    "dynamic_at_once": f"throttle as planned, then {_DYNAMIC}",
    "throttle_at_once": f"throttle shut in {AT_ONCE:g} s with the head at the crest, the rest as planned",
    "release_at_once": f"all air released while running, the dynamic brake thrown off in {SUDDEN:g} s",
    "bunched_full_notch": f"slack bunched, full notch at {NOTCH_SUDDEN:g} s a notch, no limit kept",
}
"""How a place is handled, in words."""


@dataclass(frozen=True, eq=False)
class Handled:
    """One event with gears in each state of wear."""

    by_wear: tuple[Felt, ...]

    @property
    def shown(self) -> Felt:
        """With gears in the state that stands for all."""
        return next((f for f in self.by_wear if f.wear == DRAWN), self.by_wear[0])

    @property
    def severity(self) -> float:
        """The largest force over its limit, in the state of wear that stands for all. [-]"""
        one = self.shown
        return max(one.forces.draft.force / one.draft_limit, one.forces.buff.force / one.buff_limit)


@dataclass(frozen=True, eq=False)
class Beside:
    """A marked place handled as planned, and in the sudden way that is felt most there."""

    planned: Handled
    suddenly: Handled


def handled(felt: Sequence[Felt]) -> list[Handled]:
    """All states of wear of an event together, in the order of events."""
    found: dict[int, list[Felt]] = {}
    for one in felt:
        found.setdefault(id(one.event), []).append(one)
    return [Handled(tuple(some)) for some in found.values()]


def beside(felt: Sequence[Felt]) -> list[Beside]:
    """Marked places with the worst of their sudden ways, in order of travel.

    The rest has no sudden way, or parted before its place.
    """
    every = [one for one in handled(felt) if math.isfinite(after_place(one.shown, 0.0))]
    planned = [one for one in every if one.shown.event.way == "planned"]
    worst: dict[int, tuple[Handled, Handled]] = {}
    for one in every:
        if one.shown.event.way == "planned":
            continue
        if (plan := _planned_of(one, planned)) is None:
            continue
        known = worst.get(id(plan))
        if known is None or one.severity > known[1].severity:
            worst[id(plan)] = (plan, one)
    return sorted((Beside(*pair) for pair in worst.values()), key=lambda pair: pair.planned.shown.event.place)


def _planned_of(one: Handled, planned: Sequence[Handled]) -> Handled | None:
    """The planned event nearest to a sudden one of its kind; a release at once may stand where air was only set."""
    event = one.shown.event
    kinds = ("release", "air_step") if event.kind == "release" else (event.kind,)
    near = [plan for plan in planned if plan.shown.event.kind in kinds]
    return min(near, key=lambda plan: abs(plan.shown.event.place - event.place), default=None)


def felt_title(briefing: Briefing, one: Felt) -> str:
    """ "Over the crest, head at 54.3"."""
    return f"{_KINDS[one.event.kind]}, head at {place_words(briefing, one.event.place)}"


def peak_words(briefing: Briefing, name: str, most: Extreme, limit: float) -> str:
    """ "push 340, car 52, 40 over": a peak without its unit."""
    units = briefing.profile.units
    over = f", {figure_of(most.force - limit, units)} over" if most.force > limit else ""
    return f"{name} {figure_of(most.force, units)}, {vehicle_words(briefing.train, most.vehicle)}{over}"


def range_words(briefing: Briefing, one: Handled) -> str:
    """Largest pull and push, steady ones, over the states of wear, and how fast slack closes."""
    units, shown = briefing.profile.units, one.shown
    said = []
    for name, steady, found in (
        ("pull", shown.draft, [f.forces.draft.force for f in one.by_wear]),
        ("push", shown.buff, [f.forces.buff.force for f in one.by_wear]),
    ):
        low, high = figure_of(min(found), units), force_text(max(found), units)
        said.append(f"{name} {high if high.startswith(f'{low} ') else f'{low} to {high}'}")
        said[-1] += f" (steady {figure_of(steady.force, units)})"
    closes = max(f.forces.run_in.speed for f in one.by_wear)
    words = f"{', '.join(said)}, slack closes at up to {speed_text(closes, units)}"
    parted = [(f.wear, f.forces.parted) for f in one.by_wear if f.forces.parted is not None]
    if parted:
        where = (f"{vehicle_words(briefing.train, at.vehicle)} with {wear} slack" for wear, at in parted)
        words += f"; a coupling parts behind {', '.join(where)}"
    return words


def wear_words(briefing: Briefing, felt: Sequence[Felt]) -> str:
    """Which states of wear stand behind a range: "tight (2 in) to worn (12 in) slack"."""
    states = list(dict.fromkeys(f.wear for f in felt))
    slack = [max((gear.slack for gear in gears_of(briefing.train, wear)), default=None) for wear in states]
    said = [f"{wear} ({cited_text(x)})" for wear, x in zip(states, slack, strict=True) if x is not None]
    return f"{' to '.join(dict.fromkeys((said[0], said[-1])))} slack"
