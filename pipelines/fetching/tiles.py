"""Where a line's corridor lies, and which tiles of one degree it touches: plain geometry, nothing is opened."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

PER_DEGREE = 100
"""A corridor is counted in cells of so many to the degree, about a kilometre: it decides what is fetched, and coarse
cells let lines that hardly differ share what came."""

_EARTH_RADIUS = 6_371_008.8
_TURN = 360 * PER_DEGREE

Cells = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Box:
    """Edges on WGS 84; ``east`` may lie beyond 180 where the box crosses that meridian. [degree]"""

    west: float
    south: float
    east: float
    north: float

    def grown(self, margin: float) -> Box:
        """The box, wider by ``margin`` [degree] on every side."""
        return Box(self.west - margin, self.south - margin, self.east + margin, self.north + margin)


@dataclass(frozen=True, eq=False)
class Corridor:
    """A line with ground on either side: ``cells`` (n, 2) are latitude and longitude in whole cells, sorted.

    Longitudes lie from −180 up to 180.
    """

    cells: Cells

    @property
    def key(self) -> str:
        """The same for the same cells: names what was cut along them."""
        return hashlib.sha256(self.cells.astype("<i4").tobytes()).hexdigest()[:12]

    def inside(self, box: Box) -> Corridor:
        """The cells that share area with a box."""
        south, west = self.cells[:, 0] / PER_DEGREE, self.cells[:, 1] / PER_DEGREE
        size = 1 / PER_DEGREE
        keep = (south < box.north) & (south + size > box.south)
        along = np.zeros(len(west), dtype=bool)
        for turn in (-360, 0, 360):
            along |= (west + turn < box.east) & (west + turn + size > box.west)
        return Corridor(self.cells[keep & along])

    def corners(self, middle: float) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Longitude and latitude (n, 4) of the cells' corners, by whole turns near longitude ``middle``. [degree]"""
        south, west = self.cells[:, 0] / PER_DEGREE, self.cells[:, 1] / PER_DEGREE
        west = west - 360 * np.round((west - middle) / 360)
        size = 1 / PER_DEGREE
        longitude = west[:, None] + np.array([0, size, 0, size])
        return longitude, south[:, None] + np.array([0, 0, size, size])

    def boxes(self) -> tuple[Box, ...]:
        """One box around everything, or one on either side of the 180° meridian."""
        column = np.unique(self.cells[:, 1])
        gap = np.diff(np.r_[column, column[0] + _TURN])
        widest = int(gap.argmax())
        south, north = self.cells[:, 0].min() / PER_DEGREE, (self.cells[:, 0].max() + 1) / PER_DEGREE
        if widest == len(column) - 1:  # the emptiest stretch of the globe holds the meridian
            halves = [(column[0], column[-1])]
        else:
            halves = [(column[widest + 1], column[-1]), (column[0], column[widest])]
        return tuple(Box(int(a) / PER_DEGREE, float(south), (int(b) + 1) / PER_DEGREE, float(north)) for a, b in halves)


def corridor_of(longitude: npt.ArrayLike, latitude: npt.ArrayLike, half_width: float) -> Corridor:
    """The corridor of a line, ``half_width`` [m] and up to two cells more to every side.

    Parameters
    ----------
    longitude, latitude : (n,) array [degree]
        Places along the line, nearer to each other than a cell; longitudes may go on beyond 180.
    """
    row = np.floor(np.asarray(latitude, dtype=float) * PER_DEGREE).astype(np.int64)
    column = np.floor(np.asarray(longitude, dtype=float) * PER_DEGREE).astype(np.int64)
    cells = np.unique(np.column_stack([row, column]), axis=0)
    degrees = np.degrees(half_width / _EARTH_RADIUS)
    high = int(np.ceil(degrees * PER_DEGREE))
    polewards = np.radians(np.abs(cells[:, 0] / PER_DEGREE).max() + degrees)
    wide = int(np.ceil(degrees * PER_DEGREE / max(np.cos(polewards), 0.05)))
    for axis, reach in ((0, high), (1, wide)):
        steps = np.zeros((2 * reach + 1, 2), dtype=np.int64)
        steps[:, axis] = np.arange(-reach, reach + 1)
        cells = np.unique((cells[:, None] + steps[None]).reshape(-1, 2), axis=0)
    cells = cells[(cells[:, 0] >= -90 * PER_DEGREE) & (cells[:, 0] < 90 * PER_DEGREE)]
    cells[:, 1] = (cells[:, 1] + _TURN // 2) % _TURN - _TURN // 2
    return Corridor(np.unique(cells, axis=0))


def squares_touched(corridor: Corridor) -> tuple[tuple[int, int], ...]:
    """South and west edge of every square degree that holds a cell of the corridor, from south to north. [degree]"""
    found = np.unique(corridor.cells // PER_DEGREE, axis=0)
    return tuple((int(south), int(west)) for south, west in found)


def square(south: int, west: int) -> Box:
    """The box of a square degree."""
    return Box(west, south, west + 1, south + 1)


def corner_words(south: int, west: int, corner: str, *, lower: bool = False) -> dict[str, Any]:
    """What a tile's name is filled with: its corner as hemisphere and whole degrees, each by itself.

    Parameters
    ----------
    corner : {"south-west", "north-west"}
        By which of its corners the catalogue names a tile.
    """
    latitude = south if corner == "south-west" else south + 1
    ns, ew = ("S" if latitude < 0 else "N"), ("W" if west < 0 else "E")
    return {
        "ns": ns.lower() if lower else ns,
        "lat": abs(latitude),
        "ew": ew.lower() if lower else ew,
        "lon": abs(west),
    }
