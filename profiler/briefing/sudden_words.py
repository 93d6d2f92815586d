"""Gradual and sudden handling in words: what couplers feel, place by place, and how little is known of it."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from profiler.briefing.felt_words import WAYS, Handled, beside, felt_title, handled
from profiler.briefing.plan import Briefing
from profiler.briefing.sudden import after_place, most_felt, parts_of
from profiler.briefing.words import figure_of, place_words, vehicle_words
from profiler.handling.events import Felt
from profiler.mechanics.draft_gear import SIDE_BUFFERS, SLACK, Wear, gears_of
from profiler.mechanics.transient import UNFELT
from profiler.train_words import force_text, speed_text
from profiler.units import UNITS, FloatArray

UNSURE = "slack and draft gears, which nobody knows, decide more than anything else"
BREAKS_FIRST = "a coupling breaks before the head is there: what the climb takes is too much, however it is handled"


def sudden_lines(briefing: Briefing) -> list[str]:
    """What couplers feel at each marked place as planned and suddenly, where it passes, what it stands on."""
    if not briefing.felt:
        return []
    return [
        f"what couplers feel, {_assumed(briefing)}, steady forces stay beside; {UNSURE}:",
        *(f"  {line}" for line in place_lines(briefing)),
        f"  {_where(briefing)}",
        *(f"  {said}" for said in _side_buffers(briefing)),
    ]


def place_lines(briefing: Briefing) -> Iterator[str]:
    """One line for each marked place: as planned, and in the sudden way that is felt most there."""
    sudden = {id(pair.planned.shown.event): pair.suddenly for pair in beside(briefing.felt)}
    for one in handled(briefing.felt):
        event = one.shown.event
        if event.way != "planned":
            continue
        if math.isnan(after_place(one.shown, 0.0)):
            yield f"{felt_title(briefing, one.shown)}: {BREAKS_FIRST}"
            continue
        line = f"{felt_title(briefing, one.shown)}: as planned {_feels(briefing, one)}"
        if (other := sudden.get(id(event))) is not None:
            line += f" / suddenly, {WAYS[other.shown.event.way]}: {_feels(briefing, other)}"
        yield line


def gradual_or_sudden(briefing: Briefing) -> Iterator[tuple[str, str]]:
    """A question and its answer, of the place where a sudden hand is felt most."""
    pairs = beside(briefing.felt)
    if not pairs:
        return
    worst = max(pairs, key=lambda pair: (pair.planned.shown.event.kind == "crest", pair.suddenly.severity))
    title = felt_title(briefing, worst.planned.shown)
    yield (
        f"{title}: what do the couplers feel if this train is handled gradually there, and what if suddenly?",
        " ".join(
            [
                f"As planned: {_feels(briefing, worst.planned)}.",
                f"Suddenly, {WAYS[worst.suddenly.shown.event.way]}: {_feels(briefing, worst.suddenly)}.",
                f"That is with {_assumed(briefing)}; {UNSURE}.",
                "Steady forces stay beside: they hold for tight slack and a gradual hand.",
                *_side_buffers(briefing),
            ]
        ),
    )


def _feels(briefing: Briefing, one: Handled) -> str:
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
            words += f" behind {vehicle_words(briefing.train, peak.vehicle)}"
            words += f", {figure_of(peak.force - limit, units)} over its limit"
        said.append(words)
    closes = max(f.forces.run_in.speed for f in one.by_wear)
    said.append(f"slack closes at up to {speed_text(closes, units)}")
    return ", ".join(said) + _breaks(briefing, one)


def _breaks(briefing: Briefing, one: Handled) -> str:
    """In which states of wear a coupling breaks, and where in the train in the first of them."""
    broken: list[Felt] = [f for f in one.by_wear if f.breaks]
    if not broken:
        return ""
    first = broken[0].forces
    at = first.parted or first.draft
    wears = " and ".join([", ".join(f.wear for f in broken[:-1]), broken[-1].wear] if broken[1:] else [broken[0].wear])
    where = f"{vehicle_words(briefing.train, at.vehicle)}, head at {place_words(briefing, at.head, decimals=2)}"
    return f"; with {wears} slack a coupling breaks behind {where}"


def _assumed(briefing: Briefing) -> str:
    """ "usual slack, 6 in a coupling, in brackets tight to worn, 2 to 12 in"."""
    tight, *_, worn = SLACK
    return (
        f"usual slack assumed, {_slack(briefing, 'usual')} a coupling, in brackets {tight} to {worn}, "
        f"{_slack(briefing, tight).split()[0]} to {_slack(briefing, worn)}"
    )


def _slack(briefing: Briefing, wear: Wear) -> str:
    """Free slack of the loosest coupling."""
    most = max(float(gear.slack) for gear in gears_of(briefing.train, wear))
    return f"{most / UNITS['in']:.2g} in" if briefing.profile.units == "us" else f"{most * 1000:.0f} mm"


def _where(briefing: Briefing) -> str:
    """In which third of the train the largest forces pass: where light or long cars would be hurt."""
    said = []
    for name, sudden in (("as planned", False), ("suddenly", True)):
        most = most_felt(briefing, "usual", sudden=sudden)
        pull, push = (_third(briefing, x) for x in (most.draft, most.buff))
        said.append(f"{name} pull in the {pull}, push in the {push}")
    ways = "; ".join(said)
    return f"largest with usual slack: {ways}: empties and long cars would fare worst there (information, no rule)"


def _third(briefing: Briefing, force: FloatArray) -> str:
    """ "rear third (car 52, 223 kips)"."""
    train, k = briefing.train, int(np.argmax(force))
    large = force_text(float(force[k]), briefing.profile.units)
    return f"{parts_of(train)[k]} third ({vehicle_words(train, k)}, {large})"


def _side_buffers(briefing: Briefing) -> list[str]:
    screwed = any(block.vehicle.coupler == "screw" for block in briefing.train.blocks)
    return [SIDE_BUFFERS] if screwed else []
