"""What can be drawn on a sheet, in points from its lower left corner; what has a higher ``z`` lies on top."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from profiler.present.palette import INK
from profiler.present.typeface import Type, extent
from profiler.units import FloatArray

Points = Sequence[tuple[float, float]] | FloatArray


@dataclass(frozen=True, eq=False)
class Lines:
    """Lines (n, 2) of one kind; ``dash`` is on, off, … [pt]."""

    pieces: tuple[FloatArray, ...]
    width: float
    colour: str = INK
    z: float = 3
    dash: tuple[float, ...] | None = None
    cap: str = "butt"


@dataclass(frozen=True, eq=False)
class Areas:
    """Closed shapes (n, 2), one fill each; ``edge`` "none" for none."""

    shapes: tuple[FloatArray, ...]
    fills: tuple[str, ...]
    edge: str = "none"
    width: float = 0.5
    z: float = 2
    alpha: float | None = None


@dataclass(frozen=True, eq=False)
class Words:
    """Words on a baseline, from ``left``; ``halo`` is paper about them."""

    left: float
    y: float
    text: str
    style: Type
    colour: str
    z: float = 9
    halo: bool = False

    @property
    def right(self) -> float:
        """Where they end. [pt]"""
        return self.left + extent(self.text, self.style)[0]


Drawn = Lines | Areas | Words

HALO = 2.2
"""Width of the stroke under words with a halo. [pt]"""
