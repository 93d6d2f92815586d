"""Locomotives by generic trade description."""

from __future__ import annotations

from profiler.catalogue.common import (
    COUPLER,
    DIESEL_EFFICIENCY,
    INDEPENDENT,
    LOCOMOTIVE_RESISTANCE,
    NOTCHES,
    ROTATING_LOCOMOTIVE,
    SCREW_COUPLER,
    WORKING,
)
from profiler.cited import Cited
from profiler.vehicle import Brake, Coupler, DynamicBrake, Traction, Vehicle


def _locomotive(
    name: str,
    *,
    length: Cited,
    mass: Cited,
    axles: int,
    traction: Traction,
    dynamic: DynamicBrake,
    coupler: Coupler = "automatic",
    coupler_length: Cited = COUPLER,
) -> Vehicle:
    return Vehicle(
        name=name,
        like=name,
        kind="locomotive",
        length=length,
        mass=mass,
        tare=mass,
        axles=axles,
        resistance=LOCOMOTIVE_RESISTANCE,
        rotating=ROTATING_LOCOMOTIVE,
        brake=Brake(operative=WORKING),
        independent=INDEPENDENT,
        traction=traction,
        dynamic=dynamic,
        coupler=coupler,
        coupler_length=coupler_length,
    )


LOCOMOTIVES = (
    _locomotive(
        "AC six-axle locomotive",
        length=Cited(74, "ft", "prac"),
        mass=Cited(208, "short_tons", "prac"),
        axles=6,
        traction=Traction(
            driven_axles=6,
            power=Cited(4300, "hp", "prac"),
            efficiency=DIESEL_EFFICIENCY,
            starting_effort=Cited(170, "kips", "prac"),
            control="axle",
            notches=NOTCHES,
        ),
        dynamic=DynamicBrake(
            peak=Cited(115, "kips", "mem"),
            fade=Cited(6, "mph", "choice"),
            knee=Cited(20, "mph", "choice"),
            adhesion=Cited(0.28, "", "prac"),
        ),
    ),
    _locomotive(
        "DC six-axle locomotive",
        length=Cited(69, "ft", "prac"),
        mass=Cited(184, "short_tons", "prac"),
        axles=6,
        traction=Traction(
            driven_axles=6,
            power=Cited(3000, "hp", "S15"),
            efficiency=DIESEL_EFFICIENCY,
            starting_effort=Cited(92, "kips", "mem"),
            continuous_effort=Cited(82_100, "lbf", "S15"),
            continuous_speed=Cited(11, "mph", "S15"),
            control="truck",
            notches=NOTCHES,
        ),
        dynamic=DynamicBrake(  # 10,000 lbf per axle at 23 mph, 5,700 at 40: constant power between
            peak=Cited(60, "kips", "S30"),
            fade=Cited(23, "mph", "S30"),
            knee=Cited(23, "mph", "S30"),
            adhesion=Cited(0.20, "", "choice"),
        ),
    ),
    _locomotive(
        "four-axle electric locomotive",
        length=Cited(19, "m", "prac"),
        mass=Cited(86, "t", "prac"),
        axles=4,
        traction=Traction(
            driven_axles=4,
            power=Cited(5600, "kw", "prac"),
            efficiency=Cited(1, "", "choice"),  # its power is rated at the rail
            starting_effort=Cited(300, "kn", "prac"),
            control="axle",
            notches=NOTCHES,
        ),
        dynamic=DynamicBrake(
            peak=Cited(150, "kn", "mem"),
            fade=Cited(8, "kmh", "choice"),
            knee=Cited(50, "kmh", "choice"),
            adhesion=Cited(0.18, "", "choice"),
        ),
        coupler="screw",
        coupler_length=SCREW_COUPLER,
    ),
)
