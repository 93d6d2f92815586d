"""Tracks as a network of ways draws them, chained to strokes that go straight on through switches (pure).

Lengths and distances are those of chords in earth-centred coordinates: metres anywhere, across the 180° meridian
too, and shorter than the geodesic by less than 1e-8 of themselves at the spacing of drawn lines.
"""

from __future__ import annotations

import functools
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pyproj
from scipy.spatial import cKDTree

from profiler import Piece

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int_]
BoolArray = npt.NDArray[np.bool_]

AIM = 20.0
"""The direction of an end is taken over this length. [m]"""

STRAIGHT = -0.7
"""Cosine between two ways out of a switch up to which a train goes straight through (45°)."""

TURN_BACK = 0.5
"""The same where only two ways meet: a line may bend there, but no train turns back (120°)."""

GAP = 30.0
"""Loose ends that go on straight are taken for one track up to this far apart, as a profile does it. [m]"""

GAP_STRAIGHT = -0.9


@dataclass(frozen=True, eq=False)
class Track:
    """Vertices of one track in order, and what they are drawn from.

    ``longitude`` (n,), continuous, ``latitude`` (n,) [degree]; ``position`` (n, 3) earth-centred [m];
    ``node`` (n,) numbers places that ways share, −1 at others; ``piece`` (n − 1,) is the piece a step is
    drawn in, −1 where it passes a gap; ``backward`` (n − 1,) tells steps against the drawing.
    """

    longitude: FloatArray
    latitude: FloatArray
    position: FloatArray
    node: IntArray
    piece: IntArray
    backward: BoolArray

    @functools.cached_property
    def along(self) -> FloatArray:
        """(n,) [m] from the first vertex."""
        return np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(self.position, axis=0), axis=1))]

    @property
    def length(self) -> float:
        """[m]"""
        return float(self.along[-1])

    def turned(self) -> Track:
        """The same track run from its other end."""
        return Track(
            self.longitude[::-1],
            self.latitude[::-1],
            self.position[::-1],
            self.node[::-1],
            self.piece[::-1],
            ~self.backward[::-1],
        )

    def at(self, along: FloatArray | float) -> FloatArray:
        """Positions (k, 3) [m] at distances (k,) from the start [m]."""
        step, share = self._steps(np.atleast_1d(np.asarray(along, dtype=float)))
        a, b = self.position[step], self.position[step + 1]
        return a + share[:, None] * (b - a)

    def _steps(self, along: FloatArray) -> tuple[IntArray, FloatArray]:
        """The step in which distances (k,) [m] lie, and the share of it before them."""
        step = np.clip(np.searchsorted(self.along, along, side="right") - 1, 0, self.piece.size - 1)
        share = (along - self.along[step]) / np.maximum(self.along[step + 1] - self.along[step], 1e-9)
        return step, np.clip(share, 0.0, 1.0)

    def _degrees(self, along: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Longitudes and latitudes at distances (k,) [m]: a vertex's own bit for bit, others to a centimetre."""
        step, share = self._steps(along)
        step, share = np.where(share == 1.0, step + 1, step), np.where(share == 1.0, 0.0, share)
        after = np.minimum(step + 1, self.longitude.size - 1)
        columns = (x[step] + share * (x[after] - x[step]) for x in (self.longitude, self.latitude))
        longitude, latitude = (np.where(share > 0, np.round(x, 7), x) for x in columns)
        return longitude, latitude

    def place(self, along: float) -> tuple[float, float]:
        """Longitude, between −180 and 180, and latitude at a distance from the start. [degree]"""
        longitude, latitude = (float(x[0]) for x in self._degrees(np.array([along])))
        return longitude - 360.0 * round(longitude / 360.0), latitude

    def heading(self, along: float, direction: int) -> FloatArray:
        """Unit vector (3,) of the way on from a place with (1) or against (−1) the track."""
        there = min(max(along + direction * AIM, 0.0), self.length)
        return unit(self.at(there)[0] - self.at(along)[0])

    def way_out(self, side: int) -> FloatArray:
        """Unit vector (3,) that leaves the first (0) or last (1) vertex into the track."""
        return self.heading(side * self.length, -1 if side else 1)

    def samples(self, spacing: float) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Places every ``spacing`` [m] or less: how far along (k,) [m], position and heading (k, 3)."""
        at = np.linspace(0.0, self.length, max(int(np.ceil(self.length / spacing)), 1) + 1)
        step, _ = self._steps(at)
        way = self.position[step + 1] - self.position[step]
        return at, self.at(at), way / np.maximum(np.linalg.norm(way, axis=1), 1e-9)[:, None]

    def foot(self, point: FloatArray) -> tuple[float, float]:
        """How far along [m] the place nearest to a point (3,) lies, and how far off the point is [m]."""
        a = self.position[:-1]
        way = np.diff(self.position, axis=0)
        square = np.maximum((way**2).sum(axis=1), 1e-12)
        share = np.clip(((point - a) * way).sum(axis=1) / square, 0.0, 1.0)
        off = np.linalg.norm(a + share[:, None] * way - point, axis=1)
        i = int(np.argmin(off))
        return float(self.along[i] + share[i] * np.sqrt(square[i])), float(off[i])

    def part(self, start: float, end: float) -> Track:
        """The track between two distances from its start [m], vertices as drawn in between."""
        first, last = np.searchsorted(self.along, (start + 0.01, end - 0.01))
        inside = slice(int(first), int(last))
        at = np.r_[start, self.along[inside], end]
        longitude, latitude = self._degrees(at)
        node = np.r_[self._node_at(start), self.node[inside], self._node_at(end)]
        step, _ = self._steps((at[:-1] + at[1:]) / 2)
        return Track(longitude, latitude, self.at(at), node, self.piece[step], self.backward[step])

    def _node_at(self, along: float) -> int:
        step, share = (x[0] for x in self._steps(np.array([along])))
        i = int(step) + int(share > 0.5)
        return int(self.node[i]) if abs(float(self.along[i]) - along) <= 0.01 else -1


def unit(vector: FloatArray) -> FloatArray:
    """A vector (3,) of length 1."""
    return vector / max(float(np.linalg.norm(vector)), 1e-9)


@functools.cache
def _to_earth_centred() -> pyproj.Transformer:
    return pyproj.Transformer.from_crs("EPSG:4979", "EPSG:4978", always_xy=True)


def earth_centred(longitude: FloatArray, latitude: FloatArray) -> FloatArray:
    """Positions (n, 3) [m] of places on the WGS 84 ellipsoid, longitudes and latitudes (n,) [degree]."""
    return np.column_stack(_to_earth_centred().transform(longitude, latitude, np.zeros(np.shape(longitude))))


def length_of(pieces: Sequence[Piece]) -> float:
    """Length of all pieces together. [m]"""
    owner = np.repeat(np.arange(len(pieces)), [piece.longitude.size for piece in pieces])
    place = earth_centred(*(np.concatenate([getattr(p, axis) for p in pieces]) for axis in ("longitude", "latitude")))
    return float(np.linalg.norm(np.diff(place, axis=0), axis=1)[np.diff(owner) == 0].sum())


def links_of(pieces: Sequence[Piece]) -> list[Track]:
    """Every piece, cut where it shares a vertex with another or with itself."""
    longitude = np.concatenate([piece.longitude for piece in pieces])
    latitude = np.concatenate([piece.latitude for piece in pieces])
    position = earth_centred(longitude, latitude)
    key = _key(longitude, latitude)
    owner = np.repeat(np.arange(len(pieces)), [piece.longitude.size for piece in pieces])
    ends = np.flatnonzero(np.r_[True, np.diff(owner) > 0, True])
    _, which, often = np.unique(key, return_inverse=True, return_counts=True)
    shared = often[which] > 1
    shared[ends[:-1]] = shared[ends[1:] - 1] = True
    node = np.where(shared, which, -1)
    cuts = np.flatnonzero(shared)
    links = []
    for a, b in pairwise(cuts.tolist()):
        if owner[a] == owner[b]:
            part, steps = slice(a, b + 1), int(b - a)
            piece, backward = np.full(steps, owner[a]), np.zeros(steps, dtype=bool)
            links.append(Track(longitude[part], latitude[part], position[part], node[part], piece, backward))
    return [link for link in links if link.length > 0]


def _key(longitude: FloatArray, latitude: FloatArray) -> IntArray:
    """One whole number a place, equal for places that agree to 1e-7 degree, as nodes of OpenStreetMap are kept."""
    east = np.rint((longitude + 180) * 1e7).astype(np.int64) % 3_600_000_000
    return np.asarray(east * 1_800_000_001 + np.rint((latitude + 90) * 1e7).astype(np.int64))


def strokes_of(links: Sequence[Track], pieces: Sequence[Piece]) -> list[Track]:
    """Links chained through the places where they meet: along one ref or name, else straight on."""
    ways = np.array([(link.way_out(0), link.way_out(1)) for link in links]).reshape(-1, 3)
    node = np.array([(link.node[0], link.node[-1]) for link in links]).ravel()
    line = [_line_of(pieces[int(link.piece[0])]) for link in links]
    meeting: dict[int, list[int]] = defaultdict(list)
    for end, place in enumerate(node.tolist()):
        meeting[place].append(end)
    mate = np.full(node.size, -1)
    loose = []
    for ends in meeting.values():
        if len(ends) == 1:
            loose += ends
        for a, b in _straightest(ends, ways, line):
            mate[a], mate[b] = b, a
    _close_gaps(np.array(loose, dtype=int), links, ways, mate)
    return [chain for chain, _ in chained(links, mate)]


def _line_of(piece: Piece) -> tuple[str, str, str]:
    ref, name, usage = (str(piece.attributes.get(tag, "")) for tag in ("ref", "name", "usage"))
    return ref, name, usage


def _straightest(ends: list[int], ways: FloatArray, line: list[tuple[str, str, str]]) -> Iterable[tuple[int, int]]:
    """Pairs of ends (2 · link + side) at one place that go on into each other, the best first."""
    limit = TURN_BACK if len(ends) == 2 else STRAIGHT
    found = []
    for i, a in enumerate(ends):
        for b in ends[i + 1 :]:
            straight = float(ways[a] @ ways[b])
            if straight <= limit and a // 2 != b // 2:
                one, other = line[a // 2], line[b // 2]
                alike = [bool(x) and x == y for x, y in zip(one, other, strict=True)]
                found.append((not alike[0], not alike[1], not alike[2], round(straight, 6), a, b))
    taken: set[int] = set()
    for *_, a, b in sorted(found):
        if not taken & {a, b}:
            taken |= {a, b}
            yield a, b


def _close_gaps(loose: IntArray, links: Sequence[Track], ways: FloatArray, mate: IntArray) -> None:
    """Join loose ends that go on into each other, the nearest first; ``mate`` is filled in."""
    if loose.size < 2:
        return
    place = np.array([links[end // 2].position[-(end % 2)] for end in loose])
    pairs = cKDTree(place).query_pairs(GAP, output_type="ndarray")
    off = np.linalg.norm(place[pairs[:, 0]] - place[pairs[:, 1]], axis=1)
    for i in np.lexsort((pairs[:, 1], pairs[:, 0], off)):
        a, b = (int(end) for end in loose[pairs[i]])
        if mate[a] < 0 and mate[b] < 0 and a // 2 != b // 2 and float(ways[a] @ ways[b]) <= GAP_STRAIGHT:
            mate[a], mate[b] = b, a


Placed = dict[int, tuple[float, bool]]
"""By number of a track, where on its chain it begins [m], and whether it is turned."""


def chained(tracks: Sequence[Track], mate: IntArray) -> list[tuple[Track, Placed]]:
    """Tracks put end to end where the end 2 · track + side (0 its first vertex) has a mate, each used once."""
    used = np.zeros(len(tracks), dtype=bool)
    free = [end for end in range(2 * len(tracks)) if mate[end] < 0]
    found = []
    for begin in [*free, *range(0, 2 * len(tracks), 2)]:  # what is left after the free ends is closed upon itself
        if used[begin // 2]:
            continue
        order, end = [], begin
        while end >= 0 and not used[end // 2]:
            used[end // 2] = True
            order.append(end)
            end = int(mate[end ^ 1])
        found.append(_welded(tracks, order))
    return found


def _welded(tracks: Sequence[Track], order: Sequence[int]) -> tuple[Track, Placed]:
    parts = [tracks[end // 2].turned() if end % 2 else tracks[end // 2] for end in order]
    longitude: list[FloatArray] = []
    latitude: list[FloatArray] = []
    position: list[FloatArray] = []
    node: list[IntArray] = []
    piece: list[IntArray] = []
    backward: list[BoolArray] = []
    placed: Placed = {}
    total, last = 0.0, np.zeros(3)
    east = 0.0
    for end, part in zip(order, parts, strict=True):
        step = float(np.linalg.norm(part.position[0] - last)) if longitude else 0.0
        first = 0
        shift = -360.0 * round((part.longitude[0] - east) / 360.0) if longitude else 0.0
        if longitude and step < 0.01:
            first = 1
        elif longitude:  # a gap
            total += step
            piece.append(np.array([-1]))
            backward.append(np.array([False]))
        longitude.append(part.longitude[first:] + shift)
        latitude.append(part.latitude[first:])
        position.append(part.position[first:])
        node.append(part.node[first:])
        piece.append(part.piece)
        backward.append(part.backward)
        placed[end // 2] = (total, bool(end % 2))
        total += part.length
        last, east = part.position[-1], float(longitude[-1][-1])
    track = Track(
        np.concatenate(longitude),
        np.concatenate(latitude),
        np.concatenate(position),
        np.concatenate(node),
        np.concatenate(piece),
        np.concatenate(backward),
    )
    return track, placed
