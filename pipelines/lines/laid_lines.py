"""A line of an area: a track with its name, stations, posts and limits, from the tags of its ways (pure)."""

from __future__ import annotations

import functools
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby

import numpy as np
from scipy.spatial import cKDTree

from pipelines.lines.line_tags import (
    Post,
    Speed,
    agreeing_posts,
    commonest,
    counted,
    limit_of,
    limits_along,
    plain,
    post_of,
    turned,
)
from pipelines.lines.tracks import FloatArray, Track, earth_centred
from profiler import Piece, PointFeature

STATION_REACH = 150.0
"""A station belongs to a line within this, as for a profile. [m]"""

POST_REACH = 50.0
"""A milepost belongs to a line within this. [m]"""

NAMES_END = 3000.0
"""A station this near to an end of a line names it. [m]"""

_SAMPLES = 100.0
_OTHER_SYSTEMS = ("subway", "light_rail", "monorail", "funicular", "miniature", "tram")

_TAGS = ("osm_id", "ref", "usage", "gauge", "electrified", "layer", "bridge", "bridge:name", "tunnel", "tunnel:name")
"""Tags of ways that are handed on, and all that begin with maxspeed; `name` goes on as `line`."""

Place = tuple[float, float]
"""Longitude, between −180 and 180, and latitude. [degree]"""


@dataclass(frozen=True)
class Named:
    """A station on a line: its ``name``, its ``place`` as mapped, and how far ``along`` the line it is [m]."""

    name: str
    place: Place
    along: float


@dataclass(frozen=True)
class Tied:
    """A ``post`` of a line, where it is mapped, and how far ``along`` [m]."""

    post: Post
    place: Place
    along: float


@dataclass(frozen=True)
class Limit:
    """A ``speed`` that holds for both directions between two places on the line."""

    speed: Speed
    start: Place
    end: Place


@dataclass(frozen=True, eq=False)
class Line:
    """One line of an area, its pieces in order and drawn as it runs.

    ``name`` is unique in the area, ``slug`` a safe file name; ``ref`` and ``line`` are the commonest of its ways;
    ``source`` is the file it comes from, ``length`` [m]. ``stations``, ``posts`` (of one unit, as they agree) and
    ``limits`` lie along it; ``said`` tells what was passed over.
    """

    name: str
    slug: str
    ref: str
    line: str
    source: str
    length: float
    pieces: tuple[Piece, ...]
    stations: tuple[Named, ...] = ()
    posts: tuple[Tied, ...] = ()
    limits: tuple[Limit, ...] = ()
    said: tuple[str, ...] = ()

    @property
    def start(self) -> Place:
        """Its first place."""
        return place_of(self.pieces[0], 0)

    @property
    def end(self) -> Place:
        """Its last place."""
        return place_of(self.pieces[-1], -1)

    @property
    def units(self) -> str:
        """ "us" where its posts or most of its limits are in miles, else "metric"."""
        if self.posts:
            return "us" if self.posts[0].post.unit == "mi" else "metric"
        miles = sum(limit.speed.unit == "mph" for limit in self.limits)
        return "us" if miles > len(self.limits) / 2 else "metric"


def place_of(piece: Piece, vertex: int) -> Place:
    """Where a vertex of a piece lies, its longitude between −180 and 180. [degree]"""
    longitude = float(piece.longitude[vertex])
    return longitude - 360.0 * round(longitude / 360.0), float(piece.latitude[vertex])


@dataclass(frozen=True, eq=False)
class Points:
    """Point features of one kind and a tree of their positions."""

    features: tuple[PointFeature, ...]
    position: FloatArray = field(default_factory=lambda: np.zeros((0, 3)))

    @functools.cached_property
    def tree(self) -> cKDTree:
        """Of the positions."""
        return cKDTree(self.position)

    def beside(self, track: Track, reach: float) -> list[tuple[int, float, float]]:
        """Number, how far along [m] and how far off [m] of those within reach of a track, along it."""
        if not self.features:
            return []
        at, place, _ = track.samples(_SAMPLES)
        near = self.tree.query_ball_point(place, reach + _SAMPLES / 2)
        where: dict[int, list[float]] = {}
        for along, numbers in zip(at.tolist(), near, strict=True):
            for number in numbers:
                where.setdefault(number, []).append(along)
        found = []
        for number, around in sorted(where.items()):
            low, high = max(around[0] - _SAMPLES, 0.0), min(around[-1] + _SAMPLES, track.length)
            along, off = track.part(low, high).foot(self.position[number])
            if off <= reach:
                found.append((number, low + along, off))
        return sorted(found, key=lambda item: (item[1], item[0]))


def points_of(features: Sequence[PointFeature], chosen: Callable[[Mapping[str, object]], bool]) -> Points:
    """Those points whose attributes are chosen."""
    kept = tuple(p for p in features if chosen(p.attributes))
    if not kept:
        return Points(())
    return Points(kept, earth_centred(np.array([p.longitude for p in kept]), np.array([p.latitude for p in kept])))


def is_station(attributes: Mapping[str, object]) -> bool:
    """Whether a node is a named station or halt of a railway in use, of no underground or tramway."""
    return (
        attributes.get("railway") in ("station", "halt")
        and bool(plain(attributes.get("name", "")))
        and attributes.get("station") not in _OTHER_SYSTEMS
        and not any(attributes.get(tag) == "yes" for tag in ("disused", "abandoned", "subway", "tram"))
    )


def is_post(attributes: Mapping[str, object]) -> bool:
    """Whether a node tells a post: a milestone, or a station with its exact position."""
    return attributes.get("railway") == "milestone" or "railway:position:exact" in attributes


@dataclass(frozen=True, eq=False)
class Surroundings:
    """What stands along the lines of an area: its ``pieces``, ``stations`` and ``posts``, and its ``source``."""

    pieces: tuple[Piece, ...]
    stations: Points
    posts: Points
    source: str


def lay_line(track: Track, around: Surroundings, *, ends: tuple[str, str] | None = None) -> Line:
    """A line with all that stands along it, named but not yet told from others of the same name.

    It runs as its posts rise; without posts from west to east. With ``ends`` it runs as it is.
    """
    posts, said = _posts(track, around.posts)
    falling = len(posts) > 1 and posts[-1].post.metres < posts[0].post.metres
    if ends is None and (falling or (not posts and _runs_west(track))):
        track = track.turned()
        posts, said = _posts(track, around.posts)
    stations = _stations(track, around.stations)
    drawn = list(_pieces(track, around.pieces))
    lengths = [end - start for _, start, end in drawn]
    ref, line = (
        commonest([plain(piece.attributes.get(tag, "")) for piece, *_ in drawn], lengths) for tag in ("ref", "line")
    )
    limits, of_limits = _limits(track, drawn)
    name = _name(ref or line, ends or _ends(track, stations, around.stations))
    return Line(
        name=name,
        slug="",
        ref=ref,
        line=line,
        source=around.source,
        length=track.length,
        pieces=tuple(replace(piece, attributes=_handed_on(piece.attributes)) for piece, *_ in drawn),
        stations=stations,
        posts=posts,
        limits=limits,
        said=(*said, *of_limits),
    )


def _runs_west(track: Track) -> bool:
    east = float(track.longitude[-1] - track.longitude[0])
    north = float(track.latitude[-1] - track.latitude[0])
    return (east, north) < (0.0, 0.0) if abs(east) > 1e-6 else north < 0


def _posts(track: Track, posts: Points) -> tuple[tuple[Tied, ...], tuple[str, ...]]:
    """Posts that agree with each other, of the unit most are in."""
    read = [(i, at, post_of(posts.features[i].attributes)) for i, at, _ in posts.beside(track, POST_REACH)]
    found = [(i, at, post) for i, at, post in read if post is not None]
    if not read:
        return (), ()
    units = Counter(post.unit for *_, post in found)
    unit = min(units, key=lambda unit: (-units[unit], unit)) if units else ""
    found = [(i, at, post) for i, at, post in found if post.unit == unit]
    agreed = agreeing_posts([at for _, at, _ in found], [post.metres for *_, post in found])
    passed = len(read) - len(agreed)
    said = (f"{passed} of {len(read)} posts are left out: they do not agree with the others",) if passed else ()
    tied = [found[k] for k in agreed]
    places = [(posts.features[i].longitude, posts.features[i].latitude) for i, *_ in tied]
    return tuple(Tied(post, place, at) for (_, at, post), place in zip(tied, places, strict=True)), said


def _stations(track: Track, stations: Points) -> tuple[Named, ...]:
    """Stations beside the track; of one name within `NAMES_END` the one nearest to it."""
    nearest: dict[str, list[tuple[float, Named]]] = {}
    for i, at, off in stations.beside(track, STATION_REACH):
        point = stations.features[i]
        named = Named(plain(point.attributes["name"]), (point.longitude, point.latitude), at)
        same = nearest.setdefault(named.name, [])
        if same and at - same[-1][1].along < NAMES_END:
            same[-1] = min(same[-1], (off, named), key=lambda item: item[0])
        else:
            same.append((off, named))
    found = [named for same in nearest.values() for _, named in same]
    return tuple(sorted(found, key=lambda named: (named.along, named.name)))


def _pieces(track: Track, pieces: Sequence[Piece]) -> list[tuple[Piece, float, float]]:
    """Pieces as the track runs, from where to where along it [m]; gaps are between them."""
    steps = zip(track.piece.tolist(), track.backward.tolist(), strict=True)
    found, first = [], 0
    for (number, backward), group in groupby(steps):
        last = first + len(list(group))
        if number >= 0:
            tags = pieces[number].attributes
            tags = turned(tags) if backward else dict(tags)
            tags["line"] = tags.pop("name", "")
            inside = slice(first, last + 1)
            piece = Piece(track.longitude[inside], track.latitude[inside], tags, pieces[number].row)
            found.append((piece, float(track.along[first]), float(track.along[last])))
        first = last
    return found


def _handed_on(attributes: Mapping[str, object]) -> dict[str, object]:
    kept = {tag: attributes[tag] for tag in (*_TAGS, "line") if attributes.get(tag)}
    return kept | {tag: value for tag, value in sorted(attributes.items()) if tag.startswith("maxspeed")}


def _limits(track: Track, drawn: Sequence[tuple[Piece, float, float]]) -> tuple[tuple[Limit, ...], tuple[str, ...]]:
    speeds: list[Speed | None] = []
    passed: Counter[str] = Counter()
    differ = 0.0
    for piece, start, end in drawn:
        speed, told, differs = limit_of(piece.attributes)
        speeds.append(speed)
        differ += (end - start) * differs
        for value in told:
            passed[plain(value)] += 1
    # what lies in a gap is of the piece before it
    ends = [start for _, start, _ in drawn[1:]] + [track.length]
    limits = [Limit(speed, track.place(a), track.place(b)) for a, b, speed in limits_along(ends, speeds)]
    said = []
    if passed:
        values = ", ".join(f"{value} ({counted(n, 'way')})" for value, n in sorted(passed.items()))
        said.append(f"maxspeed passed over: {values}")
    if differ:
        said.append(f"over {differ / 1000:.1f} km the directions have different speed limits: the lower one is taken")
    return tuple(limits), tuple(said)


def _ends(track: Track, on_line: Sequence[Named], stations: Points) -> tuple[str, str]:
    """Names of the ends: of the nearest station on the line, else near it, else the first or last on it, or places."""
    found = []
    for at, order in ((0.0, on_line), (track.length, on_line[::-1])):
        near = [named.name for named in order if abs(named.along - at) <= min(NAMES_END, track.length / 2)]
        if not near and stations.features:
            off, i = stations.tree.query(track.at(at)[0])
            near = [plain(stations.features[i].attributes["name"])] if off <= NAMES_END else []
        near = near or [named.name for named in order]
        found.append(near[0] if near else _place_words(*track.place(at)))
    return found[0], found[1]


def _place_words(longitude: float, latitude: float) -> str:
    east, north = "W" if longitude < 0 else "E", "S" if latitude < 0 else "N"
    return f"{abs(latitude):.3f}{north} {abs(longitude):.3f}{east}"


def _name(line: str, ends: tuple[str, str]) -> str:
    way = "-".join(name for name, _ in groupby(ends))
    return plain(f"{line} {way}")
