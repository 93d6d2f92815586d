"""A train tabled for the compiled loop of in-train forces: its vehicles on their line, what lies between them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from profiler.mechanics.air_applied import car_forces
from profiler.mechanics.conditions import Conditions
from profiler.mechanics.couplers import held_back, vehicles_of
from profiler.mechanics.course import SPEEDS, Act, place_of
from profiler.mechanics.draft_gear import DraftGear
from profiler.mechanics.in_train import over_units, vehicle_dynamics
from profiler.mechanics.pull import vehicle_efforts, vehicle_resistances, vehicle_starts
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.transient_loop import NEAR, WORKS, Bodies, Couplings, State
from profiler.train import Train
from profiler.units import FloatArray

PLACE_STEP = 5.0
"""Grade and curves under each vehicle are tabled so far apart. [m]"""
BEYOND = 100.0
"""And so far beyond where the head is followed: vehicles lag or lead by their slack. [m]"""


def couplings_of(train: Train, gears: Sequence[DraftGear]) -> Couplings:
    """What lies between the vehicles of a train."""
    inertia = vehicles_of(train).inertia
    lighter = np.minimum(inertia[1:], inertia[:-1])
    get = {name: np.array([float(getattr(g, name)) for g in gears]) for name in ("travel", "first", "rising", "locked")}
    rubs = np.array([1 - g.mean for g in gears])
    turning = np.array([float(g.turning) for g in gears])
    return Couplings(
        half=np.array([g.slack / 2 for g in gears]),
        mean=np.array([g.mean for g in gears]),
        rubs=rubs,
        turning=turning,
        breaks=np.array([float(g.breaks) for g in gears]),
        jerky=2 * rubs / (lighter * turning),
        longest=float((NEAR / (2 * np.sqrt([g.stiffest for g in gears] / lighter))).min()),
        **get,
    )


def bodies_of(
    train: Train,
    terrain: Terrain,
    acts: Sequence[Act],
    conditions: Conditions,
    head: float,
    reach: float,
) -> Bodies:
    """The vehicles of a train tabled from a head position to another. [m]"""
    vehicles = vehicles_of(train)
    places = np.arange(head - BEYOND, min(reach, terrain.length + head) + BEYOND, PLACE_STEP)
    weight = held_back(terrain, vehicles, places, curves=0.0)
    bend = (held_back(terrain, vehicles, places) - weight) * conditions.curves
    still, one, two = (vehicle_resistances(train, v) * conditions.rolling for v in (0.0, 1.0, 2.0))
    c = (two - 2 * one + still) / 2
    group = np.full(train.vehicles, -1)
    first = np.r_[0, np.cumsum(train.counts)]
    for g, its in enumerate(train.groups):
        group[first[its.first] : first[its.last + 1]] = g
    ones = np.ones((len(train.groups), SPEEDS.size))
    tables, which, gain = _air_tables(train, acts)
    return Bodies(
        first=float(places[0]),
        step=PLACE_STEP,
        weight=weight,
        bend=bend,
        rolling=np.array([still, one - still - c, c]),
        breakaway=vehicle_starts(train),
        inertia=vehicles.inertia,
        group=group,
        pulls=over_units(train, ones, vehicle_efforts(train, SPEEDS)),
        holds=over_units(train, ones, vehicle_dynamics(train, SPEEDS)),
        cars=tables,
        table=which,
        gain=gain,
    )


def _air_tables(train: Train, acts: Sequence[Act]) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What air acts do to every vehicle over time: tables (k, n, v), and by act, in order of place, which one and times
    what [N]. Without ``cars`` an act is spread over the cars as at full service."""
    spread = car_forces(train) / (car_forces(train).sum() or 1.0)
    tables: list[FloatArray] = [np.zeros((2, train.vehicles))]
    known: dict[int, int] = {}
    which, gain = [], []
    for act in sorted(acts, key=place_of):
        value = np.atleast_1d(np.asarray(act.value, dtype=float))
        key = id(act) if act.cars is None else id(act.cars)
        if act.kind == "air" and key not in known:
            known[key] = len(tables)
            tables.append(np.outer(np.append(value, value[-1]), spread) if act.cars is None else act.cars)
        which.append(known[key] if act.kind == "air" else 0)
        gain.append(float(value[-1]) if act.cars is not None else 1.0)
    longest = max(len(table) for table in tables)
    even = [np.pad(table, ((0, longest - len(table)), (0, 0)), mode="edge") for table in tables]
    return np.array(even), np.array(which, dtype=np.int64), np.array(gain, dtype=float)


def state_of(x: FloatArray, v: FloatArray, groups: int) -> State:
    """Vehicles where the head end would be by each (v,) [m], at speeds (v,) [m/s]."""
    n = x.size
    return State(
        x=x.copy(),
        v=v.copy(),
        pull=np.zeros(n + 1),
        load=np.zeros(n - 1),
        rub=np.zeros(n - 1),
        rubbed=np.zeros(n - 1),
        most=np.zeros((4, n - 1)),
        drive=np.zeros(n),
        hold=np.zeros(n),
        parts=np.zeros((WORKS, n)),
        groups=np.zeros((2, groups)),
        crew=np.full(2, np.nan),
    )
