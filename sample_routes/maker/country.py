"""The country around the invented line, and how an elevation model would have seen it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CloughTocher2DInterpolator, NearestNDInterpolator, PchipInterpolator
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial import cKDTree

from profiler.units import FloatArray
from sample_routes.maker.erosion import carve, scattered
from sample_routes.maker.line import LENGTH, WORKS, alignment, chainage_of, geographic, grades, plane

SECOND = 1 / 3600
WEST, NORTH = -31.445, -38.068
COLUMNS, ROWS = 2176, 1010
"""Outer corner [degree] and size of the raster: cells of one second of arc."""

MESHES = ((320.0, 25), (120.0, 12))
"""Meshes on which water runs: spacing [m], turns."""
STEEPNESS = 11.0
BEYOND = 3000.0
"""How far the mesh goes on beyond the raster. [m]"""

RIVER = (  # post, how far the river lies left of the line [m]
    (38.0, -350),
    (40.0, -300),
    (42.2, -180),
    (42.8, 0),
    (43.5, 220),
    (46.0, 380),
    (48.0, 250),
    (50.0, 350),
    (51.5, 1000),
    (52.9, 300),
    (53.9, 120),
    (54.7, 120),
    (55.6, 260),
    (56.28, 0),
    (57.0, -280),
    (58.5, -450),
    (60.5, -420),
    (62.0, -300),
    (62.9, -380),
    (63.70, 0),
    (64.3, 220),
    (66.5, 420),
    (67.3, 250),
    (67.9, 0),
    (68.2, -260),
)
PASS = (53.95, 54.65)
"""Posts between which no river flows: the gap."""
MOUTH = 68.2

SEEN = 0.6
"""Share of cut and fill that cells of this size show on open track."""
DRY = 3.0
"""The natural ground by the track is at least so high above the sea. [m]"""
CORRELATED_SD, CORRELATION, WHITE_SD = 1.8, 200.0, 0.5
"""Error of the elevation model: two normal deviates [m] and the correlation length [m]."""
VOID_POST, VOID_AWAY, VOID_RADIUS = 57.4, 2300.0, 380.0
VOIDS_ON_LINE = (47.62, 60.86)
"""Voids: one beside the line, and a few cells on it at two posts."""


@dataclass(frozen=True, eq=False)
class Country:
    """What the raster shows (ROWS, COLUMNS) [m], NaN in voids, and the bare natural ground under it."""

    seen: FloatArray
    natural: FloatArray


def country(seed: int) -> Country:
    """The whole picture; the same seed gives the same country."""
    rng = np.random.default_rng(seed)
    east, north = _cells()
    away, nearest = _nearness(east, north)
    natural = _mountains(east, north, rng)
    wanted = _wanted_ground(rng)
    natural = _bring_to_line(natural, away, wanted)
    seen = _bench(natural, away, nearest)
    sea = (natural <= 0) & (away > 90)
    seen += _error(rng) + _canopy(natural, away, rng)
    seen = np.where(sea, 0.0, np.maximum(seen, 0.3))
    seen[_voids(east, north)] = np.nan
    return Country(seen, np.maximum(natural, 0.0))


def _cells() -> tuple[FloatArray, FloatArray]:
    """Middles of the cells in the plane [m]."""
    lon = WEST + (np.arange(COLUMNS) + 0.5) * SECOND
    lat = NORTH - (np.arange(ROWS) + 0.5) * SECOND
    return plane().transform(*np.meshgrid(lon, lat))


def _cell_size() -> tuple[float, float]:
    """North and east side of a cell in the middle of the raster. [m]"""
    lon, lat = WEST + COLUMNS / 2 * SECOND, NORTH - ROWS / 2 * SECOND
    east, north = plane().transform([lon, lon + SECOND, lon], [lat, lat, lat + SECOND])
    return north[2] - north[0], east[1] - east[0]


def _blur(field: FloatArray, length: float) -> FloatArray:
    """Gaussian of standard deviation ``length`` [m]."""
    return gaussian_filter(field, [length / side for side in _cell_size()], mode="nearest", truncate=3)


def _noise(rng: np.random.Generator, length: float) -> FloatArray:
    """Correlated deviates of unit variance on the raster; correlation falls to 1/e at ``length`` [m]."""
    field = _blur(rng.normal(size=(ROWS, COLUMNS)), length / 2)
    return field / field.std()


def _along(rng: np.random.Generator, step: float, length: float) -> FloatArray:
    """Correlated deviates of unit variance along the line, one every ``step`` [m]."""
    field = gaussian_filter(rng.normal(size=int(LENGTH / step) + 1), length / 2 / step, mode="nearest")
    return field / field.std()


def _nearness(east: FloatArray, north: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Distance to the line [m], infinite beyond 2 km, and the chainage of its nearest point [m]."""
    line = alignment()
    every = slice(None, None, 5)
    tree = cKDTree(np.column_stack([line.east[every], line.north[every]]))
    away, index = tree.query(np.column_stack([east.ravel(), north.ravel()]), distance_upper_bound=2000)
    chainage = np.append(line.chainage[every], 0.0)[index]
    return away.reshape(east.shape), chainage.reshape(east.shape)


def _rivers() -> tuple[FloatArray, FloatArray, FloatArray]:
    """East, north and height of the two rivers that leave the gap. [m]"""
    post, left = np.array(RIVER).T
    s = np.arange(0.0, chainage_of(MOUTH), 40.0)
    offset = PchipInterpolator(chainage_of(post), left)(s)
    east, north = alignment().place(s, offset)
    bed = grades().at(s) - 5 - 0.13 * np.abs(offset)
    for work in WORKS:
        if work.kind == "bridge":
            under = (s > work.start) & (s < work.end)
            bed[under] = np.minimum(bed[under], grades().at(s[under]) - work.height)
    west, downhill = s < chainage_of(PASS[0]), s > chainage_of(PASS[1])
    bed[west] = np.minimum.accumulate(bed[west][::-1])[::-1]
    bed[downhill] = np.maximum(np.minimum.accumulate(bed[downhill]), 0.0)
    away = np.arange(40.0, 12_000.0, 40.0)  # from Farrow on, the western river leaves the picture
    wide = 900 * np.sin(away / 1500)
    direction = np.radians(152)
    off_east = east[0] + away * np.cos(direction) - wide * np.sin(direction)
    off_north = north[0] + away * np.sin(direction) + wide * np.cos(direction)
    keep = west | downhill
    return (
        np.r_[east[keep], off_east],
        np.r_[north[keep], off_north],
        np.r_[bed[keep], bed[0] - 0.004 * away],
    )


def _sea_floor(east: FloatArray, north: FloatArray, rough: FloatArray) -> FloatArray:
    """Depth of the sea, falling away from a coast with bays and a harbour; negative in water, + inland [m]."""
    end_east, end_north = alignment().place(LENGTH)
    mouth = alignment().place(chainage_of(MOUTH), -500)
    coast = end_east + 420 + 0.5 * (north - end_north) + 450 * rough
    coast -= 1300 * np.exp(-(((north - end_north + 1500) / 900) ** 2))
    inland = coast - east
    bay = np.hypot(east - mouth[0], north - mouth[1] + 200) - 420 - 200 * rough
    reach = _segment_distance(east, north, mouth, (float(end_east) + 300, float(end_north) - 900)) - 380
    return 0.05 * np.minimum(np.minimum(inland, bay), reach)


def _segment_distance(
    east: FloatArray, north: FloatArray, a: tuple[FloatArray, FloatArray], b: tuple[float, float]
) -> FloatArray:
    """Distance from the straight between two places. [m]"""
    dx, dy = b[0] - float(a[0]), b[1] - float(a[1])
    share = np.clip(((east - a[0]) * dx + (north - a[1]) * dy) / (dx * dx + dy * dy), 0, 1)
    return np.hypot(east - a[0] - share * dx, north - a[1] - share * dy)


def _mountains(east: FloatArray, north: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Natural ground on the raster, the sea below zero. [m]"""
    x = (east.min() - BEYOND, east.max() + BEYOND)
    y = (north.min() - BEYOND, north.max() + BEYOND)
    waves = _waves(rng)
    z, before = np.zeros(0), None
    for spacing, rounds in MESHES:
        mesh = scattered(x, y, spacing, rng)
        if before is None:
            z = rng.uniform(200, 300, len(mesh.points))
        else:
            z = NearestNDInterpolator(before.points, z)(mesh.points) + rng.normal(size=len(mesh.points))
        base, steepness, floor = _conditions(mesh.points, x, y, waves)
        z, before = carve(mesh, z, base, steepness, rounds), mesh
    z = np.where(base == 0, np.clip(floor, -12.0, 0.0), mesh.smoothed(z, 0.5))
    ground = CloughTocher2DInterpolator(mesh.points, z)(east, north)
    return ground + _detail(ground, rng)


def _waves(rng: np.random.Generator) -> FloatArray:
    """Directions, wave numbers [1/m] and phases of a broad random field (64, 3)."""
    number = 2 * np.pi / np.exp(rng.uniform(np.log(2200), np.log(11000), 64))
    turn = rng.uniform(0, 2 * np.pi, 64)
    return np.column_stack([number * np.cos(turn), number * np.sin(turn), rng.uniform(0, 2 * np.pi, 64)])


def _broad(points: FloatArray, waves: FloatArray) -> FloatArray:
    """A smooth random field of unit variance at points (n, 2)."""
    phase = points @ waves[:, :2].T + waves[:, 2]
    return np.cos(phase).sum(axis=1) / np.sqrt(len(waves) / 2)


def _conditions(
    points: FloatArray, x: tuple[float, float], y: tuple[float, float], waves: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Outlets (NaN on free land), steepness and sea floor at the points of a mesh."""
    east, north = points.T
    base = np.full(east.shape, np.nan)
    rim = np.minimum.reduce([east - x[0], x[1] - east, north - y[0], y[1] - north]) < 250
    base[rim] = np.interp(east[rim], x, [80.0, 0.0])
    river_east, river_north, bed = _rivers()
    _, index = cKDTree(points).query(np.column_stack([river_east, river_north]))
    lowest = np.full(base.shape, np.inf)
    np.minimum.at(lowest, index, bed)
    base[index] = lowest[index]
    line = alignment()
    away, _ = cKDTree(np.column_stack([line.east[::20], line.north[::20]])).query(points)
    rough = _broad(points, waves)
    floor = _sea_floor(east, north, rough)
    sea = (floor < 0) & (away > 130)
    base[sea] = 0.0
    coastal = 1 - 0.6 * np.exp(-np.maximum(floor, 0) / 0.05 / 5000)
    valley = 1 - 0.65 * np.exp(-((away / 800) ** 2))
    gap_east, gap_north = alignment().place(chainage_of(54.3))
    across = (east - gap_east) * np.cos(np.radians(-20)) + (north - gap_north) * np.sin(np.radians(-20))
    chain = 0.75 + 0.7 * np.exp(-((across / 9000) ** 2))
    return base, STEEPNESS * coastal * valley * chain * np.exp(0.22 * _broad(points, waves[:, [1, 0, 2]])), floor


def _detail(ground: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Gullies and knolls too small for the mesh, larger where the country is steep. [m]"""
    rugged = np.hypot(*np.gradient(_blur(ground, 150), *_cell_size()))
    rough = 3.4 * _noise(rng, 260) + 1.7 * _noise(rng, 120) + 0.9 * _noise(rng, 60)
    return rough * np.clip(rugged / 0.25, 0.12, 1.6)


def _wanted_ground(rng: np.random.Generator) -> FloatArray:
    """Natural ground less rail every 10 m along the line [m]: small cuts and fills, hills, valleys."""
    s = np.arange(0.0, LENGTH, 10.0)
    wanted = 3.6 * _along(rng, 10, 260) + 1.2 * _along(rng, 10, 70)
    wanted = np.maximum(wanted, DRY - grades().at(s))
    knobs = 1 + 0.06 * _along(rng, 10, 220)
    for work in WORKS:
        share = np.clip((s - work.start) / (work.end - work.start), 0, 1)
        shape = np.sin(np.pi * share) ** 0.75
        outside = np.maximum(np.maximum(work.start - s, s - work.end), 0)
        calm = np.exp(-((outside / 90) ** 2))
        if work.kind == "tunnel":
            hill = 9 + (work.height - 9) * shape * knobs
            wanted = wanted * (1 - calm) + hill * calm
        else:
            drop = -min(4.0, work.height / 3) - (work.height - min(4.0, work.height / 3)) * shape
            wanted = wanted * (1 - calm) + drop * calm
    return wanted


def _bring_to_line(natural: FloatArray, away: FloatArray, wanted: FloatArray) -> FloatArray:
    """Natural ground shifted, smoothly and most where the line runs, to what the line needs. [m]"""
    s = np.arange(0.0, LENGTH, 10.0)
    target = grades().at(s) + wanted
    line_at = _raster_places(*alignment().place(s))
    cells = tuple(np.round(c).astype(int) for c in line_at)
    ground = natural
    for length in (500.0, 220.0, 90.0, 40.0, 40.0, 25.0):
        lack = target - map_coordinates(ground, line_at, order=1)
        sums, count = np.zeros(ground.shape), np.zeros(ground.shape)
        np.add.at(sums, cells, lack)
        np.add.at(count, cells, 1.0)
        spread = _blur(sums, length) / np.maximum(_blur(count, length), 1e-9)
        fade = np.exp(-0.5 * (np.minimum(away, 2000) / (2.2 * length)) ** 2)
        ground = ground + spread * fade
    return ground


def _raster_places(east: FloatArray, north: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Fractional row and column of places in the plane."""
    lon, lat = geographic(east, north)
    return (NORTH - lat) / SECOND - 0.5, (lon - WEST) / SECOND - 0.5


def _bench(natural: FloatArray, away: FloatArray, nearest: FloatArray) -> FloatArray:
    """Ground with the railway's cuts and fills as far as cells of this size show them. [m]"""
    rail = grades().at(nearest)
    share = SEEN * np.clip((55 - away) / 30, 0, 1)
    for work in WORKS:
        share = np.where((nearest > work.start) & (nearest < work.end), 0.0, share)
    return natural + share * (rail - natural)


def _error(rng: np.random.Generator) -> FloatArray:
    """Error of the elevation model: correlated and white. [m]"""
    return CORRELATED_SD * _noise(rng, CORRELATION) + WHITE_SD * rng.normal(size=(ROWS, COLUMNS))


def _canopy(natural: FloatArray, away: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Trees that the elevation model takes for ground, in patches up to a tree line; thin on the track. [m]"""
    patches = np.clip(1.6 * (_noise(rng, 700) + 0.5 * _noise(rng, 150) - 0.75), 0, 1)
    grown = np.clip((430 - natural) / 80, 0, 1) * np.clip((natural - 3) / 10, 0, 1)
    return patches * grown * 5.0 * np.where(away < 30, 0.35, 1.0)


def _voids(east: FloatArray, north: FloatArray) -> FloatArray:
    """Cells without data."""
    x, y = alignment().place(chainage_of(VOID_POST), -VOID_AWAY)
    angle = np.arctan2(north - y, east - x)
    wobble = 1 + 0.25 * np.sin(3 * angle + 1) + 0.15 * np.sin(7 * angle)
    void = np.hypot(east - x, north - y) < VOID_RADIUS * wobble
    for post in VOIDS_ON_LINE:
        x, y = alignment().place(chainage_of(post))
        void |= np.hypot((east - x) / 75, (north - y) / 55) < 1
    return void
