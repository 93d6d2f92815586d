"""The rail as a hidden path over (elevation, grade, on the ground or on a structure), smoothed exactly.

Nodes stand at equal steps; between two of them the grade is constant and one of a lattice, so that
elevations fall on a lattice too. At a node the grade changes seldom, then by a Laplace law; the
rail enters and leaves structures at low rates. Forward–backward gives means and standard errors,
backward sampling joint draws (Rabiner 1989, A tutorial on hidden Markov models; Frühwirth-Schnatter
1994, Data augmentation and dynamic linear models).

Only a window of the lattice is walked: the first, coarse one lies wide about a first line, and each
finer one covers what the one before left possible (coarse-to-fine dynamic programming, Raphael 2001).
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from profiler.elevation import walk
from profiler.units import FloatArray

ENTRY_DISTANCE, EXIT_DISTANCE = 4000.0, 700.0
"""Mean lengths of open track and of structure that no one told of. [m]"""

WILD = 0.08
"""Share of bins with four times the error."""

TAIL = 1e-4
"""Probability that a finer window may leave out on either side."""

BLOCK_CELLS = 24_000_000
"""Cells of forward messages kept at a time, of four bytes each: longer lines are walked forward twice."""


@dataclass(frozen=True)
class Changes:
    """How a railway's grade changes: mean ``distance`` between changes [m], Laplace ``size`` of one [m/m]."""

    distance: float = 800.0
    size: float = 0.006


USUAL, USUAL_COUNT = Changes(), 20


@dataclass(frozen=True, eq=False)
class Evidence:
    """What is known of each interval (k,) from each of m sources.

    ``mean`` of ground over the interval [m], its ``variance`` [m²], infinite where there is none;
    ``share`` (0…1) is where in the interval that mean lies; ``repeat`` is how much of the error of
    the interval before is found again (0 if there is none before). All (m, k).
    ``pooled`` (k,) is the mean of all sources [m], NaN where there is none, and ``pooled_share``
    where it lies; ``agreement`` (k,) the density of the sources' differences from it, by which a
    structure is judged. ``known`` and ``known_variance`` (k,) are heights of the rail in mid
    interval, variance infinite where there are none.
    """

    mean: FloatArray
    variance: FloatArray
    share: FloatArray
    repeat: FloatArray
    pooled: FloatArray
    pooled_share: FloatArray
    agreement: FloatArray
    known: FloatArray
    known_variance: FloatArray

    def softer(self) -> Evidence:
        """The same with four times the variances."""
        return dataclasses.replace(self, variance=4 * self.variance, known_variance=4 * self.known_variance)


@dataclass(frozen=True, eq=False)
class Window:
    """The part of the lattice that is walked, for each interval (k,).

    Elevations are whole multiples of ``spacing`` · ``grade_step`` and grades of ``grade_step``:
    ``low`` and ``size`` of the elevations at the interval's first node, ``grade_low`` and
    ``grade_size`` of its grades. ``max_grade`` is the bound either way. [m], [m/m], [m/m]
    """

    spacing: float
    grade_step: float
    max_grade: float
    low: np.ndarray
    size: np.ndarray
    grade_low: np.ndarray
    grade_size: np.ndarray

    @property
    def elevation_step(self) -> float:
        """[m]"""
        return self.spacing * self.grade_step

    @property
    def bound(self) -> int:
        """The greatest grade either way, in steps."""
        return int(np.ceil(self.max_grade / self.grade_step - 1e-9))

    def wider(self) -> Window:
        """All grades, and twice the elevations."""
        pad = self.size // 2 + 1
        all_grades = np.full(self.low.size, 2 * self.bound + 1)
        return dataclasses.replace(
            self,
            low=self.low - pad,
            size=self.size + 2 * pad,
            grade_low=np.full(self.low.size, -self.bound),
            grade_size=all_grades,
        )


@dataclass(frozen=True, eq=False)
class Smoothed:
    """The answer for intervals (k,) and nodes (k+1,).

    ``elevation`` and ``variance`` at nodes; ``grade``, ``grade_variance`` and
    ``structure_probability`` of intervals; ``at_bound`` (k,) the probability that the grade is the
    steepest allowed. ``reach`` (4, k): least and greatest possible elevation at the first node [m]
    and grade [m/m]. ``draws`` (d, k+1) [m] and ``on_structure`` (d, k) bool.
    """

    elevation: FloatArray
    variance: FloatArray
    grade: FloatArray
    grade_variance: FloatArray
    structure_probability: FloatArray
    at_bound: FloatArray
    reach: FloatArray
    draws: FloatArray
    on_structure: FloatArray


def wide_window(line: FloatArray, half: float, spacing: float, grade_step: float, max_grade: float) -> Window:
    """All grades up to a bound, and ``half`` [m] to both sides of a line given at nodes (k+1,) [m]."""
    q = spacing * grade_step
    bound = int(np.ceil(max_grade / grade_step - 1e-9))
    low = np.round((line[:-1] - half) / q).astype(np.int64)
    count = line.size - 1
    return Window(
        spacing,
        grade_step,
        max_grade,
        low,
        np.full(count, int(2 * half / q) + 1),
        np.full(count, -bound),
        np.full(count, 2 * bound + 1),
    )


def finer_window(coarse: Smoothed, old: Window, count: int, spacing: float, grade_step: float) -> Window:
    """A window of ``count`` finer intervals over all that a coarser answer left possible."""
    q = spacing * grade_step
    bound = int(np.ceil(old.max_grade / grade_step - 1e-9))
    places = np.arange(count) * spacing
    nodes = np.arange(coarse.grade.size) * old.spacing
    low, high, grade_low, grade_high = coarse.reach
    # the coarse line cuts corners by up to a change of grade times an eighth of its interval
    pad = 1.5 * old.elevation_step + old.spacing / 8 * USUAL.size
    floor = np.round((np.interp(places, nodes, low) - pad) / q).astype(np.int64)
    ceiling = np.round((np.interp(places, nodes, high) + pad) / q).astype(np.int64)
    beyond = np.maximum(places - nodes[-1], 0.0)  # past the last coarse node the line may climb or fall
    floor += np.floor(beyond * grade_low[-1] / q).astype(np.int64) * (beyond > 0)
    ceiling += np.ceil(beyond * grade_high[-1] / q).astype(np.int64) * (beyond > 0)
    own = np.minimum((places / old.spacing).astype(int), nodes.size - 1)
    near = [np.clip(own + d, 0, nodes.size - 1) for d in (-1, 0, 1)]
    least = np.min([grade_low[i] for i in near], axis=0) - 1.5 * old.grade_step
    most = np.max([grade_high[i] for i in near], axis=0) + 1.5 * old.grade_step
    first = np.maximum(np.floor(least / grade_step), -bound).astype(np.int64)
    last = np.minimum(np.ceil(most / grade_step), bound).astype(np.int64)
    return Window(spacing, grade_step, old.max_grade, floor, ceiling - floor + 1, first, last - first + 1)


def smooth(evidence: Evidence, window: Window, uniform: FloatArray, changes: Changes = USUAL) -> Smoothed:
    """Smooth the path; ``uniform`` (k, d) are numbers in 0…1 that make d draws, d may be 0.

    A window that holds no path at all is widened; evidence that contradicts itself so far that in
    single precision no path is left (a bound far below the line's grades) is taken for less sure.
    """
    while True:
        found = _smoothed(evidence, window, uniform, changes)
        if found is not None:
            return found
        window, evidence = window.wider(), evidence.softer()


def _smoothed(evidence: Evidence, window: Window, uniform: FloatArray, changes: Changes) -> Smoothed | None:
    steps = _Walk(evidence, window, changes)
    count, draws = window.low.size, uniform.shape[1]
    blocks = _blocks(2 * window.size * window.grade_size)
    starts = [np.zeros(0, np.float32)]
    for block in blocks[:-1]:
        messages, offsets, held = steps.forward(block, starts[-1])
        if not held:
            return None
        starts.append(messages[offsets[-2] :].copy())
    moments = np.zeros((11, count))
    paths = np.zeros((3, draws, count), dtype=np.int64)
    after = np.zeros(0, np.float32)
    for block, start in zip(reversed(blocks), reversed(starts), strict=True):
        messages, offsets, held = steps.forward(block, start)
        if not held:
            return None
        after, held = steps.backward(block, messages, offsets, after, moments)
        if not held:
            return None
        steps.draw(block, messages, offsets, uniform, paths)
    return _answer(window, moments, paths)


def _blocks(cells: np.ndarray) -> list[tuple[int, int]]:
    """Runs of intervals whose messages fit into memory together."""
    whole = np.cumsum(cells)
    number = int(np.ceil(whole[-1] / BLOCK_CELLS))
    cuts = np.searchsorted(whole, whole[-1] * np.arange(1, number) / number)
    edges = np.unique(np.r_[0, cuts, cells.size])
    return [(int(a), int(b)) for a, b in pairwise(edges)]


class _Walk:
    """Evidence in lattice units and the tables that the kernels look densities up in."""

    def __init__(self, evidence: Evidence, window: Window, changes: Changes) -> None:
        q = window.elevation_step
        self.shape = np.column_stack([window.low, window.size, window.grade_low, window.grade_size])
        self.bound = window.bound
        base = window.low * q  # heights are taken from the window's floor: single precision then suffices
        seen = np.isfinite(evidence.variance)
        variance = np.where(seen, evidence.variance, 1.0)
        mean = np.where(seen, evidence.mean, 0.0)
        before = np.concatenate([np.zeros((mean.shape[0], 1)), mean[:, :-1]], axis=1)
        share_before = np.concatenate([np.full((mean.shape[0], 1), 0.5), evidence.share[:, :-1]], axis=1)
        r = evidence.repeat
        new = variance * (1 - r**2)
        # per source and interval: (constant, per elevation, per grade, scale, weight) of the error as
        # an innovation, then as it is by itself
        self.errors = np.stack(
            [
                (mean - base - r * (before - base)),
                (1 - r) * q,
                (evidence.share + r * (1 - share_before)) * q,
                np.where(seen, 1 / np.sqrt(new) / walk.TABLE_STEP, 0.0),
                np.where(seen, 1 / np.sqrt(new), -1.0),
                mean - base,
                np.full(mean.shape, q),
                evidence.share * q,
                np.where(seen, 1 / np.sqrt(variance) / walk.TABLE_STEP, 0.0),
                np.where(seen, 1 / np.sqrt(variance), -1.0),
            ],
            axis=-1,
        ).astype(np.float32)
        told = np.isfinite(evidence.pooled)
        self.structure = np.column_stack(
            [
                np.where(told, evidence.pooled - base, 0.0),
                evidence.pooled_share * q,
                np.where(told, evidence.agreement, -1.0),
            ]
        ).astype(np.float32)
        has_known = np.isfinite(evidence.known_variance)
        self.known = np.column_stack(
            [
                np.where(has_known, evidence.known - base, 0.0),
                np.where(has_known, 1 / np.where(has_known, evidence.known_variance, 1.0), 0.0),
            ]
        ).astype(np.float32)
        t2 = np.arange(0, walk.TABLE_END, walk.TABLE_STEP) ** 2
        self.track_table = (((1 - WILD) * np.exp(-t2 / 2) + WILD / 4 * np.exp(-t2 / 32)) / np.sqrt(2 * np.pi)).astype(
            np.float32
        )
        self.structure_table = structure_density(
            np.arange(-walk.STRUCTURE_END, walk.STRUCTURE_END, walk.STRUCTURE_STEP)
        ).astype(np.float32)
        change = min(window.spacing / changes.distance, 0.5)
        fade = np.exp(-window.grade_step / changes.size)
        self.rates = np.array(
            [
                1 - change,
                change * (1 - fade) / (1 + fade),
                fade,
                window.spacing / ENTRY_DISTANCE,
                min(1.0, window.spacing / EXIT_DISTANCE),
                q,
            ],
            dtype=np.float32,
        )

    def _arguments(self) -> tuple[np.ndarray, ...]:
        return (
            self.shape,
            self.errors,
            self.structure,
            self.known,
            self.track_table,
            self.structure_table,
            self.rates,
        )

    def forward(self, block: tuple[int, int], start: np.ndarray) -> tuple[np.ndarray, np.ndarray, bool]:
        """Messages of a block's intervals, where each begins, and whether the window holds a path at all;
        ``start`` is the message of the interval before."""
        first, last = block
        cells = 2 * self.shape[first:last, 1] * self.shape[first:last, 3]
        offsets = np.r_[0, np.cumsum(cells)]
        messages = np.empty(int(offsets[-1]), np.float32)
        held = walk.forward(messages, offsets, start, first, last, *self._arguments())
        return messages, offsets, bool(held)

    def backward(
        self,
        block: tuple[int, int],
        messages: np.ndarray,
        offsets: np.ndarray,
        after: np.ndarray,
        moments: FloatArray,
    ) -> tuple[np.ndarray, bool]:
        """Fill the block's moments (11, k); ``after`` is the message from behind it. The new one is returned,
        and whether every interval has a path."""
        first, last = block
        return walk.backward(messages, offsets, after, first, last, self.bound, TAIL, moments, *self._arguments())

    def draw(
        self,
        block: tuple[int, int],
        messages: np.ndarray,
        offsets: np.ndarray,
        uniform: FloatArray,
        paths: np.ndarray,
    ) -> None:
        """Continue the draws ``paths`` (elevation, grade, structure; d; k) from behind through the block."""
        first, last = block
        walk.draw(messages, offsets, first, last, uniform, paths, *self._arguments())


def learned_changes(draws: FloatArray, window: Window) -> Changes:
    """How the grade changes on one line, out of draws (d, k+1) [m] in a window.

    `USUAL` counts as much as `USUAL_COUNT` changes seen.
    """
    steps = np.round(np.diff(draws, axis=1) / window.elevation_step)
    change = np.abs(np.diff(steps, axis=1)) * window.grade_step
    seen = float((change > 0).sum(axis=1).mean())
    length = change.shape[1] * window.spacing
    total = float(change.sum(axis=1).mean())
    return Changes(
        distance=(USUAL_COUNT * USUAL.distance + length) / (USUAL_COUNT + seen),
        size=(USUAL_COUNT * USUAL.size + total) / (USUAL_COUNT + seen),
    )


def structure_density(above: FloatArray) -> FloatArray:
    """Density [1/m] of ground minus rail (n,) [m] where the rail is on a structure or the ground is trees.

    Flat far out: a tail that fell off would pull the line up under a hill. What is left of a tail is
    the root of what it would be alone, as the ground of neighbouring intervals is much the same: one
    hill of 30 m is not many independent hints at a rail that climbs it. Not normalised.
    """
    up = 0.0042 * np.sqrt(1 + 25 * np.exp(-np.abs(above) / 10))
    down = 0.0008 * np.sqrt(1 + 25 * np.exp(-np.abs(above) / 12))
    return np.where(above > 0, up, down)


def _answer(window: Window, moments: FloatArray, paths: np.ndarray) -> Smoothed:
    q, step = window.elevation_step, window.grade_step
    grade, grade2, height, height2, product, structure, bound = moments[:7]
    grade_mean = grade + window.grade_low
    mean = height + window.low
    variance = np.maximum(height2 - height**2, 0.0)
    grade_variance = np.maximum(grade2 - grade**2, 0.0)
    end = mean[-1] + grade_mean[-1]
    end_variance = variance[-1] + grade_variance[-1] + 2 * (product[-1] - height[-1] * grade[-1])
    heights, grades, on_structure = paths
    ends = heights[:, -1:] + grades[:, -1:]
    corner = np.array([window.low, window.low, window.grade_low, window.grade_low])
    reach = (moments[7:] + corner) * np.array([[q], [q], [step], [step]])
    return Smoothed(
        elevation=np.r_[mean, end] * q,
        variance=np.r_[variance, end_variance] * q**2 + q**2 / 12,
        grade=grade_mean * step,
        grade_variance=(grade_variance + 1 / 12) * step**2,
        structure_probability=structure,
        at_bound=bound,
        reach=reach,
        draws=np.concatenate([heights, ends], axis=1) * q,
        on_structure=on_structure.astype(bool),
    )
