"""A train: blocks of like vehicles in order from the head, power anywhere among them.

Arrays have one entry per block, head first. Places along the train are metres *behind the head end*.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Literal

import numpy as np

from profiler.cited import Cited
from profiler.curve_resistance import CurveResistance
from profiler.errors import InputError
from profiler.units import FloatArray
from profiler.vehicle import Vehicle

AirBrake = Literal["direct release", "graduated release"]
BrakePosition = Literal["P", "G"]
Rail = Literal["dry", "wet", "poor"]
Weather = Literal["mild", "cold"]
Place = Literal["head", "mid", "rear"]


@dataclass(frozen=True, kw_only=True)
class Block:
    """Vehicles alike, one behind the other."""

    vehicle: Vehicle
    """What each of them is."""
    count: int
    """How many."""
    isolated: int = 0
    """Locomotives of them that do not pull; they are hauled."""

    def __post_init__(self) -> None:
        if self.count < 1:
            raise InputError(self.vehicle.name, f"the count is {self.count}", "give one above zero, or leave it out")
        if not 0 <= self.isolated <= self.count:
            raise InputError(
                self.vehicle.name, f"{self.isolated} isolated of {self.count}", "isolate no more than there are"
            )
        if self.isolated and self.vehicle.traction is None:
            raise InputError(self.vehicle.name, "isolated belongs to locomotives", "leave it out")

    @property
    def working(self) -> int:
        """Units that pull."""
        return self.count - self.isolated if self.vehicle.traction else 0


@dataclass(frozen=True)
class Group:
    """Locomotives coupled together: blocks ``first`` to ``last``, both included."""

    first: int
    last: int
    place: Place
    working: int
    """Units that pull."""
    start: float
    """Its front behind the head end. [m]"""
    end: float
    """Its rear behind the head end. [m]"""
    mass: float
    """[kg]"""


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What couplers, track and custom allow."""

    draft: Cited = Cited(250, "kips", "choice")
    """[N]"""
    draft_caution: Cited = Cited(200, "kips", "choice")
    """Above this the draft is told. [N]"""
    buff: Cited = Cited(200, "kips", "prac")
    """Behind the head group. [N]"""
    dynamic_axles: Cited = Cited(28, "", "prac")
    """Equivalent axles of dynamic brake in the head group, 10,000 lbf each. [-]"""


@dataclass(frozen=True, kw_only=True)
class Handling:
    """How the crew acts."""

    margin: Cited = Cited(2, "mph", "choice")
    """Hold speed below the limit. [m/s]"""
    notch_time: Cited = Cited(2, "seconds", "choice")
    """One notch of the throttle. [s]"""
    pause: Cited = Cited(10, "seconds", "S80")
    """Idle before the dynamic brake. [s]"""
    reductions: tuple[Cited, ...] = tuple(Cited(r, "psi", "choice") for r in (7, 8, 10, 12, 15))
    """Steps of the brake pipe reduction, rising. [Pa]"""
    usable_dynamic: Cited = Cited(0.85, "", "choice")
    """Share of the dynamic brake that a plan may use. [-]"""
    short_time: Cited = Cited(0, "minutes", "choice")
    """On a climb more than the continuous effort may be used so long, below minimum continuous speed. [s]"""


SCREW_LIMITS = Limits(draft=Cited(450, "kn", "mem"), draft_caution=Cited(400, "kn", "choice"))
"""Where a vehicle has screw couplings: about what they carry when a train starts."""
GRADUATED_HANDLING = Handling(
    margin=Cited(3, "kmh", "choice"), reductions=tuple(Cited(r / 10, "bar", "mem") for r in range(5, 16))
)
"""Graduated release: first step 0.5 bar, then tenths to full service 1.5 bar below."""
DIRECT_PIPE, GRADUATED_PIPE = Cited(90, "psi", "prac"), Cited(5, "bar", "prac")


@dataclass(frozen=True, kw_only=True)
class Train:
    """A whole train, checked once; derived values are properties."""

    name: str
    """As the train file has it."""
    train_class: str = ""
    """Which of the territory's speed limits concern it; "" for all."""
    units: Literal["us", "metric"] = "metric"
    """What people read."""
    blocks: tuple[Block, ...]
    """From the head."""
    air_brake: AirBrake
    """How it releases."""
    brake_position: BrakePosition = "P"
    """With graduated release: fast (P) or slow (G) filling."""
    pipe_pressure: Cited
    """Brake pipe, charged. [Pa]"""
    rail: Rail = "dry"
    """Adhesion goes by it."""
    weather: Weather = "mild"
    """Starting resistance goes by it."""
    curve_resistance: CurveResistance = "per degree"
    """The law of it: so much a degree, as the line compensates, or Röckl's."""
    limits: Limits = Limits()
    """What couplers, track and custom allow."""
    handling: Handling = Handling()
    """How the crew acts."""
    assumed: tuple[str, ...] = ()
    """Keys of [train] that the file does not give: their values are our defaults. Numbers tell that themselves."""

    def __post_init__(self) -> None:
        if not self.blocks:
            raise InputError(self.name, "there are no vehicles", "add a [[block]]")
        if not any(block.working for block in self.blocks):
            raise InputError(self.name, "no locomotive pulls", "add one, or isolate fewer")

    def _each(self, values: list[float]) -> FloatArray:
        return np.array(values, dtype=float)

    @property
    def counts(self) -> FloatArray:
        """Vehicles. [-], shape (blocks,)"""
        return np.array([b.count for b in self.blocks], dtype=int)

    @property
    def lengths(self) -> FloatArray:
        """Of whole blocks. [m], shape (blocks,)"""
        return self._each([b.count * b.vehicle.length for b in self.blocks])

    @property
    def masses(self) -> FloatArray:
        """Of whole blocks. [kg], shape (blocks,)"""
        return self._each([b.count * b.vehicle.mass for b in self.blocks])

    @property
    def rotating_masses(self) -> FloatArray:
        """Of whole blocks, rotating parts included: what force has to accelerate. [kg], shape (blocks,)"""
        return self._each([b.count * b.vehicle.mass * b.vehicle.rotating for b in self.blocks])

    @property
    def masses_per_metre(self) -> FloatArray:
        """[kg/m], shape (blocks,)"""
        return self._each([b.vehicle.mass_per_metre for b in self.blocks])

    @property
    def block_axles(self) -> FloatArray:
        """Axles of whole blocks. [-], shape (blocks,)"""
        return np.array([b.count * b.vehicle.axles for b in self.blocks], dtype=int)

    @property
    def heads(self) -> FloatArray:
        """Head end of every block behind the head end of the train; the first is 0. [m], shape (blocks,)"""
        return self.tails - self.lengths

    @property
    def tails(self) -> FloatArray:
        """Rear end of every block behind the head end of the train; the last is its length. [m], shape (blocks,)"""
        return np.cumsum(self.lengths)

    @property
    def mass_to_tail(self) -> FloatArray:
        """Mass from the head end to the rear end of every block. [kg], shape (blocks,)"""
        return np.cumsum(self.masses)

    @property
    def length(self) -> float:
        """[m]"""
        return float(self.lengths.sum())

    @property
    def mass(self) -> float:
        """[kg]"""
        return float(self.masses.sum())

    @property
    def rotating_mass(self) -> float:
        """Mass that force has to accelerate. [kg]"""
        return float(self.rotating_masses.sum())

    @property
    def trailing_mass(self) -> float:
        """Cars, and locomotives that do not pull (49 CFR 232.407). [kg]"""
        return float(sum((b.count - b.working) * b.vehicle.mass for b in self.blocks))

    @property
    def axles(self) -> int:
        """All axles."""
        return int(self.block_axles.sum())

    @property
    def vehicles(self) -> int:
        """All vehicles; an articulated set is one."""
        return int(self.counts.sum())

    @property
    def power(self) -> float:
        """At the rail, of all units that pull. [W]"""
        return float(sum(b.working * b.vehicle.traction.rail_power for b in self.blocks if b.vehicle.traction))

    @property
    def operative_brakes(self) -> float:
        """Working air brakes of cars; each platform of an articulated set counts one. [-]"""
        cars = (b for b in self.blocks if b.vehicle.kind == "car")
        return float(sum(b.count * b.vehicle.platforms * b.vehicle.brake.operative for b in cars))

    @property
    def vehicle_block(self) -> FloatArray:
        """Block to which every vehicle belongs. [-], shape (vehicles,)"""
        return np.repeat(np.arange(len(self.blocks)), self.counts)

    @property
    def vehicle_heads(self) -> FloatArray:
        """Head end of every vehicle behind the head end of the train. [m], shape (vehicles,)"""
        lengths = self._each([b.vehicle.length for b in self.blocks])[self.vehicle_block]
        return np.cumsum(lengths) - lengths

    @property
    def groups(self) -> tuple[Group, ...]:
        """Groups of power from the head: blocks of locomotives side by side, isolated ones included."""
        found = []
        heads, tails, masses = self.heads, self.tails, self.masses
        for kind, numbers in groupby(range(len(self.blocks)), lambda i: self.blocks[i].vehicle.kind):
            if kind == "locomotive":
                run = list(numbers)
                a, b = run[0], run[-1]
                place: Place = "head" if a == 0 else "rear" if b == len(self.blocks) - 1 else "mid"
                working = sum(self.blocks[i].working for i in run)
                mass = float(masses[a : b + 1].sum())
                found.append(Group(a, b, place, working, float(heads[a]), float(tails[b]), mass))
        return tuple(found)
