"""One track for every corridor, and where what is left meets (pure).

Strokes are taken in order of length, the longest first. What runs within `BESIDE` of one taken before, in its
direction, is another track of the same line and is left out, crossovers too; what is left of a stroke is a track of
its own, drawn back to the switch where it leaves. Everything near is found by one tree of samples, so that time
grows as the tracks do.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.spatial import cKDTree

from pipelines.lines.meeting import EXACT, ON_ITSELF, REACH, SPACING, Contact, Meeting, meeting_of
from pipelines.lines.tracks import BoolArray, FloatArray, IntArray, Track
from pipelines.lines.ways import Ways

BESIDE = 30.0
"""A track that stays within this of another, in its direction, is of the same line. [m]"""

ALIKE = 0.94
"""Cosine between directions of such tracks (20°)."""

CROSSING = 300.0
"""Running beside each other for less than this, two tracks cross. [m]"""

OBLIQUE = (1500.0, 10.0)
"""So do they for longer [m] if one goes over to the other side of the other as straight as that [m], and no switch
joins them there."""

STUB = 100.0
"""What leaves a corridor for less than this belongs to it. [m]"""

THROAT = 1500.0
"""From where a track leaves a corridor its switch is looked for this far back. [m]"""

APART = 250.0
APART_BY = 1.25
APART_UP_TO = 20_000.0
"""A track that comes back to the line it left, which meanwhile goes the same way within `APART` [m] of it and in up
to `APART_BY` times its length, is the other track of that line; looked for in tracks up to `APART_UP_TO` [m]."""


@dataclass(frozen=True, eq=False)
class Corridors:
    """Tracks, and where they meet. ``left_out`` is by reason the length of what was left out. [m]"""

    tracks: tuple[Track, ...]
    contacts: tuple[Contact, ...]
    left_out: Mapping[str, float] = field(default_factory=dict)


def corridors_of(strokes: Sequence[Track], *, all_tracks: bool = False, shortest: float = 0.0) -> Corridors:
    """One track of every corridor (or all), chained anew, and their contacts.

    Dead ends shorter than ``shortest`` [m] are left out: where one leaves is no junction.
    """
    left: dict[str, float] = defaultdict(float)
    if all_tracks:
        parts = [(stroke, True, True) for stroke in strokes]
    else:
        parts = list(_uncovered(strokes))
        left["parallel track"] = sum(s.length for s in strokes) - sum(part.length for part, *_ in parts)
    reach = EXACT if all_tracks else REACH
    while True:
        met = meeting_of([track for track, *_ in parts], [ends[1:] for ends in parts], reach)
        dead, beside = _dead_ends(met, shortest), set() if all_tracks else _beside(met)
        if not dead and not beside:
            return Corridors(met.tracks, met.contacts, {k: v for k, v in left.items() if v > 0})
        left["short dead end"] += sum(met.tracks[i].length for i in dead)
        left["parallel track"] += sum(met.tracks[i].length for i in beside - dead)
        gone = {part for i in dead | beside for part in met.made_of[i]}
        parts = [part for i, part in enumerate(parts) if i not in gone]


def together(found: Sequence[Corridors]) -> Corridors:
    """Corridors that never meet, as one."""
    tracks: list[Track] = []
    contacts: list[Contact] = []
    left: Counter[str] = Counter()
    for one in found:
        first = len(tracks)
        contacts += [replace(c, track=c.track + first, other=c.other + first) for c in one.contacts]
        tracks += one.tracks
        left.update(one.left_out)
    return Corridors(tuple(tracks), tuple(contacts), dict(left))


def _uncovered(strokes: Sequence[Track]) -> Iterator[tuple[Track, bool, bool]]:
    """What is left of strokes, the longest first, and whether its first and last end meet something."""
    strokes = sorted(strokes, key=_rank)
    degree = np.bincount([int(n) for s in strokes for n in s.node if n >= 0] or [0])
    kept_node = np.zeros(degree.size, dtype=bool)
    samples = [stroke.samples(SPACING) for stroke in strokes]
    first = np.cumsum([0, *(at.size for at, *_ in samples)])
    under, over, own, aside = _neighbours(samples, first)
    taken = np.zeros(first[-1], dtype=bool)
    for number, (stroke, (at, *_)) in enumerate(zip(strokes, samples, strict=True)):
        low, high = first[number], first[number + 1]
        pairs = slice(*np.searchsorted(over, (low, high)))
        mine, by, same = over[pairs] - low, under[pairs], own[pairs]
        covered = np.zeros(high - low, dtype=bool)
        others = ~same & taken[by]
        covered[mine[others]] = True
        beside = np.full(high - low, np.nan)
        beside[mine[others]] = aside[pairs][others]
        switches = stroke.along[(stroke.node >= 0) & kept_node[stroke.node]]
        for a, b in _runs(covered):
            if _oblique(at[a : b + 1], beside[a : b + 1], switches) and a > 0 and b < at.size - 1:
                covered[a : b + 1] = False
        covered[mine[same & ~covered[np.where(same, by - low, 0)]]] = True
        covered = _settled(covered, at)
        taken[low:high] = ~covered
        for a, b in _runs(~covered):
            start, from_line = _end(stroke, at, covered, a, kept_node, degree)
            turned = stroke.turned()
            last = at.size - 1
            end, to_line = _end(turned, at, covered[::-1], last - b, kept_node, degree)
            end = stroke.length - end
            if end - start > 0.1:
                part = stroke.part(start, end)
                kept_node[part.node[part.node >= 0]] = True
                yield part, from_line, to_line


def _rank(stroke: Track) -> tuple[float, list[tuple[float, ...]]]:
    """The longest first, of equal ones the southernmost, whichever way they are drawn."""
    return -round(stroke.length, 1), sorted((*stroke.place(at)[::-1],) for at in (0.0, stroke.length))


def _neighbours(
    samples: Sequence[tuple[FloatArray, FloatArray, FloatArray]], first: IntArray
) -> tuple[IntArray, IntArray, BoolArray, FloatArray]:
    """Samples beside others in their direction: the earlier one, the later one (sorted), whether of one stroke, and
    how far to the left of the later one the earlier is [m]."""
    place = np.concatenate([position for _, position, _ in samples])
    way = np.concatenate([heading for *_, heading in samples])
    along = np.concatenate([at for at, *_ in samples])
    stroke = np.repeat(np.arange(len(samples)), np.diff(first))
    pairs = cKDTree(place).query_pairs(float(np.hypot(BESIDE, SPACING / 2)), output_type="ndarray")
    far, near = ON_ITSELF
    own = stroke[pairs[:, 0]] == stroke[pairs[:, 1]]
    pairs = pairs[~own | (np.abs(along[pairs[:, 0]] - along[pairs[:, 1]]) > far)]
    i, j = pairs[:, 0], pairs[:, 1]
    own, alike = stroke[i] == stroke[j], (way[i] * way[j]).sum(axis=1)
    across = place[i] - place[j]
    off = np.linalg.norm(across - (across * way[j]).sum(axis=1)[:, None] * way[j], axis=1)
    beside = np.where(own, (alike <= -ALIKE) & (off <= near), (np.abs(alike) >= ALIKE) & (off <= BESIDE))
    i, j, own, across = i[beside], j[beside], own[beside], across[beside]
    left = np.cross(place[j] / np.linalg.norm(place[j], axis=1)[:, None], way[j])
    aside = (across * left).sum(axis=1)
    order = np.argsort(j, kind="stable")
    return i[order], j[order], own[order], aside[order]


def _oblique(at: FloatArray, aside: FloatArray, switches: FloatArray) -> bool:
    """Whether a run beside another track (k,) [m] is a crossing: straight from its one side to its other."""
    longest, straight = OBLIQUE
    if at[-1] - at[0] > longest or aside[0] * aside[-1] >= 0 or min(abs(aside[0]), abs(aside[-1])) < BESIDE / 2:
        return False
    line = np.interp(at, at[[0, -1]], aside[[0, -1]])
    return bool(np.abs(aside - line).max() <= straight and not ((switches > at[0]) & (switches < at[-1])).any())


def _settled(covered: BoolArray, at: FloatArray) -> BoolArray:
    """Without short runs: tracks that cross are not beside each other, what leaves for a moment has not left."""
    settled = covered.copy()
    last = covered.size - 1
    for a, b in _runs(covered):
        if a > 0 and b < last and at[b] - at[a] < CROSSING:
            settled[a : b + 1] = False
    for a, b in _runs(~settled):
        if (a > 0 or b < last) and at[b] - at[a] < STUB:
            settled[a : b + 1] = True
    return settled


def _runs(mask: BoolArray) -> list[tuple[int, int]]:
    """First and last index of every run of True."""
    change = np.flatnonzero(np.diff(np.r_[False, mask, False].astype(np.int8)))
    return [(int(a), int(b) - 1) for a, b in change.reshape(-1, 2)]


def _end(
    stroke: Track, at: FloatArray, covered: BoolArray, index: int, kept_node: BoolArray, degree: IntArray
) -> tuple[float, bool]:
    """Where a run that begins at a sample begins on the stroke [m], and whether it meets something there."""
    if index == 0:
        node = int(stroke.node[0])
        return 0.0, bool(node >= 0 and degree[node] > 1)
    # samples are evenly spaced, so that they are the same from the other end
    leaves = float(at[index])
    before = _runs(covered[:index])[-1][0]
    here = (stroke.along <= leaves) & (stroke.along >= max(leaves - THROAT, at[before])) & (stroke.node >= 0)
    switches = np.flatnonzero(here)
    switches = switches[kept_node[stroke.node[switches]]]
    if switches.size:
        return float(stroke.along[switches[-1]]), True
    first = int(stroke.node[0])
    if before == 0 and leaves <= THROAT and first >= 0 and degree[first] > 1:
        return 0.0, True
    # no switch leads over: a little before it leaves, so that it goes on from the end of a track it takes over from
    return float(at[max(index - 2, before)]), True


def _dead_ends(met: Meeting, shortest: float) -> set[int]:
    """Tracks shorter than that which meet others at one end only."""
    ends: dict[int, set[bool]] = defaultdict(set)
    inside: set[int] = set()
    for c in met.contacts:
        for t, at in ((c.track, c.at), (c.other, c.other_at)):
            length = met.tracks[t].length
            if 1.0 < at < length - 1.0:
                inside.add(t)
            else:
                ends[t].add(at > length / 2)
    return {t for t, sides in ends.items() if len(sides) == 1 and t not in inside and met.tracks[t].length < shortest}


def _beside(met: Meeting) -> set[int]:
    """The other tracks of lines that keep apart for a while: each would be a second route of one line."""
    ends: dict[int, dict[bool, tuple[int, float]]] = defaultdict(dict)
    for c in met.contacts:
        for (t, at), spot in (((c.track, c.at), (c.other, c.other_at)), ((c.other, c.other_at), (c.track, c.at))):
            if not 1.0 < at < met.tracks[t].length - 1.0:
                ends[t].setdefault(at > met.tracks[t].length / 2, spot)
    ways = Ways(met.tracks, met.contacts)
    gone: set[int] = set()
    both = [t for t, sides in ends.items() if len(sides) == 2 and met.tracks[t].length <= APART_UP_TO]
    for t in sorted(both, key=lambda t: (met.tracks[t].length, t)):
        track, (a, b) = met.tracks[t], (ends[t][False], ends[t][True])
        crossover = a[0] == b[0] and abs(a[1] - b[1]) < CROSSING and track.length < CROSSING
        if crossover or _goes_along(track, ways.smooth(t, track.length * APART_BY, gone), met.tracks):
            gone.add(t)
    return gone


def _goes_along(track: Track, way: Sequence[tuple[int, float, float]], tracks: Sequence[Track]) -> bool:
    """Whether another way is as long as a track and stays near it."""
    length = sum(abs(end - start) for _, start, end in way)
    if not way or not track.length / APART_BY <= length <= track.length * APART_BY:
        return False
    other = [tracks[t].part(*sorted((start, end))).samples(SPACING)[1] for t, start, end in way if start != end]
    off = cKDTree(np.concatenate(other)).query(track.samples(SPACING)[1])[0]
    return bool(off.max() <= APART)
