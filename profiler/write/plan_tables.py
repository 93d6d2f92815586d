"""The tables of the plan as CSV: curves, the sequence of elements, corners of the drawn line."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from profiler.plan_elements import PlanElement, elements_of
from profiler.route import Corner, CurveElement, Posts, Route
from profiler.units import FloatArray, degree_of_curve
from profiler.write.cells import Columns, Texts, fixed, post_cells


def plan_tables(route: Route) -> dict[str, Columns]:
    """Tables curves and alignment of a route, and corners where the line has any.

    Posts are those of the middle of a curve and of the start of an element.
    """
    elements = elements_of(route.curves, float(route.chainage[0]), float(route.chainage[-1]))
    tables = {"curves": _curves(route.curves, route.posts), "alignment": _elements(elements, route.posts)}
    if route.corners:
        tables["corners"] = _corners(route.corners, route.posts)
    return tables


def _curves(curves: Sequence[CurveElement], posts: Posts) -> Columns:
    def figures(name: str) -> FloatArray:
        return np.array([getattr(curve, name) for curve in curves], dtype=float)

    curvature, se, start, end = (figures(name) for name in ("curvature", "curvature_se", "start", "end"))
    return {
        "number": Texts(curve.number for curve in curves),
        "kind": [curve.kind for curve in curves],
        "start_m": fixed(start, 1),
        "end_m": fixed(end, 1),
        "spiral_in_m": fixed(figures("spiral_in"), 1),
        "spiral_out_m": fixed(figures("spiral_out"), 1),
        "degree_of_curve": fixed(degree_of_curve(curvature), 3),
        "degree_se": fixed((degree_of_curve(curvature + se) - degree_of_curve(curvature - se)) / 2, 3),
        "hand": [curve.hand for curve in curves],
        "radius_m": fixed(figures("radius"), 1),
        "deflection_deg": fixed(np.degrees(figures("deflection")), 3),
        "start_se_m": fixed(figures("start_se"), 1),
        "end_se_m": fixed(figures("end_se"), 1),
        "spiral_in_se_m": fixed(figures("spiral_in_se"), 1),
        "spiral_out_se_m": fixed(figures("spiral_out_se"), 1),
        "deflection_se_deg": fixed(np.degrees(figures("deflection_se")), 3),
        "post": post_cells(posts, (start + end) / 2),
    }


def _elements(elements: Sequence[PlanElement], posts: Posts) -> Columns:
    start, end, first, last = (
        np.array([getattr(element, name) for element in elements])
        for name in ("start", "end", "curvature_start", "curvature_end")
    )
    return {
        "element": [element.kind for element in elements],
        "start_m": fixed(start, 2),
        "end_m": fixed(end, 2),
        "post": post_cells(posts, start),
        "length_m": fixed(np.round(end, 2) - np.round(start, 2), 2),
        "degree_start": fixed(degree_of_curve(first), 3),
        "degree_end": fixed(degree_of_curve(last), 3),
        "radius_start_m": fixed(_radius(first), 1),
        "radius_end_m": fixed(_radius(last), 1),
        "curve": Texts(element.curve for element in elements),
    }


def _radius(curvature: npt.NDArray[np.float64]) -> FloatArray:
    """Radii [m] of curvatures [1/m], NaN where straight."""
    return 1 / np.where(curvature == 0, np.nan, np.abs(curvature))


def _corners(corners: Sequence[Corner], posts: Posts) -> Columns:
    places = [corner.chainage for corner in corners]
    return {
        "chainage_m": fixed(places, 1),
        "post": post_cells(posts, places),
        "turn_deg": fixed(np.degrees([corner.turn for corner in corners]), 2),
        "step_m": fixed([corner.step for corner in corners], 2),
    }
