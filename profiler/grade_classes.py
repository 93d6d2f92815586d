"""Classes of grade by steepness, and the colours that stand for them in pictures and in files.

Up is ochre, down is indigo, as travelled. At the same steepness down is one tone darker than up,
so that a grey copy still tells all classes apart.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

UP = ("#F1F0EC", "#F0DFBA", "#DDB25E", "#B97F22", "#7A4E06")
"""Level, then classes 1 to 4, climbing."""
DOWN = ("#F1F0EC", "#CDD5EA", "#91A5D3", "#526EB4", "#1F2C63")
"""Level, then classes 1 to 4, falling."""

Limits = tuple[float, float, float, float]
DEFAULT_LIMITS: Limits = (0.001, 0.005, 0.01, 0.02)
"""Lower limits of classes 1 to 4. [m/m]"""
STEEP_LIMITS: Limits = (0.001, 0.01, 0.02, 0.03)
"""The same for lines whose ruling grade is over 3 %. [m/m]"""
STEEP_RULING = 0.03
"""Ruling grade above which a line is steep. [m/m]"""


def class_limits(ruling_grade: float) -> Limits:
    """Class limits [m/m] for a line of a ruling grade [m/m]."""
    return STEEP_LIMITS if ruling_grade > STEEP_RULING else DEFAULT_LIMITS


def grade_class(grade: npt.ArrayLike, limits: Limits = DEFAULT_LIMITS) -> npt.NDArray[np.int_]:
    """Class 0 (level) to 4 of grades [m/m] of any shape, by steepness alone.

    A class owns its lower limit: 1 % is heavy, a hair under it is moderate. The steepness is
    rounded to a millionth first, so that a grade written 0.01 is not lost to its last bit.
    """
    steepness = np.round(np.abs(np.asarray(grade, dtype=float)), 6)
    return np.searchsorted(np.asarray(limits), steepness, side="right")


def grade_colour(grade: float, limits: Limits = DEFAULT_LIMITS) -> str:
    """Fill for a grade as travelled [m/m]: hexadecimal sRGB."""
    shade = int(grade_class(grade, limits))
    return UP[shade] if grade > 0 else DOWN[shade]


def signed_class(grade: npt.ArrayLike, limits: Limits) -> npt.NDArray[np.int_]:
    """Class of grades [m/m], 0 to ±4, + climbing."""
    return np.sign(grade).astype(int) * grade_class(grade, limits)
