"""Where things along a route lie on the globe, cut at the 180° meridian where a format asks for it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from profiler.route import Route
from profiler.units import FloatArray


def position(route: Route, chainage: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Longitude and latitude (n,) at chainages (n,) [m], as continuous as the route's. [degree]"""
    return (
        np.interp(np.asarray(chainage), route.chainage, route.longitude),
        np.interp(np.asarray(chainage), route.chainage, route.latitude),
    )


def along(route: Route, start: float, end: float) -> FloatArray:
    """Both ends of a stretch and the stations between them. [m]"""
    first, last = np.searchsorted(route.chainage, [start, end], side="right")
    between = route.chainage[first:last]
    return np.r_[start, between[between < end], end]


def cut_at_meridian(points: FloatArray) -> list[FloatArray]:
    """Cut a line where it crosses the 180° meridian.

    Parameters
    ----------
    points : ndarray, shape (n, k)
        Longitude first, continuous [degree]; other columns change evenly between two points.

    Returns
    -------
    list of ndarray, shapes (m, k)
        The parts in order, longitudes −180 to 180; where one ends at ±180 the next begins at ∓180.

    Notes
    -----
    RFC 7946, section 3.1.9.
    """
    turns = np.floor((points[:, 0] + 180.0) / 360.0)
    crossings = np.flatnonzero(np.diff(turns))
    if not crossings.size:
        return [_turned(points, turns[0])]
    parts, head = [], points[:0]
    starts = np.r_[0, crossings + 1]
    for start, at in zip(starts, crossings, strict=False):
        a, b = points[at], points[at + 1]
        meridian = 360.0 * max(turns[at], turns[at + 1]) - 180.0
        between = a + (meridian - a[0]) / (b[0] - a[0]) * (b - a)
        parts.append(_turned(np.vstack([head, points[start : at + 1], between]), turns[at]))
        head = between[None]
    parts.append(_turned(np.vstack([head, points[starts[-1] :]]), turns[-1]))
    # a point on the meridian itself is there twice now, and where a line only touches it, a part is one point
    parts = [part[np.r_[True, (np.diff(part, axis=0) != 0).any(axis=1)]] for part in parts]
    return [part for part in parts if len(part) > 1]


def _turned(part: FloatArray, turns: float) -> FloatArray:
    return np.column_stack([part[:, 0] - 360.0 * turns, part[:, 1:]])
