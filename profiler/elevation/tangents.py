"""A line of tangents and parabolas fitted to ground whose error is correlated: Gauss–Newton on PVIs.

Everything is local: a place on the line depends on the PVIs beside it and no other, so that the
normal equations are banded and the cost is linear in the length of the line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solveh_banded
from scipy.sparse import csr_matrix

from profiler.units import FloatArray
from profiler.vertical_curve import length_by_rate

USUAL_RATE, LENGTH_SPREAD = 0.001, 0.7
"""Curve lengths are log-normal about that of 0.1 % per 100 ft, with this s.d. of the logarithm."""

CHANGE_SIZE = 0.006
"""Scale of the Laplace law of changes of grade. [m/m]"""

FREEDOM = 5.0
"""Degrees of freedom of the Student errors that take the weight from wild values."""

SHORTEST_CURVE, LEAST_CHANGE = 20.0, 0.0005
"""Curves are not fitted shorter than this [m], nor judged by changes smaller than this [m/m]."""

FARTHEST, MOST = 60.0, 0.5
"""A step of the fit moves a PVI so far [m] and changes the logarithm of a length so much at most."""

CLOSEST = 30.0
"""PVIs never come closer than this. [m]"""

ROOM = 0.95
"""Share of a tangent that the half curves at its ends may take together."""


@dataclass(frozen=True, eq=False)
class Seen:
    """Means of the ground over short stretches that have any (m,): ``place``, ``value`` [m]; ``se`` [m] of
    the innovation against the one before, of which the share ``carried`` carries over (0 after a hole)."""

    place: FloatArray
    value: FloatArray
    se: FloatArray
    carried: FloatArray

    def innovations(self, residual: FloatArray) -> FloatArray:
        """Residuals (m,) [m] as independent numbers of unit variance (m,)."""
        return np.asarray((residual - self.carried * np.r_[0.0, residual[:-1]]) / self.se)


@dataclass(frozen=True, eq=False)
class Polygon:
    """Knots (k,): place and height [m], and the logarithm of the curve length [ln m].

    The first and last are the ends of the line: they stay where they are and have no curve.
    """

    place: FloatArray
    height: FloatArray
    log_length: FloatArray

    @property
    def grade(self) -> FloatArray:
        """Grades of the tangents (k-1,). [m/m]"""
        return np.asarray(np.diff(self.height) / np.diff(self.place))

    @property
    def change(self) -> FloatArray:
        """Changes of grade at the knots (k,), 0 at the ends. [m/m]"""
        return np.r_[0.0, np.diff(self.grade), 0.0]

    @property
    def length(self) -> FloatArray:
        """Curve lengths (k,), 0 at the ends. [m]"""
        length = np.exp(self.log_length)
        length[[0, -1]] = 0.0
        return np.asarray(length)

    def chosen(self, keep: FloatArray) -> Polygon:
        """Some of its knots, by a mask or by index."""
        return Polygon(self.place[keep], self.height[keep], self.log_length[keep])


def usual_log_length(change: FloatArray) -> FloatArray:
    """Middle of the prior of curve lengths for changes of grade (k,) [m/m]. [ln m]"""
    rate = length_by_rate(1.0, USUAL_RATE)
    return np.asarray(np.log(np.maximum(np.maximum(np.abs(change), LEAST_CHANGE) * rate, SHORTEST_CURVE)))


def roomy(knots: Polygon) -> Polygon:
    """The same with knots in order, never closer than `CLOSEST`, and curves that do not overlap."""
    steps = CLOSEST * np.arange(knots.place.size)
    place = np.maximum.accumulate(knots.place - steps) + steps
    place = np.minimum(place, knots.place[-1] - steps[::-1])
    length = knots.length
    crowded = np.maximum((length[1:] + length[:-1]) / 2 / (ROOM * np.diff(place)), 1.0)
    length = length / np.maximum(np.r_[crowded, 1.0], np.r_[1.0, crowded])
    return Polygon(place, knots.height, np.log(np.maximum(length, SHORTEST_CURVE)))


@dataclass(frozen=True, eq=False)
class _Window:
    """For places (m,): index of the knot whose curve may be felt, and what the line does there."""

    centre: FloatArray
    height: FloatArray
    slopes: FloatArray  # (m, 7): by place of three knots, height of three, length of the middle one


def heights(knots: Polygon, place: FloatArray) -> FloatArray:
    """Elevation (m,) [m] of the rounded line at places (m,) [m]."""
    return _window(knots, place, slopes=False).height


def _window(knots: Polygon, place: FloatArray, *, slopes: bool = True) -> _Window:
    p, z, length, grade, change = knots.place, knots.height, knots.length, knots.grade, knots.change
    a = np.clip(np.searchsorted(p, place, side="right") - 1, 0, p.size - 2)
    along = place - p[a]
    tangent = z[a] + grade[a] * along
    # the curve behind if it reaches here, else the one ahead if that does
    ahead = (along >= length[a] / 2) & (p[a + 1] - place < length[a + 1] / 2)
    c = np.clip(np.where(ahead, a + 1, a), 1, max(p.size - 2, 1))
    u = np.maximum(length[c] / 2 - np.abs(place - p[c]), 0.0)
    full = np.maximum(length[c], 1e-6)
    bend = u**2 / (2 * full)
    height = tangent + change[c] * bend
    if not slopes:
        return _Window(c, height, np.zeros((0, 7)))
    out = np.zeros((place.size, 7))
    rows = np.arange(place.size)
    gap = np.diff(p)
    t = along / gap[a]
    first = a - c + 1  # 0 or 1: which of the window's knots stands before the place
    out[rows, first] -= grade[a] * (1 - t)
    out[rows, first + 1] -= grade[a] * t
    out[rows, 3 + first] += 1 - t
    out[rows, 4 + first] += t
    before, after = gap[c - 1], gap[np.minimum(c, gap.size - 1)]
    g0, g1 = grade[c - 1], grade[np.minimum(c, gap.size - 1)]
    out[:, 3] += bend / before
    out[:, 4] -= bend * (1 / before + 1 / after)
    out[:, 5] += bend / after
    out[:, 0] -= bend * g0 / before
    out[:, 1] += bend * (g0 / before + g1 / after) + change[c] * u / full * np.sign(place - p[c])
    out[:, 2] -= bend * g1 / after
    out[:, 6] = change[c] * (u / 2 - bend)  # by the logarithm of the length
    return _Window(c, height, out)


def fit(knots: Polygon, moving: FloatArray, seen: Seen, rounds: int) -> Polygon:
    """Gauss–Newton rounds on the knots that ``moving`` (k,) bool marks; the others stay.

    The ends move in height only. Innovations weigh as Student's law has it.
    """
    for _ in range(rounds if knots.place.size > 2 else 0):
        use = _felt(knots, seen.place, moving)
        window = _window(knots, seen.place[use])
        part = Seen(seen.place[use], seen.value[use], seen.se[use], seen.carried[use] * np.r_[False, np.diff(use) == 1])
        error = part.innovations(part.value - window.height)
        weight = np.sqrt((FREEDOM + 1) / (FREEDOM + error**2))
        band, right = _normal(knots, window, part, error, weight)
        _small_changes(knots, band, right)
        step = _solve(knots, band, right, moving).reshape(-1, 3)
        place = knots.place + np.clip(step[:, 0], -FARTHEST, FARTHEST)
        shift = place - knots.place
        # a clipped step along the grade keeps the knot near its tangents
        height = knots.height + step[:, 1] - _mean_grade(knots) * (step[:, 0] - shift)
        log_length = knots.log_length + np.clip(step[:, 2], -MOST, MOST)
        knots = roomy(Polygon(place, height, log_length))
        if np.abs(step[:, 0]).max() < 0.5 and np.abs(step[:, 1]).max() < 0.005:
            break
    return knots


def _mean_grade(knots: Polygon) -> FloatArray:
    grade = knots.grade
    return np.r_[grade[0], (grade[1:] + grade[:-1]) / 2, grade[-1]]


def _felt(knots: Polygon, place: FloatArray, moving: FloatArray) -> FloatArray:
    """Indices of the places beside whose tangents a moving knot stands, or one beyond it."""
    near = moving.copy()
    for _ in range(2):
        near = near | np.r_[near[1:], False] | np.r_[False, near[:-1]]
    a = np.clip(np.searchsorted(knots.place, place, side="right") - 1, 0, knots.place.size - 2)
    return np.flatnonzero(near[a] & near[a + 1])


def _normal(
    knots: Polygon, window: _Window, seen: Seen, error: FloatArray, weight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Lower band (12, 3k) of the normal matrix, parameters in the order (place, height, length) a knot."""
    size = 3 * knots.place.size
    m = seen.place.size
    first = 3 * (window.centre - 1)
    columns = first[:, None] + np.array([0, 3, 6, 1, 4, 7, 5])
    slopes = csr_matrix((window.slopes.ravel(), columns.ravel(), np.arange(0, 7 * m + 1, 7)), shape=(m, size))
    own = weight / seen.se
    mixing = csr_matrix((np.r_[own, -(own * seen.carried)[1:]], (np.r_[0:m, 1:m], np.r_[0:m, 0 : m - 1])), shape=(m, m))
    white = mixing @ slopes
    product = (white.T @ white).tocoo()
    lower = product.row >= product.col
    row, column, data = product.row[lower], product.col[lower], product.data[lower]
    band = np.zeros((max(int((row - column).max(initial=0)) + 1, 9), size))
    band[row - column, column] = data
    return band, np.asarray(white.T @ (weight * error))


def _small_changes(knots: Polygon, band: FloatArray, right: FloatArray) -> None:
    """Add the prior of the changes of grade: |A| as a square of the same slope (majorised)."""
    k = knots.place.size
    change, grade, gap = knots.change[1:-1], knots.grade, np.diff(knots.place)
    by_height = np.column_stack([1 / gap[:-1], -1 / gap[:-1] - 1 / gap[1:], 1 / gap[1:]])
    by_place = np.column_stack(
        [-grade[:-1] / gap[:-1], grade[:-1] / gap[:-1] + grade[1:] / gap[1:], -grade[1:] / gap[1:]]
    )
    slopes = np.stack([by_place, by_height], axis=2).reshape(k - 2, 6)
    offsets = np.array([0, 1, 3, 4, 6, 7])
    weight = 1 / (CHANGE_SIZE * np.maximum(np.abs(change), LEAST_CHANGE))
    base = 3 * np.arange(k - 2)
    for a in range(6):
        np.add.at(right, base + offsets[a], -weight * change * slopes[:, a])
        for b in range(a + 1):
            np.add.at(band[offsets[a] - offsets[b]], base + offsets[b], weight * slopes[:, a] * slopes[:, b])


def _solve(knots: Polygon, band: FloatArray, right: FloatArray, moving: FloatArray) -> FloatArray:
    """The step (3k,), with the prior of lengths, gentle damping, and what must not move held."""
    k = knots.place.size
    inner = np.r_[False, np.ones(k - 2, dtype=bool), False]
    usual = usual_log_length(knots.change)
    band[0, 2::3] += 1 / LENGTH_SPREAD**2
    right[2::3] += (usual - knots.log_length) / LENGTH_SPREAD**2
    band[0] *= 1.001
    band[0, 0::3] += 1 / 100.0**2
    band[0, 1::3] += 1e-6
    free = np.column_stack([moving & inner, moving, moving & inner]).ravel()
    band[0, ~free] = 1e12
    right[~free] = 0.0
    return np.asarray(solveh_banded(band, right, lower=True, check_finite=False))


def misfit(knots: Polygon, seen: Seen) -> FloatArray:
    """What each stretch (m,) costs: minus twice the logarithm of Student's density, up to a constant."""
    error = seen.innovations(seen.value - heights(knots, seen.place))
    return np.asarray((FREEDOM + 1) * np.log1p(error**2 / FREEDOM))


def unlikely(knots: Polygon) -> FloatArray:
    """What the knots (k,) cost by the priors of length and change, on the scale of `misfit`."""
    cost = ((knots.log_length - usual_log_length(knots.change)) / LENGTH_SPREAD) ** 2
    cost += 2 * np.abs(knots.change) / CHANGE_SIZE
    cost[[0, -1]] = 0.0
    return np.asarray(cost)
