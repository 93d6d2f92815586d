"""A first line along the route, near enough to the rail for a wide window about it to hold the rail."""

from __future__ import annotations

import numpy as np
from scipy.linalg import solveh_banded

from profiler.units import FloatArray

CUT_OFF = 4000.0
"""Wavelength that the line still follows by half. [m]"""

BELOW, ABOVE = 50.0, 80.0
"""Ground farther than this from the lower cone is not followed. [m]"""


def first_line(ground: FloatArray, valid: FloatArray, spacing: float, max_grade: float) -> FloatArray:
    """A stiff line, indifferent to wild values, that does not follow a mountain.

    The lower cone is the highest line of at most the bound's grade that stays below the ground:
    over a mountain that nobody tagged as a tunnel it runs near the rail, while any mean runs over
    the top.

    Parameters
    ----------
    ground : ndarray, shape (k,)
        Mean ground over intervals of ``spacing``. [m]
    valid : ndarray of bool, shape (k,)
        Which of them say anything; at least two do.
    spacing : float
        [m]
    max_grade : float
        [m/m]

    Returns
    -------
    ndarray, shape (k + 1,)
        Elevation at the nodes. [m]
    """
    middle = np.arange(ground.size)
    filled = np.interp(middle, np.flatnonzero(valid), ground[valid])
    climb = middle * spacing * max_grade
    forward = np.minimum.accumulate(filled - climb) + climb
    backward = np.minimum.accumulate((filled + climb)[::-1])[::-1] - climb
    cone = np.minimum(forward, backward)
    target = np.clip(filled, cone - BELOW, cone + ABOVE)
    stiffness = (CUT_OFF / spacing / (2 * np.pi)) ** 4
    weight = valid.astype(float)
    for _ in range(10):
        line = _whittaker(target, weight, stiffness)
        spread = 1.4826 * float(np.median(np.abs(target - line)[valid])) + 0.5
        weight = valid / (1 + ((target - line) / (2 * spread)) ** 2)
    return np.interp(np.arange(ground.size + 1) - 0.5, middle, line)


def _whittaker(value: FloatArray, weight: FloatArray, stiffness: float) -> FloatArray:
    """Least second difference beside least squares (Whittaker 1923, On a new method of graduation)."""
    size = value.size
    band = np.zeros((3, size))
    for a, left in enumerate((1.0, -2.0, 1.0)):
        for b, right in enumerate((1.0, -2.0, 1.0)):
            if b >= a and size > 2:
                band[b - a, a : a + size - 2] += stiffness * left * right
    band[0] += weight + 1e-6
    return np.asarray(solveh_banded(band, (weight + 1e-6) * value, lower=True, check_finite=False))
