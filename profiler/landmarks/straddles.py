"""For which head positions a train of a given length lies on both sides of a landmark: plain geometry."""

from __future__ import annotations

from collections.abc import Sequence

from profiler.landmark import Landmark, Straddle
from profiler.route import DIRECTIONS

STRADDLED = ("crest", "sag", "grade_break")


def straddles(items: Sequence[Landmark], train_lengths: Sequence[float]) -> tuple[Straddle, ...]:
    """Straddles of every crest, sag and break, each train length [m], each direction.

    ``landmark`` is the position in ``items``. Positions beyond an end of the line are given too:
    the train then reaches it on the neighbouring line.
    """
    found = []
    for number, item in enumerate(items):
        if item.kind not in STRADDLED:
            continue
        for direction in DIRECTIONS:
            way = 1.0 if direction == "with" else -1.0
            for length in train_lengths:
                heads = [item.at + way * length * quarter / 4 for quarter in range(5)]
                found.append(Straddle(number, item.kind, direction, length, *heads))
    return tuple(found)
