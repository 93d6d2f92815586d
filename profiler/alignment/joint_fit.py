"""One fit of all breakpoints and curvatures of a stretch: Gauss–Newton on the linearised geometry.

Curvature is piecewise linear in distance. Against a pilot line of curvature κ0 the offset obeys
δ'' = κ − κ0 − κ0²·δ, integrated on a grid together with its derivatives by every unknown. Vertices err by
white noise and by slow drift of exponential correlation; a scalar Kalman filter whitens both at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from profiler.alignment.sequence import CIRCLE, DEGREE, ENTRY, EXIT, TANGENT
from profiler.compiling import compiled
from profiler.units import FloatArray

STEP = 5.0  # of the integration [m]


@dataclass(frozen=True)
class Noise:
    """How vertices lie about the true line: ``white`` [m]; slow ``drift`` [m] of correlation ``length`` [m]."""

    white: float
    drift: float = 1.0
    length: float = 800.0


@dataclass(frozen=True, eq=False)
class Fit:
    """A stretch of elements, fitted.

    ``kind`` (e,); ``edge`` (e + 1,) their ends [m]; ``level`` (e,) the curvature of circles, else 0
    [1/m]; ``covariance`` of the unknowns: offset, heading, inner edges, curvatures of circles.
    ``start_state`` and ``end_state`` are (offset [m], heading [rad]) against the pilot at the ends.
    ``residual`` (v,) [m] of the vertices from the track; ``misfit`` twice the negative log posterior.
    """

    kind: FloatArray
    edge: FloatArray
    level: FloatArray
    covariance: FloatArray
    start_state: tuple[float, float]
    end_state: tuple[float, float]
    residual: FloatArray
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
    """
    size = math.ceil((edge[-1] - edge[0]) / STEP) + 1
    nodes = edge[0] + STEP * np.arange(size + 1)
    k0 = np.interp(nodes, np.arange(pilot_curvature.size) * grid, pilot_curvature)
    circle = np.cumsum(kind == CIRCLE) - 1
    inner = edge[1:-1].astype(float)
    state, covariance, residual, misfit, ends = _fit(
        kind.astype(np.int64), circle.astype(np.int64), float(edge[0]), float(edge[-1]), inner,
        place, offset, 0.5 * (k0[1:] + k0[:-1]), noise.white, noise.drift, noise.length, spiral,
    )  # fmt: skip
    levels = state[2 + inner.size :]
    level = np.where(kind == CIRCLE, levels[np.maximum(circle, 0)] if levels.size else 0.0, 0.0)
    return Fit(
        kind=kind,
        edge=np.r_[edge[0], state[2 : 2 + inner.size], edge[-1]],
        level=level,
        covariance=covariance,
        start_state=(float(state[0]), float(state[1])),
        end_state=(float(ends[0]), float(ends[1])),
        residual=residual,
        misfit=float(misfit),
    )


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
def _whitener(place, white, drift, length, excess, gain, fade, inverse):
    """Constants of the filter that whitens noise and drift together; ``excess`` (v,) multiplies the noise."""
    p = drift * drift
    for v in range(place.size):
        s = p + white * white * excess[v]
        gain[v] = p / s
        inverse[v] = 1 / math.sqrt(s)
        if v + 1 < place.size:
            f = math.exp(-(place[v + 1] - place[v]) / length)
            fade[v] = f
            p = f * f * p * (1 - gain[v]) + drift * drift * (1 - f * f)


@compiled
def _whiten(values, gain, fade, inverse):
    x = 0.0
    for v in range(values.size):
        e = values[v] - x
        values[v] = e * inverse[v]
        x = fade[v] * (x + gain[v] * e)


@compiled
def _model(kind, circle, start, end, state, k0, index, share, offset, edge, ka, kb, heading, line, residual):
    """Residuals (v,) of the vertices; fills edges and curvatures; returns the state at the end."""
    n = kind.size
    edge[0], edge[n] = start, end
    for i in range(n - 1):
        edge[i + 1] = state[2 + i]
    levels = state[1 + n :]
    for i in range(n):
        ka[i], kb[i] = _ends_of(kind, circle, levels, i)
    _heading(edge, ka, kb, start, heading)
    ends = _offset(heading, k0, 1.0, state[0], state[1], line)
    _at_vertices(line, index, share, residual)
    for v in range(residual.size):
        residual[v] = offset[v] - residual[v]
    return ends


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
            custom = 60.0 + 14.0 * min(turn, 12.0)
            rows[m] = (math.log(length) - math.log(spiral * custom)) / 0.35
            slopes[m, 1 + i] -= 1 / (0.35 * length)  # the edge at its beginning is unknown 2 + (i − 1)
            slopes[m, 2 + i] += 1 / (0.35 * length)
            if turn < 12.0:
                slopes[m, 1 + n + c] -= math.copysign(14.0 / DEGREE / custom / 0.35, levels[c])
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
    return m


@compiled
def _jacobian(kind, circle, state, edge, ka, kb, k0, index, share, start, heading, line, column, jacobian):
    """Derivatives (v, p) of the modelled offsets by the unknowns."""
    n = kind.size
    zero = np.zeros(heading.size)
    for p in range(state.size):
        if p < 2:
            _offset(zero, k0, 0.0, 1.0 - p, float(p), line)
        else:
            if p < 1 + n:
                _moved_edge(edge, ka, kb, p - 2, start, heading)
            else:
                a, b = np.zeros(n), np.zeros(n)
                unit = np.zeros(state.size - 1 - n)
                unit[p - 1 - n] = 1.0
                for i in range(n):
                    a[i], b[i] = _ends_of(kind, circle, unit, i)
                _heading(edge, a, b, start, heading)
            _offset(heading, k0, 0.0, 0.0, 0.0, line)
        _at_vertices(line, index, share, column)
        jacobian[: column.size, p] = column


@compiled
def _fit(  # noqa: C901 - one loop over arrays that all its parts fill
    kind, circle, start, end, inner, place, offset, k0, white, drift, length, spiral
):
    """Unknowns, their covariance, residuals (v,), twice the negative log posterior, state at the end."""
    n, v = kind.size, place.size
    circles = 0
    for i in range(n):
        circles += kind[i] == CIRCLE
    size = 1 + n + circles
    grid = k0.size + 1
    index, share = np.zeros(v, np.int64), np.zeros(v)
    for i in range(v):
        x = (place[i] - start) / STEP
        index[i] = min(max(int(x), 0), grid - 2)
        share[i] = min(max(x - index[i], 0.0), 1.0)
    gain, fade, inverse, excess = np.zeros(v), np.zeros(v), np.zeros(v), np.ones(v)
    edge, ka, kb = np.zeros(n + 1), np.zeros(n), np.zeros(n)
    heading, line, column, residual = np.zeros(grid), np.zeros(grid), np.zeros(v), np.zeros(v)
    most = 3 * n
    rows, slopes = np.zeros(most), np.zeros((most, size))
    jacobian = np.zeros((v + most, size))
    r = np.zeros(v + most)
    state = np.zeros(size)
    state[2 : 1 + n] = inner
    _whitener(place, white, drift, length, excess, gain, fade, inverse)

    # curvatures, offset and heading at first: they are linear once the edges stand
    ends = _model(kind, circle, start, end, state, k0, index, share, offset, edge, ka, kb, heading, line, residual)
    _jacobian(kind, circle, state, edge, ka, kb, k0, index, share, start, heading, line, column, jacobian)
    free = np.zeros(2 + circles, np.int64)
    free[1] = 1
    for i in range(circles):
        free[2 + i] = 1 + n + i
    a = np.zeros((v, free.size))
    for i in range(free.size):
        column[:] = jacobian[:v, free[i]]
        _whiten(column, gain, fade, inverse)
        a[:, i] = column
    column[:] = residual
    _whiten(column, gain, fade, inverse)
    normal = a.T @ a
    for i in range(free.size):
        tight = 10.0 if i == 0 else (0.1 if i == 1 else 6.0 * DEGREE)
        normal[i, i] += 1 / tight**2
    first = np.linalg.solve(normal, a.T @ column)
    for i in range(free.size):
        state[free[i]] = first[i]

    damping, cost = 1e-3, 0.0
    trial = state.copy()
    hessian = np.zeros((size, size))
    for turn in range(14):
        ends = _model(kind, circle, start, end, state, k0, index, share, offset, edge, ka, kb, heading, line, residual)
        if turn == 2 or turn == 5:  # vertices far aside count less
            _outliers(residual, white, drift, excess)
            _whitener(place, white, drift, length, excess, gain, fade, inverse)
        r[:v] = residual
        _whiten(r[:v], gain, fade, inverse)
        m = _priors(kind, circle, edge, state[1 + n :], spiral, rows, slopes)
        r[v : v + m] = -rows[:m]
        cost = (r[: v + m] ** 2).sum()
        _jacobian(kind, circle, state, edge, ka, kb, k0, index, share, start, heading, line, column, jacobian)
        for p in range(size):
            column[:] = jacobian[:v, p]
            _whiten(column, gain, fade, inverse)
            jacobian[:v, p] = column
        jacobian[v : v + m] = slopes[:m]
        j = jacobian[: v + m]
        hessian = j.T @ j
        gradient = j.T @ r[: v + m]
        for p in range(size):
            scale = 1.0 if p == 0 else (1e-3 if p == 1 else (5.0 if p < 1 + n else 0.05 * DEGREE))
            hessian[p, p] += 1e-9 / scale**2
        better = False
        gained = 0.0
        for _ in range(7):
            damped = hessian.copy()
            for p in range(size):
                damped[p, p] *= 1 + damping
            step = np.linalg.solve(damped, gradient)
            share_of_step = 1.0
            for i in range(n):  # no element loses over 60 % of its length at once
                low = step[1 + i] if i > 0 else 0.0
                high = step[2 + i] if i < n - 1 else 0.0
                if high - low < 0:
                    share_of_step = min(share_of_step, 0.6 * (edge[i + 1] - edge[i]) / (low - high))
            trial[:] = state + share_of_step * step
            feasible = True
            for i in range(n):
                low = trial[1 + i] if i > 0 else start
                high = trial[2 + i] if i < n - 1 else end
                feasible = feasible and high - low > 1.0
            if feasible:
                _model(kind, circle, start, end, trial, k0, index, share, offset, edge, ka, kb, heading, line, residual)
                r[:v] = residual
                _whiten(r[:v], gain, fade, inverse)
                m = _priors(kind, circle, edge, trial[1 + n :], spiral, rows, slopes)
                fresh = (r[:v] ** 2).sum() + (rows[:m] ** 2).sum()
                if fresh < cost:
                    better = True
                    gained = cost - fresh
                    break
            for i in range(n - 1):  # as they were
                edge[i + 1] = state[2 + i]
            damping = max(damping * 8, 1e-4)
        if not better:
            break
        state[:] = trial
        damping *= 0.2
        if gained < 0.01 and turn > 5:
            break
    ends = _model(kind, circle, start, end, state, k0, index, share, offset, edge, ka, kb, heading, line, residual)
    for i in range(n - 1):  # an edge lies between its neighbours, whatever the vertices leave open
        hessian[2 + i, 2 + i] += 4 / (edge[i + 2] - edge[i]) ** 2
    covariance = np.linalg.inv(hessian)
    _, volume = np.linalg.slogdet(hessian)
    cost += volume - 2 * np.log(inverse).sum()
    for i in range(n):
        if kind[i] == ENTRY or kind[i] == EXIT:
            cost += 2 * math.log(edge[i + 1] - edge[i])
    return state, covariance, residual, cost, ends


@compiled
def _outliers(residual, white, drift, excess):
    """Multiply the noise of vertices beyond 3.5 s.d. so that they are at 3.5."""
    for v in range(residual.size):
        beyond = residual[v] ** 2 / (12.25 * (white * white + drift * drift))
        excess[v] = max(1.0, beyond * (1 + drift * drift / (white * white)))


@compiled
def inverse_diagonal(factor):
    """Diagonal (n,) of the inverse of UᵀU, U upper banded (3, n) (Takahashi, Fagan and Chin 1973)."""
    n = factor.shape[1]
    out = np.zeros(n)
    next_0, next_1, after_0 = 0.0, 0.0, 0.0  # Z[i+1,i+1], Z[i+1,i+2], Z[i+2,i+2]
    for i in range(n - 1, -1, -1):
        d = factor[2, i]
        u = factor[1, i + 1] / d if i + 1 < n else 0.0
        v = factor[0, i + 2] / d if i + 2 < n else 0.0
        z1 = -u * next_0 - v * next_1
        z2 = -u * next_1 - v * after_0
        z0 = 1 / (d * d) - u * z1 - v * z2
        out[i] = z0
        after_0, next_1, next_0 = next_0, z1, z0
    return out
