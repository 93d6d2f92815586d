"""Any train that the catalogue can make, for property tests; and every figure of a noun with its path."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, is_dataclass
from typing import Any

from hypothesis import strategies as st

from profiler.catalogue import CATALOGUE
from profiler.cited import Cited
from profiler.train import DIRECT_PIPE, Block, Train

LOCOMOTIVES = sorted(name for name, v in CATALOGUE.items() if v.kind == "locomotive")
CARS = sorted(name for name, v in CATALOGUE.items() if v.kind == "car")


def block(like: str, count: int = 1, isolated: int = 0) -> Block:
    """Vehicles of the catalogue as they are."""
    return Block(vehicle=CATALOGUE[like], count=count, isolated=isolated)


def train(*blocks: Block, **other: Any) -> Train:
    """A train with direct release, or what else is asked for."""
    return Train(name="test", blocks=blocks, **{"air_brake": "direct release", "pipe_pressure": DIRECT_PIPE, **other})


ORE = train(block("AC six-axle locomotive", 3), block("ore car, loaded", 84), block("AC six-axle locomotive", 2))
"""Three in front, two behind."""


def figures_of(noun: object) -> list[tuple[str, Cited]]:
    """Every figure of a noun with its path."""
    if isinstance(noun, Cited):
        return [("", noun)]
    inner: Sequence[tuple[str, object]] = ()
    if is_dataclass(noun):
        inner = [(f".{f.name}", getattr(noun, f.name)) for f in fields(noun)]
    elif isinstance(noun, tuple):
        inner = [(f"[{i}]", part) for i, part in enumerate(noun)]
    return [(path + rest, figure) for path, part in inner for rest, figure in figures_of(part)]


@st.composite
def trains(draw: st.DrawFn) -> Train:
    """Blocks of the catalogue, at least one unit that pulls."""
    names = draw(st.lists(st.sampled_from([*LOCOMOTIVES, *CARS]), min_size=0, max_size=5))
    blocks = [block(name, draw(st.integers(1, 60))) for name in names]
    lead = block(draw(st.sampled_from(LOCOMOTIVES)), draw(st.integers(1, 6)))
    blocks.insert(draw(st.integers(0, len(blocks))), lead)
    return train(*blocks, weather=draw(st.sampled_from(["mild", "cold"])), rail=draw(st.sampled_from(["dry", "wet"])))


def split(made: Train, which: int, at: int) -> Train:
    """The same train with a block written as two."""
    blocks = list(made.blocks)
    old = blocks[which]
    if not 0 < at < old.count:
        return made
    two = [Block(vehicle=old.vehicle, count=n) for n in (at, old.count - at)]
    return train(*blocks[:which], *two, *blocks[which + 1 :], weather=made.weather, rail=made.rail)
