"""Steady coupler forces: what every coupler carries, slack at rest in it, vehicle by vehicle from the rear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from profiler.mechanics.terrain import Terrain
from profiler.mechanics.under_train import height_at
from profiler.train import Train
from profiler.units import GRAVITY, FloatArray

HEADS_AT_ONCE = 4096
"""Head positions worked on together, so that memory stays bounded."""


@dataclass(frozen=True, eq=False)
class Vehicles:
    """A train vehicle by vehicle, from the head; arrays are (v,) but ``edge`` (v + 1,).

    ``edge`` are the ends of the vehicles behind the head end [m]; ``mass`` [kg]; ``inertia`` is the mass that has to
    be accelerated, rotating parts included [kg].
    """

    edge: FloatArray
    mass: FloatArray
    inertia: FloatArray


def vehicles_of(train: Train) -> Vehicles:
    """Every vehicle of a train."""
    block = train.vehicle_block
    count = train.counts[block]
    return Vehicles(
        np.r_[train.vehicle_heads, train.length], train.masses[block] / count, train.rotating_masses[block] / count
    )


@dataclass(frozen=True, eq=False)
class CouplerForces:
    """Forces in the couplers of a train for head positions ``head`` (h,) by distance travelled [m].

    ``force`` (h, v - 1) behind each vehicle but the last, + draft, - buff [N]; ``share`` (h,) of the effort that
    is used; ``acceleration`` (h,) [m/s²], that of the whole train.
    """

    head: FloatArray
    force: FloatArray
    share: FloatArray
    acceleration: FloatArray


@dataclass(frozen=True, eq=False)
class Peaks:
    """The largest draft and buff [N] in the train for head positions ``head`` (h,), and behind which vehicle.

    Both forces are positive, 0 where there is none; ``draft_at`` and ``buff_at`` count vehicles from 0 at the head.
    """

    head: FloatArray
    draft: FloatArray
    draft_at: FloatArray
    buff: FloatArray
    buff_at: FloatArray


def coupler_forces(
    terrain: Terrain,
    vehicles: Vehicles,
    resistance: FloatArray,
    effort: FloatArray,
    head: FloatArray,
    *,
    curves: float = 1.0,
    full: bool = False,
) -> CouplerForces:
    """Forces in every coupler, the effort being what balances the train, or all of it.

    Parameters
    ----------
    terrain : Terrain
    vehicles : Vehicles
    resistance : ndarray, shape (v,) or (h, v)
        Of each vehicle on level tangent track at the speed in question. [N]
    effort : ndarray, shape (v,) or (h, v)
        What each vehicle can pull with at that speed. [N]
    head : ndarray, shape (h,)
        Head positions by distance travelled. [m]
    curves : float
        Curve resistance over that of a running train: 2 at a start.
    full : bool
        All of the effort, the train gaining speed; else as much as holds the speed, where there is so much.

    Notes
    -----
    Behind vehicle k: Σ from the rear to k + 1 of resistance + grade + curve + inertia x acceleration - effort.
    """
    held = resistance + held_back(terrain, vehicles, head, curves=curves)
    return carried(vehicles, held, effort, head, full=full)


def held_back(terrain: Terrain, vehicles: Vehicles, head: FloatArray, *, curves: float = 1.0) -> FloatArray:
    """What grade and curves hold every vehicle back with. [N], shape (h, v); parameters as for `coupler_forces`."""
    ends = np.asarray(head, dtype=float)[:, None] - vehicles.edge
    rise = height_at(terrain.way, terrain.elevation + curves * terrain.curve_rise, ends)
    return GRAVITY * vehicles.mass / np.diff(vehicles.edge) * (rise[:, :-1] - rise[:, 1:])


def carried(
    vehicles: Vehicles, held: FloatArray, effort: FloatArray, head: FloatArray, *, full: bool = False
) -> CouplerForces:
    """Coupler forces of a train of which every vehicle is held back by so much (h, v) [N], resistance included.

    Other parameters as for `coupler_forces`.
    """
    need, available = held.sum(axis=1), np.broadcast_to(effort.sum(axis=-1), held.shape[:1])
    share = np.ones(need.size)
    if not full:
        share = np.clip(np.divide(need, available, out=np.zeros(need.size), where=available > 0), 0.0, 1.0)
    force, acceleration = balanced(vehicles, held - share[:, None] * effort)
    return CouplerForces(np.asarray(head, dtype=float), force, share, acceleration)


def balanced(vehicles: Vehicles, held: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Couplers of a train of which every vehicle is held back by so much (h, v) [N], its own effort deducted.

    Returns the force behind each vehicle but the last (h, v - 1), + draft [N], and the acceleration (h,) that all of
    it gives the train [m/s²]. Both are linear: those of two causes add up. A vehicle on its own has one, of nought.
    """
    acceleration = -held.sum(axis=1) / vehicles.inertia.sum()
    left = acceleration[:, None] * vehicles.inertia
    left += held
    if left.shape[1] == 1:
        return np.zeros_like(left), acceleration
    return np.cumsum(left[:, ::-1], axis=1)[:, ::-1][:, 1:], acceleration


def largest(force: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Largest draft of coupler forces (h, v - 1) [N], behind which vehicle, largest buff, behind which; (h,) each."""
    pull, push = force.argmax(axis=1), force.argmin(axis=1)
    row = np.arange(force.shape[0])
    return np.maximum(force[row, pull], 0.0), pull, np.maximum(-force[row, push], 0.0), push


def peaks(
    terrain: Terrain,
    vehicles: Vehicles,
    resistance: FloatArray,
    effort: FloatArray,
    head: FloatArray,
    *,
    curves: float = 1.0,
    full: bool = False,
) -> Peaks:
    """The largest draft and buff for every head position; parameters as for `coupler_forces`."""
    return _peaks(terrain, vehicles, resistance, effort, head, curves, [full])[0]


def peaks_full_and_needed(
    terrain: Terrain, vehicles: Vehicles, resistance: FloatArray, effort: FloatArray, head: FloatArray
) -> tuple[Peaks, Peaks]:
    """The same of a running train with all of the effort, and with as much as holds the speed."""
    full, needed = _peaks(terrain, vehicles, resistance, effort, head, 1.0, [True, False])
    return full, needed


def _peaks(
    terrain: Terrain,
    vehicles: Vehicles,
    resistance: FloatArray,
    effort: FloatArray,
    head: FloatArray,
    curves: float,
    ways: Sequence[bool],
) -> list[Peaks]:
    """For each of some ways to use the effort, all of it or as much as is needed."""
    parts: list[list[tuple[FloatArray, ...]]] = [[] for _ in ways]
    for first in range(0, head.size, HEADS_AT_ONCE):
        part = slice(first, first + HEADS_AT_ONCE)
        some = head[part]
        own, pulled = (x if x.ndim == 1 else x[part] for x in (resistance, effort))
        held = own + held_back(terrain, vehicles, some, curves=curves)
        for found, full in zip(parts, ways, strict=True):
            force = carried(vehicles, held, pulled, some, full=full).force
            found.append(largest(force))
    return [Peaks(np.asarray(head, float), *map(np.concatenate, zip(*found, strict=True))) for found in parts]
