"""Lines of a network as whole numbers to draw: thinned to what is seen at a few zooms, in stretches of one class."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import shapely

from profiler.grade_classes import Limits, grade_class
from profiler.longitude import wrapped
from profiler.network_line import NetworkLine
from profiler.present.hillshade import mercator
from profiler.present.map_line import in_stretch
from profiler.present.page_pack import Packer
from profiler.units import FloatArray

ZOOMS = (4, 6, 8, 10, 12)
"""Zooms of web maps (256 px round the world at 0) for which lines are thinned; a map shows the next closer one."""
TOLERANCE_PX = 0.5
"""A vertex is left out where the line strays no farther without it, at the zoom of its level."""
CELL_PX = 3.0
"""Shortest stretch with a class of its own, at the zoom of its level."""
SHARE = 0.25
"""Such a stretch has the steepest class that so much of it reaches."""
STEPS_PX = 4
"""Steps in a pixel of drawn places."""
_WORLD_PX = 256.0
_STEEPEST = 4

IntArray = npt.NDArray[np.int64]


class Levels:
    """Gathers lines, one after another, for every zoom; what is kept of a line is what is drawn."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._x: list[list[IntArray]] = [[] for _ in ZOOMS]
        self._y: list[list[IntArray]] = [[] for _ in ZOOMS]
        self._class: list[list[IntArray]] = [[] for _ in ZOOMS]
        self._box: list[tuple[float, float, float, float]] = []
        """West, south, east, north of each line, as continuous as the line; NaN of one on no map. [degree]"""

    def add(self, line: NetworkLine) -> None:
        """Take a line; one on no map has no vertex at any zoom."""
        for i, (x, y, steepness) in enumerate(thinned(line, self._limits)):
            self._x[i].append(x.astype(np.int32))
            self._y[i].append(y.astype(np.int32))
            self._class[i].append(steepness.astype(np.int8))
        longitude, latitude = line.track
        self._box.append(
            (longitude.min(), latitude.min(), longitude.max(), latitude.max()) if longitude.size else (np.nan,) * 4
        )

    @property
    def turns(self) -> FloatArray:
        """By how many times round the world each line is shown farther east, so that all lie together (n,)."""
        box = np.array(self._box).reshape(-1, 4)
        return together(box[:, 0], box[:, 2])

    def packed(self, packer: Packer) -> list[dict[str, Any]]:
        """For each zoom: vertices of each line ``n``, first places ``x``, ``y`` [step], and for all vertices the way
        from the one before ``dx``, ``dy`` (0 for the first of a line) and the class from it to the next ``k``."""
        turns = self.turns
        return [
            {
                "zoom": zoom,
                "n": packer.add([part.size for part in x], 1),
                "x": packer.add(
                    [part[0] + turn * world(zoom) for part, turn in zip(x, turns, strict=True) if part.size], 1
                ),
                "y": packer.add([part[0] for part in y if part.size], 1),
                "dx": packer.add(_joined([np.diff(part, prepend=part[:1]) for part in x]), 1),
                "dy": packer.add(_joined([np.diff(part, prepend=part[:1]) for part in y]), 1),
                "k": packer.add(_joined(steepness), 1),
            }
            for zoom, x, y, steepness in zip(ZOOMS, self._x, self._y, self._class, strict=True)
        ]


def thinned(line: NetworkLine, limits: Limits) -> list[tuple[IntArray, IntArray, IntArray]]:
    """For each of `ZOOMS` the places of the kept vertices, eastward and southward [step], and the class from each.

    Across the 180th meridian places go on; a class is 0 to ±4, + where it climbs with chainage.

    Notes
    -----
    Web Mercator (spherical); Douglas and Peucker 1973, each zoom out of the next closer one.
    """
    longitude, latitude = line.track
    if not longitude.size:
        empty = np.empty(0, dtype=np.int64)
        return [(empty, empty, empty)] * len(ZOOMS)
    east, south = (longitude + 180) / 360, (1 - mercator(latitude) / np.pi) / 2
    along = np.r_[0.0, np.cumsum(np.hypot(np.diff(east), np.diff(south)))]  # in widths of the world
    steepness = _Steepness(line, limits)
    kept = np.arange(along.size)
    levels = []
    for zoom in reversed(ZOOMS):
        pixels = _WORLD_PX * 2.0**zoom
        outline = shapely.linestrings(np.column_stack([east[kept], south[kept], kept]))
        kept = shapely.get_coordinates(
            shapely.simplify(outline, TOLERANCE_PX / pixels, preserve_topology=False), include_z=True
        )[:, 2].astype(int)
        cells = np.linspace(0.0, along[-1], max(1, int(along[-1] * pixels / CELL_PX)) + 1)
        classes = steepness.between(np.interp(cells, along, line.chainage))
        starts = np.flatnonzero(np.r_[True, np.diff(classes) != 0])
        places = np.union1d(along[kept], cells[starts])
        x, y = (
            np.rint(np.interp(places, along[kept], values[kept]) * pixels * STEPS_PX).astype(np.int64)
            for values in (east, south)
        )
        of_vertex = classes[starts[np.searchsorted(cells[starts], places, side="right") - 1]]
        moved = np.r_[True, (np.diff(x) != 0) | (np.diff(y) != 0)]
        moved[-1] |= np.count_nonzero(moved) < 2  # a line too short to be seen is two vertices still
        levels.append((x[moved], y[moved], of_vertex[moved]))
    return levels[::-1]


def world(zoom: int) -> int:
    """Steps once round the world."""
    return round(_WORLD_PX * 2**zoom * STEPS_PX)


def together(west: FloatArray, east: FloatArray) -> FloatArray:
    """Whole turns that bring stretches of longitude (n,) [degree] together about the widest empty one; 0 for NaN."""
    turns = np.zeros(west.shape)
    on_map = np.flatnonzero(np.isfinite(west))
    if not on_map.size:
        return turns
    start = wrapped(west[on_map])
    order = np.argsort(start, kind="stable")
    reach = np.maximum.accumulate((start + east[on_map] - west[on_map])[order])
    reach = np.maximum(reach, reach[-1] - 360)  # the last may reach round to the first
    gaps = np.r_[start[order][1:], start[order][0] + 360] - reach
    turns[on_map] = np.rint((start - west[on_map]) / 360)
    turns[on_map[order[: int(np.argmax(gaps)) + 1]]] += int(np.argmax(gaps)) + 1 < order.size
    return turns


class _Steepness:
    """How much of a line has at least a class, up to any chainage."""

    def __init__(self, line: NetworkLine, limits: Limits) -> None:
        runs = np.array(sorted((run.start, run.end, run.grade) for run in line.grade_runs)).reshape(-1, 3)
        edges = np.unique(np.r_[line.chainage[[0, -1]], runs[:, 0], runs[:, 1]]) if len(runs) else line.chainage
        long = np.diff(edges)
        within, which = in_stretch(edges[:-1] + long / 2, runs[:, 0], runs[:, 1])
        grades = np.diff(np.interp(edges, line.chainage, line.elevation)) / long  # where no run is told
        if len(runs):
            grades = np.where(within, runs[which, 2], grades)
        self._edges = edges
        classes = grade_class(grades, limits)
        self._sums = {
            (sign, least): np.r_[0.0, np.cumsum(long * ((classes >= least) & (np.sign(grades) == sign)))]
            for sign in (1, -1)
            for least in range(1, _STEEPEST + 1)
        }

    def between(self, cells: FloatArray) -> IntArray:
        """Class 0 to ±4 of each stretch between chainages that do not fall [m]: the steepest that `SHARE` reaches."""
        long = np.diff(cells)
        found = np.zeros(long.size, dtype=np.int64)
        for least in range(1, _STEEPEST + 1):
            up, down = (np.diff(np.interp(cells, self._edges, self._sums[sign, least])) for sign in (1, -1))
            reached = up + down >= SHARE * np.maximum(long, 1e-9)
            found[reached] = np.where(up >= down, least, -least)[reached]
        return found


def _joined(parts: list[IntArray]) -> IntArray:
    return np.concatenate(parts) if parts else np.empty(0, dtype=np.int64)


def place_on(line: NetworkLine, chainage: float) -> tuple[float, float]:
    """Longitude, as continuous as the line's, and latitude at a chainage [m]; NaN of no place. [degree]"""
    longitude, latitude = line.track
    if not longitude.size or np.isnan(chainage):
        return np.nan, np.nan
    return float(np.interp(chainage, line.chainage, longitude)), float(np.interp(chainage, line.chainage, latitude))
