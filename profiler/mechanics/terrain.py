"""A line as a train feels it in one direction of travel: how high it lies, and what its curves add up to."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.integrate import cumulative_trapezoid

from profiler.errors import InputError
from profiler.profile import Profile
from profiler.route import DIRECTIONS
from profiler.units import FloatArray


@dataclass(frozen=True, eq=False)
class Terrain:
    """Heights along the way of travel; arrays are (n,).

    ``way`` is the distance travelled from where travel begins, strictly increasing [m]; ``elevation`` of the
    rail [m]; ``curve_rise`` the climb that the curves up to there are worth [m]: curve resistance over weight,
    summed, so that what they cost between two places is one difference, as the climb between them is.
    ``direction`` is "with" or "against" chainage; ``length`` is that of the route [m].
    """

    way: FloatArray
    elevation: FloatArray
    curve_rise: FloatArray
    direction: str = "with"

    @property
    def length(self) -> float:
        """Of the line. [m]"""
        return float(self.way[-1])

    @cached_property
    def even(self) -> bool:
        """Whether all stations but the last lie equally far apart."""
        step = np.diff(self.way)
        return bool(np.ptp(step[:-1]) <= 1e-6 * step[0]) if step.size > 1 else False

    def chainage(self, way: FloatArray | float) -> FloatArray:
        """The route's own chainage [m] of distances travelled. [m]"""
        return np.asarray(way if self.direction == "with" else self.length - np.asarray(way))

    def way_at(self, chainage: FloatArray | float) -> FloatArray:
        """Distance travelled [m] at chainages of the route. [m]"""
        return self.chainage(chainage)  # its own inverse

    def lifted(self, elevation: FloatArray) -> Terrain:
        """The same way at other heights (n,) [m]: a draw; or at many at once (d, n)."""
        return Terrain(self.way, elevation, self.curve_rise, self.direction)


def terrain_of(profile: Profile, direction: str = "with", curve_resistance: FloatArray | None = None) -> Terrain:
    """The terrain of a profile for one direction of travel.

    Parameters
    ----------
    profile : Profile
    direction : str
        "with" or "against" chainage.
    curve_resistance : ndarray, shape (n,), optional
        Force over weight of a running vehicle at the stations of the profile, in order of chainage; what the
        profile's own compensation says if not given.

    Raises
    ------
    InputError
        If the direction is neither "with" nor "against".
    """
    if direction not in DIRECTIONS:
        raise InputError("direction", f"{direction!r} is none", f"give {' or '.join(map(repr, DIRECTIONS))}")
    if curve_resistance is None:
        curve_resistance = profile.curve_compensation * np.abs(profile.degree)
    way, elevation = profile.chainage - profile.chainage[0], profile.elevation
    if direction == "against":
        way, elevation, curve_resistance = way[-1] - way[::-1], elevation[::-1], curve_resistance[::-1]
    return Terrain(way, elevation, cumulative_trapezoid(curve_resistance, way, initial=0.0), direction)


def drawn_elevations(profile: Profile, direction: str = "with") -> FloatArray:
    """Elevation (d, n) [m] of every draw of a profile at the stations of its terrain."""
    drawn = profile.draws.at(profile.chainage)
    return drawn if direction == "with" else drawn[:, ::-1]
