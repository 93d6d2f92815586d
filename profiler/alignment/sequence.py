"""Which elements follow each other: a switching Kalman filter with a beam of hypotheses.

The kind of element is a hidden state. Every hypothesis about the past is one sequence of elements, and
given the sequence the geometry is linear and Gaussian: the state (offset, heading, curvature, rate of
curvature) against a pilot line of curvature κ0 obeys δ' = ψ, ψ' = κ − κ0 − κ0²·δ, κ' = ρ, and a vertex
shows δ. So a Kalman filter scores every hypothesis exactly, and the best of them is traced back.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from profiler.compiling import compiled
from profiler.units import FloatArray, curvature_of_degree

TANGENT, ENTRY, CIRCLE, EXIT, BETWEEN = 0, 1, 2, 3, 4
"""Kinds of element: BETWEEN is the transition inside a compound curve."""

CELL = 20.0
"""Elements begin and end at nodes so far apart; the joint fit then moves them. [m]"""

DEGREE = float(curvature_of_degree(1.0))
"""Curvature of one degree of curve. [1/m]"""

_KINK = 8  # added to the kind of the element in the cell where it bends


@dataclass(frozen=True)
class Habits:
    """How railways are laid out: prior of the sequence of elements.

    ``tangent`` and ``circle`` are mean lengths [m]; spirals are about ``spiral`` × (60 + 14 m a degree)
    long, log-normal with s.d. ``spread``; a share ``direct`` of curves has no spirals and a share
    ``compound`` of circles goes on into another. Once in ``kink`` [m] the drawn line has a corner.
    """

    tangent: float = 900.0
    circle: float = 250.0
    spiral: float = 1.0
    spread: float = 0.4
    direct: float = 0.04
    compound: float = 0.08
    kink: float = 25_000.0


_SPIRAL_BASE, _SPIRAL_RATE = 60.0, 14.0  # [m], [m/degree]


def spiral_length(degree: FloatArray) -> FloatArray:
    """Customary length [m] of a spiral into a curve of so many degrees."""
    return _SPIRAL_BASE + _SPIRAL_RATE * np.minimum(degree, 12.0)


def element_sequence(
    curvature: FloatArray,
    place: FloatArray,
    offset: FloatArray,
    noise: float,
    drift_rate: float,
    habits: Habits,
    *,
    beam: int,
    cut: float,
) -> tuple[FloatArray, FloatArray]:
    """The likeliest kinds of element along a line.

    Parameters
    ----------
    curvature : ndarray, shape (k + 1,)
        Of the pilot line at nodes every `CELL`. [1/m]
    place, offset : ndarray, shape (v,)
        Vertices by distance along the pilot, increasing, and how far left of it. [m]
    noise : float
        S.d. of a vertex. [m]
    drift_rate : float
        Growth of the variance of slow drift. [m²/m]
    habits : Habits
        Prior.
    beam : int
        So many hypotheses are kept at a node.
    cut : float
        Hypotheses less likely than the best by e to this are dropped.

    Returns
    -------
    kind : ndarray of int8, shape (k,)
    kink : ndarray of bool, shape (k,)
        Cells at whose beginning the drawn line has a corner.
    """
    cells = curvature.size - 1
    cell = np.clip((place / CELL).astype(np.int64), 0, cells - 1)
    first = np.searchsorted(cell, np.arange(cells + 1))
    prior = np.array(
        [habits.tangent, habits.circle, habits.spiral, habits.spread, habits.direct, habits.compound, habits.kink]
    )
    path = _walk(curvature, first, place - cell * CELL, offset, noise * noise, drift_rate, prior, beam, cut)
    return path % _KINK, path >= _KINK


@compiled
def _seen(m, p, h0, h1, h2, h3, z, variance):
    """Kalman update in place by one figure z of h·state; returns its log likelihood less ½ log 2π.

    A surprise beyond 3.5 s.d. gets the variance that makes it 3.5.
    """
    a0 = p[0] * h0 + p[1] * h1 + p[2] * h2 + p[3] * h3
    a1 = p[1] * h0 + p[4] * h1 + p[5] * h2 + p[6] * h3
    a2 = p[2] * h0 + p[5] * h1 + p[7] * h2 + p[8] * h3
    a3 = p[3] * h0 + p[6] * h1 + p[8] * h2 + p[9] * h3
    s = max(h0 * a0 + h1 * a1 + h2 * a2 + h3 * a3, 0.0) + variance
    e = z - (h0 * m[0] + h1 * m[1] + h2 * m[2] + h3 * m[3])
    t = e * e / s
    if t > 12.25:
        s = e * e / 12.25
        t = 12.25
    i = 1.0 / s
    g = e * i
    m[0] += a0 * g
    m[1] += a1 * g
    m[2] += a2 * g
    m[3] += a3 * g
    p[0] -= a0 * a0 * i
    p[1] -= a0 * a1 * i
    p[2] -= a0 * a2 * i
    p[3] -= a0 * a3 * i
    p[4] -= a1 * a1 * i
    p[5] -= a1 * a2 * i
    p[6] -= a1 * a3 * i
    p[7] -= a2 * a2 * i
    p[8] -= a2 * a3 * i
    p[9] -= a3 * a3 * i
    return -0.5 * (t + math.log(s))


@compiled
def _moved(m, p, to_m, to_p, h, k2, f0, f1, drift):
    """The state one cell on."""
    a, b, h2, h3 = 1.0 - k2 * h * h / 2, -k2 * h, h * h / 2, h * h * h / 6
    to_m[0] = a * m[0] + h * m[1] + h2 * m[2] + h3 * m[3] - f0
    to_m[1] = b * m[0] + a * m[1] + h * m[2] + h2 * m[3] - f1
    to_m[2] = m[2] + h * m[3]
    to_m[3] = m[3]
    b00 = a * p[0] + h * p[1] + h2 * p[2] + h3 * p[3]
    b01 = a * p[1] + h * p[4] + h2 * p[5] + h3 * p[6]
    b02 = a * p[2] + h * p[5] + h2 * p[7] + h3 * p[8]
    b03 = a * p[3] + h * p[6] + h2 * p[8] + h3 * p[9]
    b10 = b * p[0] + a * p[1] + h * p[2] + h2 * p[3]
    b11 = b * p[1] + a * p[4] + h * p[5] + h2 * p[6]
    b12 = b * p[2] + a * p[5] + h * p[7] + h2 * p[8]
    b13 = b * p[3] + a * p[6] + h * p[8] + h2 * p[9]
    b22 = p[7] + h * p[8]
    b23 = p[8] + h * p[9]
    to_p[0] = a * b00 + h * b01 + h2 * b02 + h3 * b03 + drift
    to_p[1] = b * b00 + a * b01 + h * b02 + h2 * b03
    to_p[2] = b02 + h * b03
    to_p[3] = b03
    to_p[4] = b * b10 + a * b11 + h * b12 + h2 * b13
    to_p[5] = b12 + h * b13
    to_p[6] = b13
    to_p[7] = b22 + h * b23
    to_p[8] = b23
    to_p[9] = p[9]


@compiled
def _fixed(m, p, curvature):
    """Forget the rate of curvature, and the curvature too where ``curvature``: a tangent begins."""
    m[3] = 0.0
    p[3] = p[6] = p[8] = p[9] = 0.0
    if curvature:
        m[2] = 0.0
        p[2] = p[5] = p[7] = 0.0


@compiled
def _alike(m, p, n, q):
    """Whether two Gaussians agree so well that one stands for both."""
    for i in range(4):
        j = 0 if i == 0 else (4 if i == 1 else (7 if i == 2 else 9))
        d = m[i] - n[i]
        if d * d > 0.5 * (p[j] + q[j]) + 1e-20 or p[j] > 1.6 * q[j] + 1e-20 or q[j] > 1.6 * p[j] + 1e-20:
            return False
    return True


@compiled
def _walk(k0, first, ahead, offset, noise2, drift, prior, beam, cut):  # noqa: C901 - its parts share arrays
    """Kind of element in every cell (k,), + `_KINK` where the line has a corner at its beginning."""
    h, degree = CELL, DEGREE
    cells = k0.size - 1
    room = beam * 5 + 16
    tangent, circle, scale, spread, direct, compound, kink = prior
    base, rate = 60.0 * scale, 14.0 * scale
    longest = 320.0 * max(scale, 1.0)
    kind, mean, cov = np.zeros(beam, np.int8), np.zeros((beam, 4)), np.zeros((beam, 10))
    weight, since, before = np.full(beam, -1e30), np.zeros(beam, np.int32), np.zeros(beam, np.int32)
    body = np.zeros(beam)
    c_kind, c_mean, c_cov = np.zeros(room, np.int8), np.zeros((room, 4)), np.zeros((room, 10))
    c_weight, c_since, c_before = np.zeros(room), np.zeros(room, np.int32), np.zeros(room, np.int32)
    c_body, c_parent, c_kink = np.zeros(room), np.zeros(room, np.int16), np.zeros(room, np.int8)
    parents, kinds = np.zeros((cells, beam), np.int16), np.zeros((cells, beam), np.int8)
    kept, next_of_kind, last_of_kind = np.zeros(beam, np.int64), np.zeros(beam, np.int64), np.zeros(5, np.int64)
    first_of_kind = np.zeros(5, np.int64)
    n = 2
    for i in range(2):
        kind[i] = TANGENT if i == 0 else CIRCLE
        cov[i, 0], cov[i, 4], weight[i] = 25.0, 0.01, math.log(0.6 if i == 0 else 0.4)
    cov[1, 7] = (3 * degree) ** 2
    log_kink = math.log(h / kink)
    for k in range(cells):
        c, best = 0, weight[:n].max()
        for i in range(n):
            md, age, w = kind[i], (k - since[i]) * h, weight[i]
            turn = abs(mean[i, 2]) / degree
            if md == CIRCLE and age >= 60.0 and turn + math.sqrt(max(cov[i, 7], 0.0)) / degree < 0.4:
                continue
            stay = 0.0
            if md == TANGENT:
                stay = math.log(1 - h / tangent)
            elif md == CIRCLE:
                stay = math.log(1 - h / circle)
            tired = md in (ENTRY, EXIT) and age > longest
            tired = tired or (md == BETWEEN and (age > 160.0 or turn < 0.4))
            if not tired:
                c_kind[c], c_weight[c], c_since[c], c_before[c], c_body[c] = md, w + stay, since[i], before[i], body[i]
                c_mean[c], c_cov[c], c_parent[c], c_kink[c] = mean[i], cov[i], i, 0
                c += 1
            w_open = w - best + cut
            if w_open < 6.0:
                continue
            if md in (TANGENT, CIRCLE) and w_open > -log_kink and k > 0 and c < room:
                c_kind[c], c_weight[c], c_since[c], c_before[c], c_body[c] = (
                    md,
                    w + log_kink,
                    since[i],
                    before[i],
                    body[i],
                )
                c_mean[c], c_cov[c], c_parent[c], c_kink[c] = mean[i], cov[i], i, 1
                c_cov[c, 0] += 4.0
                c_cov[c, 4] += 0.005
                c += 1
            if md == TANGENT:
                for j in range(3):
                    if c >= room:
                        break
                    c_mean[c], c_cov[c], c_parent[c], c_kink[c] = mean[i], cov[i], i, 0
                    c_since[c], c_before[c], c_body[c] = k, since[i], 0.0
                    share = (1 - direct) * (0.65 if j == 0 else 0.35) if j < 2 else direct
                    c_weight[c] = w + math.log(h / tangent * share)
                    if j < 2:
                        c_kind[c] = ENTRY
                        c_cov[c, 9] = ((0.013 if j == 0 else 0.045) / scale * degree) ** 2
                    else:
                        c_kind[c] = CIRCLE
                        c_cov[c, 7] = (3.0 * degree) ** 2
                    c += 1
            elif md == ENTRY:
                if age >= h and 0.25 < turn < 14.0:
                    u = (math.log(age) - math.log(base + rate * min(turn, 12.0))) / spread
                    score = w - 0.5 * u * u + math.log(h / (age * spread * 2.5066))
                    # one child for all that share the beginning of their spiral
                    g = -1
                    for j in range(c):
                        if (
                            c_kind[j] == CIRCLE
                            and c_since[j] == k
                            and c_before[j] == since[i]
                            and c_mean[j, 2] * mean[i, 2] > 0
                        ):
                            g = j
                            break
                    if g < 0 and c < room:
                        c_mean[c], c_cov[c], c_parent[c], c_kink[c] = mean[i], cov[i], i, 0
                        _fixed(c_mean[c], c_cov[c], False)
                        c_kind[c], c_weight[c], c_since[c], c_before[c], c_body[c] = CIRCLE, score, k, since[i], 0.0
                        c += 1
                    elif g >= 0 and score > c_weight[g]:
                        c_weight[g] = score + math.log1p(math.exp(c_weight[g] - score))
                        c_mean[g], c_cov[g], c_parent[g] = mean[i], cov[i], i
                        _fixed(c_mean[g], c_cov[g], False)
                    elif g >= 0:
                        c_weight[g] += math.log1p(math.exp(score - c_weight[g]))
            elif md == CIRCLE and age >= h:
                leave = w + math.log(h / circle)
                length = base + rate * min(turn, 12.0)
                for j in range(3):
                    if c >= room:
                        break
                    c_mean[c], c_cov[c], c_parent[c], c_kink[c] = mean[i], cov[i], i, 0
                    c_since[c], c_before[c], c_body[c] = k, since[i], mean[i, 2]
                    if j == 0:
                        f = 1.0 / length
                        c_kind[c], c_weight[c] = EXIT, leave + math.log(1 - compound - direct)
                        c_mean[c, 3] = -f * mean[i, 2]
                        c_cov[c, 3], c_cov[c, 6], c_cov[c, 8] = -f * cov[i, 2], -f * cov[i, 5], -f * cov[i, 7]
                        c_cov[c, 9] = f * f * cov[i, 7] + (0.4 * f * mean[i, 2]) ** 2
                    elif j == 1:
                        c_kind[c], c_weight[c] = BETWEEN, leave + math.log(compound)
                        c_cov[c, 9] = (0.45 * mean[i, 2] / 60.0) ** 2
                    else:
                        c_kind[c], c_weight[c] = TANGENT, leave + math.log(direct)
                        _fixed(c_mean[c], c_cov[c], True)
                    c += 1
            elif md == BETWEEN:
                if age >= h and mean[i, 2] * body[i] > 0 and turn > 0.4 and c < room:
                    c_mean[c], c_cov[c], c_parent[c], c_kink[c] = mean[i], cov[i], i, 0
                    _fixed(c_mean[c], c_cov[c], False)
                    c_kind[c], c_weight[c], c_since[c], c_before[c], c_body[c] = (
                        CIRCLE,
                        w + math.log(h / 60.0),
                        k,
                        since[i],
                        0.0,
                    )
                    c += 1
            elif md == EXIT and age >= h and c < room:
                steep = max(abs(body[i]) / age, 1e-12)
                if abs(mean[i, 2]) < 3 * math.sqrt(max(cov[i, 7], 1e-16)) + 0.6 * h * steep:
                    c_mean[c], c_cov[c], c_parent[c], c_kink[c] = mean[i], cov[i], i, 0
                    # the chance that curvature passes zero in this cell
                    score = w + _seen(c_mean[c], c_cov[c], 0.0, 0.0, 1.0, 0.0, 0.0, (0.3 * h * steep) ** 2)
                    score += math.log(steep * h) - 0.919
                    _fixed(c_mean[c], c_cov[c], True)
                    g = -1
                    for j in range(c):
                        if c_kind[j] == TANGENT and c_since[j] == k and c_before[j] == since[i]:
                            g = j
                            break
                    if g < 0:
                        c_kind[c], c_weight[c], c_since[c], c_before[c], c_body[c] = TANGENT, score, k, since[i], 0.0
                        c += 1
                    elif score > c_weight[g]:
                        c_weight[g] = score + math.log1p(math.exp(c_weight[g] - score))
                        c_mean[g], c_cov[g], c_parent[g] = c_mean[c], c_cov[c], i
                    else:
                        c_weight[g] += math.log1p(math.exp(score - c_weight[g]))
        if c == 0:  # nothing goes on: begin again on a tangent
            i = weight[:n].argmax()
            c_mean[0], c_cov[0] = mean[i], cov[i]
            _fixed(c_mean[0], c_cov[0], True)
            c_cov[0, 0] += 4.0
            c_cov[0, 4] += 1e-3
            c_kind[0], c_weight[0], c_since[0], c_before[0], c_body[0] = TANGENT, 0.0, k, since[i], 0.0
            c_parent[0], c_kink[0] = i, 0
            c = 1
        least = c_weight[:c].max() - cut - 6.0
        slope = (k0[k + 1] - k0[k]) / h
        for j in range(c):
            if c_weight[j] < least:
                c_weight[j] = -1e30
                continue
            for v in range(first[k], first[k + 1]):
                a = ahead[v]
                z = offset[v] + k0[k] * a * a / 2 + slope * a * a * a / 6
                c_weight[j] += _seen(
                    c_mean[j], c_cov[j], 1 - k0[k] * k0[k] * a * a / 2, a, a * a / 2, a * a * a / 6, z, noise2
                )
        best = c_weight[:c].max()
        order = np.argsort(-c_weight[:c])
        first_of_kind[:] = -1
        last_of_kind[:] = -1
        size = 0
        for jj in range(c):
            j = order[jj]
            if not c_weight[j] >= best - cut:
                break
            md = c_kind[j]
            hit = False
            e = first_of_kind[md]
            while e >= 0:
                i = kept[e]
                near = md in (TANGENT, CIRCLE)
                if not near:
                    near = abs(c_since[i] - c_since[j]) <= 0.2 * (k - c_since[i]) + 1.5
                if near and _alike(c_mean[i], c_cov[i], c_mean[j], c_cov[j]):
                    c_weight[i] += math.log1p(math.exp(c_weight[j] - c_weight[i]))
                    hit = True
                    break
                e = next_of_kind[e]
            if not hit:
                kept[size] = j
                next_of_kind[size] = -1
                if last_of_kind[md] >= 0:
                    next_of_kind[last_of_kind[md]] = size
                else:
                    first_of_kind[md] = size
                last_of_kind[md] = size
                size += 1
                if size == beam:
                    break
        k2 = (0.5 * (k0[k] + k0[k + 1])) ** 2
        f0, f1 = k0[k] * h * h / 2 + slope * h**3 / 6, k0[k] * h + slope * h * h / 2
        for e in range(size):
            j = kept[e]
            _moved(c_mean[j], c_cov[j], mean[e], cov[e], h, k2, f0, f1, drift * h)
            kind[e], weight[e], since[e], before[e], body[e] = (
                c_kind[j],
                c_weight[j] - best,
                c_since[j],
                c_before[j],
                c_body[j],
            )
            parents[k, e], kinds[k, e] = c_parent[j], c_kind[j] + _KINK * c_kink[j]
        n = size
    path = np.zeros(cells, np.int8)
    i = weight[:n].argmax()
    for k in range(cells - 1, -1, -1):
        path[k] = kinds[k, i]
        i = parents[k, i]
    return path
