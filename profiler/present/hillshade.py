"""Elevation into a calm shaded picture in Mercator rows: the ground under the map.

Pure: the same relief gives the same bytes.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from PIL import Image
from scipy import ndimage
from scipy.interpolate import CubicSpline

from profiler.ground import Bounds, Relief
from profiler.units import EARTH_RADIUS, FloatArray

OUTSIDE = (0xEC, 0xEA, 0xE2)
"""Where nothing is known of the ground (sRGB)."""
WARM = (0xF8, 0xF4, 0xEC)
"""White of the high ground (sRGB)."""
COOL = (0xEC, 0xEE, 0xE8)
"""White of the low ground (sRGB)."""

MAX_PIXELS = 4_000_000
PIXEL_M = 40.0
"""Side of a picture cell that reads as paper relief, not as a raster. [m]"""
EXAGGERATION = 1.6
SUN_ALTITUDE = np.radians(48)  # [rad]
SUNS = ((315, 0.55), (270, 0.15), (0, 0.15), (225, 0.15))
"""Azimuth clockwise from north [degree] and weight: several suns leave no valley black."""
HAZE, CRISP = 0.55, 1.3
"""Contrast of the lowest and of the highest ground."""
LEAST_RANGE_M = 250.0
"""Height range under which low country is not stretched into mountains. [m]"""
DARKEST, LIGHTEST = 0.72, 0.995
"""Clip of the shade; at the darkest, ink text keeps 6.9 to 1."""
FLAT = 0.94
"""Shade of level ground."""
SOFT = 0.48
"""How much of the light's swing is shown: steep shadows bend towards the clip, keeping their form."""
FILL_CELLS = 12
"""Voids are filled from their neighbours this far; beyond, the ground is not known."""


@dataclass(frozen=True, eq=False)
class Shading:
    """A picture (rows, columns, 3) of uint8 sRGB, rows evenly spaced in Mercator, and its edges."""

    pixels: FloatArray
    bounds: Bounds

    def jpeg(self, quality: int = 80, most: float = np.inf) -> bytes:
        """The picture as JPEG, of ``most`` pixels if it has more, the same bytes every time."""
        image = Image.fromarray(np.ascontiguousarray(self.pixels))
        share = (most / (image.width * image.height)) ** 0.5
        if share < 1:
            image = image.resize((max(int(image.width * share), 1), max(int(image.height * share), 1)))
        return jpeg(image, quality, progressive=True)


def jpeg(image: Image.Image, quality: int, *, progressive: bool) -> bytes:
    """A picture as JPEG."""
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=quality, optimize=True, progressive=progressive)
    return buffer.getvalue()


@lru_cache(maxsize=1)
def shade(relief: Relief) -> Shading:
    """Shaded picture of a relief.

    Parameters
    ----------
    relief : Relief
        Elevation (rows, columns) [m] on a regular longitude-latitude grid, north first.

    Returns
    -------
    Shading
        At most `MAX_PIXELS` cells, over the same bounds. Ground farther than `FILL_CELLS` cells
        from any known elevation is plain `OUTSIDE`.

    Notes
    -----
    Shade is Lambert's cosine law, the unit normal of the surface times the direction to the sun
    (Horn 1981, "Hill shading and the reflectance map", Proc. IEEE 69), summed over the suns.
    """
    known = np.isfinite(relief.elevation)
    if not known.any():
        return Shading(np.full((*known.shape, 3), OUTSIDE, dtype=np.uint8), relief.bounds)
    surface, outside = _filled(relief.elevation, known)
    surface = ndimage.gaussian_filter(ndimage.median_filter(surface, size=3, mode="nearest"), 0.9)
    rows, columns, pixel_m = _raster(surface.shape, relief)
    fine = _resampled(surface, rows, columns)
    height = _height(fine)
    pixels = _tinted(_light(fine, pixel_m, height), height)
    if outside.any():
        gone = outside[np.rint(rows).astype(int)[:, None], np.rint(columns).astype(int)[None, :]]
        pixels[gone] = OUTSIDE
    return Shading(pixels, relief.bounds)


def _filled(elevation: FloatArray, known: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Voids take the nearest elevation; second, where that neighbour is too far to count."""
    if known.all():
        return elevation.astype(float), np.zeros(known.shape, dtype=bool)
    distance, nearest = ndimage.distance_transform_edt(~known, return_indices=True)
    return elevation[tuple(nearest)].astype(float), distance > FILL_CELLS


def mercator(latitude: FloatArray | float) -> FloatArray:
    """Mercator northing on the unit sphere, of latitudes [degree] (Snyder 1987, eq. 7-2)."""
    return np.arcsinh(np.tan(np.radians(np.clip(latitude, -85.0, 85.0))))


def _raster(shape: tuple[int, ...], relief: Relief) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Source rows and columns of the picture's cells, and their side on the ground by row [m]."""
    n_rows, n_columns = shape
    b = relief.bounds
    wide = np.radians(b.east - b.west)
    top, bottom = float(mercator(b.north)), float(mercator(b.south))
    ground = np.cos(np.radians((b.north + b.south) / 2)) * EARTH_RADIUS
    across = max(wide * ground / PIXEL_M, float(n_columns))
    across = min(across, np.sqrt(MAX_PIXELS * wide / (top - bottom)))
    across = max(int(across), 2)
    down = max(min(round(across * (top - bottom) / wide), MAX_PIXELS // across), 2)
    northing = top + (np.arange(down) + 0.5) / down * (bottom - top)
    latitude = np.degrees(np.arctan(np.sinh(northing)))
    rows = np.clip((b.north - latitude) / (b.north - b.south) * n_rows - 0.5, 0, n_rows - 1)
    columns = np.clip((np.arange(across) + 0.5) / across * n_columns - 0.5, 0, n_columns - 1)
    return rows, columns, wide / across * EARTH_RADIUS * np.cos(np.radians(latitude))


def _resampled(surface: FloatArray, rows: FloatArray, columns: FloatArray) -> FloatArray:
    """Cubic, one axis after the other; a picture coarser than the raster is averaged down first."""
    for axis, places in ((0, rows), (1, columns)):
        cells = surface.shape[axis]
        ratio = cells / places.size
        if ratio > 1:
            surface = ndimage.gaussian_filter1d(surface, 0.5 * ratio, axis=axis, mode="nearest")
        if cells > 1:
            surface = CubicSpline(np.arange(cells), surface, axis=axis)(places)
        else:
            surface = np.repeat(surface, places.size, axis=axis)
    return surface


def _height(fine: FloatArray) -> FloatArray:
    """0 on the low ground to 1 on the high ground of this picture."""
    low, high = np.percentile(fine[::4, ::4], (2, 98))
    return np.clip((fine - low) / max(high - low, LEAST_RANGE_M), 0, 1)


def _light(fine: FloatArray, pixel_m: FloatArray, height: FloatArray) -> FloatArray:
    """Shade of every cell, clipped."""
    south, east = np.gradient(fine * EXAGGERATION)
    south, east = south / pixel_m[:, None], east / pixel_m[:, None]
    flat = np.sin(SUN_ALTITUDE)
    toward = np.zeros_like(fine)
    for azimuth, weight in SUNS:
        a = np.radians(azimuth)
        toward += weight * (south * np.cos(a) - east * np.sin(a))
    lit = (toward * np.cos(SUN_ALTITUDE) + flat) / np.sqrt(1 + south**2 + east**2)
    contrast = HAZE + (CRISP - HAZE) * height
    swing = SOFT * (lit - flat) * contrast
    room = np.where(swing < 0, FLAT - DARKEST, LIGHTEST - FLAT)
    return np.clip(FLAT + room * np.tanh(swing / room), DARKEST, LIGHTEST)


def _tinted(light: FloatArray, height: FloatArray) -> FloatArray:
    """Warm above, cool below, shadows slightly blue: (rows, columns, 3) uint8."""
    shadow = LIGHTEST - light
    pixels = np.empty((*light.shape, 3), dtype=np.uint8)
    for band, blue in enumerate((-0.05, 0.0, 0.10)):
        white = COOL[band] + (WARM[band] - COOL[band]) * height
        pixels[..., band] = np.rint(np.clip(white * (light + blue * shadow), 0, 255))
    return pixels
