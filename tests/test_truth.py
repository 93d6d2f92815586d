"""The synthetic railways must be hard, or accuracy on them means nothing."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d

from tests.truth import DSM, corridor, railway


def test_a_moving_average_fails_on_it():
    """Law of the generator: a 600 m moving average errs by more than 0.5 % over 2 km (95th percentile)."""
    errors = []
    for seed in (1, 2, 3, 4):
        line = railway(seed, style="mountain" if seed % 2 else "mixed")
        ground = corridor(line, DSM, np.random.default_rng(seed)).at(line.east, line.north)
        known = np.isfinite(ground)
        filled = np.interp(line.chainage, line.chainage[known], ground[known])
        smooth = uniform_filter1d(filled, 60)
        told = (smooth[200:] - smooth[:-200]) / 2000
        true = (line.elevation[200:] - line.elevation[:-200]) / 2000
        errors.append(np.abs(told - true))
    assert np.quantile(np.concatenate(errors), 0.95) > 0.005


def test_it_is_what_it_says():
    """Law of the generator: grades to 2.5 %, both kinds of structure, some of them told and some not,
    and the same railway from the same seed."""
    line = railway(5)
    assert np.abs(line.grade).max() <= 0.0251
    works = [w for seed in range(6) for w in railway(seed).works]
    assert {w.kind for w in works} == {"tunnel", "bridge"}
    assert 0.3 < np.mean([w.tagged for w in works]) < 0.7
    rise = np.cumsum(0.5 * (line.grade[1:] + line.grade[:-1]) * 10)
    np.testing.assert_allclose(line.elevation[1:] - line.elevation[0], rise)
    np.testing.assert_array_equal(railway(5).natural, line.natural)
