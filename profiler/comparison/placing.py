"""Where a reference's rows lie on the line, and the pieces over which its grades are means."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from profiler.reference import Reference
from profiler.route import Route
from profiler.units import FloatArray

OVERLAP = 1.0
"""Ends of neighbouring pieces closer together than this are one. [m]"""

ENDS = 5.0
"""So far beyond the ends of the line a row still lies at them. [m]"""


@dataclass(frozen=True, eq=False)
class Placing:
    """How positions become chainage.

    ``how`` is "stations" (names and coordinates that both have), "agreement" (of grades), "stated"
    (positions as they stand) or "places" (every row by its own name or coordinates, nothing fitted).
    ``by_posts`` tells what a position was taken for: a post, or a chainage; that [m] = ``shift`` [m] +
    ``scale`` × position [m]. ``residual`` [m] is the rms of ``shared`` places about it. Of a fit by
    agreement ``before`` and ``after`` are the rms misfits in their standard errors, ``shift_se`` [m] is
    the standard error of its shift in the middle. ``chainage`` (n,), ``start`` (n,) and ``end`` (n,)
    [m] are NaN off the line.
    """

    how: str
    by_posts: bool
    chainage: FloatArray
    start: FloatArray
    end: FloatArray
    shift: float = 0.0
    scale: float = 1.0
    shared: int = 0
    residual: float | None = None
    shift_se: float | None = None
    before: float | None = None
    after: float | None = None

    @property
    def turned(self) -> bool:
        """Whether positions fall with chainage."""
        placed = self.chainage[np.isfinite(self.chainage)]
        return bool(placed.size > 1 and placed[0] > placed[-1])

    @property
    def pieces(self) -> tuple[FloatArray, FloatArray]:
        """Both ends (n,) of every piece by rising chainage. [m]"""
        return np.minimum(self.start, self.end), np.maximum(self.start, self.end)


def axis_of(route: Route, by_posts: bool) -> FloatArray:
    """What positions count, at stations (n,): post or chainage. [m]"""
    return route.posts.at(route.chainage) * route.posts.unit_m if by_posts else route.chainage


def placed(
    reference: Reference, route: Route, by_posts: bool, shift: float, scale: float, how: str, **more: Any
) -> Placing:
    """The reference under a shift and a scale."""
    axis = axis_of(route, by_posts)
    falling = axis[0] > axis[-1]
    chainage = route.chainage[::-1] if falling else route.chainage
    axis = np.maximum.accumulate(axis[::-1] if falling else axis)

    def at(position: FloatArray) -> FloatArray:
        wanted = shift + scale * position
        on = (wanted >= axis[0] - ENDS) & (wanted <= axis[-1] + ENDS)
        return np.where(on, np.interp(wanted, axis, chainage), np.nan)

    places = (at(x) for x in (reference.position, reference.start, reference.end))
    chainages, start, end = places
    return Placing(how, by_posts, chainages, start, end, shift, scale, **more)


def pieces_of(
    reference: Reference, placing: Placing
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Rows (m,), both ends [m], mean grade with chainage and its standard error [m/m], by rising chainage."""
    if np.isfinite(reference.grade).any():
        start, end = placing.pieces
        item = np.flatnonzero(np.isfinite(start) & np.isfinite(end) & (end > start))
        sign = -1.0 if placing.turned else 1.0
        item = item[np.argsort(start[item], kind="stable")]
        return item, start[item], end[item], sign * reference.grade[item], np.nan_to_num(reference.grade_se[item])
    item = np.flatnonzero(np.isfinite(placing.chainage) & np.isfinite(reference.elevation))
    item = item[np.argsort(placing.chainage[item], kind="stable")]
    at, z = placing.chainage[item], reference.elevation[item]
    long = np.flatnonzero(np.diff(at) > OVERLAP)
    length = at[long + 1] - at[long]
    height_se, stated = reference.elevation_se[item], reference.grade_se[item]
    of_heights = np.hypot(height_se[long], height_se[long + 1]) / length
    of_grades = (stated[long] + stated[long + 1]) / 2
    se = np.where(np.isfinite(of_grades), of_grades, np.where(np.isfinite(stated[long]), stated[long], of_heights))
    return item[long], at[long], at[long + 1], (z[long + 1] - z[long]) / length, np.nan_to_num(se)
