"""The shape of the ground across the line tells some of a raster's error: a bank or a cutting that
it shows only in part, a ridge of noise along the track.

How much is learned on the route itself, and used only where it holds on parts of the route that it
was not learned from.
"""

from __future__ import annotations

import numpy as np

from profiler.units import FloatArray

LEAST_STATIONS, LEAST_BINS = 1500, 40
"""From fewer nothing is learned: stations of the route, bins of either half of it."""

BIN = 100.0
"""Only error that lasts over such a stretch moves the line: covariances are of means over it. [m]"""

LAGS = 4
"""Covariances count up to so many bins, with Bartlett's falling weights."""

BLOCK = 5000.0
"""What is learned on every other such stretch is tried on the others. [m]"""

LEAST_ERROR = 0.4
"""Where the residual's robust s.d. is smaller, it is rather the estimate's error than the ground's. [m]"""

LEAST_GAIN = 0.02
"""Share of the slow error's variance that must go where the weights were not learned: features that
say nothing seem to gain so much on one route in fifteen, half of it on one in five."""

RIDGE = 0.01
"""Share of the features' own variance that holds the weights down."""

WILD = 4.0
"""Robust standard deviations at which a feature is cut."""


def features(axis: FloatArray, shoulders: FloatArray) -> FloatArray:
    """Height of the line above its two sides, near and far. [m]

    Parameters
    ----------
    axis : ndarray, (n,)
        Ground on the line [m].
    shoulders : ndarray, (2, n)
        Mean of the ground left and right of it, near and far [m].

    Returns
    -------
    ndarray, (2, n)
        NaN where either is missing: a ramp across the line gives 0, a ridge its height.
    """
    return axis - shoulders


def learned(features: FloatArray, residual: FloatArray, counts: FloatArray, step: float) -> FloatArray:
    """Weights (2,) of the features in the error of the ground; zeros where nothing sure is learned.

    Parameters
    ----------
    features : ndarray, (2, n)
        As from `features` [m].
    residual : ndarray, (n,)
        Ground minus rail [m].
    counts : ndarray of bool, (n,)
        Which stations count: open track with ground.
    step : float
        Distance between stations. [m]

    Notes
    -----
    b = S_ff⁻¹ S_fr with long-run covariances of means over `BIN` (Newey and West 1987, "A simple,
    positive semi-definite, heteroskedasticity and autocorrelation consistent covariance matrix",
    Econometrica 55(3)), residual and features less their medians and cut at `WILD`. The weights of
    the whole route count if those learned on every other stretch lower the long-run variance of the
    residual on the remaining ones by `LEAST_GAIN`, on the mean of both ways round.
    """
    counts = counts & np.isfinite(features).all(axis=0) & np.isfinite(residual)
    none = np.zeros(features.shape[0])
    if counts.sum() < LEAST_STATIONS or _spread(residual[counts]) < LEAST_ERROR:
        return none
    series = np.vstack([_cut(np.where(counts, residual, np.nan)[None]), _cut(features)])
    width = max(round(BIN / step), 1)
    means, full = _bin_means(series, counts, width)
    odd = (np.arange(full.size) * width * step // BLOCK) % 2 == 1
    if min((full & odd).sum(), (full & ~odd).sum()) < LEAST_BINS:
        return none
    halves = [_covariance(means, full & half) for half in (odd, ~odd)]
    gain = sum(_gain(_weights(own), other) for own, other in (halves, halves[::-1])) / 2
    return _weights(_covariance(means, full)) if gain > LEAST_GAIN else none


def corrected(axis: FloatArray, features: FloatArray, weights: FloatArray) -> FloatArray:
    """Ground (n,) [m] less what its cross-section (2, n) [m] says of its error; as it is where that is missing."""
    return np.asarray(axis - weights @ _cut(features))


def _cut(rows: FloatArray) -> FloatArray:
    """Rows (k, n) less their medians, cut at `WILD` robust standard deviations; 0 where missing."""
    known = np.isfinite(rows)
    if not known.any(axis=1).all():
        return np.zeros(rows.shape)
    rows = rows - np.nanmedian(rows, axis=1, keepdims=True)
    limit = np.array([[WILD * _spread(row[there])] for row, there in zip(rows, known, strict=True)])
    return np.where(known, np.clip(rows, -limit, limit), 0.0)


def _spread(values: FloatArray) -> float:
    """Robust standard deviation."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _bin_means(series: FloatArray, counts: FloatArray, width: int) -> tuple[FloatArray, FloatArray]:
    """Means (k, bins) over the stations that count, and which bins (bins,) have half of theirs."""
    bins = counts.size // width
    shape = (bins, width)
    count = counts[: bins * width].reshape(shape).sum(axis=1)
    total = np.where(counts, series, 0.0)[:, : bins * width].reshape(len(series), *shape).sum(axis=2)
    return total / np.maximum(count, 1), count >= width / 2


def _covariance(means: FloatArray, full: FloatArray) -> FloatArray:
    """Long-run covariance (k, k) of bins that are full."""
    kept = np.where(full, means - np.median(means[:, full], axis=1, keepdims=True), 0.0)
    total = kept @ kept.T / max(int(full.sum()), 1)
    for lag in range(1, LAGS + 1):
        pairs = max(int((full[lag:] & full[:-lag]).sum()), 1)
        shifted = kept[:, lag:] @ kept[:, :-lag].T / pairs
        total += (1 - lag / (LAGS + 1)) * (shifted + shifted.T)
    return np.asarray(total)


def _weights(covariance: FloatArray) -> FloatArray:
    """Weights of the features, from the covariance of residual (first) and features."""
    own = covariance[1:, 1:]
    ridge = RIDGE * np.trace(own) / len(own)
    if not ridge > 0:
        return np.zeros(len(own))
    return np.linalg.solve(own + ridge * np.eye(len(own)), covariance[1:, 0])


def _gain(weights: FloatArray, covariance: FloatArray) -> float:
    """By which share the weights lower the long-run variance of the residual."""
    fall = 2 * weights @ covariance[1:, 0] - weights @ covariance[1:, 1:] @ weights
    return float(fall / covariance[0, 0]) if covariance[0, 0] > 0 else 0.0
