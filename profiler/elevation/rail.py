"""The rail's elevation at nodes, given means of the ground between them.

Gaussian given a precision for each change of grade and each error; the precisions themselves are
fitted (a robust line) or sampled (the posterior).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cholesky_banded, solveh_banded
from scipy.linalg.blas import dtbsv

from profiler.units import FloatArray

CHANGE_DISTANCE = 1200.0
"""Mean distance between changes of grade. [m]"""

CHANGE_SIZE = 0.006
"""Scale of a change of grade (Laplace). [m/m]"""

FREEDOM = 5.0
"""Degrees of freedom of the Student errors that take the weight from wild values."""

USUAL_GRADE = 0.03
"""S.d. of a railway's grades, one tangent counting once: keeps grades believable where nothing is
seen, and is too weak to be noticed where something is. [m/m]"""

BOUND_SE = 0.002
"""How loosely the grade of one tangent beyond the bound is held to it. [m/m]"""

USUAL_NODES = 60.0
"""How many nodes' worth the usual rate of changes counts against the line's own."""

TREMBLE = 0.0004
"""S.d. of the change of grade from node to node where the designer left it alone. [m/m]"""

ROUNDS, BURN_IN, THINNING = 30, 150, 10
"""Rounds of the robust fit at most; rounds of sampling that are thrown away; one in so many is kept."""


@dataclass(frozen=True, eq=False)
class Bins:
    """Means over the stretches between nodes: ``value`` (k-1,) [m], ``count`` of stations, and
    ``share``, where between its two nodes the mean lies (0…1)."""

    value: FloatArray
    count: FloatArray
    share: FloatArray


def _system(
    bins: Bins,
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
    weight_low = weight * low
    band[0, :-1] += weight * low**2
    band[0, 1:] += weight * high**2
    band[1, :-1] += weight_low * high
    right[:-1] += weight_low * bins.value
    right[1:] += weight * high * bins.value
    stiffness = bend / spacing**2
    for a, left in enumerate((1.0, -2.0, 1.0)):
        for b, other in enumerate((1.0, -2.0, 1.0)):
            if b >= a:
                band[b - a, a : a + size - 2] += stiffness * (left * other)
    pull, target = held
    pull_back, push = pull / spacing**2, pull * target / spacing
    band[0, :-1] += pull_back
    band[0, 1:] += pull_back
    band[1, :-1] -= pull_back
    right[:-1] -= push
    right[1:] += push
    band[0] += 1e-9
    return band, right


def _even_bend(bins: Bins, spacing: float) -> FloatArray:
    """Precision of a change of grade if all were of one size: as many and as large as railways have."""
    return np.full(bins.value.size - 1, 1 / (2 * spacing / CHANGE_DISTANCE * CHANGE_SIZE**2))


def first_line(bins: Bins, spacing: float, max_grade: float) -> FloatArray:
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
        residual = target - at_bins(line, bins)
        spread = 1.4826 * float(np.median(np.abs(residual[bins.count > 0]))) + 0.5
        robust = weight / (1 + (residual / (2 * spread)) ** 2) / 16.0
        band, right = _system(Bins(target, bins.count, bins.share), robust, bend, spacing, nothing)
        line = solveh_banded(band, right, lower=True, check_finite=False)
    return np.asarray(line)


def at_bins(line: FloatArray, bins: Bins) -> FloatArray:
    return line[:-1] * (1 - bins.share) + line[1:] * bins.share


def smoothed(bins: Bins, variance: FloatArray, spacing: float, max_grade: float, line: FloatArray) -> FloatArray:
    """Robust fit of the node elevations (k,) with even changes of grade."""
    base = _base_weight(variance)
    bend = _even_bend(bins, spacing)
    held = (np.zeros(bins.value.size), np.zeros(bins.value.size))
    for _ in range(ROUNDS):
        u2 = (bins.value - at_bins(line, bins)) ** 2 * base
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
class Posterior:
    """Node elevations: ``mean``, ``variance`` (k,); grades between them: ``grade_variance`` (k-1,);
    ``draws`` (d, k); ``at_bound``, the share of grades that had to be pulled back."""

    mean: FloatArray
    variance: FloatArray
    grade_variance: FloatArray
    draws: FloatArray
    at_bound: float


def sampled(
    bins: Bins,
    variance: FloatArray,
    spacing: float,
    max_grade: float,
    line: FloatArray,
    draws: int,
    seed: int,
) -> Posterior:
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
        u2 = (bins.value - at_bins(line, bins)) ** 2 * base
        weight = base * rng.standard_gamma((FREEDOM + 1) / 2, u2.size) * (2 / (FREEDOM + u2))
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
    return Posterior(
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
    bend = np.full(size.size, 1 / TREMBLE**2)
    # numbers for every node, used or not: a change of the data in one place must not shift the
    # numbers that all other places get
    normal, uniform = rng.standard_normal(size.size), rng.random(size.size)
    mean = 1 / (CHANGE_SIZE * size[chosen])
    bend[chosen] = inverse_gaussian(mean, 1 / CHANGE_SIZE**2, normal[chosen], uniform[chosen])
    usual = min(spacing / CHANGE_DISTANCE, 0.5)
    counted = float(chosen.sum())
    drawn = rng.beta(USUAL_NODES * usual + counted, USUAL_NODES * (1 - usual) + size.size - counted)
    return bend, float(drawn)


def inverse_gaussian(mean: FloatArray, shape: float, normal: FloatArray, uniform: FloatArray) -> FloatArray:
    """Inverse Gaussian numbers (n,) of given means (n,) and shape from standard normal and uniform ones (n,).

    Michael, Schucany and Haas 1976, Generating random variates using transformations with
    multiple roots; the smaller root in the form that does not cancel.
    """
    r = mean * normal**2 / (2 * shape)
    root = mean / (1 + r + np.sqrt(r * (r + 2)))
    return np.where(uniform * (mean + root) <= mean, root, mean**2 / root)
