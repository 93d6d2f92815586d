"""Laws that hold for every crest and train (handling trial 8): those that are false there are none of these."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field, replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from profiler.handling.approach import Extremes, extremes_of, last_place
from profiler.handling.scene import Moving
from profiler.handling.staircase import AirStep
from profiler.mechanics.conditions import Conditions
from profiler.mechanics.course import acts_of, course_of
from profiler.mechanics.motion import Course
from profiler.mechanics.terrain import Terrain
from profiler.train import Block, Train
from profiler.units import MPH, PSI
from tests.handling.scenes import Staged, scene_of
from tests.trial import GRAIN, ORE, UNIT, crest_of, train_of

LIMIT = 25 * MPH
SLACK = 10.0
"""Places are found to 5 m, two of them to 10. [m]"""
laws = settings(max_examples=12, deadline=None)


@dataclass(frozen=True)
class Hill:
    """A crest with a train that gets over it, told by its grades [m/m] and counts."""

    up: float
    down: float
    curve: float
    units: int
    cars: int
    car: str
    scene: Staged = field(repr=False)
    train: Train = field(repr=False)

    @property
    def line(self) -> Terrain:
        """Its line."""
        return crest_of(self.up, self.down, curve=self.curve)


@st.composite
def hills(draw: st.DrawFn, *, air: bool = False) -> Hill:
    """Any crest and train; one application 1.5 km past the descent's beginning if asked for."""
    up, down = draw(st.floats(0.003, 0.012)), draw(st.floats(0.010, 0.020))
    curve = draw(st.sampled_from([50.0, 300.0, 700.0]))
    units, cars, car = draw(st.integers(2, 3)), draw(st.integers(15, 70)), draw(st.sampled_from([ORE, GRAIN]))
    train = train_of((units, UNIT), (cars, car), (1, UNIT))
    scene = scene_of(train, crest_of(up, down, curve=curve), LIMIT, ())
    assume(not scene.approach.stalls and scene.approach.crest_speed > 10 * MPH)
    if air:
        scene = replace(scene, steps=(applied(scene.descent.start + 1500, 7),))
    return Hill(up, down, curve, units, cars, car.name, scene, train)


def applied(place: float, psi: float) -> AirStep:
    """One application with the head at a place [m]."""
    return AirStep(at=place, need=place, before=0.0, after=psi * PSI, segment=0)


def driven(scene: Staged, place: float, *, dt: float = 0.1, share: float | None = None) -> Extremes:
    """With power off at a place [m], over level limits, so that `over` is the highest speed."""
    course = scene.courses[0]
    course = course._replace(limit=np.zeros_like(course.limit))
    come, until = scene.approach, scene.descent.start + 6000
    acts = acts_of(scene.acts(place, share=share))
    return extremes_of(course, acts, head=come.head, speed=come.speed, until=until, time_step=dt)


def latest(
    scene: Staged,
    course: Course | None = None,
    bound: float = 0.0,
    *,
    share: float | None = None,
    conditions: Conditions | None = None,
    until: float = 6000.0,
) -> float:
    """The last place at which power may go off [m], minus infinity for none."""
    place = scene.approach.balance
    acts = scene.acts(place, share=share, **({} if conditions is None else {"conditions": conditions}))
    start = scene.descent.start
    moving = Moving(
        scene, course or scene.courses[0], acts_of(acts), place, low=scene.approach.quiet, until=start + until
    )
    found = last_place(lambda x: moving.held(x, bound), scene.approach.quiet, start + 4000)
    return -math.inf if math.isnan(found) else found


@laws
@given(made=hills(), fine=st.booleans())
def test_a_later_start_is_nowhere_slower(made: Hill, fine: bool):
    """Law: highest and least speed do not fall as power goes off later: within 0.02 mph at 0.1 s, 0.15 mph at 0.5 s."""
    scene = made.scene
    places = np.linspace(scene.approach.quiet, scene.descent.start + 2500, 12)
    runs = [driven(scene, place, dt=0.1 if fine else 0.5) for place in places]
    allowed = (0.02 if fine else 0.15) * MPH
    assert (np.diff([run.over for run in runs]) >= -allowed).all()
    assert (np.diff([run.least for run in runs]) >= -allowed).all()


@laws
@given(made=hills(air=True), bounds=st.lists(st.floats(-1.0, 2.0), min_size=2, max_size=4))
def test_latest_rises_with_the_bound(made: Hill, bounds: list[float]):
    """Law: what is bound higher may begin later, the speed held being the same."""
    scene = made.scene
    found = [latest(scene, bound=bound) for bound in sorted(bounds)]
    assert all(b >= a - SLACK for a, b in itertools.pairwise(found))


@laws
@given(made=hills(air=True), more=st.floats(1.05, 1.3))
def test_more_brake_begins_no_earlier(made: Hill, more: float):
    """Law: no earlier with a larger usable share, more dynamic brake, more shoe friction, a larger reduction at the
    same place, or air set earlier."""
    scene = made.scene
    course, at = scene.courses[0], scene.steps[0].at
    here = latest(scene)
    assert latest(scene, share=min(0.85 * more, 1.0)) >= here - SLACK
    stronger = course._replace(dynamic=more * course.dynamic, push=more * course.push)
    assert latest(scene, stronger) >= here - SLACK
    assert latest(scene, conditions=Conditions(shoes=more)) >= here - SLACK
    assert latest(replace(scene, steps=(applied(at, 7 * more),))) >= here - SLACK
    assert latest(replace(scene, steps=(applied(at - 400, 7),))) >= here - SLACK


@laws
@given(made=hills(), more=st.floats(0.0005, 0.003), faster=st.floats(0.1, 1.5))
def test_the_hill_and_the_approach(made: Hill, more: float, faster: float):
    """Law: no later with one dynamic brake lost, down a steeper descent, or coming faster (5 m more allowed); no
    earlier over a steeper climb before the crest, with real power."""
    scene, up, down, train = made.scene, made.up, made.down, made.train

    def other(up: float, down: float, train: Train = train) -> Course:
        course = course_of(train, crest_of(up, down, curve=made.curve))
        return course._replace(hold=scene.courses[0].hold, limit=scene.courses[0].limit)

    here = latest(scene)
    assert latest(scene, other(up, down)) == here
    head = train.blocks[0]
    dead = Block(count=1, vehicle=replace(head.vehicle, dynamic=None))
    fewer = replace(train, blocks=(Block(count=head.count - 1, vehicle=head.vehicle), dead, *train.blocks[1:]))
    assert latest(scene, other(up, down, fewer)) <= here + SLACK
    assert latest(scene, other(up, down + more)) <= here + SLACK
    assert latest(scene, other(up + more, down)) >= here - SLACK
    quick = replace(scene, approach=replace(scene.approach, speed=scene.approach.speed + faster))
    assert latest(quick) <= here + SLACK + 5


@laws
@given(made=hills(), psi=st.floats(7, 12), span=st.floats(200, 2000))
def test_released_later_it_is_no_faster(made: Hill, psi: float, span: float):
    """Law: the highest speed after a release does not rise as the release is later, within 0.15 mph."""
    scene = made.scene
    start = scene.descent.start
    first = applied(start + 300, psi)
    highest = []
    for place in np.linspace(start + 500, start + 500 + 3 * span, 5):
        release = replace(first, at=place, need=place, before=first.after, after=0.0)
        highest.append(driven(replace(scene, steps=(first, release)), scene.approach.balance, dt=0.25).over)
    assert (np.diff(highest) <= 0.15 * MPH).all()


@laws
@given(made=hills(), shift=st.integers(1, 300), lift=st.floats(-200, 3000), cut=st.floats(0.1, 0.9))
def test_all_shifts_with_the_crest(made: Hill, shift: int, lift: float, cut: float):
    """Law: a line that begins farther back moves the balance, earliest, custom, latest and recommended by as much;
    another datum and a block split in two move nothing."""
    train, line = made.train, made.line
    one = scene_of(train, line, LIMIT, ())
    ahead = 10.0 * shift
    far = replace(line, way=np.r_[np.arange(shift) * 10.0, line.way + ahead])
    far = replace(
        far,
        elevation=np.r_[line.elevation[0] - made.up * (ahead - far.way[:shift]), line.elevation],
        curve_rise=np.zeros(far.way.size),
    )
    cars = train.blocks[1]
    n = max(int(cut * cars.count), 1)
    parts = (replace(cars, count=n), replace(cars, count=cars.count - n))
    split = replace(train, blocks=(train.blocks[0], *parts, train.blocks[2]))
    for other, place in (
        (scene_of(train, far, LIMIT, ()), ahead),
        (scene_of(train, line.lifted(line.elevation + lift), LIMIT, ()), 0.0),
        (scene_of(split, line, LIMIT, ()), 0.0),
    ):
        assert other.approach.balance - place == pytest.approx(one.approach.balance, abs=10.1)
        ours, theirs = one.power_off(), other.power_off()
        for name in ("earliest", "latest", "recommended"):
            assert getattr(theirs, name) - place == pytest.approx(getattr(ours, name), abs=SLACK, nan_ok=True)
        assert theirs.custom - place == pytest.approx(ours.custom, abs=11)
