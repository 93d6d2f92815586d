"""A line that is known by a track chart's tables: its posts, where their rows stand, its curves, its stations."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import PurePath

import numpy as np

from profiler.alignment.curves import element_curvature
from profiler.alignment.numbering import numbered
from profiler.alignment.places import chainage_of_post
from profiler.alignment.posts import in_style, parse_post
from profiler.alignment.smooth import SmoothedLine
from profiler.alignment.stations import StationedLine, station_distances
from profiler.errors import InputError
from profiler.route import CurveElement, Posts, Route
from profiler.territory import Territory
from profiler.track_chart import ChartCurves, ChartRows, TrackChart
from profiler.units import POST_UNITS, FloatArray

ROUNDING = 0.2
"""Curves may overlap by so much beyond what their spirals share: figures are rounded. [m]"""

REACH, REACH_SHARE = 30.0, 0.005
"""Rows may stand so far [m], or by this share of its length, beyond the ends of a line that was drawn."""

LONGEST = 1.5e7
"""No railway is as long. [m]"""

NO_CURVES = "no table of curves is given: the line counts as straight, and nothing is compensated for curves"


def chart_posts(chart: TrackChart, territory: Territory) -> Posts | None:
    """The posts that a chart's rows state, None where it has none or the territory has its own.

    Rows with both chainage and post tie them together. Where rows have posts only, chainage counts
    from the first row at the true length of the unit.

    Raises
    ------
    InputError
        If posts are stated twice, name no unit, or turn back.
    """
    line = territory.centreline
    elsewhere = territory.posts is not None or (line is not None and line.posts_from is not None)
    if not any(chart.post) or (elsewhere and chart.by_post):
        return None
    if elsewhere:
        raise InputError(
            chart.source, "its rows have chainage and post, and posts are stated beside it", "keep one way"
        )
    if line is not None and chart.by_post:
        raise InputError(
            chart.source,
            "its rows stand at posts, and none of the drawn line is known",
            "state [posts] or posts_from",
        )
    if not chart.post_unit:
        raise InputError(chart.source, "column post names no unit", "name it post_mi or post_km")
    tied = [i for i, post in enumerate(chart.post) if post and (chart.by_post or np.isfinite(chart.chainage[i]))]
    value = np.array([parse_post(chart.post[i], chart.post_unit, chart.at(i)) for i in tied])
    _refuse_turns(chart, tied, value)
    if chart.by_post:
        tied, value = [tied[0], tied[-1]], value[[0, -1]]
        chainage = np.array([0.0, abs(value[1] - value[0]) * POST_UNITS[chart.post_unit]])
    else:
        chainage = chart.chainage[tied]
        _refuse_disorder(chart, chainage, tied)
    return in_style(Posts(chainage, value, chart.post_unit), chart.post, *territory.written_posts())


def _refuse_turns(chart: TrackChart, rows: Sequence[int], value: FloatArray) -> None:
    steps = np.diff(value)
    wrong = np.flatnonzero(steps * (1 if np.sign(steps).sum() >= 0 else -1) <= 0)
    if wrong.size:
        i, j = rows[wrong[0]], rows[wrong[0] + 1]
        raise InputError(
            chart.at(j),
            f"post {chart.post[j]} does not go on from {chart.post[i]} in row {int(chart.row[i])}",
            "sort the rows along the line, one a place",
        )


def row_places(chart: TrackChart, posts: Posts, length: float | None = None) -> FloatArray:
    """Chainage (n,) [m] of a chart's rows.

    ``length`` [m] is that of the drawn line, None where the rows themselves are the line: then the first
    stands at 0, unless the table is our own, which begins with the first point that was seen.

    Raises
    ------
    InputError
        If rows are not in order of chainage or lie off the line.
    """
    far = _furthest(chart, posts) if length is None else length
    places = _placed(chart, chart.chainage, chart.post, chart.post_unit, posts, far)
    _refuse_disorder(chart, places, range(places.size))
    if length is not None:
        reach = max(REACH, REACH_SHARE * length)
        off = (places < -reach) | (places > length + reach)
        if off.any():
            i = int(off.argmax())
            raise InputError(
                chart.at(i), f"stands at {places[i]:.0f} m", f"the drawn line runs from 0 to {length:.0f} m"
            )
    elif abs(places[0]) > ROUNDING and (places[0] < 0 or np.isnan(chart.grade_before[0])):
        raise InputError(
            chart.at(0),
            f"the first row stands at chainage {places[0]:.1f} m",
            "tie its post to chainage_m = 0 in [posts]" if chart.by_post else "count from the first row, or give posts",
        )
    return places


def _furthest(chart: TrackChart, posts: Posts) -> float:
    """The largest chainage any row can have. [m]"""
    by_post = [
        place
        for i, post in enumerate(chart.post)
        if post and np.isnan(chart.chainage[i])
        for place in posts.chainages(parse_post(post, posts.unit, chart.at(i)))
    ]
    return float(np.nanmax([*chart.chainage, *by_post, 0.0]))


def _placed(
    rows: ChartRows, chainage: FloatArray, post: Sequence[str], unit: str, posts: Posts, length: float
) -> FloatArray:
    """Chainages (n,) as they are, and where there is none, those of the posts. [m]"""
    if unit and unit != posts.unit and any(post):
        raise InputError(rows.source, f"its posts are in {unit}, those of the line in {posts.unit}", "use one unit")
    return np.array(
        [
            chainage_of_post(posts, parse_post(text, posts.unit, rows.at(i)), length, rows.at(i))
            if np.isnan(place)
            else place
            for i, (place, text) in enumerate(zip(chainage.tolist(), post, strict=True))
        ]
    )


def _refuse_disorder(rows: ChartRows, places: FloatArray, order: Sequence[int]) -> None:
    wrong = np.flatnonzero(np.diff(places) <= 0)
    if wrong.size:
        before, here = int(order[wrong[0]]), int(order[wrong[0] + 1])
        a, b = places[wrong[0]], places[wrong[0] + 1]
        raise InputError(
            rows.at(here),
            f"stands at {b:.1f} m, not beyond row {int(rows.row[before])} at {a:.1f} m",
            "sort the rows along the line, one a place",
        )


def charted_line(chart: TrackChart, posts: Posts, step: float) -> tuple[SmoothedLine, StationedLine]:
    """The line from the first to the last row, on no map: it has stations, and NaN for what only a map tells.

    Our own pvis.csv does not hold the ends: its line begins at chainage 0 and ends with its last
    vertical curve or curve.
    """
    places = row_places(chart, posts)
    length = float(places[-1])
    if chart.open_end:
        length += float(np.nan_to_num(chart.curve_length[-1])) / 2
        if chart.curves is not None and chart.curves.row.size:
            length = max(length, float(np.nanmax([*chart.curves.end, 0.0])))
    if length > LONGEST:
        raise InputError(chart.at(-1), f"stands at {length:.0f} m, no railway is as long", "correct it or its unit")
    distance = station_distances(length, step, chart.source)
    line = line_on_no_map(distance)
    fields = (getattr(line, field.name) for field in dataclasses.fields(StationedLine))
    return line, StationedLine(*fields)


def said_of_end(chart: TrackChart) -> tuple[str, ...]:
    """What is assumed of the end of such a line."""
    name = PurePath(chart.source).name
    return (f"{name} has no row for the end: the line ends with its last curve",) if chart.open_end else ()


def line_on_no_map(distance: FloatArray) -> SmoothedLine:
    """A straight line with places (n,) [m] along it and none on the Earth."""
    nowhere, straight = np.full(distance.size, np.nan), np.zeros(distance.size)
    return SmoothedLine(
        distance=distance,
        longitude=nowhere,
        latitude=nowhere,
        heading=nowhere,
        curvature=straight,
        curvature_se=straight,
        lateral_se=nowhere,
        vertex_distance=np.zeros(0),
        vertex_noise=np.nan,
        cut_off=np.nan,
    )


def with_chart_curves(route: Route, curves: ChartCurves | None) -> Route:
    """The route with the curves of a chart's table instead of those of the drawn line, where there is one.

    Raises
    ------
    InputError
        If curves lie off the line, overlap by more than a spiral they share, or have spirals longer than themselves.
    """
    if curves is None:
        return route if route.on_map else dataclasses.replace(route, assumptions=(*route.assumptions, NO_CURVES))
    length = float(route.chainage[-1])
    start = _placed(curves, curves.start, curves.start_post, curves.post_unit, route.posts, length)
    end = _placed(curves, curves.end, curves.end_post, curves.post_unit, route.posts, length)
    _check_curves(curves, start, end, length)
    found = tuple(
        CurveElement(
            number=curves.number[i],
            kind="simple",
            start=float(max(start[i], 0.0)),
            end=float(min(end[i], length)),
            curvature=float(curves.curvature[i]),
            **{name: float(getattr(curves, name)[i]) for name in ("spiral_in", "spiral_out")},
            **{f"{name}_se": float(getattr(curves, f"{name}_se")[i]) for name in _SURE},
        )
        for i in range(start.size)
    )
    named = zip(numbered(found, route.posts), curves.number, strict=True)
    found = tuple(dataclasses.replace(curve, number=stated or curve.number) for curve, stated in named)
    se = np.zeros(route.chainage.size)
    for curve in found:
        inside = (route.chainage >= curve.start) & (route.chainage <= curve.end)
        se[inside] = np.maximum(se[inside], curve.curvature_se)
    curvature = element_curvature(route.chainage, found)
    return dataclasses.replace(route, curves=found, curvature=curvature, curvature_se=se)


_SURE = ("curvature", "start", "end", "spiral_in", "spiral_out", "deflection")


def _check_curves(curves: ChartCurves, start: FloatArray, end: FloatArray, length: float) -> None:
    for i in range(start.size):
        if end[i] - start[i] <= 0:
            raise InputError(curves.at(i), f"its curve ends at {end[i]:.1f} m, where it begins or before", "correct it")
        if start[i] < -ROUNDING or end[i] > length + 1.0:
            raise InputError(
                curves.at(i),
                f"its curve lies outside the line, from {start[i]:.1f} to {end[i]:.1f} m",
                f"the line runs from 0 to {length:.1f} m",
            )
        spirals = float(curves.spiral_in[i] + curves.spiral_out[i])
        if spirals > end[i] - start[i] + ROUNDING:
            raise InputError(
                curves.at(i),
                f"its spirals, {spirals:.1f} m together, are longer than its curve, {end[i] - start[i]:.1f} m",
                "start and end are those of the whole curve, spirals included",
            )
        if i == 0:
            continue
        shared = min(float(curves.spiral_out[i - 1]), float(curves.spiral_in[i]))
        if start[i] < start[i - 1] or end[i - 1] - start[i] > shared + ROUNDING:
            raise InputError(
                curves.at(i),
                f"its curve begins at {start[i]:.1f} m, row {int(curves.row[i - 1])} ends at {end[i - 1]:.1f}",
                "sort the rows along the line; curves overlap by a spiral that they share at most",
            )
