"""A smooth pilot line beside which vertices are offsets: near it the geometry of track is linear."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline

from profiler.alignment.smooth import GRID, SmoothedLine, earth_centred, ellipsoid_axes
from profiler.units import FloatArray

_FINE = 2.5  # [m]


@dataclass(frozen=True, eq=False)
class Pilot:
    """A line by true length along it, and the vertices by place and offset.

    ``distance`` (k,) every 10 m, the last at or beyond the last vertex [m]; ``curvature`` (k,)
    + left [1/m]; ``position`` (k, 3) geocentric [m] and ``left`` (k, 3) the unit vector to the left.
    ``place`` (v,) and ``offset`` (v,) [m, + left] of the vertices; places never fall.
    """

    distance: FloatArray
    curvature: FloatArray
    position: FloatArray
    left: FloatArray
    place: FloatArray
    offset: FloatArray


def pilot_of(line: SmoothedLine, longitude: FloatArray, latitude: FloatArray, near: FloatArray) -> Pilot:
    """A smoothed line as pilot for vertices (v,) [degree] that lie ``near`` (v,) [m] by its distance."""
    spline = CubicSpline(line.distance, earth_centred(line.longitude, line.latitude))
    count = int(np.ceil(line.distance[-1] / _FINE)) + 1
    fine = np.linspace(0.0, line.distance[-1], max(count, 2))
    along = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(spline(fine), axis=0), axis=1))]
    size = max(int(np.ceil(along[-1] / GRID - 1e-6)), 2)
    distance = np.arange(size + 1) * GRID
    at = np.interp(distance, along, fine)
    at[-1] += max(distance[-1] - along[-1], 0.0) * (fine[-1] - fine[-2]) / (along[-1] - along[-2])
    position = spline(at)
    by_length = CubicSpline(distance, position)
    place, offset = _beside(by_length, earth_centred(longitude, latitude), np.interp(near, fine, along), distance[-1])
    first, second = by_length(distance, 1), by_length(distance, 2)
    left = _left(position, first)
    curvature = (np.cross(first, second) * _up(position)).sum(axis=1) / np.linalg.norm(first, axis=1) ** 3
    return Pilot(distance, curvature, position, left, place, offset)


def _up(position: FloatArray) -> FloatArray:
    """Unit normals (n, 3) of the ellipsoid at geocentric positions (n, 3) near its surface."""
    normal = position / ellipsoid_axes() ** 2
    return normal / np.linalg.norm(normal, axis=1)[:, None]


def _left(position: FloatArray, tangent: FloatArray) -> FloatArray:
    """Unit vectors (n, 3) to the left of a way, level on the ellipsoid."""
    left = np.cross(_up(position), tangent)
    return np.asarray(left / np.linalg.norm(left, axis=1)[:, None])


def _beside(
    spline: CubicSpline, vertices: FloatArray, place: FloatArray, length: float
) -> tuple[FloatArray, FloatArray]:
    """Foot (v,) [m] of every vertex on the line and its offset (v,) [m, + left]."""
    for _ in range(4):
        off, tangent = vertices - spline(place), spline(place, 1)
        place = np.clip(place + (off * tangent).sum(axis=1) / (tangent**2).sum(axis=1), 0.0, length)
    place = np.maximum.accumulate(place)
    off, tangent = vertices - spline(place), spline(place, 1)
    return place, (off * _left(vertices, tangent)).sum(axis=1)
