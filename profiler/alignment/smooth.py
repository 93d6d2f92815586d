"""The smoothed line is the track: chainage is measured on it and the ground is sampled on it.

The vertices are smoothed in earth-centred coordinates, so no projection stretches anything and
a line may be of any length and lie anywhere.
"""

from __future__ import annotations

import dataclasses
import functools
from dataclasses import dataclass

import numpy as np
from pyproj import CRS, Transformer
from scipy.linalg import LinAlgError, solveh_banded

from profiler.alignment.banded import normal_matrix
from profiler.alignment.parts import cut_curves, cut_places
from profiler.longitude import continuous
from profiler.route import Corner, CurveElement
from profiler.units import FloatArray

GRID = 10.0
"""Spacing of the smoothed line. [m]"""

CHORD = 100.0
"""A drawn segment longer than 2.5 of these counts as drawn straight: points are set along it. [m]"""

CUT_OFFS = (80.0, 120.0, 180.0, 250.0, 350.0, 500.0, 700.0, 1000.0)
"""Wavelengths offered to cross-validation. [m]"""

THIRD_DIFFERENCE = (-1.0, 3.0, -3.0, 1.0)


@dataclass(frozen=True, eq=False)
class SmoothedLine:
    """A line on a grid of about 10 m; arrays are (n,).

    ``distance`` from the start, geodesic on the ellipsoid [m]; ``longitude``, ``latitude`` on
    WGS 84 [degree]; ``heading`` clockwise from north [rad]; ``curvature`` + left [1/m].
    ``vertex_distance`` (v,) is where each vertex of the drawn line came to lie [m].
    ``lateral_se`` is the standard error of the line sideways [m], ``vertex_noise`` the s.d. of the
    vertices about it [m], ``cut_off`` the wavelength that was smoothed away [m].
    """

    distance: FloatArray
    longitude: FloatArray
    latitude: FloatArray
    heading: FloatArray
    curvature: FloatArray
    curvature_se: FloatArray
    lateral_se: FloatArray
    vertex_distance: FloatArray
    vertex_noise: float
    cut_off: float
    curves: tuple[CurveElement, ...] = ()
    corners: tuple[Corner, ...] = ()

    def at(self, distance: FloatArray) -> SmoothedLine:
        """The same line at other distances (m,) [m] from its start."""
        grid = earth_centred(self.longitude, self.latitude)
        position = np.column_stack([np.interp(distance, self.distance, grid[:, axis]) for axis in range(3)])
        longitude, latitude = geographic(position)
        return dataclasses.replace(
            self,
            distance=distance,
            longitude=longitude,
            latitude=latitude,
            heading=np.mod(np.interp(distance, self.distance, np.unwrap(self.heading)), 2 * np.pi),
            curvature=np.asarray(np.interp(distance, self.distance, self.curvature)),
            curvature_se=np.asarray(np.interp(distance, self.distance, self.curvature_se)),
            lateral_se=np.asarray(np.interp(distance, self.distance, self.lateral_se)),
        )

    def part(self, start: float, end: float) -> SmoothedLine:
        """The line between two distances [m], distance counted from the first of them."""
        inside = self.distance[(self.distance > start + 0.01) & (self.distance < end - 0.01)]
        line = self.at(np.r_[start, inside, end])
        return dataclasses.replace(
            line,
            distance=line.distance - start,
            vertex_distance=self.vertex_distance - start,
            curves=cut_curves(self.curves, start, end - start),
            corners=cut_places(self.corners, start, end - start),
        )


@functools.cache
def _transformer(source: str, target: str) -> Transformer:
    """Made once: places are converted one by one too, and making it takes longer than using it."""
    return Transformer.from_crs(source, target, always_xy=True)


def earth_centred(longitude: FloatArray, latitude: FloatArray) -> FloatArray:
    """Geocentric coordinates (n, 3) [m] of places on the WGS 84 ellipsoid."""
    to_geocentric = _transformer("EPSG:4979", "EPSG:4978")
    return np.column_stack(to_geocentric.transform(longitude, latitude, np.zeros(np.shape(longitude))))


def geographic(position: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Longitude, continuous along the line, and latitude [degree] of geocentric coordinates (n, 3) [m]."""
    from_geocentric = _transformer("EPSG:4978", "EPSG:4979")
    longitude, latitude, _ = from_geocentric.transform(position[:, 0], position[:, 1], position[:, 2])
    return continuous(longitude), np.asarray(latitude)


@functools.cache
def ellipsoid_axes() -> FloatArray:
    """Semi-axes (3,) of the WGS 84 ellipsoid along the geocentric axes. [m]"""
    ellipsoid = CRS("EPSG:4978").ellipsoid
    assert ellipsoid is not None
    return np.array([ellipsoid.semi_major_metre, ellipsoid.semi_major_metre, ellipsoid.semi_minor_metre])


def smooth_line(longitude: FloatArray, latitude: FloatArray) -> SmoothedLine:
    """Smooth a drawn line: least third difference, the wavelength by generalised cross-validation.

    Parameters
    ----------
    longitude, latitude : ndarray, shape (v,)
        Vertices on WGS 84, v >= 2, none repeated. [degree]

    Returns
    -------
    SmoothedLine

    Notes
    -----
    Minimises Σ|p − B u|² + λ|D³u|² on a 10 m grid with λ = (L/(10·2π))⁶ (Whittaker 1923;
    Craven and Wahba 1979 for the cross-validation, its trace by one random probe).
    """
    vertices = earth_centred(np.asarray(longitude, float), np.asarray(latitude, float))
    drawn = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(vertices, axis=0), axis=1))]
    at, points = _densified(drawn, vertices)
    size = max(int(np.ceil(drawn[-1] / GRID - 1e-9)) + 1, 5)
    grid, cut_off, noise, leverage = _best_fit(at, points, size)
    step = np.linalg.norm(np.diff(grid, axis=0), axis=1)
    along = np.r_[0.0, np.cumsum(step)]
    vertex_distance = np.asarray(np.interp(drawn, np.arange(size) * GRID, along))
    along, grid = _cut_at(along, grid, vertex_distance[-1])
    lon, lat = geographic(grid)
    heading, curvature = direction(grid, along, lon, lat)
    return SmoothedLine(
        distance=along,
        longitude=lon,
        latitude=lat,
        heading=heading,
        curvature=curvature,
        vertex_distance=vertex_distance,
        curvature_se=np.zeros(along.size),
        lateral_se=np.full(along.size, noise * np.sqrt(leverage)),
        vertex_noise=noise,
        cut_off=cut_off,
    )


def _densified(drawn: FloatArray, vertices: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Vertices with points set along long straight segments, which would sag or swing otherwise."""
    lengths = np.diff(drawn)
    extra = np.where(lengths > 2.5 * CHORD, np.floor(lengths / CHORD), 0).astype(int)
    if drawn.size == 2:
        extra = np.maximum(extra, 1)  # any parabola goes through two points, one only through three
    if not extra.any():
        return drawn, vertices
    segment = np.repeat(np.arange(lengths.size), extra)
    rank = np.arange(segment.size) - np.repeat(np.cumsum(extra) - extra, extra) + 1
    at = drawn[segment] + lengths[segment] * rank / (extra[segment] + 1)
    every = np.sort(np.r_[drawn, at])
    columns = [np.interp(every, drawn, vertices[:, axis]) for axis in range(3)]
    return every, np.column_stack(columns)


def _best_fit(at: FloatArray, points: FloatArray, size: int) -> tuple[FloatArray, float, float, float]:
    """The fit of least cross-validation score: grid (size, 3), cut-off, noise s.d., leverage."""
    origin = points.mean(axis=0)
    probe = np.random.default_rng(0).choice([-1.0, 1.0], at.size)
    index = np.clip((at / GRID).astype(int), 0, size - 2)
    share = np.clip(at / GRID - index, 0.0, 1.0)
    normal = normal_matrix(index, share, size, 3)
    targets = np.column_stack([points - origin, probe])
    right = np.zeros((size, 4))
    np.add.at(right, index, targets * (1 - share)[:, None])
    np.add.at(right, index + 1, targets * share[:, None])
    best: tuple[float, FloatArray, float, float, float] | None = None
    for cut_off in CUT_OFFS:
        fitted = _penalised(normal, right, cut_off)
        if fitted is None:
            continue
        at_points = fitted[index] * (1 - share)[:, None] + fitted[index + 1] * share[:, None]
        squares = float(((at_points[:, :3] - targets[:, :3]) ** 2).sum()) / 2
        trace = min(float(probe @ at_points[:, 3]), at.size - 1e-3)
        score = at.size * squares / (at.size - trace) ** 2
        if best is None or score < best[0]:
            sideways = _sideways_squares(at_points[:, :3] - targets[:, :3], fitted[:, :3], index)
            noise = np.sqrt(sideways / (at.size - trace))
            best = (score, fitted[:, :3], cut_off, noise, max(trace, 0.0) / at.size)
    assert best is not None  # the shortest cut-off is always well conditioned
    _, grid, cut_off, noise, leverage = best
    return grid + origin, cut_off, float(noise), leverage


def _sideways_squares(residual: FloatArray, grid: FloatArray, index: FloatArray) -> float:
    """Sum of squares of the residuals (n, 3) across the line; along it a vertex hides its error."""
    tangent = np.diff(grid, axis=0)
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1), 1e-9)[:, None]
    along = (residual * tangent[index]).sum(axis=1)
    return max(float((residual**2).sum() - (along**2).sum()), 0.0)


def _penalised(normal: FloatArray, right: FloatArray, cut_off: float) -> FloatArray | None:
    band = normal.copy()
    weight = (cut_off / GRID / (2 * np.pi)) ** 6
    rows = band.shape[1] - 3
    for a in range(4):
        for b in range(a, 4):
            band[3 - (b - a), b : b + rows] += weight * THIRD_DIFFERENCE[a] * THIRD_DIFFERENCE[b]
    try:
        solution = solveh_banded(band, right, check_finite=False)
    except LinAlgError:  # too stiff for so few vertices: a shorter wavelength serves
        return None
    return np.asarray(solution) if np.isfinite(solution).all() else None


def _cut_at(along: FloatArray, grid: FloatArray, length: float) -> tuple[FloatArray, FloatArray]:
    """The grid ends where the last vertex lies; its last step is half to one and a half of the others.

    A shorter one would divide rounding by nearly nothing: a straight line would end in a curve.
    """
    keep = along < length - GRID / 2
    last = np.array([np.interp(length, along, grid[:, axis]) for axis in range(3)])
    return np.r_[along[keep], length], np.vstack([grid[keep], last])


def direction(
    grid: FloatArray, along: FloatArray, longitude: FloatArray, latitude: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Heading and curvature of the line in the tangent plane of the ellipsoid."""
    first = np.gradient(grid, along, axis=0)
    second = np.gradient(first, along, axis=0)
    lon, lat = np.radians(longitude), np.radians(latitude)
    zero = np.zeros_like(lon)
    east = np.column_stack([-np.sin(lon), np.cos(lon), zero])
    up = np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])
    north = np.cross(up, east)
    heading = np.arctan2((first * east).sum(axis=1), (first * north).sum(axis=1))
    turn = (np.cross(first, second) * up).sum(axis=1)
    return np.mod(heading, 2 * np.pi), turn / np.maximum(np.linalg.norm(first, axis=1), 1e-9) ** 3
