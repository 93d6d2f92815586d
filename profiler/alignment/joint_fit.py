"""One fit of all breakpoints and curvatures of a stretch: Gauss–Newton on the linearised geometry.

Curvature is piecewise linear in distance. Against a pilot line of curvature κ0 the offset obeys
δ'' = κ − κ0 − κ0²·δ, integrated on a grid together with its derivatives by every unknown. Vertices err by
white noise and by slow drift of exponential correlation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from profiler.alignment.elements import CIRCLE, DEGREE, ENTRY, EXIT, SPIRAL_BASE, SPIRAL_DEGREES, SPIRAL_RATE, TANGENT
from profiler.alignment.stretch import STEP, Stretch, jacobian, model, work_for
from profiler.alignment.whitening import Noise, excuse, set_up, whiten, whitener_for
from profiler.compiling import compiled
from profiler.errors import RouteError
from profiler.units import FloatArray

SHARP = 11.5
"""Sharper curves are rare: 150 m of radius is the least of main lines (common practice, no source). [degree]"""


@dataclass(frozen=True, eq=False)
class Fit:
    """A stretch of elements, fitted.

    ``kind`` (e,); ``edge`` (e + 1,) their ends [m]; ``level`` (e,) the curvature of circles, else 0
    [1/m]; ``covariance`` of the unknowns: offset, heading, inner edges, curvatures of circles.
    ``start_state`` and ``end_state`` are (offset [m], heading [rad]) against the pilot at the ends.
    ``misfit`` is twice the negative log evidence (Laplace).
    """

    kind: FloatArray
    edge: FloatArray
    level: FloatArray
    covariance: FloatArray
    start_state: tuple[float, float]
    end_state: tuple[float, float]
    misfit: float


def fit_stretch(
    kind: FloatArray,
    edge: FloatArray,
    place: FloatArray,
    offset: FloatArray,
    pilot_curvature: FloatArray,
    grid: float,
    noise: Noise,
    spiral: float,
) -> Fit:
    """Fit a stretch of elements of given kinds, beginning at given ends.

    Parameters
    ----------
    kind, edge : ndarray, shapes (e,) and (e + 1,)
        Elements and where they begin and end by distance along the pilot. [m]
    place, offset : ndarray, shape (v,)
        Vertices on the stretch. [m]
    pilot_curvature : ndarray, shape (k,)
        Of the pilot every ``grid`` [m] from its start. [1/m]
    noise : Noise
    spiral : float
        Customary spirals are this many times (60 + 14 m a degree) long.

    Raises
    ------
    RouteError
        If the vertices lie so far from any track that the fit fails.
    """
    size = math.ceil((edge[-1] - edge[0]) / STEP) + 1
    nodes = edge[0] + STEP * np.arange(size + 1)
    k0 = np.interp(nodes, np.arange(pilot_curvature.size) * grid, pilot_curvature)
    circle = np.cumsum(kind == CIRCLE) - 1
    inner = edge[1:-1].astype(float)
    along = (place - edge[0]) / STEP
    index = np.clip(along.astype(np.int64), 0, size - 1)
    stretch = Stretch(
        kind.astype(np.int64),
        circle.astype(np.int64),
        float(edge[0]),
        float(edge[-1]),
        0.5 * (k0[1:] + k0[:-1]),
        index,
        np.clip(along - index, 0.0, 1.0),
        offset,
    )
    state = np.zeros(2 + inner.size + int((kind == CIRCLE).sum()))
    state[2 : 2 + inner.size] = inner
    work, filter_ = work_for(kind.size, size + 1, place.size), whitener_for(place.size)
    try:
        covariance, misfit, ends = _fit(
            stretch, place, state, noise.white, noise.drift, noise.length, spiral, work, filter_
        )
    except np.linalg.LinAlgError as error:
        raise RouteError(
            "centreline",
            f"no track fits the vertices between {edge[0] / 1000:.1f} and {edge[-1] / 1000:.1f} km from its start",
            "look there for vertices far aside of the line, or ask for the fast curves",
        ) from error
    levels = state[2 + inner.size :]
    level = np.where(kind == CIRCLE, levels[np.maximum(circle, 0)] if levels.size else 0.0, 0.0)
    return Fit(
        kind=kind,
        edge=np.r_[edge[0], state[2 : 2 + inner.size], edge[-1]],
        level=level,
        covariance=covariance,
        start_state=(float(state[0]), float(state[1])),
        end_state=(float(ends[0]), float(ends[1])),
        misfit=float(misfit),
    )


@compiled
def _priors(kind, circle, edge, levels, spiral, rows, slopes):
    """Rows of prior residuals and their derivatives by edges and curvatures; returns how many."""
    n = kind.size
    m = 0
    slopes[:] = 0.0
    for i in range(n):
        length = edge[i + 1] - edge[i]
        entry = kind[i] == ENTRY and 0 < i < n - 1 and kind[i + 1] == CIRCLE
        leave = kind[i] == EXIT and 0 < i < n - 1 and kind[i - 1] == CIRCLE
        if entry or leave:
            c = circle[i + 1] if entry else circle[i - 1]
            turn = abs(levels[c]) / DEGREE
            custom = SPIRAL_BASE + SPIRAL_RATE * min(turn, SPIRAL_DEGREES)
            rows[m] = (math.log(length) - math.log(spiral * custom)) / 0.35
            slopes[m, 1 + i] -= 1 / (0.35 * length)  # the edge at its beginning is unknown 2 + (i − 1)
            slopes[m, 2 + i] += 1 / (0.35 * length)
            if turn < SPIRAL_DEGREES:
                slopes[m, 1 + n + c] -= math.copysign(SPIRAL_RATE / DEGREE / custom / 0.35, levels[c])
            m += 1
        if leave:
            j = i - 1
            while j > 0 and kind[j] != ENTRY and kind[j] != TANGENT:
                j -= 1
            if kind[j] == ENTRY and j > 0:
                other = edge[j + 1] - edge[j]
                rows[m] = (math.log(other) - math.log(length)) / 0.25
                slopes[m, 1 + j] -= 1 / (0.25 * other)
                slopes[m, 2 + j] += 1 / (0.25 * other)
                slopes[m, 1 + i] += 1 / (0.25 * length)
                slopes[m, 2 + i] -= 1 / (0.25 * length)
                m += 1
        if kind[i] == CIRCLE:
            c = circle[i]
            k = levels[c]
            turn = abs(k) / DEGREE
            rows[m] = math.log(max(turn, 0.02)) - math.log(2.0)
            if turn > 0.02:
                slopes[m, 1 + n + c] = 1 / k
            m += 1
            if turn > SHARP:
                rows[m] = (math.log(turn) - math.log(SHARP)) / 0.25
                slopes[m, 1 + n + c] = 1 / (0.25 * k)
                m += 1
    return m


@compiled
def _first_curvatures(stretch, state, work, filter_):
    """Set offset, heading and curvatures at first: they are linear once the edges stand."""
    n, v = stretch.kind.size, work.residual.size
    circles = state.size - 1 - n
    derivatives = np.zeros((v, state.size))
    model(stretch, state, work)
    jacobian(stretch, state, work, derivatives)
    free = np.zeros(2 + circles, np.int64)
    free[1] = 1
    for i in range(circles):
        free[2 + i] = 1 + n + i
    a = np.zeros((v, free.size))
    for i in range(free.size):
        work.column[:] = derivatives[:, free[i]]
        whiten(work.column, filter_)
        a[:, i] = work.column
    work.column[:] = work.residual
    whiten(work.column, filter_)
    normal = a.T @ a
    for i in range(free.size):
        tight = 10.0 if i == 0 else (0.1 if i == 1 else 6.0 * DEGREE)
        normal[i, i] += 1 / tight**2
    first = np.linalg.solve(normal, a.T @ work.column)
    for i in range(free.size):
        state[free[i]] = first[i]


@compiled
def _normal(stretch, state, work, filter_, spiral, rows, slopes, derivatives, r):
    """Cost, gradient and Hessian at a state whose residuals stand in ``work``."""
    n, v = stretch.kind.size, work.residual.size
    r[:v] = work.residual
    whiten(r[:v], filter_)
    m = _priors(stretch.kind, stretch.circle, work.edge, state[1 + n :], spiral, rows, slopes)
    r[v : v + m] = -rows[:m]
    cost = (r[: v + m] ** 2).sum()
    jacobian(stretch, state, work, derivatives)
    for p in range(state.size):
        work.column[:] = derivatives[:v, p]
        whiten(work.column, filter_)
        derivatives[:v, p] = work.column
    derivatives[v : v + m] = slopes[:m]
    j = derivatives[: v + m]
    hessian = j.T @ j
    gradient = j.T @ r[: v + m]
    for p in range(state.size):
        # what no vertex tells, as of a circle as flat as the spiral beside it, must leave this regular
        widest = 100.0 if p == 0 else (1.0 if p == 1 else (1000.0 if p < 1 + n else 20.0 * DEGREE))
        hessian[p, p] += 1 / widest**2
    return cost, gradient, hessian


@compiled
def _shortened(step, edge):
    """The share of a step by which no element loses over 60 % of its length."""
    n, share = edge.size - 1, 1.0
    for i in range(n):
        low = step[1 + i] if i > 0 else 0.0
        high = step[2 + i] if i < n - 1 else 0.0
        if high - low < 0:
            share = min(share, 0.6 * (edge[i + 1] - edge[i]) / (low - high))
    return share


@compiled
def _feasible(state, start, end, n):
    """Whether every element is longer than a metre."""
    for i in range(n):
        low = state[1 + i] if i > 0 else start
        high = state[2 + i] if i < n - 1 else end
        if not high - low > 1.0:
            return False
    return True


@compiled
def _improved(stretch, state, work, filter_, spiral, rows, slopes, r, cost, gradient, hessian, damping):
    """Move the state one damped step; returns by how much the cost fell, 0 if no step lowers it, and the damping."""
    n, v = stretch.kind.size, work.residual.size
    for _ in range(7):
        damped = hessian.copy()
        for p in range(state.size):
            damped[p, p] *= 1 + damping
        step = np.linalg.solve(damped, gradient)
        trial = state + _shortened(step, work.edge) * step
        if _feasible(trial, stretch.start, stretch.end, n):
            model(stretch, trial, work)
            r[:v] = work.residual
            whiten(r[:v], filter_)
            m = _priors(stretch.kind, stretch.circle, work.edge, trial[1 + n :], spiral, rows, slopes)
            fresh = (r[:v] ** 2).sum() + (rows[:m] ** 2).sum()
            if fresh < cost:
                state[:] = trial
                return cost - fresh, damping * 0.2
        for i in range(n - 1):  # as they were
            work.edge[i + 1] = state[2 + i]
        damping = max(damping * 8, 1e-4)
    return 0.0, damping


@compiled
def _fit(stretch, place, state, white, drift, length, spiral, work, filter_):
    """Move the state to the fit; returns its covariance, twice the negative log evidence, the state at the end."""
    n, v = stretch.kind.size, place.size
    most = 4 * n
    rows, slopes = np.zeros(most), np.zeros((most, state.size))
    derivatives, r = np.zeros((v + most, state.size)), np.zeros(v + most)
    set_up(filter_, place, white, drift, length)
    _first_curvatures(stretch, state, work, filter_)
    damping, cost = 1e-3, 0.0
    hessian = np.zeros((state.size, state.size))
    for turn in range(14):
        model(stretch, state, work)
        if turn in (2, 5):  # vertices far aside count less
            excuse(filter_, work.residual, white, drift)
            set_up(filter_, place, white, drift, length)
        cost, gradient, hessian = _normal(stretch, state, work, filter_, spiral, rows, slopes, derivatives, r)
        gained, damping = _improved(
            stretch, state, work, filter_, spiral, rows, slopes, r, cost, gradient, hessian, damping
        )
        if gained == 0.0 or (gained < 0.01 and turn > 5):
            break
    ends = model(stretch, state, work)
    edge = work.edge
    for i in range(n - 1):  # an edge lies between its neighbours, whatever the vertices leave open
        hessian[2 + i, 2 + i] += 4 / (edge[i + 2] - edge[i]) ** 2
    covariance = np.linalg.inv(hessian)
    _, volume = np.linalg.slogdet(hessian)
    cost += volume - 2 * np.log(filter_.inverse).sum()
    for i in range(n):
        if stretch.kind[i] in (ENTRY, EXIT):
            cost += 2 * math.log(edge[i + 1] - edge[i])
    return covariance, cost, ends
