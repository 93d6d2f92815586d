"""Friction alone on a descent: the dynamic brake lost on the way, and the train stopped on the grade."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from profiler.cited import Cited
from profiler.handling.air_ledger import applied
from profiler.handling.approach import extremes_of
from profiler.handling.descent_plan import DescentPlan
from profiler.handling.holding import AirAlone
from profiler.handling.starting import starting
from profiler.handling.stopping import LONGEST, Stops
from profiler.mechanics.air import (
    COLD_AND_LEAKY,
    charged_after,
    farthest_feed,
    full_service_reduction,
    holding_reduction,
    independent_force,
)
from profiler.mechanics.air_acts import brake_force, emergency, moved
from profiler.mechanics.air_applied import air_kept
from profiler.mechanics.conditions import NOMINAL, SHOES_LOW, Conditions
from profiler.mechanics.course import FASTEST, Act, acts_of, places_of
from profiler.mechanics.motion import Course
from profiler.mechanics.run import run
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.thermal import customary_limit, speed_by_heat
from profiler.train import Train

REACTION_TIME = Cited(10, "seconds", "choice")
"""Until the crew sets more air once the dynamic brake is lost. [s]"""
EFFECTIVE_SHARE = Cited(0.5, "", "S30")
"""Custom of direct release: no greater share of full service is held on heavy grade. [-]"""
HAND_BRAKE = Cited(4600, "lbf", "S44")
"""Of one car, as that table implies: an order of size. Local rules say how many are set, and are tested. [N]"""
WATCHED = 900.0
"""A train let go on a grade is followed so long. [s]"""
CHARGED = 0.95
"""Of what the pipe lacked. [-]"""


@dataclass(frozen=True, kw_only=True)
class DynamicLost:
    """All of the dynamic brake lost: what the air ``alone`` must do, to hold the plan's speed.

    ``cool_speed`` is that at which wheels stand this reduction [m/s], NaN where none holds. Distances [m] until the
    train stands if it is lost with the head at ``head``, whence stopping takes longest, under the air of the plan, and
    the crew acts `REACTION_TIME` later: ``service``, ``emergency``, infinite for never; with weak shoes likewise.
    """

    alone: AirAlone
    cool_speed: float
    heat_limit: float
    head: float
    service: float
    emergency: float
    weak_service: float
    weak_emergency: float

    @property
    def holds(self) -> bool:
        """Whether friction alone is enough, hot or not."""
        return math.isfinite(self.alone.reduction)

    @property
    def cool(self) -> bool:
        """Whether wheels stand it."""
        return self.holds and self.alone.heat <= self.heat_limit


@dataclass(frozen=True, kw_only=True)
class Standing:
    """The train stopped on the grade, held against ``weight`` along the track [N].

    ``reduction`` keeps it at rest, infinite where full service does not [Pa]; ``independent`` is what the brakes of
    the head group hold [N]; ``retained`` is what retaining valves keep, set at high pressure on all cars of a direct
    brake, after a release from that reduction, 0 of a graduated one [N]; ``hand_brakes`` as many as hold it if each has
    `HAND_BRAKE`, ``cars`` how many there are. ``charged`` is the time until `CHARGED` of what lacks is made up,
    normally and cold or leaky [s]; ``runs`` that from the release until it passes the plan's speed with the dynamic
    brake as far as usable, infinite where that holds it [s]. ``notch`` restarts it, 0 where it rolls off by itself,
    `starting.NO_NOTCH` where none does.
    """

    weight: float
    reduction: float
    independent: float
    retained: float
    hand_brakes: int
    cars: int
    charged: tuple[float, float]
    runs: float
    notch: int

    @property
    def retainers_hold(self) -> bool:
        """Whether retaining valves alone keep it while the pipe is charged."""
        return self.retained >= self.weight

    @property
    def independent_holds(self) -> bool:
        """Whether the independent brake of the head group alone keeps it at rest."""
        return self.independent >= self.weight

    @property
    def charges_in_time(self) -> tuple[bool, bool]:
        """Whether the air is back before it is at speed again, normally, and cold or leaky."""
        return self.charged[0] <= self.runs, self.charged[1] <= self.runs


def dynamic_lost(stops: Stops, plan: DescentPlan) -> DynamicLost:
    """The dynamic brake lost on a descent, by the stops of its train on its course."""
    train, alone = stops.train, plan.alone
    head = stops.hardest(plan.descent)
    before = applied(plan.steps, head)
    full = full_service_reduction(train)

    def stands(shoes: float, *, at_once: bool) -> float:
        conditions = Conditions(shoes=shoes)
        more = (
            emergency(train, before, conditions=conditions)
            if at_once
            else moved(train, before, full, conditions=conditions)
        )
        late = np.r_[np.zeros(round(REACTION_TIME)), np.asarray(more.value)]
        acts = acts_of([Act("air", float(brake_force(train, before, conditions))), Act("air", late)])
        speed = stops.speed("service", head)
        found = extremes_of(stops.course, acts, head=head, speed=speed, until=head + LONGEST, beyond=FASTEST)
        return found.head - head if found.speed <= 0 else math.inf

    low = float(SHOES_LOW)
    return DynamicLost(
        alone=alone,
        cool_speed=speed_by_heat(train, alone.reduction) if math.isfinite(alone.reduction) else math.nan,
        heat_limit=float(customary_limit(train).power),
        head=head,
        service=stands(1.0, at_once=False),
        emergency=stands(1.0, at_once=True),
        weak_service=stands(low, at_once=False),
        weak_emergency=stands(low, at_once=True),
    )


def standings(
    train: Train, terrain: Terrain, course: Course, heads: Sequence[float], speeds: Sequence[float]
) -> tuple[Standing, ...]:
    """The train stopped with its head at places [m] where it holds speeds [m/s] otherwise, on its course."""
    notches = starting(train, terrain, head=np.array(heads, dtype=float)).notch
    return tuple(
        _standing(train, course, head, speed, int(notch))
        for head, speed, notch in zip(heads, speeds, notches, strict=True)
    )


def _retained(train: Train, reduction: float) -> float:
    """What retaining valves keep for good [N]."""
    if train.air_brake == "graduated release":
        return 0.0
    return float(air_kept(train, reduction, np.array([WATCHED]))[0])


def _standing(train: Train, course: Course, head: float, speed: float, notch: int) -> Standing:
    weight = max(-float(np.interp(head, places_of(course), course.weight)), 0.0)
    reduction = holding_reduction(train, weight)
    held = min(reduction, full_service_reduction(train))
    usable = float(train.handling.usable_dynamic)
    acts = [Act("air", float(brake_force(train, held))), moved(train, held, 0.0, conditions=NOMINAL)]
    let_go = run(course, [*acts, Act("dynamic", usable)], head=head, speed=0.0, until=head + LONGEST, lasts=WATCHED)
    fast = np.flatnonzero(let_go.speed > speed)
    time = charged_after(farthest_feed(train), CHARGED)
    return Standing(
        weight=weight,
        reduction=reduction,
        independent=independent_force(train),
        retained=_retained(train, held),
        hand_brakes=math.ceil(weight / HAND_BRAKE),
        cars=sum(b.count for b in train.blocks if b.vehicle.kind == "car"),
        charged=(time, float(COLD_AND_LEAKY) * time),
        runs=float(let_go.time[fast[0]]) if fast.size else math.inf,
        notch=notch,
    )
