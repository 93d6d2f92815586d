"""From ground along the line to the elevation and grade of the rail, with how sure.

A smoother on nodes every 100 m or so. The rail's grade changes seldom, as railways' grades do;
the ground's error is learned from the route and counted once where it repeats itself; wild
values lose their weight; known structures and voids carry none, so that standard errors grow
inside them; grades beyond the bound are pulled back to it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.elevation.noise import Noise, fit_noise, local_factor
from profiler.elevation.rail import Bins, Posterior, at_bins, first_line, sampled, smoothed
from profiler.errors import CoverageError
from profiler.units import FloatArray

NODE_DISTANCE = 100.0  # [m]

WHITE = 0.05
"""Error of a bin mean that is never averaged away. [m]"""

ELEVATION_FLOOR, GRADE_FLOOR = 0.1, 0.0003
"""Standard errors are never smaller than these. [m], [m/m]"""

NOISE_ROUNDS = 3


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
    line = first_line(bins, spacing, max_grade)
    for _ in range(NOISE_ROUNDS):
        noises = _noises(value, source, _at_stations(line, stride, chainage.size), ground.shape[0], step)
        local = local_factor(bins.value - at_bins(line, bins), bins.count > 0, spacing, noises[0])
        variance = _bin_variances(bins, source, noises, stride, spacing) * local**2
        line = smoothed(bins, variance, spacing, max_grade, line)
    posterior = sampled(bins, variance, spacing, max_grade, line, draws, seed)
    return _answer(chainage, posterior, noises, on_structure, stride, spacing)


def _preferred(ground: FloatArray, usable: FloatArray) -> tuple[FloatArray, FloatArray]:
    """First usable value of every station and the row it came from, -1 where there is none."""
    first = np.argmax(usable, axis=0)
    source = np.where(usable.any(axis=0), first, -1)
    value = np.take_along_axis(ground, first[None], axis=0)[0]
    return np.where(source >= 0, value, 0.0), source


def _bins(value: FloatArray, valid: FloatArray, stride: int) -> Bins:
    starts = np.arange(0, value.size - 1, stride)
    count = np.add.reduceat(valid.astype(float), starts)
    total = np.add.reduceat(np.where(valid, value, 0.0), starts)
    along = np.arange(value.size)
    along -= np.minimum(along // stride, starts.size - 1) * stride  # the last may stand on the last node itself
    position = np.add.reduceat(np.where(valid, along, 0.0), starts)
    full = np.maximum(count, 1.0)
    return Bins(total / full, count, np.where(count > 0, position / full / stride, 0.5))


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
    bins: Bins, source: FloatArray, noises: tuple[Noise, ...], stride: int, spacing: float
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


def _answer(
    chainage: FloatArray,
    posterior: Posterior,
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
