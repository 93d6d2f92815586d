"""Means over a length of line: ruling, sustained and heavy grades, exactly.

Between stations elevation is linear, so the mean grade over a window is piecewise linear in the
window's place and takes its extremes where its start or its end stands on a station.
"""

from __future__ import annotations

import numpy as np

from profiler.units import FloatArray


def window_starts(chainage: FloatArray, length: float) -> FloatArray:
    """Starts [m] of all windows of ``length`` [m] that begin or end on a station, in order."""
    last = chainage[-1] - length
    starts = np.concatenate([chainage[chainage <= last], chainage[chainage >= chainage[0] + length] - length])
    starts = np.sort(np.clip(starts, chainage[0], max(last, chainage[0])), kind="stable")  # two sorted runs: a merge
    return starts[np.r_[True, np.diff(starts) > 0]]


def window_means(chainage: FloatArray, climb: FloatArray, starts: FloatArray, length: float) -> FloatArray:
    """Mean grade [m/m] over start…start+length, where ``climb`` (n,) [m] rises with the grade."""
    head = np.interp(starts + length, chainage, climb)
    return (head - np.interp(starts, chainage, climb)) / length


def steepest(chainage: FloatArray, climb: FloatArray, length: float) -> tuple[float, float] | None:
    """Start [m] and mean grade [m/m] of the steepest window, None where the line is shorter."""
    if chainage[-1] - chainage[0] < length:
        return None
    starts = window_starts(chainage, length)
    means = window_means(chainage, climb, starts, length)
    best = int(np.argmax(means))
    return float(starts[best]), float(means[best])


def reaching(starts: FloatArray, means: FloatArray, least: float) -> FloatArray:
    """Starts [m] of the windows whose mean is at least ``least``, and where between two it is just that."""
    chosen = means >= least
    i = np.flatnonzero(chosen[1:] != chosen[:-1])
    share = (least - means[i]) / (means[i + 1] - means[i])
    return np.sort(np.r_[starts[chosen], starts[i] + share * (starts[i + 1] - starts[i])])


def union(starts: FloatArray, length: float) -> list[tuple[float, float]]:
    """Stretches [m] covered by windows of ``length`` [m] that begin at ``starts`` (m,) [m], in order."""
    found: list[tuple[float, float]] = []
    for start in starts:
        if found and start <= found[-1][1] + 1e-6:
            found[-1] = (found[-1][0], float(start + length))
        else:
            found.append((float(start), float(start + length)))
    return found
