"""A known profile: the rail of a territory's track chart, on its drawn line if it has one."""

from __future__ import annotations

import dataclasses
from pathlib import PurePath

import numpy as np

from profiler.alignment.charted import row_places
from profiler.alignment.route import part_of_route
from profiler.drawn_line import DrawnLine, route_of
from profiler.elevation.charted import chart_polygon, charted_rail
from profiler.errors import CoverageError, TerritoryError
from profiler.profile import Draws, Profile
from profiler.rail import DRAWS, SEED
from profiler.route import Route
from profiler.territory import Territory
from profiler.track_chart import TABLE_SOURCE, TrackChart
from profiler.units import EARTH_RADIUS, PERCENT, FloatArray
from profiler.vertical_curve import Pvi
from profiler.wording import post_text


def charted_profile(territory: Territory, drawn: DrawnLine) -> Profile:
    """The profile of a territory that states it: nothing is estimated but how unsure it is.

    Raises
    ------
    InputError, RouteError
        If rows of its tables are not on the line, contradict each other, or cannot be built.
    CoverageError
        If the table and the drawn line have nothing in common.
    """
    chart, table = drawn.chart, territory.profile
    if chart is None or table is None:
        raise TerritoryError(territory.source, "there is no [profile]", "name its table")
    scale = 1 + float(np.nanmean(chart.elevation)) / EARTH_RADIUS if drawn.centreline.pieces else 1.0
    route = route_of(territory, drawn, scale)
    length = float(route.chainage[-1])
    places = row_places(chart, route.posts, length if route.on_map else None)
    points, said = chart_polygon(chart, places, table.se)
    route, points, cut = _covered(route, points, chart, places)
    rail = charted_rail(points, route.chainage, draws=DRAWS, seed=SEED)
    size = route.chainage.size
    return Profile(
        route=route,
        ground=np.full(size, np.nan),
        elevation=rail.elevation,
        elevation_se=rail.elevation_se,
        grade=rail.grade,
        grade_se=rail.grade_se,
        structure_probability=(route.structure_at(route.chainage) > 0).astype(float),
        ground_source=np.zeros(size),
        ground_weight=np.ones(size),
        draws=Draws(rail.draw_chainage, rail.draw_elevation),
        source_names=(TABLE_SOURCE,),
        vertical_datum=table.vertical_datum,
        units=territory.route.units,
        pvi_visible=True,
        pvis=rail.pvis,
        invented=territory.route.invented,
        curve_compensation=territory.settings.curve_compensation_pct_per_degree * PERCENT,
        assumptions=(*said, *cut, _sure(territory, chart)),
    )


def _sure(territory: Territory, chart: TrackChart) -> str:
    table = territory.profile
    assert table is not None
    stated = table.se_m is not None or table.se_ft is not None or bool(np.isfinite(chart.se).all())
    se = "as stated" if stated else f"{table.se:g} m, as none is stated"
    return f"{PurePath(chart.source).name}: standard error of its elevations {se}, their errors alike over 1 km"


def _covered(
    route: Route, points: tuple[Pvi, ...], chart: TrackChart, places: FloatArray
) -> tuple[Route, tuple[Pvi, ...], tuple[str, ...]]:
    """The part of the line that the table reaches, and its points by chainage from there."""
    s = route.chainage
    start = s[0] if np.isfinite(chart.grade_before[0]) else places[0]
    end = s[-1] if chart.open_end else places[-1]
    near = 1.01 * float(s[1] - s[0])
    inside = np.flatnonzero((s >= start - near) & (s <= end + near))
    if inside.size < 3:
        raise CoverageError(chart.source, "its rows cover nothing of the drawn line", "correct their places")
    first, last = int(inside[0]), int(inside[-1])
    if (first, last) == (0, s.size - 1):
        return route, points, ()
    words = f"{post_text(route.posts, float(s[first]), 2)} … {post_text(route.posts, float(s[last]), 2)}"
    moved = tuple(dataclasses.replace(p, chainage=p.chainage - float(s[first])) for p in points)
    return part_of_route(route, first, last), moved, (f"the drawn line is kept where the table reaches, {words}",)
