"""A territory's line: read, joined, cut between its ends, smoothed, and laid as a route."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from profiler.alignment.charted import (
    LONGEST,
    chart_posts,
    charted_line,
    line_on_no_map,
    said_of_end,
    with_chart_curves,
)
from profiler.alignment.join import Joined, join
from profiler.alignment.route import Surroundings, cut_between, lay_route, line_posts
from profiler.alignment.smooth import SmoothedLine
from profiler.alignment.spans import PieceSpan, piece_spans
from profiler.alignment.stations import StationedLine, lay_stations
from profiler.alignment.stray import without_strays
from profiler.alignment.track import track_of
from profiler.centreline import Centreline
from profiler.errors import TerritoryError
from profiler.progress import Progress, quiet
from profiler.read.centreline import read_centreline
from profiler.read.points import read_points
from profiler.read.track_chart import read_track_chart
from profiler.route import Route
from profiler.territory import CentrelineTable, Place, Territory
from profiler.track_chart import TrackChart


@dataclass(frozen=True, eq=False)
class DrawnLine:
    """A territory's line as read, joined, cut between its ends and smoothed.

    ``chart`` is the track chart of a known profile, whose curves count; without a drawn line the
    centreline has no pieces, and the line lies on no map.
    """

    centreline: Centreline
    line: SmoothedLine
    spans: tuple[PieceSpan, ...]
    stations: StationedLine
    around: Surroundings
    assumptions: tuple[str, ...]
    chart: TrackChart | None = None


def draw_line(territory: Territory, progress: Progress = quiet) -> DrawnLine:
    """Read, join and smooth the line of a territory, and read what stands beside it.

    Where a known profile is all there is, its table is the line.

    Raises
    ------
    InputError, RouteError, MissingCRSError
        As the readers and the joining do.
    """
    progress("reading the line", 0.0)
    table, chart = territory.centreline, _chart(territory)
    if table is None:
        return _charted(territory, chart)
    keep = {field: list(values) for field, values in table.keep.items()} if table.keep else None
    centreline = read_centreline(territory.folder / table.path, layer=table.layer, keep=keep)
    around = _surroundings(territory, chart)
    joined = join(centreline, start=_coordinates(table.start), end=_coordinates(table.end))
    joined, of_strays = without_strays(joined, centreline)
    line, spans = _smoothed(centreline, joined, territory.settings.fast_curves)
    start, end = cut_between(line, spans, territory, around)
    if start > end:
        joined = _turned(joined)
        line, spans = _smoothed(centreline, joined, territory.settings.fast_curves)
        start, end = cut_between(line, spans, territory, around)
    if start > 0 or end < line.distance[-1]:
        line = line.part(start, end)
        spans = tuple(dataclasses.replace(s, start=s.start - start, end=s.end - start) for s in spans)
    stations = lay_stations(line, territory.settings.step_m)
    said = (*_drawn_by(table), *centreline.assumptions, *joined.assumptions, *of_strays, *_said_of_curves(territory))
    return DrawnLine(centreline, line, spans, stations, around, said, chart)


def _drawn_by(table: CentrelineTable) -> tuple[str, ...]:
    """Whose the drawing is: what is assumed of a line rests on it, and goes wherever the line goes."""
    said = [
        *([f"the line is as drawn by {table.attribution}"] if table.attribution else []),
        *([f"licence of the drawing: {table.licence}"] if table.licence else []),
    ]
    return ("; ".join(said),) if said else ()


def _chart(territory: Territory) -> TrackChart | None:
    table = territory.profile
    if table is None:
        return None
    curves = None if table.curves is None else territory.folder / table.curves
    return read_track_chart(territory.folder / table.table, curves)


def _charted(territory: Territory, chart: TrackChart | None) -> DrawnLine:
    """The line of a track chart alone."""
    if chart is None:
        raise TerritoryError(territory.source, "there is no [centreline]", "say where the line is, with path = …")
    around = _surroundings(territory, chart)
    nowhere = Centreline(Path(chart.source).name, (), "")
    # posts come first, they tell how long the line is
    posts = line_posts(line_on_no_map(np.array([0.0, LONGEST])), (), territory, around, 1.0)
    line, stations = charted_line(chart, posts, territory.settings.step_m)
    return DrawnLine(nowhere, line, (), stations, around, said_of_end(chart), chart)


def _said_of_curves(territory: Territory) -> tuple[str, ...]:
    fast = territory.settings.fast_curves
    return ("curves are a first look: read off a spline, their standard errors not known",) if fast else ()


def _coordinates(place: Place | None) -> tuple[float, float] | None:
    if place is None or place.longitude is None or place.latitude is None:
        return None
    return place.longitude, place.latitude


def _smoothed(centreline: Centreline, joined: Joined, fast: bool) -> tuple[SmoothedLine, tuple[PieceSpan, ...]]:
    line = track_of(joined.longitude, joined.latitude, fast=fast)
    return line, piece_spans(centreline.pieces, joined, line.vertex_distance)


def _turned(joined: Joined) -> Joined:
    last = joined.longitude.size - 1
    spans = tuple(
        dataclasses.replace(s, first=last - s.last, last=last - s.first, start=s.end, end=s.start)
        for s in reversed(joined.spans)
    )
    return Joined(joined.longitude[::-1], joined.latitude[::-1], spans, joined.assumptions)


def _surroundings(territory: Territory, chart: TrackChart | None) -> Surroundings:
    fields = territory.centreline.posts_from if territory.centreline else None
    points = read_points(territory.folder / fields.points) if fields and fields.points else ()
    lines = tuple(
        read_centreline(territory.folder / table.path, layer=table.layer)
        for table in territory.structures
        if table.path is not None
    )
    return Surroundings(points, lines, None if chart is None else chart_posts(chart, territory))


def route_of(territory: Territory, drawn: DrawnLine, scale: float = 1.0) -> Route:
    """The route of a line already drawn; ``scale`` from ellipsoidal length to chainage."""
    route = lay_route(
        drawn.line,
        drawn.stations,
        drawn.spans,
        drawn.centreline,
        territory,
        drawn.around,
        scale=scale,
        assumptions=drawn.assumptions,
    )
    return route if drawn.chart is None else with_chart_curves(route, drawn.chart.curves)
