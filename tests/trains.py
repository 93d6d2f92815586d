"""The trains (a) to (f) of the handling trial, from the catalogue of generic vehicles."""

from __future__ import annotations

import dataclasses

from profiler.catalogue import CATALOGUE
from profiler.cited import Cited, given
from profiler.train import GRADUATED_HANDLING, SCREW_LIMITS, Block, Train
from profiler.vehicle import Vehicle

UNIT = CATALOGUE["AC six-axle locomotive"]
ORE = CATALOGUE["ore car, loaded"]
LOADED, EMPTY = CATALOGUE["covered hopper, loaded"], CATALOGUE["covered hopper, empty"]


def train_of(name: str, *blocks: tuple[Vehicle, int]) -> Train:
    """A train with direct release from 90 psi."""
    return Train(
        name=name,
        units="us",
        blocks=tuple(Block(vehicle=v, count=n) for v, n in blocks),
        air_brake="direct release",
        pipe_pressure=Cited(90, "psi", "prac"),
    )


def _metric() -> Train:
    electric = CATALOGUE["four-axle electric locomotive"]
    assert electric.traction is not None
    electric = dataclasses.replace(
        electric,
        traction=dataclasses.replace(electric.traction, power=given(4500, "kw"), starting_effort=given(280, "kn")),
    )
    wagon = dataclasses.replace(CATALOGUE["two-axle wagon, loaded"], length=given(12.5, "m"))
    return Train(
        name="f",
        blocks=(Block(vehicle=electric, count=2), Block(vehicle=wagon, count=20)),
        air_brake="graduated release",
        pipe_pressure=Cited(5, "bar", "prac"),
        limits=SCREW_LIMITS,
        handling=GRADUATED_HANDLING,
    )


A = train_of("a", (UNIT, 3), (ORE, 84), (UNIT, 2))
B = train_of("b", (UNIT, 5), (ORE, 84))
C = train_of("c", (UNIT, 3), (LOADED, 60), (UNIT, 1))
D = train_of("d", (UNIT, 2), (EMPTY, 110))
E = train_of("e", (UNIT, 3), (LOADED, 36), (EMPTY, 44))
F = _metric()
TRIAL = {train.name: train for train in (A, B, C, D, E, F)}
"""a: 3 + 84 ore + 2; b: 5 + 84 ore; c: 3 + 60 grain + 1; d: 2 + 110 empties; e: 3 + 36 loads + 44 empties;
f: two electrics and 20 wagons of 40 t."""
