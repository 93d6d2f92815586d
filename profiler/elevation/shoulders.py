"""Places beside a line: where the ground left and right of the track is looked at."""

from __future__ import annotations

import numpy as np

from profiler.units import FloatArray

NEAR, FAR = 30.0, 50.0
"""Distances from the line [m] on cells that are not larger than the nearer one."""

SPACING = 30.0
"""The ground beside the line is looked at about this often and interpolated between. [m]"""

_EQUATOR, _FLATTENING = 6_378_137.0, 1 / 298.257223563  # WGS 84 (NGA.STND.0036)
_SQUARED = _FLATTENING * (2 - _FLATTENING)


def offsets(cell_m: float) -> tuple[float, float]:
    """Distances [m] from the line: 30 and 50 m, or 1 and 5/3 of a cell [m] that is larger."""
    scale = max(1.0, cell_m / NEAR)
    return NEAR * scale, FAR * scale


def beside(
    longitude: FloatArray, latitude: FloatArray, heading: FloatArray, distances: tuple[float, ...]
) -> tuple[FloatArray, FloatArray]:
    """Longitude and latitude (2·k, n) of places at k distances left and right of the line.

    Parameters
    ----------
    longitude, latitude : ndarray, (n,)
        Stations on WGS 84. [degree]
    heading : ndarray, (n,)
        Clockwise from north. [rad]
    distances : tuple of float
        From the line [m]; the rows are left and right of the first, left and right of the second …

    Notes
    -----
    With the radii of curvature of the ellipsoid at each station: good to millimetres at such distances.
    """
    sideways = np.repeat(distances, 2) * np.tile([-1.0, 1.0], len(distances))
    phi = np.radians(latitude)
    root = 1 - _SQUARED * np.sin(phi) ** 2
    meridian = _EQUATOR * (1 - _SQUARED) / root**1.5
    parallel = _EQUATOR / np.sqrt(root) * np.cos(phi)
    east, north = np.degrees(np.cos(heading) / parallel), np.degrees(-np.sin(heading) / meridian)
    return longitude + sideways[:, None] * east, latitude + sideways[:, None] * north


def chosen(longitude: FloatArray, latitude: FloatArray) -> FloatArray:
    """Numbers (k,) of stations about every `SPACING`, both ends among them."""
    scale = np.radians(_EQUATOR)
    east = np.diff(longitude) * scale * np.cos(np.radians(latitude[1:]))
    step = np.hypot(east, np.diff(latitude) * scale)
    usual = float(np.nanmedian(step)) if np.isfinite(step).any() else SPACING
    stride = max(1, round(SPACING / max(usual, 1e-3)))
    return np.unique(np.r_[np.arange(0, longitude.size, stride), max(longitude.size - 1, 0)])[: longitude.size]


def mean_of_sides(values: FloatArray, at: FloatArray, size: int) -> FloatArray:
    """Mean of left and right (k, size) [m] at every station, from rows (2·k, m) at some of them.

    NaN wherever one of the places that bear on a station has no ground.
    """
    both = values.reshape(-1, 2, values.shape[1]).mean(axis=1)
    return np.array([np.interp(np.arange(size), at, row) for row in both])
