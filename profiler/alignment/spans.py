"""Where each piece of the drawn line came to lie on the smoothed one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from profiler.alignment.join import Joined
from profiler.centreline import Piece
from profiler.units import FloatArray


@dataclass(frozen=True)
class PieceSpan:
    """A piece on the line: distances ``start`` < ``end`` [m] and the shares of the piece's own
    drawn length (0 at its first vertex, 1 at its last) that lie there. A piece that was turned
    round has ``start_share`` > ``end_share``; one that was cut has shares inside 0…1."""

    piece: Piece
    start: float
    end: float
    start_share: float
    end_share: float


def piece_spans(pieces: Sequence[Piece], joined: Joined, distance: FloatArray) -> tuple[PieceSpan, ...]:
    """Spans in order of distance; ``distance`` (n,) [m] is that of the joined line's vertices."""
    return tuple(
        PieceSpan(pieces[s.piece], float(distance[s.first]), float(distance[s.last]), s.start, s.end)
        for s in joined.spans
        if distance[s.last] > distance[s.first]
    )
