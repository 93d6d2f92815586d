"""From ground along the line to the elevation and grade of the rail, with how sure.

A smoother on nodes every 100 m or so. The rail's grade changes seldom, as railways' grades do;
the ground's error is learned from the route and counted once where it repeats itself; wild
values lose their weight; known structures and voids carry none, so that standard errors grow
inside them; grades beyond the bound are pulled back to it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky_banded, solveh_banded
from scipy.linalg.blas import dtbsv

from profiler.elevation.noise import Noise, fit_noise, local_factor
from profiler.errors import CoverageError
from profiler.units import FloatArray

NODE_DISTANCE = 100.0  # [m]

CHANGE_DISTANCE = 1200.0
"""Mean distance between changes of grade. [m]"""

CHANGE_SIZE = 0.006
"""Scale of a change of grade (Laplace). [m/m]"""

FREEDOM = 5.0
"""Degrees of freedom of the Student errors that take the weight from wild values."""

WHITE = 0.05
"""Error of a bin mean that is never averaged away. [m]"""

ELEVATION_FLOOR, GRADE_FLOOR = 0.1, 0.0003
"""Standard errors are never smaller than these. [m], [m/m]"""

USUAL_GRADE = 0.03
"""S.d. of a railway's grades, one tangent counting once: keeps grades believable where nothing is
seen, and is too weak to be noticed where something is. [m/m]"""

BOUND_SE = 0.002
"""How loosely the grade of one tangent beyond the bound is held to it. [m/m]"""

USUAL_NODES = 60.0
"""How many nodes' worth the usual rate of changes counts against the line's own."""

TREMBLE = 0.0004
"""S.d. of the change of grade from node to node where the designer left it alone. [m/m]"""

NOISE_ROUNDS = 3
ROUNDS, BURN_IN, THINNING = 30, 150, 10
"""Rounds of the robust fit at most; rounds of sampling that are thrown away; one in so many is kept."""


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
    stride = max(min(round(NODE_DISTANCE / step), (chainage.size - 1) // 4), 1)
    bins = _bins(value, source >= 0, stride)
    spacing = stride * step
    line = _start(bins, spacing, max_grade)
    for _ in range(NOISE_ROUNDS):
        noises = _noises(value, source, _at_stations(line, stride, chainage.size), ground.shape[0], step)
        local = local_factor(bins.value - _at_bins(line, bins), bins.count > 0, spacing, noises[0])
        variance = _bin_variances(bins, source, noises, stride, spacing) * local**2
        line = _smooth(bins, variance, spacing, max_grade, line)
    posterior = _sample(bins, variance, spacing, max_grade, line, draws, seed)
    return _answer(chainage, posterior, noises, on_structure, stride, spacing)


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
    along = np.arange(value.size)
    along -= np.minimum(along // stride, starts.size - 1) * stride  # the last may stand on the last node itself
    position = np.add.reduceat(np.where(valid, along, 0.0), starts)
    full = np.maximum(count, 1.0)
    return _Bins(total / full, count, np.where(count > 0, position / full / stride, 0.5))


def _at_stations(node_values: FloatArray, stride: int, size: int) -> FloatArray:
    return np.interp(np.arange(size) / stride, np.arange(node_values.size), node_values)


def _noises(value: FloatArray, source: FloatArray, line: FloatArray, sources: int, step: float) -> tuple[Noise, ...]:
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
    bins: _Bins,
    weight: FloatArray,
    bend: FloatArray,
    spacing: float,
    held: tuple[FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray]:
    """Lower banded precision (3, k) and right-hand side (k,) of the node elevations.

    Observations (1−a)·z_k + a·z_{k+1} = bin mean with ``weight`` (k-1,); changes of grade with
    precision ``bend`` (k-2,); ``held`` = (weight, target) of grades pulled back to the bound.
    """
    size = bins.value.size + 1
    band = np.zeros((3, size))
    right = np.zeros(size)
    low, high = 1 - bins.share, bins.share
    band[0, :-1] += weight * low**2
    band[0, 1:] += weight * high**2
    band[1, :-1] += weight * low * high
    right[:-1] += weight * low * bins.value
    right[1:] += weight * high * bins.value
    stiffness = bend / spacing**2
    for a, left in enumerate((1.0, -2.0, 1.0)):
        for b, other in enumerate((1.0, -2.0, 1.0)):
            if b >= a:
                band[b - a, a : a + size - 2] += stiffness * left * other
    pull, target = held
    band[0, :-1] += pull / spacing**2
    band[0, 1:] += pull / spacing**2
    band[1, :-1] -= pull / spacing**2
    right[:-1] -= pull * target / spacing
    right[1:] += pull * target / spacing
    band[0] += 1e-9
    return band, right


def _even_bend(bins: _Bins, spacing: float) -> FloatArray:
    """Precision of a change of grade if all were of one size: as many and as large as railways have."""
    return np.full(bins.value.size - 1, 1 / (2 * spacing / CHANGE_DISTANCE * CHANGE_SIZE**2))


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
    bend = _even_bend(bins, spacing)
    line = np.r_[target, target[-1]]
    for _ in range(10):
        residual = target - _at_bins(line, bins)
        spread = 1.4826 * float(np.median(np.abs(residual[bins.count > 0]))) + 0.5
        robust = weight / (1 + (residual / (2 * spread)) ** 2) / 16.0
        band, right = _system(_Bins(target, bins.count, bins.share), robust, bend, spacing, nothing)
        line = solveh_banded(band, right, lower=True, check_finite=False)
    return np.asarray(line)


def _at_bins(line: FloatArray, bins: _Bins) -> FloatArray:
    return line[:-1] * (1 - bins.share) + line[1:] * bins.share


def _smooth(bins: _Bins, variance: FloatArray, spacing: float, max_grade: float, line: FloatArray) -> FloatArray:
    """Robust fit of the node elevations (k,) with even changes of grade."""
    base = _base_weight(variance)
    bend = _even_bend(bins, spacing)
    held = (np.zeros(bins.value.size), np.zeros(bins.value.size))
    for _ in range(ROUNDS):
        u2 = (bins.value - _at_bins(line, bins)) ** 2 * base
        weight = base * (FREEDOM + 1) / (FREEDOM + u2)
        band, right = _system(bins, weight, bend, spacing, held)
        before, line = line, np.asarray(solveh_banded(band, right, lower=True, check_finite=False))
        held = _held(np.diff(line) / spacing, max_grade, spacing)
        if np.abs(line - before).max() < 0.005:
            break
    return line


def _held(grade: FloatArray, max_grade: float, spacing: float) -> tuple[FloatArray, FloatArray]:
    """Weight and target of every grade: loosely zero, and the bound for those beyond it.

    A grade that presses against the bound comes to rest a little beyond it and stays held; one
    that was held for nothing falls inside and is let go.
    """
    beyond = np.abs(grade) > max_grade
    se = np.where(beyond, BOUND_SE, USUAL_GRADE)
    return spacing / CHANGE_DISTANCE / se**2, np.where(beyond, np.sign(grade) * max_grade, 0.0)


def _base_weight(variance: FloatArray) -> FloatArray:
    return np.where(np.isfinite(variance), 1 / np.where(np.isfinite(variance), variance, 1.0), 0.0)


@dataclass(frozen=True, eq=False)
class _Posterior:
    """Node elevations: ``mean``, ``variance`` (k,); grades between them: ``grade_variance`` (k-1,);
    ``draws`` (d, k); ``at_bound``, the share of grades that had to be pulled back."""

    mean: FloatArray
    variance: FloatArray
    grade_variance: FloatArray
    draws: FloatArray
    at_bound: float


def _sample(
    bins: _Bins,
    variance: FloatArray,
    spacing: float,
    max_grade: float,
    line: FloatArray,
    draws: int,
    seed: int,
) -> _Posterior:
    """Gibbs sampling of node elevations under few changes of grade and long-tailed errors.

    A railway is long tangents and few changes of grade: at a node the grade changes rarely, then
    by a Laplace law, and else only trembles. Given one precision for every change and one for
    every error (gamma, for Student's law), elevations are Gaussian and drawn in one banded solve
    (Geweke 1993, Bayesian treatment of the independent Student-t linear model; Rue 2001, Fast
    sampling of Gaussian Markov random fields).
    """
    rng = np.random.default_rng(seed)
    base = _base_weight(variance)
    beyond_count = 0.0
    total = np.zeros(line.size)
    squares = np.zeros(line.size)
    grade_total = np.zeros(line.size - 1)
    grade_squares = np.zeros(line.size - 1)
    kept = np.empty((draws, line.size))
    often = min(spacing / CHANGE_DISTANCE, 0.5)
    rounds = draws * THINNING
    for turn in range(-BURN_IN, rounds):
        grade = np.diff(line) / spacing
        bend, often = _drawn_bend(np.diff(grade), often, spacing, rng)
        u2 = (bins.value - _at_bins(line, bins)) ** 2 * base
        weight = base * rng.gamma((FREEDOM + 1) / 2, 2 / (FREEDOM + u2))
        held = _held(grade, max_grade, spacing)
        band, right = _system(bins, weight, bend, spacing, held)
        # lower form and triangular solves: a third of the time of the upper form and solve_banded
        factor = cholesky_banded(band, lower=True, check_finite=False)
        half = dtbsv(2, factor, right, lower=1)
        line = dtbsv(2, factor, half + rng.standard_normal(line.size), lower=1, trans=1)
        if turn >= 0:
            beyond_count += float((np.abs(grade) > max_grade).mean()) / rounds
            total += line
            squares += (line - bins.value[0]) ** 2
            now = np.diff(line) / spacing
            grade_total += now
            grade_squares += now**2
            if turn % THINNING == 0:
                kept[turn // THINNING] = line
    mean, grade_mean = total / rounds, grade_total / rounds
    return _Posterior(
        mean=mean,
        variance=np.maximum(squares / rounds - (mean - bins.value[0]) ** 2, 0.0),
        grade_variance=np.maximum(grade_squares / rounds - grade_mean**2, 0.0),
        draws=kept,
        at_bound=beyond_count,
    )


def _drawn_bend(change: FloatArray, often: float, spacing: float, rng: np.random.Generator) -> tuple[FloatArray, float]:
    """Precision of every change of grade (k-2,), given the change; and how often one is designed.

    First whether it is a change of the designer's or a trembling, by their densities; then, as a
    Laplace law is a normal one of exponential variance, its precision from the inverse Gaussian
    (Park and Casella 2008, The Bayesian lasso). The share of designed changes is learned from the
    line itself, beginning from what railways usually have.
    """
    size = np.abs(change) + 1e-9
    designed = often * np.exp(-size / CHANGE_SIZE) / (2 * CHANGE_SIZE)
    trembled = (1 - often) * np.exp(-0.5 * (size / TREMBLE) ** 2) / (TREMBLE * np.sqrt(2 * np.pi))
    chosen = rng.random(size.size) * (designed + trembled) < designed
    bend = np.where(chosen, rng.wald(1 / (CHANGE_SIZE * size), 1 / CHANGE_SIZE**2), 1 / TREMBLE**2)
    usual = min(spacing / CHANGE_DISTANCE, 0.5)
    counted = float(chosen.sum())
    drawn = rng.beta(USUAL_NODES * usual + counted, USUAL_NODES * (1 - usual) + size.size - counted)
    return bend, float(drawn)


def _answer(
    chainage: FloatArray,
    posterior: _Posterior,
    noises: tuple[Noise, ...],
    on_structure: FloatArray,
    stride: int,
    spacing: float,
) -> Estimate:
    size = chainage.size
    line = posterior.mean
    nodes = np.arange(line.size) * spacing
    nodes[-1] = chainage[-1] - chainage[0]  # the last interval may reach beyond the line: draws end with it
    draws = posterior.draws
    share = (nodes[-1] - nodes[-2]) / spacing
    draws[:, -1] = draws[:, -2] + share * (draws[:, -1] - draws[:, -2])
    interval = np.minimum(np.arange(size) // stride, line.size - 2)
    return Estimate(
        elevation=_at_stations(line, stride, size),
        elevation_se=_at_stations(np.sqrt(posterior.variance + ELEVATION_FLOOR**2), stride, size),
        grade=(np.diff(line) / spacing)[interval],
        grade_se=np.maximum(np.sqrt(posterior.grade_variance), GRADE_FLOOR)[interval],
        structure_probability=on_structure.astype(float),
        draw_chainage=chainage[0] + nodes,
        draw_elevation=draws,
        at_bound=posterior.at_bound,
        noise=noises,
    )
