"""Loose ends of lines closed over small gaps."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from profiler.units import FloatArray

IntArray = npt.NDArray[np.int_]

TURN_BACK = 0.5
"""Cosine between the two ways out of a joint above which going on would be turning back (120°)."""

_NEIGHBOURS = 8


def close_gaps(
    node: IntArray, position: FloatArray, way_out: FloatArray, tolerance: float
) -> tuple[IntArray, list[float]]:
    """Nodes with loose ends joined: end to end, nearest first, then ends left over to near joints.

    Parameters
    ----------
    node : ndarray, shape (e, 2)
        Node at both ends of every link.
    position, way_out : ndarray, shape (e, 2, 3)
        Geocentric place of every end [m], and the unit vector that leaves it into its link.
    tolerance : float
        Widest gap closed. [m]

    Returns
    -------
    node : ndarray, shape (e, 2)
        Renumbered.
    gaps : list of float
        Width of every gap closed. [m]

    Notes
    -----
    Ends that already hang together are left: a short link is not closed to a ring. Two ends from
    which a train would have to turn back are the ends of two parallel tracks, not a joint.
    """
    ends, place, way = node.ravel(), position.reshape(-1, 3), way_out.reshape(-1, 3)
    count = int(ends.max()) + 1
    loose = np.flatnonzero(np.bincount(ends)[ends] == 1)
    met, gaps = _end_to_end(loose, _together(node, count)[ends], place, way, tolerance)
    links = np.vstack((node, ends[met]))
    left = np.setdiff1d(loose, met)
    to_joint, more = _end_to_joint(left, _together(links, count)[ends], place, tolerance)
    merged = _together(np.vstack((ends[met], ends[to_joint])), count)
    return merged[node], gaps + more


def _together(pairs: IntArray, count: int) -> IntArray:
    """Label (count,) of what the pairs (k, 2) hold together."""
    matrix: Any = csr_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return np.asarray(connected_components(matrix, directed=False)[1])


def _end_to_end(
    loose: IntArray, group: IntArray, place: FloatArray, way: FloatArray, tolerance: float
) -> tuple[IntArray, list[float]]:
    pairs = np.zeros((0, 2), dtype=int)
    if loose.size:
        pairs = loose[cKDTree(place[loose]).query_pairs(tolerance, output_type="ndarray")]
    a, b = pairs.T
    off = np.linalg.norm(place[a] - place[b], axis=1)
    fit = (group[a] != group[b]) & ((way[a] * way[b]).sum(axis=1) <= TURN_BACK)
    taken: set[int] = set()
    met, gaps = [], []
    for i in np.lexsort((b, a, off)):
        if fit[i] and not taken & {int(a[i]), int(b[i])}:
            taken |= {int(a[i]), int(b[i])}
            met.append(pairs[i])
            gaps.append(float(off[i]))
    return np.array(met, dtype=int).reshape(-1, 2), gaps


def _end_to_joint(left: IntArray, group: IntArray, place: FloatArray, tolerance: float) -> tuple[IntArray, list[float]]:
    joints = np.setdiff1d(np.arange(len(place)), left)
    met: list[tuple[int, int]] = []
    gaps: list[float] = []
    if left.size and joints.size:
        near, which = cKDTree(place[joints]).query(place[left], k=_NEIGHBOURS, distance_upper_bound=tolerance)
        for end, offs, found in zip(left, near, which, strict=True):
            for off, joint in zip(offs[np.isfinite(offs)], joints[found[np.isfinite(offs)]], strict=True):
                if group[joint] != group[end]:
                    met.append((int(end), int(joint)))
                    gaps.append(float(off))
                    break
    return np.array(met, dtype=int).reshape(-1, 2), gaps
