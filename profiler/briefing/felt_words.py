"""What couplers feel at marked places in words, and which other handling stands beside the planned one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from profiler.briefing.forces_words import over_words
from profiler.briefing.plan import Briefing
from profiler.briefing.sudden import after_place
from profiler.briefing.words import figure_of, place_words, vehicle_words
from profiler.handling.events import (
    AT_ONCE,
    CUT,
    GENTLER_BRAKE,
    GENTLER_NOTCHES,
    NOTCH_SUDDEN,
    SUDDEN,
    Kind,
    Way,
)
from profiler.handling.felt import Felt
from profiler.mechanics.draft_gear import SLACK, Wear, gears_of
from profiler.mechanics.in_train import Extreme
from profiler.mechanics.transient import UNFELT
from profiler.train_words import force_text, speed_text
from profiler.units import MPH, UNITS

DRAWN: Wear = "usual"
"""The state of wear that stands for all where one is told or drawn."""
FASTER = 0.5 * MPH
"""Less above a limit is not told. [m/s]"""
STANDS = 0.1
"""A slower train stands. [m/s]"""
UNSURE = "slack and draft gears, which nobody knows, decide more than anything else"
BREAKS_FIRST = "a coupling breaks before the head is there: what the climb takes is too much, however it is handled"
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
    "gentler": f"begun sooner, {GENTLER_NOTCHES:g} times the time for the throttle, {GENTLER_BRAKE:g} for the brake",
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
    def there(self) -> bool:
        """Whether the train comes to its place in that state, and does not part before."""
        return math.isfinite(after_place(self.shown, 0.0))

    @property
    def broken(self) -> list[Felt]:
        """States of wear in which a coupling breaks."""
        return [one for one in self.by_wear if one.breaks]

    @property
    def hurts(self) -> bool:
        """Whether a force passes its limit, or a coupling breaks, in any state of wear."""
        return any(one.over_draft or one.over_buff or one.breaks for one in self.by_wear)

    @property
    def severity(self) -> float:
        """The largest force over its limit, in the state of wear that stands for all. [-]"""
        one = self.shown
        return max(one.forces.draft.force / one.draft_limit, one.forces.buff.force / one.buff_limit)


@dataclass(frozen=True, eq=False)
class Place:
    """A marked place handled as planned, and in other ways, sudden or gentler."""

    planned: Handled
    others: tuple[Handled, ...]

    @property
    def worst(self) -> Handled | None:
        """The sudden way that is felt most; None where there is none, or the train parts before."""
        there = [one for one in self.others if one.there and one.shown.event.sudden]
        return max(there, key=lambda one: one.severity) if there and self.planned.there else None

    @property
    def gentler(self) -> Handled | None:
        """With a gentler hand; None where there is none, or the plan hurts nothing in any state of wear."""
        slow = next((one for one in self.others if one.shown.event.way == "gentler"), None)
        return slow if self.planned.there and self.planned.hurts else None


def handled(felt: Sequence[Felt]) -> list[Handled]:
    """All states of wear of an event together, in the order of events."""
    found: dict[int, list[Felt]] = {}
    for one in felt:
        found.setdefault(id(one.event), []).append(one)
    return [Handled(tuple(some)) for some in found.values()]


def places(felt: Sequence[Felt]) -> list[Place]:
    """Marked places in order of travel, each other event with the planned one that it stands beside."""
    every = handled(felt)
    planned = [one for one in every if one.shown.event.way == "planned"]
    others: dict[int, list[Handled]] = {id(plan): [] for plan in planned}
    for one in every:
        if one.shown.event.way != "planned" and (plan := _planned_of(one, planned)) is not None:
            others[id(plan)].append(one)
    return [Place(plan, tuple(others[id(plan)])) for plan in planned]


def _planned_of(one: Handled, planned: Sequence[Handled]) -> Handled | None:
    """The planned event nearest to another of its kind; a release at once may stand where air was only set."""
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


def feels(briefing: Briefing, one: Handled) -> str:
    """ "pull 194 (194 to 258, steady 196) kips, push 223 (106 to 326, steady 65) kips behind car 52, 23 over its…"."""
    units, shown = briefing.profile.units, one.shown
    unit = force_text(0.0, units).rpartition(" ")[2]
    said = []
    for name, most, steady, limit in (
        ("pull", "draft", shown.draft, shown.draft_limit),
        ("push", "buff", shown.buff, shown.buff_limit),
    ):
        peak = getattr(shown.forces, most)
        every = [getattr(f.forces, most).force for f in one.by_wear]
        if max(every) < UNFELT:
            continue
        figure, low, high = (figure_of(force, units) for force in (peak.force, min(every), max(every)))
        spread = f"{low} to {high}, " if low != high else ""
        words = f"{name} {figure} ({spread}steady {figure_of(steady.force, units)}) {unit}"
        if peak.force > limit:
            words += f" behind {vehicle_words(briefing.train, peak.vehicle)}{over_words(peak, limit, units)}"
        said.append(words)
    closes = max(f.forces.run_in.speed for f in one.by_wear)
    said.append(f"slack closes at up to {speed_text(closes, units)}")
    breaks = f"; {breaks_words(briefing, one)}" if one.broken else ""
    return ", ".join(said) + breaks


def gentler_words(briefing: Briefing, one: Handled) -> str:
    """ "begun sooner, …, from 54.2: pull 194 …": what a gentler hand is felt as, whether it stalls, is too fast."""
    return "; ".join((f"{way_words(briefing, one)}: {feels(briefing, one)}", *ends_words(briefing, one)))


def way_words(briefing: Briefing, one: Handled) -> str:
    """How a place is handled, and from where on a gentler hand begins."""
    event = one.shown.event
    begins = f", from {place_words(briefing, event.place)}" if event.way == "gentler" else ""
    return f"{WAYS[event.way]}{begins}"


def ends_words(briefing: Briefing, one: Handled) -> list[str]:
    """Whether the train comes to a stand, or gets faster than its limit."""
    fast, forces, starts = one.shown.too_fast, one.shown.forces, one.shown.event.kind == "start"
    stands = forces.parted is None and not starts and forces.speed.min() < STANDS
    said = ["the train comes to a stand"] if stands else []
    return said + ([f"faster than the limit by {speed_text(fast, briefing.profile.units)}"] if fast > FASTER else [])


def breaks_words(briefing: Briefing, one: Handled) -> str:
    """In which states of wear a coupling breaks, and where in the train in the first of them; "" in none."""
    if not one.there:
        return BREAKS_FIRST
    if not one.broken:
        return ""
    first = one.broken[0].forces
    at = first.parted or first.draft
    where = f"{vehicle_words(briefing.train, at.vehicle)}, head at {place_words(briefing, at.head, decimals=2)}"
    return f"with {wears_words(one)} slack a coupling breaks behind {where}"


def wears_words(one: Handled) -> str:
    """ "tight, usual and worn": states in which a coupling breaks."""
    *others, last = (f.wear for f in one.broken)
    return " and ".join([", ".join(others), last] if others else [last])


def assumed_words(briefing: Briefing) -> str:
    """ "usual slack assumed, 6 in a coupling, in brackets tight to worn, 2 to 12 in"."""
    return f"usual slack assumed, {_slack(briefing, DRAWN)} a coupling, in brackets {range_words(briefing)}"


def range_words(briefing: Briefing) -> str:
    """Which states of wear stand behind a range: "tight to worn, 2 to 12 in"."""
    tight, *_, worn = SLACK
    return f"{tight} to {worn}, {_slack(briefing, tight).split()[0]} to {_slack(briefing, worn)}"


def _slack(briefing: Briefing, wear: Wear) -> str:
    """Free slack of the loosest coupling."""
    most = max(float(gear.slack) for gear in gears_of(briefing.train, wear))
    return f"{most / UNITS['in']:.2g} in" if briefing.profile.units == "us" else f"{most * 1000:.0f} mm"
