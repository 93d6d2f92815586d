"""Where the make-up of a train asks for care in curves: long cars beside short ones, empties behind the power."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise, takewhile

import numpy as np

from profiler.mechanics.curving import InCurves
from profiler.train import Train
from profiler.units import FloatArray
from profiler.vehicle import Vehicle

HEAD_PART = 0.5
"""The head part of a train has at least so much of its mass behind it. [-]"""


@dataclass(frozen=True, kw_only=True)
class MakeUpWarning:
    """Cars that stand badly: ``code`` "long_beside_short" or "empties_behind_power" (S60, and common practice).

    ``count`` couplers between a long and a short car in the head part, or empty cars next behind the head power with
    loads behind them. Of these ``vehicle``, counted from 0 at the head, is worst off: over the run its couplers carry
    a ``draft`` and a ``buff`` of so much [N], its trucks a lateral over vertical force of ``ratio`` [-]. ``behind`` is
    the mass that it draws [kg].
    """

    code: str
    count: int
    vehicle: int
    behind: float
    draft: float
    buff: float
    ratio: float


def make_up_warnings(train: Train, curves: InCurves) -> tuple[MakeUpWarning, ...]:
    """Warnings about the order of cars, with what they carry along a run; one of a code at most."""
    vehicles = [train.blocks[b].vehicle for b in train.vehicle_block]
    behind = train.mass - np.cumsum([v.mass for v in vehicles])
    unlike = np.flatnonzero([_unlike(a, b) for a, b in pairwise(vehicles)])
    unlike = unlike[behind[unlike] >= HEAD_PART * train.mass]
    found = []
    if unlike.size:
        found.append(_warning("long_beside_short", unlike.size, np.unique([unlike, unlike + 1]), behind, curves))
    head = train.groups[0]
    if head.place == "head":
        first = int(train.counts[: head.last + 1].sum())
        empty = list(takewhile(lambda v: v.kind == "car" and not v.loaded, vehicles[first:]))
        if empty and any(v.loaded for v in vehicles[first:]):
            these = first + np.arange(len(empty))
            found.append(_warning("empties_behind_power", len(empty), these, behind, curves))
    return tuple(found)


def _unlike(a: Vehicle, b: Vehicle) -> bool:
    """Whether two neighbours are a long and a short car."""
    return a.kind == b.kind == "car" and {a.size, b.size} == {"long", "short"}


def _warning(code: str, count: int, these: FloatArray, behind: FloatArray, curves: InCurves) -> MakeUpWarning:
    """The worst off of some vehicles: by its trucks, or by its couplers where no curve tells."""
    ratio = np.maximum(curves.inward, curves.outward)[:, these].max(axis=0, initial=0.0)
    draft, buff = (force[:, these].max(axis=0, initial=0.0) for force in (curves.draft, curves.buff))
    k = int(np.lexsort((np.maximum(draft, buff), ratio))[-1])
    return MakeUpWarning(
        code=code,
        count=int(count),
        vehicle=int(these[k]),
        behind=float(behind[these[k]]),
        draft=float(draft[k]),
        buff=float(buff[k]),
        ratio=float(ratio[k]),
    )
