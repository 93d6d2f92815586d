"""Known elevations against the ground: how far the rasters stand off, and which known ones do not fit.

A raster's heights are off by its datum and by a bias that changes over tens of kilometres. Known
elevations show that offset wherever they stand; one that the others and the ground contradict is
more likely a wrong post, a wrong datum or a typing error, and is left out and said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import logsumexp

from profiler.errors import InputError
from profiler.profile import KnownElevation, KnownResidual
from profiler.units import FloatArray

CONSTANT = 10.0
"""Standard deviation of the part of the offset that is the same everywhere. [m]"""

SLOW = np.array([0.0, 0.3, 0.6, 1.0, 1.5, 2.5])
"""Standard deviations tried for the part that changes along the line. [m]"""

SLOW_PRIOR = 1.5
"""The slow part's standard deviation is half-normal with this scale beforehand. [m]"""

SLOW_LENGTH = 15_000.0
"""The slow part's correlation falls to 1/e over this. [m]"""

SHARED_LENGTH = 500.0
"""Errors of the fitted rail at two places become the same error where these stand closer. [m]"""

TOO_FAR = 4.0
"""A known elevation further than so many standard errors from what the others say is not used."""

CLEARLY = float(np.log(100.0))
"""Of known elevations that exclude each other one is kept only if the rest make that 100 times likelier."""

_GRID = 500.0  # [m], far below SLOW_LENGTH: between its points the offset is straight to 2e-4 of itself

_LOG_PRIOR = np.log(np.diff([0.0, *(SLOW[1:] + SLOW[:-1]) / 2, SLOW[-1]])) - 0.5 * (SLOW / SLOW_PRIOR) ** 2


@dataclass(frozen=True, eq=False)
class RasterOffset:
    """How far the rasters stand above the known elevations, at n places, and k known ones judged by it.

    ``offset`` (n,) [m] and its ``variance`` (n,) [m²]: take the one from the ground, add the other
    to the answer's variance; both are 0 where no known elevation is used. ``slow_sd`` [m] of the
    part that changes along the line. ``residual`` (k,) [m] is the difference less what the *other*
    used ones predict for it, ``residual_se`` (k,) [m] its standard error; ``used`` (k,) bool;
    ``rival`` (k,) int is another known one that contradicts one not used, -1 where there is none.
    """

    offset: FloatArray
    variance: FloatArray
    slow_sd: float
    residual: FloatArray
    residual_se: FloatArray
    used: FloatArray
    rival: FloatArray


def raster_offset(
    known_chainage: FloatArray,
    difference: FloatArray,
    variance: FloatArray,
    at: FloatArray,
    *,
    own_variance: FloatArray | None = None,
) -> RasterOffset:
    """The rasters' offset out of known elevations, and which of these do not fit.

    Parameters
    ----------
    known_chainage : ndarray, shape (k,)
        In any order; k may be 0, 1 or 2. [m]
    difference : ndarray, shape (k,)
        Elevation fitted to the rasters alone, minus the known elevation. [m]
    variance : ndarray, shape (k,)
        Of that difference: of the fit plus of the known elevation. [m²]
    at : ndarray, shape (n,)
        Where the offset is wanted. [m]
    own_variance : ndarray, shape (k,), optional
        The known elevations' own part of ``variance``; the rest is the fit's, which neighbours
        share. By default nothing is shared. [m²]

    Raises
    ------
    InputError
        If a value is not finite or a variance not above zero.

    Notes
    -----
    Offset = constant + slow part, a Gaussian process of covariance c² + t²·e^(−|Δ|/15 km); t is
    averaged over `SLOW` by its likelihood and a half-normal prior. What the others say of one, and
    taking one away, are exact rank-one steps on the inverse covariance (Rasmussen and Williams
    2006, Gaussian Processes for Machine Learning, §5.4.2), so that k³ is paid once for each t.
    """
    own = variance if own_variance is None else own_variance
    x, y, total, own, at = (np.asarray(v, dtype=float) for v in (known_chainage, difference, variance, own, at))
    if not (np.isfinite([x, y]).all() and np.isfinite(total).all() and (own > 0).all() and (total > 0).all()):
        raise InputError("known elevations", "a figure is not finite or has no error", "give finite figures, se over 0")
    shared = np.sqrt(np.maximum(total - own, 0.0))
    error = np.diag(own) + np.outer(shared, shared) * _decay(x, x, SHARED_LENGTH)
    fit, tied = _without_misfits(_Fit.of(y, x, error))
    residual, residual_se = _judged(fit, x, error)
    place = np.unique(np.r_[np.arange(at.min(), at.max() + _GRID, _GRID), x])
    mean, spread = fit.predicted(_decay(place, x, SLOW_LENGTH)) if fit.kept.any() else np.zeros((2, place.size))
    return RasterOffset(
        offset=np.interp(at, place, mean),
        variance=np.interp(at, place, spread),
        slow_sd=float(fit.weights() @ SLOW) if fit.kept.any() else 0.0,
        residual=residual,
        residual_se=residual_se,
        used=fit.kept,
        rival=np.where(fit.kept, -1, np.where(tied >= 0, tied, _beside(x, y, own, fit.kept))),
    )


def known_residuals(known: Sequence[KnownElevation], offset: RasterOffset) -> tuple[KnownResidual, ...]:
    """The table of residuals: each of ``known`` (k) beside what the rest of the evidence says there."""
    return tuple(
        KnownResidual(
            chainage=item.chainage,
            known=item.elevation,
            se=item.se,
            fitted=item.elevation + float(residual),
            residual_se=float(se),
            place=item.words,
            reason="" if used else "misfit" if rival < 0 or offset.used[rival] else "tie",
            rival=known[rival].words if rival >= 0 else "",
        )
        for item, residual, se, used, rival in zip(
            known, offset.residual, offset.residual_se, offset.used, offset.rival.tolist(), strict=True
        )
    )


@dataclass(frozen=True, eq=False)
class _Fit:
    """Differences (k,) of which those ``kept`` (k,) count, with the inverse of their covariance.

    ``inverse`` (T, k, k), the logarithm of its determinant ``log_det`` (T,) and ``solved`` (T, k), its
    product with the differences, are one for each of `SLOW`; rows of those not kept are zero.
    """

    difference: FloatArray
    kept: FloatArray
    inverse: FloatArray
    log_det: FloatArray
    solved: FloatArray

    @classmethod
    def of(cls, difference: FloatArray, chainage: FloatArray, error: FloatArray) -> _Fit:
        """All of them, ``error`` (k, k) [m²] being the covariance of what is not the offset."""
        decay = _decay(chainage, chainage, SLOW_LENGTH)
        factors = [cho_factor(CONSTANT**2 + slow**2 * decay + error, lower=True) for slow in SLOW]
        inverse = np.array([cho_solve(factor, np.eye(chainage.size)) for factor in factors])
        log_det = np.array([-2 * np.log(np.diag(factor)).sum() for factor, _ in factors])
        return cls(difference, np.ones(chainage.size, dtype=bool), inverse, log_det, inverse @ difference)

    def without(self, i: int) -> _Fit:
        """The same with its ``i``-th no longer kept."""
        column, pivot = self.inverse[:, i], self.inverse[:, i, i]
        step = column / pivot[:, None]
        inverse = self.inverse - column[:, :, None] * step[:, None, :]
        solved = self.solved - step * self.solved[:, [i]]
        inverse[:, i], inverse[:, :, i], solved[:, i] = 0.0, 0.0, 0.0
        kept = self.kept.copy()
        kept[i] = False
        return _Fit(self.difference, kept, inverse, self.log_det - np.log(pivot), solved)

    def evidence(self) -> FloatArray:
        """Logarithm of prior times likelihood (T,), up to a constant."""
        return _LOG_PRIOR + 0.5 * (self.log_det - self.solved @ self.difference)

    def weights(self) -> FloatArray:
        """Probability (T,) of each of `SLOW`."""
        log = self.evidence()
        return np.exp(log - logsumexp(log))

    def left_out(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Of each kept one against the other kept ones: residual [m], its standard error [m], and the
        log evidence of those others."""
        precision = np.diagonal(self.inverse, axis1=1, axis2=2)[:, self.kept]
        each = self.solved[:, self.kept] / precision
        log = self.evidence()[:, None] + 0.5 * (each**2 * precision - np.log(precision))
        residual, variance = _mixed(np.exp(log - logsumexp(log, axis=0)), each, 1 / precision)
        return residual, np.sqrt(variance), logsumexp(log, axis=0)

    def predicted(self, decay: FloatArray, shared: FloatArray | float = 0.0) -> tuple[FloatArray, FloatArray]:
        """Mean (m,) [m] and variance (m,) [m²] of the offset at m places.

        ``decay`` (m, k) is the slow part's correlation with the known ones, ``shared`` (m, k) [m²]
        the covariance of error with them, if what is wanted is a difference and not the offset.
        """
        means, variances = [], []
        for slow, inverse, solved in zip(SLOW, self.inverse, self.solved, strict=True):
            cross = CONSTANT**2 + slow**2 * decay + shared
            means.append(cross @ solved)
            variances.append(CONSTANT**2 + slow**2 - (cross @ inverse * cross).sum(axis=1))
        return _mixed(self.weights()[:, None], np.array(means), np.array(variances))

    def misfits(self) -> tuple[FloatArray, FloatArray]:
        """Numbers of kept ones that the others contradict, and the log evidence without each of them."""
        residual, se, others = self.left_out()
        wrong = np.abs(residual) > TOO_FAR * se
        return np.flatnonzero(self.kept)[wrong], others[wrong]


def _without_misfits(fit: _Fit) -> tuple[_Fit, FloatArray]:
    """The fit without those that the others contradict, the worst first, and who is tied with whom (k,).

    The worst is the one without which the rest are likeliest, so that one error does not take its
    neighbours along. Where leaving out another one instead would mend it nearly as well, nothing
    tells which of them is right, and none is kept.
    """
    tied = np.full(fit.kept.size, -1)
    wrong, others = fit.misfits()
    while wrong.size:
        worst = int(wrong[others.argmax()])
        near = wrong[others > others.max() - CLEARLY]
        fit = fit.without(worst)
        wrong, others = fit.misfits()
        instead = np.setdiff1d(near, [worst, *wrong])
        if instead.size:
            tied[instead], tied[worst] = worst, instead[0]
            for i in instead.tolist():
                fit = fit.without(i)
            wrong, others = fit.misfits()
    return fit, tied


def _judged(fit: _Fit, x: FloatArray, error: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Residual and its standard error (k,) [m] of all, each against the used ones other than itself."""
    residual, se = np.empty(x.size), np.empty(x.size)
    residual[fit.kept], se[fit.kept], _ = fit.left_out()
    out = ~fit.kept
    mean, variance = fit.predicted(_decay(x[out], x, SLOW_LENGTH), error[out])
    residual[out] = fit.difference[out] - mean
    se[out] = np.sqrt(variance + np.diag(error)[out])
    return residual, se


def _beside(x: FloatArray, y: FloatArray, own: FloatArray, used: FloatArray) -> FloatArray:
    """For each (k,) the used one nearest to it, if it is close by and says something else; else -1."""
    apart = np.abs(x[:, None] - x)
    other = np.abs(y[:, None] - y) > TOO_FAR * np.sqrt(own[:, None] + own)
    far = np.where((apart <= SHARED_LENGTH) & other & used, apart, np.inf)
    nearest = far.argmin(axis=1) if x.size else np.empty(0, dtype=int)
    return np.where(np.isfinite(far.min(axis=1, initial=np.inf)), nearest, -1)


def _mixed(weight: FloatArray, mean: FloatArray, variance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean and variance (m,) of a mixture whose parts (T, m) have the weights given."""
    whole = (weight * mean).sum(axis=0)
    return whole, (weight * (variance + (mean - whole) ** 2)).sum(axis=0)


def _decay(a: FloatArray, b: FloatArray, length: float) -> FloatArray:
    return np.exp(-np.abs(a[:, None] - b) / length)
