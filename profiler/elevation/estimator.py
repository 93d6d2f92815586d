"""From ground along the line to the elevation and grade of the rail, with how sure.

A Gaussian smoother on nodes every 100 m or so. The rail's grade changes from node to node by as
much as railways' grades do; the ground's error is learned from the route and counted once where
it repeats itself; wild values lose their weight; known structures and voids carry none, so that
standard errors grow inside them; grades beyond the bound are pulled back to it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky_banded, solve_banded, solveh_banded

from profiler.elevation.noise import Noise, fit_noise
from profiler.errors import CoverageError
from profiler.units import FloatArray

NODE_DISTANCE = 100.0  # [m]

CHANGE_DISTANCE = 1200.0
"""Mean distance between changes of grade. [m]"""

CHANGE_SIZE = 0.006
"""Scale of a change of grade (Laplace). [m/m]"""

FREEDOM = 4.0
"""Degrees of freedom of the Student errors that take the weight from wild values."""

WHITE = 0.05
"""Error of a bin mean that is never averaged away. [m]"""

ELEVATION_FLOOR, GRADE_FLOOR = 0.1, 0.0003
"""Standard errors are never smaller than these. [m], [m/m]"""

BOUND_SE = 0.0002
"""How loosely a grade beyond the bound is held to it. [m/m]"""

ROUNDS = 30


@dataclass(frozen=True, eq=False)
class Estimate:
    """What the estimator says at stations (n,), and draws (d, k) at nodes (k,).

    ``elevation``, ``elevation_se`` [m]; ``grade``, ``grade_se`` [m/m], grade constant between
    nodes; ``structure_probability`` that the rail is not on the ground; ``at_bound`` the share of
    the line whose grade leans on the bound; ``noise`` one per source.
    """

    elevation: FloatArray
    elevation_se: FloatArray
    grade: FloatArray
    grade_se: FloatArray
    structure_probability: FloatArray
    draw_chainage: FloatArray
    draw_elevation: FloatArray
    at_bound: float
    noise: tuple[Noise, ...]
    pvi_visible: bool = False


def estimate(
    chainage: FloatArray,
    ground: FloatArray,
    on_structure: FloatArray,
    *,
    max_grade: float,
    draws: int = 100,
    seed: int = 0,
) -> Estimate:
    """Estimate the rail's elevation and grade.

    Parameters
    ----------
    chainage : ndarray, shape (n,)
        Stations at equal steps. [m]
    ground : ndarray, shape (m, n)
        One row per source in order of preference, NaN where it says nothing. [m]
    on_structure : ndarray of bool, shape (n,)
        Known tunnels and bridges, with the margin in which a raster still sees them.
    max_grade : float
        Bound on the grade either way. [m/m]
    draws, seed : int
        Number of joint draws and the seed that gives them again.

    Raises
    ------
    CoverageError
        If no source says anything on open track.
    """
    usable = np.isfinite(ground) & ~on_structure
    value, source = _preferred(ground, usable)
    if (source >= 0).sum() < 2:
        raise CoverageError(
            "elevation", "no raster has data on the open track of this line", "give rasters that cover it"
        )
    step = float(chainage[1] - chainage[0])
    stride = max(round(NODE_DISTANCE / step), 1)
    bins = _bins(value, source >= 0, stride)
    spacing = stride * step
    line = _start(bins, spacing, max_grade)
    for _ in range(2):
        noises = _noises(value, source, _at_stations(line, stride, chainage.size), ground.shape[0], step)
        variance = _bin_variances(bins, source, noises, stride, spacing)
        line, factor, leaning = _smooth(bins, variance, spacing, max_grade, line)
    return _answer(chainage, line, factor, leaning, noises, on_structure, stride, spacing, draws, seed)


def _preferred(ground: FloatArray, usable: FloatArray) -> tuple[FloatArray, FloatArray]:
    """First usable value of every station and the row it came from, -1 where there is none."""
    first = np.argmax(usable, axis=0)
    source = np.where(usable.any(axis=0), first, -1)
    value = np.take_along_axis(ground, first[None], axis=0)[0]
    return np.where(source >= 0, value, 0.0), source


@dataclass(frozen=True, eq=False)
class _Bins:
    """Means over the stretches between nodes: ``value`` (k-1,) [m], ``count`` of stations, and
    ``share``, where between its two nodes the mean lies (0…1)."""

    value: FloatArray
    count: FloatArray
    share: FloatArray


def _bins(value: FloatArray, valid: FloatArray, stride: int) -> _Bins:
    starts = np.arange(0, value.size - 1, stride)
    count = np.add.reduceat(valid.astype(float), starts)
    total = np.add.reduceat(np.where(valid, value, 0.0), starts)
    position = np.add.reduceat(np.where(valid, np.arange(value.size) % stride, 0.0), starts)
    full = np.maximum(count, 1.0)
    # the last station of all may stand on the last node itself
    return _Bins(total / full, count, np.where(count > 0, position / full / stride, 0.5))


def _at_stations(node_values: FloatArray, stride: int, size: int) -> FloatArray:
    return np.interp(np.arange(size) / stride, np.arange(node_values.size), node_values)


def _noises(
    value: FloatArray, source: FloatArray, line: FloatArray, sources: int, step: float
) -> tuple[Noise, ...]:
    """One noise model per source; a source with little to say shares that of them all."""
    residual = value - line
    valid = source >= 0
    spread = 1.4826 * float(np.median(np.abs(residual[valid]))) + 1e-3
    near = valid & (np.abs(residual) < 5 * spread + 1)
    pooled = fit_noise(residual, near, step)
    found = []
    for row in range(sources):
        own = near & (source == row)
        found.append(fit_noise(residual, own, step) if own.sum() >= 500 else pooled)
    return tuple(found)


def _bin_variances(
    bins: _Bins, source: FloatArray, noises: tuple[Noise, ...], stride: int, spacing: float
) -> FloatArray:
    """Variance of each bin's mean, correlated error counted once; infinite where it is empty."""
    each = np.array([n.bin_variance(spacing) * n.inflation(spacing) + WHITE**2 for n in noises])
    starts = np.arange(0, source.size - 1, stride)
    weight = np.zeros((len(noises), starts.size))
    for row in range(len(noises)):
        weight[row] = np.add.reduceat((source == row).astype(float), starts)
    share = weight / np.maximum(weight.sum(axis=0), 1.0)
    variance = (share * each[:, None]).sum(axis=0)
    thin = 1 + 0.5 * (stride - np.minimum(bins.count, stride)) / np.maximum(bins.count, 1)
    return np.where(bins.count > 0, variance * thin, np.inf)


def _system(
    bins: _Bins, weight: FloatArray, spacing: float, held: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Upper banded precision (3, k) and right-hand side (k,) of the node elevations.

    Observations: (1−a)·z_k + a·z_{k+1} = bin mean; second differences / spacing ~ change of
    grade; ``held`` = (weight, target) of grades that are pulled back to the bound.
    """
    size = bins.value.size + 1
    band = np.zeros((3, size))
    right = np.zeros(size)
    low, high = 1 - bins.share, bins.share
    band[2, :-1] += weight * low**2
    band[2, 1:] += weight * high**2
    band[1, 1:] += weight * low * high
    right[:-1] += weight * low * bins.value
    right[1:] += weight * high * bins.value
    stiffness = 1 / (2 * spacing / CHANGE_DISTANCE * CHANGE_SIZE**2 * spacing**2)
    for a, left in enumerate((1.0, -2.0, 1.0)):
        for b, other in enumerate((1.0, -2.0, 1.0)):
            if b >= a:
                band[2 - (b - a), b : b + size - 2] += stiffness * left * other
    pull, target = held
    band[2, :-1] += pull / spacing**2
    band[2, 1:] += pull / spacing**2
    band[1, 1:] -= pull / spacing**2
    right[:-1] -= pull * target / spacing
    right[1:] += pull * target / spacing
    band[2] += 1e-9
    return band, right


def _start(bins: _Bins, spacing: float, max_grade: float) -> FloatArray:
    """A first line: stiff, indifferent to wild values, and not above the lower cone of the ground.

    The cone is the highest line of at most the bound's grade that stays below the ground: over a
    mountain that is not tagged as a tunnel it runs near the rail while the mean runs over the top.
    """
    filled = np.flatnonzero(bins.count > 0)
    ground = np.interp(np.arange(bins.value.size), filled, bins.value[filled])
    climb = np.arange(ground.size) * spacing * max_grade
    forward = np.minimum.accumulate(ground - climb) + climb
    backward = np.minimum.accumulate((ground + climb)[::-1])[::-1] - climb
    cone = np.minimum(forward, backward)
    target = np.clip(ground, cone - 50.0, cone + 80.0)
    weight = (bins.count > 0).astype(float)
    nothing = (np.zeros(ground.size), np.zeros(ground.size))
    line = np.r_[target, target[-1]]
    for _ in range(10):
        residual = target - _at_bins(line, bins)
        spread = 1.4826 * float(np.median(np.abs(residual[bins.count > 0]))) + 0.5
        robust = weight / (1 + (residual / (2 * spread)) ** 2) / 16.0
        band, right = _system(_Bins(target, bins.count, bins.share), robust, spacing, nothing)
        line = solveh_banded(band, right, check_finite=False)
    return np.asarray(line)


def _at_bins(line: FloatArray, bins: _Bins) -> FloatArray:
    return line[:-1] * (1 - bins.share) + line[1:] * bins.share


def _smooth(
    bins: _Bins, variance: FloatArray, spacing: float, max_grade: float, line: FloatArray
) -> tuple[FloatArray, FloatArray, float]:
    """Robust fit: node elevations, banded Cholesky factor of their precision, share on the bound."""
    base = np.where(np.isfinite(variance), 1 / np.where(np.isfinite(variance), variance, 1.0), 0.0)
    pull = np.zeros(bins.value.size)
    target = np.zeros(bins.value.size)
    band = np.empty((3, 0))
    for _ in range(ROUNDS):
        u2 = (bins.value - _at_bins(line, bins)) ** 2 * base
        weight = base * (FREEDOM + 1) / (FREEDOM + u2)
        band, right = _system(bins, weight, spacing, (pull, target))
        before, line = line, np.asarray(solveh_banded(band, right, check_finite=False))
        grade = np.diff(line) / spacing
        beyond = np.abs(grade) > max_grade
        # once held, a grade stays held: letting go would swing back and forth
        target = np.where(beyond & (pull == 0), np.sign(grade) * max_grade, target)
        pull = np.where(beyond, 1 / BOUND_SE**2, pull)
        if np.abs(line - before).max() < 0.005 and not beyond.any():
            break
    return line, np.asarray(cholesky_banded(band, check_finite=False)), float((pull > 0).mean())


def _answer(
    chainage: FloatArray,
    line: FloatArray,
    factor: FloatArray,
    leaning: float,
    noises: tuple[Noise, ...],
    on_structure: FloatArray,
    stride: int,
    spacing: float,
    draws: int,
    seed: int,
) -> Estimate:
    size = chainage.size
    variance, covariance = _selected_inverse(factor)
    node_se = np.sqrt(variance + ELEVATION_FLOOR**2)
    grade_variance = np.maximum(variance[:-1] + variance[1:] - 2 * covariance, 0.0) / spacing**2
    interval = np.minimum(np.arange(size) // stride, line.size - 2)
    noise = np.random.default_rng(seed).standard_normal((line.size, draws))
    scatter = np.asarray(solve_banded((0, 2), factor, noise, check_finite=False))
    nodes = chainage[0] + np.arange(line.size) * spacing
    return Estimate(
        elevation=_at_stations(line, stride, size),
        elevation_se=_at_stations(node_se, stride, size),
        grade=(np.diff(line) / spacing)[interval],
        grade_se=np.maximum(np.sqrt(grade_variance), GRADE_FLOOR)[interval],
        structure_probability=on_structure.astype(float),
        draw_chainage=nodes,
        draw_elevation=line[None] + scatter.T,
        at_bound=leaning,
        noise=noises,
    )


def _selected_inverse(factor: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Diagonal (k,) and first off-diagonal (k-1,) of the inverse of UᵀU, U upper banded (3, k).

    Takahashi's recursion (Takahashi, Fagan and Chin 1973): from the last row upwards, each needs
    only the three entries below it. Linear in k.
    """
    diagonal = factor[2]
    first = np.r_[factor[1, 1:], 0.0] / diagonal
    second = np.r_[factor[0, 2:], 0.0, 0.0] / diagonal
    scale = 1 / diagonal**2
    size = diagonal.size
    d, e, f = [0.0] * (size + 2), [0.0] * (size + 2), 0.0
    for i, (u1, u2, s) in reversed(
        list(enumerate(zip(first.tolist(), second.tolist(), scale.tolist(), strict=True)))
    ):
        e_next = e[i + 1]  # cov(i+1, i+2)
        e[i] = -u1 * d[i + 1] - u2 * e_next
        f = -u1 * e_next - u2 * d[i + 2]
        d[i] = s - u1 * e[i] - u2 * f
    return np.array(d[:size]), np.array(e[: size - 1])
