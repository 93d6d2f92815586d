"""Ground for the picture under the map: a mosaic on a regular grid, decimated."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from profiler.errors import InputError
from profiler.ground import Bounds, Ground, GroundSource, Relief
from profiler.units import EARTH_RADIUS, FloatArray

_DEGREE_M = math.radians(1) * EARTH_RADIUS


def read_relief(sources: Sequence[GroundSource], bounds: Bounds, *, max_cells: int = 1_000_000) -> Relief:
    """Mosaic of all sources over ``bounds``, the first one that has data winning.

    Cells are about square on the ground, never finer than the finest raster there and at most
    ``max_cells`` in number. Heights are as the sources have them: where these stand on different
    datums there is a step, which is fine for a picture and for nothing else.

    Raises
    ------
    InputError
        ``bounds`` hold no area.
    """
    if not (bounds.west < bounds.east and bounds.south < bounds.north):
        raise InputError("relief", "the bounds hold no area", "give west < east and south < north")
    tiles = [tile for source in sources for tile in source.tiles if tile.bounds.turns_to(bounds)]
    rows, columns = _grid(tiles, bounds, max_cells)
    elevation = np.full((rows, columns), np.nan, dtype=np.float32)
    for tile in tiles:
        for turns in tile.bounds.turns_to(bounds):
            _fill(elevation, tile, bounds.turned(-turns))
    used = [source.name for source in sources if any(t.bounds.turns_to(bounds) for t in source.tiles)]
    cell_m = (bounds.north - bounds.south) * _DEGREE_M / rows
    return Relief(elevation=elevation, bounds=bounds, cell_m=cell_m, name=", ".join(used))


def _grid(tiles: Sequence[Ground], bounds: Bounds, max_cells: int) -> tuple[int, int]:
    """Rows and columns of about square cells."""
    high = (bounds.north - bounds.south) * _DEGREE_M
    middle = math.radians((bounds.north + bounds.south) / 2)
    wide = (bounds.east - bounds.west) * _DEGREE_M * math.cos(middle)
    finest = min((tile.cell_m for tile in tiles), default=math.inf)
    cell = max(finest, math.sqrt(high * wide / max_cells))
    rows, columns = max(1, math.floor(high / cell)), max(1, math.floor(wide / cell))
    return rows, min(columns, max(1, max_cells // rows))


def _fill(elevation: FloatArray, tile: Ground, bounds: Bounds) -> None:
    """Put a tile's overview where the mosaic is still empty, looking only at the tile's part;
    ``bounds`` are the mosaic's by the turns of the tile's longitudes."""
    rows, columns = elevation.shape
    high, wide = (bounds.north - bounds.south) / rows, (bounds.east - bounds.west) / columns
    top = max(0, math.floor((bounds.north - tile.bounds.north) / high))
    bottom = min(rows, math.ceil((bounds.north - tile.bounds.south) / high))
    left = max(0, math.floor((tile.bounds.west - bounds.west) / wide))
    right = min(columns, math.ceil((tile.bounds.east - bounds.west) / wide))
    part = elevation[top:bottom, left:right]
    empty = np.isnan(part)
    if not empty.any():
        return
    window = Bounds(
        west=bounds.west + left * wide,
        south=bounds.north - bottom * high,
        east=bounds.west + right * wide,
        north=bounds.north - top * high,
    )
    part[empty] = tile.overview(window, bottom - top, right - left)[empty]
