"""Tractive effort: adhesion, power, notches, what heat allows, and what a coupler lets through. [N]"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from profiler.cited import Cited
from profiler.errors import InputError
from profiler.train import Rail, Train
from profiler.units import GRAVITY, KMH, FloatArray
from profiler.vehicle import AdhesionControl, Traction, Vehicle

ADHESION: dict[tuple[AdhesionControl, Rail], Cited] = {
    ("axle", "dry"): Cited(0.30, "", "mem"),
    ("axle", "wet"): Cited(0.25, "", "choice"),
    ("axle", "poor"): Cited(0.18, "", "choice"),
    ("truck", "dry"): Cited(0.25, "", "S12"),
    ("truck", "wet"): Cited(0.21, "", "choice"),
    ("truck", "poor"): Cited(0.15, "", "choice"),
    ("none", "dry"): Cited(0.22, "", "S12"),
    ("none", "wet"): Cited(0.18, "", "choice"),
    ("none", "poor"): Cited(0.13, "", "choice"),
    ("Curtius-Kniffler", "dry"): Cited(1, "", "mem"),
    ("Curtius-Kniffler", "wet"): Cited(0.75, "", "choice"),
    ("Curtius-Kniffler", "poor"): Cited(0.5, "", "choice"),
}
"""Usable adhesion by wheel slip control and rail; of Curtius-Kniffler the share of the law's value. DC units
0.20 to 0.25 (S12), AC units up to 0.40 claimed for dry rail (S13) and 0.30 to 0.35 reckoned with. [-]"""


def curtius_kniffler(speed: npt.ArrayLike) -> FloatArray:
    """Adhesion [-] on dry rail over speed [m/s]: 7.5/(V + 44) + 0.161, V km/h (from memory)."""
    return 7.5 / (np.asarray(speed, dtype=float) / KMH + 44) + 0.161


def adhesion(traction: Traction, rail: Rail, speed: npt.ArrayLike) -> FloatArray:
    """Usable adhesion [-] of a locomotive over speed [m/s]: as stated for it, or by its control and the rail."""
    v = np.asarray(speed, dtype=float)
    if traction.adhesion is not None:
        return np.full(v.shape, float(traction.adhesion))
    level = ADHESION[traction.control, rail]
    return level * curtius_kniffler(v) if traction.control == "Curtius-Kniffler" else np.full(v.shape, float(level))


def unit_effort(
    vehicle: Vehicle, speed: npt.ArrayLike, *, rail: Rail, notch: int | None = None, continuous: bool = False
) -> FloatArray:
    """What one unit pulls with at the wheel rims: the least of adhesion, notch and power.

    Parameters
    ----------
    vehicle : Vehicle
        Anything without traction pulls with nothing.
    speed : array_like
        [m/s]
    rail : "dry", "wet" or "poor"
    notch : int, optional
        0 is idle; None is full power.
    continuous : bool
        No more than heat allows for hours.

    Returns
    -------
    ndarray, shape of ``speed``
        [N]

    Raises
    ------
    InputError
        If there is no such notch.

    Notes
    -----
    min(standing share · starting effort, μ·W on driven axles, running share · η·P/v).
    """
    v = np.asarray(speed, dtype=float)
    traction = vehicle.traction
    if traction is None or notch == 0:
        return np.zeros(v.shape)
    notches = traction.notches
    n = len(notches.running) if notch is None else notch
    if not 0 < n <= len(notches.running):
        raise InputError(vehicle.name, f"there is no notch {n}", f"give 0 to {len(notches.running)}")
    power = notches.running[n - 1] * traction.rail_power
    by_power = np.divide(power, v, out=np.full(v.shape, np.inf), where=v > 0)
    limits = [by_power, adhesion(traction, rail, v) * vehicle.driven_mass * GRAVITY]
    limits.append(np.full(v.shape, notches.standing[n - 1] * traction.starting_effort))
    if continuous and traction.continuous_effort is not None:
        limits.append(np.full(v.shape, float(traction.continuous_effort)))
    return np.min(limits, axis=0)


def short_time(vehicle: Vehicle, speed: npt.ArrayLike) -> FloatArray:
    """Where full power is for minutes only, because of heat, over speed [m/s]; bool, shape of ``speed``."""
    v = np.asarray(speed, dtype=float)
    slowest = vehicle.traction.continuous_speed if vehicle.traction else None
    return v < (0.0 if slowest is None else slowest * (1 - 1e-9))


def block_efforts(
    train: Train, speed: npt.ArrayLike, *, notch: int | None = None, continuous: bool = False
) -> FloatArray:
    """Effort of every block at the wheel rims, isolated units left out. [N], shape (blocks, …speed)"""
    return np.array(
        [
            b.working * unit_effort(b.vehicle, speed, rail=train.rail, notch=notch, continuous=continuous)
            for b in train.blocks
        ]
    )


def group_efforts(
    train: Train,
    speed: npt.ArrayLike,
    *,
    notch: int | None = None,
    continuous: bool = False,
    own_need: npt.ArrayLike = 0.0,
    draft_limit: float | None = None,
) -> FloatArray:
    """Effort of every group of power, held to what the draft limit lets through its coupler.

    Parameters
    ----------
    train : Train
    speed : array_like
        [m/s]
    notch, continuous
        As in `unit_effort`.
    own_need : array_like
        What each group takes for itself, resistance and grade: it does not pass the coupler.
        [N], broadcast to (groups, …speed)
    draft_limit : float, optional
        Instead of the train's own limit; infinite for none. [N]

    Returns
    -------
    ndarray, shape (groups, …speed)
        [N]
    """
    efforts = block_efforts(train, speed, notch=notch, continuous=continuous)
    summed = np.array([efforts[g.first : g.last + 1].sum(axis=0) for g in train.groups])
    limit = train.limits.draft if draft_limit is None else draft_limit
    return np.minimum(summed, np.maximum(limit + np.asarray(own_need, dtype=float), 0.0))


def notches_of(train: Train) -> tuple[int | None, ...]:
    """Notches of the throttle from idle; where locomotives differ, as many as the one with fewest has.

    The last is None: full power for all.
    """
    counts = [len(b.vehicle.traction.notches.running) for b in train.blocks if b.working and b.vehicle.traction]
    return (*range(min(counts)), None)


def starting_efforts(train: Train) -> FloatArray:
    """Greatest effort of every block at a stand, adhesion considered. [N], shape (blocks,)"""
    return block_efforts(train, 0.0)
