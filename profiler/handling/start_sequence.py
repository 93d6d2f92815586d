"""The start as a sequence in time: air let go, power against the roll, creep, advance; and what a late hand costs."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from profiler.cited import Cited
from profiler.handling.start import CHARGED, RELEASED, Slack, Slip, StartRun, StartSequence
from profiler.handling.starting import NO_NOTCH, lowest_notch, stand
from profiler.mechanics.air import (
    charged_after,
    farthest_feed,
    feed_distances,
    holding_reduction,
    independent_force,
    released_after,
    service_share,
    still_applied,
)
from profiler.mechanics.air_applied import car_forces
from profiler.mechanics.course import Act, acts_of, course_of, in_use, places_of
from profiler.mechanics.motion import Course, integrate
from profiler.mechanics.resistance import CURVE_START_FACTOR, starting_resistances, train_coefficients
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.under_train import Spread, spread_of, under_train
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
    """A train where it stands, tabled for the loop; ``air`` [N] is left every `TIME_STEP` after the release."""

    train: Train
    course: Course
    head: float
    reduction: float
    air: FloatArray
    holding: int
    starting: int
    starts: bool
    grade: float
    need: float

    def run(self, *, keep: int, advance: float = math.inf) -> StartRun:
        """The start as it should be: notches no farther than ``keep`` until ``advance`` [s]."""
        time, place, speed, effort, independent = self._followed(keep=keep, advance=advance)
        used = in_use(self.course, effort, place, speed)
        return StartRun(time, place - self.head, speed, used, effort, self.air[: time.size], independent)

    def slip(self, late: float, *, dropped: bool) -> Slip:
        """The start with the first notch so late [s], the independent brake eased or dropped."""
        _, place, speed, *_ = self._followed(late, dropped=dropped)
        return Slip(late, dropped, max(0.0, self.head - float(place.min())), max(0.0, -float(speed.min())))

    def _followed(
        self, late: float = 0.0, *, dropped: bool = False, keep: int | None = None, advance: float = math.inf
    ) -> tuple[FloatArray, ...]:
        """Time [s], place [m], speed [m/s], effort and independent brake [N]: notches from ``late`` [s] on."""
        time = _times(late)
        full = self.course.effort.shape[1] - 1
        notch = np.clip(_steps(time - late), 0, full if keep is None else keep)
        notch = np.minimum(notch + np.maximum(_steps(time - advance), 0), full).astype(int)
        eased = 0.0 if dropped else late + (self.holding - 1) * NOTCH_PAUSE
        taken = TIME_STEP if dropped else float(EASING)
        independent = independent_force(self.train) * np.clip(1 - (time - eased) / taken, 0.0, 1.0)
        brakes = self.air[: time.size] + independent
        acts = acts_of([Act("notch", notch, step=TIME_STEP), Act("air", brakes, step=TIME_STEP)])
        found, _, _ = integrate(self.course, acts, self.head, 0.0, TIME_STEP, float(time[-1]), math.inf, False)
        _, place, speed, effort, *_ = found
        return time, place, speed, effort, independent


def _times(late: float) -> FloatArray:
    """Times [s] at which a start is followed, the first notch so late [s]."""
    return np.arange(0.0, late + LASTS + TIME_STEP / 2, TIME_STEP)


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
    return start_sequences(train, terrain, [head], draft_limit=draft_limit)[0]


def start_sequences(
    train: Train, terrain: Terrain, heads: Sequence[float], *, draft_limit: float | None = None
) -> tuple[StartSequence, ...]:
    """The start at each of several places [m]: planned stops, and the worst place of each climb."""
    if not len(heads):
        return ()
    limit = float(train.limits.draft if draft_limit is None else draft_limit)
    return tuple(_sequence(here, limit) for here in _stands(train, terrain, np.array(heads, dtype=float), limit))


def _sequence(here: _Stand, limit: float) -> StartSequence:
    train = here.train
    far = farthest_feed(train)
    released = released_after(train, far, RELEASED)
    first = here.run(keep=here.starting)
    advance = max(first.moves + CREEP, released)
    run = here.run(keep=here.starting, advance=advance) if math.isfinite(advance) else first
    charged = tuple(charged_after(far, share) for share in CHARGED)
    return StartSequence(
        head=here.head,
        reduction=here.reduction,
        holding_notch=here.holding,
        starting_notch=here.starting if here.starts else NO_NOTCH,
        limit=limit,
        rear_begins=released_after(train, far, 0.0),
        rear_released=released,
        charged=(charged[0], charged[1]),
        independent_holds=independent_force(train) >= here.grade,
        slack=_slack(train, here.grade, here.need),
        run=run,
        slips=tuple(here.slip(float(late), dropped=dropped) for late, dropped in product(LATE, (False, True))),
    )


def _stands(train: Train, terrain: Terrain, heads: FloatArray, limit: float) -> Iterator[_Stand]:
    """The train tabled at each of the places (h,) [m], held back by ``grade``, started by ``need`` [N]."""
    found = stand(train, terrain, heads)
    blocks = starting_resistances(train)
    room = []
    for group in train.groups:  # what it takes for itself does not pass its coupler
        mass = group.mass / (group.end - group.start)
        its = under_train(terrain, Spread(np.array([group.start, group.end]), np.array([mass])), heads)
        own = its.grade_force + CURVE_START_FACTOR * its.curve_force + blocks[group.first : group.last + 1].sum()
        room.append(np.maximum(limit + own, 0.0))
    anywhere = course_of(train, terrain, start=-REACH, end=REACH, dynamic=0.0)
    about = places_of(anywhere)
    under = under_train(terrain, spread_of(train), (heads[:, None] + about).ravel())
    weight, bend = (x.reshape(heads.size, about.size) for x in (under.grade_force, under.curve_force))
    reductions = [holding_reduction(train, float(grade)) for grade in found.grade]
    let_go = still_applied(train, feed_distances(train), _times(max(LATE))) @ car_forces(train)
    air = service_share(train, reductions)[:, None] * let_go
    for i, head in enumerate(heads):
        most = np.array(room)[:, [i]]
        at_rest = np.minimum(anywhere.effort[:, :, 0], most).sum(axis=0)
        top = int(np.argmax(at_rest >= at_rest.max() * (1 - 1e-9)))
        grade, need = float(found.grade[i]), float(found.need[i])
        holding, starts_in = lowest_notch(at_rest, np.array([grade + found.curve[i] / 2, need])).tolist()
        yield _Stand(
            train=train,
            course=anywhere._replace(
                first=float(head) - REACH, weight=weight[i], bend=bend[i], room=np.repeat(most, about.size, axis=1)
            ),
            head=float(head),
            reduction=reductions[i],
            air=air[i],
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
