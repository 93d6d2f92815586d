"""Tracks by gauge: no train runs from one to another, however near they lie (pure)."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Sequence

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components

from pipelines.lines.tracks import Track
from profiler import Piece

ALIKE = 10
"""Gauges that differ by no more run through, as 1520 and 1524 mm do. [mm]"""

_GAUGE = re.compile(r"\d{3,4}")


def by_gauge(links: Sequence[Track], pieces: Sequence[Piece]) -> dict[int, list[Track]]:
    """Links by gauge [mm], the commonest first; 0 where none is stated anywhere.

    Of several gauges of one track the commonest of the area counts. Links without one have the gauge of what they
    are connected to, else the commonest.
    """
    stated = [{int(gauge) for gauge in _GAUGE.findall(str(piece.attributes.get("gauge", "")))} for piece in pieces]
    total: Counter[int] = Counter()
    for link in links:
        for gauge in stated[int(link.piece[0])]:
            total[gauge] += link.length  # type: ignore[assignment]
    order: list[int] = []
    same: dict[int, int] = {}
    for gauge in sorted(total, key=lambda gauge: (-round(total[gauge], 1), gauge)):
        same[gauge] = next((other for other in order if abs(other - gauge) <= ALIKE), gauge)
        if same[gauge] == gauge:
            order.append(gauge)
    order = order or [0]
    gauges = [min((same[gauge] for gauge in stated[int(link.piece[0])]), key=order.index, default=-1) for link in links]
    if len(set(gauges) - {-1}) > 1:
        for i, gauge in _handed_over(links, gauges, order).items():
            gauges[i] = gauge
    found: dict[int, list[Track]] = defaultdict(list)
    for link, gauge in zip(links, gauges, strict=True):
        found[order[0] if gauge < 0 else gauge].append(link)
    return {gauge: found[gauge] for gauge in order if gauge in found}


def _handed_over(links: Sequence[Track], gauges: Sequence[int], order: Sequence[int]) -> dict[int, int]:
    """Gauges of links without one, by number: that which most links have that their group touches."""
    ends = [(int(link.node[0]), int(link.node[-1])) for link in links]
    without = [i for i, gauge in enumerate(gauges) if gauge < 0]
    count = max(max(pair) for pair in ends) + 1
    rows, columns = np.array([ends[i] for i in without], dtype=int).reshape(-1, 2).T
    group = connected_components(
        csr_matrix((np.ones(rows.size), (rows, columns)), shape=(count, count)), directed=False
    )[1]
    touched: dict[int, Counter[int]] = defaultdict(Counter)
    for pair, gauge in zip(ends, gauges, strict=True):
        touched[int(group[pair[0]])][gauge] += 1
        touched[int(group[pair[1]])][gauge] += 1
    found = {}
    for i in without:
        known = {gauge: n for gauge, n in touched[int(group[ends[i][0]])].items() if gauge >= 0}
        found[i] = min(known, key=lambda gauge: (-known[gauge], order.index(gauge)), default=order[0])
    return found
