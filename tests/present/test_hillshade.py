"""The shaded ground under the map."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image
from scipy import ndimage

from profiler.ground import Bounds, Relief
from profiler.present.hillshade import FLAT, MAX_PIXELS, OUTSIDE, mercator, shade
from profiler.present.palette import INK, contrast

BOUNDS = Bounds(-31.6, -38.5, -30.8, -37.9)


def relief(rows: int = 120, columns: int = 160, height: float = 1500.0) -> Relief:
    """Smooth made-up mountains."""
    field = ndimage.gaussian_filter(np.random.default_rng(1).normal(size=(rows, columns)), 5)
    return Relief(height * field / np.abs(field).max(), BOUNDS, 500.0, "invented ground")


def hex_colour(pixel: np.ndarray) -> str:
    return "#" + "".join(f"{int(band):02X}" for band in pixel)


def test_ink_reads_on_the_darkest_shade():
    """Outside: the visual language asks for 6.9 to 1 between ink text and the darkest ground."""
    pixels = shade(relief(height=9000.0)).pixels.reshape(-1, 3)
    darkest = pixels[pixels.sum(axis=1).argmin()]
    assert contrast(INK, hex_colour(darkest)) >= 6.9


def test_level_ground_has_one_shade():
    """Worked: without slope the light is the flat one, times the cool white of low ground."""
    flat = shade(Relief(np.full((30, 40), 312.0), BOUNDS, 500.0)).pixels
    assert (flat == flat[0, 0]).all()
    assert abs(int(flat[0, 0, 1]) - 0xEE * FLAT) <= 1


def test_light_falls_from_the_north_west():
    """Law: a slope that faces north-west is lighter than one that faces south-east."""
    row, column = np.mgrid[0:80, 0:80]
    ridge = 2000.0 - 30.0 * np.abs(row + column - 79)
    pixels = shade(Relief(ridge, Bounds(0.0, -0.2, 0.2, 0.0), 250.0)).pixels[..., 1].astype(float)
    rows, columns = pixels.shape
    lit, shaded = pixels[: rows // 3, : columns // 3], pixels[-rows // 3 :, -columns // 3 :]
    assert lit.mean() > shaded.mean() + 10


def test_rows_are_warped_to_mercator():
    """Law: a step at a given latitude stands in the row where Mercator puts that latitude (Snyder 1987, 7-2)."""
    bounds = Bounds(0.0, 40.0, 10.0, 70.0)
    field = np.zeros((300, 100))
    field[:150] = 60_000.0  # the edge lies at 55 degrees, half the rows
    pixels = shade(Relief(field, bounds, 11_000.0)).pixels[..., 1].astype(float).mean(axis=1)
    row = np.abs(np.diff(pixels)).argmax() + 0.5
    top, edge, bottom = (float(mercator(x)) for x in (70.0, 55.0, 40.0))
    expected = (top - edge) / (top - bottom) * pixels.size
    assert abs(row - expected) < 0.02 * pixels.size
    assert abs(row - 0.5 * pixels.size) > 0.05 * pixels.size


def test_small_voids_are_filled_and_large_ones_stay_plain():
    """Law: a hole of two cells is bridged, a missing half is not invented."""
    field = relief().elevation.copy()
    field[60:62, 30:32] = np.nan
    field[:, 100:] = np.nan
    pixels = shade(Relief(field, BOUNDS, 500.0)).pixels
    plain = (pixels == OUTSIDE).all(axis=-1)
    columns = plain.shape[1]
    assert not plain[:, : int(columns * 0.6)].any()
    assert plain[:, int(columns * 0.75) :].all()


def test_a_relief_without_any_data_is_plain():
    """Law: nothing known, nothing drawn."""
    pixels = shade(Relief(np.full((5, 6), np.nan), BOUNDS, 500.0)).pixels
    assert (pixels == OUTSIDE).all()


def test_the_picture_is_bounded_and_repeatable():
    """Law: at most four million cells, whatever comes in; the same bytes every time."""
    big = Relief(np.tile(relief().elevation, (10, 10)), Bounds(0.0, 40.0, 8.0, 46.0), 500.0)
    first = shade(big)
    assert first.pixels.shape[0] * first.pixels.shape[1] <= MAX_PIXELS
    assert first.pixels.shape[0] * first.pixels.shape[1] > 0.9 * MAX_PIXELS
    small = relief()
    assert shade(small).jpeg() == shade(small).jpeg()
    assert Image.open(io.BytesIO(shade(small).jpeg())).size == shade(small).pixels.shape[1::-1]
