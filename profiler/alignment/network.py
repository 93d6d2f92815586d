"""Pieces of line as a network of tracks: where they meet, and which way a train can go on.

Lengths are chords between vertices in geocentric coordinates, which differ from the geodesic by
less than 1e-8 of themselves at the spacing of drawn lines.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components, dijkstra

from profiler.alignment.crossings import crossings_apart
from profiler.alignment.smooth import earth_centred
from profiler.alignment.snap import TURN_BACK, IntArray, close_gaps
from profiler.centreline import Piece
from profiler.units import FloatArray

_AIM = 20.0
"""The direction of an end is taken over this length, so that its last few metres do not decide. [m]"""

_OFF_MAIN = 3.0
"""A track that is not of the main line counts as so many times its length in the search."""


@dataclass(frozen=True, eq=False)
class Link:
    """A stretch of a piece between two joints, as drawn; ``start``, ``end`` along the piece [m].

    ``longitude``, ``latitude`` are (k,) [degree], ``position`` (k, 3) geocentric [m].
    """

    piece: int
    start: float
    end: float
    longitude: FloatArray
    latitude: FloatArray
    position: FloatArray

    @property
    def length(self) -> float:
        """[m]"""
        return self.end - self.start

    def way_out(self, side: int) -> FloatArray:
        """Unit vector (3,) leaving the first (0) or last (1) vertex into the link."""
        line = self.position[::-1] if side else self.position
        off = np.linalg.norm(line - line[0], axis=1)
        far = int(np.argmax(off >= _AIM)) or len(line) - 1
        return (line[far] - line[0]) / max(float(off[far]), 1e-9)


class Drawn:
    """All vertices of all pieces in one table, and where along its piece each lies."""

    def __init__(self, pieces: Sequence[Piece]) -> None:
        self.longitude = np.concatenate([piece.longitude for piece in pieces])
        self.latitude = np.concatenate([piece.latitude for piece in pieces])
        self.position = earth_centred(self.longitude, self.latitude)
        self.piece = np.repeat(np.arange(len(pieces)), [piece.longitude.size for piece in pieces])
        self.first = np.flatnonzero(np.r_[True, np.diff(self.piece) > 0])
        self.last = np.r_[self.first[1:], self.piece.size] - 1
        step = np.r_[0.0, np.linalg.norm(np.diff(self.position, axis=0), axis=1)]
        step[self.first] = 0.0
        total = np.cumsum(step)
        self.along = total - total[self.first][self.piece]
        self.key = _key(self.longitude, self.latitude)

    def touched(self) -> dict[int, list[float]]:
        """By piece, the places inside it where a piece ends [m]."""
        ends = np.r_[self.first, self.last]
        hit = np.isin(self.key, self.key[ends])
        hit[ends] = False
        found: dict[int, list[float]] = defaultdict(list)
        for i in np.flatnonzero(hit):
            found[int(self.piece[i])].append(float(self.along[i]))
        return found

    def nearest(self, longitude: float, latitude: float) -> tuple[FloatArray, FloatArray]:
        """For every piece, the distance of a point from it and where along it that is, both (p,) [m]."""
        point = earth_centred(np.array([longitude]), np.array([latitude]))[0]
        a, b = self.position[:-1], self.position[1:]
        way = b - a
        square = np.maximum((way**2).sum(axis=1), 1e-12)
        share = np.clip(((point - a) * way).sum(axis=1) / square, 0.0, 1.0)
        off = np.linalg.norm(a + share[:, None] * way - point, axis=1)
        off[self.last[:-1]] = np.inf
        along = self.along[:-1] + share * np.sqrt(square)
        best = np.lexsort((off, self.piece[:-1]))[self.first]
        return off[best], along[best]

    def links(self, cuts: Mapping[int, Sequence[float]]) -> list[Link]:
        """The pieces, cut at the given places along them [m]."""
        found = []
        for piece, (a, b) in enumerate(zip(self.first, self.last + 1, strict=True)):
            along = self.along[a:b]
            inner = [s for s in cuts.get(piece, ()) if 0.01 < s < along[-1] - 0.01]
            for start, end in pairwise([0.0, *sorted(set(inner)), float(along[-1])]):
                kept = (along > start) & (along < end)
                at = np.r_[start, along[kept], end]
                lon, lat = (np.interp(at, along, x[a:b]) for x in (self.longitude, self.latitude))
                place = np.column_stack([np.interp(at, along, x) for x in self.position[a:b].T])
                found.append(Link(piece, start, end, lon, lat, place))
        return found


def _key(longitude: FloatArray, latitude: FloatArray) -> IntArray:
    """One whole number a place, equal for places that agree to 1e-7 degree (a centimetre)."""
    east = np.rint((longitude + 180) * 1e7).astype(np.int64) % 3_600_000_000
    return np.asarray(east * 1_800_000_001 + np.rint((latitude + 90) * 1e7).astype(np.int64))


class Network:
    """Links between nodes. ``node`` (e, 2) are the nodes at the first and last vertex of each link.

    ``main`` (e,) tells links of the main line; ``gaps`` [m] are the joints closed by tolerance.
    """

    def __init__(self, links: list[Link], main_pieces: npt.NDArray[np.bool_], tolerance: float) -> None:
        self.links = links
        self.length = np.array([link.length for link in links])
        self.main = main_pieces[[link.piece for link in links]]
        self.way_out = np.array([[link.way_out(0), link.way_out(1)] for link in links])
        self.end = np.array([[link.position[0], link.position[-1]] for link in links])
        self.end_place = np.array([[(x.longitude[i], x.latitude[i]) for i in (0, -1)] for x in links])
        exact = np.unique(_key(self.end_place[..., 0], self.end_place[..., 1]), return_inverse=True)[1]
        apart = crossings_apart(exact.reshape(-1, 2), self.way_out)
        self.node, self.gaps = close_gaps(apart, self.end, self.way_out, tolerance)
        self.count = int(self.node.max()) + 1
        self.component = connected_components(self._plain(np.ones(len(links), dtype=bool)), directed=False)[1]

    def _plain(self, used: npt.NDArray[np.bool_]) -> Any:
        """The network without regard to direction, the shortest of parallel links."""
        order = np.flatnonzero(used)[np.argsort(-self.length[used], kind="stable")]
        ends = np.sort(self.node[order], axis=1)
        weight = {(int(u), int(v)): self.length[e] for e, (u, v) in zip(order, ends, strict=True)}
        uv = np.array(list(weight), dtype=int).reshape(-1, 2)
        return csr_matrix((list(weight.values()), (uv[:, 0], uv[:, 1])), shape=(self.count, self.count))

    def distances(self, sources: IntArray, used: npt.NDArray[np.bool_]) -> FloatArray:
        """Shortest way (n,) [m] from any of the source nodes over the used links, turning at will."""
        return np.asarray(dijkstra(self._plain(used), directed=False, indices=sources, min_only=True))

    @cached_property
    def cost(self) -> FloatArray:
        """(e,) [m]"""
        return np.where(self.main, self.length, _OFF_MAIN * self.length)

    @cached_property
    def _ends_at(self) -> list[list[int]]:
        """By node, the ends 2·link + side that meet there."""
        found: list[list[int]] = [[] for _ in range(self.count)]
        for i, node in enumerate(self.node.ravel()):
            found[node].append(i)
        return found

    def _moves(self, turn_back: bool) -> Any:
        """States are links run from side 0 (2e) or from side 1 (2e + 1), then a start at every node."""
        states = 2 * len(self.links)
        way = self.way_out.reshape(-1, 3)
        rows, columns = [], []
        for node, ends in enumerate(self._ends_at):
            rows += [states + node] * len(ends)
            columns += ends
            for i in ends:  # leaving by end i comes after arriving at it by any other end
                on = [j for j in ends if j != i and (turn_back or way[i] @ way[j] <= TURN_BACK)]
                rows += [j ^ 1 for j in on]
                columns += [i] * len(on)
        cost = self.cost[np.array(columns, dtype=int) // 2]
        size = states + self.count
        return csr_matrix((cost, (rows, columns)), shape=(size, size))

    @cached_property
    def _forward(self) -> Any:
        return self._moves(turn_back=False)

    def run(self, source: int, *, turn_back: bool = False) -> Run:
        """Cheapest ways from a node to everywhere, never turning back at a joint unless allowed."""
        states = 2 * len(self.links)
        moves = self._moves(turn_back=True) if turn_back else self._forward
        cost, before = dijkstra(moves, indices=states + source, return_predecessors=True)
        arrives = self.node[:, ::-1].ravel()
        order = np.argsort(-cost[:states], kind="stable")
        by_node = np.full(self.count, -1)
        by_node[arrives[order]] = order  # the last one written is the cheapest
        reach = np.where(by_node >= 0, cost[:states][by_node], np.inf)
        reach[source] = 0.0
        return Run(reach, by_node, before)


@dataclass(frozen=True, eq=False)
class Run:
    """Ways from one node: ``cost`` (n,) to every node, infinite where no way leads."""

    cost: FloatArray
    _arrival: IntArray
    _before: IntArray

    def way_to(self, node: int) -> list[int]:
        """The states 2·link + side passed on the way, in order."""
        way = [int(self._arrival[node])]
        while (state := int(self._before[way[-1]])) >= 0:
            way.append(state)
        return way[-2::-1]
