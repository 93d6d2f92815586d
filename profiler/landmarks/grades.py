"""Ruling, sustained and heavy grades, total rise and fall."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.integrate import cumulative_trapezoid

from profiler.landmark import INTERVAL, Landmark, Landmarks
from profiler.landmarks.windows import reaching, steepest, union, window_means, window_starts
from profiler.profile import Profile
from profiler.route import DIRECTIONS
from profiler.units import MILE, PERCENT, FloatArray
from profiler.wording import compensation_words

HEAVY = (
    ("heavy_grade_4000_or_less", 2 * MILE, 0.02),
    ("heavy_grade_over_4000", 3 * MILE, 0.01),
)
"""Heavy grade, 49 CFR 232.407(a)(1): an average of 2 % over 2 continuous miles for trains of 4,000
trailing short tons or less, of 1 % over 3 continuous miles for heavier ones."""

AT_LEAST = 1e-9
"""Arithmetic slack with which "at least" is read. [m/m]"""

LEAST_UNDULATION = 1.0
"""Ups and downs smaller than this are left out of total rise and fall. [m]"""


@dataclass(frozen=True, eq=False)
class Climbs:
    """One direction's climb along its own chainage, for the estimate and for the draws.

    ``along`` (n,) [m] from the start of the journey; ``climb`` (n,) [m] the rise so far, curve
    compensation included where asked; ``nodes`` (k,) [m], ``draws`` (d, k) [m] the same for draws.
    """

    along: FloatArray
    climb: FloatArray
    nodes: FloatArray
    draws: FloatArray


def climbs(profile: Profile, direction: str, *, compensated: bool) -> Climbs:
    """The climb as travelled."""
    chainage = profile.chainage
    curve = np.zeros(chainage.size)
    if compensated:
        curve = cumulative_trapezoid(profile.curve_worth, chainage, initial=0)
    nodes = profile.draws.chainage
    node_curve = np.interp(nodes, chainage, curve)
    draws = profile.draws.elevation
    if direction == "with":
        return Climbs(chainage - chainage[0], profile.elevation + curve, nodes - chainage[0], draws + node_curve)
    end = chainage[-1]
    back = curve[-1] - curve
    node_back = curve[-1] - node_curve
    turned = (end - chainage, profile.elevation + back, end - nodes, draws + node_back)
    # whole rows in order: an interpolation copies a turned view anew each time
    return Climbs(*(np.ascontiguousarray(values[..., ::-1]) for values in turned))


def steepest_interval(way: Climbs, length: float, value: float) -> tuple[float, float]:
    """95 % interval [%] of the steepest mean grade over ``length`` [m], which the estimate puts at ``value``.

    Draws are rougher than the rail, so the steepest window of each reads high: that gives the
    upper end. The estimate's own steepest window was chosen among many, and the luckiest reads
    high too: the lower end is the highest point of a band under the means of all windows that
    holds for all of them at once in 97.5 % of the draws. Windows start at nodes.
    """
    nodes, z = way.nodes, way.draws
    count = int(np.searchsorted(nodes, nodes[-1] - length, side="right"))
    if count == 0:
        return value / PERCENT, value / PERCENT
    head = nodes[:count] + length
    i = np.clip(np.searchsorted(nodes, head, side="right") - 1, 0, nodes.size - 2)
    share = (head - nodes[i]) / (nodes[i + 1] - nodes[i])

    def means() -> Iterator[FloatArray]:  # a draw at a time: all of them would not fit for long lines
        for line in z:
            yield (line[i] * (1 - share) + line[i + 1] * share - line[:count]) / length

    best = np.empty(z.shape[0])
    total, squares = np.zeros(count), np.zeros(count)
    for row, mean in enumerate(means()):
        best[row] = mean.max()
        total += mean
        squares += mean**2
    middle = total / z.shape[0]
    spread = np.sqrt(np.maximum(squares / z.shape[0] - middle**2, 0.0)) + AT_LEAST
    depth = [float(((middle - mean) / spread).max()) for mean in means()]
    sure = float((middle - np.percentile(depth, INTERVAL[1]) * spread).max())
    high = float(np.percentile(best, INTERVAL[1]))
    return min(sure, value) / PERCENT, max(high, value) / PERCENT


def _widened(profile: Profile, value: float, low: float, high: float, start: float, end: float) -> tuple[float, float]:
    """The interval [%] of a compensated grade with the error of the curvature between two chainages [m].

    The draws have the error of the elevations only. That of the curvature is independent of it; it
    is taken as one error over the whole stretch, which is the most it can be.
    """
    inside = (profile.chainage >= start) & (profile.chainage <= end)
    if not inside.any():
        return low, high
    extra = 1.96 * float(profile.curve_worth_se[inside].mean()) / PERCENT
    return value - float(np.hypot(value - low, extra)), value + float(np.hypot(high - value, extra))


def _interval(values: FloatArray) -> tuple[float | None, float | None]:
    if values.size == 0:
        return None, None
    low, high = np.percentile(values, INTERVAL)
    return float(low) / PERCENT, float(high) / PERCENT


def _span(profile: Profile, direction: str, start: float, length: float) -> tuple[float, float]:
    """A stretch along the journey as chainage, lower end first. [m]"""
    chainage = profile.chainage
    if direction == "with":
        return float(chainage[0] + start), float(chainage[0] + start + length)
    return float(chainage[-1] - start - length), float(chainage[-1] - start)


def ruling_grades(profile: Profile, train_lengths: tuple[float, ...]) -> list[Landmark]:
    """The steepest mean grade over each train length [m], each direction, plain and compensated."""
    return [item for compensated in (False, True) for item in _ruling(profile, train_lengths, compensated=compensated)]


def recompensated(profile: Profile, landmarks: Landmarks) -> Landmarks:
    """The landmarks, their compensated ruling grades found anew by the curve resistance of the profile.

    Each keeps its place among them: straddles know landmarks by that.
    """
    kind = "ruling_grade_compensated"
    lengths = tuple(sorted({item.train_length for item in landmarks.of_kind(kind) if item.train_length}))
    anew = {(x.direction, x.train_length): x for x in _ruling(profile, lengths, compensated=True)}
    items = (anew[x.direction, x.train_length] if x.kind == kind else x for x in landmarks.items)
    return replace(landmarks, items=tuple(items))


def _ruling(profile: Profile, train_lengths: tuple[float, ...], *, compensated: bool) -> Iterator[Landmark]:
    model = f"with {compensation_words(profile.curve_compensation, 'us', profile.curve_resistance)}"
    for direction in DIRECTIONS:
        way = climbs(profile, direction, compensated=compensated)
        for length in train_lengths:
            best = steepest(way.along, way.climb, length)
            if best is None:
                continue
            low, high = steepest_interval(way, length, best[1])
            start, end = _span(profile, direction, best[0], length)
            if compensated:
                low, high = _widened(profile, best[1] / PERCENT, low, high, start, end)
            yield Landmark(
                kind="ruling_grade_compensated" if compensated else "ruling_grade",
                direction=direction,
                start=start,
                end=end,
                at=(start + end) / 2,
                value=best[1] / PERCENT,
                low=low,
                high=high,
                unit="%",
                train_length=length,
                note=model if compensated else "not compensated for curves",
            )


def _stretches(profile: Profile, direction: str, length: float, least: float, kind: str, note: str) -> list[Landmark]:
    """Landmarks for the union of all windows of ``length`` [m] that climb at least ``least`` [m/m]."""
    way = climbs(profile, direction, compensated=False)
    if way.along[-1] < length:
        return []
    starts = window_starts(way.along, length)
    means = window_means(way.along, way.climb, starts, length)
    found = []
    for a, b in union(reaching(starts, means, least - AT_LEAST), length):
        run = b - a
        rise = float(np.interp(b, way.along, way.climb) - np.interp(a, way.along, way.climb))
        ends = [np.interp([a, b], way.nodes, row) for row in way.draws]
        rises = np.array([e[1] - e[0] for e in ends]) / run
        nodes = way.nodes
        inside = np.unique(np.r_[a, nodes[(nodes > a) & (nodes < b - length)], b - length])
        worst = np.array([window_means(nodes, row, inside, length).max() for row in way.draws])
        low, high = _interval(rises)
        start, end = _span(profile, direction, a, run)
        found.append(
            Landmark(
                kind=kind,
                direction=direction,
                start=start,
                end=end,
                at=(start + end) / 2,
                value=rise / run / PERCENT,
                low=low,
                high=high,
                unit="%",
                probability=float((worst >= least - AT_LEAST).mean()),
                note=f"{note}; {run / 1000:.2f} km long, rises {rise:.0f} m",
            )
        )
    return found


def sustained_grades(profile: Profile, least: float, length: float) -> list[Landmark]:
    """Stretches of at least ``length`` [m] whose mean climb over it is at least ``least`` [m/m]."""
    note = f"mean of at least {least / PERCENT:g} % over every {length / 1000:g} km"
    return [
        landmark
        for direction in DIRECTIONS
        for landmark in _stretches(profile, direction, length, least, "sustained_grade", note)
    ]


def heavy_grades(profile: Profile) -> list[Landmark]:
    """Heavy grade by 49 CFR 232.407(a)(1), both tonnage classes, listed in the direction it climbs."""
    found = []
    for kind, length, least in HEAVY:
        note = f"average of at least {least / PERCENT:g} % over {length / MILE:g} continuous miles"
        for direction in DIRECTIONS:
            found += _stretches(profile, direction, length, least, kind, note)
    return found


def totals(profile: Profile, turning: FloatArray) -> list[Landmark]:
    """Total rise and fall for each direction, between the turning points (indices of stations)."""
    z = profile.elevation[turning]
    up, down = float(np.maximum(np.diff(z), 0).sum()), float(np.maximum(-np.diff(z), 0).sum())
    start, end = float(profile.chainage[0]), float(profile.chainage[-1])
    found = []
    for direction, rise, fall in (("with", up, down), ("against", down, up)):
        for kind, value in (("total_rise", rise), ("total_fall", fall)):
            found.append(
                Landmark(
                    kind=kind,
                    direction=direction,
                    start=start,
                    end=end,
                    at=(start + end) / 2,
                    value=value,
                    unit="m",
                    note=f"undulations under {LEAST_UNDULATION:g} m left out",
                )
            )
    return found
