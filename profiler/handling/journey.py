"""The whole line run by plan: speeds held, every descent handled as recommended, in as many runs as stalls make it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from profiler.handling.descent_plan import DescentPlan, LinePlan
from profiler.handling.speeds import LONGEST, coming_speed
from profiler.handling.timeline import after_acts, air_acts, cruising_acts, idling_acts, power_off_acts
from profiler.mechanics.course import Act, held_back_by, places_of
from profiler.mechanics.run import Run, run
from profiler.train import Train
from profiler.units import FloatArray


@dataclass(frozen=True, eq=False)
class Journey:
    """A train run over its line: ``runs`` in order of travel, more than one where it stalls and is got over a crest.

    Arrays are all of them, one after another; ``time`` [s] goes on from one to the next. ``reduction`` is the one
    asked for [Pa] and ``share`` how much of the dynamic brake there is in use [-]; ``stalls`` are the head positions
    at which a run ended short of the line's end [m].
    """

    runs: tuple[Run, ...]
    reduction: FloatArray
    share: FloatArray
    stalls: tuple[float, ...]

    def _all(self, name: str) -> FloatArray:
        return np.concatenate([getattr(run, name) for run in self.runs])

    @property
    def time(self) -> FloatArray:
        """Since the beginning, what lies between two runs left out. [s]"""
        before = np.r_[0.0, np.cumsum([run.time[-1] for run in self.runs])]
        return np.concatenate([run.time + since for run, since in zip(self.runs, before[:-1], strict=True)])

    @property
    def head(self) -> FloatArray:
        """By distance travelled. [m]"""
        return self._all("head")

    @property
    def speed(self) -> FloatArray:
        """[m/s]"""
        return self._all("speed")

    @property
    def effort(self) -> FloatArray:
        """At the wheel rims. [N]"""
        return self._all("effort")

    @property
    def dynamic(self) -> FloatArray:
        """Dynamic brake. [N]"""
        return self._all("dynamic")

    @property
    def air(self) -> FloatArray:
        """Air brake. [N]"""
        return self._all("air")

    @property
    def notch(self) -> FloatArray:
        """Lowest notch that gives the effort, 0 idle. [-]"""
        return self._all("notch")

    @property
    def work(self) -> float:
        """Of the effort at the wheel rims. [J]"""
        return float(sum(run.energy.work for run in self.runs))

    @property
    def braked(self) -> tuple[float, float]:
        """Work taken by the dynamic brake and by the air brake. [J]"""
        return float(sum(r.energy.dynamic for r in self.runs)), float(sum(r.energy.air for r in self.runs))


def descent_acts(train: Train, plan: DescentPlan, top_notch: int) -> list[Act]:
    """One descent as recommended: no dynamic brake while it is approached, then all of the plan, then power again."""
    usable = float(train.handling.usable_dynamic)
    if plan.power_off is None:
        off = idling_acts(usable, plan.approach.head)
    else:
        off = [
            Act("dynamic", 0.0, at=plan.approach.quiet),
            *power_off_acts(plan.timeline, usable, plan.power_off.recommended),
        ]
    return [*off, *air_acts(train, plan.steps), *after_acts(train, plan.descent, top_notch)]


def line_acts(train: Train, plan: LinePlan, instead: Mapping[int, Sequence[Act]] | None = None) -> list[Act]:
    """Every act of a line as recommended; of descents by their number others instead."""
    top_notch = plan.course.effort.shape[1] - 1
    acts = cruising_acts(train, top_notch)
    for i, one in enumerate(plan.descents):
        acts += (instead or {}).get(i) or descent_acts(train, one, top_notch)
    return acts


def journey(train: Train, plan: LinePlan, end: float) -> Journey:
    """Run a train by plan.

    Parameters
    ----------
    train : Train
    plan : LinePlan
    end : float
        Of the line. [m]

    Notes
    -----
    It comes onto the line at the speed that it holds there. Where it stalls, or would roll back, the run goes on at the
    approach to the next descent.
    """
    course = plan.course
    acts = line_acts(train, plan)
    head = float(places_of(course)[0])
    speed = coming_speed(course, train, head)
    runs: list[Run] = []
    stalls: list[float] = []
    left = list(plan.descents)
    while True:
        done = run(course, acts_from(acts, head), head=head, speed=speed, until=end, lasts=LONGEST)
        runs.append(done)
        at = float(done.head[-1])
        if done.ended == "there":
            break
        stalls.append(at)
        left = [one for one in left if one.approach.head > at]
        if not left:
            break
        head, speed = left[0].approach.head, left[0].approach.speed
    whole = [run.head for run in runs]
    return Journey(
        runs=tuple(runs),
        reduction=_reductions(plan.descents, np.concatenate(whole)),
        share=_shares(runs),
        stalls=tuple(stalls),
    )


def acts_from(acts: Sequence[Act], head: float) -> list[Act]:
    """Acts of a run that begins at a place [m]: what sets the air before is past."""
    return [act for act in acts if act.kind != "air" or act.at >= head]


def _reductions(plans: Sequence[DescentPlan], head: FloatArray) -> FloatArray:
    """The reduction asked for with the head at places [m]. [Pa]"""
    steps = [step for plan in plans for step in plan.steps]
    at = np.array([step.at for step in steps])
    return np.r_[0.0, [step.after for step in steps]][np.searchsorted(at, head, side="right")]


def _shares(runs: Sequence[Run]) -> FloatArray:
    """How much of the dynamic brake there is in use. [-]"""
    parts = []
    for done in runs:
        all_of_it = held_back_by(done.course, done.head, np.abs(done.speed))
        parts.append(np.divide(done.dynamic, all_of_it, out=np.zeros(done.head.size), where=all_of_it > 0))
    return np.concatenate(parts)
