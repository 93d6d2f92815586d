"""Read a known profile: points of vertical intersection typed from a track chart, and its curves."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from profiler.errors import InputError
from profiler.read.typed_table import TypedTable, read_typed_table
from profiler.track_chart import ChartCurves, TrackChart
from profiler.units import FOOT, KILOMETRE, MILE, PERCENT, PERMILLE, FloatArray, curvature_of_degree, degree_of_curve

_LENGTH = {"m": 1.0, "ft": FOOT}
_PLACE = {**_LENGTH, "km": KILOMETRE, "mi": MILE}
_TEXT, _PLAIN, _PCT = {"": 0.0}, {"": 1.0}, {"pct": PERCENT}
_POST = {"": 0.0, "mi": 0.0, "km": 0.0}

_PVIS = {
    "chainage": _PLACE,
    "post": _POST,
    "elevation": _LENGTH,
    "grade": {**_PCT, "permille": PERMILLE},
    "curve_length": _LENGTH,
    "se": _LENGTH,
    "note": _TEXT,
    # our own pvis.csv has these too
    "chainage_se": {"m": 1.0},
    "grade_in": _PCT,
    "grade_out": _PCT,
    "probability": _PLAIN,
}
_CURVES = {
    "number": _TEXT,
    "start": _PLACE,
    "end": _PLACE,
    "start_post": _POST,
    "end_post": _POST,
    "spiral_in": _LENGTH,
    "spiral_out": _LENGTH,
    "degree": {"of_curve": 1.0},
    "radius": _LENGTH,
    "hand": _TEXT,
    "note": _TEXT,
    # our own curves.csv has these too; of them only the standard errors are read
    "kind": _TEXT,
    "post": _TEXT,
    "degree_se": _PLAIN,
    "deflection": {"deg": 1.0},
    "start_se": {"m": 1.0},
    "end_se": {"m": 1.0},
    "spiral_in_se": {"m": 1.0},
    "spiral_out_se": {"m": 1.0},
    "deflection_se": {"deg": np.radians(1.0)},
}

SHARPEST = 120.0
"""No curve of a railway is as sharp. [degree]"""

SAME = 0.01
"""Degree of curve and radius of one row may differ by this share: half a figure of one of them is soon as much."""

_HANDS = {"left": 1.0, "l": 1.0, "right": -1.0, "r": -1.0}


def read_track_chart(table: Path | str, curves: Path | str | None = None) -> TrackChart:
    """Read the tables of a known profile, typed from a track chart or written by ourselves.

    Parameters
    ----------
    table : path
        CSV, a row a point of vertical intersection, the ends of the line included: its chainage or
        its post, its elevation or the grade ahead of it, and the length of its vertical curve if known.
    curves : path, optional
        CSV, a row a curve.

    Raises
    ------
    InputError
        If a column is unknown, names no unit or says what another one says; if a cell is no number
        or is missing where it is needed.
    """
    typed = read_typed_table(table, _PVIS)
    if typed.row.size < 2:
        raise InputError(
            table, f"has {typed.row.size} row{'s' * (typed.row.size != 1)}", "give two at least, the ends of the line"
        )
    estimated = {"grade_in", "grade_out"} <= set(typed.column)
    if "grade" in typed.column and "grade_out" in typed.column:
        raise InputError(
            table, f"columns {typed.column['grade']} and grade_out_pct both give the grade ahead", "keep one"
        )
    if "elevation" not in typed.column:
        raise InputError(table, "no column gives elevations", "add elevation_m or elevation_ft, one row of it will do")
    ahead = "grade_out" if "grade_out" in typed.column else "grade"
    chart = TrackChart(
        source=typed.source,
        row=typed.row,
        chainage=typed.numbers("chainage"),
        post=typed.texts("post"),
        post_unit=_unit_of(typed, "post"),
        elevation=_bounded(typed, "elevation", -500.0, 9000.0),
        grade=_bounded(typed, ahead, -0.15, 0.15),
        grade_rounding=typed.rounding(ahead),
        curve_length=typed.numbers("curve_length", 0.0),
        se=typed.numbers("se", 0.001),
        estimated=estimated,
        grade_before=typed.numbers("grade_in"),
        chainage_se=_or_zero(typed, "chainage_se"),
        probability=np.nan_to_num(typed.numbers("probability", 0.0), nan=1.0),
        curves=None if curves is None else _curves(curves),
    )
    unplaced = np.isnan(chart.chainage) & np.array([not post for post in chart.post])
    if unplaced.any():
        columns = {"chainage", "post"} & set(typed.column)
        raise InputError(
            typed.at(int(unplaced.argmax())) if columns else typed.source,
            "says no place",
            "fill its chainage or its post" if columns else "add a column chainage_m, chainage_ft, post_mi or post_km",
        )
    return chart


def _curves(path: Path | str) -> ChartCurves:
    typed = read_typed_table(path, _CURVES)
    start, end = typed.numbers("start"), typed.numbers("end")
    posts = {which: typed.texts(f"{which}_post") for which in ("start", "end")}
    for which, place in (("start", start), ("end", end)):
        for i in np.flatnonzero(np.isnan(place)).tolist():
            if not posts[which][i]:
                raise InputError(typed.at(i), f"says no {which}", f"fill {which}_m, {which}_ft or {which}_post")
    degree, curvature = _curvature(typed)
    se = _or_zero(typed, "degree_se")
    return ChartCurves(
        source=typed.source,
        row=typed.row,
        start=start,
        end=end,
        start_post=posts["start"],
        end_post=posts["end"],
        spiral_in=_or_zero(typed, "spiral_in"),
        spiral_out=_or_zero(typed, "spiral_out"),
        curvature=curvature,
        number=tuple(text.removeprefix("'") for text in typed.texts("number")),
        curvature_se=(curvature_of_degree(degree + se) - curvature_of_degree(degree - se)) / 2,
        **{
            f"{name}_se": _or_zero(typed, f"{name}_se")
            for name in ("start", "end", "spiral_in", "spiral_out", "deflection")
        },
        post_unit=_unit_of(typed, "start_post") or _unit_of(typed, "end_post"),
    )


def _curvature(typed: TypedTable) -> tuple[FloatArray, FloatArray]:
    """Degree of curve (n,) without its sign, and curvature (n,) + left [1/m]; every row has a size and a hand."""
    degree, radius, hands = typed.numbers("degree"), typed.numbers("radius"), typed.texts("hand")
    by_radius = degree_of_curve(1 / np.where(radius > 0, radius, np.nan))
    sign = np.empty(degree.size)
    for i, hand in enumerate(hands):
        if np.isnan(degree[i]) and np.isnan(radius[i]):
            raise InputError(typed.at(i), "its curve has no size", "fill degree_of_curve, radius_m or radius_ft")
        stated = abs(degree[i]) if np.isfinite(degree[i]) else by_radius[i]
        if not 0 < stated < SHARPEST:
            name = typed.column["degree" if np.isfinite(degree[i]) else "radius"]
            raise InputError(typed.at(i), f"{name} is not possible", f"it should be above 0 and below {SHARPEST:g}°")
        if np.isfinite(radius[i]) and not abs(by_radius[i] - stated) <= SAME * stated + float(
            typed.rounding("degree")[i]
        ):
            raise InputError(
                typed.at(i),
                f"degree_of_curve and {typed.column['radius']} contradict each other: that radius is "
                f"{by_radius[i]:.2f}°",
                "keep one of them",
            )
        if hand.lower() not in _HANDS:
            problem = f"hand {hand!r} is neither left nor right" if hand else "its curve has no hand"
            raise InputError(typed.at(i), problem, "write left or right, as one travels along the rows")
        sign[i] = _HANDS[hand.lower()]
        if degree[i] < 0 and sign[i] > 0:
            raise InputError(typed.at(i), "its degree is negative, to the right, and its hand left", "correct one")
    size = np.where(np.isfinite(degree), np.abs(degree), by_radius)
    return size, sign * curvature_of_degree(size)


def _unit_of(typed: TypedTable, quantity: str) -> str:
    """Unit that the name of a column of posts ends in, "" where it names none."""
    name = typed.column.get(quantity, quantity)
    return name.removeprefix(quantity).removeprefix("_")


def _or_zero(typed: TypedTable, quantity: str) -> FloatArray:
    return np.nan_to_num(typed.numbers(quantity, 0.0))


def _bounded(typed: TypedTable, quantity: str, low: float, high: float) -> FloatArray:
    values = typed.numbers(quantity)
    outside = (values < low) | (values > high)
    if outside.any():
        i = int(outside.argmax())
        name, factor = typed.column[quantity], typed.factor[quantity]
        raise InputError(
            typed.at(i),
            f"{name} is {typed.texts(quantity)[i]}",
            f"it should lie between {low / factor:.6g} and {high / factor:.6g}",
        )
    return values
