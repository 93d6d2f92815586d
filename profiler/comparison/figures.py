"""The figures by which lines are chosen: one value each, with its 95 % interval where there is one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from profiler.landmark import INTERVAL, Landmark, Landmarks
from profiler.landmarks.grades import LEAST_UNDULATION
from profiler.landmarks.turning import turning_points
from profiler.profile import Draws, Profile
from profiler.route import DIRECTIONS, CurveElement
from profiler.units import PERCENT, FloatArray, degree_of_curve

SURE = 1.96
"""Standard errors on either side of a value that make its 95 % interval."""


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One figure of a line.

    ``key`` names it: "length", "rise", "fall", "summit", "ruling_grade", "ruling_grade_compensated",
    "sustained_grade", "total_curvature", "curves", "sharpest_curve", "in_curves", "tunnels",
    "bridges", "suspected" or "elevation_se". ``direction`` says whom it concerns ("with", "against",
    "both"), as travelled. ``value``, with ``low`` and ``high`` its 95 % interval, is in ``unit``
    ("m", "%", "degree", "curves"); None where the line has no such thing, or the figure no interval.
    ``at`` is its place, ``extent`` the length it is about [m].
    """

    key: str
    unit: str
    direction: str = "both"
    train_length: float | None = None
    value: float | None = None
    low: float | None = None
    high: float | None = None
    at: float | None = None
    extent: float | None = None

    @property
    def se(self) -> float:
        """Standard error that goes with the interval, 0 where there is none."""
        return 0.0 if self.low is None or self.high is None else (self.high - self.low) / (2 * SURE)


def figures_of(profile: Profile, landmarks: Landmarks, train_lengths: tuple[float, ...]) -> tuple[Figure, ...]:
    """Every figure of a profile; ``landmarks`` are its own and hold the ruling grades of ``train_lengths`` [m]."""
    return (
        Figure(key="length", unit="m", value=profile.route.length),
        *_rise_and_fall(profile),
        _summit(profile),
        *_grades(landmarks, train_lengths),
        *_curves(profile),
        *_structures(profile, landmarks),
        Figure(key="elevation_se", unit="m", value=float(np.median(profile.elevation_se))),
    )


def _rise_and_fall(profile: Profile) -> Iterator[Figure]:
    (climbed, of_up), (dropped, of_down) = rise_and_fall(profile.chainage, profile.elevation, profile.draws)
    for direction, rise, rise_range, fall, fall_range in (
        ("with", climbed, of_up, dropped, of_down),
        ("against", dropped, of_down, climbed, of_up),
    ):
        for key, value, (low, high) in (("rise", rise, rise_range), ("fall", fall, fall_range)):
            yield Figure(key=key, unit="m", direction=direction, value=value, low=low, high=high)


Ranged = tuple[float, tuple[float, float]]
"""A value with its 95 % interval."""


def rise_and_fall(chainage: FloatArray, elevation: FloatArray, draws: Draws) -> tuple[Ranged, Ranged]:
    """Total rise and fall [m] with chainage of ``elevation`` (n,) [m], each with its 95 % interval.

    They are taken between the turning points of the estimate, and the interval from how far the draws
    spread about them. Each draw is read at the places where the estimate turns. Its own turning
    points would add its roughness to every climb; to first order a turning point that shifts changes
    nothing, the line being level there.
    """
    places = chainage[turning_points(elevation, LEAST_UNDULATION)]
    steps = np.diff(np.interp(places, chainage, elevation))
    drawn = np.diff(draws.at(places), axis=1)
    found = []
    for side in (steps > 0, steps < 0):
        total = float(np.abs(steps[side]).sum())
        found.append((total, _spread(total, _signed(drawn, steps, side))))
    return found[0], found[1]


def _signed(drawn: FloatArray, steps: FloatArray, side: FloatArray) -> FloatArray:
    """What every draw (d,) climbs, or drops, over the legs on one side. [m]"""
    total: FloatArray = (drawn[:, side] * np.sign(steps[side])).sum(axis=1)
    return total


def _spread(value: float, drawn: FloatArray) -> tuple[float, float]:
    low, high = np.percentile(drawn, INTERVAL)
    return max(min(float(low), value), 0.0), max(float(high), value)


def _summit(profile: Profile) -> Figure:
    top = int(np.argmax(profile.elevation))
    height, reach = float(profile.elevation[top]), SURE * float(profile.elevation_se[top])
    place = float(profile.chainage[top])
    return Figure(key="summit", unit="m", value=height, low=height - reach, high=height + reach, at=place)


def _grades(landmarks: Landmarks, train_lengths: tuple[float, ...]) -> Iterator[Figure]:
    for kind in ("ruling_grade", "ruling_grade_compensated"):
        for direction in DIRECTIONS:
            found = {item.train_length: item for item in landmarks.of_kind(kind, direction=direction)}
            for length in train_lengths:
                yield _of_landmark(kind, direction, found.get(length), length)
    for direction in DIRECTIONS:
        stretches = landmarks.of_kind("sustained_grade", direction=direction)
        steepest = max(stretches, key=lambda item: item.value, default=None)
        yield _of_landmark("sustained_grade", direction, steepest)


def _of_landmark(key: str, direction: str, item: Landmark | None, train_length: float | None = None) -> Figure:
    if item is None:
        return Figure(key=key, unit="%", direction=direction, train_length=train_length)
    return Figure(
        key=key,
        unit="%",
        direction=direction,
        train_length=train_length,
        value=item.value,
        low=item.low,
        high=item.high,
        at=item.at,
        extent=item.end - item.start,
    )


def _curves(profile: Profile) -> Iterator[Figure]:
    curves = profile.route.curves
    turned = float(sum(abs(c.deflection) for c in curves))
    doubt = SURE * float(np.sqrt(sum(c.deflection_se**2 for c in curves)))
    low, high = (max(turned - doubt, 0.0), turned + doubt) if doubt > 0 else (np.nan, np.nan)
    values = [None if np.isnan(x) else float(np.degrees(x)) for x in (turned, low, high)]
    yield Figure(key="total_curvature", unit="degree", value=values[0], low=values[1], high=values[2])
    yield Figure(key="curves", unit="curves", value=float(sum(_is_first_arc(c) for c in curves)))
    yield _sharpest(curves)
    share = _covered([(c.start, c.end) for c in curves]) / profile.route.length
    yield Figure(key="in_curves", unit="%", value=share / PERCENT)


def _is_first_arc(curve: CurveElement) -> bool:
    """Arcs of one compound curve ("62C.1", "62C.2") are one curve."""
    return curve.number.rpartition(".")[2] in ("1", curve.number)


def _sharpest(curves: tuple[CurveElement, ...]) -> Figure:
    if not curves:
        return Figure(key="sharpest_curve", unit="degree")
    curve = max(curves, key=lambda c: abs(c.curvature))
    k, reach = abs(curve.curvature), SURE * curve.curvature_se
    value, low, high = (float(x) for x in degree_of_curve([k, max(k - reach, 0.0), k + reach]))
    place = (curve.start + curve.end) / 2
    return Figure(key="sharpest_curve", unit="degree", value=value, low=low, high=high, at=place)


def _structures(profile: Profile, landmarks: Landmarks) -> Iterator[Figure]:
    for kind in ("tunnel", "bridge"):
        inside = [(s.start, s.end) for s in profile.route.structures if s.kind == kind]
        yield Figure(key=f"{kind}s", unit="m", value=_covered(inside))
    yield Figure(key="suspected", unit="m", value=_covered([(s.start, s.end) for s in landmarks.suspected]))


def _covered(stretches: list[tuple[float, float]]) -> float:
    """Length [m] that stretches [m] cover together, what overlaps counted once."""
    total, reached = 0.0, -np.inf
    for start, end in sorted(stretches):
        total += max(end - max(start, reached), 0.0)
        reached = max(reached, end)
    return float(total)
