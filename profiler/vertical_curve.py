"""The designer's line: tangents that meet at points of intersection (PVIs), rounded by parabolas.

A vertical curve is symmetric about its PVI: half its length before it, half after (AREMA Manual
for Railway Engineering, chapter 5). All places and lengths are horizontal distances in metres,
grades are ratios, + uphill with chainage.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from profiler.errors import InputError
from profiler.units import FOOT, PERCENT, FloatArray

STATION_100_FT = 100 * FOOT
"""The station of old design rules. [m]"""


@dataclass(frozen=True)
class Pvi:
    """A point of vertical intersection.

    ``chainage``, ``elevation`` [m] of the intersection with their standard errors; the grades of
    the tangents before and after it [m/m]; ``curve_length`` [m] from where the curve begins to where
    it ends, 0 without one; ``probability`` that there is such a change of grade here, 1 where it
    is known.
    """

    chainage: float
    elevation: float
    grade_in: float
    grade_out: float
    curve_length: float = 0.0
    chainage_se: float = 0.0
    elevation_se: float = 0.0
    probability: float = 1.0

    @property
    def change(self) -> float:
        """Change of grade A, + in a sag. [m/m]"""
        return self.grade_out - self.grade_in

    @property
    def begin(self) -> float:
        """Where the curve begins, BVC. [m]"""
        return self.chainage - self.curve_length / 2

    @property
    def end(self) -> float:
        """Where the curve ends, EVC. [m]"""
        return self.chainage + self.curve_length / 2

    @property
    def middle_offset(self) -> float:
        """How far the curve lies above the PVI, M = A·L/8. [m]"""
        return self.change * self.curve_length / 8

    @property
    def radius(self) -> float:
        """Equivalent radius L/|A|, infinite without a change. [m]"""
        return self.curve_length / abs(self.change) if self.change else np.inf

    @property
    def turning_point(self) -> tuple[float, float] | None:
        """Chainage and elevation [m] of the high or low point, None where the grade keeps its sense.

        x = −g1·L/A from the beginning of the curve, at g1 + A·x/L = 0.
        """
        if self.grade_in * self.grade_out > 0 or self.change == 0:
            return None
        x = -self.grade_in * self.curve_length / self.change
        start = self.elevation - self.grade_in * self.curve_length / 2
        return self.begin + x, start + self.grade_in * x / 2

    @property
    def turned(self) -> Pvi:
        """The same PVI met from the other side, at chainage 0."""
        return dataclasses.replace(self, chainage=-self.chainage, grade_in=-self.grade_out, grade_out=-self.grade_in)


def pvis_of(chainage: Sequence[float], elevation: Sequence[float], curve_length: Sequence[float]) -> tuple[Pvi, ...]:
    """PVIs of a polygon (k,): its first and last point are ends of tangents, not PVIs.

    Parameters
    ----------
    chainage, elevation, curve_length : sequence, shape (k,)
        The points and the lengths of their curves; those of the ends are not read. [m]

    Raises
    ------
    InputError
        If there are fewer than three points, they are out of order, or curves overlap.
    """
    s, z = np.asarray(chainage, dtype=float), np.asarray(elevation, dtype=float)
    half = np.asarray(curve_length, dtype=float) / 2
    if s.size < 3 or not (np.diff(s) > 0).all():
        raise InputError("PVIs", "they are not at least three in order of chainage", "list them in order")
    half = np.r_[0.0, half[1:-1], 0.0]
    crowded = np.flatnonzero(half[1:] + half[:-1] > np.diff(s) + 1e-6)
    if crowded.size:
        raise InputError("PVIs", f"curves overlap after {s[crowded[0]]:.1f} m", "shorten the curves")
    grade = np.diff(z) / np.diff(s)
    return tuple(
        Pvi(float(s[i]), float(z[i]), float(grade[i - 1]), float(grade[i]), float(2 * half[i]))
        for i in range(1, s.size - 1)
    )


def line_of(pvis: Sequence[Pvi], chainage: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Elevation [m] and grade [m/m] (n,) of the line of some PVIs at chainages (n,) [m].

    Between two PVIs the tangent is the straight line that joins them; before the first and after
    the last it goes on at their own grades.

    Raises
    ------
    InputError
        If there is no PVI, or two stand at one place.
    """
    place = np.array([p.chainage for p in pvis])
    if place.size == 0 or not (np.diff(place) > 0).all():
        raise InputError("PVIs", "there are none, or they are out of order", "list them in order of chainage")
    height = np.array([p.elevation for p in pvis])
    half = np.array([p.curve_length for p in pvis]) / 2
    tangent = np.r_[pvis[0].grade_in, np.diff(height) / np.diff(place), pvis[-1].grade_out]
    change = np.diff(tangent)
    x = np.asarray(chainage, dtype=float)
    after = np.searchsorted(place, x, side="right")
    from_pvi = np.maximum(after - 1, 0)
    z = height[from_pvi] + tangent[after] * (x - place[from_pvi])
    grade = tangent[after].copy()
    for i, side in ((np.maximum(after - 1, 0), 1.0), (np.minimum(after, place.size - 1), -1.0)):
        # each place feels the curve behind it and the one ahead
        own = (x >= place[i]) if side > 0 else (x < place[i])
        inside = np.where(own, half[i] - np.abs(x - place[i]), 0.0)
        reach = np.flatnonzero(inside > 0)
        u, k = inside[reach], i[reach]
        z[reach] += change[k] * u**2 / (4 * half[k])
        grade[reach] -= side * change[k] * u / (2 * half[k])
    return z, grade


def length_by_rate(change: float, rate: float) -> float:
    """Curve length [m] for a change of grade [m/m] at ``rate`` [m/m per 100 ft].

    The old rule of the AREA: main lines 0.0010 on crests and 0.0005 in sags, secondary ones twice that.
    """
    return abs(change) / rate * STATION_100_FT


def length_by_speed(change: float, speed_mph: float, acceleration: float = 0.10) -> float:
    """Least curve length [m] by the rule of the AREMA since 2002.

    L = D·V²·K/A_v in feet, at least 100 ft: D the change in %, V in mph, K = 0.0215 the square of
    the feet per second in a mile per hour over 100, A_v the vertical ``acceleration`` [ft/s²], 0.10
    for freight and 0.60 for passengers.
    """
    feet = abs(change) / PERCENT * speed_mph**2 * 0.0215 / acceleration
    return max(feet, 100.0) * FOOT


def holds(pvis: Sequence[Pvi], chainage: FloatArray, elevation: FloatArray, elevation_se: FloatArray) -> FloatArray:
    """Where (n,) bool the line of the PVIs agrees with elevations (n,) within two standard errors."""
    if not pvis:
        return np.zeros(np.size(chainage), dtype=bool)
    return np.asarray(np.abs(line_of(pvis, chainage)[0] - elevation) <= 2 * elevation_se)
