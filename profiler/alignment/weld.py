"""Oriented stretches of line set end to end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from profiler.units import FloatArray

_SAME = 0.01  # [m]
_CLOSE = 5.0
"""Two ends nearer than this are drawn for one place and meet half-way. [m]"""


@dataclass(frozen=True, eq=False)
class Strand:
    """Vertices in running order: ``place`` (k, 2) [degree], ``position`` (k, 3) geocentric [m]."""

    place: FloatArray
    position: FloatArray

    def part(self, keep: slice) -> Strand:
        """A run of its vertices."""
        return Strand(self.place[keep], self.position[keep])

    def and_then(self, other: Strand) -> Strand:
        """The vertices of both."""
        return Strand(np.vstack((self.place, other.place)), np.vstack((self.position, other.position)))


def weld(strands: Sequence[Strand]) -> tuple[FloatArray, list[int]]:
    """One line (n, 2) [degree] of strands, and the vertex at which each strand begins.

    Where the next strand begins behind the end of the last one, or within 5 m of it, both ends
    move to their middle and vertices in between are dropped: no zigzag stays. A wider gap is
    bridged straight, and the bridge belongs to the strand before it.
    """
    done = [strands[0]]
    for following in strands[1:]:
        done[-1:] = _joined(done[-1], following)
    begins = np.cumsum([0, *(len(strand.place) - 1 for strand in done[:-1])])
    line = np.concatenate([done[0].place[:1], *(strand.place[1:] for strand in done)])
    return line, [int(i) for i in begins]


def _joined(last: Strand, following: Strand) -> tuple[Strand, Strand]:
    """Both strands, the last vertex of the one the first of the other."""
    a, b = last.position[-1], following.position[0]
    gap = float(np.linalg.norm(b - a))
    if gap <= _SAME:
        return last, following
    ahead = a - last.position[-2] + following.position[1] - b
    if gap > _CLOSE and (b - a) @ ahead >= 0:
        return last.and_then(following.part(slice(0, 1))), following
    middle = Strand((last.place[-1:] + following.place[:1]) / 2, (last.position[-1:] + following.position[:1]) / 2)
    before = _clear(last.position, middle, -ahead, gap)
    after = _clear(following.position, middle, ahead, gap)
    keep = int(np.flatnonzero(np.r_[True, before[1:-1]])[-1]) + 1
    drop = int(np.flatnonzero(np.r_[after[1:-1], True])[0]) + 1
    return (
        last.part(slice(0, keep)).and_then(middle),
        middle.and_then(following.part(slice(drop, None))),
    )


def _clear(position: FloatArray, middle: Strand, way: FloatArray, gap: float) -> FloatArray:
    """Vertices (k,) that lie on their own side of the joint, or too far from it to matter."""
    off = position - middle.position
    return np.asarray((off @ way > 0) | (np.linalg.norm(off, axis=1) > gap))
