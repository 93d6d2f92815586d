"""Heat in wheels and brake shoes: power per wheel of the worst car, energy of a descent, and what is allowed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.integrate import cumulative_trapezoid

from profiler.cited import Cited
from profiler.mechanics.air import friction_factor, full_service_force, service_share
from profiler.train import Train
from profiler.units import FloatArray

WHEELS_PER_AXLE = 2


@dataclass(frozen=True, kw_only=True)
class HeatLimit:
    """What a wheel stands: a power [W], for hours or for a time [s], hence an energy."""

    power: Cited
    time: Cited | None = None

    @property
    def energy(self) -> float:
        """Of a descent; infinite where the power is for hours. [J]"""
        return float("inf") if self.time is None else float(self.power * self.time)

    @property
    def words(self) -> str:
        """Where the limit comes from."""
        return self.power.words


WHEEL_GUIDE = HeatLimit(power=Cited(30, "hp", "mem"))
"""North American guide for 36-in wheels, 25 to 30 brake horsepower for hours."""
TSI_REFERENCE = HeatLimit(power=Cited(45, "kw", "S41"), time=Cited(34 * 60, "seconds", "S41"))
"""Reference descent of the EU wagon TSI: 21 ‰, 70 km/h, 40 km, axle load 22.5 t, wheels of 920 mm."""


def customary_limit(train: Train) -> HeatLimit:
    """The guide that goes with a train's brake."""
    return TSI_REFERENCE if train.air_brake == "graduated release" else WHEEL_GUIDE


def wheel_forces(train: Train, share: npt.ArrayLike, speed: npt.ArrayLike | None = None) -> FloatArray:
    """Retarding force of one wheel of each block's cars, brakes working. [N], shape (blocks, …)

    Parameters
    ----------
    train : Train
    share : array_like
        Brake force over full service, as `air.service_share` gives it. [-]
    speed : array_like, optional
        Shoe friction goes by it, broadcast with the share; a mean friction if not given. [m/s]
    """
    share = np.asarray(share, dtype=float)
    return np.array(
        [
            share
            * full_service_force(b.vehicle)
            / (WHEELS_PER_AXLE * b.vehicle.axles)
            * (1.0 if speed is None else friction_factor(b.vehicle, speed))
            for b in train.blocks
        ]
    )


@dataclass(frozen=True, eq=False)
class WheelHeat:
    """Heat of the worst car's wheels against a limit.

    ``power`` per wheel [W] and ``energy`` per wheel up to there [J], shape (n,); ``block`` the block of the worst
    car, by energy; ``limit`` what is allowed.
    """

    power: FloatArray
    energy: FloatArray
    block: int
    limit: HeatLimit

    @property
    def most_power(self) -> float:
        """[W]"""
        return float(self.power.max())

    @property
    def total(self) -> float:
        """Of the whole descent. [J]"""
        return float(self.energy[-1])

    @property
    def share(self) -> float:
        """Of what is allowed: of the energy where the limit is for a time, else of the power. [-]"""
        return self.most_power / self.limit.power if self.limit.time is None else self.total / self.limit.energy


def descent_heat(
    train: Train, way: FloatArray, share: npt.ArrayLike, speed: npt.ArrayLike, *, limit: HeatLimit | None = None
) -> WheelHeat:
    """Heat of a descent.

    Parameters
    ----------
    train : Train
    way : ndarray, shape (n,)
        Distance travelled. [m]
    share : array_like, broadcast to (n,)
        Brake force over full service there, as `air.service_share` gives it. [-]
    speed : array_like, broadcast to (n,)
        [m/s]
    limit : HeatLimit, optional
        `customary_limit` if not given.

    Notes
    -----
    All work of the shoes is counted, none as lost to the air: force of a wheel times speed, or times distance.
    """
    force = wheel_forces(train, np.broadcast_to(np.asarray(share, dtype=float), way.shape))
    energy = cumulative_trapezoid(force, way, initial=0.0, axis=1)
    worst = int(np.argmax(energy[:, -1]))
    power = force[worst] * np.asarray(speed, dtype=float)
    return WheelHeat(power, energy[worst], worst, limit or customary_limit(train))


def wheel_power(train: Train, reduction: npt.ArrayLike, speed: npt.ArrayLike) -> FloatArray:
    """Power per wheel of the worst car under a reduction [Pa] at a speed [m/s]. [W]"""
    force = wheel_forces(train, service_share(train, reduction)).max(axis=0)
    return np.asarray(force * np.asarray(speed, dtype=float))


def speed_by_heat(train: Train, reduction: float, *, limit: HeatLimit | None = None) -> float:
    """Speed [m/s] at which a reduction [Pa] brings the worst car's wheels to the limit's power; infinite without."""
    force = float(wheel_forces(train, service_share(train, reduction)).max())
    return float((limit or customary_limit(train)).power / force) if force > 0 else float("inf")
