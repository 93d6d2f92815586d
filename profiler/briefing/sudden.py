"""What couplers feel at the marked places of a plan, handled gradually and suddenly; worked out when asked for."""

from __future__ import annotations

from dataclasses import replace

from profiler.briefing.plan import Briefing
from profiler.handling.events import Felt, felt, planned_events, start_events, sudden_events
from profiler.handling.straddles import sags, train_straddles
from profiler.mechanics.curving import Worst, in_curves


def felt_along(briefing: Briefing) -> tuple[Felt, ...]:
    """What couplers feel at every marked place of a plan, as planned and in every sudden way, in each state of wear.

    Crests, movements of the brake valve, sags and starts, in order of travel; nothing of a unit on its own.
    """
    train, terrain = briefing.train, briefing.terrain
    if train.vehicles < 2:
        return ()
    astride = sags(terrain, train_straddles(train, terrain, briefing.landmarks.items))
    events = [
        *planned_events(train, briefing.line, briefing.journey, astride),
        *sudden_events(train, briefing.line, briefing.journey),
        *(event for _, start in briefing.sequences for event in start_events(train, terrain, start)),
    ]
    return felt(train, terrain, sorted(events, key=lambda event: event.place))


def with_felt(briefing: Briefing) -> Briefing:
    """The briefing with what couplers feel at its marked places."""
    return replace(briefing, felt=felt_along(briefing))


def worst_in_curves(briefing: Briefing, one: Felt) -> Worst | None:
    """The vehicle worst off in a curve in an event, from its place on; None on straight track."""
    forces, curvature = one.forces, briefing.as_travelled[0].route.curvature
    on = forces.head >= one.event.place
    if not on.any():
        return None
    counted = replace(
        forces, time=forces.time[on], head=forces.head[on], speed=forces.speed[on], force=forces.force[on]
    )
    curving = in_curves(briefing.train, counted, briefing.terrain.way, curvature)
    found = [worst for worst in (curving.worst("inward"), curving.worst("outward")) if worst is not None]
    return max(found, key=lambda worst: worst.ratio, default=None)
