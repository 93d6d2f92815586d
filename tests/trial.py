"""The invented hills and the trains (a) to (f) of the numerical trial of train handling, for everything that handles.

Figures quoted from it in tests ("Worked: handling trial") were worked out by another program; they are no truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
from scipy.ndimage import gaussian_filter1d

from profiler.catalogue import CATALOGUE
from profiler.cited import given
from profiler.mechanics.terrain import Terrain
from profiler.train import DIRECT_PIPE, GRADUATED_HANDLING, GRADUATED_PIPE, SCREW_LIMITS, Block, Train
from profiler.units import CURVE_COMPENSATION, PERCENT
from profiler.vehicle import Vehicle
from profiler.vertical_curve import line_of, pvis_of

PVI_KM = (0, 2.5, 5, 18, 22, 26, 38, 41, 44, 47, 50, 53, 56, 60)
GRADE_PCT = (0.4, 0.9, 1.3, -1.2, -1.7, -2.5, -1.4, -0.5, 0.7, -0.4, 0.3, -0.2, 0)
CURVE_LENGTH = (0, 250, 250, 700, 250, 300, 300, 300, 300, 300, 300, 200, 200, 0)
BENDS = (
    *((6.5, 6.9, 5), (9, 9.6, 7), (11.5, 12, 9), (14.5, 15, 6), (19.5, 20, 5), (23, 23.5, 7), (27, 27.5, 9)),
    *((29.5, 30, 6), (32, 32.5, 8), (35, 35.4, 5), (42, 42.4, 3)),
)
"""From and to [km], degree; spirals of 60 m inside."""
CREST, STEP = 18_000.0, 10.0


STEEP_KM = (0, 3, 8, 10, 20, 22, 24, 27)
STEEP_PCT = (1.8, 3.0, -2.2, -3.5, -1.5, -0.4, 1.2)
STEEP_LENGTH = (0, 200, 300, 200, 200, 150, 150, 0)
STEEP_BENDS = ((4.5, 4.9, 11), (6.5, 6.8, 13), (11, 11.4, 12), (14, 14.3, 14), (17, 17.4, 12))
STEEP_CREST = 8000.0


def _line(
    km: Sequence[float],
    grades: Sequence[float],
    curves: Sequence[float],
    bends: Sequence[tuple[float, float, float]],
) -> Terrain:
    place = 1000.0 * np.array(km)
    way = np.arange(0.0, place[-1] + STEP / 2, STEP)
    height = np.r_[0.0, np.cumsum(np.diff(place) * np.array(grades) * PERCENT)]
    elevation, _ = line_of(pvis_of(list(place), list(height), list(map(float, curves))), way)
    degree = np.zeros(way.size)
    for a, b, d in bends:
        degree += d * np.interp(way, [1000 * a, 1000 * a + 60, 1000 * b - 60, 1000 * b], [0, 1, 1, 0])
    rise = CURVE_COMPENSATION * degree
    return Terrain(way, elevation, np.r_[0.0, np.cumsum((rise[1:] + rise[:-1]) / 2 * STEP)])


@cache
def hill() -> Terrain:
    """60 km: a climb of 13 km at 1.3 % with curves, a crest, a descent that steepens to 2.5 %."""
    return _line(PVI_KM, GRADE_PCT, CURVE_LENGTH, BENDS)


@cache
def steep() -> Terrain:
    """27 km for (f): 5 km at 30 ‰, a crest, then 22 and 10 km of 35 ‰."""
    return _line(STEEP_KM, STEEP_PCT, STEEP_LENGTH, STEEP_BENDS)


def crest_of(up: float, down: float, *, curve: float = 300.0) -> Terrain:
    """18 km at one grade, 12 km down at another, then level [m/m]; the crest rounded over so far [m]."""
    return _line((0, 18, 30, 36), (100 * up, -100 * down, 0.0), (0, curve, 300, 0), ())


def erring(terrain: Terrain, error: float, length: float, *, seed: int = 1) -> Terrain:
    """100 draws of a line whose heights err by so much [m], over so far [m]: exp(−d²/2 length²)."""
    kernel = length / np.sqrt(2) / STEP
    pad = int(4 * kernel) + 1
    noise = np.random.default_rng(seed).standard_normal((100, terrain.way.size + 2 * pad))
    smooth = gaussian_filter1d(noise, kernel, axis=1)[:, pad:-pad]
    return terrain.lifted(terrain.elevation + smooth * error / smooth.std())


def slope(grade: float, *, curves: float = 0.0, length: float = 30_000.0) -> Terrain:
    """One grade [m/m] from end to end; `curves` are worth as much grade more everywhere."""
    way = np.arange(0.0, length + STEP / 2, STEP)
    return Terrain(way, grade * way, curves * way)


UNIT = CATALOGUE["AC six-axle locomotive"]
ORE, GRAIN, EMPTY = (CATALOGUE[x] for x in ("ore car, loaded", "covered hopper, loaded", "covered hopper, empty"))


def train_of(*blocks: tuple[int, Vehicle], name: str = "trial") -> Train:
    """Blocks from the head."""
    made = tuple(Block(count=n, vehicle=v) for n, v in blocks)
    return Train(name=name, blocks=made, air_brake="direct release", pipe_pressure=DIRECT_PIPE)


@cache
def trial_trains() -> dict[str, Train]:
    """(a) to (f), and (e) with the empties ahead."""
    electric = CATALOGUE["four-axle electric locomotive"]
    assert electric.traction
    assert electric.dynamic
    electric = replace(
        electric,
        traction=replace(electric.traction, power=given(4500, "kw"), starting_effort=given(280, "kn")),
        dynamic=replace(electric.dynamic, peak=given(140, "kn")),
    )
    wagon = CATALOGUE["four-axle bulk wagon, loaded"]
    wagon = replace(wagon, mass=given(40, "t"))
    gravel = Train(
        name="f",
        blocks=(Block(count=2, vehicle=electric), Block(count=20, vehicle=wagon)),
        air_brake="graduated release",
        pipe_pressure=GRADUATED_PIPE,
        limits=SCREW_LIMITS,
        handling=GRADUATED_HANDLING,
    )
    return {
        "a": train_of((3, UNIT), (84, ORE), (2, UNIT)),
        "b": train_of((5, UNIT), (84, ORE)),
        "c": train_of((3, UNIT), (60, GRAIN), (1, UNIT)),
        "d": train_of((2, UNIT), (110, EMPTY)),
        "e": train_of((3, UNIT), (36, GRAIN), (44, EMPTY)),
        "e, empties ahead": train_of((3, UNIT), (44, EMPTY), (36, GRAIN)),
        "f": gravel,
    }
