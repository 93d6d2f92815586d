"""The plan of a line as the sequence it is built of: tangent, spiral, arc, spiral, tangent."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from profiler.route import CurveElement
from profiler.units import FloatArray

SHORTEST = 0.25
"""Places nearer than this are one: what lies between is rounding, and no element. [m]"""

_STRAIGHT = 1e-9
"""Curvature that is only rounding. [1/m]"""


@dataclass(frozen=True)
class PlanElement:
    """A piece of the plan whose curvature runs straight from one value to another.

    ``start``, ``end`` by chainage [m]; ``curvature_start``, ``curvature_end`` just inside them, + left
    [1/m]. ``kind`` is "tangent", "spiral" or "arc". ``curve`` is the number of the curve it belongs to,
    of both where two share a transition ("62C.1/62C.2"), empty on tangents.
    """

    kind: str
    start: float
    end: float
    curvature_start: float
    curvature_end: float
    curve: str = ""

    @property
    def length(self) -> float:
        """From start to end. [m]"""
        return self.end - self.start

    @property
    def turn(self) -> float:
        """Angle turned, + left. [rad]"""
        return (self.curvature_start + self.curvature_end) / 2 * self.length


def elements_of(curves: Sequence[CurveElement], start: float, end: float) -> tuple[PlanElement, ...]:
    """The elements from ``start`` to ``end`` [m], in order, without gap or overlap.

    Curvature is the sum of the trapezoids of all curves: where two share a transition, one spiral runs
    from the curvature of the first to that of the second, through zero if their hands differ. Where a
    curve has no spiral, curvature steps between two elements.

    Parameters
    ----------
    curves : sequence of CurveElement
        In order of chainage.
    start, end : float
        Ends of the line. [m]
    """
    edges, knots = _joined(np.array([c.knots for c in curves], dtype=float).reshape(-1, 4), start, end)
    length = np.diff(edges)
    # two places inside each piece tell its straight line, whatever steps at its ends
    places = edges[:-1, None] + length[:, None] * (0.25, 0.75)
    curvature = np.zeros(places.shape)
    names: list[list[str]] = [[] for _ in length]
    for curve, knot in zip(curves, knots, strict=True):
        first, last = (int(i) for i in np.searchsorted(edges, knot[[0, 3]]))
        height = np.array([0.0, curve.curvature, curve.curvature, 0.0])
        curvature[first:last] += np.interp(places[first:last], knot, height)
        for name in names[first:last]:
            name.append(curve.number)
    half = np.diff(curvature, axis=1) / 2
    ends = curvature + half * (-1.0, 1.0)
    ends[np.abs(ends) < _STRAIGHT] = 0.0
    rows = zip(edges[:-1].tolist(), edges[1:].tolist(), ends.tolist(), names, strict=True)
    return tuple(PlanElement(_kind(k), a, b, k[0], k[1], "/".join(name) if any(k) else "") for a, b, k, name in rows)


def _kind(curvature: Sequence[float]) -> str:
    before, after = curvature
    if abs(after - before) >= _STRAIGHT:
        return "spiral"
    return "arc" if before else "tangent"


def _joined(knots: FloatArray, start: float, end: float) -> tuple[FloatArray, FloatArray]:
    """Edges (m,) of the elements, both ends of the line among them, and the knots (n, 4) moved onto them."""
    places = np.unique(np.r_[start, knots.ravel(), end])
    cluster = np.r_[0, np.cumsum(np.diff(places) > SHORTEST)]
    edges = places[np.searchsorted(cluster, np.arange(cluster[-1] + 1))]
    for x in (start, end):
        edges[cluster[np.searchsorted(places, x)]] = x
    return edges[(edges >= start) & (edges <= end)], edges[cluster[np.searchsorted(places, knots)]]
