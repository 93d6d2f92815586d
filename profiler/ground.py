"""An elevation surface that gives blocks of cells."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol, runtime_checkable

from profiler.units import FloatArray


@runtime_checkable
class Ground(Protocol):
    """One raster of ground elevation, opened.

    Cell (0, 0) has its **centre** at cell coordinates (0.0, 0.0); rows grow southwards.
    """

    @property
    def name(self) -> str:
        """What a reader would call it: the file's name."""

    @property
    def path(self) -> Path:
        """The file itself."""

    @property
    def crs(self) -> str:
        """Horizontal reference system, as "EPSG:4326" or WKT."""

    @property
    def vertical_datum(self) -> str:
        """Name of the height datum, "unknown" where none is declared."""

    @property
    def cell_m(self) -> float:
        """Side of a cell on the ground, the longer one. [m]"""

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""

    @property
    def around(self) -> int:
        """Columns once round the globe, after which the raster meets itself; 0 where it does not."""

    @property
    def block_shape(self) -> tuple[int, int]:
        """Rows and columns of the blocks in which the file is stored."""

    @property
    def bounds(self) -> Bounds:
        """Bounds that hold every place up to a cell outside the raster; they may be generous."""

    def cells(self, longitude: FloatArray, latitude: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Fractional (row, column) of places on WGS 84; NaN where the projection does not reach."""

    def read(self, row: int, column: int, rows: int, columns: int) -> FloatArray:
        """Elevation (rows, columns) [m] of a window that lies inside; NaN where there is no data."""

    def overview(self, bounds: Bounds, rows: int, columns: int) -> FloatArray:
        """Elevation on a regular longitude-latitude grid over ``bounds``, decimated; NaN outside. [m]"""


@dataclass(frozen=True)
class Bounds:
    """Edges on WGS 84: ``west``, ``south``, ``east``, ``north``; longitude goes on across 180°. [degree]"""

    west: float
    south: float
    east: float
    north: float

    def turned(self, turns: int) -> Bounds:
        """The same box, its longitudes counted on by whole turns."""
        return replace(self, west=self.west + 360.0 * turns, east=self.east + 360.0 * turns)

    def turns_to(self, other: Bounds) -> tuple[int, ...]:
        """By how many whole turns this box shares area with another: none, one, or two at a seam."""
        if not (self.south < other.north and other.south < self.north):
            return ()
        boxes = ((turns, self.turned(turns)) for turns in (0, -1, 1))
        return tuple(turns for turns, box in boxes if box.west < other.east and other.west < box.east)


@dataclass(frozen=True)
class GroundSource:
    """One product: a raster, or several ``tiles`` of it in order of preference; ``name`` is what people read.

    Heights are above ``vertical_datum``.
    """

    name: str
    tiles: tuple[Ground, ...]
    vertical_datum: str = "unknown"


@dataclass(frozen=True, eq=False)
class Relief:
    """Ground for the picture under the map: (rows, columns) on a regular grid, north first.

    ``elevation`` [m] is NaN where there is no data; ``bounds`` are the outer edges of the grid, ``cell_m`` the
    side of a cell as it was drawn [m], ``name`` the raster it comes from.
    """

    elevation: FloatArray
    bounds: Bounds
    cell_m: float
    name: str = ""
