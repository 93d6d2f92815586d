"""What is typed from a track chart: points of vertical intersection and curves, row by row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.units import FloatArray

AS_ON_CHART = "as on the chart"
"""The vertical datum of a chart that names none."""

TABLE_SOURCE = "profile table"
"""What stands where a profile of rasters names the raster."""


@dataclass(frozen=True, eq=False)
class ChartRows:
    """Rows of a file, each with a number ``row`` (n,) that people find it by; ``source`` is the file."""

    source: str
    row: FloatArray

    def at(self, i: int) -> str:
        """Where a row stands, for a message."""
        return f"{self.source}, row {int(self.row[i])}"


@dataclass(frozen=True, eq=False)
class ChartCurves(ChartRows):
    """Curves in order along the line; arrays are (n,), NaN where a cell is empty.

    ``start``, ``end`` by chainage [m], or else ``start_post``, ``end_post`` as they are written;
    ``spiral_in``, ``spiral_out`` inside them [m]; ``curvature`` of the body, + left [1/m]; ``number``
    as stated, "" where it is not. ``curvature_se`` [1/m], ``deflection_se`` [rad], and [m]
    ``start_se``, ``end_se``, ``spiral_in_se``, ``spiral_out_se`` are 0 where the table states none.
    """

    start: FloatArray
    end: FloatArray
    start_post: tuple[str, ...]
    end_post: tuple[str, ...]
    spiral_in: FloatArray
    spiral_out: FloatArray
    curvature: FloatArray
    number: tuple[str, ...]
    curvature_se: FloatArray
    start_se: FloatArray
    end_se: FloatArray
    spiral_in_se: FloatArray
    spiral_out_se: FloatArray
    deflection_se: FloatArray
    post_unit: str = ""
    """Unit that a column of posts names, "" where none does."""


@dataclass(frozen=True, eq=False)
class TrackChart(ChartRows):
    """Points of vertical intersection, the ends of the line among them; arrays are (n,), NaN where a cell is empty.

    ``chainage`` [m], or else ``post`` as it is written, in ``post_unit`` ("mi", "km", "" where no column says);
    ``elevation`` [m] of the intersection; ``grade`` ahead of it [m/m] and half its last digit,
    ``grade_rounding``; ``curve_length`` [m]; standard error ``se`` of the elevation [m].
    ``curves`` are None where no table of them is given.

    Our own pvis.csv is ``estimated``: it holds no ends, but the grade before each point,
    ``grade_before`` [m/m], ``chainage_se`` [m] and ``probability``, and what was not seen between two
    points is left open.
    """

    chainage: FloatArray
    post: tuple[str, ...]
    post_unit: str
    elevation: FloatArray
    grade: FloatArray
    grade_rounding: FloatArray
    curve_length: FloatArray
    se: FloatArray
    estimated: bool
    grade_before: FloatArray
    chainage_se: FloatArray
    probability: FloatArray
    curves: ChartCurves | None = None

    @property
    def open_end(self) -> bool:
        """Whether the line goes on beyond the last row, on the grade out of it."""
        return self.estimated and bool(np.isfinite(self.grade[-1]))

    @property
    def by_post(self) -> bool:
        """Whether rows stand at posts and at nothing else."""
        return any(self.post) and not np.isfinite(self.chainage).any()
