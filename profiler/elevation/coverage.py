"""Where the elevation data reach, and what may be bridged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.units import FloatArray


@dataclass(frozen=True)
class Gap:
    """Stations ``first``…``last`` without elevation data on open track."""

    first: int
    last: int


def runs_of(flags: FloatArray) -> list[tuple[int, int]]:
    """First and last index of every run of True."""
    edges = np.flatnonzero(np.diff(np.r_[0, flags.astype(np.int8), 0]))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def gaps(chainage: FloatArray, ground: FloatArray, on_structure: FloatArray, longest: float) -> tuple[Gap, ...]:
    """Stretches longer than ``longest`` [m] with neither ground nor a known structure.

    ``chainage``, ``ground`` (n,) [m], ground NaN where there is no data; ``on_structure`` (n,)
    bool: there the ground would not count anyway.
    """
    missing = np.isnan(ground) & ~on_structure
    found = []
    for first, last in runs_of(missing):
        before, after = max(first - 1, 0), min(last + 1, chainage.size - 1)
        if chainage[after] - chainage[before] > longest:
            found.append(Gap(first, last))
    return tuple(found)


def longest_covered(chainage: FloatArray, ground: FloatArray, found: tuple[Gap, ...]) -> tuple[int, int] | None:
    """First and last station of the longest stretch between gaps that begins and ends on data."""
    edges = [-1, *(edge for gap in found for edge in (gap.first, gap.last)), chainage.size]
    best: tuple[int, int] | None = None
    for after, before in zip(edges[::2], edges[1::2], strict=True):
        valid = np.flatnonzero(np.isfinite(ground[after + 1 : before])) + after + 1
        if valid.size < 2:
            continue
        first, last = int(valid[0]), int(valid[-1])
        if best is None or chainage[last] - chainage[first] > chainage[best[1]] - chainage[best[0]]:
            best = (first, last)
    return best
