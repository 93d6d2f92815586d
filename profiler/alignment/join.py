"""One line out of unordered, reversed and split pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from profiler.alignment.network import Drawn, Network
from profiler.alignment.ways import (
    BESIDE,
    SideTrack,
    gap_error,
    longest_way,
    node_place,
    place_words,
    refuse_fork,
    refuse_second_line,
    side_tracks,
    way_between,
)
from profiler.alignment.weld import Strand, weld
from profiler.centreline import Centreline, Piece
from profiler.errors import RouteError
from profiler.longitude import toward, wrapped
from profiler.route import frozen_array
from profiler.units import KILOMETRE, FloatArray

WITHIN = 500.0
"""A given start or end lies at most this far from the line. [m]"""

_ON_VERTEX = 1.0  # [m]

Place = tuple[float, float]


@dataclass(frozen=True)
class Span:
    """A piece on the joined line, between the vertices ``first`` and ``last``.

    ``start`` and ``end`` are the shares of the piece's own drawn length there (0 at its first
    vertex, 1 at its last); a piece run against its drawing has ``start`` > ``end``.
    """

    piece: int
    first: int
    last: int
    start: float
    end: float

    @property
    def reversed(self) -> bool:
        """Whether the line runs against the drawing of the piece."""
        return self.start > self.end


@dataclass(frozen=True, eq=False)
class Joined:
    """One line, its vertices (n,) on WGS 84 [degree], longitudes continuous, and where each piece came to lie on it."""

    longitude: FloatArray
    latitude: FloatArray
    spans: tuple[Span, ...]
    assumptions: tuple[str, ...] = ()

    @property
    def piece(self) -> npt.NDArray[np.int_]:
        """(n,) index into the centreline's pieces of the interval that begins at a vertex (at the
        last vertex, of the one that ends there)."""
        count = [span.last - span.first for span in self.spans]
        found = np.repeat([span.piece for span in self.spans], count)
        return np.r_[found, found[-1]]


def join(
    centreline: Centreline, *, start: Place | None = None, end: Place | None = None, tolerance_m: float = 30.0
) -> Joined:
    """Join the pieces of a centreline to one line between two ends.

    Pieces meet where their ends coincide, where an end touches another piece's vertex, and where
    loose ends lie within the tolerance of each other and do not make a train turn back.

    Parameters
    ----------
    centreline : Centreline
        Pieces in any order and direction.
    start, end : (longitude, latitude), optional
        Ends of the line, within 500 m of it [degree]. Without them the longest way is taken over
        the main line: over pieces with usage=main where a file has such, otherwise over all.
    tolerance_m : float
        Widest gap between loose ends that is closed. [m]

    Returns
    -------
    Joined
        From start to end; without them in the direction in which most of the length is drawn.

    Raises
    ------
    RouteError
        If the pieces make separate lines, fork so that another way could be meant, close upon
        themselves, or if a given end is not on the line. Parallel tracks (within 50 m) are no fork.
    """
    kept = _distinct(centreline.pieces)
    pieces = [centreline.pieces[i] for i in kept]
    main = np.array([piece.attributes.get("usage") == "main" for piece in pieces])
    if not main.any():
        main[:] = True
    drawn = Drawn(pieces)
    cuts = drawn.touched()
    network = Network(drawn.links(cuts), main, tolerance_m)
    places = _placed(drawn, network, start, end, centreline.source)
    for piece, along in places.values():
        cuts.setdefault(piece, []).append(along)
    if places:
        network = Network(drawn.links(cuts), main, tolerance_m)
    nodes = {name: _node_at(network, *place) for name, place in places.items()}
    way, said = _way(network, nodes, centreline.source)
    if not nodes:
        way = _as_mostly_drawn(network, way)
    line, spans = _assembled(network, drawn, way, kept)
    return Joined(
        longitude=frozen_array(line[:, 0]),
        latitude=frozen_array(line[:, 1]),
        spans=spans,
        assumptions=_said_of_pieces(network, way, len(centreline.pieces) - len(kept)) + said,
    )


def _distinct(pieces: Sequence[Piece]) -> list[int]:
    """Pieces without those drawn a second time, in the same or the other direction."""
    seen: dict[bytes, int] = {}
    for i, piece in enumerate(pieces):
        line = np.rint(np.column_stack((wrapped(piece.longitude), piece.latitude)) * 1e7).astype(np.int64)
        seen.setdefault(min(line.tobytes(), line[::-1].tobytes()), i)
    return sorted(seen.values())


def _placed(
    drawn: Drawn, network: Network, start: Place | None, end: Place | None, source: str
) -> dict[str, tuple[int, float]]:
    """Piece and distance along it [m] of the given ends, on one component of the network."""
    given = {name: place for name, place in (("start", start), ("end", end)) if place is not None}
    if not given:
        return {}
    found = {name: drawn.nearest(*place) for name, place in given.items()}
    for name, (off, _) in found.items():
        if off.min() > WITHIN:
            raise _far_end(drawn, name, given[name], float(off.min()), source)
    component = np.zeros(drawn.first.size, dtype=int)
    component[[link.piece for link in network.links]] = network.component[network.node[:, 0]]
    nearest = {name: np.full(int(component.max()) + 1, np.inf) for name in given}
    for name, (off, _) in found.items():
        np.minimum.at(nearest[name], component, off)
    total = np.where(np.all([x <= WITHIN for x in nearest.values()], axis=0), sum(nearest.values()), np.inf)
    if not np.isfinite(total).any():
        own, other = (int(component[np.argmin(off)]) for off, _ in found.values())
        raise gap_error(network, own, network.component[network.node[:, 0]] == other, source)
    here = component == int(np.argmin(total))
    return {name: _on_vertex(drawn, int(np.argmin(np.where(here, off, np.inf))), s) for name, (off, s) in found.items()}


def _far_end(drawn: Drawn, name: str, place: Place, off: float, source: str) -> RouteError:
    """The sentence for an end off the line; nearer to it with its coordinates exchanged, that is said."""
    exchanged = drawn.nearest(place[1], place[0])[0].min() if abs(place[0]) <= 90 else np.inf
    far = f"{off:.0f} m" if off < 10 * KILOMETRE else f"{off / KILOMETRE:.0f} km"
    remedy = f"give a place within {WITHIN:.0f} m of the line"
    if exchanged < off / 10:
        remedy = "longitude and latitude look exchanged, in the territory file or in that of the line"
    return RouteError(source, f"the {name} at {place_words(place)} lies {far} from the nearest piece", remedy)


def _on_vertex(drawn: Drawn, piece: int, along: FloatArray) -> tuple[int, float]:
    at = float(along[piece])
    vertices = drawn.along[drawn.first[piece] : drawn.last[piece] + 1]
    near = float(vertices[np.argmin(np.abs(vertices - at))])
    return piece, near if abs(near - at) <= _ON_VERTEX else at


def _node_at(network: Network, piece: int, along: float) -> int:
    ends = [
        (abs(s - along), e, side)
        for e, x in enumerate(network.links)
        if x.piece == piece
        for side, s in enumerate((x.start, x.end))
    ]
    _, link, side = min(ends)
    return int(network.node[link, side])


def _way(network: Network, nodes: dict[str, int], source: str) -> tuple[list[int], tuple[str, ...]]:
    """States of the way and what was assumed in choosing it."""
    if len(nodes) == 2:
        a, b = nodes["start"], nodes["end"]
        if a == b:
            raise RouteError(source, "start and end are the same place on the line", "give two places apart")
        way, turns = way_between(network, a, b)
        tracks = side_tracks(network, way)
        said = _said_of_other_ways(network, tracks)
        return way, said + (("the line turns back on itself at a joint",) if turns else ())
    given = next(iter(nodes.values()), None)
    way = longest_way(network, source, given)
    if "end" in nodes:
        way = [state ^ 1 for state in reversed(way)]
    tracks = side_tracks(network, way)
    refuse_fork(network, way, tracks, source, given)
    apart = np.array([], dtype=int) if nodes else refuse_second_line(network, way, source)
    return way, _said_of_tracks(network, tracks, apart)


def _as_mostly_drawn(network: Network, way: list[int]) -> list[int]:
    states = np.array(way)
    length = network.length[states // 2]
    return [s ^ 1 for s in reversed(way)] if length[states % 2 == 1].sum() > length.sum() / 2 else way


def _assembled(
    network: Network, drawn: Drawn, way: Sequence[int], kept: Sequence[int]
) -> tuple[FloatArray, tuple[Span, ...]]:
    strands: list[Strand] = []
    for state in way:
        link = network.links[state // 2]
        step = -1 if state % 2 else 1
        place = np.column_stack((link.longitude, link.latitude))[::step]
        if strands:  # drawn from the other side of the 180° meridian, it goes on from this one
            place[:, 0] += toward(place[0, 0], strands[-1].place[-1, 0]) - place[0, 0]
        strands.append(Strand(place, link.position[::step]))
    line, begins = weld(strands)
    spans: list[Span] = []
    for state, first, last in zip(way, begins, [*begins[1:], len(line) - 1], strict=True):
        link = network.links[state // 2]
        whole = float(drawn.along[drawn.last[link.piece]])
        shares = [link.start / whole, link.end / whole]
        a, b = shares[::-1] if state % 2 else shares
        piece = kept[link.piece]
        if spans and spans[-1].piece == piece and spans[-1].end == a:
            spans[-1] = Span(piece, spans[-1].first, last, spans[-1].start, b)
        elif last > first:
            spans.append(Span(piece, first, last, a, b))
    return line, tuple(spans)


def _said_of_pieces(network: Network, way: Sequence[int], twice: int) -> tuple[str, ...]:
    said = []
    if network.gaps:
        said.append(f"{len(network.gaps)} joints between loose ends closed, the widest over {max(network.gaps):.1f} m")
    if twice:
        said.append(f"{twice} pieces drawn twice were taken once")
    off_main = float(network.length[np.array(way) // 2][~network.main[np.array(way) // 2]].sum())
    if off_main:
        said.append(f"{off_main / KILOMETRE:.1f} km of the line are not tagged usage=main")
    return tuple(said)


def _said_of_tracks(network: Network, tracks: Sequence[SideTrack], apart: FloatArray) -> tuple[str, ...]:
    parallel = sum(float(network.length[t.links].sum()) for t in tracks if t.parallel)
    other = sum(float(network.length[t.links].sum()) for t in tracks if not t.parallel)
    other += float(network.length[apart[~network.main[apart]]].sum())
    parallel += float(network.length[apart[network.main[apart]]].sum())
    said = []
    if parallel:
        said.append(f"{parallel / KILOMETRE:.1f} km of parallel track within {BESIDE:.0f} m left out")
    if other:
        said.append(f"{other / KILOMETRE:.1f} km of side tracks and branches left out")
    return tuple(said)


def _said_of_other_ways(network: Network, tracks: Sequence[SideTrack]) -> tuple[str, ...]:
    return tuple(
        f"another way leaves at {place_words(node_place(network, t.joints[0]))}; the shorter is taken"
        for t in tracks
        if len(t.joints) > 1 and not t.parallel
    )
