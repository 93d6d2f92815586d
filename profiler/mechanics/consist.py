"""A consist at a glance: the figures by which people of the trade judge a train before they look at the line."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from profiler.mechanics.traction import block_efforts
from profiler.train import Group, Train
from profiler.units import GRAVITY, POUND_FORCE

STANDARD_AXLE = 10_000 * POUND_FORCE
"""Dynamic brake of one equivalent axle (common practice, no source; an older unit's axle at 23 mph, S30). [N]"""


@dataclass(frozen=True)
class Power:
    """One group of power as it is."""

    group: Group
    starting_effort: float
    """At a stand, adhesion considered, before any draft limit. [N]"""
    dynamic_axles: float
    """Rated dynamic brake, adhesion considered, in equivalent axles. [-]"""


@dataclass(frozen=True, kw_only=True)
class Consist:
    """Figures of a whole train."""

    rated_power: float
    """Engines or supply, units that pull. [W]"""
    powered_axles: int
    """Driven axles of units that pull."""
    power: tuple[Power, ...]
    power_per_mass: float
    """Rated power over trailing mass; infinite for light engines. [W/kg]"""
    mass_per_brake: float
    """Trailing mass over operative brakes of cars; infinite where none works. [kg]"""
    loads: int
    """Cars with a load."""
    empties: int
    """Cars without."""
    empties_ahead: int
    """Empty cars with loaded ones behind them: sudden acts are worst with these."""
    long_beside_short: int
    """Couplers between a long and a short car."""


def dynamic_effort(train: Train, block: int) -> float:
    """Rated dynamic brake of a block's working units, adhesion considered. [N]"""
    vehicle = train.blocks[block].vehicle
    if vehicle.dynamic is None:
        return 0.0
    held = min(vehicle.dynamic.peak, vehicle.dynamic.adhesion * vehicle.driven_mass * GRAVITY)
    return train.blocks[block].working * float(held)


def consist_of(train: Train) -> Consist:
    """The figures of a train."""
    blocks = train.blocks
    starting = block_efforts(train, 0.0)
    power = []
    for group in train.groups:
        run = range(group.first, group.last + 1)
        axles = sum(dynamic_effort(train, i) for i in run) / STANDARD_AXLE
        power.append(Power(group, float(starting[list(run)].sum()), axles))
    rated = sum(b.working * b.vehicle.traction.power for b in blocks if b.vehicle.traction)
    cars = [b for b in blocks if b.vehicle.kind == "car"]
    loaded = np.array([b.vehicle.loaded for b in cars], dtype=bool)
    last_load = int(np.flatnonzero(loaded)[-1]) if loaded.any() else 0
    brakes, trailing = train.operative_brakes, train.trailing_mass
    return Consist(
        rated_power=float(rated),
        powered_axles=sum(b.working * b.vehicle.traction.driven_axles for b in blocks if b.vehicle.traction),
        power=tuple(power),
        power_per_mass=float(rated) / trailing if trailing else np.inf,
        mass_per_brake=trailing / brakes if brakes else np.inf,
        loads=sum(b.count for b in cars if b.vehicle.loaded),
        empties=sum(b.count for b in cars if not b.vehicle.loaded),
        empties_ahead=sum(b.count for b in cars[:last_load] if not b.vehicle.loaded),
        long_beside_short=sum({a.vehicle.size, b.vehicle.size} == {"long", "short"} for a, b in pairwise(cars)),
    )
