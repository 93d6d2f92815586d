"""Cars and wagons by generic trade description, loaded and empty.

Lengths, masses and braking ratios are round figures of common practice; a train's own papers know better.
"""

from __future__ import annotations

from profiler.catalogue.common import (
    CONTAINERS_DAVIS,
    COUPLER,
    MODIFIED_DAVIS,
    ROTATING_EMPTY,
    ROTATING_LOADED,
    SCREW_COUPLER,
    WORKING,
)
from profiler.cited import Cited
from profiler.vehicle import Brake, CanadianNational1990, Resistance, Strahl, Vehicle

AUTO_RACK = CanadianNational1990(streamlining=Cited(7.1, "", "M1"), area=Cited(170, "sq_ft", "M1"))


def _car(
    name: str,
    feet: float,
    short_tons: float,
    tare: float,
    ratio_pct: float,
    *,
    resistance: Resistance = MODIFIED_DAVIS,
    axles: int = 4,
    platforms: int = 1,
) -> Vehicle:
    """A car of North American practice."""
    return Vehicle(
        name=name,
        like=name,
        kind="car",
        length=Cited(feet, "ft", "prac"),
        mass=Cited(short_tons, "short_tons", "prac"),
        tare=Cited(tare, "short_tons", "prac"),
        axles=axles,
        platforms=platforms,
        resistance=resistance,
        rotating=ROTATING_LOADED if short_tons > tare else ROTATING_EMPTY,
        brake=Brake(braking_ratio=Cited(ratio_pct, "pct", "M5"), operative=WORKING),
        coupler_length=COUPLER,
    )


def _wagon(name: str, metres: float, tonnes: float, tare: float, braked_pct: float, axles: int) -> Vehicle:
    """A wagon of European practice, block brakes of cast iron; Strahl's figures are from memory."""
    loaded = tonnes > tare
    return Vehicle(
        name=name,
        like=name,
        kind="car",
        length=Cited(metres, "m", "prac"),
        mass=Cited(tonnes, "t", "prac"),
        tare=Cited(tare, "t", "prac"),
        axles=axles,
        resistance=Strahl(base=Cited(1.4, "permille", "mem"), air=Cited(0.05 if loaded else 0.1, "", "mem")),
        rotating=ROTATING_LOADED if loaded else ROTATING_EMPTY,
        brake=Brake(braked_weight=Cited(braked_pct, "pct", "prac"), operative=WORKING, shoe="cast iron"),
        coupler="screw",
        coupler_length=SCREW_COUPLER,
    )


CARS = (
    _car("ore car, loaded", 40, 143, 24, 11),
    _car("ore car, empty", 40, 24, 24, 30),
    _car("coal hopper, loaded", 53, 143, 22, 12),
    _car("coal hopper, empty", 53, 22, 22, 30),
    _car("covered hopper, loaded", 57, 131.5, 29, 12),
    _car("covered hopper, empty", 57, 29, 29, 30),
    _car("box car, loaded", 58, 110, 35, 11),
    _car("box car, empty", 58, 35, 35, 30),
    _car("tank car, loaded", 60, 131.5, 37, 11),
    _car("tank car, empty", 60, 37, 37, 28),
    _car("flat car, loaded", 66, 110, 32, 11),
    _car("flat car, empty", 66, 32, 32, 30),
    _car("articulated well set, loaded", 265, 330, 90, 11, resistance=CONTAINERS_DAVIS, axles=12, platforms=5),
    _car("articulated well set, empty", 265, 90, 90, 28, resistance=CONTAINERS_DAVIS, axles=12, platforms=5),
    _car("auto rack, loaded", 94, 75, 50, 13, resistance=AUTO_RACK),
    _car("auto rack, empty", 94, 50, 50, 19, resistance=AUTO_RACK),
    _wagon("four-axle bulk wagon, loaded", 12.5, 80, 22, 65, 4),
    _wagon("four-axle bulk wagon, empty", 12.5, 22, 22, 100, 4),
    _wagon("two-axle wagon, loaded", 14, 40, 14, 65, 2),
    _wagon("two-axle wagon, empty", 14, 14, 14, 100, 2),
)
"""A well set has five platforms on six trucks, each platform with its own brake."""
