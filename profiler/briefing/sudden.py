"""What couplers feel at the marked places of a plan, handled gradually and suddenly; worked out when asked for."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from profiler.briefing.plan import Briefing, plan_handling
from profiler.cited import Cited
from profiler.handling.events import Event, gentler_events, planned_events, start_events, sudden_events
from profiler.handling.felt import Felt, felt
from profiler.handling.hands import SLOWER_HANDS, Hand, hand_of
from profiler.handling.straddles import sags, train_straddles
from profiler.mechanics.couplers import vehicles_of
from profiler.mechanics.curving import InCurves, in_curves
from profiler.mechanics.draft_gear import Wear
from profiler.train import Train
from profiler.units import FloatArray

PARTS = ("head", "middle", "rear")


def felt_along(briefing: Briefing) -> tuple[Felt, ...]:
    """What couplers feel at every marked place of a plan, as planned and in every sudden way, in each state of wear.

    Crests, movements of the brake valve, sags and starts, in order of travel; nothing of a unit on its own.
    """
    train, terrain = briefing.train, briefing.terrain
    if train.vehicles < 2:
        return ()
    events = [
        *_as_planned(briefing),
        *gentler_events(train, briefing.line, briefing.journey),
        *sudden_events(train, briefing.line, briefing.journey),
        *(event for _, start in briefing.sequences for event in start_events(train, terrain, start)),
    ]
    return felt(train, terrain, sorted(events, key=lambda event: event.place))


def with_felt(briefing: Briefing) -> Briefing:
    """The briefing with what couplers feel at its marked places, and with a slower hand where it breaks some."""
    along = felt_along(briefing)
    own = hand_of(float(briefing.train.handling.notch_time), along, len(briefing.journey.stalls))
    hands = () if own.whole else (own, *_slower_hands(briefing))
    return replace(briefing, felt=along, hands=hands)


def _as_planned(briefing: Briefing) -> tuple[Event, ...]:
    """The marked places of a plan, handled as planned; starts stand apart."""
    train, terrain = briefing.train, briefing.terrain
    astride = sags(terrain, train_straddles(train, terrain, briefing.landmarks.items))
    return planned_events(train, briefing.line, briefing.journey, astride)


def _slower_hands(briefing: Briefing) -> Iterator[Hand]:
    """The plan made again for slower hands, until no coupling breaks."""
    train = briefing.train
    for times in SLOWER_HANDS:
        notch_time = float(times * train.handling.notch_time)
        slow = replace(train, handling=replace(train.handling, notch_time=Cited(notch_time, "seconds", "calc")))
        again = plan_handling(briefing.profile, briefing.landmarks, slow, briefing.direction)
        hand = hand_of(notch_time, felt(slow, again.terrain, _as_planned(again)), len(again.journey.stalls))
        yield hand
        if hand.whole:
            return


def curves_of(briefing: Briefing, one: Felt) -> InCurves | None:
    """What an event does in curves from its place on; None where the train parts before it."""
    forces, curvature = one.forces, briefing.as_travelled[0].route.curvature
    on = forces.head >= one.event.place
    if not on.any():
        return None
    counted = replace(
        forces, time=forces.time[on], head=forces.head[on], speed=forces.speed[on], force=forces.force[on]
    )
    return in_curves(briefing.train, counted, briefing.terrain.way, curvature)


def after_place(one: Felt, time: float) -> float:
    """A time of an event [s] as one since its act began; NaN where the train parts before that."""
    if one.event.kind == "start":
        return time
    head, told, place = one.forces.head, one.forces.time, one.event.place
    reached = np.flatnonzero(head >= place)
    if not reached.size:
        return math.nan
    near = slice(max(int(reached[0]) - 1, 0), int(reached[0]) + 1)  # it may stop later and roll back over its place
    return time - float(np.interp(place, head[near], told[near]))


def parts_of(train: Train) -> list[str]:
    """In which third of the train by length the middle of each vehicle is: "head", "middle", "rear"."""
    edge = vehicles_of(train).edge
    return [PARTS[min(int(3 * middle / edge[-1]), 2)] for middle in (edge[1:] + edge[:-1]) / 2]


@dataclass(frozen=True, eq=False)
class MostFelt:
    """The largest forces at either end of every vehicle over events of one state of wear: arrays (v,).

    ``draft`` and ``buff`` [N], ``ratio`` lateral over vertical of a truck in curves [-].
    """

    draft: FloatArray
    buff: FloatArray
    ratio: FloatArray


def most_felt(briefing: Briefing, wear: Wear, *, sudden: bool) -> MostFelt:
    """Where in the train the largest forces pass, as planned or suddenly; the train parting before a place is left out.

    Every half second the force of largest size counts.
    """
    most = np.zeros((3, briefing.train.vehicles))
    for one in briefing.felt:
        if one.wear != wear or one.event.way == "gentler" or one.event.sudden != sudden:
            continue
        found = curves_of(briefing, one)
        if found is not None:
            each = (found.draft, found.buff, np.maximum(found.inward, found.outward))
            most = np.maximum(most, [x.max(axis=0) for x in each])
    return MostFelt(*most)
