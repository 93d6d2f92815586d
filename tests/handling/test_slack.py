"""Where slack runs in and out along a run, against a closed form and laws, and on the hill of the trial."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from profiler.briefing.words import mark_short, mark_words
from profiler.handling.descent_plan import plan_descents
from profiler.handling.slack import BY_ACTS, BY_LINE, FELT, slack_changes, slack_marks, slack_state
from profiler.handling.straddles import train_straddles
from profiler.handling.timeline import after_acts, air_acts, cruising_acts, power_off_acts
from profiler.landmark import Landmark
from profiler.mark import MARK_KINDS, Mark
from profiler.mechanics.conditions import Conditions
from profiler.mechanics.course import Act, course_of
from profiler.mechanics.in_train import InTrain, in_train
from profiler.mechanics.run import Run, run
from profiler.mechanics.speed_limits import head_limit
from profiler.mechanics.terrain import Terrain
from profiler.route import SpeedLimit
from profiler.train import Train
from profiler.units import GRAVITY, MPH, FloatArray
from tests.mechanics.test_in_train import At, at
from tests.mechanics.test_pull import split
from tests.outside.test_published_rating import light_train
from tests.trial import CREST, GRAIN, UNIT, hill, slope, train_of, trial_trains

SAG = 6000.0
DOWN, UP = 0.010, 0.005


def valley(direction: str = "with") -> Terrain:
    """-1 % to the sag, 0.5 % beyond; 12 km."""
    way = np.arange(0.0, 12_005.0, 10.0)
    z = 100 - DOWN * np.minimum(way, SAG) + UP * np.maximum(way - SAG, 0.0)
    return Terrain(way, z, 0 * way, direction)


def sag_at(chainage: float) -> Landmark:
    return Landmark(kind="sag", direction="both", start=chainage, end=chainage, at=chainage, value=20, unit="m")


def held_through(train: Train, terrain: Terrain, head: FloatArray) -> At:
    """The speed held by the units ahead alone, rolling left aside."""
    course = course_of(train, terrain, draft_limit=np.inf)
    need = np.interp(head, course.first + course.step * np.arange(course.weight.size), course.weight)
    return at(head, effort=np.maximum(need, 0.0), dynamic=np.maximum(-need, 0.0))


def through(train: Train, terrain: Terrain) -> InTrain:
    head = np.arange(3000.0, 10_000, 10)
    what = held_through(train, terrain, head)
    return in_train(train, terrain, course_of(train, terrain), what, conditions=Conditions(rolling=0.0, curves=0.0))


def test_the_node_walks_through_the_train():
    """Outside: closed form: of a uniform train held at one speed by the units ahead, p of its weight W past a sag from
    -g1 to +g2, the coupler at y of its weight carries W(g2(p - y) - g1(1 - p)) ahead of the sag: draft turns to buff at
    y = p - (1 - p)g1/g2, from the head with p = g1/(g1 + g2) to the rear as it leaves the sag."""
    train = light_train(rear=False)
    found = through(train, valley())
    cars, weight, length = 100, train.mass * GRAVITY, train.length
    unit = float(train.groups[0].end)
    p = np.clip((found.head - unit - SAG) / (length - unit), 0.0, 1.0)
    y = p - (1 - p) * DOWN / UP
    begins = SAG + unit + DOWN / (DOWN + UP) * (length - unit)
    walking = (found.head > begins + 30) & (found.head < SAG + length - 30)
    assert walking.sum() > 10
    assert found.node[walking] - 2 == pytest.approx(cars * y[walking], abs=1.1)
    assert (found.node[found.head < begins - 20] == -1).all()
    coupler = 2 + 50  # with half of the weight behind it
    expected = weight * np.where(p > 0.5, UP * (p - 0.5) - DOWN * (1 - p), -DOWN * 0.5)
    assert found.force[:, coupler] == pytest.approx(np.where(p < 1, expected, UP * weight / 2), rel=0.01, abs=3000)

    (change,) = slack_changes(train, found)
    assert not change.bunches
    assert begins - 50 < found.head[change.first] < begins + 300
    assert found.head[change.last] == pytest.approx(SAG + length, abs=150)
    assert change.node_from < 10
    assert change.node_to > 90
    assert change.before < -FELT
    assert change.after > FELT


@pytest.mark.parametrize("direction", ["with", "against"])
def test_mark_of_a_sag(direction: str):
    """Law: one mark, slack that runs out; changes of power are to be finished as the head reaches the sag; places are
    chainages, and fall where travel is against them. Common practice, no source: slack is kept as it comes to be."""
    train, terrain = light_train(rear=False), valley(direction)
    chainage = float(terrain.chainage(SAG))
    (mark,) = slack_marks(train, terrain, through(train, terrain), train_straddles(train, terrain, [sag_at(chainage)]))
    assert mark.kind == "slack_out"
    assert mark.kind in MARK_KINDS
    assert mark.direction == direction
    ways = [float(terrain.way_at(x)) for x in (mark.earliest, mark.recommended, mark.latest)]
    assert SAG < ways[0] < ways[1] < ways[2] < SAG + train.length + 150
    assert mark.figure("finish_by") == pytest.approx(chainage)
    assert mark.figure("keep_stretched") == 1
    assert mark.figure("returns") == 0
    assert mark.value == mark.figure("after") - mark.figure("before") > 2 * FELT
    assert 0 <= mark.figure("by_acts") <= 1


def test_there_and_back():
    """Law: at one effort, over a dip and up again, slack runs in and out again: of one piece, and kept as it was, which
    is stretched."""
    way = np.arange(0.0, 20_005.0, 10.0)
    z = np.cumsum(np.r_[0.0, 10 * np.where((way[1:] > 8000) & (way[1:] <= 9000), -0.006, 0.004)])
    terrain = Terrain(way, z, 0 * way)
    train = light_train(rear=False)
    what = at(np.arange(4000.0, 15_000, 10), effort=0.004 * train.mass * GRAVITY)
    course = course_of(train, terrain)
    found = in_train(train, terrain, course, what, conditions=Conditions(rolling=0.0, curves=0.0))
    marks = slack_marks(train, terrain, found)
    assert [m.kind for m in marks] == ["slack_in", "slack_out"]
    for mark in marks:
        assert mark.figure("keep_stretched") == 1
        assert mark.figure("returns") == 1
        assert mark.reason == "line"
        assert mark.figure("by_acts") == pytest.approx(0, abs=1e-9)
    assert "kept stretched throughout" in mark_words(marks[0], train, "us")


def test_little_is_left_out():
    """Law: forces that never are `FELT` apart move no slack, and a coupler stays as it was within it."""
    train = train_of((1, UNIT), (10, GRAIN))
    quiet = 0.49 * FELT * np.sin(np.linspace(0, 40, 200))[:, None] * np.ones(10)
    assert not slack_state(quiet).any()
    loud = np.array([[1.0], [0.6], [-0.4], [-0.6], [0.4], [0.6]]) * FELT
    assert slack_state(loud)[:, 0].tolist() == [1, 1, 1, -1, -1, 1]
    terrain = valley()
    course = course_of(train, terrain)
    assert slack_changes(train, in_train(train, terrain, course, at(np.arange(2000.0, 9000, 10)))) == ()


def test_one_grade_has_no_marks():
    """Law: on one grade at one speed slack stays where it is."""
    train = trial_trains()["a"]
    course = course_of(train, slope(0.006))
    course = course._replace(hold=np.full(course.weight.size, 20 * MPH))
    done = run(course, cruising_acts(train, 8), head=3000, speed=20 * MPH, until=25_000)
    assert slack_marks(train, slope(0.006), in_train(train, slope(0.006), course, done)) == ()


def test_acts_are_told():
    """Law: where nothing but the crew changes anything, that is the reason: power off and the dynamic brake on push the
    slack in, and power on pulls it out."""
    train, terrain = trial_trains()["e"], slope(-0.002)
    course = course_of(train, terrain)
    acts = [Act("notch", 4.0), Act("notch", 0.0, at=6000), Act("dynamic", 0.5, at=6300), Act("dynamic", 0.0, at=8500)]
    acts.append(Act("notch", np.arange(6.0), at=12_000, step=2.0))
    done = run(course, acts, head=4000, speed=9.0, until=16_000)
    assert done.ended == "there"
    marks = slack_marks(train, terrain, in_train(train, terrain, course, done))
    assert [(m.kind, m.reason) for m in marks] == [("slack_in", "dynamic_brake"), ("slack_out", "power_on")]
    assert all(m.figure("by_acts") > 0.95 for m in marks)
    assert 6000 <= marks[0].earliest <= 6500
    assert 12_000 <= marks[1].earliest <= 12_500


def test_how_a_run_begins_is_no_change():
    """Law: slack that settles within the first metres of a run has not moved: nobody knows how it was before."""
    train, terrain = trial_trains()["e"], slope(0.0)
    head = np.arange(4000.0, 6000, 5)
    effort = np.where(head < 4020, 0.0, 150e3)
    what = at(head, effort=effort, dynamic=np.where(head < 4020, 200e3, 0.0))
    later = at(head + 0.0, effort=np.where(head < 4500, 0.0, 150e3), dynamic=np.where(head < 4500, 200e3, 0.0))
    course = course_of(train, terrain)
    began, moved = (slack_changes(train, in_train(train, terrain, course, x)) for x in (what, later))
    assert began == ()
    assert [change.cause for change in moved] == ["dynamic_off"]


@cache
def over_the_hill(name: str) -> tuple[Train, InTrain, Run]:
    """A train of the trial over all of its hill, every descent as planned, 25 mph posted."""
    train, terrain = trial_trains()[name], hill()
    if name == "b":
        train = replace(train, limits=replace(train.limits, draft=train.limits.draft * 4))
    plan = plan_descents(train, terrain, head_limit([SpeedLimit(0, 60_000, 25 * MPH)], terrain, train.length))
    top = plan.course.effort.shape[1] - 1
    acts = cruising_acts(train, top)
    for one in plan.descents:
        assert one.power_off is not None
        acts.append(Act("dynamic", 0.0, at=one.approach.head))
        acts += power_off_acts(one.timeline, float(train.handling.usable_dynamic), one.power_off.recommended)
        acts += [*air_acts(train, one.steps), *after_acts(train, one.descent, top)]
    done = run(plan.course, acts, head=0.0, speed=15 * MPH, until=terrain.length, lasts=1e5)
    return train, in_train(train, terrain, plan.course, done), done


LANDMARKS = [
    replace(sag_at(at), kind=kind)
    for kind, at in (("crest", CREST), ("sag", 44_000.0), ("crest", 47_000.0), ("sag", 50_000.0), ("crest", 53_000.0))
]


def marks_on_the_hill(name: str) -> tuple[Mark, ...]:
    train, found, _ = over_the_hill(name)
    return slack_marks(train, hill(), found, train_straddles(train, hill(), LANDMARKS))


@pytest.mark.parametrize("name", ["a", "b", "c", "d", "e", "e, empties ahead"])
def test_on_the_hill_of_the_trial(name: str):
    """Worked: the hill: power gives way to the brake over the crest at 18 km, and comes back past the sag at 44 km.
    Every train bunches over the one and stretches out of the other; on 60 km with two crests and two sags more there
    are few marks, in order, each long enough to be one."""
    train, _, done = over_the_hill(name)
    assert done.ended == "there"
    marks = marks_on_the_hill(name)
    assert 2 <= len(marks) <= 10
    assert all(one.latest <= other.earliest for one, other in pairwise(marks))
    crest = [m for m in marks if m.kind == "slack_in" and CREST < m.recommended < CREST + 2 * train.length]
    sag = [m for m in marks if m.kind == "slack_out" and 44_000 < m.recommended < 44_000 + train.length + 500]
    assert len(crest) == len(sag) == 1
    assert crest[0].figure("keep_stretched") == 0
    assert sag[0].figure("keep_stretched") == 1
    assert sag[0].figure("finish_by") == 44_000
    for mark in marks:
        assert mark.reason in {*BY_LINE, "undulation", *(reason for pair in BY_ACTS.values() for reason in pair)}
        assert abs(mark.value) >= FELT
        assert mark.earliest <= mark.recommended <= mark.latest


def test_a_gap_between_two_runs():
    """Law: where the head leaps from one run to the next, no slack is taken to have moved over the leap."""
    train, found, _ = over_the_hill("e")
    left = (found.head < CREST - 200) | (found.head > 20_000)
    names = ("time", "head", "speed", "effort", "dynamic", "air", "force", "by_effort", "by_dynamic", "by_air")
    cut = replace(found, **{name: getattr(found, name)[left] for name in (*names, "acceleration")})
    whole, parts = (slack_changes(train, x) for x in (found, cut))
    assert any(CREST < found.head[c.middle] < 20_000 for c in whole)
    for change in parts:
        assert not cut.head[change.first] < CREST < cut.head[change.last]


@pytest.mark.parametrize("name", ["a", "e"])
def test_splitting_blocks(name: str):
    """Law: splitting a block moves no mark."""
    train, found, done = over_the_hill(name)
    parts = in_train(split(train), hill(), course_of(train, hill()), done)
    one, other = (slack_marks(t, hill(), f) for t, f in ((train, found), (split(train), parts)))
    assert [(m.kind, m.reason) for m in one] == [(m.kind, m.reason) for m in other]
    assert [m.recommended for m in other] == pytest.approx([m.recommended for m in one], abs=60)


def test_slack_in_words():
    """Law: every reason has its words, in pull and push; what is kept is custom, never an order."""
    train = trial_trains()["e, empties ahead"]
    (mark, *_) = marks_on_the_hill("e, empties ahead")
    for reason in [*BY_LINE, *(reason for pair in BY_ACTS.values() for reason in pair), "undulation"]:
        words = mark_words(replace(mark, reason=reason), train, "us")
        assert words.startswith("slack runs in")
        assert "kips" in words
        assert ("customarily" in words) == (reason not in BY_ACTS["air"])
        assert not {"draft", "buff", "in in"} & set(words.split())
    assert mark_short(mark, train, "metric").endswith("kN")
