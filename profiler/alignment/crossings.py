"""Tracks that cross at a shared vertex: no train turns there, so it is no junction."""

from __future__ import annotations

import numpy as np

from profiler.alignment.snap import IntArray
from profiler.units import FloatArray

STRAIGHT_ON = -0.95
"""Cosine between the two ways out of a crossing by which a train goes straight through (18°)."""

ASKEW = 0.87
"""Cosine of the angle at which two tracks cross; at less than 30° it may be a crossing with slips."""

_PAIRS = (((0, 1), (2, 3)), ((0, 2), (1, 3)), ((0, 3), (1, 2)))


def crossings_apart(node: IntArray, way_out: FloatArray) -> IntArray:
    """Nodes with every level crossing of two tracks made two nodes, one a track.

    Parameters
    ----------
    node : ndarray, shape (e, 2)
        Node at both ends of every link.
    way_out : ndarray, shape (e, 2, 3)
        Unit vector that leaves every end into its link.

    Returns
    -------
    ndarray, shape (e, 2)
        As given, with new numbers after the highest.

    Notes
    -----
    Where four ends meet and make two straight ways at an angle, a line may cross itself: a helical
    line drawn with a vertex in common at both levels.
    """
    ends, way = node.ravel().copy(), way_out.reshape(-1, 3)
    order = np.argsort(ends, kind="stable")
    count = np.bincount(ends)
    first = np.cumsum(count) - count
    fresh = count.size
    for place in first[count == 4]:
        meeting = order[place : place + 4]
        between = way[meeting] @ way[meeting].T
        pairs = min(_PAIRS, key=lambda pairs: sum(between[pair] for pair in pairs))
        across = [between[a, b] for a, b in ((pairs[0][0], pairs[1][0]), (pairs[0][0], pairs[1][1]))]
        if max(between[pair] for pair in pairs) <= STRAIGHT_ON and max(across) <= ASKEW:
            ends[meeting[list(pairs[1])]] = fresh
            fresh += 1
    return np.asarray(ends.reshape(node.shape))
