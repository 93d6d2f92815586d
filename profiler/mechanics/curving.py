"""What a pull in the couplers does in a curve: it draws cars to the inside, a push drives them out.

An estimate by statics, of couplers alone: both neighbours alike and in the same curve, the track true, no cant and no
steering of the trucks. It tells where in a train and on a line to look, not whether a wheel climbs or a rail turns.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal, Protocol

import numpy as np
import numpy.typing as npt
from scipy.integrate import cumulative_trapezoid

from profiler.cited import Cited
from profiler.mechanics.couplers import vehicles_of
from profiler.train import Train
from profiler.units import GRAVITY, FloatArray

Side = Literal["inward", "outward"]
ONE_RAIL = 2.0
"""All of it is carried by one rail, which bears half of the weight. [-]"""
ROLLOVER_ONSET, ROLLOVER = Cited(0.5, "", "mem"), Cited(0.6, "", "mem")
"""Lateral over vertical force of one side of a truck at which a rail may begin to turn over, and the one used. [-]"""
WHEEL_CLIMB = Cited(0.82, "", "S58")
"""Lateral over vertical force of a wheel on the high rail above which a curve is looked into. [-]"""


class Forces(Protocol):
    """Coupler forces along a run: `in_train.InTrain`, or `transient.Transient`."""

    @property
    def head(self) -> FloatArray:
        """Of the head end, by distance travelled (t,). [m]"""

    @property
    def force(self) -> FloatArray:
        """Behind each vehicle but the last (t, v - 1), + draft. [N]"""


def lateral_force(force: npt.ArrayLike, length: npt.ArrayLike, curvature: npt.ArrayLike) -> FloatArray:
    """Lateral force [N] of the couplers on a vehicle in a curve, + inward, of draft (+) or buff (-) [N].

    F·L/R, the angles of both couplers together; ``length`` [m] of the vehicle over its couplers, ``curvature`` [1/m].
    Statics, both neighbours alike and in the same curve; half of it is on each truck.
    """
    return np.asarray(np.asarray(force, dtype=float) * length * np.abs(curvature))


def lateral_over_vertical(
    force: npt.ArrayLike, length: npt.ArrayLike, curvature: npt.ArrayLike, mass: npt.ArrayLike
) -> FloatArray:
    """Lateral over vertical force [-] of a truck by the couplers alone, both trucks loaded alike; mass [kg]."""
    return np.abs(lateral_force(force, length, curvature)) / (GRAVITY * np.asarray(mass, dtype=float))


@dataclass(frozen=True, kw_only=True)
class Worst:
    """The vehicle worst off in the curves of a run: ``ratio`` [-] of a truck, and ``one_rail`` [-], all on one rail.

    ``force`` [N] in the coupler at one of its ends, + draft, - buff; ``curvature`` [1/m], + left; ``vehicle`` counted
    from 0 at the head, with the head end at ``head`` by distance travelled [m] and the vehicle at ``place`` [m].
    """

    ratio: float
    force: float
    curvature: float
    vehicle: int
    head: float
    place: float

    @property
    def one_rail(self) -> float:
        """To be held against `ROLLOVER_ONSET`, `ROLLOVER` and `WHEEL_CLIMB`. [-]"""
        return ONE_RAIL * self.ratio


@dataclass(frozen=True, eq=False, kw_only=True)
class InCurves:
    """Lateral over vertical force of trucks along a run; arrays (t, v), instants and vehicles of ``forces``.

    ``curvature`` lies under each vehicle [1/m], + left. ``draft`` and ``buff`` are the larger of both its couplers [N],
    ``inward`` and ``outward`` what they do to a truck [-], 0 on straight track. ``middle`` (v,) of every vehicle behind
    the head end [m].
    """

    forces: Forces
    middle: FloatArray
    curvature: FloatArray
    draft: FloatArray
    buff: FloatArray
    inward: FloatArray
    outward: FloatArray

    @cached_property
    def largest(self) -> FloatArray:
        """The largest ratio of a truck anywhere in the train (t,). [-]"""
        return np.maximum(self.inward, self.outward).max(axis=1)

    def worst(self, side: Side) -> Worst | None:
        """The worst of one side; None where no coupler does anything in a curve."""
        ratio, force = (self.inward, self.draft) if side == "inward" else (self.outward, -self.buff)
        if not ratio.any():
            return None
        i, k = np.unravel_index(int(ratio.argmax()), ratio.shape)
        head = float(self.forces.head[i])
        return Worst(
            ratio=float(ratio[i, k]),
            force=float(force[i, k]),
            curvature=float(self.curvature[i, k]),
            vehicle=int(k),
            head=head,
            place=head - float(self.middle[k]),
        )


def in_curves(train: Train, forces: Forces, way: FloatArray, curvature: FloatArray) -> InCurves:
    """Lateral over vertical force of every vehicle along a run.

    Parameters
    ----------
    train : Train
    forces : Forces
        Of that train.
    way, curvature : ndarray, shape (n,)
        Of the line by distance travelled [m], and its curvature [1/m], + left; straight before it and beyond.

    Notes
    -----
    A vehicle lies in the curve by what the line turns under it. At its worse end: F·L/R over its weight.
    """
    vehicles = vehicles_of(train)
    length = np.diff(vehicles.edge)
    turned = cumulative_trapezoid(curvature, way, initial=0.0)
    heading = np.interp(forces.head[:, None] - vehicles.edge, way, turned)
    bend = (heading[:, :-1] - heading[:, 1:]) / length
    ends = np.pad(forces.force[:, : length.size - 1], ((0, 0), (1, 1)))
    ahead, behind = ends[:, :-1], ends[:, 1:]
    draft, buff = np.maximum(np.maximum(ahead, behind), 0.0), np.maximum(-np.minimum(ahead, behind), 0.0)
    inward, outward = (lateral_over_vertical(force, length, bend, vehicles.mass) for force in (draft, buff))
    middle = (vehicles.edge[1:] + vehicles.edge[:-1]) / 2
    return InCurves(
        forces=forces, middle=middle, curvature=bend, draft=draft, buff=buff, inward=inward, outward=outward
    )
