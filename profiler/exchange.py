"""What formats of engineering carry of a line besides its plan: the vertical line, mileages, gradients, limits."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from profiler.grid_alignment import GridAlignment
from profiler.landmark import Landmarks
from profiler.profile import Profile
from profiler.route import Posts, Route
from profiler.wording import CAUTION, INVENTED, credit_words, datum_words

NEAR = 0.05
"""Places nearer than this are one. [m]"""


@dataclass(frozen=True)
class VerticalPoint:
    """A point where tangents meet: by ``chainage``, ``elevation`` and ``curve_length`` (0 without a curve). [m]"""

    chainage: float
    elevation: float
    curve_length: float = 0.0


@dataclass(frozen=True)
class Gradient:
    """A stretch ``start``…``end`` by chainage [m] whose grade runs evenly from ``before`` to ``after`` [m/m, + up].

    ``elevation`` [m] is that of its start. A parabola where the grades differ, else a tangent.
    """

    start: float
    end: float
    elevation: float
    before: float
    after: float

    @property
    def length(self) -> float:
        """From start to end. [m]"""
        return self.end - self.start

    @property
    def radius(self) -> float:
        """Radius at the vertex of the parabola, + on a hill, − in a valley, 0 on a tangent. [m]"""
        return self.length / (self.before - self.after) if self.before != self.after else 0.0


@dataclass(frozen=True)
class Mileage:
    """Where the railway's posts and the ground part: at ``chainage``, posts in metres ``back`` and ``ahead``. [m]"""

    chainage: float
    back: float
    ahead: float


@dataclass(frozen=True)
class SpeedStep:
    """From ``chainage`` [m] on, in one direction, ``speed`` [m/s] holds; None where no limit is known."""

    chainage: float
    speed: float | None


def has_pvis(profile: Profile) -> bool:
    """Whether the vertical line is that of PVIs seen, not one read in grade runs."""
    return profile.pvi_visible and bool(profile.pvis)


def vertical_points(profile: Profile, landmarks: Landmarks) -> tuple[VerticalPoint, ...]:
    """The vertical line, its two ends among the points: PVIs where they are seen, else ends of grade runs.

    A curve that would reach beyond the end of the line is shortened to it.
    """
    s, z = profile.chainage, profile.elevation
    start, end = float(s[0]), float(s[-1])
    if not has_pvis(profile):
        places = [run.start for run in landmarks.grade_runs if start < run.start < end]
        heights = np.interp([start, *places, end], s, z).tolist()
        return tuple(VerticalPoint(x, h) for x, h in zip([start, *places, end], heights, strict=True))
    pvis = [p for p in profile.pvis if start < p.chainage < end]
    first, last = pvis[0], pvis[-1]
    inner = [
        VerticalPoint(p.chainage, p.elevation, min(p.curve_length, 2 * (p.chainage - start), 2 * (end - p.chainage)))
        for p in pvis
    ]
    return (
        VerticalPoint(start, first.elevation - first.grade_in * (first.chainage - start)),
        *inner,
        VerticalPoint(end, last.elevation + last.grade_out * (end - last.chainage)),
    )


def on_grid(points: Sequence[VerticalPoint], grid: GridAlignment) -> tuple[VerticalPoint, ...]:
    """The same line by stations of a grid: places and lengths of curves are those of the grid, heights stay."""
    half = np.array([p.curve_length / 2 for p in points])
    at = np.array([p.chainage for p in points])
    begin, place, end = (grid.station_at(at + side * half).tolist() for side in (-1, 0, 1))
    return tuple(
        dataclasses.replace(p, chainage=x, curve_length=b - a)
        for p, a, x, b in zip(points, begin, place, end, strict=True)
    )


def tangent_grades(points: Sequence[VerticalPoint]) -> list[float]:
    """Grades of the tangents from each point to the next. [m/m]"""
    return [(b.elevation - a.elevation) / (b.chainage - a.chainage) for a, b in pairwise(points)]


def gradients(points: Sequence[VerticalPoint]) -> tuple[Gradient, ...]:
    """Tangents and parabolas of a vertical line, in order, without gap; z = z0 + g0·d + (g1 − g0)·d²/(2L)."""
    grade = tangent_grades(points)
    pieces: list[Gradient] = []
    for i, g in enumerate(grade):
        a, b = points[i], points[i + 1]
        start, end = a.chainage + a.curve_length / 2, b.chainage - b.curve_length / 2
        if end - start > NEAR:
            pieces.append(Gradient(start, end, a.elevation + g * a.curve_length / 2, g, g))
        if b.curve_length and i + 1 < len(grade):
            height = b.elevation - g * b.curve_length / 2
            pieces.append(Gradient(end, end + b.curve_length, height, g, grade[i + 1]))
    return tuple(pieces)


def mileages(posts: Posts, start: float, end: float, station: Callable[[float], float] = float) -> tuple[Mileage, ...]:
    """Where posts do not go on as the line does, between ``start`` and ``end`` [m]: equations, and posts that stand
    nearer or farther than a unit from the post before.

    The first is at ``start`` and says what post begins there. From one to the next a metre of post is a metre of
    ``station``, the length of the line at a chainage. [m]
    """
    sign = 1 if posts.rising else -1
    equations = {x: ahead for x, _, ahead in posts.equations}
    first = float(posts.at(start)) * posts.unit_m
    found = [Mileage(start, first, first)]
    for x in (x for x in dict.fromkeys(posts.chainage.tolist()) if start < x < end):
        last = found[-1]
        back = last.ahead + sign * (station(x) - station(last.chainage))
        ahead = equations.get(x, float(posts.at(x))) * posts.unit_m
        if abs(ahead - back) > NEAR:
            found.append(Mileage(x, back, ahead))
    return tuple(found)


def speed_steps(route: Route, direction: str) -> tuple[SpeedStep, ...]:
    """The lowest limit that binds every train, in order of chainage: each step holds to the next, as travelled."""
    limits = [limit for limit in route.limits if not limit.train_class]
    edges = sorted({x for limit in limits for x in (limit.start, limit.end)})
    if not edges:
        return ()
    speeds = [
        min((limit.speed for limit in limits if limit.start <= (a + b) / 2 <= limit.end), default=None)
        for a, b in pairwise(edges)
    ]
    # as travelled, a limit begins where its stretch is entered
    steps = list(zip(edges, [*speeds, None], strict=True))
    if direction == "against":
        steps = list(zip(edges, [None, *speeds], strict=True))[::-1]
    kept = [SpeedStep(*step) for i, step in enumerate(steps) if not i or step[1] != steps[i - 1][1]]
    return tuple(sorted(kept, key=lambda step: step.chainage))


def about(profile: Profile, landmarks: Landmarks) -> str:
    """What a reader of any of these files must know: whose line, from what, how sure, and the cautions."""
    source = profile.route.source
    sentences = [
        f"Estimated from {', '.join(profile.source_names) or 'elevation data'}"
        + (f" along {source}." if source else "."),
        *filter(None, [credit_words(profile.attribution, profile.licence)]),
        vertical_words(profile, landmarks),
        f"Elevations: {datum_words(profile.vertical_datum)}; standard error {np.median(profile.elevation_se):.1f} m, "
        f"at worst {np.max(profile.elevation_se):.1f} m: decimals are there for the geometry to close.",
        CAUTION,
    ]
    return " ".join([INVENTED, *sentences] if profile.invented else sentences)


def vertical_words(profile: Profile, landmarks: Landmarks) -> str:
    """Where the vertical line comes from."""
    if has_pvis(profile):
        count = len(profile.pvis)
        return (
            f"The vertical line is that of {count} vertical point{'s' * (count != 1)} of intersection seen in the data."
        )
    runs = len(landmarks.grade_runs)
    return (
        f"The vertical line is {runs} grade run{'s' * (runs != 1)}, stretches that agree with one grade: the elevation "
        "data show no vertical points of intersection, and none is claimed."
    )
