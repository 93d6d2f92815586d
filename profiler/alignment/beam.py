"""The compiled loops of the element sequence: hypotheses bear others, vertices weigh them, the likely stay."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from profiler.alignment.elements import BETWEEN, CELL, CIRCLE, DEGREE, ENTRY, EXIT, SPIRAL_DEGREES, TANGENT
from profiler.alignment.kalman import alike, fixed, moved, seen
from profiler.compiling import compiled

KINK, AGAIN = 8, 16
"""Added to the kind of an element in the cell where the line bends, and in the last one before a new beginning."""

LOST, WANDER = 3, 1.0
"""All hypotheses are lost when the best lies 3.5 s.d. beside the vertices of so many cells; slow drift in that [m]."""


class Prior(NamedTuple):
    """Habits of layout as the loops use them: spirals are ``base`` + ``rate`` × degree, at most ``longest`` [m]."""

    tangent: float
    circle: float
    base: float
    rate: float
    scale: float
    spread: float
    direct: float
    compound: float
    log_kink: float
    longest: float
    cut: float


class Beam(NamedTuple):
    """Hypotheses side by side: arrays (n,), the state's ``mean`` (n, 4) and ``cov`` (n, 10).

    ``since`` and ``before`` are the nodes where the element and the one before it began, ``body`` the
    curvature of the circle that a transition left; ``parent`` is the hypothesis one node back, ``kink``
    whether the line bends there.
    """

    kind: Any
    weight: Any
    since: Any
    before: Any
    body: Any
    mean: Any
    cov: Any
    parent: Any
    kink: Any


def empty_beam(size: int) -> Beam:
    """Room for so many hypotheses."""
    return Beam(
        np.zeros(size, np.int8),
        np.full(size, -1e30),
        np.zeros(size, np.int32),
        np.zeros(size, np.int32),
        np.zeros(size),
        np.zeros((size, 4)),
        np.zeros((size, 10)),
        np.zeros(size, np.int16),
        np.zeros(size, np.int8),
    )


@compiled
def _born(to, c, of, i, kind, weight, since, before, body):
    """Child ``c`` of hypothesis ``i``, in the same state."""
    to.kind[c], to.weight[c], to.since[c], to.before[c], to.body[c] = kind, weight, since, before, body
    to.mean[c], to.cov[c], to.parent[c], to.kink[c] = of.mean[i], of.cov[i], i, 0


@compiled
def _either(a, b):
    """Log of the sum of two weights."""
    return a + math.log1p(math.exp(b - a)) if a > b else b + math.log1p(math.exp(a - b))


@compiled
def _like_born(to, c, kind, since, before, hand):
    """A child of one kind that began with the same elements, -1 if there is none; ``hand`` 0 counts for either."""
    for j in range(c):
        if (
            to.kind[j] == kind
            and to.since[j] == since
            and to.before[j] == before
            and (hand == 0 or to.mean[j, 2] * hand > 0)
        ):
            return j
    return -1


@compiled
def _goes_on(of, i, k, prior):
    """Log chance that an element goes on for a cell; NaN where it may not."""
    kind, age, turn = of.kind[i], (k - of.since[i]) * CELL, abs(of.mean[i, 2]) / DEGREE
    if kind == TANGENT:
        return math.log(1 - CELL / prior.tangent)
    if kind == CIRCLE:
        return math.log(1 - CELL / prior.circle)
    tired = age > prior.longest if kind != BETWEEN else age > 160.0 or turn < 0.4
    return math.nan if tired else 0.0


@compiled
def _after_tangent(to, c, of, i, k, prior):
    """Entry spirals, gentle and steep, or a circle at once."""
    for j in range(3):
        if c >= to.kind.size:
            break
        share = (1 - prior.direct) * (0.65 if j == 0 else 0.35) if j < 2 else prior.direct
        weight = of.weight[i] + math.log(CELL / prior.tangent * share)
        _born(to, c, of, i, ENTRY if j < 2 else CIRCLE, weight, k, of.since[i], 0.0)
        if j < 2:
            to.cov[c, 9] = ((0.013 if j == 0 else 0.045) / prior.scale * DEGREE) ** 2
        else:
            to.cov[c, 7] = (3.0 * DEGREE) ** 2
        c += 1
    return c


@compiled
def _after_entry(to, c, of, i, k, prior):
    """A circle; one child for all that share the beginning of their spiral."""
    age, turn = (k - of.since[i]) * CELL, abs(of.mean[i, 2]) / DEGREE
    if not (age >= CELL and 0.25 < turn < 14.0):
        return c
    u = (math.log(age) - math.log(prior.base + prior.rate * min(turn, SPIRAL_DEGREES))) / prior.spread
    score = of.weight[i] - 0.5 * u * u + math.log(CELL / (age * prior.spread * 2.5066))
    g = _like_born(to, c, CIRCLE, k, of.since[i], of.mean[i, 2])
    if g < 0 and c < to.kind.size:
        _born(to, c, of, i, CIRCLE, score, k, of.since[i], 0.0)
        fixed(to.mean[c], to.cov[c], False)
        return c + 1
    if g >= 0:
        if score > to.weight[g]:
            to.mean[g], to.cov[g], to.parent[g] = of.mean[i], of.cov[i], i
            fixed(to.mean[g], to.cov[g], False)
        to.weight[g] = _either(score, to.weight[g])
    return c


@compiled
def _after_circle(to, c, of, i, k, prior):
    """An exit spiral, the transition to another arc, or a tangent at once."""
    if (k - of.since[i]) * CELL < CELL:
        return c
    curvature = of.mean[i, 2]
    leave = of.weight[i] + math.log(CELL / prior.circle)
    f = 1.0 / (prior.base + prior.rate * min(abs(curvature) / DEGREE, SPIRAL_DEGREES))
    for j in range(3):
        if c >= to.kind.size:
            break
        share = 1 - prior.compound - prior.direct if j == 0 else (prior.compound if j == 1 else prior.direct)
        kind = EXIT if j == 0 else (BETWEEN if j == 1 else TANGENT)
        _born(to, c, of, i, kind, leave + math.log(share), k, of.since[i], curvature)
        cov = to.cov[c]
        if j == 0:
            to.mean[c, 3] = -f * curvature
            cov[3], cov[6], cov[8] = -f * of.cov[i, 2], -f * of.cov[i, 5], -f * of.cov[i, 7]
            cov[9] = f * f * of.cov[i, 7] + (0.4 * f * curvature) ** 2
        elif j == 1:
            cov[9] = (0.45 * curvature / 60.0) ** 2
        else:
            fixed(to.mean[c], cov, True)
        c += 1
    return c


@compiled
def _after_between(to, c, of, i, k):
    """The next arc of a compound curve."""
    curvature = of.mean[i, 2]
    long_enough = (k - of.since[i]) * CELL >= CELL
    if long_enough and curvature * of.body[i] > 0 and abs(curvature) / DEGREE > 0.4 and c < to.kind.size:
        _born(to, c, of, i, CIRCLE, of.weight[i] + math.log(CELL / 60.0), k, of.since[i], 0.0)
        fixed(to.mean[c], to.cov[c], False)
        return c + 1
    return c


@compiled
def _after_exit(to, c, of, i, k):
    """A tangent, by the chance that curvature passes zero in this cell; one child for one beginning of the spiral."""
    age = (k - of.since[i]) * CELL
    if age < CELL or c >= to.kind.size:
        return c
    steep = max(abs(of.body[i]) / age, 1e-12)
    if abs(of.mean[i, 2]) >= 3 * math.sqrt(max(of.cov[i, 7], 1e-16)) + 0.6 * CELL * steep:
        return c
    g = _like_born(to, c, TANGENT, k, of.since[i], 0.0)
    _born(to, c, of, i, TANGENT, 0.0, k, of.since[i], 0.0)
    score = of.weight[i] + seen(to.mean[c], to.cov[c], 0.0, 0.0, 1.0, 0.0, 0.0, (0.3 * CELL * steep) ** 2)
    score += math.log(steep * CELL) - 0.919
    fixed(to.mean[c], to.cov[c], True)
    if g < 0:
        to.weight[c] = score
        return c + 1
    if score > to.weight[g]:
        to.mean[g], to.cov[g], to.parent[g] = to.mean[c], to.cov[c], i
    to.weight[g] = _either(score, to.weight[g])
    return c


@compiled
def _children(to, of, n, k, prior):
    """All that hypotheses may become in cell ``k``; returns how many."""
    c, best = 0, of.weight[:n].max()
    for i in range(n):
        kind, w, turn = of.kind[i], of.weight[i], abs(of.mean[i, 2]) / DEGREE
        circle_of_nothing = turn + math.sqrt(max(of.cov[i, 7], 0.0)) / DEGREE < 0.4
        if kind == CIRCLE and (k - of.since[i]) * CELL >= 60.0 and circle_of_nothing:
            continue
        stay = _goes_on(of, i, k, prior)
        if not math.isnan(stay):
            _born(to, c, of, i, kind, w + stay, of.since[i], of.before[i], of.body[i])
            c += 1
        above = w - best + prior.cut
        if above < 6.0:
            continue
        if kind in (TANGENT, CIRCLE) and above > -prior.log_kink and k > 0 and c < to.kind.size:
            _born(to, c, of, i, kind, w + prior.log_kink, of.since[i], of.before[i], of.body[i])
            to.kink[c] = 1
            to.cov[c, 0] += 4.0
            to.cov[c, 4] += 0.02
            c += 1
        if kind == TANGENT:
            c = _after_tangent(to, c, of, i, k, prior)
        elif kind == ENTRY:
            c = _after_entry(to, c, of, i, k, prior)
        elif kind == CIRCLE:
            c = _after_circle(to, c, of, i, k, prior)
        elif kind == BETWEEN:
            c = _after_between(to, c, of, i, k)
        else:
            c = _after_exit(to, c, of, i, k)
    if c == 0:  # nothing goes on: begin again on a tangent
        i = of.weight[:n].argmax()
        _born(to, 0, of, i, TANGENT, 0.0, k, of.since[i], 0.0)
        fixed(to.mean[0], to.cov[0], True)
        to.cov[0, 0] += 4.0
        to.cov[0, 4] += 1e-3
        return 1
    return c


@compiled
def _weighed(to, c, vertices, ahead, offset, k0, slope, noise2, least):
    """Every child by the vertices of the cell, a range; what is under ``least`` is given up."""
    for j in range(c):
        if to.weight[j] < least:
            to.weight[j] = -1e30
            continue
        for v in range(vertices[0], vertices[1]):
            a = ahead[v]
            z = offset[v] + k0 * a * a / 2 + slope * a * a * a / 6
            to.weight[j] += seen(to.mean[j], to.cov[j], 1 - k0 * k0 * a * a / 2, a, a * a / 2, a * a * a / 6, z, noise2)


@compiled
def _misses(to, j, vertices, ahead, offset, k0, slope, noise2):
    """Whether child ``j`` still lies far aside of the last vertex of a cell that it has been corrected by."""
    v = vertices[1] - 1
    a = ahead[v]
    z = offset[v] + k0 * a * a / 2 + slope * a * a * a / 6
    m = to.mean[j]
    told = m[0] * (1 - k0 * k0 * a * a / 2) + m[1] * a + m[2] * a * a / 2 + m[3] * a * a * a / 6
    return (z - told) ** 2 > 12.25 * (noise2 + WANDER**2)


@compiled
def _begin(of):
    """A tangent or a circle, somewhere near the pilot; returns how many hypotheses that is."""
    for i in range(2):
        of.kind[i], of.mean[i], of.cov[i] = TANGENT if i == 0 else CIRCLE, 0.0, 0.0
        of.cov[i, 0], of.cov[i, 4], of.weight[i] = 25.0, 0.01, math.log(0.6 if i == 0 else 0.4)
    of.cov[1, 7] = (3 * DEGREE) ** 2
    return 2


@compiled
def _twin(to, j, k, kept, following, e):
    """The first child kept, from place ``e`` on among those of its kind, that stands for child ``j`` too; else -1."""
    while e >= 0:
        i = kept[e]
        near = to.kind[j] in (TANGENT, CIRCLE)
        if not near:
            near = abs(to.since[i] - to.since[j]) <= 0.2 * (k - to.since[i]) + 1.5
        if near and alike(to.mean[i], to.cov[i], to.mean[j], to.cov[j]):
            return i
        e = following[e]
    return -1


@compiled
def _kept(to, c, k, cut, kept, following):
    """Fill ``kept`` with the likeliest children, those that agree joined into one; returns how many."""
    best = to.weight[:c].max()
    order = np.argsort(-to.weight[:c])
    first, last = np.full(5, -1), np.full(5, -1)  # of each kind, in ``kept``
    size = 0
    for place in range(c):
        j = order[place]
        if not to.weight[j] >= best - cut or size == kept.size:
            break
        kind = to.kind[j]
        i = _twin(to, j, k, kept, following, first[kind])
        if i >= 0:
            to.weight[i] += math.log1p(math.exp(to.weight[j] - to.weight[i]))
            continue
        kept[size], following[size] = j, -1
        if last[kind] >= 0:
            following[last[kind]] = size
        else:
            first[kind] = size
        last[kind] = size
        size += 1
    return size


@compiled
def _traced(parents, kinds, i):
    """The kinds of element that led to hypothesis ``i`` of the last node."""
    path = np.zeros(kinds.shape[0], np.int8)
    for k in range(path.size - 1, -1, -1):
        path[k] = kinds[k, i]
        i = parents[k, i]
    return path


@compiled
def walk(of, to, k0, first, ahead, offset, noise2, drift, prior):
    """Kind of element in every cell (k,), + `KINK` where the line has a corner at its beginning, + `AGAIN`."""
    h, beam = CELL, of.kind.size
    cells = k0.size - 1
    parents, kinds = np.zeros((cells, beam), np.int16), np.zeros((cells, beam), np.int8)
    kept, following = np.zeros(beam, np.int64), np.zeros(beam, np.int64)
    n, missed = _begin(of), 0
    for k in range(cells):
        c = _children(to, of, n, k, prior)
        slope = (k0[k + 1] - k0[k]) / h
        least = to.weight[:c].max() - prior.cut - 6.0
        _weighed(to, c, (first[k], first[k + 1]), ahead, offset, k0[k], slope, noise2, least)
        best = to.weight[:c].max()
        n = _kept(to, c, k, prior.cut, kept, following)
        k2 = (0.5 * (k0[k] + k0[k + 1])) ** 2
        f0, f1 = k0[k] * h * h / 2 + slope * h**3 / 6, k0[k] * h + slope * h * h / 2
        for e in range(n):
            j = kept[e]
            moved(to.mean[j], to.cov[j], of.mean[e], of.cov[e], h, k2, f0, f1, drift * h)
            of.kind[e], of.weight[e], of.body[e] = to.kind[j], to.weight[j] - best, to.body[j]
            of.since[e], of.before[e] = to.since[j], to.before[j]
            parents[k, e], kinds[k, e] = to.parent[j], to.kind[j] + KINK * to.kink[j]
        if first[k + 1] > first[k]:
            vertices = (first[k], first[k + 1])
            missed = missed + 1 if _misses(to, kept[0], vertices, ahead, offset, k0[k], slope, noise2) else 0
        if missed == LOST:  # what was given up too early is gone: begin again where the pilot is
            n, missed = _begin(of), 0
            of.since[:n] = of.before[:n] = k + 1
            parents[k, 1], kinds[k, :n] = parents[k, 0], kinds[k, 0] % KINK + AGAIN
    return _traced(parents, kinds, of.weight[:n].argmax())
