"""For which head positions a train lies on both sides of a landmark: plain geometry."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from profiler.landmark import Landmark, Straddle
from profiler.route import DIRECTIONS
from profiler.units import FloatArray

STRADDLED = ("crest", "sag", "grade_break")


def length_quarters(length: float) -> FloatArray:
    """Distances behind the head end [m] of the quarters of a plain length of train [m], (5,)."""
    return length * np.arange(5) / 4


def straddles(
    items: Sequence[Landmark], quarters: Sequence[FloatArray], directions: Sequence[str] = DIRECTIONS
) -> tuple[Straddle, ...]:
    """Straddles of every crest, sag and break by every train, in each direction.

    Parameters
    ----------
    items : sequence of Landmark
    quarters : sequence of ndarray, shape (5,)
        Of each train the distances behind its head end at which none, a quarter, half, three quarters and all of it
        is reached: of its length (`length_quarters`), or of its mass. [m]
    directions : sequence of str
        "with", "against" chainage.

    Notes
    -----
    ``landmark`` is the position in ``items``. Positions beyond an end of the line are given too:
    the train then reaches it on the neighbouring line.
    """
    found = []
    for number, item in enumerate(items):
        if item.kind not in STRADDLED:
            continue
        for direction in directions:
            way = 1.0 if direction == "with" else -1.0
            for behind in quarters:
                heads = [item.at + way * float(distance) for distance in behind]
                found.append(Straddle(number, item.kind, direction, float(behind[-1]), *heads))
    return tuple(found)
