"""The mathematics under the estimator."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from profiler.elevation.rail import inverse_gaussian


@pytest.mark.parametrize(("mean", "shape"), [(0.5, 2.0), (3.0, 1.0), (1e4, 27_778.0), (1e7, 27_778.0)])
def test_inverse_gaussian_has_the_law(mean: float, shape: float):
    """Outside: scipy.stats.invgauss, by the Kolmogorov–Smirnov test on 20,000 numbers."""
    rng = np.random.default_rng(8)
    n = 20_000
    drawn = inverse_gaussian(np.full(n, mean), shape, rng.standard_normal(n), rng.random(n))
    law = stats.invgauss(mean / shape, scale=shape)
    assert stats.kstest(drawn, law.cdf).pvalue > 0.01
