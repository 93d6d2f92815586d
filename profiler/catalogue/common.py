"""What many vehicles share, and the plain vehicles a train file starts from where it names none."""

from __future__ import annotations

from profiler.cited import Cited
from profiler.vehicle import Brake, CanadianNational1990, ModifiedDavis1970, Notches, Traction, Vehicle

NOTCHES = Notches(
    running=tuple(Cited(x, "pct", "mem") for x in (4.5, 11.5, 23.5, 35, 48.5, 64, 85, 100)),
    standing=tuple(Cited(x, "", "choice") for x in (0.15, 0.30, 0.45, 0.60, 0.75, 0.88, 0.95, 1.0)),
)
"""Shares of power as for US locomotives in eight notches; effort at a stand is our choice."""

WORKING = Cited(100, "pct", "prac")
ROTATING_LOADED, ROTATING_EMPTY = Cited(1.04, "", "mem"), Cited(1.09, "", "mem")
ROTATING_LOCOMOTIVE = Cited(1.15, "", "mem")
INDEPENDENT = Cited(9, "pct", "mem")
COUPLER = Cited(2.4, "ft", "mem")
SCREW_COUPLER = Cited(0.5, "m", "mem")

MODIFIED_DAVIS = ModifiedDavis1970(k=Cited(0.07, "lbf_per_mph2", "S1"))
CONTAINERS_DAVIS = ModifiedDavis1970(k=Cited(0.0935, "lbf_per_mph2", "S1"))
LOCOMOTIVE_RESISTANCE = CanadianNational1990(
    streamlining=Cited(5.5, "", "M1"), leading=Cited(24, "", "M1"), area=Cited(160, "sq_ft", "M1")
)
DIESEL_EFFICIENCY = Cited(308 / 375, "", "S11")
"""308·hp/V lbf instead of 375: of the engine's power 82 % reaches the rail."""

PLAIN_CAR = Vehicle(
    name="car",
    kind="car",
    length=Cited(50, "ft", "choice"),
    mass=Cited(100, "short_tons", "choice"),
    tare=Cited(30, "short_tons", "choice"),
    axles=4,
    resistance=MODIFIED_DAVIS,
    rotating=ROTATING_LOADED,
    brake=Brake(operative=WORKING),
    coupler_length=COUPLER,
)
PLAIN_LOCOMOTIVE = Vehicle(
    name="locomotive",
    kind="locomotive",
    length=Cited(70, "ft", "choice"),
    mass=Cited(200, "short_tons", "choice"),
    tare=Cited(200, "short_tons", "choice"),
    axles=6,
    resistance=LOCOMOTIVE_RESISTANCE,
    rotating=ROTATING_LOCOMOTIVE,
    brake=Brake(operative=WORKING),
    independent=INDEPENDENT,
    traction=Traction(
        driven_axles=6,
        power=Cited(3000, "hp", "choice"),
        efficiency=DIESEL_EFFICIENCY,
        starting_effort=Cited(90, "kips", "choice"),
        control="none",
        notches=NOTCHES,
    ),
    coupler_length=COUPLER,
)
"""A train file without `like` must state what these leave open: length, mass, axles; power and starting effort."""
