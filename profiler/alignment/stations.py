"""Stations along a smoothed line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.alignment.smooth import SmoothedLine
from profiler.errors import RouteError
from profiler.units import FloatArray


@dataclass(frozen=True, eq=False)
class StationedLine:
    """Stations at equal steps of ellipsoidal length; arrays are (n,), units as in `SmoothedLine`."""

    distance: FloatArray
    longitude: FloatArray
    latitude: FloatArray
    heading: FloatArray
    curvature: FloatArray
    curvature_se: FloatArray
    lateral_se: FloatArray


def lay_stations(line: SmoothedLine, step: float) -> StationedLine:
    """Stations every ``step`` [m] or a little more or less, so that both ends are stations.

    Raises
    ------
    RouteError
        If the line is shorter than two steps.
    """
    at = line.at(station_distances(float(line.distance[-1]), step, "centreline"))
    return StationedLine(
        at.distance, at.longitude, at.latitude, at.heading, at.curvature, at.curvature_se, at.lateral_se
    )


def station_distances(length: float, step: float, source: str) -> FloatArray:
    """Distances (n,) [m] of such stations.

    Raises
    ------
    RouteError
        If the line is shorter than two steps.
    """
    count = round(length / step)
    if count < 2:
        raise RouteError(source, f"the line is only {length:.0f} m long", "give a longer line or a shorter step_m")
    return np.linspace(0.0, length, count + 1)
