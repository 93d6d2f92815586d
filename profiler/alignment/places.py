"""Places on a stationed line: what lies beside it, what was drawn along it."""

from __future__ import annotations

import copy
import functools
import math
from collections.abc import Mapping, Sequence

import numpy as np
from scipy.spatial import cKDTree

from profiler.alignment.posts import post_of_field
from profiler.alignment.smooth import earth_centred
from profiler.alignment.spans import PieceSpan
from profiler.errors import InputError, RouteError
from profiler.route import Posts, Structure
from profiler.units import KILOMETRE, FloatArray
from profiler.wording import equation_text, post_named, post_value

NEAR = 100.0
"""A structure's line belongs to the route where it stays within this. [m]"""

BESIDE = 1000.0
"""A named place further away than this is not on the line. [m]"""


class LineIndex:
    """Nearest stations of a line, found fast. ``chainage``, ``longitude``, ``latitude`` are (n,).

    ``ends`` are the names of its start and end, for those who look for a place beyond them. A line that lies
    on no map has NaN for its coordinates: nothing is near it.
    """

    def __init__(
        self, chainage: FloatArray, longitude: FloatArray, latitude: FloatArray, ends: tuple[str, str] = ("", "")
    ) -> None:
        self.chainage, self.ends = chainage, ends
        self._longitude, self._latitude = longitude, latitude
        self._step = float(np.diff(chainage).max())

    @property
    def on_map(self) -> bool:
        """Whether the line has coordinates."""
        return bool(np.isfinite(self._longitude[0]))

    def named(self, ends: tuple[str, str]) -> LineIndex:
        """The same line with other names of its ends."""
        other = copy.copy(self)
        other.ends = ends
        return other

    @functools.cached_property
    def _position(self) -> FloatArray:
        return earth_centred(self._longitude, self._latitude)

    @functools.cached_property
    def _tree(self) -> cKDTree:  # only where something is looked for: posts alone need none
        return cKDTree(self._position)

    def nearest(self, longitude: float, latitude: float) -> tuple[float, float]:
        """Chainage [m] of the place nearest to a point, and how far off the point is [m]."""
        point = earth_centred(np.array([longitude]), np.array([latitude]))[0]
        _, i = self._tree.query(point)
        return self._foot(point, int(i))

    def _foot(self, point: FloatArray, i: int) -> tuple[float, float]:
        """Chainage [m] and distance [m] of the place nearest to a point around its nearest station."""
        best = (float(self.chainage[i]), float(np.linalg.norm(self._position[i] - point)))
        for j in (i - 1, i):  # the foot of the perpendicular on either neighbouring step
            if 0 <= j < self.chainage.size - 1:
                a, b = self._position[j], self._position[j + 1]
                share = float(np.clip((point - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1))
                off = float(np.linalg.norm(a + share * (b - a) - point))
                if off < best[1]:
                    best = (float(self.chainage[j] + share * (self.chainage[j + 1] - self.chainage[j])), off)
        return best

    def candidates(self, longitude: float, latitude: float, within: float) -> list[tuple[float, float]]:
        """(chainage, distance) [m] of every separate passage of the line within reach of a point."""
        if not self.on_map:
            return []
        point = earth_centred(np.array([longitude]), np.array([latitude]))[0]
        reach = np.hypot(within, self._step / 2)  # of a station, so that no place between two is missed
        near = np.sort(np.asarray(self._tree.query_ball_point(point, reach), dtype=int))
        found = []
        for group in np.split(near, np.flatnonzero(np.diff(near) > 5) + 1):
            if group.size:
                off = np.linalg.norm(self._position[group] - point, axis=1)
                found.append(self._foot(point, int(group[np.argmin(off)])))
        return [place for place in found if place[1] <= within]


def chainage_of_post(
    posts: Posts,
    value: float,
    length: float,
    source: str,
    ends: tuple[str, str] = ("", ""),
    instead: str = "give chainage_m instead",
) -> float:
    """Chainage [m] of a post value, refused outside the line by naming its ends, their names included.

    ``instead`` is what to do about a post that stands twice.

    Raises
    ------
    InputError
        If the post is not on the line, is left out by an equation, or occurs twice.
    """
    found = [c for c in posts.chainages(value) if -1.0 <= c <= length + 1.0]
    if len(found) == 1:
        return float(np.clip(found[0], 0.0, length))
    post = f"post {post_named(posts, value)}"
    equations = [equation for equation in posts.equations if 0.0 < equation[0] < length]
    if found:
        between = [equation_text(posts, *values) for at, *values in equations if found[0] <= at <= found[-1]]
        places = " and ".join(f"{c:.0f}" for c in found)
        raise InputError(
            source,
            f"{post} stands {'twice' if len(found) == 2 else f'{len(found)} times'} on the line, at chainage_m "
            f"{places}, on both sides of {' and '.join(between)}",
            instead,
        )
    for _, back, ahead in equations:
        if min(back, ahead) < value < max(back, ahead):
            raise InputError(source, f"{post} is left out by {equation_text(posts, back, ahead)}", "correct the post")
    first, last = (float(posts.at(x)) for x in (0.0, length))
    start, end = (f" ({name})" if name else "" for name in ends)
    raise InputError(
        source,
        f"{post} lies outside the line, which runs from {post_named(posts, first, 2)}{start} "
        f"to {post_value(posts, last, 2)}{end}",
        "correct the post",
    )


def structures_from_tags(spans: Sequence[PieceSpan]) -> tuple[Structure, ...]:
    """Tunnels and bridges tagged on the pieces themselves; neighbours of one kind are joined."""
    found: list[Structure] = []
    for span in spans:
        for kind in ("tunnel", "bridge"):
            value = str(span.piece.attributes.get(kind, "no")).lower()
            if value in ("no", "", "none", "0", "false", "culvert"):
                continue
            name = str(span.piece.attributes.get(f"{kind}:name") or span.piece.attributes.get("name") or "")
            last = found[-1] if found else None
            if last is not None and last.kind == kind and span.start - last.end < 1.0 and last.name == name:
                found[-1] = Structure(kind, last.start, span.end, name, "tags")
            else:
                found.append(Structure(kind, span.start, span.end, name, "tags"))
    return tuple(found)


def structure_by_geometry(index: LineIndex, longitude: FloatArray, latitude: FloatArray) -> tuple[float, float] | None:
    """Start and end chainage [m] of a drawn structure, None where it is not on the line.

    Both ends must lie within `NEAR` of the line, and the way between them along the line must be
    as long as the drawing, so that a helical line is not cut short where it crosses itself, and
    what crosses the line is not taken for a part of it.
    """
    position = earth_centred(longitude, latitude)
    drawn = float(np.linalg.norm(np.diff(position, axis=0), axis=1).sum())
    heads = index.candidates(float(longitude[0]), float(latitude[0]), NEAR)
    tails = index.candidates(float(longitude[-1]), float(latitude[-1]), NEAR)
    best: tuple[float, float, float] | None = None
    for head, off_head in heads:
        for tail, off_tail in tails:
            misfit = abs(abs(tail - head) - drawn)
            if misfit <= max(min(NEAR, 0.5 * drawn), 0.2 * drawn):
                cost = misfit + off_head + off_tail
                if best is None or cost < best[0]:
                    best = (cost, min(head, tail), max(head, tail))
    return None if best is None else best[1:]


def structures_from_lines(
    pieces: Sequence[tuple[FloatArray, FloatArray, Mapping[str, object], int]],
    index: LineIndex,
    posts: Posts,
    *,
    kind: str,
    name_field: str | None,
    start_field: str | None,
    length_field: str | None,
    end_field: str | None,
    post_unit_m: float,
    source: str,
) -> tuple[tuple[Structure, ...], tuple[str, ...]]:
    """Structures of a second file, by geometry first and by their posts second; what disagrees is said.

    ``pieces`` are (longitude, latitude, attributes, row). Those that lie off the line are left out.
    """
    found: list[Structure] = []
    said: list[str] = []
    length = float(index.chainage[-1])
    for longitude, latitude, attributes, row in pieces:
        name = str(attributes.get(name_field, "") or "") if name_field else ""
        label = name or f"row {row}"
        by_line = structure_by_geometry(index, longitude, latitude)
        by_post = _extent_by_posts(
            attributes,
            posts,
            length,
            start_field,
            length_field,
            end_field,
            post_unit_m,
            f"{source}, row {row}",
            by_line,
        )
        extent = by_line or by_post
        if extent is None:
            continue
        if by_line and by_post and abs(by_line[0] - by_post[0]) > NEAR:
            said.append(
                f"{source}: {kind} {label} is drawn {abs(by_line[0] - by_post[0]):.0f} m away from its post: "
                "the drawing counts"
            )
        found.append(Structure(kind, extent[0], extent[1], name, source))
    return tuple(sorted(found, key=lambda s: s.start)), tuple(said)


def _extent_by_posts(
    attributes: Mapping[str, object],
    posts: Posts,
    length: float,
    start_field: str | None,
    length_field: str | None,
    end_field: str | None,
    post_unit_m: float,
    source: str,
    by_line: tuple[float, float] | None,
) -> tuple[float, float] | None:
    """Start and end chainage [m] by posts, None where there are none or they are not on the line.

    A post that stands twice is the one nearer to the drawing; without a drawing it is refused.
    """

    def post(field: str | None) -> float | None:
        return post_of_field(attributes.get(field or ""), posts.unit, post_unit_m, f"{source}, field {field}")

    value = post(start_field)
    if value is None:
        return None
    places = [c for c in posts.chainages(value) if 0 <= c <= length]
    if not places:
        return None
    if by_line is None and len(places) > 1:
        instead = f"draw it within {NEAR:g} m of the line"
        chainage_of_post(posts, value, length, f"{source}, field {start_field}", instead=instead)
    start = places[0] if by_line is None else min(places, key=lambda place: abs(place - by_line[0]))
    last = post(end_field)
    run = _length(attributes.get(length_field or ""), f"{source}, field {length_field}")
    if run is None and last is not None:
        run = abs(last - value) * posts.unit_m
    if run is None:
        return None
    end = start + (run if posts.rising else -run)
    return max(min(start, end), 0.0), min(max(start, end), length)


def _length(value: object, source: str) -> float | None:
    """Length [m] that a field holds, None where it is empty."""
    if value is None:
        return None
    try:
        length = float(str(value))
    except ValueError:
        length = math.nan
    if not length >= 0 or math.isinf(length):
        raise InputError(source, f"{value!r} is no length in metres", "correct it or leave it empty")
    return length


def merged_structures(structures: Sequence[Structure]) -> tuple[Structure, ...]:
    """In order of chainage, the same structure told twice (tags and a file) kept once, the named one."""
    kept: list[Structure] = []
    for item in sorted(structures, key=lambda s: (s.start, s.end)):
        k = next((k for k in reversed(range(len(kept))) if kept[k].kind == item.kind), None)
        last = item if k is None else kept[k]
        if k is not None and _overlap(last, item) > 0.5:
            better = last if last.name or not item.name else item
            kept[k] = Structure(
                item.kind, min(last.start, item.start), max(last.end, item.end), better.name, better.origin
            )
        else:
            kept.append(item)
    return tuple(kept)


def _overlap(a: Structure, b: Structure) -> float:
    """Share of the shorter one that both cover."""
    common = min(a.end, b.end) - max(a.start, b.start)
    return max(common, 0.0) / max(min(a.end - a.start, b.end - b.start), 1e-9)


def place_on_line(
    index: LineIndex,
    posts: Posts,
    *,
    post: float | None,
    longitude: float | None,
    latitude: float | None,
    chainage: float | None,
    source: str,
    within: float = BESIDE,
) -> float:
    """Chainage [m] of a place given in one of the three ways.

    Raises
    ------
    InputError
        If a post or a chainage is not on the line.
    RouteError
        If a coordinate is further than ``within`` [m] from it.
    """
    length = float(index.chainage[-1])
    if post is not None:
        return chainage_of_post(posts, post, length, source, index.ends)
    if chainage is not None:
        if not -1.0 <= chainage <= length + 1.0:
            raise InputError(source, f"chainage {chainage:g} m is not on the line", f"the line is {length:.0f} m long")
        return float(np.clip(chainage, 0.0, length))
    assert longitude is not None
    assert latitude is not None
    if not index.on_map:
        raise RouteError(source, "coordinates cannot be placed, the line lies on no map", "give a post or chainage_m")
    at, off = index.nearest(longitude, latitude)
    if off > within:
        far = f"{off / 1000:.1f} km" if off >= KILOMETRE else f"{off:.0f} m"
        raise RouteError(
            source,
            f"longitude {longitude:.5f}, latitude {latitude:.5f} is {far} from the line",
            "correct the coordinates",
        )
    return at
