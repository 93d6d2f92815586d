"""One reading of a line: the likeliest sequence of elements, fitted stretch by stretch."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from profiler.alignment.elements import BETWEEN, CELL, CIRCLE, ENTRY, EXIT, TANGENT
from profiler.alignment.joint_fit import Fit, fit_stretch
from profiler.alignment.pilot import Pilot
from profiler.alignment.sequence import Habits, Search, element_sequence
from profiler.alignment.smooth import GRID
from profiler.alignment.whitening import Noise
from profiler.route import CurveElement
from profiler.units import FloatArray

LEAST_TANGENT = 150.0
"""Stretches fitted at once end in tangents at least so long. [m]"""


QUICK, WIDE, DEEP = Search(200, 13.0), Search(400, 18.0), Search(1000, 25.0)
"""Where vertices are far apart, what begins now pays its price long before one of them speaks for it."""

LOST_OVER, LOST_TURN, LOST_AROUND = 500.0, np.radians(30.0), 800.0
"""A reading has lost the line where over so far [m] it turns so much otherwise than the pilot [rad]; it is read
again from so far before it to so far behind [m]."""


@dataclass(frozen=True, eq=False)
class Reading:
    """A line read once: its ``fits`` in order; curvature (k,) [1/m] and its variance on the pilot's grid.

    ``corners`` are the places along the pilot [m] where the drawn line has one.
    """

    fits: tuple[Fit, ...]
    curvature: FloatArray
    variance: FloatArray
    corners: tuple[float, ...]


def read_line(
    pilot: Pilot, noise: Noise, habits: Habits, search: Search = QUICK, *, turned: bool = False, shift: float = 0.0
) -> Reading:
    """The line read forwards, or ``turned``, with nodes moved by ``shift`` [m].

    Where a wide reading does not turn as the pilot does it has lost the line, and that is read again by a deep search.
    """
    cells = int(np.ceil((pilot.distance[-1] + shift) / CELL - 1e-9))
    nodes = np.arange(cells + 1) * CELL
    k0 = np.interp(nodes - shift, pilot.distance, pilot.curvature)
    place, offset = pilot.place + shift, pilot.offset
    if turned:
        place, offset, k0 = (nodes[-1] - place)[::-1], -offset[::-1], -k0[::-1]
    rate = 2 * noise.drift**2 / noise.length

    def path(first: int, last: int, search: Search) -> FloatArray:
        """Kind, corner and new beginning (3, cells) of some cells, counted as the line runs."""
        a, b = (cells - last, cells - first) if turned else (first, last)
        here = slice(*np.searchsorted(place, [a * CELL, b * CELL if b < cells else np.inf]))
        found = element_sequence(k0[a : b + 1], place[here] - a * CELL, offset[here], noise.white, rate, habits, search)
        return _turned(np.stack(found)) if turned else np.stack(found)

    def fit(path: FloatArray) -> Reading:
        stretches, corners = _stretches(path, float(pilot.distance[-1]), shift)
        fits = fitted(pilot, stretches, noise, habits.spiral)
        return Reading(fits, *curvature_of(fits, pilot.distance), tuple(corners))

    whole = path(0, cells, search)
    reading = fit(whole)
    lost = [] if search == QUICK else _lost(pilot, reading)
    for start, end in lost:
        first, last = (int(np.clip((x + shift) / CELL, 0, cells)) for x in (start - LOST_AROUND, end + LOST_AROUND))
        _spliced(whole, path(first, last, DEEP), first, int((start + shift) / CELL), int((end + shift) / CELL))
    return fit(whole) if lost else reading


def _turned(path: FloatArray) -> FloatArray:
    """What was read from the other end, as the line runs."""
    swap = np.array([TANGENT, EXIT, CIRCLE, ENTRY, BETWEEN])
    return np.stack([swap[path[0][::-1]], *(np.r_[False, cells[1:][::-1]] for cells in path[1:])])


def _lost(pilot: Pilot, reading: Reading) -> list[tuple[float, float]]:
    """Stretches (start, end) along the pilot [m] over which a reading turns otherwise than the pilot."""
    missing = pilot.curvature - reading.curvature
    gap = np.r_[0.0, np.cumsum(GRID * 0.5 * (missing[1:] + missing[:-1]))]
    for before, after in pairwise(reading.fits):
        if after.edge[0] in reading.corners:
            gap -= (after.start_state[1] - before.end_state[1]) * (pilot.distance > after.edge[0])
    over = int(LOST_OVER / GRID)
    first = np.flatnonzero(np.abs(gap[over:] - gap[:-over]) > LOST_TURN)
    if not first.size:
        return []
    parts = np.split(first, np.flatnonzero(np.diff(first) > 2 * over) + 1)
    return [(float(pilot.distance[part[0]]), float(pilot.distance[part[-1] + over])) for part in parts]


def _spliced(whole: FloatArray, part: FloatArray, first: int, start: int, end: int) -> None:
    """Set a part, which begins at cell ``first``, into a path from ``start`` to ``end`` or where both are tangent."""
    old = whole[:, first : first + part.shape[1]]
    alike = np.flatnonzero((old[0] == TANGENT) & (part[0] == TANGENT))
    a, b = start - first, end - first
    before, after = alike[alike <= a], alike[alike >= b]
    a, b = before[-1] if before.size else 0, after[0] if after.size else part.shape[1]
    old[:, a:b] = part[:, a:b]


Stretch = tuple[FloatArray, FloatArray]
"""Kinds of element (e,), and where they begin and end (e + 1,) along the pilot. [m]"""


def fitted(pilot: Pilot, stretches: Sequence[Stretch], noise: Noise, spiral: float) -> tuple[Fit, ...]:
    """Stretches that follow each other, each fitted to its own vertices."""
    first = np.searchsorted(pilot.place, [edge[0] for _, edge in stretches])
    last = np.r_[first[1:], pilot.place.size]
    return tuple(
        fit_stretch(kind, edge, pilot.place[a:b], pilot.offset[a:b], pilot.curvature, GRID, noise, spiral)
        for (kind, edge), a, b in zip(stretches, first, last, strict=True)
    )


def _stretches(path: FloatArray, length: float, shift: float) -> tuple[list[Stretch], list[float]]:
    """Stretches that begin and end in tangents, at corners or where a reading began again, and the corners."""
    kind, kink, again = path[0], path[1] > 0, path[2] > 0
    broken = kink | again
    change = np.r_[0, np.flatnonzero((np.diff(kind) != 0) | broken[1:]) + 1]
    edge = np.r_[np.maximum(change * CELL - shift, 0.0), length].astype(float)
    kinds, parted, corner = kind[change], broken[change], kink[change]
    found, corners, a, start = [], [], 0, 0.0
    for i in range(kinds.size):
        if parted[i] and i > a:
            found.append((kinds[a:i], np.r_[start, edge[a + 1 : i + 1]]))
            a, start = i, edge[i]
            corners += [float(edge[i])] if corner[i] else []
        if kinds[i] == TANGENT and edge[i + 1] - edge[i] >= LEAST_TANGENT and i > a and i + 1 < kinds.size:
            middle = 0.5 * (edge[i] + edge[i + 1])
            found.append((kinds[a : i + 1], np.r_[start, edge[a + 1 : i + 1], middle]))
            a, start = i, middle
    found.append((kinds[a:], np.r_[start, edge[a + 1 :]]))
    return found, corners


def curvature_of(fits: Sequence[Fit], distance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Curvature (k,) [1/m] and its variance at distances (k,) [m] along the pilot."""
    curvature, variance = np.zeros(distance.size), np.zeros(distance.size)
    bounds = np.searchsorted(distance, [fit.edge[0] for fit in fits] + [np.inf])
    bounds[0] = 0
    for fit, low, high in zip(fits, bounds[:-1], bounds[1:], strict=True):
        if high > low:
            curvature[low:high], variance[low:high] = _curvature_of(fit, distance[low:high])
    return curvature, variance


def _curvature_of(fit: Fit, s: FloatArray) -> tuple[FloatArray, FloatArray]:
    n = fit.kind.size
    i = np.clip(np.searchsorted(fit.edge, s, side="right") - 1, 0, n - 1)
    ka, kb, circle_a, circle_b = _levels(fit)
    span = np.diff(fit.edge)
    share = np.clip((s - fit.edge[i]) / span[i], 0, 1)
    slope = (kb - ka) / span
    of_edges, of_levels = (np.zeros((s.size, fit.covariance.shape[0])) for _ in range(2))
    at = np.arange(s.size)
    for inner, column, part in ((i > 0, 1 + i, 1 - share), (i < n - 1, 2 + i, share)):
        of_edges[at[inner], column[inner]] -= (slope[i] * part)[inner]
    for circle, part in ((circle_a[i], 1 - share), (circle_b[i], share)):
        held = circle >= 0
        of_levels[at[held], 1 + n + circle[held]] += part[held]

    def variance(rows: FloatArray) -> FloatArray:
        return np.maximum(np.einsum("ij,jk,ik->i", rows, fit.covariance, rows), 0.0)

    # wherever an edge lies, curvature is no further off than the change at it
    change = (kb - ka)[i] ** 2
    wide = variance(of_edges) > change
    return ka[i] + (kb - ka)[i] * share, np.where(wide, variance(of_levels) + change, variance(of_edges + of_levels))


def _levels(fit: Fit) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Curvature at both ends of every element, and the circles that hold it (-1: none)."""
    body, spiral = fit.kind == CIRCLE, (fit.kind != CIRCLE) & (fit.kind != TANGENT)
    circle = np.where(body, np.cumsum(body) - 1, -1)
    before, after = np.r_[-1, circle[:-1]], np.r_[circle[1:], -1]
    circle_a = np.where(body, circle, np.where(spiral, before, -1))
    circle_b = np.where(body, circle, np.where(spiral, after, -1))
    levels = np.r_[fit.level[body], 0.0]  # -1 is the last, no curvature
    return levels[circle_a], levels[circle_b], circle_a, circle_b


def curves_of(reading: Reading) -> tuple[tuple[CurveElement, ...], ...]:
    """Curves by distance along the pilot: of each, its arcs, trapezoids of curvature."""
    found: list[tuple[CurveElement, ...]] = []
    for fit in reading.fits:
        body = np.flatnonzero(fit.kind == CIRCLE)
        # arcs without a tangent between them are one curve
        parts = np.split(body, np.flatnonzero([(fit.kind[a:b] == TANGENT).any() for a, b in pairwise(body)]) + 1)
        found += [tuple(_arc(fit, int(i)) for i in part) for part in parts if part.size]
    return tuple(found)


def _arc(fit: Fit, i: int) -> CurveElement:
    """Circle ``i`` of a fit with its transitions."""
    n, edge = fit.kind.size, fit.edge
    plain = (TANGENT, CIRCLE)
    a = i - 1 if i > 0 and fit.kind[i - 1] not in plain else i
    b = i + 2 if i + 1 < n and fit.kind[i + 1] not in plain else i + 1
    level = float(fit.level[i])
    length = edge[b] - edge[a] - 0.5 * (edge[i] - edge[a] + edge[b] - edge[i + 1])

    def se(of_level: float, *of_edges: tuple[int, float]) -> float:
        row = np.zeros(fit.covariance.shape[0])
        row[1 + n + int((fit.kind[:i] == CIRCLE).sum())] = of_level
        for j, weight in of_edges:
            if 0 < j < n:  # the ends of the stretch stand
                row[1 + j] += weight
        return math.sqrt(max(float(row @ fit.covariance @ row), 0.0))

    half = level / 2
    return CurveElement(
        number="",
        kind="simple",
        start=float(edge[a]),
        end=float(edge[b]),
        spiral_in=float(edge[i] - edge[a]),
        spiral_out=float(edge[b] - edge[i + 1]),
        curvature=level,
        curvature_se=se(1.0),
        start_se=se(0.0, (a, 1.0)),
        end_se=se(0.0, (b, 1.0)),
        spiral_in_se=se(0.0, (i, 1.0), (a, -1.0)),
        spiral_out_se=se(0.0, (b, 1.0), (i + 1, -1.0)),
        deflection_se=se(length, (b, half), (i + 1, half), (i, -half), (a, -half)),
    )
