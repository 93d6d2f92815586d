"""Dynamic brake: effort of a unit over speed, and what a group of them may give. Forces are positive. [N]"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from profiler.cited import Cited
from profiler.train import Rail, Train
from profiler.units import GRAVITY, FloatArray
from profiler.vehicle import Vehicle

AXLE_FORCE = Cited(10_000, "lbf", "prac")
"""What an equivalent axle stands for. [N]"""
RAIL_SHARE: dict[Rail, Cited] = {
    "dry": Cited(1, "", "calc"),
    "wet": Cited(0.8, "", "choice"),
    "poor": Cited(0.54, "", "choice"),
}
"""Adhesion of a dynamic brake by rail, over that of dry rail. [-]"""
LEAD_SHARE: dict[Rail, Cited] = {**RAIL_SHARE, "wet": Cited(0.54, "", "choice")}
"""The same of the unit that leads: it runs where no wheel has wiped the rail. Of 0.28, 0.15 remain. [-]"""

BINDING = ("nothing", "adhesion", "equivalent axles", "buff limit")
"""What holds a dynamic brake below the curve of its units; `DynamicEffort.binding` counts into this."""


def unit_dynamic_curve(vehicle: Vehicle, speed: npt.ArrayLike) -> FloatArray:
    """Effort of one unit over speed [m/s], adhesion left aside; nothing without a dynamic brake.

    It rises in proportion to the fade speed, is flat to the knee, and of constant power beyond.
    """
    v = np.asarray(speed, dtype=float)
    brake = vehicle.dynamic
    if brake is None:
        return np.zeros(v.shape)
    return brake.peak * np.minimum(v / brake.fade, 1.0) * brake.knee / np.maximum(v, brake.knee)


def dynamic_adhesion(vehicle: Vehicle, rail: Rail, *, lead: bool = False) -> float:
    """Force that the rail takes from one unit's dynamic brake; lower where it leads on wet rail. [N]"""
    if vehicle.dynamic is None:
        return 0.0
    share = (LEAD_SHARE if lead else RAIL_SHARE)[rail]
    return float(vehicle.dynamic.adhesion * share * vehicle.driven_mass * GRAVITY)


def unit_dynamic(vehicle: Vehicle, speed: npt.ArrayLike, *, rail: Rail, lead: bool = False) -> FloatArray:
    """What one unit's dynamic brake gives over speed [m/s]. [N], shape of ``speed``"""
    return np.minimum(unit_dynamic_curve(vehicle, speed), dynamic_adhesion(vehicle, rail, lead=lead))


@dataclass(frozen=True, eq=False)
class DynamicEffort:
    """Dynamic brake of the groups of power; arrays are (groups, …), … the shape of speed and grade together.

    ``curve`` is the sum over units, ``effort`` what remains under adhesion and caps [N]; ``binding`` what holds it
    down, as a place in `BINDING`; ``usable_share`` the part of it a plan may use [-].
    """

    curve: FloatArray
    effort: FloatArray
    binding: FloatArray
    usable_share: float

    @property
    def total(self) -> FloatArray:
        """Of the train. [N]"""
        return np.asarray(self.effort.sum(axis=0))

    @property
    def usable(self) -> FloatArray:
        """Of the train, as far as a plan may use it. [N]"""
        return self.usable_share * self.total


def group_dynamics(train: Train, speed: npt.ArrayLike, grade: npt.ArrayLike = 0.0) -> DynamicEffort:
    """Dynamic brake of every group, held to its caps at the speed asked.

    Parameters
    ----------
    train : Train
        Isolated units have none.
    speed : array_like
        [m/s]
    grade : array_like
        Mean grade under the head group, + uphill; speed and grade broadcast together. [m/m]

    Notes
    -----
    The head group gives no more than its equivalent axles, 10,000 lbf each, and no more than the buff limit and its
    own weight along the track: that part of it never passes its coupler. Other groups have neither cap.
    """
    v, slope = np.broadcast_arrays(np.asarray(speed, dtype=float), np.asarray(grade, dtype=float))
    curves, efforts, bindings = [], [], []
    for group in train.groups:
        curve, effort = np.zeros(v.shape), np.zeros(v.shape)
        for i in range(group.first, group.last + 1):
            block = train.blocks[i]
            leads = min(block.working, 1) if i == 0 else 0
            curve += block.working * unit_dynamic_curve(block.vehicle, v)
            for count, lead in ((leads, True), (block.working - leads, False)):
                effort += count * unit_dynamic(block.vehicle, v, rail=train.rail, lead=lead)
        binding = np.where(effort < curve * (1 - 1e-12), 1, 0)
        if group.place == "head":
            axles = float(train.limits.dynamic_axles * AXLE_FORCE)
            buff = np.maximum(train.limits.buff - group.mass * GRAVITY * slope, 0.0)
            for number, cap in ((2, np.full(v.shape, axles)), (3, buff)):
                binding = np.where(cap < effort, number, binding)
                effort = np.minimum(effort, cap)
        curves.append(curve)
        efforts.append(effort)
        bindings.append(binding)
    return DynamicEffort(np.array(curves), np.array(efforts), np.array(bindings), float(train.handling.usable_dynamic))
