"""The staircase of a descent: which reduction is needed where, set in time, released and set again where it must be.

A direct brake is added to and never eased: one reduction stays until all is released. Where it takes more than
is needed for so long that the train would be stopped, it must be released, and the pipe charged, before the next.
A graduated brake follows the grade up and down.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import grey_closing

from profiler.cited import Cited
from profiler.handling.descents import Descent, retard_needed
from profiler.handling.holding import course_friction
from profiler.handling.speeds import Speeds
from profiler.mechanics.air import charged_after, farthest_feed, released_after
from profiler.mechanics.air_acts import brake_force, ease_time, lead_time
from profiler.mechanics.conditions import NOMINAL, Conditions
from profiler.mechanics.course import held_back_by, places_of
from profiler.mechanics.motion import Course
from profiler.train import Train
from profiler.units import MPH, FloatArray

LOW_SPEED, LOW_SHARE = 10 * MPH, Cited(0.55, "", "choice")
"""Over-braked, a train may fall to the greater of these [m/s], and share of the speed held, before air is released."""
CHARGED = 0.95
"""Of what the pipe lacked, before the next application. [-]"""
CARRIED = Cited(300, "m", "choice")
"""What is lacking over no more than this is carried by the train's inertia. [m]"""
MOVES_APART = Cited(10, "seconds", "choice")
"""A graduated brake is moved no oftener. [s]"""
ONE_MOVE = Cited(60, "seconds", "choice")
"""Reductions of a direct brake that follow sooner than this, or than one is built up, are made as one: the exhaust
of the first has to stop. [s]"""


@dataclass(frozen=True, kw_only=True)
class AirStep:
    """The brake valve moved with the head at ``at`` by distance travelled [m], for a need at ``need`` [m].

    From a reduction ``before`` to one ``after`` [Pa]; ``segment`` counts applications of a direct brake from 0.
    ``charged`` tells of the first step of a later application whether the pipe has been charged by then.
    """

    at: float
    need: float
    before: float
    after: float
    segment: int
    charged: bool = True

    @property
    def kind(self) -> str:
        """A word of `profiler.mark.MARK_KINDS`."""
        return "air_step" if self.after > self.before else "release"


def reductions_needed(
    course: Course,
    train: Train,
    speeds: Speeds,
    descent: Descent,
    conditions: Conditions = NOMINAL,
    doubt: FloatArray | float = 0.0,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places of a descent (q,) [m], the least of the train's reductions that each needs [Pa], and the force
    needed [N]; the reduction is the most there is where none does.

    What is lacking no longer than `CARRIED`, and so little that the train gains no more than half its margin, its
    inertia carries. ``doubt`` (p,) is how much more may be needed at the places of the course to hold a speed [N];
    for that no more is set than the grade is reckoned to take. Slowing down for a limit begins sooner instead.
    """
    places = places_of(course)
    on = (places >= descent.start) & (places <= descent.end)
    speed = speeds.expected[on]
    need = retard_needed(course, speeds.expected)[on]
    usable = float(train.handling.usable_dynamic) * held_back_by(course, places[on], speed)
    steps = np.r_[0.0, [float(r) for r in train.handling.reductions]]
    air = brake_force(train, steps, conditions) * course_friction(course, speed)[:, None]
    steady = retard_needed(course, speeds.expected, slowing=False)[on] + np.broadcast_to(doubt, places.shape)[on]
    lacks = (np.maximum(need, steady) - usable)[:, None] - air
    takes = np.count_nonzero(air[:, 1:] <= need[:, None], axis=1)  # the last reduction that is not too much
    level = np.minimum(_first(lacks <= 1.0), np.maximum(_first((need - usable)[:, None] - air <= 1.0), takes))
    spare = course.mass * ((speed + float(train.handling.margin) / 2) ** 2 - speed**2) / 2
    for k in range(steps.size - 1):
        for first, end in _runs(level > k):
            short = (end - first) * course.step <= CARRIED
            if short and np.maximum(lacks[first:end, k], 0.0).sum() * course.step < spare[first:end].min():
                level[first:end] = k
    return places[on], steps[level], need


def _first(enough: FloatArray) -> FloatArray:
    """Number of the first that is enough, the last where none is."""
    return np.where(enough.any(axis=-1), np.argmax(enough, axis=-1), enough.shape[-1] - 1)


def _runs(mask: FloatArray) -> Iterator[tuple[int, int]]:
    """First position of every run, and that after its last."""
    edge = np.flatnonzero(np.diff(np.r_[False, mask, False]))
    yield from zip(edge[::2].tolist(), edge[1::2].tolist(), strict=True)


def staircase(
    course: Course,
    train: Train,
    speeds: Speeds,
    descent: Descent,
    conditions: Conditions = NOMINAL,
    doubt: FloatArray | float = 0.0,
) -> tuple[AirStep, ...]:
    """Movements of the brake valve along a descent, in order of travel; the last releases all, if the line goes on.

    None where the cars do not brake.
    """
    places, least, need = reductions_needed(course, train, speeds, descent, conditions, doubt)
    if not least.any() or not brake_force(train, np.inf) > 0:
        return ()
    hold = np.interp(places, places_of(course), speeds.expected)
    if train.air_brake == "graduated release":
        level = _kept_longest(course, train, places, least, need, hold, conditions)
        steps = _graduated(train, places, level, hold)
    else:
        steps = _direct(course, train, places, least, need, hold, conditions)
    end = float(places_of(course)[-1])
    return tuple(step for step in steps if step.kind == "air_step" or step.need < end)


def _kept_longest(
    course: Course,
    train: Train,
    places: FloatArray,
    least: FloatArray,
    need: FloatArray,
    hold: FloatArray,
    conditions: Conditions,
) -> FloatArray:
    """Reductions along a descent with few moves: none while none is needed, then one that does for as long as any.

    One does from the least that is needed up to what the grade takes, the dynamic brake between; where none does both,
    it is the least needed.
    """
    steps = np.r_[0.0, [float(r) for r in train.handling.reductions]]
    force = brake_force(train, steps, conditions) * course_friction(course, hold)[:, None]
    over = (force > need[:, None]) & (steps > 0)
    for k in range(steps.size):
        for first, end in _runs(over[:, k]):
            if (end - first) * course.step <= CARRIED:
                over[first:end, k] = False
    does = (steps >= least[:, None]) & (~over | (steps == least[:, None]))
    lasts = np.zeros((places.size + 1, steps.size), dtype=int)
    for i in range(places.size - 1, -1, -1):
        lasts[i] = np.where(does[i], lasts[i + 1] + 1, 0)
    level, i, best = np.empty(places.size), 0, 0
    while i < places.size:
        best = best if i == 0 and lasts[0, 0] else int(np.argmax(lasts[i]))
        level[i : i + lasts[i, best]] = steps[best]
        i += int(lasts[i, best])
    return level


def _graduated(train: Train, places: FloatArray, level: FloatArray, hold: FloatArray) -> tuple[AirStep, ...]:
    """Up and down as the levels (q,) go; dips shorter than it takes to ease and to set again are not followed."""
    lead, ease = lead_time(train) * hold, ease_time(train) * hold
    apart = MOVES_APART * hold
    dip = int(np.ceil((lead + ease + apart).max() / (places[1] - places[0]))) if places.size > 1 else 0
    level = np.r_[grey_closing(np.pad(level, dip), dip)[dip : dip + places.size] if dip else level, 0.0]
    moves = np.flatnonzero(np.diff(level, prepend=0.0))
    steps: list[AirStep] = []
    for i in moves:
        before, after = float(level[i - 1]) if i else 0.0, float(level[int(i)])
        at = min(int(i), places.size - 1)
        back = lead[at] if after > before else 0.0
        if after > before and steps and steps[-1].after > steps[-1].before and places[at] - back <= steps[-1].at + back:
            steps[-1] = replace(steps[-1], after=after)  # a rise within one lead is one move
            continue
        if after < before and steps and steps[-1].after < steps[-1].before and places[at] - steps[-1].at < apart[at]:
            steps[-1] = replace(steps[-1], after=after)  # and so is easing, sooner than it is moved again
            continue
        steps.append(
            AirStep(at=float(places[at] - back), need=float(places[at]), before=before, after=after, segment=0)
        )
    return tuple(steps)


def _direct(
    course: Course,
    train: Train,
    places: FloatArray,
    least: FloatArray,
    need: FloatArray,
    hold: FloatArray,
    conditions: Conditions,
) -> tuple[AirStep, ...]:
    """Added, never eased; released where over-braking would stop the train, and where none is needed for so long that
    the pipe is charged before the next need. Once it had to be set again uncharged it stays: cycle, or stop."""
    step, built = course.step, lead_time(train)
    one = np.maximum(built, ONE_MOVE) * hold
    lead, low = built * hold, np.minimum(np.maximum(LOW_SHARE * hold, LOW_SPEED), 0.9 * hold)
    spare = course.mass * (hold**2 - low**2) / 2
    charging = charged_after(farthest_feed(train), CHARGED)
    forces = {float(r): float(brake_force(train, float(r), conditions)) for r in np.unique(least)}
    friction = course_friction(course, hold)
    moves: list[AirStep] = []
    now, over, segment, released, stuck = 0.0, 0.0, 0, -np.inf, False
    letting_go = released_after(train, farthest_feed(train), 0.5)
    last_need = int(np.flatnonzero(least)[-1])
    needs_none = list(_runs(least == 0))
    ends = {first: places[end] for first, end in needs_none if end <= last_need}
    for i in range(last_need + 1):
        if least[i] > now:
            set_at = float(places[i] - lead[i])
            after = float(least[i])
            if now > 0 and moves[-1].kind == "air_step" and set_at <= moves[-1].at + one[i]:
                moves[-1] = replace(moves[-1], after=after)  # so soon it is one reduction
            else:
                charged = now > 0 or set_at - released >= charging * hold[i]
                stuck = not charged
                at, need_at = max(set_at, released), float(places[i])
                moves.append(
                    AirStep(at=at, need=need_at, before=now, after=after, segment=segment, charged=bool(charged))
                )
            now, over = float(least[i]), 0.0
        if now > 0:
            force = forces[now] * friction[i]
            over = max(over + (force - need[i]) * step, 0.0)
            tail = max(force - need[i], 0.0) * letting_go * hold[i]
            if (over + tail > spare[i] and not stuck) or (
                i in ends and ends[i] - places[i] > charging * hold[i] + one[i]
            ):
                released = float(places[i])
                moves.append(AirStep(at=released, need=released, before=now, after=0.0, segment=segment))
                now, over, segment = 0.0, 0.0, segment + 1
    if now > 0:
        foot = float(places[last_need])
        moves.append(AirStep(at=foot, need=foot, before=now, after=0.0, segment=segment))
    return tuple(moves)
