"""Every plan is driven: on the estimated line, and on its draws, without and with the customary reaction."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from profiler.cited import Cited
from profiler.handling.approach import TIME_STEP, Extremes, extremes_of
from profiler.handling.scene import Scene
from profiler.handling.windows import Window
from profiler.mechanics.air_acts import moved
from profiler.mechanics.conditions import NOMINAL
from profiler.mechanics.course import Act, acts_of
from profiler.mechanics.motion import Course

REACTS_OVER = Cited(0.5, "mph", "choice")
"""A crew reacts when the speed is so far above the one held. [m/s]"""
LATE, LATE_REACTING = 0.05, 0.01
"""A plan begins sooner if more of its draws pass the limit by bad timing. [-]"""
REACTION = Cited(0.6, "", "choice")
"""What it then adds, over the least reduction. [-]"""


@dataclass(frozen=True, kw_only=True)
class Proof:
    """Runs of a plan from its approach to the end of the descent.

    ``over`` is how far the estimate's run is above the limit at most, negative for below, ``least`` its least speed
    [m/s]. Shares of the draws: ``late`` pass the limit though one act at the other end of its window would have held
    them, ``late_reacting`` the same with the customary reaction, ``level`` pass it whenever an act is begun: the brake
    planned is too little; ``stalled`` and ``stalled_reacting`` come to a stand. NaN without draws.
    """

    over: float
    least: float
    late: float
    late_reacting: float
    level: float
    stalled: float
    stalled_reacting: float

    @property
    def sure(self) -> bool:
        """Whether timing fails in no more than `LATE` of the draws, and `LATE_REACTING` with the customary reaction."""
        return not (self.late > LATE or self.late_reacting > LATE_REACTING)


def prove(scene: Scene, power_off: float, off: Window | None, windows: Sequence[Window]) -> Proof:
    """Drive a scene with power going off at a place [m]; windows of that, if it has one, and of its steps."""
    acts = scene.acts(power_off)
    until = scene.descent.end
    mine = _drive(scene, scene.courses[0], acts, until, TIME_STEP)
    nan = float("nan")
    if not scene.drawn:
        return Proof(
            over=mine.over, least=mine.least, late=nan, late_reacting=nan, level=nan, stalled=nan, stalled_reacting=nan
        )
    steps = [float(r) for r in scene.train.handling.reductions]
    more = moved(scene.train, 0.0, steps[0], over=float(REACTS_OVER), conditions=NOMINAL)
    reaction = Act("air", float(REACTION) * np.asarray(more.value), over=float(REACTS_OVER))
    unseen = float(REACTS_OVER) - 2 * scene.margin  # so far above the limit at most, the crew has not reacted
    others = list(_otherwise(scene, power_off, off, windows))

    def driven(course: Course) -> tuple[Extremes, Extremes, bool]:
        alone = _drive(scene, course, acts, until, scene.coarse)
        if alone.over <= unseen:
            return alone, alone, False
        reacting = _drive(scene, course, [*acts, reaction], until, scene.coarse)
        if alone.over <= 0:
            return alone, reacting, False
        return (
            alone,
            reacting,
            not any(_held(_drive(scene, course, other, until, scene.coarse), until) for other in others),
        )

    with ThreadPoolExecutor() as pool:
        runs = list(pool.map(driven, scene.drawn))
    level = np.array([fails for *_, fails in runs])

    def late(some: list[Extremes]) -> float:
        return float((np.array([run.over > 0 for run in some]) & ~level).mean())

    def stalled(some: list[Extremes]) -> float:
        return float(np.mean([_stalled(run, until) for run in some]))

    alone, reacting = [run for run, _, _ in runs], [run for _, run, _ in runs]

    return Proof(
        over=mine.over,
        least=mine.least,
        late=late(alone),
        late_reacting=late(reacting),
        level=float(level.mean()),
        stalled=stalled(alone),
        stalled_reacting=stalled(reacting),
    )


def _otherwise(scene: Scene, power_off: float, off: Window | None, windows: Sequence[Window]) -> Iterator[list[Act]]:
    """All acts with one of them as safe against the limit as its window allows: begun early, or released late."""
    if off is not None and math.isfinite(off.earliest):
        yield scene.acts(min(off.earliest, power_off))
    for i, (step, window) in enumerate(zip(scene.steps, windows, strict=True)):
        sooner = step.kind == "air_step"
        at = min(window.earliest, step.at) if sooner else max(window.latest, step.at)
        if math.isfinite(at) and at != step.at:
            yield scene.acts(power_off, [*scene.steps[:i], replace(step, at=at), *scene.steps[i + 1 :]])


def _stalled(run: Extremes, until: float) -> bool:
    return run.head < until - 1.0


def _held(run: Extremes, until: float) -> bool:
    """Whether a run stays below the limit, and gets there."""
    return run.over <= 0 and not _stalled(run, until)


def _drive(scene: Scene, course: Course, acts: list[Act], until: float, time_step: float) -> Extremes:
    come = scene.approach
    return extremes_of(course, acts_of(acts), head=come.head, speed=come.speed, until=until, time_step=time_step)
