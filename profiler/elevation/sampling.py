"""What the rasters say along a line: every source at every station."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from profiler.elevation.blocks import gather, onward
from profiler.elevation.shoulders import beside, chosen, mean_of_sides, offsets
from profiler.errors import InputError
from profiler.ground import Ground, GroundSource
from profiler.longitude import toward, wrapped
from profiler.units import FloatArray

Progress = Callable[[float], None]

LOWEST, HIGHEST = -500.0, 9000.0
"""Elevations outside are no ground [m]: mostly another unit than stated."""

NO_UNIT = 1e7
"""Beyond this no unit makes it ground, not even the millimetre: a void that nobody declared."""

LEAST_WEIGHT = 0.5
"""A station counts only where the cells that have data carry at least this share of the weight."""

_WHOLE = 1 - 1e-6
_ON_CENTRE = 1e-6
_STRETCH = 2048
_BILINEAR = ((0, 0), (0, 1), (1, 0), (1, 1))
_CUBIC = tuple((down, right) for down in range(-1, 3) for right in range(-1, 3))
_INNER = [_CUBIC.index(corner) for corner in _BILINEAR]


@dataclass(frozen=True, eq=False)
class GroundSamples:
    """Ground at n stations from m sources, in order of preference.

    ``values`` (m, n) [m] are NaN where a source has no data; ``names``, ``cell_m`` [m] (the coarsest
    raster the line touches) and ``vertical_datum`` belong to the sources. ``shoulders`` (m, 2, n) [m]
    is the mean of the ground left and right of the line, near and far (see
    `profiler.elevation.shoulders.offsets`), NaN where either side has no data; None where it was not
    asked for.
    """

    values: FloatArray
    names: tuple[str, ...]
    cell_m: tuple[float, ...]
    vertical_datum: tuple[str, ...]
    shoulders: FloatArray | None = None

    def preferred(self) -> tuple[FloatArray, npt.NDArray[np.int16]]:
        """Ground (n,) [m] of the first source that has it, and that source's number (−1: none)."""
        ground = np.full(self.values.shape[1], np.nan)
        source = np.full(self.values.shape[1], -1, dtype=np.int16)
        for number, values in enumerate(self.values):
            new = (source < 0) & np.isfinite(values)
            ground[new], source[new] = values[new], number
        return ground, source

    def part(self, first: int, last: int) -> GroundSamples:
        """What was sampled from one station to another, both included."""
        kept = slice(first, last + 1)
        beside_it = None if self.shoulders is None else self.shoulders[..., kept]
        return replace(self, values=self.values[:, kept], shoulders=beside_it)


def sample(
    sources: Sequence[GroundSource],
    longitude: FloatArray,
    latitude: FloatArray,
    *,
    heading: FloatArray | None = None,
    method: str = "bilinear",
    progress: Progress | None = None,
) -> GroundSamples:
    """Ground at each station from each source.

    Parameters
    ----------
    sources : sequence of GroundSource
        In order of preference.
    longitude, latitude : ndarray, (n,)
        Stations on WGS 84, neighbours near each other. [degree]
    heading : ndarray, (n,), optional
        Clockwise from north; with it the ground left and right of the line is sampled too, in the
        same pass over the rasters. [rad]
    method : {"bilinear", "cubic"}
        Cubic convolution falls back to bilinear beside voids and edges.
    progress : callable, optional
        Called with the share done, 0 to 1.

    Returns
    -------
    GroundSamples

    Raises
    ------
    InputError
        An elevation on the line is outside −500…9,000 m (one that only lies beside it is taken as no
        data); or the method is unknown.

    Notes
    -----
    Weights of void cells drop out and the rest is scaled up, as long as it carries half of the
    weight. Up to half a cell outside the outermost centres the edge cells count alone, unless
    another tile of the same source lies there: tiles of one lattice that adjoin without overlap are
    interpolated across the seam as if they were one raster, and in general a tile fills the weight
    that earlier ones leave. A raster that goes all round the globe adjoins itself. Tiles that have all
    the cells the method asks for around a station go before those that have only some.

    The cubic weights are those of R. Keys, "Cubic convolution interpolation for digital image
    processing", IEEE Trans. ASSP 29(6), 1981, with a = −1/2.
    """
    if method not in ("bilinear", "cubic"):
        raise InputError("interpolation", f"method “{method}” is not known", "choose bilinear or cubic")
    longitude, latitude = np.asarray(longitude, dtype=float), np.asarray(latitude, dtype=float)
    found = [
        _sample_source(source, longitude, latitude, heading, method == "cubic", _part(progress, number, len(sources)))
        for number, source in enumerate(sources)
    ]
    size = longitude.size
    sides = np.array([shoulders for _, shoulders, _ in found]).reshape(len(found), 2, size)
    return GroundSamples(
        values=np.array([values for values, _, _ in found]).reshape(len(found), size),
        names=tuple(source.name for source in sources),
        cell_m=tuple(cell_m for _, _, cell_m in found),
        vertical_datum=tuple(source.vertical_datum for source in sources),
        shoulders=None if heading is None else sides,
    )


@dataclass(frozen=True, eq=False)
class _Visit:
    """Stations (by position) that lie on a tile or up to a cell beside it, and where.

    ``rank`` is 2 with all the cells of a cubic around, 1 with those of a bilinear, else 0.
    """

    tile: Ground
    station: FloatArray
    row: FloatArray
    column: FloatArray
    rank: FloatArray


_PLACES = ("station", "row", "column", "rank")


def _sample_source(
    source: GroundSource,
    longitude: FloatArray,
    latitude: FloatArray,
    heading: FloatArray | None,
    cubic: bool,
    progress: Progress | None,
) -> tuple[FloatArray, FloatArray, float]:
    """Values (n,) and shoulders (2, n) of one source, and the side of its coarsest cells."""
    n, most = longitude.size, 2 if cubic else 1
    visits = _visits(source.tiles, longitude, latitude, most)
    touched = [visit.tile for visit in visits] or list(source.tiles)
    cell_m = max((tile.cell_m for tile in touched), default=float("nan"))
    if heading is None or not visits:
        return _values(visits, longitude, latitude, n, cubic, progress), np.full((2, n), np.nan), cell_m
    at = chosen(longitude, latitude)
    sides = beside(longitude[at], latitude[at], np.asarray(heading, dtype=float)[at], offsets(cell_m))
    x, y = (_there_and_back(side).ravel() for side in sides)
    visits = _joined(source.tiles, visits, _visits(source.tiles, x, y, most), n)
    values = _values(visits, np.r_[longitude, x], np.r_[latitude, y], n, cubic, progress)
    rows = _there_and_back(values[n:].reshape(-1, at.size))
    return values[:n], mean_of_sides(rows, at, n), cell_m


def _there_and_back(rows: FloatArray) -> FloatArray:
    """Every other row turned round, so that one after the other they are a line without a leap."""
    turned = rows.copy()
    turned[1::2] = rows[1::2, ::-1]
    return turned


def _joined(tiles: Sequence[Ground], first: list[_Visit], second: list[_Visit], shift: int) -> list[_Visit]:
    """Visits of two lines as those of one line, the stations of the second ``shift`` further on."""
    shifted = [replace(visit, station=visit.station + shift) for visit in second]
    by_tile: dict[int, list[_Visit]] = {id(tile): [] for tile in tiles}
    for visit in (*first, *shifted):
        by_tile[id(visit.tile)].append(visit)
    return [
        _Visit(own[0].tile, *(np.concatenate([getattr(v, name) for v in own]) for name in _PLACES))
        for own in by_tile.values()
        if own
    ]


def _values(
    visits: list[_Visit],
    longitude: FloatArray,
    latitude: FloatArray,
    line: int,
    cubic: bool,
    progress: Progress | None,
) -> FloatArray:
    """Value at each place; the first ``line`` of them are on the line itself."""
    n = longitude.size
    total, weight, inside = np.zeros(n), np.zeros(n), np.zeros(n)
    on, best = np.zeros(n, dtype=bool), np.zeros(n, dtype=np.int8)
    for visit in visits:
        on[visit.station[_within(visit.tile, visit.row, visit.column, 0.5)]] = True
        best[visit.station] = np.maximum(best[visit.station], visit.rank)
    for number, visit in enumerate(visits):
        index = visit.station
        need = on[index] & (weight[index] < _WHOLE) & (visit.rank >= best[index])
        if not need.any():
            continue
        index = index[need]
        value, valid, present = _tile_values(
            visit, need, cubic, _part(progress, number, len(visits)), (longitude[:line], latitude[:line])
        )
        share = np.minimum(valid, 1 - weight[index])
        total[index] += share * value
        weight[index] += share
        inside[index] += present
    enough = on & (weight > 0) & (weight >= LEAST_WEIGHT * np.minimum(inside, 1))
    values = np.full(n, np.nan)
    values[enough] = total[enough] / weight[enough]
    return values


def _visits(tiles: Sequence[Ground], longitude: FloatArray, latitude: FloatArray, most: int) -> list[_Visit]:
    """Which stations each tile concerns; tiles the line does not come near cost next to nothing."""
    starts = np.arange(0, longitude.size, _STRETCH)
    if not starts.size:
        return []
    west, east = (f.reduceat(longitude, starts) for f in (np.fmin, np.fmax))
    south, north = (f.reduceat(latitude, starts) for f in (np.fmin, np.fmax))
    visits = []
    for tile in tiles:
        box = tile.bounds
        middle = (box.west + box.east) / 2
        turn = toward(west, middle) - west
        near = (west + turn <= box.east) & (east + turn >= box.west) & (south <= box.north) & (north >= box.south)
        if not near.any():
            continue
        station = np.flatnonzero(np.repeat(near, _STRETCH)[: longitude.size])
        x, y = toward(longitude[station], middle), latitude[station]
        station = station[(x >= box.west) & (x <= box.east) & (y >= box.south) & (y <= box.north)]
        row, column = tile.cells(longitude[station], latitude[station])
        rows, columns = tile.shape
        keep = (row > -1) & (row < rows) & (column > -1) & (column < columns)
        if keep.any():
            row, column = row[keep], column[keep]
            rank = np.zeros(row.size, dtype=np.int8)
            for margin in range(most):
                rank += _within(tile, row, column, -margin)
            visits.append(_Visit(tile, station[keep], row, column, rank))
    return visits


def _within(tile: Ground, row: FloatArray, column: FloatArray, margin: float) -> FloatArray:
    """Places at most ``margin`` cells outside the outermost centres, inside them if negative."""
    rows, columns = tile.shape
    out = margin + _ON_CENTRE
    down = (row >= -out) & (row <= rows - 1 + out)
    return down & ((tile.around > 0) | ((column >= -out) & (column <= columns - 1 + out)))


def _tile_values(
    visit: _Visit,
    need: FloatArray,
    cubic: bool,
    progress: Progress | None,
    line: tuple[FloatArray, FloatArray],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Value, weight of the cells with data, and weight of the cells in the raster, per station."""
    tile, row, column = visit.tile, visit.row[need], visit.column[need]
    top, left = np.floor(row).astype(np.int64), np.floor(column).astype(np.int64)
    down, right = row - top, column - left
    linear = np.stack([(1 - down) * (1 - right), (1 - down) * right, down * (1 - right), down * right])
    keys = _keys_weights(down, right) if cubic else linear
    corners = _CUBIC if cubic else _BILINEAR
    within = np.stack([_inside(tile, top + i, onward(tile, left, j)) for i, j in corners])
    cells = gather(tile, top, left, corners, within & (keys != 0), progress)
    _check_range(tile, cells, visit.station[need], line)
    inner = _INNER if cubic else slice(None)
    value, valid = _weighted_mean(cells[inner], linear)
    if cubic:
        smooth = np.einsum("kn,kn->n", keys, np.where(keys != 0, cells, 0.0))
        good = np.isfinite(smooth)
        value[good] = smooth[good]
    return value, valid, np.einsum("kn,kn->n", within[inner], linear)


def _inside(tile: Ground, row: FloatArray, column: FloatArray) -> FloatArray:
    """Cells that the raster has."""
    rows, columns = tile.shape
    return (row >= 0) & (row < rows) & (column >= 0) & (column < columns)


def _weighted_mean(cells: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean over the cells with data (0 where there are none) and the weight they carry."""
    there = np.isfinite(cells)
    if there.all():
        return np.einsum("kn,kn->n", weights, cells), np.ones(cells.shape[1])
    kept = np.where(there, weights, 0.0)
    weight = kept.sum(axis=0)
    total = np.einsum("kn,kn->n", kept, np.where(there, cells, 0.0))
    return np.divide(total, weight, out=np.zeros_like(total), where=weight > 0), weight


def _keys_weights(down: FloatArray, right: FloatArray) -> FloatArray:
    """Weights (16, n) of the cells of `_CUBIC`."""

    def four(t: FloatArray) -> FloatArray:
        return np.stack(
            [
                ((2 - t) * t - 1) * t / 2,
                ((3 * t - 5) * t * t + 2) / 2,
                ((4 - 3 * t) * t + 1) * t / 2,
                (t - 1) * t * t / 2,
            ]
        )

    return (four(down)[:, None] * four(right)[None, :]).reshape(16, -1)


def _check_range(tile: Ground, cells: FloatArray, station: FloatArray, line: tuple[FloatArray, FloatArray]) -> None:
    """No station on the line may lean on a cell that cannot be ground; beside it such a cell is void."""
    wrong = (cells < LOWEST) | (cells > HIGHEST)
    if not wrong.any():
        return
    on_line = wrong & (station < line[0].size)
    if on_line.any():
        corner, first = np.argwhere(on_line)[0]
        where = [float(axis[station[first]]) for axis in (wrapped(line[0]), line[1])]
        value = float(cells[corner, first])
        told, mend = f"{value:,.0f}", 'state the unit it is in (vertical_unit = "ft", for example)'
        if abs(value) > NO_UNIT:
            told, mend = f"{value:g}", "declare that value as its no-data value"
        raise InputError(
            tile.name,
            f"says {told} m beside the line, at longitude {where[0]:.5f}, latitude {where[1]:.5f}",
            f"{mend} or give another raster there",
        )
    cells[wrong] = np.nan


def _part(progress: Progress | None, number: int, total: int) -> Progress | None:
    """Progress of one of several equal parts."""
    if progress is None:
        return None
    return lambda share: progress((number + share) / total)
