"""Exact conversion factors. Multiply to get SI, divide to leave it.

The foot is the international foot (NIST SP 811, appendix B.8); the pound-force uses
standard gravity (CGPM 1901). "Ton" alone is never used: short ton or tonne.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt

FOOT = 0.3048  # [m]
INCH = FOOT / 12  # [m]
MILLIMETRE = 0.001  # [m]
US_SURVEY_FOOT = 1200.0 / 3937.0  # [m]
MILE = 5280 * FOOT  # [m]
KILOMETRE = 1000.0  # [m]
POST_UNITS = {"mi": MILE, "km": KILOMETRE}
"""Length of the units in which posts count. [m]"""

KMH = 1000.0 / 3600.0  # [m/s]
MPH = MILE / 3600.0  # [m/s]
GRAVITY = 9.80665  # [m/s²]
POUND = 0.45359237  # [kg]
POUND_FORCE = POUND * GRAVITY  # [N]
SHORT_TON = 2000 * POUND  # [kg]
TONNE = 1000.0  # [kg]
KIP = 1000 * POUND_FORCE  # [N]
HORSEPOWER = 550 * FOOT * POUND_FORCE  # [W]
MEGAWATT_HOUR = 3.6e9  # [J]
PSI = POUND_FORCE / INCH**2  # [Pa]
BAR = 100_000.0  # [Pa]
PERCENT = 0.01
PERMILLE = 0.001

_POUND_FORCE_PER_SHORT_TON = POUND_FORCE / SHORT_TON

UNITS = {
    "": 1.0,
    "m": 1.0, "ft": FOOT, "mm": MILLIMETRE, "in": INCH, "m2": 1.0, "sq_ft": FOOT**2,
    "kg": 1.0, "t": TONNE, "short_tons": SHORT_TON, "lb": POUND,
    "n": 1.0, "kn": 1000.0, "lbf": POUND_FORCE, "kips": KIP,
    "w": 1.0, "kw": 1000.0, "hp": HORSEPOWER,
    "m_s": 1.0, "kmh": KMH, "mph": MPH,
    "pa": 1.0, "kpa": 1000.0, "psi": PSI, "bar": BAR,
    "pct": PERCENT, "permille": PERMILLE, "seconds": 1.0, "minutes": 60.0,
    "n_per_mm": 1000.0, "ft_lbf": FOOT * POUND_FORCE,
    "n_per_m_s": 1.0, "n_per_kmh": 1 / KMH, "n_per_m2_s2": 1.0, "n_per_kmh2": 1 / KMH**2,
    "lbf_per_axle": POUND_FORCE, "lbf_per_mph2": POUND_FORCE / MPH**2,
    "lbf_per_sq_ft_mph2": POUND_FORCE / (FOOT * MPH) ** 2,
    "lbf_per_short_ton": _POUND_FORCE_PER_SHORT_TON,
    "lbf_per_short_ton_mph": _POUND_FORCE_PER_SHORT_TON / MPH,
}  # fmt: skip
"""Factor to SI of every unit that may end a key of a train file, or stand beside a published figure;
`m_s` is m/s, `n_per_m2_s2` is N/(m/s)²; forces per short ton become N/kg."""

CURVE_COMPENSATION = 0.0004
"""Grade worth of one degree of curve, 0.04 % [1/degree]: AREMA curve resistance of
0.8 lb per short ton and degree over 20 lb per short ton and percent; 0.7/R with the radius R in metres.
Where trains may stop or start, 0.05 % is customary."""

EARTH_RADIUS = 6_371_008.8
"""Mean radius of the Earth, (2a + b)/3 of GRS 80 (Moritz 2000) [m]."""

_HALF_CHORD = 50 * FOOT

FloatArray = npt.NDArray[Any]


def degree_of_curve(curvature: npt.ArrayLike) -> FloatArray:
    """Degree of curve of a curvature, by the 100-ft chord, sign kept.

    Parameters
    ----------
    curvature : array_like
        Curvature, + left with chainage. [1/m]

    Returns
    -------
    ndarray
        Angle at the centre under a chord of 100 ft; 180 where the radius is
        shorter than half the chord. [degree]

    Notes
    -----
    R = 50/sin(D/2) ft (AREMA Manual for Railway Engineering, ch. 5, chord definition).

    Examples
    --------
    >>> round(float(degree_of_curve(1 / 1746.40)), 4)
    1.0
    """
    k = np.asarray(curvature, dtype=float)
    return np.degrees(2 * np.arcsin(np.clip(k * _HALF_CHORD, -1, 1)))


def curvature_of_degree(degree: npt.ArrayLike) -> FloatArray:
    """Curvature [1/m] of a degree of curve by the 100-ft chord; inverse of `degree_of_curve`."""
    return np.sin(np.radians(np.asarray(degree, dtype=float)) / 2) / _HALF_CHORD


def radius_of_degree(degree: float) -> float:
    """Radius [m] of a degree of curve by the 100-ft chord; infinite for 0."""
    k = abs(float(curvature_of_degree(degree)))
    return math.inf if k == 0 else 1 / k
