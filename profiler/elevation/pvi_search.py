"""Where the tangents of a line may meet: a first polygon with too many corners, then fewer and truer ones."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from profiler.elevation.tangents import Polygon, Seen, fit, misfit, roomy, unlikely, usual_log_length
from profiler.units import FloatArray

LONGEST = 80
"""Tangents of the first polygon are at most so many nodes long; longer ones are joined later."""

CHEAP = 4.0
"""What a corner of the first polygon costs: little, so that none is missed."""

PRICE = 6.0
"""What a PVI must save of the misfit (minus twice the log likelihood) to be kept."""

ROUNDS, LAST_ROUNDS, WAVES = 3, 6, 40
"""Rounds of fitting after each wave of moves and before the first and after the last; waves at most."""

LEAST_SPLIT = 300.0
"""Shorter curves are not split. [m]"""

MOST_JOINED = 8
"""So many PVIs are merged at once at most."""

NEIGHBOURS = 3
"""A move is judged by what happens within so many knots of it."""


def first_polygon(nodes: FloatArray, height: FloatArray, seen: Seen) -> FloatArray:
    """Indices of the nodes at which the grade changes, by dynamic programming.

    The corners stand on the line (k,) of ``height`` [m] at equally spaced ``nodes`` [m]; the tangents
    between them shall be few and near the ground.
    """
    cost = _tangent_costs(nodes, height, seen)
    total = np.zeros(nodes.size)
    origin = np.zeros(nodes.size, dtype=int)
    for k in range(1, nodes.size):
        reach = min(k, LONGEST)
        way = total[k - reach : k] + cost[:, k][:reach][::-1]
        best = int(np.argmin(way))
        total[k] = way[best] + CHEAP
        origin[k] = k - reach + best
    corners = [nodes.size - 1]
    while corners[-1] > 0:
        corners.append(int(origin[corners[-1]]))
    return np.array(corners[::-1])


def _tangent_costs(nodes: FloatArray, height: FloatArray, seen: Seen) -> FloatArray:
    """Misfit (LONGEST, k) of a straight tangent that ends at node k and begins 1 … LONGEST nodes before."""
    spacing = nodes[1] - nodes[0]
    # correlated error as white error of the same power at long waves
    weight = ((1 - seen.carried) / seen.se) ** 2
    interval = np.clip(((seen.place - nodes[0]) / spacing).astype(int), 0, nodes.size - 2)
    along = (seen.place - nodes[interval]) / spacing
    above = seen.value - height[interval]

    def summed(values: FloatArray) -> FloatArray:
        return np.bincount(interval, weight * values, minlength=nodes.size - 1)

    one, u, uu = summed(np.ones(along.size)), summed(along), summed(along**2)
    y, uy, yy = summed(above), summed(along * above), summed(above**2)
    cost = np.full((LONGEST, nodes.size), np.inf)
    size = nodes.size - 1
    sums = [np.zeros(size) for _ in range(6)]
    for n in range(1, min(LONGEST, size) + 1):
        starts = size - n + 1
        last = slice(n - 1, n - 1 + starts)
        rise = height[last] - height[:starts]
        shift = float(n - 1)
        w, a, aa = one[last], u[last], uu[last]
        b, ab, bb = y[last], uy[last], yy[last]
        added = (
            w,
            a + shift * w,
            aa + 2 * shift * a + shift**2 * w,
            b + rise * w,
            ab + shift * b + rise * (a + shift * w),
            bb + 2 * rise * b + rise**2 * w,
        )
        sums = [s[:starts] + new for s, new in zip(sums, added, strict=True)]
        g = (height[n:] - height[:starts]) / n
        cost[n - 1, n:] = sums[5] - 2 * g * sums[4] + g**2 * sums[2]
    return cost


def search(knots: Polygon, seen: Seen) -> Polygon:
    """Drop and merge PVIs of a polygon with too many, and split wide ones, in waves, as long as it pays.

    In each wave moves far enough apart are tried at once, fitted together and judged one by one
    by what they save around them.
    """
    knots = fit(roomy(knots), np.ones(knots.place.size, dtype=bool), seen, LAST_ROUNDS)
    refused: set[_Name] = set()
    for _ in range(WAVES):
        for offered in (_fewer, _joined, _more):
            moves = _spread([m for m in offered(knots) if m.name(knots) not in refused])
            if moves:
                break
        else:
            break
        knots = _tried(knots, seen, moves, refused)
    return fit(knots, np.ones(knots.place.size, dtype=bool), seen, LAST_ROUNDS)


_Name = tuple[str, float, float]


@dataclass(frozen=True)
class _Move:
    """Something done to the knots ``first`` … ``last``; ``rank`` says by a first look what it may cost,
    ``saved`` how many PVIs fewer there are after it."""

    rank: float
    what: Literal["drop", "merge", "split"]
    first: int
    last: int
    saved: int

    def name(self, knots: Polygon) -> _Name:
        """It is the same move as long as the knots beside it have hardly moved."""
        ends = knots.place[[self.first - 1, self.last + 1]]
        return self.what + str(self.last - self.first), round(float(ends[0]), -1), round(float(ends[1]), -1)

    @property
    def around(self) -> tuple[int, int]:
        """The knots between which it is judged."""
        return max(self.first - NEIGHBOURS, 0), self.last + NEIGHBOURS


def _fewer(knots: Polygon) -> list[_Move]:
    """Drop one PVI, drop two of opposite senses, merge two of the same."""
    change, gap = np.abs(knots.change), np.diff(knots.place)
    up = knots.change > 0
    shorter = np.minimum(gap[:-1], gap[1:])
    moves = []
    for j in range(1, change.size - 1):
        moves.append(_Move(change[j] * shorter[j - 1] ** 1.5, "drop", j, j, 1))
        if j + 2 == change.size:
            continue
        less = min(change[j], change[j + 1])
        if up[j] == up[j + 1]:
            moves.append(_Move(less * gap[j] ** 1.5, "merge", j, j + 1, 1))
        else:
            left = abs(change[j] - change[j + 1]) + less * gap[j] / shorter[j - 1]
            moves.append(_Move(left * shorter[j - 1] ** 1.5, "drop", j, j + 1, 2))
    return moves


def _joined(knots: Polygon) -> list[_Move]:
    """Merge three PVIs or more of one sense: the corners of one long curve."""
    up = knots.change > 0
    moves = []
    for j in range(1, up.size - 3):
        for last in range(j + 2, min(j + MOST_JOINED, up.size - 1)):
            if up[last] != up[j]:
                break
            moves.append(_Move(float(knots.place[last] - knots.place[j]) / (last - j) ** 2, "merge", j, last, last - j))
    return moves


def _more(knots: Polygon) -> list[_Move]:
    """Split PVIs whose curves are long."""
    length = knots.length
    return [_Move(-length[j], "split", j, j, -1) for j in range(1, length.size - 1) if length[j] > LEAST_SPLIT]


def _spread(moves: list[_Move]) -> list[_Move]:
    """As many as fit beside each other, the cheapest first."""
    taken: set[int] = set()
    chosen = []
    for move in sorted(moves, key=lambda m: m.rank):
        around = range(move.around[0], move.around[1] + 1)
        if taken.isdisjoint(around):
            chosen.append(move)
            taken.update(around)
    return chosen


def _tried(knots: Polygon, seen: Seen, moves: list[_Move], refused: set[_Name]) -> Polygon:
    """The polygon after those of some moves that pay."""
    fitted = fit(*_moved(knots, moves), seen, ROUNDS)
    before, after = _running(knots, seen), _running(fitted, seen)
    paying = []
    for move in moves:
        left, right = knots.place[[move.around[0], min(move.around[1], knots.place.size - 1)]]
        if after(left, right) - before(left, right) < PRICE * move.saved:
            paying.append(move)
        else:
            refused.add(move.name(knots))
    if len(paying) == len(moves):
        return fitted
    return fit(*_moved(knots, paying), seen, ROUNDS) if paying else knots


def _moved(knots: Polygon, moves: list[_Move]) -> tuple[Polygon, FloatArray]:
    """The polygon after some moves, and which of its knots stand near them."""
    place, height, log_length = knots.place.copy(), knots.height.copy(), knots.log_length.copy()
    grade, change, length = knots.grade, knots.change, knots.length
    copies = np.ones(place.size, dtype=int)
    moving = np.zeros(place.size, dtype=bool)
    second: list[tuple[int, float, float]] = []
    for move in moves:
        i, j = move.first, move.last
        moving[max(i - 2, 0) : j + 3] = True
        if move.what == "drop":
            copies[i : j + 1] = 0
        elif move.what == "merge":
            copies[i + 1 : j + 1] = 0
            both, span = float(change[i : j + 1].sum()), float(place[j] - place[i])
            # where the outer tangents meet; that many corners span so much of one curve
            across = (grade[j] * span - (height[j] - height[i])) / both
            place[i], height[i] = place[i] + across, height[i] + grade[i - 1] * across
            log_length[i] = np.log(max(float(np.exp(usual_log_length(np.array(both)))), span * (j - i + 1) / (j - i)))
        else:
            copies[i] = 2
            apart = length[i] / 4
            second.append((i, place[i] + apart, height[i] + grade[i] * apart))
            place[i], height[i] = place[i] - apart, height[i] - grade[i - 1] * apart
            log_length[i] += np.log(0.4)
    index = np.repeat(np.arange(place.size), copies)
    moved = Polygon(place, height, log_length).chosen(index)
    for j, at, level in second:
        k = int(np.searchsorted(index, j)) + 1
        moved.place[k], moved.height[k] = at, level
    return roomy(moved), moving[index]


def _running(knots: Polygon, seen: Seen) -> Callable[[float, float], float]:
    """What the line costs between two places: misfit, unlikely lengths and changes."""
    cost = np.r_[0.0, np.cumsum(misfit(knots, seen))]
    lengths = np.r_[0.0, np.cumsum(unlikely(knots))]

    def between(left: float, right: float) -> float:
        a, b = np.searchsorted(seen.place, [left, right])
        c, d = np.searchsorted(knots.place, [left, right])
        return float(cost[b] - cost[a] + lengths[d] - lengths[c])

    return between
