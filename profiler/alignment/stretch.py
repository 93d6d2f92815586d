"""A stretch of elements against the pilot: offsets at its vertices, and how they change with every unknown.

The unknowns are offset and heading at the start, the inner edges, the curvatures of the circles.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from profiler.alignment.elements import CIRCLE, TANGENT
from profiler.compiling import compiled

STEP = 5.0  # of the integration [m]


class Stretch(NamedTuple):
    """What stands: ``kind`` (n,) of the elements and the number ``circle`` (n,) of the circle so far; its ends
    ``start`` and ``end`` [m]; the pilot's curvature ``k0`` (g − 1,) in the steps of the grid [1/m]; vertices by
    grid point ``index`` (v,), ``share`` (v,) of the way to the next, and ``offset`` (v,) [m]."""

    kind: Any
    circle: Any
    start: float
    end: float
    k0: Any
    index: Any
    share: Any
    offset: Any


class Work(NamedTuple):
    """What `model` and `jacobian` fill: ``edge`` (n + 1,), curvature at both ends ``ka``, ``kb`` (n,) of every
    element; ``heading`` and ``line`` (g,) on the grid; ``column`` and ``residual`` (v,) at the vertices."""

    edge: Any
    ka: Any
    kb: Any
    heading: Any
    line: Any
    column: Any
    residual: Any


def work_for(elements: int, grid: int, vertices: int) -> Work:
    """Room for a stretch of so many elements, grid points and vertices."""
    return Work(*(np.zeros(size) for size in (elements + 1, elements, elements, grid, grid, vertices, vertices)))


@compiled
def _ends_of(kind, circle, levels, i):
    """Curvature at the beginning and the end of element i."""
    if kind[i] == CIRCLE:
        return levels[circle[i]], levels[circle[i]]
    if kind[i] == TANGENT:
        return 0.0, 0.0
    a = levels[circle[i - 1]] if i > 0 and kind[i - 1] == CIRCLE else 0.0
    b = levels[circle[i + 1]] if i + 1 < kind.size and kind[i + 1] == CIRCLE else 0.0
    return a, b


@compiled
def _heading(edge, ka, kb, start, out):
    """Heading gained since the start at every grid point, curvature going from ka to kb over each element."""
    total, i = 0.0, 0
    last = ka.size - 1
    for g in range(out.size):
        s = start + STEP * g
        while i < last and s >= edge[i + 1]:
            total += 0.5 * (ka[i] + kb[i]) * (edge[i + 1] - edge[i])
            i += 1
        u, length = s - edge[i], edge[i + 1] - edge[i]
        out[g] = total + ka[i] * u + (kb[i] - ka[i]) * u * u / (2 * length)


@compiled
def _offset(heading, k0, use_pilot, d, p, out):
    """Offsets on the grid from headings gained there; returns offset and heading at its end."""
    out[0] = d
    for i in range(k0.size):
        f = (heading[i + 1] - heading[i]) / STEP - k0[i] * use_pilot - k0[i] * k0[i] * d
        d += p * STEP + 0.5 * f * STEP * STEP
        p += f * STEP
        out[i + 1] = d
    return d, p


@compiled
def _moved_edge(edge, ka, kb, j, start, out):
    """Change of heading on the grid per metre by which the edge between elements j and j + 1 moves."""
    a, t, c = edge[j], edge[j + 1], edge[j + 2]
    left, right = t - a, c - t
    rise_l, rise_r = kb[j] - ka[j], kb[j + 1] - ka[j + 1]
    done = 0.5 * (ka[j] + kb[j])
    for g in range(out.size):
        s = start + STEP * g
        if s <= a:
            out[g] = 0.0
        elif s < t:
            u = s - a
            out[g] = -rise_l * u * u / (2 * left * left)
        elif s < c:
            u = s - t
            out[g] = done - ka[j + 1] - rise_r * u / right + rise_r * u * u / (2 * right * right)
        else:
            out[g] = done - 0.5 * (ka[j + 1] + kb[j + 1])


@compiled
def _at_vertices(values, index, share, out):
    for v in range(out.size):
        i = index[v]
        out[v] = values[i] * (1 - share[v]) + values[i + 1] * share[v]


@compiled
def model(stretch, state, work):
    """Residuals (v,) of the vertices; fills edges and curvatures; returns the state at the end."""
    n = stretch.kind.size
    work.edge[0], work.edge[n] = stretch.start, stretch.end
    for i in range(n - 1):
        work.edge[i + 1] = state[2 + i]
    levels = state[1 + n :]
    for i in range(n):
        work.ka[i], work.kb[i] = _ends_of(stretch.kind, stretch.circle, levels, i)
    _heading(work.edge, work.ka, work.kb, stretch.start, work.heading)
    ends = _offset(work.heading, stretch.k0, 1.0, state[0], state[1], work.line)
    _at_vertices(work.line, stretch.index, stretch.share, work.residual)
    for v in range(work.residual.size):
        work.residual[v] = stretch.offset[v] - work.residual[v]
    return ends


@compiled
def jacobian(stretch, state, work, out):
    """Fill ``out`` (≥ v, p) with the derivatives of the modelled offsets by the unknowns."""
    n = stretch.kind.size
    zero = np.zeros(work.heading.size)
    for p in range(state.size):
        if p < 2:
            _offset(zero, stretch.k0, 0.0, 1.0 - p, float(p), work.line)
        else:
            if p < 1 + n:
                _moved_edge(work.edge, work.ka, work.kb, p - 2, stretch.start, work.heading)
            else:
                a, b = np.zeros(n), np.zeros(n)
                unit = np.zeros(state.size - 1 - n)
                unit[p - 1 - n] = 1.0
                for i in range(n):
                    a[i], b[i] = _ends_of(stretch.kind, stretch.circle, unit, i)
                _heading(work.edge, a, b, stretch.start, work.heading)
            _offset(work.heading, stretch.k0, 0.0, 0.0, 0.0, work.line)
        _at_vertices(work.line, stretch.index, stretch.share, work.column)
        out[: work.column.size, p] = work.column
