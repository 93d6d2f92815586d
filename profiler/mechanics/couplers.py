"""Steady coupler forces: what every coupler carries, slack at rest in it, vehicle by vehicle from the rear."""

from __future__ import annotations

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
    head = np.asarray(head, dtype=float)
    ends = head[:, None] - vehicles.edge
    rise = height_at(terrain.way, terrain.elevation, ends)
    rise += curves * height_at(terrain.way, terrain.curve_rise, ends)
    density = GRAVITY * vehicles.mass / np.diff(vehicles.edge)
    held = resistance - density * np.diff(rise, axis=1)
    need, available = held.sum(axis=1), np.broadcast_to(effort.sum(axis=-1), head.shape)
    share = np.ones(head.size)
    if not full:
        share = np.clip(np.divide(need, available, out=np.zeros(head.size), where=available > 0), 0.0, 1.0)
    acceleration = (share * available - need) / vehicles.inertia.sum()
    held += acceleration[:, None] * vehicles.inertia - share[:, None] * effort
    force = np.cumsum(held[:, ::-1], axis=1)[:, ::-1][:, 1:]
    return CouplerForces(head, force, share, acceleration)


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
    parts = []
    for first in range(0, head.size, HEADS_AT_ONCE):
        part = slice(first, first + HEADS_AT_ONCE)
        some = head[part]
        held, pulled = (x if x.ndim == 1 else x[part] for x in (resistance, effort))
        force = coupler_forces(terrain, vehicles, held, pulled, some, curves=curves, full=full).force
        pull, push = force.argmax(axis=1), force.argmin(axis=1)
        row = np.arange(some.size)
        parts.append((np.maximum(force[row, pull], 0.0), pull, np.maximum(-force[row, push], 0.0), push))
    return Peaks(np.asarray(head, float), *(np.concatenate(column) for column in zip(*parts, strict=True)))
