"""A line as a train feels it in one direction of travel: how high it lies, and what its curves add up to."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.integrate import cumulative_trapezoid

from profiler.errors import InputError
from profiler.profile import Profile
from profiler.route import DIRECTIONS
from profiler.train import Train
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


def as_met_by(profile: Profile, train: Train) -> Profile:
    """The profile with the curve resistance that a train's file asks for: that of all that is told of the train."""
    if profile.curve_resistance == train.curve_resistance:
        return profile
    return dataclasses.replace(profile, curve_resistance=train.curve_resistance)


def terrain_of(profile: Profile, direction: str = "with") -> Terrain:
    """The terrain of a profile for one direction of travel, curves by the profile's own resistance (`as_met_by`).

    Parameters
    ----------
    profile : Profile
    direction : str
        "with" or "against" chainage.

    Raises
    ------
    InputError
        If the direction is neither "with" nor "against".
    """
    if direction not in DIRECTIONS:
        raise InputError("direction", f"{direction!r} is none", f"give {' or '.join(map(repr, DIRECTIONS))}")
    way, elevation, worth = profile.chainage - profile.chainage[0], profile.elevation, profile.curve_worth
    if direction == "against":
        way, elevation, worth = way[-1] - way[::-1], elevation[::-1], worth[::-1]
    return Terrain(way, elevation, cumulative_trapezoid(worth, way, initial=0.0), direction)


def drawn_elevations(profile: Profile, direction: str = "with") -> FloatArray:
    """Elevation (d, n) [m] of every draw of a profile at the stations of its terrain."""
    drawn = profile.draws.at(profile.chainage)
    return drawn if direction == "with" else drawn[:, ::-1]
