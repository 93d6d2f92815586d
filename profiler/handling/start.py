"""A start of a standing train as it goes, and as it goes wrong: what `start_sequence` finds."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from profiler.cited import Cited
from profiler.handling.starting import NO_NOTCH
from profiler.mechanics.air import COLD_AND_LEAKY
from profiler.units import FloatArray

UNDER_WAY = Cited(1, "mph", "choice")
"""Speed at which the train counts as under way. [m/s]"""
RELEASED, CHARGED = 0.95, (0.90, 0.95)
"""Share of the cylinder pressure let go, and of the pipe's charge made up, that are told. [-]"""


@dataclass(frozen=True, eq=False)
class StartRun:
    """One start in time: arrays (t,), ``time`` [s] from the release of the air.

    ``moved`` [m] and ``speed`` [m/s], + ahead; the ``notch``; ``effort`` [N], what the couplers allow; ``air`` and
    ``independent`` [N], what the cars' brakes and those of the head group could still hold.
    """

    time: FloatArray
    moved: FloatArray
    speed: FloatArray
    notch: FloatArray
    effort: FloatArray
    air: FloatArray
    independent: FloatArray

    def _first(self, speed: float) -> float:
        faster = np.flatnonzero(self.speed > speed)
        return float(self.time[max(faster[0] - 1, 0)]) if faster.size else math.inf

    @property
    def moves(self) -> float:
        """Time at which the train first moves ahead; infinite where it never does. [s]"""
        return self._first(0.0)

    @property
    def under_way(self) -> float:
        """Time at which it has reached `UNDER_WAY`. [s]"""
        return self._first(UNDER_WAY)

    @property
    def rolled_back(self) -> float:
        """Farthest back of where it stood. [m]"""
        return max(0.0, -float(self.moved.min()))


@dataclass(frozen=True)
class Slip:
    """A start gone wrong, and how far the train rolls ``back`` [m] at what ``speed`` at most [m/s].

    The first notch comes ``late`` after the release [s]; ``dropped``: the independent brake goes with the release
    instead of being eased against the power.
    """

    late: float
    dropped: bool
    back: float
    speed: float


@dataclass(frozen=True)
class Act:
    """One act or event of a start, a code ``kind``, its ``time`` after the release [s], a ``value`` in ``unit``."""

    kind: str
    time: float
    value: float
    unit: str


@dataclass(frozen=True)
class Slack:
    """What slack does at a start.

    ``length`` [m] all of it together, bunched cars start one after another over that distance of the head end;
    ``stretched`` and ``bunched`` [N] the effort to start with slack out and in: bunched, one car breaks away at a
    time. ``run_in`` [m/s]: if the whole train is let roll into its slack, the rear closes up at up to this speed.
    """

    length: float
    stretched: float
    bunched: float
    run_in: float


@dataclass(frozen=True, kw_only=True)
class StartSequence:
    """How a train that stands with its head at ``head`` by distance travelled [m] is started there.

    ``reduction`` keeps it at rest before, independent brake apart [Pa], infinite where full service does not.
    ``holding_notch`` keeps it from rolling back, friction apart; ``starting_notch`` starts it: `NO_NOTCH` where none
    does within the draft ``limit`` of couplers [N]. ``rear_begins``, ``rear_released`` [s]: when the rear begins to
    let go, and has let go. ``charged`` [s]: 90 and 95 % of the air made up at the rear, normally;
    a cold or leaky train takes `COLD_AND_LEAKY` times as long. ``independent_holds``: the independent brake of the
    head group alone holds the train while the air is let go.
    """

    head: float
    reduction: float
    holding_notch: int
    starting_notch: int
    limit: float
    rear_begins: float
    rear_released: float
    charged: tuple[float, float]
    independent_holds: bool
    slack: Slack
    run: StartRun
    slips: tuple[Slip, ...]

    @property
    def starts(self) -> bool:
        """Whether it gets under way."""
        return self.starting_notch != NO_NOTCH and math.isfinite(self.run.under_way)

    @property
    def charged_slowly(self) -> tuple[float, float]:
        """The same of a cold or leaky train. [s]"""
        return self.charged[0] * COLD_AND_LEAKY, self.charged[1] * COLD_AND_LEAKY

    @property
    def acts(self) -> tuple[Act, ...]:
        """Acts and events in order of time; what never comes is left out."""
        run = self.run
        at = np.flatnonzero(np.diff(run.notch, prepend=0))
        acts = [
            Act("set", 0.0, self.reduction, "Pa"),
            Act("release", 0.0, self.reduction, "Pa"),
            *(Act("notch", float(run.time[i]), float(run.notch[i]), "") for i in at),
            Act("rear_begins", self.rear_begins, 0.0, ""),
            Act("rear_released", self.rear_released, RELEASED, ""),
            Act("moves", run.moves, 0.0, "m/s"),
            Act("under_way", run.under_way, float(UNDER_WAY), "m/s"),
            *(Act("charged", t, share, "") for t, share in zip(self.charged, CHARGED, strict=True)),
            *(Act("charged_slowly", t, share, "") for t, share in zip(self.charged_slowly, CHARGED, strict=True)),
        ]
        eased = np.flatnonzero(np.diff(run.independent) < 0)
        if eased.size:
            acts += [
                Act("independent_eased", float(run.time[eased[0]]), float(run.independent[0]), "N"),
                Act("independent_off", float(run.time[eased[-1] + 1]), 0.0, "N"),
            ]
        return tuple(sorted((a for a in acts if math.isfinite(a.time)), key=lambda a: a.time))
