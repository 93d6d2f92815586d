"""Acts of the train air: what a movement of the brake valve does to the brake force of the train over time."""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

import numpy as np

from profiler.mechanics.air import (
    RELEASE_TIME,
    farthest_feed,
    feed_distances,
    full_service_forces,
    released_after,
    service_share,
    still_applied,
)
from profiler.mechanics.air_applied import built_up_after, car_forces, emergency_share, filled
from profiler.mechanics.conditions import NOMINAL, Conditions
from profiler.mechanics.course import Act
from profiler.train import Train
from profiler.units import FloatArray

BUILT = 0.8
"""An application is reckoned with once so much of it is there. [-]"""
TABLED = 300.0
"""What an act does over time is tabled so long, each second; after that all of it is done. [s]"""


def brake_force(train: Train, reduction: float | FloatArray, conditions: Conditions = NOMINAL) -> FloatArray:
    """Retarding force of the cars under a reduction [Pa], all cylinders filled, friction as reckoned with. [N]"""
    share = service_share(train, reduction, low=conditions.low)
    return np.asarray(conditions.shoes * share * full_service_forces(train).sum())


def moved(
    train: Train, before: float, after: float, *, at: float = -np.inf, over: float = np.inf, conditions: Conditions
) -> Act:
    """The reduction changed from one to another [Pa] as the head passes a place [m], or ``over`` as in `Act`.

    A direct brake that gets a lesser reduction releases, and sets the lesser anew.
    """
    gain = float(brake_force(train, after, conditions) - brake_force(train, before, conditions))
    return _moving(gain, _done(train, "release" if after < before else "application"), at, over)


def _moving(gain: float, cars: FloatArray, at: float, over: float = np.inf) -> Act:
    """A movement that gives a force [N], done by every vehicle (t, v) [-] each second."""
    return Act("air", np.append(gain * cars[:-1].sum(axis=1), gain), at=at, over=over, cars=cars)


@lru_cache(maxsize=32)
def _done(train: Train, kind: Literal["application", "release", "emergency"]) -> FloatArray:
    """Part of a movement that every vehicle has done (t, v), each second until nearly all of it is, then all of it: a
    train's own, whatever is moved."""
    time, distance = np.arange(0.0, TABLED), feed_distances(train)
    if kind == "release":
        done = 1.0 - still_applied(train, distance, time)
    else:
        done = filled(train, distance, time, emergency=kind == "emergency")
    part = car_forces(train) / (car_forces(train).sum() or 1.0)
    enough = np.searchsorted(done @ part, 0.999)
    return np.vstack([done[:enough] * part, part])


def emergency(train: Train, before: float = 0.0, *, at: float = -np.inf, conditions: Conditions = NOMINAL) -> Act:
    """An emergency application on top of a reduction [Pa] as the head passes a place [m]."""
    full = conditions.shoes * emergency_share(train) * full_service_forces(train).sum()
    gain = max(float(full) - float(brake_force(train, before, conditions)), 0.0)
    return _moving(gain, _done(train, "emergency"), at)


@lru_cache(maxsize=32)
def lead_time(train: Train) -> float:
    """Time [s] by which the valve is moved before the brake is needed."""
    return built_up_after(train, BUILT)


def ease_time(train: Train) -> float:
    """Time [s] that passes until the rear has let go: all of a graduated step, 95 % of a direct release."""
    if train.air_brake == "graduated release":
        return float(RELEASE_TIME[train.brake_position])
    return released_after(train, farthest_feed(train), 0.95)
