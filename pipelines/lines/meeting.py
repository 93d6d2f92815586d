"""Where tracks meet: ends that go on into each other, switches, places where a train turns back (pure)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.spatial import cKDTree

from pipelines.lines.tracks import GAP, STRAIGHT, TURN_BACK, FloatArray, IntArray, Placed, Track, chained

REACH = 45.0
"""The end of a track meets another track this far off: the one beside it was left out. [m]"""

EXACT = 0.5
"""Ends nearer than this lie at one place. [m]"""

ON_ITSELF = (1000.0, 15.0)
"""A track that comes back beside itself, so far on [m] and so near [m], meets itself."""

SLIP = 0.87
"""Cosine of the angle (30°) over which tracks that share a place cross, and below which switches may join them."""

SPACING = 25.0
"""Tracks near each other are found by places so far apart along them. [m]"""

_End = int
"""2 · number of a track + side, 0 its first vertex."""


@dataclass(frozen=True)
class Contact:
    """Two places that are one: ``at`` along ``track`` and ``other_at`` along ``other`` [m]."""

    track: int
    at: float
    other: int
    other_at: float


@dataclass(frozen=True, eq=False)
class Meeting:
    """Tracks put end to end, the numbers of the parts each is ``made_of``, and their ``contacts``."""

    tracks: tuple[Track, ...]
    contacts: tuple[Contact, ...]
    made_of: tuple[tuple[int, ...], ...]


def meeting_of(parts: Sequence[Track], meets: Sequence[tuple[bool, bool]], reach: float) -> Meeting:
    """Parts put end to end where nothing passes by, and where all of them meet.

    ``meets`` tells of the first and the last end of each part whether it meets anything, at most ``reach`` [m] off.
    """
    near = _Near(parts)
    ends = [2 * i + side for i in range(len(parts)) for side in (0, 1) if meets[i][side]]
    passing: dict[_End, tuple[int, float]] = {}
    pairs: list[_Pair] = []
    for end in ends:
        feet = near.feet(end, reach)
        pairs += [pair for foot in feet if (pair := _pair(parts, end, foot, reach)) is not None]
        by = [foot for foot in feet if not _at_end(parts[foot.part], foot, reach)]
        if by:
            nearest = min(by, key=lambda foot: (foot.off, foot.part))
            passing[end] = (nearest.part, nearest.at)
    pairs.sort()
    mate = _mated(pairs, passing, len(parts))
    chains = chained(parts, mate)
    spots = _Spots(parts, chains)
    found = [spots.contact(spots.of_end(end), spots.of(*place)) for end, place in passing.items() if mate[end] < 0]
    found += [
        spots.contact(spots.of_end(a), spots.of_end(b))
        for *_, a, b in pairs
        if mate[a] != b and mate[a] < 0 and a not in passing
    ]
    found += [spots.contact(spots.of_end(a), spots.of_end(b)) for a, b in _turning_back(parts, ends, mate)]
    tracks = tuple(track for track, _ in chains)
    return Meeting(
        tracks,
        _distinct([*found, *_slips(tracks)]),
        made_of=tuple(tuple(placed) for _, placed in chains),
    )


@dataclass(frozen=True)
class _Foot:
    """The place ``at`` [m] along a ``part`` nearest to an end, ``off`` from it [m]."""

    part: int
    at: float
    off: float


_Pair = tuple[bool, float, float, _End, _End]
"""Two ends that go on into each other: whether apart, how far [m], the cosine between their ways out."""


class _Near:
    """Tracks near a place, found by one tree of samples."""

    def __init__(self, parts: Sequence[Track]) -> None:
        self._parts = parts
        samples = [part.samples(SPACING) for part in parts]
        self._owner = np.repeat(np.arange(len(parts)), [at.size for at, *_ in samples])
        self._along = np.concatenate([np.zeros(0), *(at for at, *_ in samples)])
        self._tree = cKDTree(np.concatenate([np.zeros((0, 3)), *(place for _, place, _ in samples)]))

    def feet(self, end: _End, reach: float) -> list[_Foot]:
        """Of every track within reach of an end [m] the nearest place; of itself where it comes back."""
        number, side = divmod(end, 2)
        part = self._parts[number]
        point = part.position[-side]
        near = np.array(self._tree.query_ball_point(point, float(np.hypot(reach, SPACING / 2)) + 1.0), dtype=int)
        itself = np.abs(self._along[near] - side * part.length) < ON_ITSELF[0]
        near = near[(self._owner[near] != number) | ~itself]
        found = [_Foot(number, float(at), 0.0) for at in _own_places(part, side)]
        if found:
            near = near[self._owner[near] != number]
        for other in np.unique(self._owner[near]).tolist():
            around = self._along[near[self._owner[near] == other]]
            at, off = _foot(self._parts[other], point, int(part.node[-side]), around)
            if off <= reach:
                found.append(_Foot(other, at, off))
        return found


def _own_places(track: Track, side: int) -> FloatArray:
    """Where else [m] a track has the vertex of its first (0) or last (1) end."""
    node = int(track.node[-side])
    here = np.flatnonzero(track.node == node) if node >= 0 else np.zeros(0, dtype=int)
    return track.along[here[here != (track.node.size - 1) * side]]


def _foot(track: Track, point: FloatArray, node: int, around: FloatArray) -> tuple[float, float]:
    """The foot of a point on the part of a track around some places (k,) [m]; a shared vertex first."""
    low, high = (int(i) for i in np.searchsorted(track.along, (around.min() - 1e-6, around.max() + 1e-6)))
    low, high = max(low - 2, 0), high + 2
    if node >= 0:
        here = np.flatnonzero(track.node[low:high] == node)
        if here.size:
            return float(track.along[low + here[0]]), 0.0
    start, end = max(float(around.min()) - 2 * SPACING, 0.0), min(float(around.max()) + 2 * SPACING, track.length)
    at, off = track.part(start, end).foot(point)
    return start + at, off


def _at_end(track: Track, foot: _Foot, reach: float) -> bool:
    return min(foot.at, track.length - foot.at) <= (EXACT if foot.off <= EXACT else 2 * reach)


def _pair(parts: Sequence[Track], end: _End, foot: _Foot, reach: float) -> _Pair | None:
    """An end and the one that a foot lies at, where a train goes on from one to the other."""
    other = parts[foot.part]
    if not _at_end(other, foot, reach):
        return None
    number, side = divmod(end, 2)
    far_side = int(foot.at > other.length / 2)
    straight = float(parts[number].way_out(side) @ other.way_out(far_side))
    apart = foot.off > EXACT
    if foot.off > GAP or straight > (STRAIGHT if apart else TURN_BACK):
        return None
    return apart, round(foot.off, 2), straight, end, 2 * foot.part + far_side


def _mated(pairs: Sequence[_Pair], passing: dict[_End, tuple[int, float]], count: int) -> IntArray:
    """For every end the one it goes on into, −1 for none. Apart from each other ends join where nothing passes by."""
    mate = np.full(2 * count, -1)
    for apart, _, _, a, b in pairs:
        free = mate[a] < 0 and mate[b] < 0 and a // 2 != b // 2
        if free and not (apart and {a, b} & passing.keys()):
            mate[a], mate[b] = b, a
    return mate


class _Spots:
    """Where places on parts lie on the chains made of them."""

    def __init__(self, parts: Sequence[Track], chains: Sequence[tuple[Track, Placed]]) -> None:
        self._parts = parts
        self._where = {part: (t, *spot) for t, (_, placed) in enumerate(chains) for part, spot in placed.items()}

    def of(self, part: int, at: float) -> tuple[int, float]:
        """Number of the chain and distance along it [m]."""
        track, begins, turned = self._where[part]
        return track, begins + (self._parts[part].length - at if turned else at)

    def of_end(self, end: _End) -> tuple[int, float]:
        """The same for an end of a part."""
        part, side = divmod(end, 2)
        return self.of(part, side * self._parts[part].length)

    @staticmethod
    def contact(one: tuple[int, float], other: tuple[int, float]) -> Contact:
        """Of two spots."""
        return Contact(*one, *other)


def _turning_back(parts: Sequence[Track], ends: Sequence[_End], mate: IntArray) -> Iterator[tuple[_End, _End]]:
    """Ends at one place of which none goes on into the other: a train turns back there."""
    at_node: dict[int, list[_End]] = defaultdict(list)
    for end in ends:
        node = int(parts[end // 2].node[-(end % 2)])
        if node >= 0:
            at_node[node].append(end)
    for here in at_node.values():
        yield from ((a, b) for a, b in pairwise(here) if mate[a] != b)


def _slips(tracks: Sequence[Track]) -> Iterator[Contact]:
    """Places that two tracks share between their ends at an angle at which switches may join them."""
    seen: dict[int, tuple[int, float]] = {}
    for t, track in enumerate(tracks):
        for i in np.flatnonzero(track.node[1:-1] >= 0) + 1:
            node, at = int(track.node[i]), float(track.along[i])
            other = seen.setdefault(node, (t, at))
            if other != (t, at) and abs(float(track.heading(at, 1) @ tracks[other[0]].heading(other[1], 1))) >= SLIP:
                yield Contact(*other, t, at)


def _distinct(contacts: Sequence[Contact]) -> tuple[Contact, ...]:
    found: dict[frozenset[tuple[int, int]], Contact] = {}
    for c in contacts:
        found.setdefault(frozenset({(c.track, round(c.at)), (c.other, round(c.other_at))}), c)
    return tuple(found.values())
