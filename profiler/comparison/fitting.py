"""Shift and scale of a reference's positions, fitted where something supports it and bounded where it is searched."""

from __future__ import annotations

import dataclasses
import unicodedata

import numpy as np
from scipy.optimize import least_squares, minimize
from scipy.stats import theilslopes

from profiler.alignment.places import LineIndex
from profiler.comparison.placing import Placing, axis_of, pieces_of, placed
from profiler.elevation.estimator import ELEVATION_FLOOR, GRADE_FLOOR
from profiler.errors import InputError
from profiler.profile import Profile
from profiler.reference import Reference
from profiler.route import Route
from profiler.units import FloatArray

BESIDE = 250.0
"""Coordinates further from the line are not on it. [m]"""

ENOUGH = 3
"""Places that two sources share from which on a scale can be fitted and judged."""

ROBUST = 20.0
"""Shared places that fit worse than this count for less. [m]"""

STRETCH = 0.05
"""A reference longer or shorter by more than this share is no count of this line."""

SEARCH_SHIFT, SEARCH_STRETCH = 500.0, 0.025
"""Bounds of the search by agreement: each end of the reference may move by so much [m] and this share of its length."""

LEAST_PIECES = 20
"""Fewer pieces than this do not say where they lie."""

CLEARLY = 4.0
"""A fit by agreement is believed if it moves the reference by more standard errors than this."""

WIDENED = 1.5
"""Standard errors of a fit by agreement, over what the draws say to first order: on 48 lines of made-up ground whose
truth is known the fit strayed 1.1 to 1.6 times as far."""

_FIT_MOST = 400
_GRID, _NUDGE = 50.0, 25.0  # [m]


def place_reference(reference: Reference, profile: Profile) -> Placing:
    """Place every row of a reference on a profile's line.

    Places that both know lead (coordinates, names of stations); where there are none, shift and scale
    are searched for under which the grades agree best; where nothing supports a fit, positions stand.

    Raises
    ------
    InputError
        If nothing of the reference lies on the line, or its positions are of another length altogether.
    """
    route = profile.route
    shared = _shared_places(reference, route)
    known = np.isfinite(shared)
    if not np.isfinite(reference.position).any():
        placing = Placing("places", False, shared, *np.full((2, shared.size), np.nan))
    else:
        by_posts = _by_posts(reference, route)
        both = known & np.isfinite(reference.position)
        if both.any():
            placing = _by_shared(reference, route, by_posts, shared, both)
        else:
            placing = _by_agreement(reference, profile, by_posts)
        own = known & np.isnan(reference.position)
        placing = dataclasses.replace(placing, chainage=np.where(own, shared, placing.chainage))
    _refuse_nothing(reference, route, placing)
    return placing


def elevation_at(profile: Profile, chainage: FloatArray) -> FloatArray:
    """Estimated elevation (m,) at chainages [m]. [m]"""
    return np.interp(chainage, profile.chainage, profile.elevation)


def grade_se(profile: Profile, start: FloatArray, end: FloatArray) -> FloatArray:
    """Standard error (m,) of the mean grade over pieces, from the draws, with the estimator's floors. [m/m]"""
    length = end - start
    spread = _drawn_grades(profile, start, end).std(axis=0)
    return np.maximum(spread, np.minimum(GRADE_FLOOR, np.sqrt(2) * ELEVATION_FLOOR / length))


def _drawn_grades(profile: Profile, start: FloatArray, end: FloatArray) -> FloatArray:
    """Mean grade (d, m) of every draw over pieces. [m/m]"""
    return (profile.draws.at(end) - profile.draws.at(start)) / (end - start)


def _shared_places(reference: Reference, route: Route) -> FloatArray:
    """Chainage (n,) [m] of rows by coordinates or by the name of a station of the route, NaN elsewhere."""
    found = np.full(len(reference.names), np.nan)
    stations = {plain_name(s.name): s.chainage for s in route.stations}
    for i, name in enumerate(reference.names):
        found[i] = stations.get(plain_name(name), np.nan) if name else np.nan
    places = np.flatnonzero(np.isfinite(reference.longitude) & np.isfinite(reference.latitude))
    if places.size and np.isfinite(route.longitude).all():  # a line typed from a chart lies on no map
        index = LineIndex(route.chainage, route.longitude, route.latitude)
        for i in places.tolist():
            at, off = index.nearest(float(reference.longitude[i]), float(reference.latitude[i]))
            if off <= BESIDE:
                found[i] = at
    return found


def plain_name(name: str) -> str:
    """A name without case, accents and marks, as two sources may share it: "Mérens-les-Vals", "MERENS LES VALS"."""
    bare = unicodedata.normalize("NFKD", name.casefold())
    return " ".join("".join(c if c.isalnum() else " " for c in bare if not unicodedata.combining(c)).split())


def _by_posts(reference: Reference, route: Route) -> bool:
    """Whether positions are posts: these are stated, the column does not say chainage, and the ranges meet."""
    if not route.posts.stated or reference.by_chainage:
        return False
    posts = np.sort(route.posts.at(route.chainage[[0, -1]])) * route.posts.unit_m
    low, high = np.nanmin(reference.position), np.nanmax(reference.position)
    by_chainage = _common(low, high, float(route.chainage[0]), float(route.chainage[-1]))
    return _common(low, high, float(posts[0]), float(posts[1])) >= by_chainage


def _common(a: float, b: float, low: float, high: float) -> float:
    return max(min(b, high) - max(a, low), 0.0)


def _by_shared(reference: Reference, route: Route, by_posts: bool, shared: FloatArray, both: FloatArray) -> Placing:
    """Robust least squares on the places that both know; with fewer than `ENOUGH` of them only the shift."""
    position = reference.position[both]
    axis = np.interp(shared[both], route.chainage, axis_of(route, by_posts))
    if position.size < ENOUGH or np.ptp(position) < 1000.0:
        shift = float(np.median(axis - position))
        return placed(reference, route, by_posts, shift, 1.0, "stations", shared=position.size)
    some = np.unique(np.linspace(0, position.size - 1, min(position.size, _FIT_MOST)).astype(int))
    slope, level = theilslopes(axis[some], position[some])[:2]
    middle = float(np.median(position))
    fit = least_squares(
        lambda p: p[0] + p[1] * (position - middle) / 1000 - axis,
        [level + slope * middle, 1000 * slope],
        loss="soft_l1",
        f_scale=ROBUST,
    )
    scale = float(fit.x[1]) / 1000
    if not abs(abs(scale) - 1) <= STRETCH:
        raise InputError(
            reference.source,
            f"its positions would have to be {abs(scale):.2f} × as long to fit the {position.size} places it shares "
            "with the line",
            "check the unit in the column's name",
        )
    residual = float(np.sqrt(np.mean((fit.x[0] + scale * (position - middle) - axis) ** 2)))
    shift = float(fit.x[0]) - scale * middle
    return placed(reference, route, by_posts, shift, scale, "stations", shared=position.size, residual=residual)


def _by_agreement(reference: Reference, profile: Profile, by_posts: bool) -> Placing:
    """Shift and scale under which the grades agree best, if that is clearly better than as they stand.

    Each end is moved within its bound over a grid, the best is refined.
    """
    search = _Search(reference, profile, by_posts)
    stated = placed(reference, profile.route, by_posts, 0.0, 1.0, "stated")
    if search.count < LEAST_PIECES or search.length < 1000.0:
        return stated
    reach = SEARCH_SHIFT, SEARCH_SHIFT + SEARCH_STRETCH * search.length
    grid = [np.arange(-r, r + 1, _GRID) for r in reach]
    trials = [np.array([a, b]) for a in grid[0] for b in grid[1] if abs(b - a) <= SEARCH_STRETCH * search.length]
    best = min(trials, key=search.loss)
    found = minimize(search.loss, best, method="Nelder-Mead", options={"xatol": 0.5, "fatol": 1e-3}).x
    on_edge = any(abs(x) > r - 1 for x, r in zip(found, reach, strict=True))
    if on_edge or search.loss(found) >= search.loss(np.zeros(2)):
        return stated
    spread = search.spread(found)
    if spread is None or not found @ np.linalg.solve(spread, found) > CLEARLY**2:
        return stated
    before, after = (float(np.sqrt(np.nanmean(search.misfit(ends) ** 2))) for ends in (np.zeros(2), found))
    shift_se = float(np.sqrt(spread.sum() / 4))
    return dataclasses.replace(search.moved(found), before=before, after=after, shift_se=shift_se)


class _Search:
    """Grades of a reference against the profile's while its two ends are moved, each by so many metres."""

    def __init__(self, reference: Reference, profile: Profile, by_posts: bool) -> None:
        self._reference, self._profile, self._by_posts = reference, profile, by_posts
        self._low = float(np.nanmin(reference.position))
        self.length = float(np.nanmax(reference.position)) - self._low
        item, start, end, _, stated_se = pieces_of(reference, self.moved(np.zeros(2)))
        self.count = item.size
        self._se = np.full(reference.row.size, np.nan)
        if item.size:
            self._se[item] = np.hypot(grade_se(profile, start, end), stated_se)
            self._se[np.isnan(self._se)] = np.nanmedian(self._se)

    def moved(self, ends: FloatArray) -> Placing:
        """The reference with its ends moved. [m]"""
        scale = 1 + float(ends[1] - ends[0]) / self.length
        shift = float(ends[0]) - (scale - 1) * self._low
        return placed(self._reference, self._profile.route, self._by_posts, shift, scale, "agreement")

    def misfit(self, ends: FloatArray) -> FloatArray:
        """Differences (n,) of grades in their standard errors, NaN off the line."""
        item, start, end, grade, _ = pieces_of(self._reference, self.moved(ends))
        rise = elevation_at(self._profile, end) - elevation_at(self._profile, start)
        found = np.full(self._se.size, np.nan)
        found[item] = (rise / (end - start) - grade) / self._se[item]
        return found

    def loss(self, ends: FloatArray) -> float:
        """Huber's loss at two standard errors, so that single wrong rows do not lead."""
        u = np.abs(self.misfit(ends))
        u = u[np.isfinite(u)]
        if u.size < self.count / 2:
            return np.inf
        return float(np.where(u < 2, u**2, 4 * u - 4).mean() * self.count)

    def spread(self, ends: FloatArray) -> FloatArray | None:
        """Covariance (2, 2) [m²] of the two ends: to first order what the draws do to them, None if they are free.

        Errors of neighbouring pieces hang together; only the draws know how.
        """
        item, start, end, *_ = pieces_of(self._reference, self.moved(ends))
        nudged = [self.misfit(ends + way * _NUDGE * axis) for axis in np.eye(2) for way in (1, -1)]
        slopes = np.array([nudged[0] - nudged[1], nudged[2] - nudged[3]]).T[item] / (2 * _NUDGE)
        slopes[np.isnan(slopes).any(axis=1)] = 0.0
        normal = slopes.T @ slopes
        if np.linalg.cond(normal) > 1e8:
            return None
        drawn = _drawn_grades(self._profile, start, end)
        errors = (drawn - drawn.mean(axis=0)) / self._se[item]
        worse = max(1.0, self.loss(ends) / self.count)
        return np.asarray(np.cov(np.linalg.solve(normal, slopes.T @ errors.T)) * worse * WIDENED**2)


def _refuse_nothing(reference: Reference, route: Route, placing: Placing) -> None:
    if np.isfinite(placing.chainage).any():
        return
    unit, words = reference.unit, ""
    if unit:
        low, high = (f(reference.position) / reference.unit_m for f in (np.nanmin, np.nanmax))
        ends = axis_of(route, placing.by_posts)[[0, -1]] / reference.unit_m
        counted = "by its posts" if placing.by_posts else "by chainage"
        words = (
            f": they lie from {low:.2f} to {high:.2f} {unit}, the line from {ends[0]:.2f} to {ends[1]:.2f} {counted}"
        )
    elif np.isfinite(reference.longitude).any():
        words = f": all coordinates are more than {BESIDE:.0f} m away"
    else:
        words = ": it has no station of theirs"
    raise InputError(reference.source, f"none of its {reference.row.size} rows is on the line{words}", "give its table")
