"""From ground along the line to the elevation and grade of the rail, with how sure.

The lattice smoother in passes, each finer than the one before and walked only where that left
anything possible. From what is left over after the second, the errors of every source are learned;
known elevations then tell how far the sources stand off.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from profiler.elevation.evidence import Bins, bins_of, evidence_of
from profiler.elevation.first_line import first_line
from profiler.elevation.fusion import Learned, inflation, learn, levelled, preferred
from profiler.elevation.known import RasterOffset, known_residuals, raster_offset
from profiler.elevation.lattice import (
    USUAL,
    Changes,
    Smoothed,
    Window,
    finer_window,
    learned_changes,
    smooth,
    wide_window,
)
from profiler.elevation.noise import LONGEST_CORRELATION, Noise
from profiler.errors import CoverageError
from profiler.profile import KnownElevation, KnownResidual
from profiler.units import FloatArray

COARSE, MEDIUM, FINE = (200.0, 0.003, 0.5), (100.0, 0.002, 0.3), (100.0, 0.001, 0.1)
"""Distance of nodes [m], step of grades [m/m], and the error of a bin mean that is never averaged away [m]."""

FINEST = {True: (50.0, 0.0005, 0.05), False: (100.0, 0.0005, 0.1)}
"""The last pass on ground that sees every change of grade, and on what sees them blurred."""

SHARP, CLEAR = 3.0, 10.0
"""Ground is sharp if its σ·√ℓ is less than the one, and worth a fourth pass if less than the other. [m^1.5]"""

BOUND_STEP = 0.006
"""The bound is rounded up to a multiple of this, which all passes' steps divide. [m/m]"""

REACH = 250.0
"""The rail is looked for so far above and below the first line. [m]"""

FIRST_LENGTH = 150.0
"""Correlation length of the ground's error before it is learned. [m]"""

LEARNING_DRAWS = 20
"""Draws of a pass out of which the next learns how often the grade changes, and by how much."""

ELEVATION_FLOOR, GRADE_FLOOR = 0.05, 0.0003
"""Standard errors are never smaller than these. [m], [m/m]"""

LONG_ERROR = 1.15
"""Where the error is correlated over as long as can be told, elevations are less sure by this factor."""


@dataclass(frozen=True, eq=False)
class Estimate:
    """What the estimator says at stations (n,), and draws (d, k) at nodes (k,).

    ``elevation``, ``elevation_se`` [m]; ``grade``, ``grade_se`` [m/m], the grade changing evenly
    from the middle of one interval to that of the next as in a vertical curve, and elevation its
    integral; ``structure_probability`` that the rail is not on the ground; ``at_bound`` the
    probability, over the line, that the grade is the steepest allowed. ``ground`` (m, n) [m] is what
    counted of each source, corrected, and ``weight`` (m, n) the share each had; ``noise`` one per
    source. ``offset`` (n,) [m] is how far the sources stand above the known elevations, which was taken
    off, None without any; ``known`` are these beside what is said without them.
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
    ground: FloatArray
    weight: FloatArray
    offset: FloatArray | None = None
    known: tuple[KnownResidual, ...] = ()


@dataclass(frozen=True, eq=False)
class _Pass:
    """One walk over the line: its answer, the window it was found in, and its stations per interval."""

    smoothed: Smoothed
    window: Window
    stride: int

    def line(self, size: int) -> FloatArray:
        """Elevation at stations (n,), straight between nodes. [m]"""
        return self.at_stations(self.smoothed.elevation, size)

    def at_stations(self, nodes: FloatArray, size: int) -> FloatArray:
        """Values at stations (n,) out of those at nodes (k+1,)."""
        return np.interp(np.arange(size) / self.stride, np.arange(nodes.size), nodes)

    def of_interval(self, values: FloatArray, size: int) -> FloatArray:
        """Values at stations (n,) out of those of intervals (k,)."""
        return np.asarray(values[np.minimum(np.arange(size) // self.stride, values.size - 1)])

    def structure(self, size: int) -> FloatArray:
        """Probability of a structure at stations (n,)."""
        return self.of_interval(self.smoothed.structure_probability, size)

    def lowered(self, offset: FloatArray) -> _Pass:
        """The same answer with an offset at stations (n,) [m] taken from it."""
        nodes = np.interp(np.arange(self.smoothed.elevation.size) * self.stride, np.arange(offset.size), offset)
        reach = self.smoothed.reach - np.array([nodes[:-1], nodes[:-1], 0 * nodes[:-1], 0 * nodes[:-1]])
        moved = dataclasses.replace(self.smoothed, elevation=self.smoothed.elevation - nodes, reach=reach)
        return dataclasses.replace(self, smoothed=moved)


def estimate(
    chainage: FloatArray,
    ground: FloatArray,
    on_structure: FloatArray,
    *,
    max_grade: float,
    shoulders: FloatArray | None = None,
    known: Sequence[KnownElevation] = (),
    draws: int = 100,
    seed: int = 0,
    progress: Callable[[float], None] = lambda _share: None,
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
    shoulders : ndarray, shape (m, 2, n), optional
        Ground left and right of the line, near and far. [m]
    known : sequence of KnownElevation
        Heights of the rail in the sources' datum.
    draws, seed : int
        Number of joint draws and the seed that gives them again.
    progress : callable
        Told the share that is done, about.

    Raises
    ------
    CoverageError
        If no source says anything on open track.
    """
    usable = np.isfinite(ground) & ~on_structure
    if usable.any(axis=0).sum() < 2:
        raise CoverageError(
            "elevation", "no raster has data on the open track of this line", "give rasters that cover it"
        )
    step, size = float(chainage[1] - chainage[0]), chainage.size
    max_grade = float(np.ceil(max_grade / BOUND_STEP - 1e-9)) * BOUND_STEP
    raw = levelled(np.where(usable, ground, np.nan))
    rough, spread = _first_pass(preferred(raw)[0], step, max_grade)
    progress(0.35)
    first = Learned(preferred(raw)[0][None], (Noise(spread, FIRST_LENGTH),))
    refined = _next_pass(rough, first, chainage, MEDIUM)
    data = learn(raw, shoulders, refined.line(size), refined.structure(size), step)
    if raw.shape[0] > 1:
        refined = _next_pass(rough, data, chainage, (*MEDIUM[:2], FINE[2]), _inflation(data, refined, chainage))
        data = learn(raw, shoulders, refined.line(size), refined.structure(size), step)
    progress(0.5)
    offset = None
    if known:
        alone = _next_pass(refined, data, chainage, FINE)
        offset = _offset(alone, known, chainage)
        refined = refined.lowered(offset.offset)
        data = Learned(data.ground - offset.offset, data.noises)
    progress(0.6)
    told = None if offset is None else (known, offset)
    last, data = _last_passes(refined, data, chainage, told, (draws, seed))
    progress(1.0)
    return _answer(chainage, last, data, on_structure, offset, known)


def _stride(distance: float, step: float, size: int) -> int:
    """Stations per interval of about ``distance`` [m], at least four intervals to a line."""
    return max(min(round(distance / step), (size - 1) // 4), 1)


def _first_pass(ground: FloatArray, step: float, max_grade: float) -> tuple[_Pass, float]:
    """A coarse walk far to both sides of a first line, and the ground's spread about that line [m]."""
    spacing, grade_step, white = COARSE
    stride = _stride(spacing, step, ground.size)
    bins = bins_of(ground[None], step, stride)
    line = first_line(bins.mean[0], bins.count[0] > 0, bins.spacing, max_grade)
    at_stations = np.interp(np.arange(ground.size) / stride, np.arange(line.size), line)
    spread = float(np.clip(1.4826 * np.nanmedian(np.abs(ground - at_stations)), 0.5, 4.0))
    window = wide_window(line, REACH, bins.spacing, grade_step, max_grade)
    answer = smooth(evidence_of(bins, (Noise(spread, FIRST_LENGTH),), white), window, _no_draws(bins))
    return _Pass(answer, window, stride), spread


def _no_draws(bins: Bins) -> FloatArray:
    return np.zeros((bins.mean.shape[1], 0))


def _next_pass(
    before: _Pass,
    data: Learned,
    chainage: FloatArray,
    kind: tuple[float, float, float],
    worse: FloatArray | None = None,
    told: tuple[Sequence[KnownElevation], RasterOffset] | None = None,
    changes: Changes = USUAL,
    draws: tuple[int, int] = (0, 0),
) -> _Pass:
    """A walk of one kind within ``before``.

    ``worse`` (n,) is the inflation of several sources' error; ``told`` are known elevations and the
    offset they gave; ``draws`` how many and their seed.
    """
    step, size = float(chainage[1] - chainage[0]), chainage.size
    spacing, grade_step, white = kind
    bins = bins_of(data.ground, step, _stride(spacing, step, size))
    count = bins.mean.shape[1]
    factor = 1.0 if worse is None else worse[_middles(bins, size)][None]
    heights = None if told is None else _known_in_bins(*told, before.line(size), chainage, bins)
    evidence = evidence_of(bins, data.noises, white, factor=factor, known=heights)
    window = finer_window(before.smoothed, before.window, count, bins.spacing, grade_step)
    number, seed = draws
    uniform = np.random.default_rng(seed).random((count, number))
    return _Pass(smooth(evidence, window, uniform, changes), window, bins.stride)


def _inflation(data: Learned, about: _Pass, chainage: FloatArray) -> FloatArray:
    """How many times worse several sources are together (n,), judged about a pass."""
    size = chainage.size
    return inflation(data, about.line(size), about.structure(size), float(chainage[1] - chainage[0]))


def _middles(bins: Bins, size: int) -> np.ndarray:
    """Stations in mid interval (k,)."""
    return np.asarray(np.minimum(np.arange(bins.mean.shape[1]) * bins.stride + bins.stride // 2, size - 1))


def _offset(alone: _Pass, known: Sequence[KnownElevation], chainage: FloatArray) -> RasterOffset:
    """How far the sources stand off, by the known elevations and a pass that did not use them."""
    place = np.array([k.chainage for k in known])
    own = np.array([k.se for k in known]) ** 2
    line = np.interp(place, chainage, alone.line(chainage.size))
    fit = np.interp(place, chainage, alone.at_stations(alone.smoothed.variance, chainage.size))
    difference = line - np.array([k.elevation for k in known])
    return raster_offset(place, difference, fit + own + ELEVATION_FLOOR**2, chainage, own_variance=own)


def _last_passes(
    before: _Pass,
    data: Learned,
    chainage: FloatArray,
    told: tuple[Sequence[KnownElevation], RasterOffset] | None,
    drawn: tuple[int, int],
) -> tuple[_Pass, Learned]:
    """The fine walk with everything that is known, and on ground that is worth it a finer one still.

    Before that the errors are learned once more, about a line that follows vertical curves, and how
    often this railway changes its grade. On worse ground either would only follow the error.
    """
    if _sharpness(data) >= CLEAR:
        return _next_pass(before, data, chainage, FINE, _inflation(data, before, chainage), told, draws=drawn), data
    fine = _next_pass(before, data, chainage, FINE, _inflation(data, before, chainage), told, draws=(LEARNING_DRAWS, 0))
    step, size = float(chainage[1] - chainage[0]), chainage.size
    line, _ = _with_curves(fine.smoothed, fine.stride, fine.window.spacing, size)
    data = learn(data.ground, None, line, fine.structure(size), step)
    changes = learned_changes(fine.smoothed.draws, fine.window)
    kind = FINEST[_sharpness(data) < SHARP]
    return _next_pass(fine, data, chainage, kind, _inflation(data, fine, chainage), told, changes, drawn), data


def _sharpness(data: Learned) -> float:
    """σ·√ℓ of the best source. [m^1.5]"""
    return min(float(n.sigma * np.sqrt(n.length)) for n in data.noises)


def _known_in_bins(
    known: Sequence[KnownElevation], offset: RasterOffset, line: FloatArray, chainage: FloatArray, bins: Bins
) -> tuple[FloatArray, FloatArray]:
    """Heights in mid interval (k,) [m] and variances [m²] of the known elevations that are used."""
    count = bins.mean.shape[1]
    weight, total = np.zeros(count), np.zeros(count)
    for item, used in zip(known, offset.used, strict=True):
        if used:
            along = item.chainage - chainage[0]
            i = min(int(along / bins.spacing), count - 1)
            middle = chainage[0] + (i + 0.5) * bins.spacing
            rise = np.interp(middle, chainage, line) - np.interp(item.chainage, chainage, line)
            weight[i] += 1 / (item.se**2 + ELEVATION_FLOOR**2)
            total[i] += (item.elevation + rise) / (item.se**2 + ELEVATION_FLOOR**2)
    some = weight > 0
    safe = np.where(some, weight, 1.0)
    return total / safe, np.where(some, 1 / safe, np.inf)


def _answer(
    chainage: FloatArray,
    last: _Pass,
    data: Learned,
    on_structure: FloatArray,
    offset: RasterOffset | None,
    known: Sequence[KnownElevation],
) -> Estimate:
    size, found = chainage.size, last.smoothed
    spacing = last.window.spacing
    nodes = np.arange(found.elevation.size) * spacing
    nodes[-1] = chainage[-1] - chainage[0]  # the last interval may reach beyond the line: draws end with it
    draws = found.draws
    share = (nodes[-1] - nodes[-2]) / spacing
    draws[:, -1] = draws[:, -2] + share * (draws[:, -1] - draws[:, -2])
    elevation, grade = _with_curves(found, last.stride, spacing, size)
    long_error = LONG_ERROR if max(n.length for n in data.noises) > 0.75 * LONGEST_CORRELATION else 1.0
    variance = last.at_stations(found.variance * long_error**2 + ELEVATION_FLOOR**2, size)
    variance = variance + (0.0 if offset is None else offset.variance)
    grade_se = last.of_interval(np.sqrt(found.grade_variance), size)
    structure = last.structure(size)
    return Estimate(
        elevation=elevation,
        elevation_se=np.sqrt(variance),
        grade=grade,
        grade_se=np.maximum(grade_se, GRADE_FLOOR),
        structure_probability=np.where(on_structure, 1.0, structure),
        draw_chainage=chainage[0] + nodes,
        draw_elevation=draws,
        at_bound=float(found.at_bound.mean()),
        noise=data.noises,
        ground=data.ground,
        weight=_weights(data, structure),
        offset=None if offset is None or not offset.used.any() else offset.offset,
        known=() if offset is None else known_residuals(known, offset),
    )


def _with_curves(found: Smoothed, stride: int, spacing: float, size: int) -> tuple[FloatArray, FloatArray]:
    """Elevation [m] and grade [m/m] at stations (n,), the grade changing evenly between mid intervals."""
    station = np.arange(size)
    middle = (np.arange(found.grade.size) + 0.5) * stride
    grade = np.interp(station, middle, found.grade)
    height = (found.elevation[1:] + found.elevation[:-1]) / 2
    before = np.clip(np.floor(station / stride - 0.5).astype(int), 0, found.grade.size - 2)
    along = (station - middle[before]) * (spacing / stride)
    inside = np.clip(along, 0.0, spacing)
    change = found.grade[before + 1] - found.grade[before]
    curved = found.grade[before] * inside + change * inside**2 / (2 * spacing)
    return height[before] + curved + (along - inside) * grade, grade


def _weights(data: Learned, structure: FloatArray) -> FloatArray:
    """Share (m, n) each source has in what the ground says, less what a suspected structure takes away."""
    each = np.isfinite(data.ground) / np.array([n.sigma**2 * n.length for n in data.noises])[:, None]
    whole = each.sum(axis=0)
    return np.asarray(each / np.where(whole > 0, whole, 1.0) * (1 - structure))
