"""What couplers feel in events, with gears in each state of wear, beside the steady forces."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import product

import numpy as np

from profiler.handling.events import Event
from profiler.mechanics.course import places_of
from profiler.mechanics.draft_gear import SLACK, Wear, gears_of
from profiler.mechanics.in_train import Extreme, in_train
from profiler.mechanics.pull import KNUCKLE_BREAKS
from profiler.mechanics.run import Run, run
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.transient import Transient, transient
from profiler.train import Train
from profiler.units import FloatArray


@dataclass(frozen=True, eq=False, kw_only=True)
class Felt:
    """What couplers feel in an event with gears in one state of wear; ``draft`` and ``buff`` are the steady ones.

    ``too_fast`` is how far its speed is above the limit at most, negative for below. [m/s]
    """

    event: Event
    wear: Wear
    forces: Transient
    draft: Extreme
    buff: Extreme
    too_fast: float
    draft_limit: float
    """[N]"""
    buff_limit: float
    """[N]"""

    @property
    def over_draft(self) -> bool:
        """Whether a draft passes the limit of the train."""
        return self.forces.draft.force > self.draft_limit

    @property
    def over_buff(self) -> bool:
        """Whether a buff passes the limit of the train."""
        return self.forces.buff.force > self.buff_limit

    @property
    def breaks(self) -> bool:
        """Whether the draft is one at which a typical knuckle breaks, or the coupling has parted."""
        return self.forces.parted is not None or self.forces.draft.force > KNUCKLE_BREAKS


def felt(
    train: Train, terrain: Terrain, events: Sequence[Event], wears: Sequence[Wear] = tuple(SLACK)
) -> tuple[Felt, ...]:
    """What couplers feel in events, with gears in each state of wear; event by event, on as many threads as there are
    processors."""
    gears = {wear: gears_of(train, wear) for wear in wears}
    limits = train.limits

    def one(event: Event, steady: tuple[Extreme, Extreme, float], wear: Wear) -> Felt:
        forces = transient(
            train,
            terrain,
            event.course,
            event.acts,
            gears[wear],
            head=event.head,
            speed=event.speed,
            since=event.since,
            lasts=event.lasts,
            counted=event.place,
            slack=event.slack,
            hand=event.hand,
        )
        return Felt(
            event=event,
            wear=wear,
            forces=forces,
            draft=steady[0],
            buff=steady[1],
            too_fast=steady[2],
            draft_limit=float(limits.draft),
            buff_limit=float(limits.buff),
        )

    with ThreadPoolExecutor() as pool:
        steady = list(pool.map(lambda event: _steady(train, terrain, event), events))
        pairs = product(zip(events, steady, strict=True), wears)
        return tuple(pool.map(lambda pair: one(pair[0][0], pair[0][1], pair[1]), pairs))


@dataclass(frozen=True, eq=False)
class _Part:
    """Some instants of a run."""

    time: FloatArray
    head: FloatArray
    speed: FloatArray
    effort: FloatArray
    dynamic: FloatArray
    air: FloatArray


def _steady(train: Train, terrain: Terrain, event: Event) -> tuple[Extreme, Extreme, float]:
    """The largest steady draft and buff of an event, and how far its speed is above the limit at most [m/s]."""
    done = _as_run(event)
    on = done.head >= event.place
    part = _Part(*(getattr(done, name)[on] for name in ("time", "head", "speed", "effort", "dynamic", "air")))
    forces = in_train(train, terrain, event.course, part)
    limit = np.interp(part.head, places_of(event.course), event.course.limit)
    return forces.draft, forces.buff, float((part.speed - limit).max())


def _as_run(event: Event) -> Run:
    """The event with the train as one mass."""
    until = event.since + event.lasts * 40.0
    before = run(event.course, event.acts, head=event.head, speed=event.speed, until=event.since)
    lasts = float(before.time[-1]) + event.lasts
    return run(event.course, event.acts, head=event.head, speed=event.speed, until=until, lasts=lasts)
