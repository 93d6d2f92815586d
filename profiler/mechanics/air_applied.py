"""Train air at work: how brakes fill along a train, what graduated steps follow, what repeated applications leave."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from profiler.cited import Cited
from profiler.mechanics.air import (
    COLD_AND_LEAKY,
    EQUALISATION,
    RATED_PRESSURE,
    charging_constant,
    cylinder_pressure,
    feed_distances,
    friction_factor,
    full_service_forces,
    service_share,
    still_applied,
)
from profiler.train import Train
from profiler.units import KILOMETRE, FloatArray

SERVICE_PROPAGATION = {"direct release": Cited(165, "m_s", "S35"), "graduated release": Cited(250, "m_s", "mem")}
"""Speed at which an application goes along the pipe. [m/s]"""
BUILD_NEAR, BUILD_FAR = Cited(4, "seconds", "choice"), Cited(8, "seconds", "choice")
"""Time constant of filling: near a venting point, and more for every kilometre from it. [s]"""
FILL_TIME = {"P": Cited(4, "seconds", "mem"), "G": Cited(24, "seconds", "mem")}
"""Graduated release, from none to full. [s]"""
EMERGENCY = Cited(1.2, "", "M4")
"""Cylinder pressure of an emergency over full service, direct release; a graduated release has the same. [-]"""
EMERGENCY_PROPAGATION, EMERGENCY_FILL = Cited(274, "m_s", "mem"), Cited(9, "seconds", "mem")
"""How fast it goes along the pipe [m/s], and fills a cylinder, evenly [s]."""
RETAINED = {"HP": Cited(20, "psi", "S39"), "LP": Cited(10, "psi", "mem")}
"""What a retaining valve keeps in the cylinder, by its position. [Pa]"""
FALSE_GRADIENT = Cited(1, "psi", "choice")
"""From this lack of charge on a false gradient is told: a reduction does less than the gauge shows. [Pa]"""


def car_forces(train: Train) -> FloatArray:
    """Retarding force of every vehicle at full service, cars cut out spread over their block. [N], shape (vehicles,)"""
    return (full_service_forces(train) / train.counts)[train.vehicle_block]


def air_force(
    train: Train, reduction: npt.ArrayLike, speed: npt.ArrayLike | None = None, *, low: bool = False
) -> FloatArray:
    """Retarding force of the cars, all cylinders filled.

    Parameters
    ----------
    train : Train
    reduction : array_like
        Of a charged pipe. [Pa]
    speed : array_like, optional
        Shoe friction goes by it, broadcast with the reduction; a mean friction if not given. [m/s]
    low : bool
        The low case of a direct release, as in `air.cylinder_pressure`.

    Returns
    -------
    ndarray
        [N]
    """
    share = service_share(train, reduction, low=low)
    forces = full_service_forces(train)
    if speed is None:
        return np.asarray(share * forces.sum())
    factors = [f * friction_factor(b.vehicle, speed) for f, b in zip(forces, train.blocks, strict=True)]
    return np.asarray(share * np.sum(factors, axis=0))


def train_friction(train: Train, speed: FloatArray) -> FloatArray:
    """Brake force of the cars over speed [m/s], over what it is reckoned with; 1 at most. [-], shape of speed

    Cast iron grips more at low speed than it is rated for: nobody plans on that.
    """
    if not full_service_forces(train).any():
        return np.ones(speed.shape)
    return np.minimum(air_force(train, np.inf, speed) / air_force(train, np.inf), 1.0)


def emergency_share(train: Train) -> float:
    """What an emergency application gives over full service of the rated pipe. [-]"""
    if train.air_brake == "graduated release":
        return 1.0
    return float(EMERGENCY * train.pipe_pressure / EQUALISATION / RATED_PRESSURE)


def filled(train: Train, distance: FloatArray, time: FloatArray, *, emergency: bool = False) -> FloatArray:
    """Share of its pressure that a cylinder has a time (t,) [s] after the application, at distances (k,) [m].

    Distances from the nearest venting point; shape (t, k). Direct release: after the delay 1 − exp, 4 s and 8 s more
    for every kilometre (our choice); graduated release and emergency: evenly, as if from none to full.
    """
    speed = EMERGENCY_PROPAGATION if emergency else SERVICE_PROPAGATION[train.air_brake]
    waited = np.maximum(time[:, None] - distance / speed, 0.0)
    if train.air_brake == "graduated release":
        return np.minimum(waited / FILL_TIME[train.brake_position], 1.0)
    if emergency:
        return np.minimum(waited / EMERGENCY_FILL, 1.0)
    return -np.expm1(-waited / (BUILD_NEAR + BUILD_FAR * distance / KILOMETRE))


def _weights(train: Train) -> FloatArray:
    """Part of the train's brake force that every vehicle has. [-], shape (vehicles,)"""
    forces = car_forces(train)
    return forces / (forces.sum() or 1.0)


def build_up(train: Train, time: FloatArray, *, emergency: bool = False) -> FloatArray:
    """Share of the train's brake force that is there a time (t,) [s] after the application: mean of its cars."""
    return filled(train, feed_distances(train), time, emergency=emergency) @ _weights(train)


def built_up_after(train: Train, share: float, *, emergency: bool = False) -> float:
    """Time [s] after an application when a share of the train's brake force is there; from a table each 0.1 s."""
    time = np.arange(0.0, 600.0, 0.1)
    return float(np.interp(share, build_up(train, time, emergency=emergency), time))


def air_kept(
    train: Train, reduction: float, time: FloatArray, *, retainer: str = "HP", cars: float = 1.0
) -> FloatArray:
    """Brake force of the cars [N] a time (t,) [s] after a release of a direct brake with retaining valves set.

    They are set on a share of all cars, spread along the train, and keep what the cylinder had, at most their own
    pressure.

    Raises
    ------
    KeyError
        If there is no such position of a retainer.
    """
    had = float(cylinder_pressure(reduction, train.pipe_pressure))
    left = still_applied(train, feed_distances(train), time) * had
    kept = np.maximum(left, min(had, float(RETAINED[retainer])))
    return (cars * kept + (1 - cars) * left) @ car_forces(train) / RATED_PRESSURE


@dataclass(frozen=True, kw_only=True)
class Application:
    """One of several applications of a direct brake; pressures at the far end, where the pipe is charged last. [Pa]"""

    lack: float
    """What the pipe lacks of its full charge before."""
    charge: float
    """What it has before."""
    gauge: float
    """Reduction at the gauge for the effect wanted: what is lacking, and the reduction itself."""
    left: float
    """Reduction that is left until full service."""
    enough: bool
    """Whether the charge gives the reduction wanted."""

    @property
    def false_gradient(self) -> bool:
        """Whether so much is lacking that a reduction does noticeably less than the gauge shows."""
        return self.lack >= FALSE_GRADIENT


def ledger(
    pipe: float, distance: float, reductions: Sequence[float], charging: Sequence[float], *, cold: bool = False
) -> tuple[Application, ...]:
    """Repeated applications of a direct brake, each released, with the pipe charged in between.

    Parameters
    ----------
    pipe : float
        Charged, to begin with. [Pa]
    distance : float
        From the nearest feeding point. [m]
    reductions : sequence
        Wanted in effect, one by one. [Pa]
    charging : sequence
        Time between them, one fewer. [s]
    cold : bool
        A cold or leaky train, which takes twice the time; always told beside the normal.

    Notes
    -----
    Of a charge Q full service is Q/3.5 below; what lacks decays with `air.charging_constant`.
    """
    constant = charging_constant(distance) * (COLD_AND_LEAKY if cold else 1.0)
    made, lack = [], 0.0
    for reduction, time in zip(reductions, [*charging, math.inf], strict=True):
        charge = pipe - lack
        full = charge * (1 - 1 / EQUALISATION)
        got = min(float(reduction), full)
        made.append(Application(lack=lack, charge=charge, gauge=lack + got, left=full - got, enough=full >= reduction))
        lack = (lack + got) * math.exp(-time / constant)
    return tuple(made)
