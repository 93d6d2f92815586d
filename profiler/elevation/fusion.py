"""Several sources of ground as one body of evidence: brought to one level, their errors learned, and
no more made of them than they are worth together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.elevation.cross_section import corrected, features, learned
from profiler.elevation.noise import Noise, fit_noise
from profiler.units import FloatArray

LEAST_STATIONS = 500
"""A source with fewer stations has the noise of all of them together."""

OPEN_TRACK = 0.3
"""Errors are learned where a structure is less likely than this."""

WILD = 5.0
"""Robust s.d. beyond which a residual is no error of the ground."""

MOST_INFLATION = 2.0
"""Shared error makes sources together at most so many times worse than independent ones."""


@dataclass(frozen=True, eq=False)
class Learned:
    """Ground (m, n) [m] corrected and brought to one level, and the error of each source."""

    ground: FloatArray
    noises: tuple[Noise, ...]


def preferred(ground: FloatArray) -> tuple[FloatArray, FloatArray]:
    """First value (n,) [m] of every station out of ground (m, n), NaN where there is none, and its row or -1."""
    usable = np.isfinite(ground)
    first = np.argmax(usable, axis=0)
    value = np.take_along_axis(ground, first[None], axis=0)[0]
    return value, np.where(usable.any(axis=0), first, -1)


def levelled(ground: FloatArray) -> FloatArray:
    """Ground (m, n) [m] with each source lifted so that its median agrees with those before it."""
    out = ground.copy()
    for row in range(1, ground.shape[0]):
        difference = out[row] - preferred(out[:row])[0]
        both = np.isfinite(difference)
        if both.any():
            out[row] -= np.median(difference[both])
    return out


def learn(
    ground: FloatArray, shoulders: FloatArray | None, line: FloatArray, structure: FloatArray, step: float
) -> Learned:
    """Learn each source's level, what its cross-section tells of its error, and its noise.

    Parameters
    ----------
    ground : ndarray, shape (m, n)
        NaN where a source says nothing or the rail is known to be elsewhere. [m]
    shoulders : ndarray, shape (m, 2, n), or None
        Ground left and right of the line, near and far. [m]
    line : ndarray, shape (n,)
        The rail as estimated so far. [m]
    structure : ndarray, shape (n,)
        Probability that the rail is not on the ground.
    step : float
        Distance between stations. [m]
    """
    out = ground.copy()
    alone: dict[int, Noise] = {}
    for row in range(ground.shape[0]):
        if np.isfinite(out[row]).sum() < LEAST_STATIONS:
            continue
        near = _near(out[row] - line, structure)
        if row and near.any():  # the first source gives the level; the others are brought to it
            out[row] -= np.median((out[row] - line)[near])
            near = _near(out[row] - line, structure)
        if shoulders is not None:
            shape = features(ground[row], shoulders[row])
            out[row] = corrected(out[row], shape, learned(shape, out[row] - line, near, step))
            near = _near(out[row] - line, structure)
        alone[row] = fit_noise(out[row] - line, near, step)
    few = [row for row in range(ground.shape[0]) if row not in alone]
    if few:
        together = preferred(out)[0] - line
        alone |= dict.fromkeys(few, fit_noise(together, _near(together, structure), step))
    return Learned(out, tuple(alone[row] for row in range(ground.shape[0])))


def _near(residual: FloatArray, structure: FloatArray) -> FloatArray:
    """Stations (n,) on open track whose residual is an error and nothing else, bool."""
    valid = np.isfinite(residual)
    middle = np.median(residual[valid])
    spread = 1.4826 * np.median(np.abs(residual[valid] - middle))
    return np.asarray(valid & (structure < OPEN_TRACK) & (np.abs(np.where(valid, residual, 0.0)) < WILD * spread + 1))


def inflation(data: Learned, line: FloatArray, structure: FloatArray, step: float) -> FloatArray:
    """How many times the stated error that of several sources together is, at stations (n,).

    Sources that see the same trees, cuts and fills err together. The error of their weighted mean
    is compared, at low frequency, with what independence would give.
    """
    valid = np.isfinite(data.ground)
    weight = valid / np.array([n.sigma**2 * n.length for n in data.noises])[:, None]
    whole = weight.sum(axis=0)
    mean = (weight * np.where(valid, data.ground, 0.0)).sum(axis=0) / np.maximum(whole, 1e-12)
    pattern = (valid * (1 << np.arange(valid.shape[0]))[:, None]).sum(axis=0)
    result = np.ones(line.size)
    for own in np.unique(pattern):
        here = pattern == own
        if int(own).bit_count() < 2 or here.sum() < LEAST_STATIONS:
            continue
        near = here & _near(np.where(here, mean - line, np.nan), structure)
        noise = fit_noise(mean - line, near, step)
        ratio = noise.sigma**2 * noise.length * np.median(whole[here])
        result[here] = np.sqrt(np.clip(ratio, 1.0, MOST_INFLATION**2))
    return result
