"""Gather single cells of a raster by whole blocks, each block read once and in file order."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from profiler.ground import Ground
from profiler.units import FloatArray

Corner = tuple[int, int]


def gather(
    ground: Ground,
    row: FloatArray,
    column: FloatArray,
    corners: Sequence[Corner],
    wanted: FloatArray,
    progress: Callable[[float], None] | None = None,
) -> FloatArray:
    """Cells beside each place of a track.

    Parameters
    ----------
    ground : Ground
        Where to read.
    row, column : ndarray of int, (n,)
        A cell for each place.
    corners : sequence of (int, int)
        Steps in rows and columns from that cell to the cells wanted.
    wanted : ndarray of bool, (len(corners), n)
        Which of them are needed; each must lie inside the raster, as `onward` counts columns.
    progress : callable, optional
        Called with the share of blocks done after each block.

    Returns
    -------
    ndarray of float32, (len(corners), n)
        Elevation [m]; NaN where not wanted or without data.

    Notes
    -----
    Neighbouring places mostly lie in the same block, so a track is a few runs per block: only the
    runs are sorted, never the places.
    """
    cells = np.full((len(corners), row.size), np.nan, dtype=np.float32)
    high, wide = ground.block_shape
    runs = _runs(row, column, corners, wanted, ground)
    starts = np.flatnonzero(np.r_[True, np.diff(runs[:, 0]) != 0]) if len(runs) else np.empty(0, dtype=int)
    across = -(-ground.shape[1] // wide)
    for done, group in enumerate(_groups(runs, starts), start=1):
        top, left = group[0][0] // across * high, group[0][0] % across * wide
        width = min(wide, ground.shape[1] - left)
        block = ground.read(top, left, min(high, ground.shape[0] - top), width).ravel()
        for _, corner, first, last in group:
            down, right = corners[corner]
            place = (row[first:last] + (down - top)) * width + (onward(ground, column[first:last], right) - left)
            cells[corner, first:last] = block[place]
        if progress is not None:
            progress(done / starts.size)
    return cells


def onward(ground: Ground, column: FloatArray, right: int) -> FloatArray:
    """The column so many to the right: round the globe, where the raster meets itself."""
    beside = column + right
    return beside % ground.around if ground.around else beside


def _runs(
    row: FloatArray, column: FloatArray, corners: Sequence[Corner], wanted: FloatArray, ground: Ground
) -> FloatArray:
    """(block, corner, first place, last place + 1) of each run of places in one block, by block."""
    high, wide = ground.block_shape
    across = -(-ground.shape[1] // wide)
    found = []
    for number, (down, right) in enumerate(corners):
        block = np.where(wanted[number], (row + down) // high * across + onward(ground, column, right) // wide, -1)
        first = np.flatnonzero(np.r_[True, block[1:] != block[:-1]]) if block.size else block
        last = np.r_[first[1:], block.size][: first.size]
        run = np.column_stack([block[first], np.full(first.size, number), first, last])
        found.append(run[run[:, 0] >= 0])
    runs = np.concatenate(found)
    return runs[np.argsort(runs[:, 0], kind="stable")]


def _groups(runs: FloatArray, starts: FloatArray) -> Iterator[list[list[int]]]:
    """Runs of one block at a time, as plain integers."""
    ends = np.r_[starts[1:], len(runs)]
    for first, last in zip(starts, ends, strict=False):
        yield runs[first:last].tolist()
