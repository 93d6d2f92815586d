"""The true track out of a drawn line: tangents, spirals and circles, and the line that follows them."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.linalg import cho_solve_banded, cholesky_banded

from profiler.alignment.banded import inverse_diagonal, normal_matrix
from profiler.alignment.curves import curve_elements, element_curvature
from profiler.alignment.elements import CELL, DEGREE
from profiler.alignment.pilot import Pilot, pilot_of
from profiler.alignment.reading import WIDE, Reading, curves_of, fitted, read_line
from profiler.alignment.sequence import Habits
from profiler.alignment.smooth import GRID, SmoothedLine, direction, geographic, smooth_line
from profiler.alignment.whitening import Noise
from profiler.route import Corner, CurveElement
from profiler.units import FloatArray

LEAST_NOISE = 0.2
"""No drawn line is trusted further than this. [m]"""

DOUBT, DOUBT_SPARSE = 1.15, 1.5
"""Standard errors of curvature are wider than the fits and their difference say by this: two readings
are few, and both take the sequence of elements for certain. Measured on invented lines."""

LEAST_DEGREE_SE = 0.05
"""Floor of the standard error of curvature where the line curves. [degree]"""

DENSE = 60.0
"""Vertices further apart than this in the middle say too little of drift and spirals: the customary ones serve. [m]"""

NOISE_SHARES = (0.25, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 2.8)
"""Noise that is tried, as a share of what it was taken for, where vertices are further apart."""

SURE = 40.0
"""Twice the log likelihood by which another habit must be better than the customary one."""

KINK, KINK_SPARSE = 25_000.0, 250_000.0
"""One corner in so far [m] is expected of a drawing with vertices missing by a metre or less, and where they are
far apart: there a corner looks like a sharp curve, and curves are many. The same goes for noisy ones."""

TRACK_MISFIT = 0.25
"""The track line may depart from the curvature of the elements by about this. [degree]"""

CORNER_TURN, CORNER_STEP = np.radians(1.5), 3.0
"""A bend at a place is reported as a corner from this turn [rad] or this step to the side [m] on."""


def track_of(longitude: FloatArray, latitude: FloatArray, *, fast: bool = False) -> SmoothedLine:
    """The track that a drawn line stands for.

    Parameters
    ----------
    longitude, latitude : ndarray, shape (v,)
        Vertices on WGS 84, v >= 2, none repeated. [degree]
    fast : bool
        Curves read off a spline, without standard errors: a first look.

    Returns
    -------
    SmoothedLine
        With its curves and corners.

    Notes
    -----
    The line is read twice, forwards and from its other end, by a switching Kalman filter over tangent,
    spiral and circle, and each reading is fitted jointly. The answers differ where the vertices leave
    doubt: where they agree in structure their mean is taken, and half the square of their difference
    adds to the variance.
    """
    line = smooth_line(longitude, latitude)
    if fast or longitude.size < 6 or line.distance[-1] < 4 * CELL:
        return dataclasses.replace(line, curves=curve_elements(line.distance, line.curvature))
    pilot = pilot_of(line, longitude, latitude, line.vertex_distance)
    noise = Noise(max(LEAST_NOISE, line.vertex_noise))
    dense = np.median(np.diff(pilot.place)) <= DENSE
    forward, backward, noise = (_read_dense if dense else _read_sparse)(pilot, noise)
    curves = _agreed(curves_of(forward), curves_of(backward))
    mean = 0.5 * (forward.curvature + backward.curvature)
    variance = 0.5 * (forward.variance + backward.variance) + 0.5 * (forward.curvature - backward.curvature) ** 2
    doubt = DOUBT if dense else DOUBT_SPARSE
    curves = tuple(dataclasses.replace(c, curvature_se=doubt * c.curvature_se) for c in curves)
    return _line_of(pilot, line, noise, curves, mean, doubt**2 * variance, _corners(forward))


def _habits(noise: Noise, kink: float) -> Habits:
    return Habits(kink=kink * max(noise.white, 1.0) ** 4)


def _read_dense(pilot: Pilot, noise: Noise) -> tuple[Reading, Reading, Noise]:
    """The line forwards and backwards; vertices near each other also say how they drift and how long spirals are."""
    usual = _habits(noise, KINK)
    forward = read_line(pilot, noise, usual)
    noise, habits = _learned(pilot, forward, noise, usual)
    if habits != usual:
        forward = read_line(pilot, noise, habits)
    return forward, read_line(pilot, noise, habits, turned=True, shift=CELL / 2), noise


def _read_sparse(pilot: Pilot, noise: Noise) -> tuple[Reading, Reading, Noise]:
    """The line forwards and backwards; a spline through vertices far apart misjudges how far they miss."""
    for _ in range(2):
        noise = _noise_of(pilot, read_line(pilot, noise, _habits(noise, KINK_SPARSE)), noise)
    habits = _habits(noise, KINK_SPARSE)
    forward = read_line(pilot, noise, habits, WIDE)
    return forward, read_line(pilot, noise, habits, WIDE, turned=True, shift=CELL / 2), noise


def _noise_of(pilot: Pilot, reading: Reading, noise: Noise) -> Noise:
    """White noise likeliest for the stretch that the middle vertex lies in, when they are put in order of theirs.

    A stretch whose elements are wrong asks for too much of it; there are never many of them.
    """
    choices = [dataclasses.replace(noise, white=max(LEAST_NOISE, share * noise.white)) for share in NOISE_SHARES]
    stretches = [(fit.kind, fit.edge) for fit in reading.fits]
    misfit = np.array([[fit.misfit for fit in fitted(pilot, stretches, choice, 1.0)] for choice in choices])
    likeliest = misfit.argmin(axis=0)
    vertices = np.diff(np.searchsorted(pilot.place, [edge[0] for _, edge in stretches] + [np.inf]))
    order = np.argsort(likeliest)
    total = np.cumsum(vertices[order])
    return choices[likeliest[order][np.searchsorted(total, total[-1] / 2)]]


def _learned(pilot: Pilot, reading: Reading, noise: Noise, habits: Habits) -> tuple[Noise, Habits]:
    """Drift and length of spirals that make this reading likeliest; the customary ones where it is a near thing."""
    choice, misfit = (noise, habits.spiral), _misfit(pilot, reading, (noise, habits.spiral))
    drifts = [(dataclasses.replace(noise, drift=drift), habits.spiral) for drift in (0.4, 2.0)]
    choice, misfit = _likelier(pilot, reading, choice, misfit, drifts)
    (noise, spiral), _ = _likelier(pilot, reading, choice, misfit, [(choice[0], f) for f in (0.5, 0.7, 1.5)])
    return noise, dataclasses.replace(habits, spiral=spiral)


Choice = tuple[Noise, float]
"""Noise of the vertices, and how many times as long as customary spirals are."""


def _likelier(
    pilot: Pilot, reading: Reading, choice: Choice, misfit: float, others: Sequence[Choice]
) -> tuple[Choice, float]:
    """The likeliest of others with its misfit where it is `SURE` to be likelier than a choice, else the choice."""
    found = [_misfit(pilot, reading, other) for other in others]
    best = int(np.argmin(found))
    return (others[best], found[best]) if found[best] < misfit - SURE else (choice, misfit)


def _misfit(pilot: Pilot, reading: Reading, choice: Choice) -> float:
    """Twice the negative log evidence of a reading fitted anew."""
    fits = fitted(pilot, [(fit.kind, fit.edge) for fit in reading.fits], *choice)
    return sum(fit.misfit for fit in fits)


def _agreed(
    one: tuple[tuple[CurveElement, ...], ...], other: tuple[tuple[CurveElement, ...], ...]
) -> tuple[CurveElement, ...]:
    """Arcs of one reading; of curves that the other has alike, the mean of both."""
    middles = np.array([0.5 * (arcs[0].start + arcs[-1].end) for arcs in other])
    found: list[CurveElement] = []
    for arcs in one:
        low, high = np.searchsorted(middles, [arcs[0].start, arcs[-1].end])
        there = other[low] if high == low + 1 else ()
        middle = 0.5 * (arcs[0].start + arcs[-1].end)
        alike = (
            len(there) == len(arcs)
            and there[0].start < middle < there[-1].end
            and all(a.curvature * b.curvature > 0 for a, b in zip(arcs, there, strict=True))
        )
        found += [_mean(a, b) for a, b in zip(arcs, there, strict=True)] if alike else list(arcs)
    return tuple(found)


_ENDS = ("start", "end", "spiral_in", "spiral_out", "curvature")


def _mean(a: CurveElement, b: CurveElement) -> CurveElement:
    values = {name: 0.5 * (getattr(a, name) + getattr(b, name)) for name in _ENDS}
    apart = {name: getattr(a, name) - getattr(b, name) for name in (*_ENDS, "deflection")}
    errors = {
        f"{name}_se": float(
            np.sqrt(0.5 * (getattr(a, f"{name}_se") ** 2 + getattr(b, f"{name}_se") ** 2) + 0.5 * apart[name] ** 2)
        )
        for name in apart
    }
    changed: dict[str, Any] = values | errors
    return dataclasses.replace(a, **changed)


def _corners(reading: Reading) -> tuple[Corner, ...]:
    """Corners by distance along the pilot, where the line truly bends or steps aside."""
    found = []
    for before, after in pairwise(reading.fits):
        if after.edge[0] in reading.corners:
            step = after.start_state[0] - before.end_state[0]
            turn = after.start_state[1] - before.end_state[1]
            if abs(turn) >= CORNER_TURN or abs(step) >= CORNER_STEP:
                found.append(Corner(float(after.edge[0]), turn, step))
    return tuple(found)


def _line_of(
    pilot: Pilot,
    line: SmoothedLine,
    noise: Noise,
    curves: tuple[CurveElement, ...],
    mean: FloatArray,
    variance: FloatArray,
    corners: tuple[Corner, ...],
) -> SmoothedLine:
    """The line that follows the vertices with the curvature (k,) [1/m] found on the pilot's grid."""
    aside, lateral_se = _aside(pilot, noise, mean, variance, corners)
    grid = pilot.position + pilot.left * aside[:, None]
    chord = np.linalg.norm(np.diff(grid, axis=0), axis=1)
    turn = 0.5 * (mean[1:] + mean[:-1]) * chord
    along = np.r_[0.0, np.cumsum(chord * (1 + turn**2 / 24))]  # an arc is that much longer than its chord
    first, last = np.interp([pilot.place[0], pilot.place[-1]], pilot.distance, along)

    def moved(place: FloatArray | float) -> FloatArray:
        return np.interp(place, pilot.distance, along) - first

    keep = (along > first + GRID / 2) & (along < last - GRID / 2)
    ends = np.array([[np.interp(x, along, grid[:, axis]) for axis in range(3)] for x in (first, last)])
    position = np.vstack([ends[:1], grid[keep], ends[1:]])
    distance = np.r_[first, along[keep], last]
    lon, lat = geographic(position)
    heading, _ = direction(position, distance - first, lon, lat)
    shifted = tuple(dataclasses.replace(c, start=float(moved(c.start)), end=float(moved(c.end))) for c in curves)
    placed = tuple(c for c in shifted if c.end - c.start > c.spiral_in + c.spiral_out and c.curvature != 0)
    at = distance - first
    of_elements = element_curvature(at, placed)
    se = np.sqrt(np.interp(distance, along, variance) + (of_elements - np.interp(distance, along, mean)) ** 2)
    bent = (np.interp(distance, along, np.abs(mean)) > 0) | (of_elements != 0)
    return SmoothedLine(
        distance=at,
        longitude=lon,
        latitude=lat,
        heading=heading,
        curvature=of_elements,
        curvature_se=np.where(bent, np.maximum(se, LEAST_DEGREE_SE * DEGREE), se),
        lateral_se=np.asarray(np.interp(distance, along, lateral_se)),
        vertex_distance=np.asarray(moved(pilot.place)),
        vertex_noise=noise.white,
        cut_off=line.cut_off,
        curves=placed,
        corners=tuple(dataclasses.replace(c, chainage=float(moved(c.chainage))) for c in corners),
    )


def _aside(
    pilot: Pilot, noise: Noise, curvature: FloatArray, variance: FloatArray, corners: tuple[Corner, ...]
) -> tuple[FloatArray, FloatArray]:
    """How far left of the pilot the track lies (k,) [m], and its standard error.

    Minimises Σ(z − w)²/σ² + Σ(w'' + κ0²·w − (κ − κ0))²/τ²: it follows slow drift, and keeps the curvature
    found as far as that is sure.
    """
    n = pilot.distance.size
    i = np.clip((pilot.place / GRID).astype(int), 0, n - 2)
    a = np.clip(pilot.place / GRID - i, 0.0, 1.0)
    w = 1 / noise.white**2
    band, right = normal_matrix(i, a, n, 2, w), np.zeros(n)
    np.add.at(right, i, w * (1 - a) * pilot.offset)
    np.add.at(right, i + 1, w * a * pilot.offset)
    weight = 1 / ((TRACK_MISFIT * DEGREE) ** 2 + variance[1:-1])
    for corner in corners:
        near = np.abs(pilot.distance[1:-1] - corner.chainage) <= CELL
        weight[near] *= 1e-4
    k0 = pilot.curvature[1:-1]
    side, middle = 1 / GRID**2, -2 / GRID**2 + k0**2
    target = weight * (curvature[1:-1] - k0)
    for offset, c in ((0, side), (1, middle), (2, side)):
        right[offset : offset + n - 2] += c * target
    band[2, :-2] += weight * side**2
    band[2, 1:-1] += weight * middle**2
    band[2, 2:] += weight * side**2
    band[1, 1:-1] += weight * side * middle
    band[1, 2:] += weight * side * middle
    band[0, 2:] += weight * side**2
    band[2] += 1e-6 * w
    factor = cholesky_banded(band, check_finite=False)
    solution = cho_solve_banded((factor, False), right, check_finite=False)
    return solution, np.sqrt(inverse_diagonal(factor) + noise.drift**2)
