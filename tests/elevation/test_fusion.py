"""Several sources as one: level, order, noise, shared error."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from profiler.elevation.fusion import Learned, inflation, learn, levelled, preferred
from profiler.elevation.noise import Noise

SIZE, STEP = 6001, 10.0


def error(sigma: float, length: float, seed: int) -> np.ndarray:
    a = np.exp(-STEP / length)
    return lfilter([1.0], [1.0, -a], np.random.default_rng(seed).normal(0, sigma * np.sqrt(1 - a * a), SIZE))


def test_the_first_that_speaks_is_preferred():
    """Worked: three stations, two sources: the first where it speaks, then the second, then none."""
    value, row = preferred(np.array([[1.0, np.nan, np.nan], [5.0, 6.0, np.nan]]))
    np.testing.assert_array_equal(value, [1.0, 6.0, np.nan])
    np.testing.assert_array_equal(row, [0, 1, -1])


def test_sources_are_brought_to_the_level_of_the_first():
    """Worked: 7 m more on every common station is taken away, off the common stretch too."""
    ground = np.array([[1.0, 2.0, 3.0, np.nan], [8.0, 9.0, 10.0, 20.0]])
    np.testing.assert_allclose(levelled(ground)[1], [1, 2, 3, 13])


def test_level_and_noise_are_learned():
    """Law: about the true line each source's s.d. comes out within a fifth, and the second's 3 m are taken off;
    one of 300 stations has the noise of all together."""
    line = 200 + 0.01 * np.arange(SIZE) * STEP
    few = np.where(np.arange(SIZE) < 300, line, np.nan)
    ground = line + np.array([error(1.0, 50.0, 1), 3 + error(2.5, 100.0, 2), few - line])
    found = learn(ground, None, line, np.zeros(SIZE), STEP)
    assert found.noises[0].sigma == pytest.approx(1.0, rel=0.2)
    assert found.noises[1].sigma == pytest.approx(2.5, rel=0.2)
    assert found.noises[2].sigma == pytest.approx(1.0, rel=0.2)
    assert abs(np.mean(found.ground[1] - line)) < 0.5


def test_error_that_is_shared_counts_once():
    """Law: two sources with one and the same error are together √2 times worse than independent ones would
    be, two independent ones are not; a single source never is."""
    line, one, two = np.zeros(SIZE), error(2.0, 80.0, 3), error(2.0, 80.0, 4)
    noises = (Noise(2.0, 80.0), Noise(2.0, 80.0))
    same = inflation(Learned(np.array([one, one]), noises), line, np.zeros(SIZE), STEP)
    apart = inflation(Learned(np.array([one, two]), noises), line, np.zeros(SIZE), STEP)
    alone = inflation(Learned(np.array([one, np.full(SIZE, np.nan)]), noises), line, np.zeros(SIZE), STEP)
    assert np.median(same) == pytest.approx(np.sqrt(2), rel=0.15)
    assert np.median(apart) < 1.15
    np.testing.assert_array_equal(alone, 1.0)
