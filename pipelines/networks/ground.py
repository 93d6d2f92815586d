"""Which rasters a line needs: headers are read once, for thousands of tiles, and compared by their bounds."""

from __future__ import annotations

import contextlib
import dataclasses
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from profiler import Centreline, Ground, GroundSource, InputError, ProfilerError, Territory, open_ground

MARGIN_M = 3000.0
"""Tiles this far from a line still go with it: more than the ground beside the line is ever looked at. [m]"""
_BESIDE = (".hdr", ".prj", ".tfw", ".wld")
_MOST_KEPT = 16
_DEGREE_M = 111_000.0

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Opened:
    """Sources, and the bounds (n, 4) of the tiles of each: west, south, east, north [degree]."""

    sources: tuple[GroundSource, ...]
    bounds: tuple[Array, ...]


class Rasters:
    """Rasters of territories, each set of files opened once; a few sets are kept."""

    def __init__(self) -> None:
        self._kept: dict[tuple[object, ...], _Opened | ProfilerError] = {}

    def about(self, territory: Territory, line: Centreline) -> tuple[GroundSource, ...] | None:
        """The territory's sources with those of their tiles that lie about the line; None where it states none.

        Raises
        ------
        InputError
            As `profiler.open_ground`.
        """
        if territory.elevation is None or territory.profile is not None:
            return None
        opened = self._opened(territory)
        box = _box(line)
        return tuple(
            dataclasses.replace(source, tiles=_near(source, bounds, box))
            for source, bounds in zip(opened.sources, opened.bounds, strict=True)
        )

    def _opened(self, territory: Territory) -> _Opened:
        table = territory.elevation
        assert table is not None
        folder = territory.folder if territory.raster_folder is None else territory.raster_folder
        key = (folder, table.model_dump_json())
        if key not in self._kept:
            while len(self._kept) >= _MOST_KEPT:
                del self._kept[next(iter(self._kept))]
            try:
                sources = open_ground(territory)
                self._kept[key] = _Opened(sources, tuple(_bounds(source) for source in sources))
            except ProfilerError as error:
                self._kept[key] = error
        found = self._kept[key]
        if isinstance(found, ProfilerError):
            raise found
        return found


def identity(ground: tuple[GroundSource, ...] | None) -> list[tuple[str, int, int]]:
    """Name, size [byte] and time of change [ns] of each tile and of what stands beside it to say where it lies.

    Raises
    ------
    InputError
        If one has gone.
    """
    found = []
    for source in ground or ():
        for tile in source.tiles:
            try:
                stat = Path(tile.path).stat()
            except OSError as error:
                raise InputError(tile.path, "cannot be read any more", "see where it has gone") from error
            found.append((tile.name, stat.st_size, stat.st_mtime_ns))
            for beside in (Path(f"{tile.path}.aux.xml"), *(Path(tile.path).with_suffix(end) for end in _BESIDE)):
                with contextlib.suppress(OSError):
                    stat = beside.stat()
                    found.append((beside.name, stat.st_size, stat.st_mtime_ns))
    return found


def _bounds(source: GroundSource) -> Array:
    edges = [(b.west, b.south, b.east, b.north) for b in (tile.bounds for tile in source.tiles)]
    return np.array(edges, dtype=float).reshape(-1, 4)


def _box(line: Centreline) -> Array:
    """West, south, east, north of all pieces, with the margin. [degree]"""
    points = np.concatenate([np.column_stack([piece.longitude, piece.latitude]) for piece in line.pieces])
    (west, south), (east, north) = points.min(axis=0), points.max(axis=0)
    high = MARGIN_M / _DEGREE_M
    wide = high / max(np.cos(np.radians(max(abs(south), abs(north)))), 0.05)
    return np.array([west - wide, south - high, east + wide, north + high])


def _near(source: GroundSource, bounds: Array, box: Array) -> tuple[Ground, ...]:
    """Tiles that meet the box, whichever turn their longitudes are counted by; at least one, to speak of."""
    west, south, east, north = bounds.T
    level = (south <= box[3]) & (north >= box[1])
    meets = np.zeros(len(bounds), dtype=bool)
    for turn in (-360.0, 0.0, 360.0):
        meets |= level & (west + turn <= box[2]) & (east + turn >= box[0])
    found = np.flatnonzero(meets).tolist() or [0]
    return tuple(source.tiles[i] for i in found)
