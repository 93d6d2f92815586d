"""The ledger of the air: what a descent's movements of the brake valve leave in the pipe, normally and cold."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from profiler.handling.staircase import AirStep
from profiler.mechanics.air import EQUALISATION, farthest_feed, full_service_reduction
from profiler.mechanics.air_applied import Application, ledger
from profiler.train import Train
from profiler.units import FloatArray


@dataclass(frozen=True, kw_only=True)
class LedgerRow:
    """One movement of the brake valve: ``time`` since the run began, ``since_release`` since the last release before
    it, NaN where there was none [s].

    ``normal`` and ``cold``, a cold or leaky train, are the pipe at the far end then: what it lacks, the reduction at
    the gauge for the effect of the step, what is left to full service. At a release they tell what it lacks as it is
    let go.
    """

    step: AirStep
    time: float
    since_release: float
    normal: Application
    cold: Application


def applied(steps: Sequence[AirStep], head: float) -> float:
    """The reduction set as the head gets to a place [m]. [Pa]"""
    before = [step for step in steps if step.at <= head]
    return before[-1].after if before else 0.0


def air_ledger(train: Train, steps: Sequence[AirStep], head: FloatArray, time: FloatArray) -> tuple[LedgerRow, ...]:
    """The ledger of a descent, one row a movement.

    Parameters
    ----------
    train : Train
    steps : sequence of AirStep
        In order of travel; of one descent or of a whole line. The pipe is charged before the first.
    head, time : ndarray, shape (t,)
        A run by these steps: head positions, rising [m], and times [s]. Where it does not get to a step, no time
        counts for charging.

    Notes
    -----
    A direct brake is charged from a release to the next application (`air_applied.ledger`); reductions added to one
    stand on the same charge. A graduated brake is fed while it holds: nothing is lacking, and the row is the step.
    """
    if not steps:
        return ()
    at = np.interp([step.at for step in steps], np.maximum.accumulate(head), time)
    released, last = [], math.nan
    for step, when in zip(steps, at, strict=True):
        released.append(float(when) - last)
        if step.after == 0:
            last = float(when)
    if train.air_brake == "graduated release":
        made = [(_full(train, step), _full(train, step)) for step in steps]
    else:
        normal, cold = (_direct(train, steps, at, cold=x) for x in (False, True))
        made = list(zip(normal, cold, strict=True))
    return tuple(
        LedgerRow(step=step, time=float(when), since_release=since, normal=normal, cold=cold)
        for step, when, since, (normal, cold) in zip(steps, at, released, made, strict=True)
    )


def _full(train: Train, step: AirStep) -> Application:
    """A step of a graduated brake."""
    full = full_service_reduction(train)
    return Application(
        lack=0.0, charge=float(train.pipe_pressure), gauge=step.after, left=full - step.after, enough=step.after <= full
    )


def _direct(train: Train, steps: Sequence[AirStep], at: FloatArray, *, cold: bool) -> list[Application]:
    """Every movement of a direct brake, made at times [s]."""
    wanted: list[float] = []
    charging: list[float] = []
    number, since = [], 0.0
    for step, when in zip(steps, at, strict=True):
        if step.before == 0:
            if wanted:
                charging.append(max(float(when) - since, 0.0))
            wanted.append(0.0)
        wanted[-1] = max(wanted[-1], step.after)
        number.append(len(wanted) - 1)
        since = float(when)
    pipe = float(train.pipe_pressure)
    made = ledger(pipe, farthest_feed(train), wanted, charging, cold=cold)
    return [_movement(pipe, made[i], step.after) for i, step in zip(number, steps, strict=True)]


def _movement(pipe: float, whole: Application, after: float) -> Application:
    """One movement of an application that is made in several; one to nothing lets it go."""
    lack = whole.lack if after else whole.gauge
    full = (pipe - lack) * (1 - 1 / EQUALISATION)
    got = min(after, full)
    return Application(lack=lack, charge=pipe - lack, gauge=lack + got, left=full - got, enough=full >= after)
