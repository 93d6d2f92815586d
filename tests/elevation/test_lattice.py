"""The lattice smoother against sums over every path, by which it is exact."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from profiler.elevation import lattice, walk
from profiler.elevation.evidence import bins_of, evidence_of
from profiler.elevation.lattice import Window, finer_window, smooth, structure_density, wide_window
from profiler.elevation.noise import Noise

SPACING, STEP = 100.0, 0.01


def small_problem(known: bool = False):
    """Four intervals, three grades, three first elevations: 3 · 3⁴ · 2⁴ paths."""
    ground = np.array([10.3, 10.3, 11.0, 11.0, 11.6, 11.6, 25.0, 25.0, 25.0])
    bins = bins_of(np.array([ground, ground + 0.4]), 50.0, 2)
    heights = (np.full(4, 11.2), np.array([np.inf, np.inf, 0.04, np.inf])) if known else None
    evidence = evidence_of(bins, (Noise(1.0, 80.0), Noise(2.0, 30.0)), 0.1, known=heights)
    low = np.array([9, 8, 7, 6])
    window = Window(SPACING, STEP, STEP, low, np.array([3, 5, 7, 9]), np.full(4, -1), np.full(4, 3))
    return evidence, window


def normal(e: float, variance: float) -> float:
    t = e * e / variance
    wide = lattice.WILD / 4 * np.exp(-t / 32)
    return ((1 - lattice.WILD) * np.exp(-t / 2) + wide) / np.sqrt(2 * np.pi * variance) + walk.IMPOSSIBLE


def by_all_paths(evidence, window):
    """Probability of every path (z0, grades, structures), by the definition of the model."""
    change, fade = SPACING / lattice.USUAL.distance, np.exp(-STEP / lattice.USUAL.size)
    enter, leave = SPACING / lattice.ENTRY_DISTANCE, SPACING / lattice.EXIT_DISTANCE
    weights = {}
    for z0 in range(window.low[0], window.low[0] + 3):
        for grades in itertools.product((-1, 0, 1), repeat=4):
            z = z0 + np.r_[0, np.cumsum(grades)]
            for away in itertools.product((0, 1), repeat=4):
                weight = 0.1 if away[0] else 0.9
                for k in range(4):
                    if k:
                        jump = abs(grades[k] - grades[k - 1])
                        side = change * (1 - fade) / (1 + fade) * fade**jump
                        weight *= side + (1 - change) * (jump == 0)
                        weight *= (
                            ((1 - leave) if away[k] else leave) if away[k - 1] else (enter if away[k] else 1 - enter)
                        )
                    middle = [z[k] + s * grades[k] for s in evidence.share[:, k]]
                    if away[k]:
                        rail = z[k] + evidence.pooled_share[k] * grades[k]
                        weight *= evidence.agreement[k] * float(structure_density(evidence.pooled[k] - rail))
                    else:
                        for r in range(2):
                            e, v = evidence.mean[r, k] - middle[r], evidence.variance[r, k]
                            phi = evidence.repeat[r, k] if k and not away[k - 1] else 0.0
                            if phi:
                                before = z[k] - (1 - evidence.share[r, k - 1]) * grades[k]
                                e -= phi * (evidence.mean[r, k - 1] - before)
                            weight *= normal(e, v * (1 - phi**2))
                    if np.isfinite(evidence.known_variance[k]):
                        d = evidence.known[k] - (z[k] + grades[k] / 2)
                        weight *= np.exp(-0.5 * d * d / evidence.known_variance[k])
                weights[z0, grades, away] = weight
    total = sum(weights.values())
    return {path: w / total for path, w in weights.items()}


@pytest.mark.parametrize("known", [False, True])
def test_it_is_exact(known: bool):
    """Law: means, variances and probabilities are those of the sum over all 3,888 paths, to what single
    precision and tables of densities leave."""
    evidence, window = small_problem(known)
    paths = by_all_paths(evidence, window)
    found = smooth(evidence, window, np.zeros((4, 0)))
    z = np.array([z0 + np.r_[0, np.cumsum(grades)] for z0, grades, _ in paths])
    grades, away = (np.array([path[i] for path in paths]) for i in (1, 2))
    p = np.array(list(paths.values()))
    np.testing.assert_allclose(found.elevation, p @ z, atol=0.02)
    np.testing.assert_allclose(found.grade / STEP, p @ grades, atol=0.01)
    np.testing.assert_allclose(found.structure_probability, p @ away, atol=0.01)
    np.testing.assert_allclose(found.variance - 1 / 12, p @ z**2 - (p @ z) ** 2, atol=0.02)
    np.testing.assert_allclose(found.at_bound, p @ (np.abs(grades) == 1), atol=0.01)


def test_draws_are_of_the_same_law():
    """Law: over 40,000 draws means, spreads and probabilities are those of the smoother, and each draw
    is a path of the lattice."""
    evidence, window = small_problem()
    found = smooth(evidence, window, np.random.default_rng(1).random((4, 40_000)))
    np.testing.assert_allclose(found.draws.mean(axis=0), found.elevation, atol=0.02)
    np.testing.assert_allclose(found.draws.var(axis=0), found.variance - 1 / 12, atol=0.05)
    np.testing.assert_allclose(found.on_structure.mean(axis=0), found.structure_probability, atol=0.01)
    steps = np.diff(found.draws, axis=1)
    assert set(np.unique(steps.round(9))) <= {-1.0, 0.0, 1.0}


def test_blocks_change_nothing(monkeypatch: pytest.MonkeyPatch):
    """Law: a line walked in many blocks gives the same bytes as in one."""
    rng = np.random.default_rng(3)
    bins = bins_of(100 + np.cumsum(rng.normal(0, 0.1, 2001))[None], 10.0, 10)
    evidence = evidence_of(bins, (Noise(1.0, 60.0),), 0.1)
    window = wide_window(np.full(201, 100.0), 20.0, 100.0, 0.002, 0.02)
    uniform = rng.random((200, 7))
    whole = smooth(evidence, window, uniform)
    monkeypatch.setattr(lattice, "BLOCK_CELLS", int(2 * window.size[0] * window.grade_size[0] * 23))
    parts = smooth(evidence, window, uniform)
    for name in ("elevation", "variance", "grade", "structure_probability", "draws", "reach"):
        assert getattr(parts, name).tobytes() == getattr(whole, name).tobytes()


def test_a_finer_window_holds_what_a_full_one_finds():
    """Law: walking only what a coarse pass left possible changes the fine answer by less than a twentieth
    of its standard error at most."""
    rng = np.random.default_rng(4)
    s = np.arange(0, 20_001, 10.0)
    z = 200 + np.interp(s, [0, 5000, 9000, 20_000], [0, 60, 20, 100])
    bins = bins_of((z + rng.normal(0, 2, s.size))[None], 10.0, 10)
    evidence = evidence_of(bins, (Noise(2.0, 10.0),), 0.1)
    line = np.interp(np.arange(201) * 100.0, s, z)
    coarse_window = wide_window(line, 60.0, 100.0, 0.002, 0.03)
    coarse = smooth(evidence, coarse_window, np.zeros((200, 0)))
    narrow = finer_window(coarse, coarse_window, 200, 100.0, 0.001)
    full = wide_window(line, 60.0, 100.0, 0.001, 0.03)
    assert (narrow.size * narrow.grade_size).sum() < 0.2 * (full.size * full.grade_size).sum()
    one, other = (smooth(evidence, w, np.zeros((200, 0))) for w in (narrow, full))
    assert np.abs((one.elevation - other.elevation) / np.sqrt(other.variance)).max() < 0.05
    assert np.abs((one.grade - other.grade) / np.sqrt(other.grade_variance)).max() < 0.05


def test_a_window_that_misses_the_line_is_widened():
    """Law: a window that no path of the lattice can stay in, a step of 8 m, is widened until one can."""
    bins = bins_of(np.full((1, 401), 100.0), 10.0, 10)
    evidence = evidence_of(bins, (Noise(1.0, 20.0),), 0.1)
    low = np.where(np.arange(40) < 20, 98, 106)
    window = Window(100.0, 0.01, 0.01, low, np.full(40, 3), np.full(40, -1), np.full(40, 3))
    found = smooth(evidence, window, np.random.default_rng(0).random((40, 20)))
    np.testing.assert_allclose(found.elevation, 100, atol=0.2)
    np.testing.assert_allclose(np.median(found.draws, axis=0), 100, atol=0.51)
