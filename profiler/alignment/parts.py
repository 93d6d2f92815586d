"""What stands along a line, when a part of the line is cut out."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import TypeVar

from profiler.route import Corner, CurveElement, KnownPost, Station

LEAST_CURVE = 20.0
"""A curve that was cut counts while so much of its body is left. [m]"""

Placed = TypeVar("Placed", Corner, KnownPost, Station)


def cut_curves(curves: Iterable[CurveElement], origin: float, length: float) -> tuple[CurveElement, ...]:
    """Curves on the part of a line that begins at ``origin`` and is ``length`` long [m]; not those of which no body
    is left."""
    cut = (_cut_curve(curve, origin, length) for curve in curves)
    return tuple(curve for curve in cut if curve is not None)


def cut_places(items: Iterable[Placed], origin: float, length: float) -> tuple[Placed, ...]:
    """What stands on that part, by distance from its beginning."""
    moved = (dataclasses.replace(item, chainage=item.chainage - origin) for item in items)
    return tuple(item for item in moved if 0 <= item.chainage <= length)


def _cut_curve(curve: CurveElement, origin: float, length: float) -> CurveElement | None:
    """The curve on that part; None where its body is cut off."""
    start, end = curve.start - origin, curve.end - origin
    low, high = max(start, 0.0), min(end, length)
    spiral_in = max(curve.spiral_in - (low - start), 0.0)
    spiral_out = max(curve.spiral_out - (end - high), 0.0)
    if high - low < spiral_in + spiral_out + LEAST_CURVE:
        return None
    return dataclasses.replace(curve, start=low, end=high, spiral_in=spiral_in, spiral_out=spiral_out)
