"""Plans made again for slower hands, counted and in words."""

from __future__ import annotations

import dataclasses
import re

import pytest

from profiler.briefing.hand_words import hand_words
from profiler.briefing.lesson import lesson
from profiler.briefing.plan import plan_handling
from profiler.briefing.sudden import felt_along
from profiler.cited import given
from profiler.handling.hands import Hand, hand_of
from tests.briefed import briefed, felt_briefed


@pytest.mark.parametrize("name", ["a", "b", "e"])
def test_slower_hands_where_something_breaks(name: str):
    """Law: the first hand is the plan's own, each next one slower, and none is tried past one that breaks nothing;
    where the plan breaks nothing there is none."""
    briefing = felt_briefed(name)
    breaks = [f for f in briefing.felt if f.breaks and f.event.way == "planned" and f.event.kind != "start"]
    assert hand_words(briefed(name)) == []
    assert bool(briefing.hands) == bool(breaks) == (name != "e")
    if briefing.hands:
        assert sum(briefing.hands[0].breaks.values()) == len(breaks)
        assert briefing.hands[0].notch_time == briefing.train.handling.notch_time
        assert [hand.notch_time for hand in briefing.hands] == sorted({hand.notch_time for hand in briefing.hands})
        assert not any(hand.whole for hand in briefing.hands[:-1])
    assert briefing.as_case("plan").hands == briefing.hands


def test_a_train_file_with_that_hand_is_felt_so():
    """Law: the train planned with the slower hand of its own, as its file would have it, breaks as many couplings as
    was foretold, and is told of none slower where that breaks none."""
    briefing = felt_briefed("a")
    told = briefing.hands[-1]
    assert told.whole
    train = briefing.train
    slow = dataclasses.replace(
        train, handling=dataclasses.replace(train.handling, notch_time=given(told.notch_time, "seconds"))
    )
    again = plan_handling(briefing.profile, briefing.landmarks, slow)
    assert hand_of(told.notch_time, felt_along(again), len(again.journey.stalls)) == told


def test_starts_are_not_counted():
    """Law: a start goes by what the train does, and no hand is told of for it."""
    felt = felt_briefed("a").felt
    without = [one for one in felt if one.event.kind != "start"]
    assert len(without) < len(felt)
    assert hand_of(2.0, felt, 0) == hand_of(2.0, without, 0)
    assert not hand_of(2.0, [one for one in felt if one.event.kind == "start"], 0).places


def test_in_words():
    """Worked: counts by state of wear, only those above none; what it costs; in lesson and printed words too."""
    hands = (
        Hand(notch_time=2.0, places=9, breaks={"tight": 0, "usual": 1, "worn": 3}, stalls=1),
        Hand(notch_time=4.0, places=9, breaks={"tight": 0, "usual": 0, "worn": 1}, stalls=2),
        Hand(notch_time=6.0, places=8, breaks={"tight": 0, "usual": 0, "worn": 0}, stalls=1),
    )
    briefing = dataclasses.replace(felt_briefed("a"), hands=hands)
    (said,) = hand_words(briefing)
    assert said == (
        "planned for a slower hand (notch_seconds in the train file): 2 s from notch to notch, as here, breaks a "
        "coupling at 1 of 9 places with usual slack, at 3 with worn; 4 s at 1 of 9 places with worn slack, but stalls "
        "at 1 place more; 6 s nowhere"
    )
    (asked,) = [one for one in lesson(briefing) if "suddenly" in one.text]
    assert re.sub("^p", "P", said) in asked.answer
