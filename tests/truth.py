"""Seeded synthetic railways whose truth is known: a line, its rail, the ground around it, its rasters.

Made to be hard: points of intersection every 0.3–5 km, grades to 2.5 % (mountain style), vertical
curves of 0.05–0.2 % per 100 ft, cut and fill of metres over 50–300 m, canopy, bridges and tunnels
half of which nobody tells about, gaps, a line drawn every 5–60 m with noise, and rasters whose
error is correlated over hundreds of metres and whose cells average over a side slope.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter
from scipy.spatial import cKDTree

from profiler.units import FOOT

STEP = 10.0  # of the true line [m]


@dataclass(frozen=True)
class Kind:
    """A kind of ground data: cell [m], error s.d. [m] and correlation length [m], white error [m],
    share of cut and fill that it sees, and whether it sees canopy."""

    name: str
    cell: float
    sigma: float
    length: float
    white: float
    sees_track: float
    canopy: bool


LIDAR = Kind("lidar 10 m", 10.0, 0.2, 20.0, 0.05, 1.0, False)
DTM = Kind("DTM 10 m", 10.0, 0.8, 60.0, 0.1, 1.0, False)
DSM = Kind("DSM 30 m", 30.0, 2.5, 250.0, 0.3, 0.6, True)
DSM_WILD = Kind("DSM 30 m, track not in it", 30.0, 2.5, 250.0, 0.3, 0.0, True)
SECOND_DSM = Kind("second DSM 30 m", 30.0, 3.5, 90.0, 0.3, 0.6, True)


@dataclass(frozen=True)
class Work:
    """A tunnel or a bridge of the truth, by true chainage [m]; ``tagged`` if it is told."""

    kind: str
    start: float
    end: float
    tagged: bool


@dataclass(frozen=True, eq=False)
class Railway:
    """The truth at stations every 10 m (n,): place east and north [m], elevation [m], grade [m/m];
    ``pvis`` (k, 4): chainage, grade before, grade after, curve length; ``natural`` the untouched
    ground over the track [m], ``canopy`` the trees on it [m], ``slope`` its side slope [m/m]."""

    chainage: np.ndarray
    east: np.ndarray
    north: np.ndarray
    elevation: np.ndarray
    grade: np.ndarray
    pvis: np.ndarray
    works: tuple[Work, ...]
    natural: np.ndarray
    canopy: np.ndarray
    slope: np.ndarray

    def inside(self, works: tuple[Work, ...], margin: float = 0.0) -> np.ndarray:
        """Stations (n,) in any of some works, bool."""
        found = np.zeros(self.chainage.size, dtype=bool)
        for w in works:
            found |= (self.chainage >= w.start - margin) & (self.chainage <= w.end + margin)
        return found


def railway(seed: int, *, style: str = "mountain", length: float = 60_000.0, smooth: bool = False) -> Railway:
    """A railway of a style ("mixed" or "mountain"); ``smooth`` has no points of intersection."""
    rng = np.random.default_rng(seed)
    s = np.arange(0.0, length + STEP / 2, STEP)
    grade, pvis = _smooth_grade(s, rng) if smooth else _grade(s, style, rng)
    middle = 0.5 * (grade[1:] + grade[:-1])
    elevation = 800.0 + np.r_[0.0, np.cumsum(middle * STEP)]
    east, north = _plan(s, style, rng)
    works = _works(length, style, rng)
    natural = elevation + _cut_and_fill(s, rng)
    for w in works:
        u = (s - w.start) / (w.end - w.start)
        inside = (u > 0) & (u < 1)
        shape = np.zeros(s.size)
        shape[inside] = np.sin(np.pi * u[inside]) ** (0.6 if w.kind == "tunnel" else 0.5)
        size = rng.uniform(0.03, 0.09) * (w.end - w.start) + 12 if w.kind == "tunnel" else -rng.uniform(10, 60)
        rough = 1 + 0.25 * _ar(s.size, 1.0, 150.0, rng)
        natural = np.where(inside, elevation + size * shape * np.maximum(rough, 0.2), natural)
    slope = 0.25 * _ar(s.size, 1.0, 600.0, rng)
    return Railway(s, east, north, elevation, grade, pvis, works, natural, _canopy(s, rng), slope)


def _ar(size: int, sigma: float, length: float, rng: np.random.Generator) -> np.ndarray:
    """Exponentially correlated noise at stations every 10 m."""
    a = np.exp(-STEP / length)
    drive = rng.normal(size=size) * sigma * np.sqrt(1 - a * a)
    drive[0] = rng.normal() * sigma
    return lfilter([1.0], [1.0, -a], drive)


def _grade(s: np.ndarray, style: str, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    steepest, spread = (0.025, 0.014) if style == "mountain" else (0.020, 0.007)
    place, places, grades = 0.0, [], [rng.normal() * spread * 0.5]
    while place < s[-1]:
        place += float(np.exp(rng.uniform(np.log(300.0), np.log(5000.0))))
        g = grades[-1]
        while abs(g - grades[-1]) < 0.001:
            g = float(np.clip(rng.normal() * spread, -steepest, steepest))
        places.append(place)
        grades.append(g)
    rate = rng.uniform(0.0005, 0.002, len(places)) / (100 * FOOT)
    change = np.diff(grades)
    curve = np.abs(change) / rate
    room = np.diff(np.r_[0.0, places])
    curve = np.minimum(curve, 0.9 * np.minimum(room, np.r_[room[1:], 1e9]))
    grade = np.full(s.size, grades[0])
    for p, c, length in zip(places, change, curve, strict=True):
        grade += c * np.clip((s - p) / max(length, 1.0) + 0.5, 0.0, 1.0)
    kept = np.array(places) < s[-1]
    table = np.column_stack([places, grades[:-1], grades[1:], curve])[kept]
    return grade, table


def _smooth_grade(s: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """A grade that wanders and is nowhere constant, to 4.2 %."""
    white = np.cumsum(rng.normal(size=s.size))
    wave = np.fft.irfft(np.fft.rfft(white) * np.exp(-((np.arange(s.size // 2 + 1) / s.size * 300) ** 2)), s.size)
    wave -= np.linspace(wave[0], wave[-1], s.size)
    return 0.042 * wave / np.abs(wave).max(), np.zeros((0, 4))


def _plan(s: np.ndarray, style: str, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Tangents and curves with spirals, wandering about one direction."""
    curvature = np.zeros(s.size)
    place, heading = 400.0, 0.0
    while place < s[-1] - 1200:
        degree = rng.uniform(1, 8 if style == "mountain" else 4)
        hand = -np.sign(heading) if abs(heading) > 0.6 else rng.choice([-1.0, 1.0])
        k = hand * degree / 1746.4
        body, spiral = rng.uniform(80, 400), 60 + 14 * degree
        body = min(body, 0.9 / abs(k))
        knots = place + np.cumsum([0.0, spiral, body, spiral])
        curvature += np.interp(s, knots, [0, k, k, 0], left=0, right=0)
        heading += k * (body + spiral)
        place = knots[-1] + np.exp(rng.uniform(np.log(80), np.log(1500)))
    theta = np.r_[0.0, np.cumsum(0.5 * (curvature[1:] + curvature[:-1]) * STEP)]
    middle = 0.5 * (theta[1:] + theta[:-1])
    return (
        np.r_[0.0, np.cumsum(np.cos(middle) * STEP)],
        np.r_[0.0, np.cumsum(np.sin(middle) * STEP)],
    )


def _works(length: float, style: str, rng: np.random.Generator) -> tuple[Work, ...]:
    """Tunnels of 0.3–5 km and bridges of 50–400 m, every other of each told."""
    per_km = 0.10 if style == "mountain" else 0.04
    found: list[Work] = []
    taken = np.zeros(int(length / STEP) + 1, dtype=bool)
    for kind, low, high in (("tunnel", 300.0, 5000.0), ("bridge", 50.0, 400.0)):
        told = bool(rng.integers(2))
        for _ in range(max(2, rng.poisson(per_km * length / 1000))):
            run = float(np.exp(rng.uniform(np.log(low), np.log(high))))
            start = rng.uniform(1500, length - run - 1500)
            a, b = int((start - 600) / STEP), int((start + run + 600) / STEP)
            if taken[a:b].any():
                continue
            taken[a:b] = True
            found.append(Work(kind, start, start + run, told))
            told = not told
    return tuple(sorted(found, key=lambda w: w.start))


def _cut_and_fill(s: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Untouched ground minus rail on open track: humps cut through and hollows filled. [m]"""
    height = np.zeros(s.size)
    place = 0.0
    while place < s[-1]:
        run = rng.uniform(50, 300)
        size = rng.normal() * 3.0
        u = (s - place) / run
        inside = (u > 0) & (u < 1)
        height[inside] += size * np.sin(np.pi * u[inside]) ** 2
        place += run + rng.exponential(150.0)
    return height


def _canopy(s: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Trees over the track, 5–15 m, one patch in 5 km. [m]"""
    height = np.zeros(s.size)
    for _ in range(rng.poisson(s[-1] / 5000)):
        start, run = rng.uniform(0, s[-1]), rng.uniform(50, 300)
        inside = (s > start) & (s < start + run)
        height[inside] = rng.uniform(5, 15) * rng.uniform(0.6, 1.0, int(inside.sum()))
    return height


def surface(line: Railway, kind: Kind) -> np.ndarray:
    """What a perfect raster of a kind would hold over the track (n,), before cells and error. [m]"""
    works = line.inside(line.works)
    seen = np.where(works, line.natural, line.natural + kind.sees_track * (line.elevation - line.natural))
    return seen + (line.canopy if kind.canopy else 0.0)


def drawn_vertices(line: Railway, rng: np.random.Generator, noise: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """East and north (v,) [m] of vertices every 5–60 m with noise."""
    places = np.r_[0.0, np.cumsum(rng.uniform(5, 60, int(line.chainage[-1] / 20)))]
    places = places[places < line.chainage[-1]]
    return (
        np.interp(places, line.chainage, line.east) + rng.normal(size=places.size) * noise,
        np.interp(places, line.chainage, line.north) + rng.normal(size=places.size) * noise,
    )


@dataclass(frozen=True, eq=False)
class Corridor:
    """Cells of a raster near the line: a dictionary would do, this is its fast form."""

    cell: float
    origin: tuple[float, float]
    values: np.ndarray

    def at(self, east: np.ndarray, north: np.ndarray) -> np.ndarray:
        """Bilinear values (m,) [m] at places [m]; NaN where a cell is missing."""
        x = (east - self.origin[0]) / self.cell
        y = (north - self.origin[1]) / self.cell
        i, j = np.floor(x).astype(int), np.floor(y).astype(int)
        fx, fy = x - i, y - j
        v = self.values
        low = v[j, i] * (1 - fx) + v[j, i + 1] * fx
        high = v[j + 1, i] * (1 - fx) + v[j + 1, i + 1] * fx
        return low * (1 - fy) + high * fy


def corridor(line: Railway, kind: Kind, rng: np.random.Generator, *, gaps: int = 2, reach: float = 70.0) -> Corridor:
    """A raster of a kind around the line: each cell averages the sloping surface over its square.

    The error is as much correlated across the line as along it; banks and cuttings are as wide as
    their height asks, or as a cell. ``gaps`` stretches of 100–400 m hold no data.
    """
    margin = reach + 2 * kind.cell
    origin = (float(line.east.min()) - margin, float(line.north.min()) - margin)
    columns = int((line.east.max() + margin - origin[0]) / kind.cell) + 2
    rows = int((line.north.max() + margin - origin[1]) / kind.cell) + 2
    tree = cKDTree(np.column_stack([line.east, line.north]))
    near = _cells_near(line, kind.cell, origin, reach)
    # a cell is the mean of four places in it, as a surface averaged over the cell nearly is
    error = _Error(line.chainage.size, kind, margin, rng)
    total = np.zeros(len(near))
    for dx, dy in ((-0.25, -0.25), (-0.25, 0.25), (0.25, -0.25), (0.25, 0.25)):
        place = np.column_stack([origin[0] + (near[:, 1] + dx) * kind.cell, origin[1] + (near[:, 0] + dy) * kind.cell])
        _, i = tree.query(place)
        offset = _offset(line, place, i)
        total += _across(line, kind, i, offset) + line.slope[i] * offset + error.at(i, offset)
    values = np.full((rows, columns), np.nan)
    values[near[:, 0], near[:, 1]] = total / 4 + rng.normal(size=len(near)) * kind.white
    _, i = tree.query(np.column_stack([origin[0] + near[:, 1] * kind.cell, origin[1] + near[:, 0] * kind.cell]))
    for _ in range(gaps):
        start, run = rng.uniform(1000, line.chainage[-1] - 2000), rng.uniform(100, 400)
        lost = (line.chainage[i] > start) & (line.chainage[i] < start + run)
        values[near[lost, 0], near[lost, 1]] = np.nan
    return Corridor(kind.cell, origin, values)


def _across(line: Railway, kind: Kind, i: np.ndarray, offset: np.ndarray) -> np.ndarray:
    """What a raster holds (m,) at offsets from stations i: bank or cutting near the track, then untouched ground."""
    seen, natural = surface(line, kind)[i], (line.natural + (line.canopy if kind.canopy else 0.0))[i]
    half = np.maximum(8 + 1.5 * np.abs(line.elevation - line.natural)[i], 0.75 * kind.cell)
    return natural + np.clip((half - np.abs(offset)) / (kind.cell / 2) + 1, 0, 1) * (seen - natural)


class _Error:
    """Error whose correlation falls exponentially along the line and across it. [m]"""

    apart = 15.0

    def __init__(self, size: int, kind: Kind, reach: float, rng: np.random.Generator) -> None:
        self.half = int(reach / self.apart) + 2
        keep = np.exp(-self.apart / kind.length)
        self.strips = np.empty((2 * self.half + 1, size))
        self.strips[self.half] = _ar(size, kind.sigma, kind.length, rng)
        for hand in (-1, 1):
            for k in range(1, self.half + 1):
                new = np.sqrt(1 - keep**2) * _ar(size, kind.sigma, kind.length, rng)
                self.strips[self.half + hand * k] = keep * self.strips[self.half + hand * (k - 1)] + new

    def at(self, i: np.ndarray, offset: np.ndarray) -> np.ndarray:
        """Error (m,) at offsets [m] from stations i, linear between strips."""
        place = np.clip(offset / self.apart + self.half, 0, 2 * self.half - 1e-9)
        strip = place.astype(int)
        share = place - strip
        return self.strips[strip, i] * (1 - share) + self.strips[strip + 1, i] * share


def _cells_near(line: Railway, cell: float, origin: tuple[float, float], reach: float) -> np.ndarray:
    """(row, column) of every cell within reach of the line."""
    spread = np.arange(-int(reach / cell) - 1, int(reach / cell) + 2)
    column = np.round((line.east - origin[0]) / cell).astype(int)
    row = np.round((line.north - origin[1]) / cell).astype(int)
    own = np.unique(np.column_stack([row, column]), axis=0)
    box = np.array([(a, b) for a in spread for b in spread])
    return np.unique((own[:, None, :] + box[None]).reshape(-1, 2), axis=0)


def _offset(line: Railway, place: np.ndarray, i: np.ndarray) -> np.ndarray:
    """Signed distance (m,) of places from the line, + left. [m]"""
    j = np.minimum(i + 1, line.east.size - 1)
    k = np.maximum(j - 1, 0)
    de, dn = line.east[j] - line.east[k], line.north[j] - line.north[k]
    return (de * (place[:, 1] - line.north[k]) - dn * (place[:, 0] - line.east[k])) / np.hypot(de, dn)
