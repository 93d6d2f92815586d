"""The rail out of a track chart's rows: tangents, parabolas, and draws about them."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import PurePath

import numpy as np

from profiler.errors import InputError
from profiler.track_chart import TrackChart
from profiler.units import PERCENT, FloatArray
from profiler.vertical_curve import Pvi, line_of

CORRELATION = 1000.0
"""Length over which a chart's errors of elevation are alike: no source, our choice. [m]"""

AGREE = 2.0
"""Grade and elevations of a chart contradict each other beyond so many standard errors of an elevation, and what
the last digit of the grade leaves open."""

NODE = 50.0
"""Draws have a node at least so often. [m]"""

ROUNDING = 0.2
"""Vertical curves may overlap by so much: places are rounded. [m]"""


@dataclass(frozen=True, eq=False)
class ChartedRail:
    """Elevation and grade at stations (n,) as `Profile` has them, draws (d, k) at nodes (k,), and the PVIs."""

    elevation: FloatArray
    elevation_se: FloatArray
    grade: FloatArray
    grade_se: FloatArray
    draw_chainage: FloatArray
    draw_elevation: FloatArray
    pvis: tuple[Pvi, ...]


def chart_polygon(chart: TrackChart, place: FloatArray, se: float) -> tuple[tuple[Pvi, ...], tuple[str, ...]]:
    """The points of a chart with the grades between them, its ends included, and what was assumed.

    Parameters
    ----------
    chart : TrackChart
    place : ndarray, shape (n,)
        Chainage of its rows, increasing. [m]
    se : float
        Standard error of an elevation whose row states none. [m]

    Raises
    ------
    InputError
        If an elevation cannot be told, a grade contradicts the elevations, or vertical curves
        overlap or are longer than their tangents.
    """
    sure = np.where(np.isnan(chart.se), se, chart.se)
    elevation, said = _elevations(chart, place, sure)
    length, more = _curve_lengths(chart, place)
    slope = np.diff(elevation) / np.diff(place)
    before, after = np.r_[slope[0], slope], np.r_[slope, slope[-1]]
    if chart.estimated:
        before[0] = chart.grade_before[0] if np.isfinite(chart.grade_before[0]) else before[0]
        after[-1] = chart.grade[-1] if np.isfinite(chart.grade[-1]) else after[-1]
    points = tuple(
        Pvi(
            chainage=float(place[i]),
            elevation=float(elevation[i]),
            grade_in=float(before[i]),
            grade_out=float(after[i]),
            curve_length=float(length[i]),
            chainage_se=float(chart.chainage_se[i]),
            elevation_se=float(sure[i]),
            probability=float(min(chart.probability[i], 1.0)),
        )
        for i in range(place.size)
    )
    return points, (*said, *more)


def _elevations(chart: TrackChart, place: FloatArray, se: FloatArray) -> tuple[FloatArray, tuple[str, ...]]:
    """Elevations (n,) [m]: as stated, and between and beyond those by the grades ahead."""
    known = np.flatnonzero(np.isfinite(chart.elevation))
    if not known.size:
        raise InputError(chart.source, "no row gives an elevation", "fill one at least, for the grades to start from")
    way = np.diff(place)
    climb, open_ = chart.grade[:-1] * way, chart.grade_rounding[:-1] * way
    for i in np.flatnonzero(np.isnan(climb)).tolist():
        if np.isnan(chart.elevation[i : i + 2]).any():
            j = i if np.isnan(chart.elevation[i]) else i + 1
            raise InputError(
                chart.at(j), "its elevation cannot be told", f"fill it, or the grade ahead in row {chart.row[i]}"
            )
    total = np.r_[0.0, np.cumsum(np.nan_to_num(climb))]
    elevation, loose = chart.elevation.copy(), 0
    for a, b in zip(known[:-1].tolist(), known[1:].tolist(), strict=True):
        if np.isnan(climb[a:b]).any():  # then b follows a, and the elevations say the grade
            continue
        by_grades, stated = float(total[b] - total[a]), float(elevation[b] - elevation[a])
        allowed = AGREE * float(max(se[a], se[b])) + float(open_[a:b].sum())
        if abs(by_grades - stated) > allowed:
            if not chart.estimated:
                raise _contradiction(chart, a, b, float(place[b] - place[a]), by_grades, stated, allowed)
            loose += 1
        share = (place[a : b + 1] - place[a]) / (place[b] - place[a])
        elevation[a : b + 1] = elevation[a] + total[a : b + 1] - total[a] + share * (stated - by_grades)
    first, last = known[0], known[-1]
    elevation[:first] = elevation[first] + total[:first] - total[first]
    elevation[last:] = elevation[last] + total[last:] - total[last]
    name = PurePath(chart.source).name
    said = [f"{name}: on {loose} of its tangents the grades at both ends differ, a straight line joins them"]
    spare = not chart.estimated and np.isfinite(chart.grade[-1])
    told = f"{name}: the grade ahead of its last row is not used, no row says how far it goes"
    return elevation, (*(said if loose else ()), *((told,) if spare else ()))


def _contradiction(
    chart: TrackChart, a: int, b: int, way: float, by_grades: float, stated: float, allowed: float
) -> InputError:
    if b == a + 1:
        grades = f"its grade ahead, {chart.grade[a] / PERCENT:.6g} %, makes"
    else:
        grades = f"the grades from it to row {int(chart.row[b])} make"
    return InputError(
        chart.at(a),
        f"{grades} {by_grades:.2f} m over {way:.0f} m, the elevations of rows {int(chart.row[a])} and "
        f"{int(chart.row[b])} {stated:.2f} m, which is more than {allowed:.2f} m apart",
        "correct one of them",
    )


def _curve_lengths(chart: TrackChart, place: FloatArray) -> tuple[FloatArray, tuple[str, ...]]:
    """Lengths (n,) of vertical curves [m], 0 where none is stated; they end before the next one begins."""
    length = np.nan_to_num(chart.curve_length)
    half = length / 2
    for i in () if chart.estimated else (0, place.size - 1):
        if half[i] > 0:
            raise InputError(
                chart.at(i), "a vertical curve at the end of the line has one tangent only", "leave it empty"
            )
    way = np.diff(place)
    for i in range(place.size):
        for j, tangent in ((i - 1, way[i - 1] if i else np.inf), (i + 1, way[i] if i < way.size else np.inf)):
            if half[i] > tangent + ROUNDING:
                raise InputError(
                    chart.at(i),
                    f"its vertical curve of {length[i]:.1f} m is longer than its tangents: row {int(chart.row[j])} "
                    f"stands {tangent:.1f} m away",
                    "shorten the curve",
                )
    crowded = np.flatnonzero(half[1:] + half[:-1] > way + ROUNDING)
    if crowded.size:
        i = int(crowded[0])
        raise InputError(
            chart.at(i + 1),
            f"its vertical curve overlaps that of row {int(chart.row[i])} by {half[i] + half[i + 1] - way[i]:.1f} m",
            "shorten one of them",
        )
    inner = np.isnan(chart.curve_length[1:-1])
    if not inner.any():
        return length, ()
    where = "no vertical curve" if inner.all() else f"{int(inner.sum())} of {inner.size} points no vertical curve"
    return length, (f"{PurePath(chart.source).name}: {where} is stated, the grade changes at once there",)


def charted_rail(
    points: tuple[Pvi, ...], chainage: FloatArray, *, draws: int, seed: int, correlation: float = CORRELATION
) -> ChartedRail:
    """Elevation and grade at stations, and draws about them, of a line of points that are known.

    Parameters
    ----------
    points : tuple of Pvi
        At least two, in order, the ends of the line included; each with the standard error of its elevation.
    chainage : ndarray, shape (n,)
        Stations. [m]
    draws, seed : int
        Number of draws and the seed that gives them again.
    correlation : float
        Length scale of the errors. [m]

    Notes
    -----
    Errors are a Gaussian process with Matérn 3/2 covariance, σ²·(1 + √3·d/ℓ)·exp(−√3·d/ℓ) (Rasmussen
    and Williams 2006, equation 4.17), σ straight between the points. Its slope has the s.d. √3·σ/ℓ, which
    is that of the grade. Grade at a station is the line's own: it changes evenly to the next but where
    a vertical curve begins or ends between them, or where there is none.
    """
    elevation, grade = line_of(points, chainage)
    place = np.array([p.chainage for p in points])
    sigma = np.array([p.elevation_se for p in points])
    se, slope = np.interp(chainage, place, sigma), np.gradient(np.interp(chainage, place, sigma), chainage)
    nodes = _nodes(points, chainage)
    unit = matern_draws(nodes, correlation, draws, seed)
    return ChartedRail(
        elevation=elevation,
        elevation_se=se,
        grade=grade,
        grade_se=np.hypot(np.sqrt(3) * se / correlation, slope),
        draw_chainage=nodes,
        draw_elevation=line_of(points, nodes)[0] + unit * np.interp(nodes, place, sigma),
        pvis=_inner(points, chainage),
    )


def _nodes(points: tuple[Pvi, ...], chainage: FloatArray) -> FloatArray:
    """Places (k,) [m] between which a draw is straight: every `NODE`, and where a grade begins or ends to change."""
    start, end = float(chainage[0]), float(chainage[-1])
    even = np.linspace(start, end, int(np.ceil((end - start) / NODE)) + 1)
    own = np.array([x for p in points for x in (p.begin, p.chainage, p.end)])
    own = own[(own > start + 1.0) & (own < end - 1.0)]
    far = np.abs(even[:, None] - own[None]).min(axis=1) > 1.0 if own.size else np.ones(even.size, dtype=bool)
    own = np.unique(own)
    own = own[np.r_[True, np.diff(own) > 0.01]] if own.size else own
    return np.sort(np.r_[even[far], own])


def _inner(points: tuple[Pvi, ...], chainage: FloatArray) -> tuple[Pvi, ...]:
    """The points that change the grade on the line; those at its ends do not."""
    start, end = float(chainage[0]), float(chainage[-1])
    inside = [p for p in points if start < p.chainage < end and abs(p.change) > 1e-9]
    return tuple(dataclasses.replace(p) for p in inside)


def matern_draws(place: FloatArray, length: float, draws: int, seed: int) -> FloatArray:
    """Draws (d, k) of a Gaussian process of s.d. 1 with Matérn 3/2 covariance at increasing places (k,) [m].

    ``length`` is its length scale [m]. Value and slope together are a Markov process, so that a draw is
    made from place to place, exactly (Hartikainen and Särkkä 2010, Kalman filtering and smoothing
    solutions to temporal Gaussian process regression models, MLSP 2010).
    """
    rate = np.sqrt(3) / length
    normal = np.random.default_rng(seed).normal(size=(place.size, 2, draws))
    stationary = np.diag([1.0, rate**2])
    state = np.sqrt(stationary) @ normal[0]
    found = np.empty((place.size, draws))
    found[0] = state[0]
    for i, step in enumerate(np.diff(place).tolist(), start=1):
        x = rate * step
        carry = np.exp(-x) * np.array([[1 + x, step], [-x * rate, 1 - x]])
        fresh = stationary - carry @ stationary @ carry.T
        # a step much shorter than the length leaves next to nothing, and rounding less than that
        low = np.sqrt(max(fresh[0, 0], 0.0))
        across = fresh[1, 0] / low if low > 0 else 0.0
        state = carry @ state
        state[0] += low * normal[i, 0]
        state[1] += across * normal[i, 0] + np.sqrt(max(fresh[1, 1] - across**2, 0.0)) * normal[i, 1]
        found[i] = state[0]
    return np.ascontiguousarray(found.T)
