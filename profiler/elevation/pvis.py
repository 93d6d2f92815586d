"""Points of vertical intersection, where the ground lets them be seen, and how sure they are.

A fit says where they are; how sure is said by the draws, as the fit knows only the errors that
are left once its own choice of PVIs is taken for granted.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from profiler.elevation.estimator import Estimate
from profiler.elevation.noise import Noise, fit_noise
from profiler.elevation.pvi_search import first_polygon, search
from profiler.elevation.tangents import Polygon, Seen, fit, heights, roomy, usual_log_length
from profiler.units import FloatArray
from profiler.vertical_curve import Pvi

USUAL_CHANGE, USUAL_TANGENT, SHOWS = 0.005, 1000.0, 2.0
"""Ground shows PVIs if a change of grade so large [m/m] between tangents so long [m] stands out so
many times its standard error."""

FIRST_ROUNDS = 6
"""Rounds of the fit about which the errors of the ground are learned."""

LEAST_VISIBLE, LEAST_PROBABILITY = 3.0, 0.5
"""A PVI is claimed if its change of grade stands out so many times its standard error and at least
this share of the draws has it."""

OFF_GROUND, FAR = 0.3, 6.0
"""Ground is not used where the rail is off it with this probability, nor so many standard errors
away from the rail."""

NODE, STRETCH = 100.0, 30.0
"""Distance of the places among which the first corners are sought; length of the means that are
fitted. [m]"""

NEAR = 150.0
"""A PVI is seen only if there is ground in use within this distance. [m]"""

REACH, CURVE_SHARE, ACROSS = 200.0, 0.5, 100.0
"""A draw has a PVI if its grades, over `ACROSS` [m], so far to both sides of it [m] or this share of the
usual curve, but not beyond the middle of a tangent, differ enough."""

TANGENT = 600.0
"""Where the tangents of a draw meet is told by so much of them beside the curve: farther away may be
changes that nobody saw. [m]"""

PLACE_FLOOR, HEIGHT_FLOOR = 10.0, 0.1
"""Standard errors of place and elevation are never smaller than these. [m]"""

SPREAD = 1.4
"""The draws' spread times this: alone it covered 86 % of places and 90 % of elevations on synthetic
lines, as its middle is not that of the truth in a crowd of PVIs."""

LEAST_STATIONS, LEAST_LEARNED = 20, 100
"""Without so many stations in use nothing is fitted, nor the error of a source learned anew."""


def standing_out(change: float, tangent: float, noise: Noise) -> float:
    """How many of its standard errors a change of grade [m/m] between tangents [m] is.

    |A|/√(24·S0/l³): two lines of length l fitted to errors of power S0 = 2σ²ℓ at long waves.
    """
    power = 2 * noise.sigma**2 * noise.length
    return float(abs(change) / np.sqrt(24 * power / max(tangent, 1.0) ** 3))


def clearest(ground: FloatArray, noises: Sequence[Noise]) -> tuple[FloatArray, FloatArray]:
    """Of the sources' ground (m, n) [m], at each station (n,) that which shows a grade best, and its source.

    Where no source says anything the ground is NaN and the source -1.
    """
    power = np.array([noise.sigma**2 * noise.length for noise in noises])
    source = np.argmin(np.where(np.isfinite(ground), power[:, None], np.inf), axis=0)
    value = np.take_along_axis(ground, source[None], axis=0)[0]
    return value, np.where(np.isfinite(value), source, -1)


def find_pvis(
    chainage: FloatArray, ground: FloatArray, source: FloatArray, estimate: Estimate
) -> tuple[Pvi, ...] | None:
    """The PVIs that can be seen, in order of chainage; None where the ground cannot show any.

    Parameters
    ----------
    chainage : ndarray, shape (n,)
        Stations at equal steps. [m]
    ground : ndarray, shape (n,)
        The ground that the estimate used, NaN where it says nothing. [m]
    source : ndarray of int, shape (n,)
        Which of the estimate's noises is the ground's, -1 where none counted.
    estimate : Estimate

    Notes
    -----
    None is claimed where the ground is too wrong to show it, nor on a known or suspected
    structure, where there is no ground to show it. Grades beside a claimed PVI are those of the
    fit; where the grade out of one and the grade into the next differ, a change between them is
    not seen well enough to be claimed. The errors of the ground are learned once more, about a
    line that is round where the track is.
    """
    used = _used(ground, source, estimate)
    if used.sum() < LEAST_STATIONS:
        return None
    counted = np.where(used, source, -1)
    seen = _means(chainage, ground, counted, estimate.noise, estimate.elevation)
    first = roomy(_first(chainage, seen, estimate))
    rounded = fit(first, np.ones(first.place.size, dtype=bool), seen, FIRST_ROUNDS)
    noises = _left_over(rounded, chainage, ground, counted, estimate.noise)
    visible = np.array([standing_out(USUAL_CHANGE, USUAL_TANGENT, noise) >= SHOWS for noise in noises])
    if not visible.any():
        return None
    seen = _means(chainage, ground, counted, noises, estimate.elevation)
    knots = search(_first(chainage, seen, estimate), seen)
    drawn = _drawn(knots, estimate)
    in_sight = np.where((counted >= 0) & visible[counted], counted, -1)
    sight = _Sight(chainage, in_sight, estimate.structure_probability >= OFF_GROUND, noises)
    claimed = (_claim(knots, j, sight, drawn) for j in range(1, knots.place.size - 1))
    return tuple(pvi for pvi in claimed if pvi is not None)


def _left_over(
    knots: Polygon, chainage: FloatArray, ground: FloatArray, source: FloatArray, noises: Sequence[Noise]
) -> tuple[Noise, ...]:
    """The errors of the sources about the line of tangents and parabolas."""
    residual = np.where(source >= 0, ground, 0.0) - heights(knots, chainage)
    step = float(chainage[1] - chainage[0])
    own = [source == k for k in range(len(noises))]
    return tuple(
        fit_noise(residual - _median(residual[used]), used, step) if used.sum() >= LEAST_LEARNED else noise
        for used, noise in zip(own, noises, strict=True)
    )


def _used(ground: FloatArray, source: FloatArray, estimate: Estimate) -> FloatArray:
    sigma = np.array([n.sigma for n in estimate.noise])[np.maximum(source, 0)]
    far = FAR * np.hypot(sigma, estimate.elevation_se)
    near = np.abs(np.where(np.isfinite(ground), ground, np.inf) - estimate.elevation) < far
    return np.asarray((source >= 0) & near & (estimate.structure_probability < OFF_GROUND))


def _means(
    chainage: FloatArray, ground: FloatArray, source: FloatArray, noises: Sequence[Noise], line: FloatArray
) -> Seen:
    """Means over stretches of about `STRETCH`, of one source each, where there is ground (m,)."""
    step = float(chainage[1] - chainage[0])
    used = source >= 0
    chainage, ground, source, line = chainage[used], ground[used], source[used], line[used]
    width = max(round(STRETCH / step), 1) * step
    stretch = ((chainage - chainage[0] + step / 2) // width).astype(int)
    rows, row = np.unique(stretch * len(noises) + source, return_inverse=True)
    count = np.bincount(row)
    own = rows % len(noises)
    if len(noises) > 1:  # sources lie about the rail, each by its own offset
        ground = ground - np.array([_median((ground - line)[source == k]) for k in range(len(noises))])[source]
    inflation = np.array([noise.inflation(width) for noise in noises])
    variance = np.array([noise.bin_variance(width) for noise in noises])
    follows = np.r_[False, (np.diff(rows // len(noises)) == 1) & (np.diff(own) == 0)]
    carried = np.where(follows, ((inflation - 1) / (inflation + 1))[own], 0.0)
    thin = np.sqrt(width / step / count)
    return Seen(
        place=np.bincount(row, chainage) / count,
        value=np.bincount(row, ground) / count,
        se=np.sqrt(variance[own] * thin * (1 - carried**2) + 0.02**2),
        carried=carried,
    )


def _median(values: FloatArray) -> float:
    return float(np.median(values)) if values.size else 0.0


def _first(chainage: FloatArray, seen: Seen, estimate: Estimate) -> Polygon:
    nodes = np.linspace(chainage[0], chainage[-1], max(int((chainage[-1] - chainage[0]) / NODE), 2) + 1)
    height = np.interp(nodes, chainage, estimate.elevation)
    corners = first_polygon(nodes, height, seen)
    knots = Polygon(nodes[corners], height[corners], np.zeros(corners.size))
    return Polygon(knots.place, knots.height, usual_log_length(knots.change))


class _Sight:
    """What is seen around a place: the source in use (n,) at stations, -1 where none shows PVIs, and
    which stations lie on structures."""

    def __init__(self, chainage: FloatArray, source: FloatArray, off: FloatArray, noises: Sequence[Noise]) -> None:
        self._chainage, self._source, self._off, self._noise = chainage, source, off, noises
        self._so_far = np.r_[0.0, np.cumsum(source >= 0)] * float(chainage[1] - chainage[0])

    def noise(self, place: float) -> Noise | None:
        """Error of the ground about a place, None on structures and where no ground is near."""
        a, at, b = np.searchsorted(self._chainage, [place - NEAR, place, place + NEAR])
        around = self._source[a:b]
        around = around[around >= 0]
        if around.size == 0 or self._off[min(at, self._off.size - 1)]:
            return None
        return self._noise[int(np.bincount(around).argmax())]

    def length(self, start: float, end: float) -> float:
        """How much of a stretch is seen. [m]"""
        a, b = np.searchsorted(self._chainage, [start, end])
        return float(self._so_far[b] - self._so_far[a])


@dataclass(frozen=True, eq=False)
class _Drawn:
    """For every draw and knot (d, k): where the tangents meet [m], how high [m], how much the grade
    changes between them and how much near the knot [m/m]."""

    place: FloatArray
    height: FloatArray
    change: FloatArray
    near: FloatArray


def _drawn(knots: Polygon, estimate: Estimate) -> _Drawn:
    gap, half = np.diff(knots.place), knots.length / 2
    start = knots.place[:-1] + np.minimum(half[:-1], 0.45 * gap)
    end = knots.place[1:] - np.minimum(half[1:], 0.45 * gap)
    reach = np.minimum(end - start, TANGENT)
    first, second, third, last = (_at(estimate, x) for x in (start, start + reach, end - reach, end))
    into, out = ((last - third) / reach)[:, :-1], ((second - first) / reach)[:, 1:]
    change = out - into
    apart = last[:, :-1] - first[:, 1:] + out * start[1:] - into * end[:-1]
    place = apart / np.where(np.abs(change) > 1e-6, change, 1e-6)
    height = last[:, :-1] + into * (place - end[:-1])
    aside = np.maximum(REACH, CURVE_SHARE * np.exp(usual_log_length(knots.change)))[1:-1]
    before = knots.place[1:-1] - np.minimum(aside, gap[:-1] / 2)
    after = knots.place[1:-1] + np.minimum(aside, gap[1:] / 2)
    grades = [(_at(estimate, x + ACROSS / 2) - _at(estimate, x - ACROSS / 2)) / ACROSS for x in (before, after)]
    return _Drawn(*(np.pad(x, ((0, 0), (1, 1))) for x in (place, height, change, grades[1] - grades[0])))


def _at(estimate: Estimate, x: FloatArray) -> FloatArray:
    """Elevations (d, m) [m] of the draws at places (m,) [m], with the last grades beyond the ends."""
    s, z = estimate.draw_chainage, estimate.draw_elevation
    i = np.clip(np.searchsorted(s, x, side="right") - 1, 0, s.size - 2)
    share = (x - s[i]) / (s[i + 1] - s[i])
    return np.asarray(z[:, i] * (1 - share) + z[:, i + 1] * share, dtype=float)


def _claim(knots: Polygon, j: int, sight: _Sight, drawn: _Drawn) -> Pvi | None:
    """Knot ``j`` as a PVI if it can be seen and enough draws have it."""
    place, height, change = float(knots.place[j]), float(knots.height[j]), float(knots.change[j])
    noise = sight.noise(place)
    if noise is None:
        return None
    shorter = min(sight.length(knots.place[j - 1], place), sight.length(place, knots.place[j + 1]))
    probability = float((drawn.near[:, j] * np.sign(change) >= abs(change) / 2).mean())
    if standing_out(change, shorter, noise) < LEAST_VISIBLE or probability < LEAST_PROBABILITY:
        return None
    alike = drawn.change[:, j] * np.sign(change) >= abs(change) / 2
    grade = knots.grade
    return Pvi(
        chainage=place,
        elevation=height,
        grade_in=float(grade[j - 1]),
        grade_out=float(grade[j]),
        curve_length=float(knots.length[j]),
        chainage_se=_about(drawn.place[alike, j], place, PLACE_FLOOR),
        elevation_se=_about(drawn.height[alike, j], height, HEIGHT_FLOOR),
        probability=probability,
    )


def _about(values: FloatArray, fitted: float, floor: float) -> float:
    """Spread of the draws about what is fitted: their own, and how far their middle is from it."""
    if values.size == 0:
        return floor
    middle = float(np.median(values))
    own = 1.4826 * float(np.median(np.abs(values - middle)))
    return float(np.sqrt(SPREAD**2 * (own**2 + (middle - fitted) ** 2) + floor**2))
