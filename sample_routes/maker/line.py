"""The invented railway itself: grades, curves, structures. Everything here is the truth of the sample.

Lengths are on the ground [m], as the program states them: the plane's scale is that of the
line's mean height, so a distance in the plane is a chainage.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cache

import numpy as np
from pyproj import Transformer
from scipy.optimize import root

from profiler.units import EARTH_RADIUS, FOOT, MILE, FloatArray, curvature_of_degree

NAME = "Farrow to Thistle Quay"
START = (-31.40, -38.10)
END = (-30.92, -38.31)
FIRST_POST = 38.0
LAST_POST = 70.6
START_FT = 383.0

PVIS = (  # post where the grade ends, grade up to there [%]
    (39.50, -0.25),
    (41.50, 0.45),
    (42.40, 0.00),
    (45.10, 0.85),
    (46.25, -0.40),
    (50.45, 1.35),
    (51.10, 0.40),
    (54.30, 1.30),
    (57.30, -1.50),
    (61.30, -2.45),
    (62.50, -1.10),
    (64.10, -1.90),
    (65.50, -0.15),
    (66.80, 0.65),
    (68.80, -0.70),
    (70.60, 0.00),
)
CREST_RATE = 0.20
SAG_RATE = 0.15
"""Change of grade in a vertical curve, per hundred feet. [%]"""

FIRST_HEADING = 5.0
CURVES = (  # post of the middle, then (degree, heading reached) of every arc in it
    # Headings are left of the straight line between the ends, in degrees. Two arcs of one hand
    # make a compound curve, two of opposite hands a reverse curve without tangent between them.
    (38.75, ((1, 18),)),
    (39.80, ((3, -14),)),
    (41.00, ((1, -26),)),
    (42.25, ((1.5, -6),)),
    (43.50, ((1, -20),)),
    (44.50, ((2, 15),)),
    (45.25, ((2, -2),)),
    (45.90, ((3, -32),)),
    (46.60, ((4, 14),)),
    (47.25, ((3, 36),)),
    (47.90, ((4, -8),)),
    (48.60, ((2, -30),)),
    (49.40, ((3, -10), (5, 32))),
    (50.10, ((6, -18),)),
    (50.58, ((4, 14),)),
    (51.20, ((2, 28),)),
    (51.80, ((2, 6),)),
    (52.52, ((6, -42), (5, 10))),
    (53.15, ((5, 48),)),
    (53.75, ((6, -8),)),
    (54.28, ((3, -35),)),
    (54.75, ((8, 38),)),
    (55.30, ((6, -22),)),
    (55.85, ((6, 20),)),
    (56.62, ((7, -40),)),
    (57.07, ((6, 15),)),
    (57.60, ((8, -45),)),
    (58.10, ((5, -5),)),
    (58.95, ((7, 70),)),
    (59.55, ((10, -72),)),
    (60.02, ((8, -20),)),
    (60.62, ((5, 25),)),
    (61.05, ((7, -28),)),
    (61.55, ((3, -12), (6, 30))),
    (62.05, ((4, -5),)),
    (62.50, ((5, 22),)),
    (63.30, ((8, -40),)),
    (64.05, ((5, -2),)),
    (64.50, ((2, 14),)),
    (65.10, ((3, -20),)),
    (65.85, ((1, -34),)),
    (66.40, ((3, -6),)),
    (67.05, ((2, 14),)),
    (68.60, ((3, -15),)),
    (69.25, ((2, 5),)),
    (70.15, ((4, 24),)),
)

SPEEDS = ((38.0, 45), (43.6, 35), (54.3, 25), (64.9, 40), (67.2, 30))
"""Post from which a limit holds, limit. [mph]"""


@dataclass(frozen=True)
class Work:
    """A tunnel or bridge between two posts; ``height`` is the hill over, or the drop under, the rail [m]."""

    kind: str
    name: str
    start_post: float
    end_post: float
    height: float

    @property
    def start(self) -> float:
        return chainage_of(self.start_post)

    @property
    def end(self) -> float:
        return chainage_of(self.end_post)


WORKS = (
    Work("bridge", "Wether Brook", 42.790, 42.810, 9.0),
    Work("tunnel", "Ombersley Tunnel", 50.850, 52.155, 84.0),
    Work("bridge", "Sallow Viaduct", 56.150, 56.411, 34.0),
    Work("tunnel", "Tunnel 2", 58.390, 58.608, 30.0),
    Work("tunnel", "", 62.755, 62.945, 27.0),
    Work("bridge", "Teasel Bridge", 63.670, 63.730, 20.0),
    Work("bridge", "Saltings Bridge", 67.790, 68.007, 13.5),
)
"""The one without a name stands in no file but the truth."""


def chainage_of(post: FloatArray | float) -> FloatArray:
    """Chainages [m] of posts: every mile of this line is a true mile."""
    return (np.asarray(post, dtype=float) - FIRST_POST) * MILE


def post_of(chainage: FloatArray | float) -> FloatArray:
    """Posts at chainages [m]."""
    return FIRST_POST + np.asarray(chainage, dtype=float) / MILE


LENGTH = float(chainage_of(LAST_POST))


@dataclass(frozen=True, eq=False)
class Grades:
    """Points of vertical intersection (n,): chainage [m], elevation [m], grade in and out, curve length [m]."""

    chainage: FloatArray
    elevation: FloatArray
    grade_in: FloatArray
    grade_out: FloatArray
    curve_length: FloatArray

    def at(self, chainage: FloatArray) -> FloatArray:
        """Rail elevation: straight grades joined by parabolas. [m]"""
        x = np.asarray(chainage, dtype=float)
        knots = np.r_[0.0, self.chainage, LENGTH]
        heights = np.r_[START_FT * FOOT, self.elevation, self._end()]
        z = np.interp(x, knots, heights)
        for at, before, after, length in zip(
            self.chainage, self.grade_in, self.grade_out, self.curve_length, strict=True
        ):
            inside = np.maximum(0.5 * length - np.abs(x - at), 0.0)
            z += (after - before) / (2 * length) * inside**2
        return z

    def grade_at(self, chainage: FloatArray) -> FloatArray:
        """Rise over run, exactly. [m/m]"""
        x = np.asarray(chainage, dtype=float)
        knots = np.ravel(
            np.column_stack([self.chainage - self.curve_length / 2, self.chainage + self.curve_length / 2])
        )
        return np.interp(x, knots, np.ravel(np.column_stack([self.grade_in, self.grade_out])))

    def _end(self) -> float:
        return float(self.elevation[-1] + self.grade_out[-1] * (LENGTH - self.chainage[-1]))


@cache
def grades() -> Grades:
    """The vertical alignment, from `PVIS`."""
    post, grade = np.array(PVIS).T
    grade = grade / 100
    chainage = chainage_of(post)
    rise = np.diff(chainage, prepend=0.0) * grade
    change = np.diff(grade) * 100
    rate = np.where(change < 0, CREST_RATE, SAG_RATE)
    length_ft = np.maximum(50 * np.round(np.abs(change) / rate * 100 / 50), 200)
    return Grades(chainage[:-1], START_FT * FOOT + np.cumsum(rise)[:-1], grade[:-1], grade[1:], length_ft * FOOT)


@dataclass(frozen=True)
class Arc:
    """One circular arc with its transitions, by chainage [m]; ``degree`` + left."""

    start: float
    end: float
    spiral_in: float
    spiral_out: float
    degree: float


@dataclass(frozen=True, eq=False)
class Alignment:
    """The line in the plane, every metre.

    ``chainage``, ``east``, ``north`` [m], ``heading`` left of east [rad], ``curvature`` + left [1/m].
    """

    chainage: FloatArray
    east: FloatArray
    north: FloatArray
    heading: FloatArray
    curvature: FloatArray
    arcs: tuple[Arc, ...]

    def place(self, chainage: FloatArray | float, left: FloatArray | float = 0.0) -> tuple[FloatArray, FloatArray]:
        """East and north [m] of places on the line, or ``left`` metres to the left of it."""
        heading = np.interp(chainage, self.chainage, self.heading)
        east = np.interp(chainage, self.chainage, self.east) - left * np.sin(heading)
        north = np.interp(chainage, self.chainage, self.north) + left * np.cos(heading)
        return east, north


def spiral_length(post: float, degree: float) -> float:
    """Length of a transition, at least 100 ft. [m]

    62 ft for every inch of superelevation (AREMA), which is what the limit asks less one inch.
    """
    speed = [limit for start, limit in SPEEDS if start <= post][-1]
    inches = 0.0007 * speed**2 * abs(degree) - 1
    return max(10 * round(62 * inches / 10), 100) * FOOT


def _arcs(stretch: float) -> tuple[Arc, ...]:
    """Arcs in order; every heading is multiplied by ``stretch``."""
    heading = FIRST_HEADING
    found: list[Arc] = []
    for post, parts in CURVES:
        turns = np.radians(np.diff([heading, *(h for _, h in parts)])) * stretch
        heading = parts[-1][1]
        signed = [float(np.sign(t)) * d for t, (d, _) in zip(turns, parts, strict=True)]
        spirals = [spiral_length(post, signed[0])]
        for a, b in itertools.pairwise(signed):
            spirals.append(spiral_length(post, b - a if a * b > 0 else max(a, b, key=abs)))
        spirals.append(spiral_length(post, signed[-1]))
        found += _place_arcs(float(chainage_of(post)), signed, turns, spirals)
    return tuple(found)


def _place_arcs(middle: float, degrees: list[float], turns: FloatArray, spirals: list[float]) -> list[Arc]:
    """Arcs of one group around its middle; compound arcs share a spiral, reverse arcs have one each."""
    arcs: list[Arc] = []
    at = 0.0
    for i, (degree, turn) in enumerate(zip(degrees, turns, strict=True)):
        into, out = spirals[i], spirals[i + 1]
        body = float(turn / curvature_of_degree(degree)) - 0.5 * (into + out)
        if body < 30 * FOOT:
            raise ValueError(f"the {degree:g} degree arc at chainage {middle:.0f} m is too short")
        shared = i > 0 and degrees[i - 1] * degree > 0
        start = at - (into if shared else 0.0)
        at = start + into + body + out
        arcs.append(Arc(start, at, into, out, degree))
    return [Arc(a.start + middle - at / 2, a.end + middle - at / 2, a.spiral_in, a.spiral_out, a.degree) for a in arcs]


def _curvature_knots(arcs: tuple[Arc, ...]) -> tuple[FloatArray, FloatArray]:
    """Piecewise linear curvature: knots by chainage [m], values [1/m]."""
    knots: list[tuple[float, float]] = [(0.0, 0.0)]
    for arc in arcs:
        k = float(curvature_of_degree(arc.degree))
        if arc.start > knots[-1][0] - 1e-6:
            knots.append((arc.start, 0.0))
        else:
            knots.pop()  # compound: the spiral runs on from the arc before
        knots += [(arc.start + arc.spiral_in, k), (arc.end - arc.spiral_out, k), (arc.end, 0.0)]
    x, k = np.array([*knots, (LENGTH, 0.0)]).T
    if (np.diff(x) < -1e-6).any():
        raise ValueError(f"curves overlap near post {post_of(x[np.diff(x).argmin()]):.2f}")
    return x, k


def _walk(first: float, stretch: float) -> Alignment:
    """The line from the origin, leaving at ``first`` [rad] before headings are counted."""
    arcs = _arcs(stretch)
    s = np.append(np.arange(0.0, LENGTH, 1.0), LENGTH)
    curvature = np.interp(s, *_curvature_knots(arcs))
    step = np.diff(s)
    turned = np.r_[0, np.cumsum(step * (curvature[1:] + curvature[:-1]) / 2)]
    heading = first + np.radians(FIRST_HEADING) * stretch + turned
    middle = (heading[1:] + heading[:-1]) / 2
    east = np.r_[0, np.cumsum(step * np.cos(middle))]
    north = np.r_[0, np.cumsum(step * np.sin(middle))]
    return Alignment(s, east, north, heading, curvature, arcs)


@cache
def plane() -> Transformer:
    """Longitude and latitude [degree] to the plane of the line [m], at the line's mean height."""
    s = np.arange(0.0, LENGTH, 10.0)
    scale = 1 + float(grades().at(s).mean()) / EARTH_RADIUS
    lon, lat = (START[0] + END[0]) / 2, (START[1] + END[1]) / 2
    crs = f"+proj=tmerc +lat_0={lat} +lon_0={lon} +k_0={scale:.9f} +ellps=WGS84 +units=m"
    return Transformer.from_crs("EPSG:4326", crs, always_xy=True)


@cache
def alignment() -> Alignment:
    """The horizontal alignment, turned and stretched so that it runs from `START` to `END`."""
    (x0, x1), (y0, y1) = plane().transform(*np.array([START, END]).T)

    def miss(unknown: FloatArray) -> list[float]:
        line = _walk(*unknown)
        return [line.east[-1] - (x1 - x0), line.north[-1] - (y1 - y0)]

    solved = root(miss, [np.arctan2(y1 - y0, x1 - x0), 1.0])
    if not solved.success:
        raise ValueError(f"the curves cannot reach the end: {solved.message}")
    line = _walk(*solved.x)
    return Alignment(line.chainage, line.east + x0, line.north + y0, line.heading, line.curvature, line.arcs)


def geographic(east: FloatArray, north: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Longitude and latitude [degree] of places in the plane [m]."""
    return plane().transform(east, north, direction="INVERSE")
