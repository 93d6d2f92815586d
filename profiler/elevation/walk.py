"""The compiled loops of the lattice smoother: forward, backward, draws.

A message is an array (2, grades, elevations): on track and on structure. Elevations run innermost,
so that a step along the line, z → z + g·Δ, is a shift and a change of grade a running sum over rows.
Arguments of all three, as `lattice` makes them: ``shape`` (k, 4) low, size, grade_low, grade_size of
each interval's window; ``errors`` (m, k, 10), ``structure`` (k, 3), ``known`` (k, 2) the evidence
in window units; the two tables of densities; ``rates`` (6,).
"""

from __future__ import annotations

import numpy as np

from profiler.compiling import compiled

TABLE_STEP, TABLE_END = 1 / 64, 40.0
"""Steps and end of the table of track errors. [s.d.]"""

STRUCTURE_STEP, STRUCTURE_END = 0.25, 1500.0
"""Steps and end, either way, of the table of heights of ground over rail. [m]"""

IMPOSSIBLE = 1e-7
"""Density of any error at all: no single bin rules a path out. [1/m]"""

_NOTHING, _LOST = np.float32(1e-36), 1e-37


@compiled
def _densities(k, g, first, size, errors, structure, known, track, off_track, step, moved, alone, off):
    """Fill densities (size,) of interval k's evidence at grade g and elevations first, first + 1, …

    ``moved`` on track after track, ``alone`` on track after a structure, ``off`` on a structure.
    """
    moved[:size] = 1.0
    alone[:size] = 1.0
    off[:size] = 1.0
    least = np.float32(IMPOSSIBLE)
    end = np.float32(track.size - 1)
    for r in range(errors.shape[0]):
        e = errors[r, k]
        if e[4] > 0:
            for half in range(2):
                a = e[5 * half] - e[5 * half + 2] * np.float32(g) - e[5 * half + 1] * np.float32(first)
                b, scale, weight = e[5 * half + 1], e[5 * half + 3], e[5 * half + 4]
                row = moved if half == 0 else alone
                for j in range(size):
                    t = min(abs(a - b * np.float32(j)) * scale, end)
                    row[j] *= track[np.int32(t)] * weight + least
    if structure[k, 2] >= 0:
        a = structure[k, 0] - structure[k, 1] * np.float32(g) - step * np.float32(first) + np.float32(STRUCTURE_END)
        inverse, end = np.float32(1 / STRUCTURE_STEP), np.float32(off_track.size - 1)
        weight = structure[k, 2]
        for j in range(size):
            t = min(max((a - step * np.float32(j)) * inverse, np.float32(0)), end)
            off[j] = weight * off_track[np.int32(t)]
    if known[k, 1] > 0:
        for j in range(size):
            d = known[k, 0] - step * (np.float32(0.5) * np.float32(g) + np.float32(first + j))
            f = np.exp(np.float32(-0.5) * d * d * known[k, 1]) + np.float32(1e-9)
            moved[j] *= f
            alone[j] *= f
            off[j] *= f


@compiled
def _mixed(rows, low, count, out, out_low, out_count, size, stay, side, fade, running):
    """Changes of grade: out[g] = stay·rows[g] + side·Σ fade^|g−h|·rows[h], in two running sums."""
    first, last = min(low, out_low), max(low + count, out_low + out_count)
    running[:size] = 0.0
    for g in range(first, last):
        _faded(running, size, fade)
        if low <= g < low + count:
            _added(running, rows[g - low], size, np.float32(1))
        if out_low <= g < out_low + out_count:
            out[g - out_low, :size] = 0.0
            _added(out[g - out_low], running, size, side)
    running[:size] = 0.0
    for g in range(last - 1, first - 1, -1):
        _faded(running, size, fade)
        if out_low <= g < out_low + out_count:
            _added(out[g - out_low], running, size, side)
            if low <= g < low + count:
                _added(out[g - out_low], rows[g - low], size, stay)
        if low <= g < low + count:
            _added(running, rows[g - low], size, np.float32(1))


@compiled
def _faded(row, size, fade):
    for j in range(size):
        row[j] *= fade


@compiled
def _added(row, other, size, times):
    for j in range(size):
        row[j] += times * other[j]


@compiled
def forward(messages, offsets, start, first, last, shape, errors, structure, known, track, off_track, rates):
    """Fill ``messages`` of intervals first … last − 1; ``start`` is the message before them, or empty.

    False if somewhere no path is left: the window does not hold one.
    """
    stay, side, fade, enter, leave, step = rates[0], rates[1], rates[2], rates[3], rates[4], rates[5]
    widest = shape[:, 1].max()
    most = shape[:, 3].max()
    moved, alone, off = np.empty(widest, np.float32), np.empty(widest, np.float32), np.empty(widest, np.float32)
    running = np.empty(widest, np.float32)
    space = np.empty((most, widest), np.float32)
    before = start
    for k in range(first, last):
        low, size, grade_low, grades = shape[k, 0], shape[k, 1], shape[k, 2], shape[k, 3]
        now = messages[offsets[k - first] : offsets[k - first + 1]]
        out = now.reshape(2, grades, size)
        if k == 0:
            out[0] = 0.9
            out[1] = 0.1
        else:
            low0, size0, grade_low0, grades0 = shape[k - 1, 0], shape[k - 1, 1], shape[k - 1, 2], shape[k - 1, 3]
            old = before.reshape(2, grades0, size0)
            for c in range(2):
                for i in range(grades0):
                    shift = low0 + grade_low0 + i - low
                    a, b = min(max(0, shift), size), max(min(size, size0 + shift), 0)
                    space[i, :size] = 0.0
                    for j in range(a, b):
                        space[i, j] = old[c, i, j - shift]
                _mixed(space, grade_low0, grades0, out[c], grade_low, grades, size, stay, side, fade, running)
        total = 0.0
        for i in range(grades):
            _densities(k, grade_low + i, 0, size, errors, structure, known, track, off_track, step, moved, alone, off)
            on, away = out[0, i], out[1, i]
            part = np.float32(0)
            for j in range(size):
                m0, m1 = on[j], away[j]
                v0 = m0 * (1 - enter) * moved[j] + m1 * leave * alone[j]
                v1 = (m0 * enter + m1 * (1 - leave)) * off[j]
                on[j] = v0
                away[j] = v1
                part += v0 + v1
            total += part
        if not total > _LOST:
            return False
        scale = np.float32(1 / total)
        for j in range(now.size):
            v = now[j] * scale
            now[j] = v if v > _NOTHING else np.float32(0)
        before = now
    return True


@compiled
def backward(
    messages,
    offsets,
    after,
    first,
    last,
    bound,
    tail,
    moments,
    shape,
    errors,
    structure,
    known,
    track,
    off_track,
    rates,
):
    """Fill ``moments`` (11, k) of intervals first … last − 1 and return the message that goes on before them,
    and whether every interval has a path that both sides leave possible.

    Rows of ``moments``: mean grade and its square, mean elevation and its square, their product,
    probability of a structure, of the bound; least and greatest elevation and grade left possible.
    All in lattice steps from the window's corner. ``after`` is the message from behind, or empty.
    """
    enter, leave, step = rates[3], rates[4], rates[5]
    widest, most = shape[:, 1].max(), shape[:, 3].max()
    moved, alone, off = np.empty(widest, np.float32), np.empty(widest, np.float32), np.empty(widest, np.float32)
    rows = np.empty((2, most, widest), np.float32)
    held = True
    for k in range(last - 1, first - 1, -1):
        now = np.ones(2 * shape[k, 1] * shape[k, 3], np.float32)
        if after.size > 0:
            size1, grade_low1, grades1 = shape[k + 1, 1], shape[k + 1, 2], shape[k + 1, 3]
            later = after.reshape(2, grades1, size1)
            for i in range(grades1):
                _densities(
                    k + 1, grade_low1 + i, 0, size1, errors, structure, known, track, off_track, step, moved, alone, off
                )
                for j in range(size1):
                    b0, b1 = later[0, i, j], later[1, i, j] * off[j]
                    rows[0, i, j] = (1 - enter) * moved[j] * b0 + enter * b1
                    rows[1, i, j] = leave * alone[j] * b0 + (1 - leave) * b1
            _carried_back(rows, now, shape[k], shape[k + 1], rates)
        alpha = messages[offsets[k - first] : offsets[k - first + 1]]
        held = held and _weighed(alpha, now, shape[k], bound, tail, moments[:, k])
        after = now
    return after, held


@compiled
def _carried_back(rows, now, here, there, rates):
    """Fill the message ``now`` of one interval out of ``rows`` of the next one, the greatest value 1."""
    low, size, grade_low, grades = here
    low1, size1, grade_low1, grades1 = there
    beta = now.reshape(2, grades, size)
    mixed = np.empty((grades, size1), np.float32)
    running = np.empty(size1, np.float32)
    greatest = np.float32(0)
    for c in range(2):
        _mixed(rows[c], grade_low1, grades1, mixed, grade_low, grades, size1, rates[0], rates[1], rates[2], running)
        for i in range(grades):
            shift = low + grade_low + i - low1
            a, b = min(max(0, -shift), size), max(min(size, size1 - shift), 0)
            beta[c, i] = 0.0
            for j in range(a, b):
                beta[c, i, j] = mixed[i, j + shift]
                greatest = max(greatest, mixed[i, j + shift])
    scale = np.float32(1) / max(greatest, np.float32(1e-37))
    for j in range(now.size):
        v = now[j] * scale
        now[j] = v if v > _NOTHING else np.float32(0)


@compiled
def _weighed(message, now, here, bound, tail, moments):
    """Fill moments (11,) of one interval from its two messages; False if these leave no path."""
    size, grade_low, grades = here[1], here[2], here[3]
    alpha, beta = message.reshape(2, grades, size), now.reshape(2, grades, size)
    by_elevation, by_grade = np.zeros(size), np.zeros(grades)
    away, product = 0.0, 0.0
    for c in range(2):
        for i in range(grades):
            whole, moment = 0.0, 0.0
            for j in range(size):
                w = np.float64(alpha[c, i, j]) * np.float64(beta[c, i, j])
                by_elevation[j] += w
                whole += w
                moment += w * j
            by_grade[i] += whole
            product += i * moment
            away += c * whole
    total = by_grade.sum()
    if not total > 0:
        return False
    _summarised(by_grade / total, moments, 0, 9, tail)
    _summarised(by_elevation / total, moments, 2, 7, tail)
    moments[4] = product / total
    moments[5] = away / total
    moments[6] = (grade_low == -bound) * by_grade[0] / total
    moments[6] += (grade_low + grades - 1 == bound) * by_grade[grades - 1] / total
    return True


@compiled
def _summarised(share, moments, moment, edge, tail):
    """Mean, mean square, and what lies between the tails, of a distribution over 0, 1, 2, …"""
    mean, square, below = 0.0, 0.0, 0.0
    least, greatest = -1, 0
    for i in range(share.size):
        mean += share[i] * i
        square += share[i] * i * i
        below += share[i]
        if below > tail and least < 0:
            least = i
        if share[i] > 0 and below - share[i] < 1 - tail:
            greatest = i
    moments[moment] = mean
    moments[moment + 1] = square
    moments[edge] = max(least, 0)
    moments[edge + 1] = greatest


@compiled
def draw(messages, offsets, first, last, uniform, paths, shape, errors, structure, known, track, off_track, rates):
    """Continue each draw backward through intervals last − 1 … first; ``paths`` (3, d, k) in lattice steps."""
    stay, side, fade, enter, leave, step = rates[0], rates[1], rates[2], rates[3], rates[4], rates[5]
    count, draws = shape.shape[0], uniform.shape[1]
    most = shape[:, 3].max()
    powers = np.empty(2 * (shape[:, 2] + shape[:, 3]).max() - 2 * shape[:, 2].min() + 2)
    for d in range(powers.size):
        powers[d] = side * fade**d
    powers[0] += stay
    one, two, three = np.empty(1, np.float32), np.empty(1, np.float32), np.empty(1, np.float32)
    whole = np.empty(2 * most)
    for k in range(last - 1, first - 1, -1):
        low, size, grade_low, grades = shape[k, 0], shape[k, 1], shape[k, 2], shape[k, 3]
        message = messages[offsets[k - first] : offsets[k - first + 1]]
        alpha = message.reshape(2, grades, size)
        if k == count - 1:
            total = np.cumsum(message.astype(np.float64))
            for d in range(draws):
                at = min(np.searchsorted(total, uniform[k, d] * total[-1]), total.size - 1)
                paths[2, d, k] = at // (grades * size)
                paths[1, d, k] = at % (grades * size) // size + grade_low
                paths[0, d, k] = at % size + low
            continue
        for d in range(draws):
            z1, g1, c1 = paths[0, d, k + 1], paths[1, d, k + 1], paths[2, d, k + 1]
            if c1 == 0:
                _densities(
                    k + 1,
                    g1,
                    z1 - shape[k + 1, 0],
                    1,
                    errors,
                    structure,
                    known,
                    track,
                    off_track,
                    step,
                    one,
                    two,
                    three,
                )
                from_track, from_structure = (1 - enter) * one[0], leave * two[0]
            else:
                from_track, from_structure = enter, 1 - leave
            total_weight = 0.0
            for i in range(grades):
                z = z1 - grade_low - i - low
                if 0 <= z < size:
                    jump = powers[abs(grade_low + i - g1)]
                    total_weight += alpha[0, i, z] * jump * from_track
                    whole[2 * i] = total_weight
                    total_weight += alpha[1, i, z] * jump * from_structure
                    whole[2 * i + 1] = total_weight
                else:
                    whole[2 * i] = total_weight
                    whole[2 * i + 1] = total_weight
            at = 0
            while at < 2 * grades - 1 and whole[at] <= uniform[k, d] * total_weight:
                at += 1
            paths[2, d, k] = at % 2
            paths[1, d, k] = grade_low + at // 2
            paths[0, d, k] = z1 - grade_low - at // 2
