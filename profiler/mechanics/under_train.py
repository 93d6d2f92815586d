"""What lies under a train wherever its head end stands: block by block, never vehicle by vehicle.

A block of like vehicles from a to e behind the head has one mass per metre ρ, so its share of the weight along
the track is g·ρ·(z(s − a) − z(s − e)): the difference of two heights. With all blocks together every boundary
between them counts once, by the step of ρ there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.mechanics.terrain import Terrain
from profiler.train import Train
from profiler.units import GRAVITY, FloatArray


@dataclass(frozen=True, eq=False)
class Spread:
    """A weight along the length of a train, constant between ``edge`` (b + 1,), distances behind the head [m].

    ``density`` (b,) is the weight of a metre there: mass [kg/m], or mass times what else concerns it.
    """

    edge: FloatArray
    density: FloatArray

    @property
    def total(self) -> float:
        """All of it: the mass. [kg]"""
        return float((np.diff(self.edge) * self.density).sum())

    @property
    def length(self) -> float:
        """Of the train. [m]"""
        return float(self.edge[-1])

    def merged(self) -> Spread:
        """The same with one stretch where neighbours weigh alike: splitting a block changes nothing."""
        keep = np.r_[True, np.diff(self.density) != 0]
        return Spread(np.r_[self.edge[:-1][keep], self.edge[-1]], self.density[keep])


def spread_of(train: Train) -> Spread:
    """The mass of a train along its length."""
    return Spread(np.r_[0.0, train.tails], train.masses_per_metre)


@dataclass(frozen=True, eq=False)
class UnderTrain:
    """A train on the terrain for head positions ``head`` (h,) by distance travelled [m].

    Arrays are (h,), or (d, h) where the terrain has d lines of heights. ``grade`` [m/m] is the mass-weighted mean
    grade under it, + uphill as travelled; ``curve_grade`` [m/m] the grade that the curves under it are worth to a
    running train; ``mass`` [kg] that of the train.
    """

    head: FloatArray
    grade: FloatArray
    curve_grade: FloatArray
    mass: float

    @property
    def grade_force(self) -> FloatArray:
        """Weight along the track, + holding the train back. [N]"""
        return GRAVITY * self.mass * self.grade

    @property
    def curve_force(self) -> FloatArray:
        """Curve resistance of the running train. [N]"""
        return GRAVITY * self.mass * self.curve_grade


def under_train(terrain: Terrain, spread: Spread, head: FloatArray | None = None) -> UnderTrain:
    """Grade and curves under a train.

    Parameters
    ----------
    terrain : Terrain
    spread : Spread
    head : ndarray, shape (h,), optional
        Head positions by distance travelled [m]; every station of the terrain if not given.

    Returns
    -------
    UnderTrain

    Notes
    -----
    Before the line begins and beyond its end the first and the last grade go on, straight.
    Cost: (blocks + 1) passes over the head positions.
    """
    mass = spread.total
    grade, curve_grade = (
        rise_under(terrain, height, spread, head) / mass for height in (terrain.elevation, terrain.curve_rise)
    )
    return UnderTrain(terrain.way if head is None else np.asarray(head, float), grade, curve_grade, mass)


def rise_under(terrain: Terrain, height: FloatArray, spread: Spread, head: FloatArray | None = None) -> FloatArray:
    """Σ ρ (z(s − a) − z(s − e)) over the blocks of a train for every head position s: a force over gravity. [kg]

    Of heights z (n,) [m] at the stations of a terrain, or of (d, n) at once: elevations, or what curves are worth;
    parameters and ends of the line as in `under_train`.
    """
    spread = spread.merged()
    weight = np.diff(np.r_[0.0, spread.density, 0.0])
    if head is None and terrain.even:
        return _rise_at_stations(terrain.way, height, spread.edge, weight)
    head = terrain.way if head is None else np.asarray(head, dtype=float)
    total = np.zeros((*height.shape[:-1], *head.shape))
    for back, w in zip(spread.edge, weight, strict=True):
        total += w * height_at(terrain.way, height, head - back)
    return total


def height_at(way: FloatArray, height: FloatArray, at: FloatArray) -> FloatArray:
    """Heights [m] at distances [m], the first and the last slope going on beyond the ends.

    Of several lines at once where ``height`` is (d, n) and ``at`` (h,): (d, h).
    """
    first = (height[..., 1] - height[..., 0]) / (way[1] - way[0])
    last = (height[..., -1] - height[..., -2]) / (way[-1] - way[-2])
    before, beyond = np.minimum(at - way[0], 0.0), np.maximum(at - way[-1], 0.0)
    if height.ndim == 1:
        return np.asarray(np.interp(at, way, height) + first * before + last * beyond)
    x = np.clip(at, way[0], way[-1])
    i = np.clip(np.searchsorted(way, x, side="right") - 1, 0, way.size - 2)
    share = (x - way[i]) / (way[i + 1] - way[i])
    inside = height[:, i] * (1 - share) + height[:, i + 1] * share
    return np.asarray(inside + first[:, None] * before + last[:, None] * beyond)


def _rise_at_stations(way: FloatArray, height: FloatArray, edge: FloatArray, weight: FloatArray) -> FloatArray:
    """The same at the stations: equally far apart, so every boundary is one shift of the heights."""
    step = way[1] - way[0]
    reach = int(np.ceil(edge[-1] / step)) + 2
    lead = height[..., :1] + (height[..., 1:2] - height[..., :1]) * np.arange(-reach, 0)
    level = np.concatenate((lead, height[..., :-1]), axis=-1)
    count = height.shape[-1] - 1
    total, part = np.zeros(height.shape), np.empty((*height.shape[:-1], count))
    body = total[..., :count]
    for back, w in zip(edge, weight, strict=True):
        whole, share = divmod(back / step, 1.0)
        start = reach - int(whole)
        np.multiply(level[..., start : start + count], w * (1 - share), out=part)
        body += part
        if share > 0:
            np.multiply(level[..., start - 1 : start - 1 + count], w * share, out=part)
            body += part
    ends = way[-1] - edge
    total[..., count] = height_at(way, height, ends) @ weight
    return total
