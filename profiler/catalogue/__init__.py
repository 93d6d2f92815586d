"""Generic vehicles by trade description, no makers and no models; every figure with its source."""

from __future__ import annotations

from profiler.catalogue.cars import CARS
from profiler.catalogue.common import PLAIN_CAR, PLAIN_LOCOMOTIVE
from profiler.catalogue.locomotives import LOCOMOTIVES
from profiler.vehicle import Vehicle

CATALOGUE: dict[str, Vehicle] = {vehicle.name: vehicle for vehicle in (*LOCOMOTIVES, *CARS)}
PLAIN: dict[str, Vehicle] = {vehicle.name: vehicle for vehicle in (PLAIN_CAR, PLAIN_LOCOMOTIVE)}

__all__ = ["CATALOGUE", "PLAIN"]
