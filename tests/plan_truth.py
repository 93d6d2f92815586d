"""Invented horizontal alignments whose truth is known, and how a map draws them. Nothing of them is real.

A line is laid from tangents, spirals and circles, generally northwards. Curvature is a sum of
trapezoids, so heading is exact, and places follow from it by Gauss's rule to well under a millimetre.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from pyproj import Transformer

from profiler.units import curvature_of_degree

GRID = 2.0
"""Widest spacing of the true line. [m]"""

FARTHEST = np.radians(100.0)
"""A line does not head further than about this from north, so that it ties no knots. [rad]"""

LEAST_BODY, LONGEST_BODY = 60.0, 500.0  # [m]
LEAST_DEGREE, GREATEST_DEGREE = 0.5, 10.0
COMPOUND, REVERSE, BROKEN_BACK = 0.08, 0.10, 0.08
"""Shares of the curves that have two arcs, are followed by one of the other hand at once, or of the same hand."""


class Terrain(NamedTuple):
    """Range of the degree of curve, and the longest tangent [m]."""

    flattest: float
    sharpest: float
    tangent: float


PLAINS, HILLS, MOUNTAIN = Terrain(0.5, 2.5, 2500.0), Terrain(1.0, 5.0, 1200.0), Terrain(2.5, 10.0, 500.0)
STYLES = {"mixed": (PLAINS, HILLS, MOUNTAIN), "mountain": (MOUNTAIN,), "plains": (PLAINS,)}


@dataclass(frozen=True)
class TrueCurve:
    """One circular arc with its spirals, as `profiler.route.CurveElement`: a trapezoid of curvature.

    Chainages and lengths in m, ``degree`` of the body by the 100-ft chord, + left. Arcs of one
    compound curve are of one ``group`` and overlap in the transition they share.
    """

    start: float
    end: float
    spiral_in: float
    spiral_out: float
    degree: float
    group: int

    @property
    def curvature(self) -> float:
        """Of the body, + left. [1/m]"""
        return float(curvature_of_degree(self.degree))

    @property
    def deflection(self) -> float:
        """Angle turned, + left. [rad]"""
        return self.curvature * (self.end - self.start - 0.5 * (self.spiral_in + self.spiral_out))

    @property
    def body(self) -> tuple[float, float]:
        """Chainages of the ends of the circle. [m]"""
        return self.start + self.spiral_in, self.end - self.spiral_out


@dataclass(frozen=True, eq=False)
class Plan:
    """The truth, (n,): chainage ``s`` [m], no step over 2 m; ``east``, ``north`` [m] about the middle of the line.

    ``heading`` clockwise from north, not wrapped [rad]; ``curvature`` + left [1/m]. ``elements``
    are the curves by chainage; their ends are among the chainages.
    """

    s: np.ndarray
    east: np.ndarray
    north: np.ndarray
    heading: np.ndarray
    curvature: np.ndarray
    elements: tuple[TrueCurve, ...]

    def at(self, chainage: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """East and north [m] and heading [rad] at chainages (m,) [m], as sure as on the grid."""
        i = np.clip(np.searchsorted(self.s, chainage, side="right") - 1, 0, self.s.size - 2)
        east, north = _moved(self.elements, self.s[i], chainage)
        return self.east[i] + east, self.north[i] + north, _heading(self.elements, chainage)


def plan(seed: int, *, style: str = "mixed", length: float = 60_000.0, spirals: float = 1.0) -> Plan:
    """Lay a line of a length [m]; "mixed" goes through plains, hills and mountains.

    ``spirals`` stretches every transition; at 0 there is none and curvature jumps.
    """
    curves = _laid(np.random.default_rng(seed), STYLES[style], length, spirals)
    ends = [x for c in curves for x in (c.start, *c.body, c.end)]
    s = np.sort(np.r_[np.arange(0.0, length, GRID), length, ends])
    s = s[np.r_[True, np.diff(s) > 1e-6]]
    east, north = (np.r_[0.0, np.cumsum(part)] for part in _moved(curves, s[:-1], s[1:]))
    east, north = (line - (line.min() + line.max()) / 2 for line in (east, north))
    return Plan(s, east, north, _heading(curves, s), curvature_at(curves, s), curves)


def curvature_at(curves: tuple[TrueCurve, ...], chainage: np.ndarray) -> np.ndarray:
    """Curvature of the curves together at chainages [m], + left. [1/m]"""
    total = np.zeros(np.shape(chainage))
    for c in curves:
        (up, entry), (down, leaving) = _ramps(c)
        total += c.curvature * (np.clip((chainage - up) / entry, 0, 1) - np.clip((chainage - down) / leaving, 0, 1))
    return total


def _heading(curves: tuple[TrueCurve, ...], chainage: np.ndarray) -> np.ndarray:
    """Clockwise from north, where the line begins [rad]: minus the integral of curvature, in closed form."""
    turned = np.zeros(np.shape(chainage))
    for c in curves:
        for sign, (at, ramp) in zip((1, -1), _ramps(c), strict=True):
            beyond = chainage - at
            turned += sign * c.curvature * (np.clip(beyond, 0, ramp) ** 2 / (2 * ramp) + np.maximum(beyond - ramp, 0))
    return -turned


def _ramps(curve: TrueCurve) -> tuple[tuple[float, float], tuple[float, float]]:
    """Start and length [m] of the rise and the fall of curvature; a jump is a rise over a nanometre."""
    return (curve.start, max(curve.spiral_in, 1e-9)), (curve.body[1], max(curve.spiral_out, 1e-9))


def _moved(curves: tuple[TrueCurve, ...], start: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Way east and north [m] from chainages to others a few metres on, by three-point Gauss quadrature."""
    nodes, weights = np.polynomial.legendre.leggauss(3)
    half = (end - start) / 2
    heading = _heading(curves, ((start + end) / 2)[:, None] + half[:, None] * nodes)
    return half * (np.sin(heading) @ weights), half * (np.cos(heading) @ weights)


@dataclass(frozen=True)
class _Shape:
    """One curve, of one hand, before it is placed: degrees and bodies (k,), transitions (k + 1,) [m]."""

    degrees: np.ndarray
    bodies: np.ndarray
    ramps: np.ndarray

    @property
    def length(self) -> float:
        return float(self.bodies.sum() + self.ramps.sum())

    @property
    def turn(self) -> float:
        """[rad]"""
        return float(curvature_of_degree(self.degrees) @ (self.bodies + (self.ramps[:-1] + self.ramps[1:]) / 2))

    def within(self, turn: float) -> _Shape:
        """The same with bodies so short that it turns no more [rad], or as short as they may be."""
        if self.turn <= turn:
            return self
        least = _Shape(self.degrees, np.full(self.bodies.size, LEAST_BODY), self.ramps)
        if least.turn >= turn:
            return least
        share = (turn - least.turn) / (self.turn - least.turn)
        return _Shape(self.degrees, LEAST_BODY + share * (self.bodies - LEAST_BODY), self.ramps)

    def placed(self, start: float, hand: int, group: int) -> list[TrueCurve]:
        curves = []
        for degree, body, entry, leaving in zip(
            self.degrees, self.bodies, self.ramps[:-1], self.ramps[1:], strict=True
        ):
            end = start + entry + body + leaving
            curves.append(TrueCurve(start, float(end), float(entry), float(leaving), hand * float(degree), group))
            start = float(end - leaving)
        return curves


def _shape(rng: np.random.Generator, terrain: Terrain, spirals: float) -> _Shape:
    degrees = [_log_uniform(rng, terrain.flattest, terrain.sharpest)]
    if rng.random() < COMPOUND:
        ratio = rng.choice([_log_uniform(rng, 0.5, 0.8), _log_uniform(rng, 1.25, 1.8)])  # of the radii
        second = degrees[0] / ratio
        degrees.append(second if LEAST_DEGREE <= second <= GREATEST_DEGREE else degrees[0] * ratio)
    habit = 0.3 * rng.normal()
    ends = [_spiral(degrees[i], habit + 0.1 * rng.normal()) for i in (0, -1)]
    ramps = np.array([ends[0], *rng.uniform(40.0, 80.0, len(degrees) - 1), ends[1]]) * spirals
    return _Shape(np.array(degrees), rng.uniform(LEAST_BODY, LONGEST_BODY, len(degrees)), ramps)


def _spiral(degree: float, log_ratio: float) -> float:
    return float(np.clip((60 + 14 * degree) * np.exp(log_ratio), 60, 200))


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _laid(
    rng: np.random.Generator, terrains: tuple[Terrain, ...], length: float, spirals: float
) -> tuple[TrueCurve, ...]:
    """Curves from the start to the end of a line; terrain changes every 5 to 12 km."""
    curves: list[TrueCurve] = []
    at, turned, group = 0.0, 0.0, 0
    gap, hand = rng.uniform(200, 600), 0  # a hand of 0 is free
    terrain, changes = terrains[rng.integers(len(terrains))], 0.0
    while True:
        if at >= changes:
            terrain, changes = terrains[rng.integers(len(terrains))], at + rng.uniform(5e3, 12e3)
        shape = _shape(rng, terrain, spirals)
        if hand:
            shape = shape.within(FARTHEST - hand * turned)
            if shape.turn > FARTHEST - hand * turned + 1e-9:  # no room for a curve of that hand here
                gap, hand = _log_uniform(rng, 80, terrain.tangent), 0
        shape = shape.within(FARTHEST)
        hand = hand or _hand(rng, turned, shape.turn)
        if at + gap + shape.length > length - 200:
            return tuple(curves)
        curves += shape.placed(at + gap, hand, group)
        at, turned, group = at + gap + shape.length, turned + hand * shape.turn, group + 1
        gap, hand = _what_follows(rng, terrain, hand)


def _hand(rng: np.random.Generator, turned: float, turn: float) -> int:
    """Any hand, but one that keeps the line on its way."""
    hand = int(rng.choice([-1, 1]))
    return hand if abs(turned + hand * turn) < FARTHEST else (-1 if turned > 0 else 1)


def _what_follows(rng: np.random.Generator, terrain: Terrain, hand: int) -> tuple[float, int]:
    """Tangent to the next curve [m], and its hand; 0 where it is free."""
    draw = rng.random()
    if draw < REVERSE:
        return max(rng.uniform(-30.0, 30.0), 0.0), -hand
    if draw < REVERSE + BROKEN_BACK:
        return rng.uniform(40.0, 120.0), hand
    return _log_uniform(rng, 80.0, terrain.tangent), 0


def digitise(
    line: Plan,
    rng: np.random.Generator,
    noise: float,
    *,
    drift: float = 1.0,
    drift_length: float = 800.0,
    spacing: tuple[float, float] = (5.0, 60.0),
) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (v,) as somebody would draw the line from a picture: east, north. [m]

    They stand at uniformly drawn spacings [m], the first where the line begins. Each misses by
    ``noise`` [m, s.d.] in east and in north; together they wander across the track by ``drift``
    [m, s.d.], whose correlation falls to 1/e in ``drift_length`` [m].
    """
    steps = rng.uniform(*spacing, int(line.s[-1] / spacing[0]) + 1)
    chainage = np.r_[0.0, np.cumsum(steps)]
    chainage = chainage[chainage <= line.s[-1]]
    east, north, heading = line.at(chainage)
    left = drift * _wander(rng, chainage / drift_length)
    east_noise, north_noise = noise * rng.normal(size=(2, chainage.size))
    return east - np.cos(heading) * left + east_noise, north + np.sin(heading) * left + north_noise


def _wander(rng: np.random.Generator, at: np.ndarray) -> np.ndarray:
    """A Gaussian process of unit variance and correlation exp(−|difference|)."""
    kept = np.exp(-np.diff(at))
    values = rng.normal(size=at.size)
    for i, share in enumerate(kept, start=1):
        values[i] = share * values[i - 1] + np.sqrt(1 - share**2) * values[i]
    return values


def to_degrees(
    east: np.ndarray, north: np.ndarray, longitude: float = -31.0, latitude: float = -38.0
) -> tuple[np.ndarray, np.ndarray]:
    """Longitude and latitude on WGS 84 [degree] of places [m] about a place.

    By a transverse Mercator projection: at x metres east its scale is 1 + x²/2R², 1 + 1e-5 at 28 km.
    """
    return _projection(longitude, latitude).transform(east, north, direction="INVERSE")


def to_metres(
    longitude: np.ndarray, latitude: np.ndarray, centre: tuple[float, float] = (-31.0, -38.0)
) -> tuple[np.ndarray, np.ndarray]:
    """East and north [m] of places [degree] about the same place: the inverse of `to_degrees`."""
    return _projection(*centre).transform(longitude, latitude)


def _projection(longitude: float, latitude: float) -> Transformer:
    local = f"+proj=tmerc +lat_0={latitude} +lon_0={longitude} +k=1 +ellps=WGS84"
    return Transformer.from_crs("EPSG:4326", local, always_xy=True)
