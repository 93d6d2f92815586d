"""Gradual and sudden handling in words: what couplers feel, place by place, and how little is known of it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from profiler.briefing.felt_words import (
    BREAKS_FIRST,
    DRAWN,
    UNSURE,
    WAYS,
    assumed_words,
    feels,
    felt_title,
    gentler_words,
    places,
)
from profiler.briefing.hand_words import hand_words
from profiler.briefing.plan import Briefing
from profiler.briefing.sudden import most_felt, parts_of
from profiler.briefing.words import vehicle_words
from profiler.mechanics.draft_gear import SIDE_BUFFERS
from profiler.train_words import force_text
from profiler.units import FloatArray
from profiler.wording import capitalised


def sudden_lines(briefing: Briefing) -> list[str]:
    """What couplers feel at each marked place as planned and suddenly, where it passes, what it stands on."""
    if not briefing.felt:
        return []
    return [
        f"what couplers feel, {assumed_words(briefing)}, steady forces stay beside; {UNSURE}:",
        *(f"  {line}" for line in place_lines(briefing)),
        f"  {_where(briefing)}",
        *(f"  {said}" for said in (*hand_words(briefing), *side_buffers(briefing))),
    ]


def place_lines(briefing: Briefing) -> Iterator[str]:
    """One line for each marked place: as planned, gentler where that hurts, and in the sudden way felt most there."""
    for place in places(briefing.felt):
        title = felt_title(briefing, place.planned.shown)
        if not place.planned.there:
            yield f"{title}: {BREAKS_FIRST}"
            continue
        line = f"{title}: as planned {feels(briefing, place.planned)}"
        if (gentler := place.gentler) is not None:
            line += f" / gentler, {gentler_words(briefing, gentler)}"
        if (worst := place.worst) is not None:
            line += f" / suddenly, {WAYS[worst.shown.event.way]}: {feels(briefing, worst)}"
        yield line


def gradual_or_sudden(briefing: Briefing) -> Iterator[tuple[str, str]]:
    """A question and its answer, of the place where a sudden hand is felt most."""
    found = [(place, worst) for place in places(briefing.felt) if (worst := place.worst) is not None]
    if not found:
        return
    place, worst = max(found, key=lambda pair: (pair[0].planned.shown.event.kind == "crest", pair[1].severity))
    planned, gentler = place.planned, place.gentler
    title = felt_title(briefing, planned.shown)
    yield (
        f"{title}: what do the couplers feel if this train is handled gradually there, and what if suddenly?",
        " ".join(
            [
                f"As planned: {feels(briefing, planned)}.",
                *([f"Gentler, {gentler_words(briefing, gentler)}."] if gentler is not None else []),
                f"Suddenly, {WAYS[worst.shown.event.way]}: {feels(briefing, worst)}.",
                f"That is with {assumed_words(briefing)}; {UNSURE}.",
                "Steady forces stay beside: they hold for tight slack and a gradual hand.",
                *(f"{capitalised(said)}." for said in hand_words(briefing)),
                *side_buffers(briefing),
            ]
        ),
    )


def _where(briefing: Briefing) -> str:
    """In which third of the train the largest forces pass: where light or long cars would be hurt."""
    said = []
    for name, sudden in (("as planned", False), ("suddenly", True)):
        most = most_felt(briefing, DRAWN, sudden=sudden)
        pull, push = (_third(briefing, x) for x in (most.draft, most.buff))
        said.append(f"{name} pull in the {pull}, push in the {push}")
    ways = "; ".join(said)
    return f"largest with {DRAWN} slack: {ways}: empties and long cars would fare worst there (information, no rule)"


def _third(briefing: Briefing, force: FloatArray) -> str:
    """ "rear third (car 52, 223 kips)"."""
    train, k = briefing.train, int(np.argmax(force))
    large = force_text(float(force[k]), briefing.profile.units)
    return f"{parts_of(train)[k]} third ({vehicle_words(train, k)}, {large})"


def side_buffers(briefing: Briefing) -> list[str]:
    """That they are left out, where there are screw couplings."""
    screwed = any(block.vehicle.coupler == "screw" for block in briefing.train.blocks)
    return [SIDE_BUFFERS] if screwed else []
