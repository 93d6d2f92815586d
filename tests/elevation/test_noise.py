"""The error model, recovered from series whose error is known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from profiler.elevation.noise import LEAST_ERROR, Noise, fit_noise


def ar1(size: int, sigma: float, length: float, seed: int, step: float = 10.0) -> np.ndarray:
    """Exponentially correlated error (n,) [m]."""
    a = np.exp(-step / length)
    drive = np.random.default_rng(seed).normal(size=size) * sigma * np.sqrt(1 - a * a)
    drive[0] *= 1 / np.sqrt(1 - a * a)
    return lfilter([1.0], [1.0, -a], drive)


@pytest.mark.parametrize(("sigma", "length"), [(0.2, 20.0), (0.8, 60.0), (2.5, 150.0)])
def test_a_known_error_is_recovered(sigma: float, length: float):
    """Outside: a first-order autoregression by scipy.signal.lfilter, 100 km of it."""
    fit = fit_noise(ar1(10_000, sigma, length, 1), np.ones(10_000, bool), 10.0)
    assert fit.sigma == pytest.approx(sigma, rel=0.1)
    assert fit.length == pytest.approx(length, rel=0.25)


def test_wild_values_and_holes_do_not_matter_much():
    """Law: with 3 % of canopy of 15 m and a fifth of the stations missing the fit stays within a quarter."""
    error = ar1(10_000, 0.8, 60.0, 2)
    rng = np.random.default_rng(3)
    for start in rng.integers(0, 9970, 10):
        error[start : start + 30] += 15
    fit = fit_noise(error, rng.random(10_000) > 0.2, 10.0)
    assert fit.sigma == pytest.approx(0.8, rel=0.25)
    assert fit.length == pytest.approx(60, rel=0.35)


def test_too_little_to_fit():
    """Law: a handful of values gives their robust s.d. and the longest correlation; none gives 1 m."""
    few = fit_noise(np.array([2.0, -2.0, 2.0, -2.0]), np.ones(4, bool), 10.0)
    assert few == Noise(pytest.approx(2 * 1.4826), 200.0)
    assert fit_noise(np.zeros(4), np.zeros(4, bool), 10.0).sigma == 1.0
    assert fit_noise(np.zeros(1000), np.ones(1000, bool), 10.0).sigma == LEAST_ERROR


@pytest.mark.parametrize("length", [10.0, 60.0, 200.0])
def test_variance_of_a_bin_mean(length: float):
    """Outside: means over 100 m of a finely stepped autoregression (scipy.signal.lfilter)."""
    error = ar1(2_000_000, 1.5, length, 4, step=1.0)
    means = error.reshape(-1, 100).mean(axis=1)
    noise = Noise(1.5, length)
    assert noise.bin_variance(100.0) == pytest.approx(means.var(), rel=0.08)
    # a long mean of n bins has the variance of n independent bins times the inflation
    long = means.reshape(-1, 200).mean(axis=1)
    assert noise.bin_variance(100.0) * noise.inflation(100.0) / 200 == pytest.approx(long.var(), rel=0.4)
