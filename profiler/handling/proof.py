"""Every plan is driven: on the estimated line, and on its draws, without and with the customary reaction."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from profiler.cited import Cited
from profiler.handling.approach import COARSE, TIME_STEP, Extremes, extremes_of
from profiler.handling.windows import Scene
from profiler.mechanics.air_acts import moved
from profiler.mechanics.conditions import NOMINAL
from profiler.mechanics.course import Act, acts_of
from profiler.mechanics.motion import Course

REACTS_OVER = Cited(0.5, "mph", "choice")
"""A crew reacts when the speed is so far above the one held. [m/s]"""
REACTION = Cited(0.6, "", "choice")
"""What it then adds, over the least reduction. [-]"""


@dataclass(frozen=True, kw_only=True)
class Proof:
    """Runs of a plan from its approach to the end of the descent.

    ``over`` is how far the estimate's run is above the limit at most, negative for below, ``least`` its least speed
    [m/s]. Shares of the draws: ``late`` pass the limit though an earlier start would have held them, ``late_reacting``
    the same with the customary reaction, ``level`` pass it whenever begun: the brake planned is too little; ``stalled``
    and ``stalled_reacting`` come to a stand. NaN without draws.
    """

    over: float
    least: float
    late: float
    late_reacting: float
    level: float
    stalled: float
    stalled_reacting: float


def prove(scene: Scene, power_off: float) -> Proof:
    """Drive a scene with power going off at a place [m]."""
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
    soonest = scene.acts(scene.approach.head)

    def driven(course: Course) -> tuple[Extremes, Extremes, bool]:
        alone = _drive(scene, course, acts, until, COARSE)
        if alone.over <= 0:
            return alone, alone, False
        reacting = _drive(scene, course, [*acts, reaction], until, COARSE)
        return alone, reacting, _drive(scene, course, soonest, until, COARSE).over > 0

    with ThreadPoolExecutor() as pool:
        runs = list(pool.map(driven, scene.drawn))
    level = np.array([fails for *_, fails in runs])

    def late(some: list[Extremes]) -> float:
        return float((np.array([run.over > 0 for run in some]) & ~level).mean())

    def stalled(some: list[Extremes]) -> float:
        return float(np.mean([run.head < until - 1.0 for run in some]))

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


def _drive(scene: Scene, course: Course, acts: list[Act], until: float, time_step: float) -> Extremes:
    come = scene.approach
    return extremes_of(course, acts_of(acts), head=come.head, speed=come.speed, until=until, time_step=time_step)
