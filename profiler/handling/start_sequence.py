"""The start as a sequence in time: air let go, power against the roll, creep, advance; and what a late hand costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from profiler.cited import Cited
from profiler.handling.start import CHARGED, RELEASED, Slack, Slip, StartRun, StartSequence
from profiler.handling.starting import NO_NOTCH, lowest_notch, starting
from profiler.mechanics.air import (
    air_left,
    charged_after,
    farthest_feed,
    holding_reduction,
    independent_force,
    released_after,
)
from profiler.mechanics.course import Act, acts_of, course_of, in_use
from profiler.mechanics.motion import Course, integrate
from profiler.mechanics.resistance import CURVE_START_FACTOR, starting_resistances, train_coefficients
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.under_train import Spread, under_train
from profiler.train import Train
from profiler.units import FloatArray

NOTCH_PAUSE = Cited(5, "seconds", "choice")
"""From notch to notch at a start. [s]"""
EASING = Cited(10, "seconds", "choice")
"""In which the independent brake is eased. [s]"""
CREEP = Cited(10, "seconds", "choice")
"""The starting notch is kept at least so long after the train moves, and until the rear is released. [s]"""
LATE = tuple(Cited(t, "seconds", "choice") for t in (20, 30, 60))
"""A late hand: the first notch comes so long after the release. [s]"""
FREE_SLACK = Cited(6, "in", "S57")
"""Of one coupling. [m]"""
TIME_STEP = 0.25
"""[s]"""
LASTS = 300.0
"""A start is followed so long after the first notch. [s]"""
REACH = 2000.0
"""The grade under the train is tabled so far behind and ahead of the place. [m]"""


@dataclass(frozen=True, eq=False)
class _Stand:
    """A train where it stands, tabled for the loop."""

    train: Train
    course: Course
    head: float
    reduction: float
    holding: int
    starting: int
    starts: bool
    grade: float
    need: float

    def run(
        self, late: float = 0.0, *, dropped: bool = False, keep: int | None = None, advance: float = math.inf
    ) -> StartRun:
        """One start: notches from ``late`` [s] on, no farther than ``keep`` until ``advance`` [s]."""
        train = self.train
        time = np.arange(0.0, late + LASTS + TIME_STEP / 2, TIME_STEP)
        full = self.course.effort.shape[1] - 1
        notch = np.clip(_steps(time - late), 0, full if keep is None else keep)
        notch = np.minimum(notch + np.maximum(_steps(time - advance), 0), full).astype(int)
        eased = 0.0 if dropped else late + (self.holding - 1) * NOTCH_PAUSE
        taken = TIME_STEP if dropped else float(EASING)
        independent = independent_force(train) * np.clip(1 - (time - eased) / taken, 0.0, 1.0)
        air = air_left(train, self.reduction, time)
        acts = [Act("notch", notch, step=TIME_STEP), Act("air", air + independent, step=TIME_STEP)]
        found, _, _ = integrate(self.course, acts_of(acts), self.head, 0.0, TIME_STEP, float(time[-1]), math.inf, False)
        _, place, speed, effort, *_ = found
        used = in_use(self.course, effort, place, speed)
        return StartRun(time, place - self.head, speed, used, effort, air, independent)


def _steps(time: FloatArray) -> FloatArray:
    """Notches taken a time [s] after the first may be."""
    return np.floor(time / NOTCH_PAUSE + 1e-9) + 1


def start_sequence(train: Train, terrain: Terrain, head: float, *, draft_limit: float | None = None) -> StartSequence:
    """The start of a train that stands with its head at a place.

    Parameters
    ----------
    train : Train
    terrain : Terrain
    head : float
        By distance travelled. [m]
    draft_limit : float, optional
        Instead of the train's own limit; infinite for none. [N]

    Notes
    -----
    The first notch comes with the release, then one each `NOTCH_PAUSE`; the independent brake is eased as the
    notch that holds back roll is reached. The starting notch is kept until the train has crept for `CREEP` and the
    rear is released, then power is raised as far as the draft limit lets it pass. Motion by Heun's method in steps of
    `TIME_STEP`. At rest, breakaway holds the train both ways; moving, it has its running resistance.
    """
    stand = _stand(train, terrain, head, train.limits.draft if draft_limit is None else draft_limit)
    far = farthest_feed(train)
    released = released_after(train, far, RELEASED)
    first = stand.run(keep=stand.starting)
    advance = max(first.moves + CREEP, released)
    run = stand.run(keep=stand.starting, advance=advance) if math.isfinite(advance) else first
    slips = []
    for late, dropped in product(LATE, (False, True)):
        slip = stand.run(float(late), dropped=dropped)
        slips.append(Slip(float(late), dropped, slip.rolled_back, slip.back_speed))
    charged = tuple(charged_after(far, share) for share in CHARGED)
    return StartSequence(
        head=head,
        reduction=stand.reduction,
        holding_notch=stand.holding,
        starting_notch=stand.starting if stand.starts else NO_NOTCH,
        limit=float(train.limits.draft if draft_limit is None else draft_limit),
        rear_begins=released_after(train, far, 0.0),
        rear_released=released,
        charged=(charged[0], charged[1]),
        independent_holds=independent_force(train) >= stand.grade,
        slack=_slack(train, stand.grade, stand.need),
        run=run,
        slips=tuple(slips),
    )


def start_sequences(train: Train, terrain: Terrain, heads: Sequence[float]) -> tuple[StartSequence, ...]:
    """The start at each of several places [m]: planned stops, and the worst place of each climb."""
    return tuple(start_sequence(train, terrain, float(head)) for head in heads)


def _stand(train: Train, terrain: Terrain, head: float, limit: float) -> _Stand:
    """The train tabled where it stands, held back by ``grade``, started by ``need`` [N]."""
    found = starting(train, terrain, head=np.array([head]))
    grade, need = float(found.grade[0]), float(found.need[0])
    own = []
    for group in train.groups:  # what it takes for itself does not pass its coupler
        mass = group.mass / (group.end - group.start)
        its = under_train(terrain, Spread(np.array([group.start, group.end]), np.array([mass])), np.array([head]))
        own.append(its.grade_force + CURVE_START_FACTOR * its.curve_force)
    blocks = starting_resistances(train)
    starts = np.array([[blocks[g.first : g.last + 1].sum()] for g in train.groups])
    course = course_of(train, terrain, start=head - REACH, end=head + REACH)
    room = np.maximum(limit + np.array(own) + starts, 0.0)
    course = course._replace(room=np.repeat(room, course.weight.size, axis=1))
    at_rest = np.minimum(course.effort[:, :, 0], room).sum(axis=0)
    top = int(np.argmax(at_rest >= at_rest.max() * (1 - 1e-9)))
    holding, starts_in = (int(lowest_notch(at_rest, np.array([f]))[0]) for f in (grade + found.curve[0] / 2, need))
    return _Stand(
        train=train,
        course=course,
        head=head,
        reduction=holding_reduction(train, grade),
        holding=top if holding == NO_NOTCH else max(holding, 1),
        starting=top if starts_in == NO_NOTCH else max(starts_in, 1),
        starts=starts_in != NO_NOTCH,
        grade=grade,
        need=need,
    )


def _slack(train: Train, grade: float, need: float) -> Slack:
    """Slack of a train held back by a grade force [N], started with an effort [N] when stretched."""
    length = FREE_SLACK * (train.vehicles - 1)
    each = (starting_resistances(train) / train.counts).max()
    rolling = float(train_coefficients(train)(0.0))
    bunched = need - float(starting_resistances(train).sum()) + rolling + float(each)
    down = max(grade - rolling, 0.0) / train.rotating_mass
    return Slack(length, need, min(bunched, need), math.sqrt(2 * down * length))
