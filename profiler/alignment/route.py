"""From a smoothed line and a territory's tables to a stationed route with everything along it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from profiler.alignment.curves import element_curvature
from profiler.alignment.known_posts import known_posts, said_of_known
from profiler.alignment.numbering import numbered
from profiler.alignment.parts import cut_curves, cut_places
from profiler.alignment.places import (
    BESIDE,
    LineIndex,
    merged_structures,
    place_on_line,
    structures_from_lines,
    structures_from_tags,
)
from profiler.alignment.posts import (
    chainage_only,
    field_texts,
    in_style,
    parse_post,
    post_of_field,
    posts_from_anchors,
    posts_from_pieces,
    with_equations,
)
from profiler.alignment.smooth import SmoothedLine
from profiler.alignment.spans import PieceSpan
from profiler.alignment.stations import StationedLine
from profiler.centreline import Centreline, PointFeature
from profiler.errors import InputError, RouteError, TerritoryError
from profiler.route import Posts, Route, SpeedLimit, Station, Structure
from profiler.territory import Place, PostsFrom, StructureTable, Territory
from profiler.wording import stretch_words

STATION_REACH = 150.0
"""A station of the vector file belongs to the line within this. [m]"""

END_REACH = 1000.0
"""A station this near to an end names it. [m]"""

POST_REACH = 200.0
"""A post drawn as a point belongs to the line within this. [m]"""


@dataclass(frozen=True)
class Surroundings:
    """What was read besides the line itself.

    ``post_points`` are point features that carry posts; ``structure_lines`` one entry per
    `StructureTable` with a path, in order; ``chart_posts`` are what a known profile's table states.
    """

    post_points: tuple[PointFeature, ...] = ()
    structure_lines: tuple[Centreline, ...] = ()
    chart_posts: Posts | None = None


def line_posts(
    line: SmoothedLine, spans: Sequence[PieceSpan], territory: Territory, around: Surroundings, scale: float
) -> Posts:
    """Posts of the line, from wherever the territory has them, by scaled chainage, and as it writes them.

    Raises
    ------
    InputError
        If posts contradict each other or lie off the line.
    """
    if around.chart_posts is not None:
        return around.chart_posts
    posts = _tied_posts(line, spans, territory, around, scale)
    if not posts.stated:
        return posts
    fields = territory.centreline.posts_from if territory.centreline else None
    values: list[object] = []
    if fields is not None:
        values += [point.attributes.get(fields.post or "") for point in around.post_points]
        values += [span.piece.attributes.get(name or "") for span in spans for name in (fields.start, fields.end)]
    stated, places = territory.written_posts()
    return in_style(posts, stated, field_texts(values), places)


def _tied_posts(
    line: SmoothedLine, spans: Sequence[PieceSpan], territory: Territory, around: Surroundings, scale: float
) -> Posts:
    unit = "mi" if territory.route.units == "us" else "km"
    index = LineIndex(line.distance * scale, line.longitude, line.latitude)
    stated = territory.posts
    by_file = territory.centreline.posts_from if territory.centreline else None
    if stated is not None:
        anchors = []
        for number, entry in enumerate(stated.at, start=1):
            source = f"{territory.source}: posts.at[{number}]"
            place = entry.model_copy(update={"post": None})
            anchors.append((place_of(index, None, place, source), parse_post(entry.post, stated.unit, source)))
        posts = posts_from_anchors(anchors, stated.unit)
        equations = [
            (e.at_chainage_m, parse_post(e.back, stated.unit), parse_post(e.ahead, stated.unit))
            for e in stated.equations
        ]
        return with_equations(posts, equations) if equations else posts
    if by_file is None:
        return chainage_only(unit)
    unit = "mi" if by_file.unit == "mi" else "km"
    if by_file.points is not None:
        return _posts_of_points(index, around.post_points, by_file, unit, f"{territory.source}: {by_file.points}")
    return posts_from_pieces(_scaled(spans, scale), by_file.start or "", by_file.end or "", by_file.unit_m, unit)


def _posts_of_points(
    index: LineIndex, points: Sequence[PointFeature], fields: PostsFrom, unit: str, source: str
) -> Posts:
    anchors = []
    for point in points:
        at, off = index.nearest(point.longitude, point.latitude)
        if off > POST_REACH:
            continue
        value = post_of_field(
            point.attributes.get(fields.post or ""), unit, fields.unit_m, f"{source}, row {point.row}"
        )
        if value is not None:
            anchors.append((at, value))
    if not anchors:
        raise InputError(
            source, f"no point within {POST_REACH:g} m of the line carries {fields.post!r}", "check the field"
        )
    return posts_from_anchors(anchors, unit)


def place_of(index: LineIndex, posts: Posts | None, place: Place, source: str, within: float = BESIDE) -> float:
    """Chainage [m] of a territory's place, refused if off the line; coordinates may lie ``within`` [m] of it.

    Raises
    ------
    InputError, RouteError
        As `place_on_line`.
    """
    if place.post is not None and posts is None:
        raise TerritoryError(source, "a post cannot be placed by a post", "give chainage_m or coordinates")
    return place_on_line(
        index,
        posts if posts is not None else chainage_only("km"),
        post=None if place.post is None or posts is None else parse_post(place.post, posts.unit, source),
        longitude=place.longitude,
        latitude=place.latitude,
        chainage=place.chainage_m,
        source=source,
        within=within,
    )


def _stretch(index: LineIndex, posts: Posts, start: Place, end: Place, source: str) -> tuple[float, float]:
    """Chainages [m] of a territory's two places, the lower first."""
    a, b = (place_of(index, posts, place, f"{source}.{key}") for place, key in ((start, "from"), (end, "to")))
    return min(a, b), max(a, b)


def _scaled(spans: Sequence[PieceSpan], scale: float) -> list[PieceSpan]:
    """Spans by chainage instead of ellipsoidal length."""
    return [dataclasses.replace(s, start=s.start * scale, end=s.end * scale) for s in spans]


def cut_between(
    line: SmoothedLine,
    spans: Sequence[PieceSpan],
    territory: Territory,
    around: Surroundings,
) -> tuple[float, float]:
    """Distances [m] of the ends asked for by post or chainage; start may lie after end.

    Raises
    ------
    InputError
        If such a place is not on the line, or the posts themselves are tied to chainage.
    """
    table = territory.centreline
    assert table is not None
    ends = [0.0, float(line.distance[-1])]
    index = LineIndex(line.distance, line.longitude, line.latitude)
    for which, place in enumerate((table.start, table.end)):
        if place is None or place.longitude is not None:
            continue
        source = f"{territory.source}: centreline.{'end' if which else 'start'}"
        posts = None
        if place.post is not None:
            if territory.posts is not None and any(a.chainage_m is not None for a in territory.posts.at):
                raise TerritoryError(
                    source,
                    "a post that is tied to chainage cannot say where the line begins",
                    "give coordinates",
                )
            posts = line_posts(line, spans, territory, around, 1.0)
        ends[which] = place_of(index, posts, place, source)
    if abs(ends[1] - ends[0]) < 1.0:
        raise RouteError(f"{territory.source}: centreline", "start and end are the same place", "move one of them")
    return ends[0], ends[1]


def lay_route(
    line: SmoothedLine,
    stations: StationedLine,
    spans: Sequence[PieceSpan],
    centreline: Centreline,
    territory: Territory,
    around: Surroundings,
    *,
    scale: float = 1.0,
    assumptions: Sequence[str] = (),
) -> Route:
    """The route: stations by scaled chainage, posts, curves, and all that stands along it.

    Raises
    ------
    InputError
        If a place of the territory is not on the line.
    """
    chainage = stations.distance * scale
    posts = line_posts(line, spans, territory, around, scale)
    index = LineIndex(chainage, stations.longitude, stations.latitude, territory.route.ends or ("", ""))
    named = _stations(index, posts, centreline, territory)
    ends = territory.route.ends or _ends(named, float(chainage[-1]))
    index = index.named(ends)
    curves = numbered(
        tuple(dataclasses.replace(c, start=c.start * scale, end=c.end * scale) for c in line.curves), posts
    )
    structures, said = _structures(index, posts, spans, territory, around, scale)
    limits = _limits(index, posts, territory, "speed_limits")
    return Route(
        chainage=chainage,
        longitude=stations.longitude,
        latitude=stations.latitude,
        heading=stations.heading,
        curvature=element_curvature(chainage, curves),
        curvature_se=stations.curvature_se,
        lateral_se=stations.lateral_se,
        posts=posts,
        name=territory.route.name,
        ends=ends,
        source=centreline.source,
        scale=scale,
        curves=curves,
        corners=tuple(dataclasses.replace(c, chainage=c.chainage * scale) for c in line.corners),
        known_posts=known_posts(posts) if posts.stated else (),
        structures=structures,
        stations=named,
        stops=_stops(index, posts, territory),
        limits=limits,
        slow_orders=_limits(index, posts, territory, "slow_orders"),
        assumptions=(
            *assumptions,
            *said,
            *_said_of_limits(limits, posts),
            *_said_of_posts(posts, territory.route.units),
        ),
    )


def _said_of_posts(posts: Posts, units: str) -> tuple[str, ...]:
    if not posts.stated:
        return ("no posts are given: chainage from the start serves",)
    return said_of_known(posts, units)


def _structures(
    index: LineIndex,
    posts: Posts,
    spans: Sequence[PieceSpan],
    territory: Territory,
    around: Surroundings,
    scale: float,
) -> tuple[tuple[Structure, ...], tuple[str, ...]]:
    found = list(structures_from_tags(_scaled(spans, scale)))
    said: list[str] = []
    files = iter(around.structure_lines)
    for number, table in enumerate(territory.structures, start=1):
        source = f"{territory.source}: structures[{number}]"
        if table.path is None:
            assert table.from_ is not None
            assert table.to is not None
            start, end = _stretch(index, posts, table.from_, table.to, source)
            found.append(Structure(table.kind, start, end, table.name, "posts"))
            continue
        lines = next(files)
        more, words = _from_file(index, posts, table, lines, territory)
        found += more
        said += words
        if not more:
            said.append(f"{lines.source}: none of its {table.kind}s lies on the line")
    length = float(index.chainage[-1])
    on_line = [  # a piece may go on beyond the places where the line is cut
        dataclasses.replace(s, start=max(s.start, 0.0), end=min(s.end, length))
        for s in found
        if s.start < length and s.end > 0.0
    ]
    return merged_structures(on_line), tuple(said)


def _from_file(
    index: LineIndex, posts: Posts, table: StructureTable, lines: Centreline, territory: Territory
) -> tuple[tuple[Structure, ...], tuple[str, ...]]:
    fields = table.posts_from
    by_file = territory.centreline.posts_from if territory.centreline else None
    pieces = [(p.longitude, p.latitude, p.attributes, p.row) for p in lines.pieces]
    return structures_from_lines(
        pieces,
        index,
        posts,
        kind=table.kind,
        name_field=table.name_from,
        start_field=fields.start if fields else None,
        length_field=fields.length_m if fields else None,
        end_field=fields.end if fields else None,
        post_unit_m=by_file.unit_m if by_file else posts.unit_m,
        source=lines.source,
    )


def _stations(index: LineIndex, posts: Posts, centreline: Centreline, territory: Territory) -> tuple[Station, ...]:
    found = []
    for number, table in enumerate(territory.stations, start=1):
        at = place_of(index, posts, table.at, f"{territory.source}: stations[{number}].at")
        found.append(Station(table.name, at))
    if not found:
        for point in centreline.points:
            name = point.attributes.get("name")
            if name is None or not _is_station(point.attributes):
                continue
            at, off = index.nearest(point.longitude, point.latitude)
            if off <= STATION_REACH:
                found.append(Station(str(name), at))
    return tuple(sorted(found, key=lambda s: (s.chainage, s.name)))


def _stops(index: LineIndex, posts: Posts, territory: Territory) -> tuple[Station, ...]:
    found = [
        Station(table.at.words(), place_of(index, posts, table.at, f"{territory.source}: stops[{number}].at"))
        for number, table in enumerate(territory.stops, start=1)
    ]
    return tuple(sorted(found, key=lambda s: s.chainage))


def _is_station(attributes: Mapping[str, object]) -> bool:
    return attributes.get("railway") in ("station", "halt", "stop")


def _ends(stations: Sequence[Station], length: float) -> tuple[str, str]:
    """Names of the ends: the nearest station within `END_REACH` of each, else nothing."""
    start = next((s.name for s in stations if s.chainage <= END_REACH), "")
    end = next((s.name for s in reversed(stations) if s.chainage >= length - END_REACH), "")
    return (start, end) if start != end else ("", "")


def _limits(index: LineIndex, posts: Posts, territory: Territory, name: str) -> tuple[SpeedLimit, ...]:
    found = []
    for number, table in enumerate(getattr(territory, name), start=1):
        source = f"{territory.source}: {name}[{number}]"
        start, end = _stretch(index, posts, table.from_, table.to, source)
        if end - start < 1.0:
            raise TerritoryError(source, "from and to are the same place", "move one of them")
        found.append(
            SpeedLimit(
                start,
                end,
                table.speed,
                train_class=getattr(table, "train_class", ""),
                reason=getattr(table, "reason", ""),
            )
        )
    return tuple(sorted(found, key=lambda s: (s.start, s.end)))


def _said_of_limits(limits: Sequence[SpeedLimit], posts: Posts) -> Iterator[str]:
    """Where two limits of one class overlap: the lower one is taken."""
    for i, one in enumerate(limits):
        for other in limits[i + 1 :]:
            start, end = max(one.start, other.start), min(one.end, other.end)
            if end - start > 1.0 and one.train_class == other.train_class and one.speed != other.speed:
                yield f"two speed limits overlap, {stretch_words(posts, start, end)}: the lower one is taken"


def part_of_route(route: Route, first: int, last: int) -> Route:
    """The route between two stations (indices, both included), chainage from the first of them."""
    origin, length = float(route.chainage[first]), float(route.chainage[last] - route.chainage[first])
    keep = slice(first, last + 1)

    def clipped(items: Sequence[Structure] | Sequence[SpeedLimit]) -> tuple[Structure | SpeedLimit, ...]:
        moved = (
            dataclasses.replace(x, start=max(x.start - origin, 0.0), end=min(x.end - origin, length)) for x in items
        )
        return tuple(x for x in moved if x.end > x.start)

    return dataclasses.replace(
        route,
        chainage=route.chainage[keep] - origin,
        longitude=route.longitude[keep],
        latitude=route.latitude[keep],
        heading=route.heading[keep],
        curvature=route.curvature[keep],
        curvature_se=route.curvature_se[keep],
        lateral_se=route.lateral_se[keep],
        posts=dataclasses.replace(route.posts, chainage=route.posts.chainage - origin),
        # a name of an end that was cut off no longer says where the line ends
        ends=(route.ends[0] if first == 0 else "", route.ends[1] if last == route.chainage.size - 1 else ""),
        curves=cut_curves(route.curves, origin, length),
        corners=cut_places(route.corners, origin, length),
        known_posts=cut_places(route.known_posts, origin, length),
        structures=clipped(route.structures),  # type: ignore[arg-type]
        limits=clipped(route.limits),  # type: ignore[arg-type]
        slow_orders=clipped(route.slow_orders),  # type: ignore[arg-type]
        stations=cut_places(route.stations, origin, length),
        stops=cut_places(route.stops, origin, length),
    )
