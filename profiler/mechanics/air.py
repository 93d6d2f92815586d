"""Train air: what the cars' brakes hold, how they let go, and how long the pipe takes to be charged again.

Forces are those of cars; locomotives have their independent brake. What is applied while a train runs, over time
and again and again, is in `air_applied`.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from profiler.cited import Cited
from profiler.mechanics.resistance import vehicle_coefficients
from profiler.train import Train
from profiler.units import GRAVITY, KILOMETRE, KMH, TONNE, FloatArray
from profiler.vehicle import Vehicle

CYLINDER_RATIO = Cited(2.5, "", "M4")
"""Cylinder pressure over reduction, direct release. [-]"""
QUICK_SERVICE = Cited(10, "psi", "M4")
"""Least cylinder pressure of any reduction. [Pa]"""
EQUALISATION = Cited(1.4, "", "calc")
"""Charged pipe over cylinder pressure at full service: 1 + 1/2.5. [-]"""
RATED_PRESSURE = Cited(90 / 1.4, "psi", "calc")
"""Cylinder pressure at which braking ratios are measured: full service from 90 psi. [Pa]"""
LEAST_REDUCTION = Cited(7, "psi", "S27")
"""Smallest reduction, 6 to 8 psi. [Pa]"""
LOW_SLOPE, LOW_OFFSET = Cited(3.25, "", "mem"), Cited(14.7, "psi", "mem")
"""Cylinder pressure from absolute pressures, the cylinder empty at first: 3.25·r − 14.7 psi, the low case."""
SHOE_FRICTION = Cited(0.30, "", "mem")
"""Of composition shoes at 20 to 40 mph; at rest it is higher. [-]"""
FADES_FROM, FADED_AT, FADED = Cited(40, "mph", "mem"), Cited(70, "mph", "mem"), Cited(0.25, "", "mem")
"""Composition shoes: friction falls from that speed, and to that much at the other, evenly between (our choice)."""

FULL_STEP, FIRST_STEP, LATER_STEP = Cited(1.5, "bar", "mem"), Cited(0.5, "bar", "mem"), Cited(0.1, "bar", "mem")
"""Graduated release: full service, the first step, and those that follow. [Pa]"""
STOP_FROM, FAST_STOP_FROM = Cited(100, "kmh", "M8"), Cited(120, "kmh", "M8")
"""Speeds from which braked weights are rated. [m/s]"""
STOP_CONSTANTS: dict[float, tuple[Cited, Cited]] = {
    STOP_FROM: (Cited(52_840, "m", "M8"), Cited(10, "pct", "M8")),
    FAST_STOP_FROM: (Cited(61_300, "m", "M8"), Cited(8.9, "pct", "M8")),
}
"""C and D of the stopping distance on the level, s = C/(λ + D), λ in per cent (UIC 544-1)."""
STOP_DELAY = Cited(2, "seconds", "mem")
"""Half the time the cylinders take to fill in position P. [s]"""

PROPAGATION = {"direct release": Cited(0.6 * 165, "m_s", "choice"), "graduated release": Cited(150, "m_s", "choice")}
"""Speed at which a release goes along the pipe. [m/s]"""
RELEASE_NEAR, RELEASE_FAR = Cited(8, "seconds", "choice"), Cited(12, "seconds", "choice")
"""Time constant of a direct release: near a feeding point, and more for every kilometre from it. [s]"""
RELEASE_TIME = {"P": Cited(18, "seconds", "mem"), "G": Cited(52, "seconds", "mem")}
"""Graduated release, from full to none. [s]"""
CHARGE_LEAST, CHARGE_FAR, CHARGE_POWER = (
    Cited(15, "seconds", "choice"),
    Cited(60, "seconds", "choice"),
    Cited(1.6, "", "choice"),
)
"""Time constant of charging: at least, at a kilometre from the feeding point, and how it grows with distance."""
COLD_AND_LEAKY = Cited(2, "", "choice")
"""What a cold or leaky train takes over the normal time; both are always told. [-]"""


def rated_stop(braked_weight: float, speed: float = STOP_FROM) -> float:
    """Stopping distance [m] on the level from one of the speeds of `STOP_CONSTANTS` [m/s], by UIC 544-1.

    Of a braked weight over weight [-]. KeyError if there are no constants for the speed.
    """
    constant, offset = STOP_CONSTANTS[speed]
    return float(constant / (100 * (braked_weight + offset)))


def braked_retardation(braked_weight: float, speed: float = STOP_FROM) -> float:
    """Retardation [m/s²] that a braked weight over weight [-] stands for, brakes fully applied.

    From the stopping distance of UIC 544-1, its free run taken out: v²/(2(s − v·t)).
    """
    return float(speed**2 / (2 * (rated_stop(braked_weight, speed) - speed * STOP_DELAY)))


def cast_iron_friction(speed: npt.ArrayLike, shoe_force: float) -> FloatArray:
    """Friction [-] of cast-iron shoes over speed [m/s], each pressed with a force [N].

    0.6·(16 F + 100)/(80 F + 100)·(V + 100)/(5 V + 100), F tonnes-force, V km/h (Karwatzki, from memory).
    """
    v, f = np.asarray(speed, dtype=float) / KMH, shoe_force / (TONNE * GRAVITY)
    return 0.6 * (16 * f + 100) / (80 * f + 100) * (v + 100) / (5 * v + 100)


def composition_friction(speed: npt.ArrayLike) -> FloatArray:
    """Friction [-] of composition shoes over speed [m/s]: even to 40 mph, less beyond."""
    v = np.asarray(speed, dtype=float)
    return SHOE_FRICTION + (FADED - SHOE_FRICTION) * np.maximum(v - FADES_FROM, 0.0) / (FADED_AT - FADES_FROM)


def friction_factor(vehicle: Vehicle, speed: npt.ArrayLike) -> FloatArray:
    """Shoe friction of a car over speed [m/s], over what its full service is reckoned with. [-]

    With a braking ratio over `SHOE_FRICTION`, cast-iron shoes one to a wheel. With a braked weight, which is rated by
    stops from 100 km/h: composition shoes likewise; cast iron over the even friction that stops in the same distance,
    v²/2 divided by ∫v/φ dv, φ = (V + 100)/(5 V + 100). Carrying a braked weight to other speeds is our choice.
    """
    brake = vehicle.brake
    if brake.shoe == "composition":
        return composition_friction(speed) / SHOE_FRICTION
    if brake.braking_ratio is not None:
        each = brake.braking_ratio * vehicle.mass * GRAVITY / (2 * vehicle.axles)
        return cast_iron_friction(speed, each) / SHOE_FRICTION
    rated = 5000 / (40_000 * math.log(2) - 15_000)
    v = np.asarray(speed, dtype=float) / KMH
    return (v + 100) / (5 * v + 100) / rated


def full_service_force(vehicle: Vehicle) -> float:
    """Retarding force of one car at full service, all its brakes working; 0 of a locomotive. [N]"""
    brake = vehicle.brake
    if vehicle.kind != "car":
        return 0.0
    if brake.braking_ratio is not None:
        return float(brake.braking_ratio * vehicle.mass * GRAVITY * SHOE_FRICTION)
    if brake.braked_weight is not None:
        rolling = float(vehicle_coefficients(vehicle)(STOP_FROM / 2))  # what slows the train without its brake
        return vehicle.mass * vehicle.rotating * braked_retardation(brake.braked_weight) - rolling
    return 0.0


def ratio_as_loaded(ratio: float, mass: float, other_mass: float, *, empty_load: float = 1.0) -> float:
    """Braking ratio [-] of a car at another mass [kg]: the shoes press as before.

    ``empty_load`` is the shoe force at the other mass over that at the first; 1 of single-capacity brakes.
    """
    return ratio * mass / other_mass * empty_load


def full_service_forces(train: Train) -> FloatArray:
    """Retarding force of the cars of each block at full service, those cut out left out. [N], shape (blocks,)"""
    return np.array([b.count * b.vehicle.brake.operative * full_service_force(b.vehicle) for b in train.blocks])


def cylinder_pressure(reduction: npt.ArrayLike, pipe: float, *, low: bool = False) -> FloatArray:
    """Cylinder pressure [Pa] of a direct release after a reduction [Pa] of a pipe charged to a pressure [Pa].

    min(max(p_qs, 2.5·r), P/1.4), nothing without a reduction; ``low``: from absolute pressures, 3.25·r − 14.7 psi
    where that is less.
    """
    r = np.asarray(reduction, dtype=float)
    rising = CYLINDER_RATIO * r
    if low:
        rising = np.minimum(rising, LOW_SLOPE * r - LOW_OFFSET)
    return np.where(r > 0, np.minimum(np.maximum(rising, QUICK_SERVICE), pipe / EQUALISATION), 0.0)


def service_share(train: Train, reduction: npt.ArrayLike, *, low: bool = False) -> FloatArray:
    """What a reduction of the pipe [Pa] gives over full service of the rated pipe, all cylinders filled. [-]

    ``low``: the low case of a direct release, as in `cylinder_pressure`; a graduated release has none.
    """
    if train.air_brake == "graduated release":
        return np.clip(np.asarray(reduction, dtype=float), 0.0, FULL_STEP) / FULL_STEP
    return cylinder_pressure(reduction, train.pipe_pressure, low=low) / RATED_PRESSURE


def full_service_reduction(train: Train) -> float:
    """Reduction beyond which nothing is gained. [Pa]"""
    return float(FULL_STEP if train.air_brake == "graduated release" else train.pipe_pressure * (1 - 1 / EQUALISATION))


def customary_reductions(train: Train) -> FloatArray:
    """Reductions a crew makes, rising to full service: from the least by whole psi, or by tenths of a bar. [Pa]"""
    graduated = train.air_brake == "graduated release"
    first, step = (FIRST_STEP, LATER_STEP) if graduated else (LEAST_REDUCTION, Cited(1, "psi", "prac"))
    full = full_service_reduction(train)
    return np.r_[np.arange(first, full * (1 - 1e-9), step), full]


def holding_reduction(train: Train, force: float) -> float:
    """Smallest customary reduction [Pa] whose cars hold a force [N] at rest: whole psi, or tenths of a bar.

    Infinite where full service does not hold it.
    """
    brakes = float(full_service_forces(train).sum())
    steps = customary_reductions(train)
    holds = brakes * service_share(train, steps) >= force
    return float(steps[np.argmax(holds)]) if holds.any() else math.inf


def independent_force(train: Train, *, everywhere: bool = False) -> float:
    """What the independent brake of the head group holds, or that of all locomotives. [N]"""
    groups = train.groups if everywhere else train.groups[:1]
    blocks = [b for g in groups for b in train.blocks[g.first : g.last + 1]]
    return float(sum(b.count * (b.vehicle.independent or 0.0) * b.vehicle.mass * GRAVITY for b in blocks))


def feeding_points(train: Train) -> FloatArray:
    """Places behind the head end [m] where the pipe is fed: the front of the head group, remote groups farthest out."""
    place = {"head": lambda g: g.start, "mid": lambda g: (g.start + g.end) / 2, "rear": lambda g: g.end}
    return np.array([place[g.place](g) for g in train.groups if g.working] or [0.0])


def feed_distances(train: Train) -> FloatArray:
    """Distance of the middle of every vehicle from the nearest feeding point. [m], shape (vehicles,)"""
    ends = np.r_[train.vehicle_heads, train.length]
    middle = (ends[1:] + ends[:-1]) / 2
    return np.abs(middle[:, None] - feeding_points(train)).min(axis=1)


def farthest_feed(train: Train) -> float:
    """Greatest distance along the train from a feeding point. [m]"""
    points = np.sort(feeding_points(train))
    return float(max(points[0], train.length - points[-1], *(np.diff(points) / 2)))


def still_applied(train: Train, distance: FloatArray, time: FloatArray) -> FloatArray:
    """Share of the cylinder pressure left a time (t,) [s] after the release, at distances (k,) [m] from the feed.

    Shape (t, k). Direct release: after the delay exponential, 8 s and 12 s more for every kilometre (our choice);
    graduated release: in a straight line, from the step it had to none, as if it was full.
    """
    waited = np.maximum(time[:, None] - distance / PROPAGATION[train.air_brake], 0.0)
    if train.air_brake == "graduated release":
        return np.maximum(1 - waited / RELEASE_TIME[train.brake_position], 0.0)
    return np.exp(-waited / (RELEASE_NEAR + RELEASE_FAR * distance / KILOMETRE))


def released_after(train: Train, distance: float, share: float) -> float:
    """Time [s] after which a share of the cylinder pressure is let go at a distance [m] from the feed."""
    delay = distance / PROPAGATION[train.air_brake]
    if train.air_brake == "graduated release":
        return delay + RELEASE_TIME[train.brake_position] * share
    return delay - (RELEASE_NEAR + RELEASE_FAR * distance / KILOMETRE) * math.log1p(-share)


def charging_constant(distance: float) -> float:
    """Time constant [s] with which what the pipe lacks is made up, at a distance [m] from the feed, normally.

    max(15 s, 60 s·d^1.6), d in kilometres: minutes, growing faster than the length (our choice, after common
    practice); cold or leaky trains take twice as long.
    """
    return max(float(CHARGE_LEAST), CHARGE_FAR * (distance / KILOMETRE) ** CHARGE_POWER)


def charged_after(distance: float, share: float) -> float:
    """Time [s] in which a share of what the pipe lacks is made up, at a distance [m] from the feed, normally."""
    return -charging_constant(distance) * math.log1p(-share)
