"""What couplers feel at the marked places of plans of the trial's trains, as planned and suddenly."""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from profiler.handling.events import (
    BEFORE,
    GENTLER_BRAKE,
    GENTLER_NOTCHES,
    Event,
    gentler_events,
    planned_events,
    start_events,
    sudden_events,
)
from profiler.handling.felt import Felt, felt
from profiler.handling.journey import Journey, journey
from profiler.handling.start_sequence import start_sequence
from profiler.mechanics.draft_gear import SLACK
from profiler.mechanics.pull import KNUCKLE_BREAKS
from tests.planned import TRAINS, line_of_trial, planned

SAG = 43_900.0
"""Where the trial's descent ends in a sag. [m]"""


@cache
def trip(name: str) -> Journey:
    return journey(TRAINS[name], planned(name, None), line_of_trial(name).length)


@cache
def felt_as(name: str, how: str) -> tuple[Felt, ...]:
    """All that is felt, "planned" or "suddenly"."""
    train, plan = TRAINS[name], planned(name, None)
    if how == "planned":
        sags = [(SAG, SAG + train.length)] if name != "f" else []
        events = planned_events(train, plan, trip(name), sags)
    else:
        events = sudden_events(train, plan, trip(name))
    return felt(train, line_of_trial(name), events)


def at(found: tuple[Felt, ...], way: str, wear: str, place: float = 0.0) -> Felt:
    """The first of a way from a place on."""
    return next(f for f in found if (f.event.way, f.wear) == (way, wear) and f.event.place >= place)


@pytest.mark.parametrize("name", ["a", "e, empties ahead", "f"])
def test_every_marked_place_is_followed(name: str):
    """Law: crests, movements of the valve and sags of the plan, in order of travel, with gears in every state of wear;
    the step is fine enough everywhere, the energy closes, and an event lasts as it should."""
    plan, found = planned(name, None), felt_as(name, "planned")
    steps = [step for one in plan.descents for step in one.steps]
    kinds = [f.event.kind for f in found]
    assert kinds.count("crest") == 3 * sum(one.power_off is not None for one in plan.descents)
    assert kinds.count("air_step") + kinds.count("release") == 3 * len(steps)
    assert kinds.count("sag") == (0 if name == "f" else 3)
    assert all(a.event.place <= b.event.place for a, b in pairwise(found))
    assert [f.wear for f in found] == [*SLACK] * (len(found) // 3)
    for f in found:
        assert f.forces.sure
        assert abs(f.forces.energy.error) < 1e-3
        assert f.forces.head[0] < f.event.place < f.forces.head[-1] or f.forces.parted
        begins = np.interp(f.event.place, f.forces.head, f.forces.time)
        assert f.forces.parted or begins == pytest.approx(BEFORE, abs=1.0)


@pytest.mark.parametrize("name", ["a", "e"])
def test_tight_slack_and_a_gradual_hand_give_the_steady_forces(name: str):
    """Worked: handling trial: gradual, slack tight, loads ahead: the steady peaks of the crest are right to 20 %."""
    crest = at(felt_as(name, "planned"), "planned", "tight")
    assert crest.event.kind == "crest"
    assert crest.forces.draft.force == pytest.approx(crest.draft.force, rel=0.2)
    assert crest.forces.buff.force == pytest.approx(crest.buff.force, rel=0.2)


@pytest.mark.parametrize(("name", "times"), [("b", 1.5), ("e", 1.8), ("e, empties ahead", 3.0), ("d", 2.0)])
def test_a_sudden_hand_is_felt(name: str, times: float):
    """Worked: handling trial: sudden acts push 2 to 8 times as hard as the steady forces say, hardest where empties
    ride ahead of loads; the plan does not, at the same crest. Worn slack pushes harder than tight."""
    sudden, crest = felt_as(name, "suddenly"), at(felt_as(name, "planned"), "planned", "usual")
    hit = at(sudden, "dynamic_at_once", "usual")
    assert hit.event.place == crest.event.place
    assert hit.forces.buff.force > times * hit.buff.force
    assert hit.forces.buff.force > times * crest.forces.buff.force
    assert hit.over_buff
    assert hit.forces.run_in.speed > 1.5 * crest.forces.run_in.speed
    tight, worn = (at(sudden, "dynamic_at_once", wear).forces.buff.force for wear in ("tight", "worn"))
    assert tight < hit.forces.buff.force < worn


def test_what_is_sudden_is_only_that():
    """Law: a descent handled suddenly has its air as planned, and every other descent; each way has what it is named
    for."""
    train, plan = TRAINS["a"], planned("a", None)
    ways = {e.way: e for e in reversed(sudden_events(train, plan, trip("a")))}
    assert set(ways) == {"no_pause", "dynamic_at_once", "throttle_at_once", "release_at_once"}
    usual = planned_events(train, plan, trip("a"))[0]

    def air(event: Event) -> list[tuple[float, float]]:
        return [(act.at, float(np.max(act.value))) for act in event.acts if act.kind == "air"]

    for way in ("no_pause", "dynamic_at_once", "throttle_at_once"):
        assert air(ways[way]) == air(usual)
    first = plan.descents[0]
    assert first.power_off is not None
    assert ways["no_pause"].place == first.power_off.recommended
    assert ways["throttle_at_once"].place == first.descent.crest

    def full_after(way: str) -> float:
        act = next(a for a in ways[way].acts if a.kind == "dynamic" and a.at == ways[way].place)
        value = np.asarray(act.value)
        return float(np.argmax(value >= value.max()) * act.step)

    assert full_after("no_pause") == 7.0
    assert full_after("dynamic_at_once") == first.timeline.dynamic + 3
    assert full_after("no_pause") < full_after("dynamic_at_once") < first.timeline.full


@pytest.mark.parametrize("name", ["a", "b", "e"])
def test_a_gentler_hand_takes_its_time(name: str):
    """Law: so many times the time, begun as much sooner as the train still gets over; all else is as planned. It still
    gets over, and goes hardly faster than by plan."""
    train, plan = TRAINS[name], planned(name, None)
    gentle = gentler_events(train, plan, trip(name))
    usual = [e for e in planned_events(train, plan, trip(name)) if e.kind == "crest"]
    assert len(gentle) == len(usual)
    off = plan.descents[0].power_off
    assert off is not None
    assert off.earliest <= gentle[0].place < off.recommended
    notch = next(a for a in gentle[0].acts if a.kind == "notch" and a.at == gentle[0].place)
    assert notch.step == train.handling.notch_time * GENTLER_NOTCHES
    brake = next(a for a in gentle[0].acts if a.kind == "dynamic" and a.at == gentle[0].place)
    line = plan.descents[0].timeline
    full = np.asarray(brake.value) >= np.max(brake.value) - 1e-9
    longer = (GENTLER_NOTCHES - 1) * line.idle + (GENTLER_BRAKE - 1) * (line.full - line.dynamic)
    assert np.argmax(full) * brake.step == pytest.approx(line.full + longer, abs=1.0)
    by_plan, slow = (felt(train, line_of_trial(name), [events[0]], ("usual",))[0] for events in (usual, gentle))
    assert slow.forces.head[-1] > plan.descents[0].descent.start
    assert slow.too_fast < by_plan.too_fast + 0.5


@pytest.mark.parametrize("name", ["b", "e, empties ahead"])
def test_a_running_release_with_the_dynamic_brake_gone_runs_slack_out(name: str):
    """Worked: handling trial: a running release is slow at the rear: a draft that steady forces do not show."""
    off = at(felt_as(name, "suddenly"), "release_at_once", "usual")
    kept = next(f for f in felt_as(name, "planned") if f.event.place == off.event.place and f.wear == "usual")
    assert off.forces.draft.force > 1.3 * max(off.draft.force, kept.forces.draft.force)


@pytest.mark.parametrize("name", ["a", "d", "f"])
def test_a_start_as_planned_and_bunched(name: str):
    """Law: a start by plan keeps the limit of the couplers, to 10 %, and gets under way; bunched and in a full notch at
    once the cars run out one after another, harder than they would be pulled, or a knuckle goes."""
    train, terrain = TRAINS[name], line_of_trial(name)
    start = start_sequence(train, terrain, 12_050.0 if name != "f" else 5000.0)
    found = felt(train, terrain, start_events(train, terrain, start), ("usual",))
    by_plan, bunched = found
    assert [f.event.way for f in found] == ["planned", "bunched_full_notch"]
    assert by_plan.forces.draft.force < 1.1 * start.limit
    assert by_plan.forces.parted is None
    assert by_plan.forces.speed[-1] > 0.4
    assert bunched.forces.draft.force > by_plan.forces.draft.force
    assert bunched.forces.run_out.speed > by_plan.forces.run_out.speed
    assert (bunched.forces.parted is not None) == (name != "f")
    assert bunched.breaks == (name != "f")


def test_a_train_that_parts_is_told():
    """Law: where a coupling parts the place is told, at the draft at which a knuckle breaks or above it."""
    parted = [f for f in felt_as("a", "suddenly") if f.forces.parted is not None]
    assert parted
    for f in parted:
        assert f.forces.parted
        assert f.forces.parted.force >= KNUCKLE_BREAKS
        assert f.breaks
        assert f.over_draft
        assert f.forces.time[-1] < f.event.lasts


def test_what_was_before_does_not_count():
    """Law: peaks are those from the place on, the history those of the approach too."""
    release = next(f for f in felt_as("a", "planned") if f.event.kind == "release")
    force, head = release.forces.force, release.forces.head
    assert release.forces.draft.head >= release.event.place
    assert release.forces.buff.head >= release.event.place
    assert -force[head > release.event.place].min() == pytest.approx(release.forces.buff.force, rel=1e-9)
    assert head[0] < release.event.place


def test_a_start_that_is_not_planned_has_no_event():
    """Law: where the train does not start within its limits there is nothing to follow."""
    start = start_sequence(TRAINS["b"], line_of_trial("b"), 12_050.0)
    assert not start.starts
    assert start_events(TRAINS["b"], line_of_trial("b"), start) == ()
    assert math.isinf(start.run.under_way) or start.starting_notch < 0
