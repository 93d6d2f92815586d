"""Where each piece of the drawn line came to lie on the route."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from profiler.centreline import Piece
from profiler.units import FloatArray


@dataclass(frozen=True)
class PieceSpan:
    """A piece on the route: distances ``start`` < ``end`` [m] and the shares of the piece's own
    drawn length (0 at its first vertex, 1 at its last) that lie there. A piece that was turned
    round has ``start_share`` > ``end_share``; one that was cut has shares inside 0…1."""

    piece: Piece
    start: float
    end: float
    start_share: float
    end_share: float

    def at(self, share: float) -> float:
        """Distance [m] of a share of the piece, linear between the ends."""
        span = self.end_share - self.start_share
        return self.start + (share - self.start_share) / span * (self.end - self.start)


def piece_spans(
    pieces: Sequence[Piece],
    piece_index: FloatArray,
    longitude: FloatArray,
    latitude: FloatArray,
    distance: FloatArray,
) -> tuple[PieceSpan, ...]:
    """Spans in order of distance.

    ``piece_index`` (v,) tells for every vertex of the joined line (``longitude``, ``latitude``
    [degree], ``distance`` [m], all (v,)) from which of ``pieces`` it comes.
    """
    edges = np.flatnonzero(np.diff(piece_index)) + 1
    starts, ends = np.r_[0, edges], np.r_[edges, piece_index.size] - 1
    spans = []
    for first, last in zip(starts, ends, strict=True):
        piece = pieces[int(piece_index[first])]
        shares = [_share(piece, longitude[i], latitude[i]) for i in (first, last)]
        # a joint's vertex belongs to one piece: the other reaches up to it
        end = distance[last + 1] if last + 1 < distance.size else distance[last]
        tail = _share(piece, longitude[last + 1], latitude[last + 1]) if last + 1 < distance.size else shares[1]
        if first == last and tail == shares[0]:
            continue
        if tail not in (0.0, 1.0):
            tail, end = shares[1], distance[last]
        if end > distance[first] and tail != shares[0]:
            spans.append(PieceSpan(piece, float(distance[first]), float(end), shares[0], tail))
    return tuple(spans)


def _share(piece: Piece, longitude: float, latitude: float) -> float:
    """Share of the piece's drawn length at its place nearest to a point."""
    east = (piece.longitude - longitude) * np.cos(np.radians(latitude))
    north = piece.latitude - latitude
    run, rise = np.diff(east), np.diff(north)
    length = np.hypot(run, rise)
    along = np.r_[0.0, np.cumsum(length)]
    part = np.clip(-(east[:-1] * run + north[:-1] * rise) / np.maximum(length**2, 1e-30), 0.0, 1.0)
    gap = np.hypot(east[:-1] + part * run, north[:-1] + part * rise)
    i = int(np.argmin(gap))
    return float((along[i] + part[i] * length[i]) / along[-1])
