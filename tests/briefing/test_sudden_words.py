"""Gradual and sudden handling in words."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest

from profiler.briefing.felt_words import BREAKS_FIRST, UNSURE, felt_title
from profiler.briefing.felt_words import places as felt_places
from profiler.briefing.hand_words import hand_words
from profiler.briefing.lesson import QUESTIONS, lesson
from profiler.briefing.sudden import after_place, parts_of
from profiler.briefing.sudden_words import sudden_lines
from profiler.briefing.words import figure_of
from profiler.handling.felt import Felt
from profiler.mechanics.draft_gear import SIDE_BUFFERS
from tests.briefed import briefed, felt_briefed


def of_place(felt: tuple[Felt, ...], place: float, way: str = "planned") -> dict[str, Felt]:
    """What is felt at one place in one way, by wear."""
    return {f.wear: f for f in felt if (f.event.place, f.event.way) == (place, way) and f.event.kind == "crest"}


def test_each_place_is_a_line():
    """Law: a line for each marked place in order of travel; over the first crest the pushes as planned and suddenly
    stand there with usual slack, their range over tight and worn, the steady one, and by how much over the limit."""
    briefing = felt_briefed("b")
    head, *places, where, hand = sudden_lines(briefing)
    assert hand.strip() == hand_words(briefing)[0]
    planned = [f for f in briefing.felt if f.event.way == "planned" and f.wear == "usual"]
    assert len(places) == len(planned)
    assert "usual slack assumed, 6 in a coupling, in brackets tight to worn, 2 to 12 in" in head
    assert UNSURE in head
    assert "steady forces stay beside" in head
    crest = next(f.event.place for f in planned if f.event.kind == "crest")
    line = next(line for line in places if line.startswith("  Over the crest"))
    gradual, _, sudden = line.partition(" / suddenly, ")
    for text, way in ((gradual, "planned"), (sudden, "no_pause")):
        by_wear = of_place(briefing.felt, crest, way)
        tight, usual, worn = (figure_of(by_wear[w].forces.buff.force, "us") for w in ("tight", "usual", "worn"))
        steady = figure_of(by_wear["usual"].buff.force, "us")
        over = figure_of(by_wear["usual"].forces.buff.force - by_wear["usual"].buff_limit, "us")
        assert f"push {usual} ({tight} to {worn}, steady {steady}) kips" in text
        assert ("just over its limit" if over == "0" else f"{over} kips over its limit") in text
    assert sudden.startswith("throttle shut in 4 s, no pause, all of the dynamic brake in 3 s: ")
    assert "suddenly pull in the" in where
    assert not any(re.search(r"\b(draft|buff|nan|kN|no_pause)\b", line.replace("draft gears", "")) for line in places)


@pytest.mark.parametrize(("name", "some"), [("b", True), ("e", False)])
def test_a_gentler_hand_is_told_where_the_plan_hurts(name: str, some: bool):
    """Law: beside crests where the plan passes a limit or breaks a coupling in any state of wear, and nowhere else; it
    begins sooner than the plan, and is no sudden way."""
    briefing = felt_briefed(name)
    lines = {line.partition(": ")[0].strip(): line for line in sudden_lines(briefing)[1:]}
    told = 0
    for place in felt_places(briefing.felt):
        line = lines[felt_title(briefing, place.planned.shown)]
        slow = [one for one in place.others if one.shown.event.way == "gentler"]
        assert (" / gentler, begun sooner" in line) == bool(slow and place.planned.there and place.planned.hurts)
        told += " / gentler" in line
        assert all(one.shown.event.place < place.planned.shown.event.place for one in slow)
        assert place.worst is None or place.worst.shown.event.sudden
    assert (told > 0) == some


def test_what_breaks_before_is_told_so():
    """Law: where the climb parts the train before the head is at its crest, nothing of handling is told there."""
    briefing = felt_briefed("b")
    parted = {
        f.event.place
        for f in briefing.felt
        if f.forces.parted is not None and f.event.way == "planned" and f.forces.head[-1] < f.event.place
    }
    assert len(parted) == sum(line.endswith(BREAKS_FIRST) for line in sudden_lines(briefing)) > 0


@pytest.mark.parametrize(("name", "units"), [("b", "us"), ("f", "metric")])
def test_screw_couplings_leave_side_buffers_out(name: str, units: str):
    """Law: the sentence is there for screw couplings alone, in the lesson too; their slack is in millimetres."""
    briefing = felt_briefed(name, "with", units)
    said = "\n".join(sudden_lines(briefing))
    assert (SIDE_BUFFERS in said) == (name == "f")
    assert ("20 mm a coupling, in brackets tight to worn, 5 to 50 mm" in said) == (name == "f")
    asked = [one for one in lesson(briefing) if "suddenly" in one.text]
    assert len(asked) == 1
    assert (SIDE_BUFFERS in asked[0].answer) == (name == "f")
    assert not re.search(r"\b(nan|inf|buff)\b", asked[0].answer)
    assert len(lesson(briefing)) <= QUESTIONS


def test_nothing_is_told_that_was_not_asked_for():
    """Law: without it neither console nor lesson say anything of sudden handling."""
    assert sudden_lines(briefed("b")) == []
    assert not any("suddenly" in one.text for one in lesson(briefed("b")))


def test_marked_places_are_those_of_the_plan():
    """Law: in order of travel; crests, air and sags of the plan, starts where one is planned and succeeds; as another
    case of the plan nothing is kept of it."""
    briefing = felt_briefed("e")
    kinds = {f.event.kind for f in briefing.felt}
    assert kinds == {"crest", "air_step", "release", "sag", "start"}
    assert [f.event.place for f in briefing.felt] == sorted(f.event.place for f in briefing.felt)
    starts = {sequence.head for _, sequence in briefing.sequences if sequence.starts}
    assert {f.event.place for f in briefing.felt if f.event.kind == "start"} == starts
    assert briefing.as_case("plan").felt == briefing.felt
    thirds = parts_of(briefing.train)
    assert thirds == sorted(thirds, key=["head", "middle", "rear"].index)


def test_time_counts_from_the_first_passage():
    """Worked: a head at 100 m after 10 s that stops and rolls back over that place does not begin again; a train that
    does not get there has no such time."""
    one = felt_briefed("f", "with", "metric").felt[0]
    assert one.event.kind != "start"
    forces = dataclasses.replace(one.forces, time=np.arange(5) * 10.0, head=np.array([90.0, 100, 105, 102, 98]))
    rolled = dataclasses.replace(one, forces=forces, event=dataclasses.replace(one.event, place=100.0))
    assert after_place(rolled, 15.0) == pytest.approx(5.0)
    assert np.isnan(after_place(dataclasses.replace(rolled, event=dataclasses.replace(one.event, place=106.0)), 15.0))
