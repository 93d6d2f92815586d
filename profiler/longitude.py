"""Longitudes along a line are continuous: across the 180° meridian they go on beyond 180 or −180.

Inside, a line never jumps round the world; places given on either side of the meridian are the same
place. What leaves the program for people to read lies between −180 and 180 again.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from profiler.units import FloatArray


def continuous(longitude: npt.ArrayLike) -> FloatArray:
    """Longitudes along a line (n,), counted on from the first without a jump. [degree]

    Those of a line that does not cross the meridian come back bit for bit.
    """
    return np.unwrap(np.asarray(longitude, dtype=float), period=360.0)


def toward(longitude: npt.ArrayLike, middle: npt.ArrayLike) -> FloatArray:
    """The same longitudes by whole turns nearest to others. [degree]

    Examples
    --------
    >>> float(toward(-179.5, 179.0))
    180.5
    """
    x = np.asarray(longitude, dtype=float)
    return np.asarray(x - 360.0 * np.round((x - np.asarray(middle)) / 360.0))


def wrapped(longitude: npt.ArrayLike) -> FloatArray:
    """The same longitudes between −180 and 180, as people read them. [degree]"""
    return toward(longitude, 0.0)
