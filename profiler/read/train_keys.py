"""Keys of a train file: which figure of the train each one is, in which units, within which bounds.

One table for reading and for writing. A key is the stem, and the unit after an underscore where there is one.
"""

from __future__ import annotations

from dataclasses import dataclass

from profiler.cited import Cited

LENGTH, MASS = ("m", "ft"), ("t", "short_tons", "kg", "lb")
FORCE, SPEED = ("kn", "kips", "n", "lbf"), ("kmh", "mph", "m_s")
POWER, PRESSURE, AREA = ("kw", "hp", "w"), ("bar", "psi", "kpa", "pa"), ("m2", "sq_ft")
SHARE, PLAIN, SECONDS = ("pct",), ("",), ("seconds",)
MINUTES = ("minutes", "seconds")

US_UNITS = {"ft", "in", "short_tons", "lb", "kips", "lbf", "mph", "hp", "psi", "sq_ft", "lbf_per_mph2"}
"""Where a file uses one of these, people read US units unless it says otherwise."""


@dataclass(frozen=True)
class Quantity:
    """A figure: the place in the noun, units for its key, least and greatest value in SI."""

    path: tuple[str, ...]
    units: tuple[str, ...]
    low: float
    high: float

    def keys(self, stem: str) -> dict[str, str]:
        """Unit by key."""
        return {f"{stem}_{unit}" if unit else stem: unit for unit in self.units}


BLOCK = {
    "length": Quantity(("length",), LENGTH, 2, 200),
    "mass": Quantity(("mass",), MASS, 500, 1e6),
    "tare": Quantity(("tare",), MASS, 500, 1e6),
    "rotating_factor": Quantity(("rotating",), PLAIN, 1, 1.5),
    "coupler_length": Quantity(("coupler_length",), LENGTH, 0.1, 3),
    "braking_ratio": Quantity(("brake", "braking_ratio"), SHARE, 0.01, 0.6),
    "braked_weight": Quantity(("brake", "braked_weight"), SHARE, 0.05, 3),
    "operative_brakes": Quantity(("brake", "operative"), SHARE, 0, 1),
    "independent_brake": Quantity(("independent",), SHARE, 0, 0.4),
    "power": Quantity(("traction", "power"), POWER, 1e4, 2e7),
    "efficiency": Quantity(("traction", "efficiency"), SHARE, 0.05, 1),
    "starting_effort": Quantity(("traction", "starting_effort"), FORCE, 1e3, 2e6),
    "continuous_effort": Quantity(("traction", "continuous_effort"), FORCE, 1e3, 2e6),
    "continuous_speed": Quantity(("traction", "continuous_speed"), SPEED, 0, 60),
    "adhesion": Quantity(("traction", "adhesion"), PLAIN, 0.03, 0.5),
    "dynamic_effort": Quantity(("dynamic", "peak"), FORCE, 1e3, 2e6),
    "dynamic_fade": Quantity(("dynamic", "fade"), SPEED, 0.1, 60),
    "dynamic_knee": Quantity(("dynamic", "knee"), SPEED, 0.1, 60),
    "dynamic_adhesion": Quantity(("dynamic", "adhesion"), PLAIN, 0.03, 0.5),
}
TRAIN = {"brake_pipe": Quantity(("pipe_pressure",), PRESSURE, 2e5, 1.1e6)}
LIMITS = {
    "draft": Quantity(("draft",), FORCE, 1e4, 5e6),
    "draft_caution": Quantity(("draft_caution",), FORCE, 1e4, 5e6),
    "buff": Quantity(("buff",), FORCE, 1e4, 5e6),
    "dynamic_axles": Quantity(("dynamic_axles",), PLAIN, 1, 500),
}
HANDLING = {
    "margin": Quantity(("margin",), SPEED, 0, 10),
    "notch": Quantity(("notch_time",), SECONDS, 0.1, 60),
    "pause": Quantity(("pause",), SECONDS, 0, 120),
    "usable_dynamic_share": Quantity(("usable_dynamic",), PLAIN, 0.05, 1),
    "short_time": Quantity(("short_time",), MINUTES, 0, 7200),
}
RESISTANCE = {
    "factor": Quantity(("factor",), PLAIN, 0.1, 5),
    "area": Quantity(("area",), AREA, 0.5, 40),
    "k": Quantity(("k",), ("lbf_per_mph2", "n_per_kmh2"), 0, 100),
    "streamlining": Quantity(("streamlining",), PLAIN, 0.1, 60),
    "leading": Quantity(("leading",), PLAIN, 0.1, 60),
    "a": Quantity(("a",), ("n",), 0, 1e6),
    "b": Quantity(("b",), ("n_per_kmh", "n_per_m_s"), 0, 1e5),
    "c": Quantity(("c",), ("n_per_kmh2", "n_per_m2_s2"), 0, 1e4),
    "base": Quantity(("base",), ("permille",), 0, 0.05),
    "air": Quantity(("air",), PLAIN, 0, 0.5),
}

CODES = {
    "name": ("name",),
    "axles": ("axles",),
    "platforms": ("platforms",),
    "bearing": ("bearing",),
    "coupler": ("coupler",),
    "shoe": ("brake", "shoe"),
    "driven_axles": ("traction", "driven_axles"),
    "adhesion_control": ("traction", "control"),
}
"""Keys of a block that are words or whole numbers."""


def value_at(noun: object, path: tuple[str, ...]) -> object:
    """What stands at a path of fields; None where a part is missing."""
    for name in path:
        noun = None if noun is None else getattr(noun, name)
    return noun


def figure_at(noun: object, path: tuple[str, ...]) -> Cited | None:
    """The figure at a path of fields, if there is one."""
    found = value_at(noun, path)
    return found if isinstance(found, Cited) else None
