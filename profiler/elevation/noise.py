"""How wrong the ground data are, learned from the route itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.units import FloatArray

LEAST_ERROR = 0.05
"""No ground is taken for truer than this, though most of the route may lie on a drained plain. [m]"""

GREATEST_ERROR = 16.0 / 1.645
"""No ground is taken for worse than the specification of the worst global model: 16 m at 90 %, SRTM
(Farr et al. 2007, The Shuttle Radar Topography Mission). [m]"""

LONGEST_CORRELATION = 200.0
"""Beyond this, error and slow change of the track cannot be told apart on one route. [m]"""


@dataclass(frozen=True)
class Noise:
    """Error of the ground about the rail: s.d. ``sigma`` [m], correlation e^(−h/``length``) [m]."""

    sigma: float
    length: float

    def bin_variance(self, width: float) -> float:
        """Variance of the mean over a stretch of ``width`` [m]. [m²]

        σ²·(2/x)·(1 − (1−e^−x)/x) with x = width/length: the variance of a mean of exponentially
        correlated error (Priestley 1981, Spectral Analysis and Time Series, §5.3).
        """
        x = width / self.length
        return float(self.sigma**2 * 2 / x * (1 - (1 - np.exp(-x)) / x))

    def inflation(self, width: float) -> float:
        """How much neighbouring bins of ``width`` [m] repeat each other: at least 1."""
        x = width / self.length
        return max(1.0, float(2 * self.sigma**2 / x / self.bin_variance(width)))


def fit_noise(residual: FloatArray, counts: FloatArray, step: float) -> Noise:
    """Fit s.d. and correlation length to a robust variogram of residuals.

    Parameters
    ----------
    residual : ndarray, shape (n,)
        Ground minus rail at equal steps. [m]
    counts : ndarray of bool, shape (n,)
        Which of them count.
    step : float
        Distance between stations. [m]

    Notes
    -----
    Half the squared 1.4826·median|r(s+h) − r(s)| at about 14 lags of 10…600 m, fitted by
    σ²(1 − e^(−h/ℓ)), ℓ within 10…200 m (a robust variogram after Cressie and Hawkins 1980).
    """
    lags = np.unique(np.round(np.geomspace(1, max(600.0 / step, 2), 14)).astype(int))
    lags = lags[lags < residual.size // 2]
    value = np.full(lags.size, np.nan)
    for i, lag in enumerate(lags):
        both = counts[lag:] & counts[:-lag]
        if both.sum() > 20:
            value[i] = (1.4826 * np.median(np.abs((residual[lag:] - residual[:-lag])[both]))) ** 2 / 2
    usable = np.isfinite(value)
    if not usable.any():
        spread = 1.4826 * float(np.median(np.abs(residual[counts]))) if counts.any() else 1.0
        return Noise(float(np.clip(spread, LEAST_ERROR, GREATEST_ERROR)), LONGEST_CORRELATION)
    distance, value = lags[usable] * step, value[usable]
    best: tuple[float, float, float] | None = None
    for length in np.geomspace(10.0, LONGEST_CORRELATION, 50):
        shape = 1 - np.exp(-distance / length)
        variance = float((shape * value / distance).sum() / (shape**2 / distance).sum())
        misfit = float(((value - variance * shape) ** 2 / distance).sum())
        if best is None or misfit < best[0]:
            best = (misfit, variance, float(length))
    assert best is not None
    return Noise(float(np.clip(np.sqrt(max(best[1], 0.0)), LEAST_ERROR, GREATEST_ERROR)), best[2])
