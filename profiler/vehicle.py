"""One vehicle of a train: what it weighs, how it rolls, pulls and brakes.

Every figure is a `Cited` float in SI; formulas that use them live in `profiler.mechanics`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from profiler.cited import Cited
from profiler.errors import InputError

Kind = Literal["locomotive", "car"]
Bearing = Literal["roller", "plain"]
Shoe = Literal["composition", "cast iron"]
Coupler = Literal["automatic", "screw"]
AdhesionControl = Literal["axle", "truck", "none", "Curtius-Kniffler"]

LONG_CAR, SHORT_CAR = Cited(80, "ft", "S60"), Cited(45, "ft", "S60")
"""From, and up to, this length a car counts as long, or short, where both stand side by side. [m]"""


@dataclass(frozen=True, kw_only=True)
class Davis1926:
    """Original Davis formula; constants that all vehicles share are in `mechanics.resistance`."""

    area: Cited
    """Frontal area. [m²]"""
    factor: Cited
    """Adjusted Davis: what the whole is multiplied with, 1 for equipment before 1950. [-]"""


@dataclass(frozen=True, kw_only=True)
class ModifiedDavis1970:
    """Modified Davis formula of the AREA, 1970."""

    k: Cited
    """Air resistance per vehicle. [N·s²/m²]"""


@dataclass(frozen=True, kw_only=True)
class CanadianNational1990:
    """Canadian National formula, as AREMA has printed it since 1990."""

    streamlining: Cited
    """C of the formula. [-]"""
    leading: Cited | None = None
    """C of a vehicle at the head of the train, if another. [-]"""
    area: Cited
    """Frontal area. [m²]"""


@dataclass(frozen=True, kw_only=True)
class RunDown:
    """A + B·v + C·v² of one vehicle, found by run-down tests."""

    a: Cited  # [N]
    b: Cited  # [N·s/m]
    c: Cited  # [N·s²/m²]


@dataclass(frozen=True, kw_only=True)
class Strahl:
    """Strahl's formula for freight vehicles."""

    base: Cited
    """Resistance at rest over weight. [-]"""
    air: Cited
    """0.05 for mixed freight, 0.1 for empties, per (10 km/h)² and per mille. [-]"""


Resistance = Davis1926 | ModifiedDavis1970 | CanadianNational1990 | RunDown | Strahl


@dataclass(frozen=True, kw_only=True)
class Brake:
    """Air brake of a vehicle: by its braking ratio, or by its braked weight; None where not known."""

    braking_ratio: Cited | None = None
    """Net braking ratio: shoe force at full service over weight as it runs. [-]"""
    braked_weight: Cited | None = None
    """Braked weight of UIC 544-1 over weight as it runs. [-]"""
    operative: Cited
    """Share of brakes that work. [-]"""
    shoe: Shoe = "composition"


@dataclass(frozen=True, kw_only=True)
class Notches:
    """What the notches of the throttle give, N1 first, full last."""

    running: tuple[Cited, ...]
    """Share of full power. [-]"""
    standing: tuple[Cited, ...]
    """Share of the starting effort at a stand. [-]"""


@dataclass(frozen=True, kw_only=True)
class Traction:
    """What one locomotive pulls with."""

    driven_axles: int
    power: Cited
    """Full power of the engine, or of the supply. [W]"""
    efficiency: Cited
    """Share of it that reaches the rail. [-]"""
    starting_effort: Cited
    """[N]"""
    continuous_effort: Cited | None = None
    """What heat allows for hours; None where it sets no limit. [N]"""
    continuous_speed: Cited | None = None
    """Below this speed full effort is for minutes only; None where heat sets no limit. [m/s]"""
    control: AdhesionControl
    """How wheel slip is held: by axle, by truck, not at all; or the law of Curtius and Kniffler."""
    adhesion: Cited | None = None
    """Adhesion stated for this train, whatever the rail; None: by `control` and rail. [-]"""
    notches: Notches

    @property
    def rail_power(self) -> float:
        """[W]"""
        return self.efficiency * self.power


@dataclass(frozen=True, kw_only=True)
class DynamicBrake:
    """Effort of one unit's dynamic brake over speed: rising, flat, then of constant power."""

    peak: Cited
    """[N]"""
    fade: Cited
    """Speed below which the effort falls in proportion. [m/s]"""
    knee: Cited
    """Speed above which peak·knee/v remains. [m/s]"""
    adhesion: Cited
    """Largest share of the weight on driven axles. [-]"""


@dataclass(frozen=True, kw_only=True)
class Vehicle:
    """One vehicle as it runs: a locomotive, or a car loaded or empty."""

    name: str
    """Generic trade description."""
    like: str = ""
    """Entry of the catalogue it was made from; "" for none."""
    kind: Kind
    """A locomotive, or a car."""
    length: Cited
    """Over the pulling faces of its couplers, or over its buffers. [m]"""
    mass: Cited
    """As it runs, with its load. [kg]"""
    tare: Cited
    """Empty. [kg]"""
    axles: int
    """All of them, driven or not."""
    platforms: int = 1
    """Platforms of an articulated set; each counts as one operative brake."""
    resistance: Resistance
    """Its formula, with the numbers of this vehicle."""
    bearing: Bearing = "roller"
    """Starting resistance goes by it."""
    rotating: Cited
    """Mass that has to be accelerated over mass: rotating parts included. [-]"""
    brake: Brake
    """Air brake."""
    independent: Cited | None = None
    """Force of a locomotive's own brake over its weight; None for cars. [-]"""
    traction: Traction | None = None
    """What it pulls with; None for cars."""
    dynamic: DynamicBrake | None = None
    """Dynamic brake; None without."""
    coupler: Coupler = "automatic"
    """Automatic, or screw couplings."""
    coupler_length: Cited
    """From the pivot of a coupler to its face. [m]"""

    def __post_init__(self) -> None:
        for name in ("length", "mass", "tare", "axles", "platforms"):
            if not getattr(self, name) > 0:
                raise InputError(self.name, f"the {name} is {getattr(self, name):g}", "give one above zero")
        if self.mass < self.tare:
            raise InputError(self.name, f"it weighs {self.mass:g} kg, less than empty", "correct its mass, or its tare")
        if not self.rotating >= 1:
            raise InputError(self.name, f"the rotating factor is {self.rotating:g}", "it is 1 or more")
        if self.traction is not None and not 0 < self.traction.driven_axles <= self.axles:
            raise InputError(
                self.name, f"{self.traction.driven_axles} of {self.axles} axles are driven", "correct driven_axles"
            )

    @property
    def loaded(self) -> bool:
        """Whether a car carries a load: half its tare and more."""
        return self.kind == "car" and self.mass >= 1.5 * self.tare

    @property
    def driven_mass(self) -> float:
        """Mass on driven axles, all axles loaded alike. [kg]"""
        return self.mass * self.traction.driven_axles / self.axles if self.traction else 0.0

    @property
    def size(self) -> Literal["long", "short", ""]:
        """Whether it counts as a long or a short car; each platform of a set by itself."""
        each = self.length / self.platforms
        return "long" if each >= LONG_CAR else "short" if each <= SHORT_CAR else ""

    @property
    def mass_per_axle(self) -> float:
        """[kg]"""
        return self.mass / self.axles

    @property
    def mass_per_metre(self) -> float:
        """[kg/m]"""
        return self.mass / self.length
