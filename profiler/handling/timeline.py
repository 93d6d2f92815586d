"""What a crew does over a crest, in seconds: power off notch by notch, a pause, slack bunched, dynamic brake set up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from profiler.cited import Cited
from profiler.handling.descents import Descent
from profiler.handling.staircase import AirStep
from profiler.mechanics.air_acts import moved
from profiler.mechanics.conditions import NOMINAL, Conditions
from profiler.mechanics.course import Act
from profiler.mechanics.motion import FREE
from profiler.mechanics.traction import notches_of
from profiler.train import Train

BUNCHING_SHARE, BUNCHING_TIME = Cited(0.15, "", "choice"), Cited(10, "seconds", "choice")
"""Slack is bunched by so much of the dynamic brake [-], set up in, and then held for, this time [s]."""
SETTING_TIME = Cited(30, "seconds", "choice")
"""From there to all of it that is used. [s]"""


@dataclass(frozen=True, kw_only=True)
class Timeline:
    """Seconds from the first notch off: ``idle``, ``dynamic`` begins, ``bunched``, ``full`` of what is used; from
    ``notches``. Without a dynamic brake all of it ends at idle."""

    notches: int
    notch_time: float
    idle: float
    dynamic: float
    bunched: float
    full: float

    @property
    def throttle(self) -> tuple[float, ...]:
        """Notches over time at steps of ``notch_time``."""
        return tuple(float(n) for n in range(self.notches, -1, -1))


def timeline(train: Train, notches: int) -> Timeline:
    """How long it takes a crew from a notch to the dynamic brake."""
    notch_time, pause = float(train.handling.notch_time), float(train.handling.pause)
    idle = notches * notch_time
    brakes = any(b.working and b.vehicle.dynamic is not None for b in train.blocks)
    if not brakes:
        return Timeline(notches=notches, notch_time=notch_time, idle=idle, dynamic=idle, bunched=idle, full=idle)
    begins = idle + pause
    bunched = begins + 2 * BUNCHING_TIME
    full = bunched + SETTING_TIME
    return Timeline(
        notches=notches, notch_time=notch_time, idle=idle, dynamic=begins, bunched=float(bunched), full=float(full)
    )


def slower(line: Timeline, notches: float, brake: float) -> Timeline:
    """The same with so many times the time from notch to notch, and to set the dynamic brake up; the pause stays."""
    idle = line.idle * notches
    dynamic = idle + line.dynamic - line.idle
    bunched = dynamic + brake * (line.bunched - line.dynamic)
    return Timeline(
        notches=line.notches,
        notch_time=line.notch_time * notches,
        idle=idle,
        dynamic=dynamic,
        bunched=bunched,
        full=bunched + brake * (line.full - line.bunched),
    )


def unhurried(train: Train) -> tuple[float, float]:
    """How much of all its effort, and of all its dynamic brake, a crew adds or takes off per second that goes from
    notch to notch in its time and sets the brake up as over a crest. [1/s]"""
    top = len(notches_of(train)) - 1
    setting = (train.handling.usable_dynamic - BUNCHING_SHARE) / SETTING_TIME
    return 1 / (top * float(train.handling.notch_time)), float(max(BUNCHING_SHARE / BUNCHING_TIME, setting))


def power_off_acts(line: Timeline, share: float, at: float) -> list[Act]:
    """The timeline begun as the head passes a place [m], up to a share of the dynamic brake [-]."""
    throttle = Act("notch", line.throttle if line.notches else 0.0, at=at, step=line.notch_time)
    if line.full == line.idle:
        return [throttle]
    time = np.arange(np.ceil(line.full) + 1)
    bunch = line.dynamic + float(BUNCHING_TIME)
    set_up = np.interp(
        time, [line.dynamic, bunch, line.bunched, line.full], [0.0, BUNCHING_SHARE, BUNCHING_SHARE, share]
    )
    return [throttle, Act("dynamic", set_up, at=at)]


def idling_acts(share: float, at: float = 0.0) -> list[Act]:
    """Power off, and a share of the dynamic brake [-] set up, from a place on [m]."""
    return [Act("notch", 0.0, at=at), Act("dynamic", share, at=at)]


def air_acts(train: Train, steps: Sequence[AirStep], conditions: Conditions = NOMINAL) -> list[Act]:
    """Movements of the brake valve as acts of a run."""
    return [moved(train, s.before, s.after, at=s.at, conditions=conditions) for s in steps]


def cruising_acts(train: Train, top_notch: int, at: float = -np.inf) -> list[Act]:
    """Speeds held by power and by the dynamic brake as far as usable, from a place on [m]."""
    return [
        Act("hold", FREE, at=at),
        Act("notch", float(top_notch), at=at),
        Act("dynamic", float(train.handling.usable_dynamic), at=at),
    ]


def after_acts(train: Train, descent: Descent, top_notch: int) -> list[Act]:
    """Past a descent: power again, notch by notch."""
    notches = np.arange(top_notch + 1.0)
    return [Act("notch", notches, at=descent.end, step=float(train.handling.notch_time))]
