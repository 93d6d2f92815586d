"""What rasters say of intervals between nodes, as the lattice smoother wants it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.elevation.lattice import Evidence
from profiler.elevation.noise import Noise
from profiler.units import FloatArray

LEAST_AGREEMENT = -12.0
"""Log density below which each further source's difference counts no more against a structure."""


@dataclass(frozen=True, eq=False)
class Bins:
    """Means of ground over intervals, (m, k): ``mean`` [m], ``count`` of stations, and ``share``,
    where in the interval the stations lie on the average (0…1)."""

    mean: FloatArray
    count: FloatArray
    share: FloatArray
    stride: int
    spacing: float


def bins_of(ground: FloatArray, step: float, stride: int) -> Bins:
    """Means (m, k) over ``stride`` stations each of ground (m, n), NaN where a source says nothing."""
    size = ground.shape[1]
    valid = np.isfinite(ground)
    starts = np.arange(0, size - 1, stride)
    along = np.arange(size)
    along -= np.minimum(along // stride, starts.size - 1) * stride  # the last may stand on the last node itself
    count = np.add.reduceat(valid.astype(float), starts, axis=1)
    full = np.maximum(count, 1.0)
    mean = np.add.reduceat(np.where(valid, ground, 0.0), starts, axis=1) / full
    share = np.add.reduceat(np.where(valid, along, 0), starts, axis=1) / full / stride
    return Bins(mean, count, np.where(count > 0, share, 0.5), stride, stride * step)


def evidence_of(
    bins: Bins,
    noises: tuple[Noise, ...],
    white: float,
    *,
    factor: FloatArray | float = 1.0,
    known: tuple[FloatArray, FloatArray] | None = None,
) -> Evidence:
    """Evidence of intervals (k,).

    Parameters
    ----------
    bins : Bins
    noises : tuple of Noise, length m
    white : float
        Error of a bin mean that is never averaged away. [m]
    factor : ndarray, shape (m, k), or float
        How many times the source's error each interval has.
    known : (ndarray, ndarray), each of shape (k,)
        Heights of the rail in mid interval and their variances, infinite where there are none. [m], [m²]
    """
    present = bins.count > 0
    shape = bins.mean.shape
    model = np.array([n.bin_variance(bins.spacing) for n in noises])[:, None]
    repeats = np.array([n.inflation(bins.spacing) for n in noises])[:, None]
    variance = model * np.broadcast_to(factor, shape) ** 2 + white**2
    missing = np.maximum(bins.stride - bins.count, 0.0)
    variance = variance * (1 + 0.5 * missing / np.maximum(bins.count, 1) / repeats)
    follows = present & np.concatenate([np.zeros((shape[0], 1), bool), present[:, :-1]], axis=1)
    repeat = np.where(follows, (repeats - 1) / (repeats + 1), 0.0)
    weight = np.where(present, 1 / variance, 0.0)
    whole = weight.sum(axis=0)
    told = whole > 0
    safe = np.where(told, whole, 1.0)
    pooled = (weight * bins.mean).sum(axis=0) / safe
    nothing = np.full(shape[1], np.inf)
    return Evidence(
        mean=bins.mean,
        variance=np.where(present, variance, np.inf),
        share=bins.share,
        repeat=repeat,
        pooled=np.where(told, pooled, np.nan),
        pooled_share=np.where(told, (weight * bins.share).sum(axis=0) / safe, 0.5),
        agreement=_agreement(bins.mean - pooled, variance, present, safe),
        known=np.zeros(shape[1]) if known is None else known[0],
        known_variance=nothing if known is None else known[1],
    )


def _agreement(difference: FloatArray, variance: FloatArray, present: FloatArray, whole: FloatArray) -> FloatArray:
    """Density (k,) of the sources' differences from their mean: on a structure these remain normal,
    and only their mean is far from the rail."""
    each = np.where(present, -0.5 * (difference**2 / variance + np.log(2 * np.pi * variance)), 0.0)
    log = each.sum(axis=0) + 0.5 * np.log(2 * np.pi / whole)
    several = present.sum(axis=0)
    return np.where(several > 0, np.exp(np.maximum(log, LEAST_AGREEMENT * np.maximum(several - 1, 0))), 0.0)
