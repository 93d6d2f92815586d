r"""Resistance to motion: rolling and air, curves, grade, and what it takes to start.

Every formula for level straight track is R = A + B·v + C·v² of a vehicle, so that those of a train are summed
once over its blocks. Forces are positive against the motion. [N]
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from profiler.cited import Cited
from profiler.errors import InputError
from profiler.train import Rail, Train, Weather
from profiler.units import GRAVITY, KMH, PERMILLE, SHORT_TON, FloatArray
from profiler.vehicle import (
    Bearing,
    CanadianNational1990,
    Davis1926,
    ModifiedDavis1970,
    Resistance,
    RunDown,
    Strahl,
    Vehicle,
)


@dataclass(frozen=True)
class Coefficients:
    """R = a + b·v + c·v² of a vehicle or a train, v in m/s."""

    a: float  # [N]
    b: float  # [N·s/m]
    c: float  # [N·s²/m²]

    def __call__(self, speed: npt.ArrayLike) -> FloatArray:
        """Force [N] at a speed [m/s]."""
        v = np.asarray(speed, dtype=float)
        return self.a + v * (self.b + v * self.c)

    def __add__(self, other: Coefficients) -> Coefficients:
        return Coefficients(self.a + other.a, self.b + other.b, self.c + other.c)

    def __mul__(self, factor: float) -> Coefficients:
        return Coefficients(self.a * factor, self.b * factor, self.c * factor)


# Constants as their sources print them, lbf, short tons and mph.
_DAVIS_TON, _DAVIS_AXLE = Cited(1.3, "lbf_per_short_ton", "S2"), Cited(29, "lbf_per_axle", "S2")
_DAVIS_LIGHT_ROOT, _DAVIS_LIGHT_AXLE = Cited(9.4, "lbf_per_short_ton", "M1"), Cited(12.5, "lbf_per_axle", "M1")
_DAVIS_LIGHT = Cited(5, "short_tons", "M1")
_DAVIS_FLANGE = {
    "car": Cited(0.045, "lbf_per_short_ton_mph", "S2"),
    "locomotive": Cited(0.03, "lbf_per_short_ton_mph", "M1"),
}
_DAVIS_AIR = {"car": Cited(0.0005, "lbf_per_sq_ft_mph2", "M1"), "locomotive": Cited(0.0024, "lbf_per_sq_ft_mph2", "M1")}
_AREA_TON, _AREA_AXLE = Cited(0.6, "lbf_per_short_ton", "M1"), Cited(20, "lbf_per_axle", "M1")
_AREA_FLANGE = Cited(0.01, "lbf_per_short_ton_mph", "M1")
_CN_TON, _CN_AXLE = Cited(1.5, "lbf_per_short_ton", "M1"), Cited(18, "lbf_per_axle", "M1")
_CN_FLANGE = Cited(0.03, "lbf_per_short_ton_mph", "M1")
_CN_AIR = Cited(1e-4, "lbf_per_sq_ft_mph2", "M1")


def davis_1926(mass: float, axles: int, *, area: float, locomotive: bool, factor: float = 1.0) -> Coefficients:
    """Original Davis formula of one vehicle of a mass [kg], with a frontal area [m²].

    (1.3 + 29/w + f·V)·W + d·A·V² lbf with w short tons per axle, W = n·w, V mph, A sq ft; f = 0.045 and
    d = 0.0005 for cars, 0.03 and 0.0024 for locomotives; under 5 short tons per axle 9.4/√w + 12.5/w
    (Davis 1926; Hay 1982). `factor` is that of the adjusted formula.
    """
    kind = "locomotive" if locomotive else "car"
    per_axle = mass / axles
    if per_axle < _DAVIS_LIGHT:
        a = _DAVIS_LIGHT_ROOT * mass / np.sqrt(per_axle / SHORT_TON) + _DAVIS_LIGHT_AXLE * axles
    else:
        a = _DAVIS_TON * mass + _DAVIS_AXLE * axles
    return Coefficients(float(a), _DAVIS_FLANGE[kind] * mass, _DAVIS_AIR[kind] * area) * factor


def modified_davis_1970(mass: float, axles: int, *, k: float) -> Coefficients:
    """Modified Davis formula of one vehicle of a mass [kg], with the air resistance k [N·s²/m²].

    0.6·W + 20·n + 0.01·W·V + K·V² lbf (AREA Committee 16, 1970).
    """
    return Coefficients(_AREA_TON * mass + _AREA_AXLE * axles, _AREA_FLANGE * mass, float(k))


def canadian_national_1990(mass: float, axles: int, *, streamlining: float, area: float) -> Coefficients:
    """Canadian National formula of one vehicle of a mass [kg], with a frontal area [m²].

    1.5·W + 18·n + 0.03·W·V + C·a·V²/10,000 lbf (AREMA ch. 16).
    """
    return Coefficients(_CN_TON * mass + _CN_AXLE * axles, _CN_FLANGE * mass, _CN_AIR * streamlining * area)


def strahl(mass: float, *, base: float, air: float) -> Coefficients:
    """Strahl's formula of one freight vehicle of a mass [kg]: base + (0.007 + air)·(V/10)² per mille, V km/h.

    From memory: base 2 ‰ with plain and 1.4 ‰ with roller bearings; air 0.05 mixed, 0.1 empty.
    """
    weight = mass * GRAVITY
    return Coefficients(base * weight, 0.0, (0.007 + air) * PERMILLE * weight / (10 * KMH) ** 2)


def vehicle_coefficients(vehicle: Vehicle, *, leading: bool = False) -> Coefficients:
    """Resistance of one vehicle on level straight track, by its own formula; `leading` at the head of the train."""
    formula, mass, axles = vehicle.resistance, vehicle.mass, vehicle.axles
    if isinstance(formula, Davis1926):
        locomotive = vehicle.kind == "locomotive"
        return davis_1926(mass, axles, area=formula.area, locomotive=locomotive, factor=formula.factor)
    if isinstance(formula, ModifiedDavis1970):
        return modified_davis_1970(mass, axles, k=formula.k)
    if isinstance(formula, CanadianNational1990):
        front = formula.leading if leading and formula.leading is not None else formula.streamlining
        return canadian_national_1990(mass, axles, streamlining=front, area=formula.area)
    if isinstance(formula, RunDown):
        return Coefficients(float(formula.a), float(formula.b), float(formula.c))
    return strahl(mass, base=formula.base, air=formula.air)


def block_coefficients(train: Train) -> tuple[Coefficients, ...]:
    """Resistance of each block on level straight track."""
    each = [vehicle_coefficients(block.vehicle) * block.count for block in train.blocks]
    first = train.blocks[0].vehicle
    each[0] = each[0] + vehicle_coefficients(first) * -1 + vehicle_coefficients(first, leading=True)
    return tuple(each)


def train_coefficients(train: Train) -> Coefficients:
    """Resistance of the whole train on level straight track, summed once."""
    return sum(block_coefficients(train), Coefficients(0.0, 0.0, 0.0))


@dataclass(frozen=True)
class Validity:
    """Where a formula claims to hold."""

    speed_from: Cited  # [m/s]
    speed_to: Cited  # [m/s]
    axle_from: Cited  # mass per axle [kg]


VALIDITY: dict[type[Resistance], Validity] = {
    Davis1926: Validity(Cited(5, "mph", "mem"), Cited(40, "mph", "mem"), Cited(1, "short_tons", "mem")),
    ModifiedDavis1970: Validity(Cited(5, "mph", "mem"), Cited(50, "mph", "mem"), Cited(5, "short_tons", "mem")),
    CanadianNational1990: Validity(Cited(5, "mph", "mem"), Cited(75, "mph", "mem"), Cited(5, "short_tons", "mem")),
    Strahl: Validity(Cited(10, "kmh", "mem"), Cited(100, "kmh", "mem"), Cited(3, "t", "mem")),
}
"""Of each published formula; run-down tests hold where they were made, which only their owner knows."""


@dataclass(frozen=True)
class OutsideRange:
    """A vehicle whose formula is used where it does not claim to hold."""

    vehicle: str
    formula: type[Resistance]
    quantity: str
    """"speed" [m/s] or "mass per axle" [kg]."""
    reached: float
    limit: Cited


@dataclass(frozen=True, eq=False)
class RunningResistance:
    """Resistance of a train on level straight track over speed."""

    speed: FloatArray
    """[m/s], shape (n,)"""
    force: FloatArray
    """[N], shape (n,)"""
    outside: tuple[OutsideRange, ...]
    """What was used beyond its range; empty where all is within."""


def outside_ranges(train: Train, speed: npt.ArrayLike) -> tuple[OutsideRange, ...]:
    """Formulas of a train used beyond their range at these speeds [m/s], each vehicle and quantity once."""
    v = np.atleast_1d(np.asarray(speed, dtype=float))
    found = {}
    for vehicle in (block.vehicle for block in train.blocks):
        kind = type(vehicle.resistance)
        if (valid := VALIDITY.get(kind)) is None:
            continue
        checks = (
            ("speed", float(v.min()), valid.speed_from, -1),
            ("speed", float(v.max()), valid.speed_to, 1),
            ("mass per axle", vehicle.mass_per_axle, valid.axle_from, -1),
        )
        for quantity, reached, limit, side in checks:
            if (reached - limit) * side > 1e-9 * limit:
                found[vehicle.name, quantity, side] = OutsideRange(vehicle.name, kind, quantity, reached, limit)
    return tuple(found.values())


def running_resistance(train: Train, speed: npt.ArrayLike) -> RunningResistance:
    """Resistance of a train on level straight track at speeds [m/s], and where its formulas do not claim to hold.

    Raises
    ------
    InputError
        If a speed is negative: reverse the profile instead.
    """
    v = np.atleast_1d(np.asarray(speed, dtype=float))
    if (v < 0).any():
        raise InputError("speed", f"{v.min():g} m/s is negative", "reverse the profile, not the speed")
    return RunningResistance(v, train_coefficients(train)(v), outside_ranges(train, v))


def grade_force(mass: npt.ArrayLike, grade: npt.ArrayLike) -> FloatArray:
    """Force [N] along the track of a mass [kg] on a grade [m/m], + uphill: the sine, not the tangent."""
    g = np.asarray(grade, dtype=float)
    return np.asarray(mass, dtype=float) * GRAVITY * g / np.sqrt(1 + g * g)


CURVE_START_FACTOR = Cited(2, "", "prac")
"""Curve resistance when starting, over that when running: at most. [-]"""

CURVE_HELP: dict[Rail, Cited] = {
    "dry": Cited(1, "", "choice"),
    "wet": Cited(0.5, "", "choice"),
    "poor": Cited(0.5, "", "choice"),
}
"""Share of the curve resistance that may be counted on downhill: curves help only as far as they are dry. [-]"""


@dataclass(frozen=True)
class Breakaway:
    """What it takes to start a vehicle on level straight track, over mass. [N/kg]"""

    low: Cited
    used: Cited
    high: Cited


def _breakaway(low: float, used: float, high: float) -> Breakaway:
    return Breakaway(*(Cited(x, "lbf_per_short_ton", "M2") for x in (low, used, high)))


BREAKAWAY: dict[tuple[Bearing, Weather], Breakaway] = {
    ("roller", "mild"): _breakaway(5, 5, 8),
    ("roller", "cold"): _breakaway(8, 15, 15),
    ("plain", "mild"): _breakaway(15, 20, 25),
    ("plain", "cold"): _breakaway(25, 35, 35),
}
"""Roller bearings 5 to 8 lbf per short ton, cold to 15; plain 15 to 25, cold to 35. Slack that is bunched makes
cars start one after another; here all start at once."""


def starting_resistances(train: Train) -> FloatArray:
    """Breakaway force of each block on level straight track. [N], shape (blocks,)"""
    per_mass: Sequence[float] = [BREAKAWAY[b.vehicle.bearing, train.weather].used for b in train.blocks]
    return np.asarray(per_mass, dtype=float) * train.masses
