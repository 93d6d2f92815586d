"""What curves cost a running vehicle: resistance over weight, so the grade that a curve is worth."""

from __future__ import annotations

from typing import Literal

import numpy as np
import numpy.typing as npt

from profiler.cited import Cited
from profiler.units import CURVE_COMPENSATION, PERMILLE, FloatArray, degree_of_curve

CurveResistance = Literal["per degree", "roeckl"]
"""Laws of curve resistance."""

ROECKL_BREAK, ROECKL_TIGHTEST = Cited(300, "m", "S8"), Cited(60, "m", "choice")
"""Radius where the branch changes; below the tightest its value is kept. [m]"""


def per_degree(curvature: npt.ArrayLike, worth: float = CURVE_COMPENSATION) -> FloatArray:
    """Grade [m/m] that a curvature [1/m] is worth at so much for one degree: by AREA 0.8 lbf per short ton."""
    return np.asarray(worth * np.abs(degree_of_curve(curvature)))


def roeckl(curvature: npt.ArrayLike) -> FloatArray:
    """Grade [m/m] that a curvature [1/m] is worth by Röckl.

    650/(R − 55) per mille for R ≥ 300 m, 500/(R − 30) below: it jumps there, as published.
    """
    k = np.abs(np.asarray(curvature, dtype=float))
    radius = np.maximum(np.divide(1.0, k, out=np.full(k.shape, np.inf), where=k != 0), ROECKL_TIGHTEST)
    tight = radius < ROECKL_BREAK * (1 - 1e-12)
    return np.asarray(PERMILLE * np.where(tight, 500 / (radius - 30), 650 / (radius - 55)))


def curve_worth(curvature: npt.ArrayLike, law: CurveResistance, worth: float = CURVE_COMPENSATION) -> FloatArray:
    """Grade [m/m] that a curvature [1/m] is worth by a law; ``worth`` is that of one degree where it goes by it."""
    return roeckl(curvature) if law == "roeckl" else per_degree(curvature, worth)
