"""How starts over time are laid out and told."""

from __future__ import annotations

import dataclasses
import itertools

import pytest

from profiler.briefing.plan import Briefing
from profiler.briefing.sequence_words import sequence_sentences
from profiler.handling.start import StartSequence
from profiler.handling.start_sequence import REACH, start_sequence
from profiler.present.start_chart import _run
from tests.briefed import briefed
from tests.mechanics.test_under_train import slope


def sentences(briefing: Briefing, sequence: StartSequence) -> str:
    return " ".join(sequence_sentences(briefing, briefing.sequences[0][0], sequence))


@pytest.mark.parametrize("train", ["a", "b", "f"])
def test_the_row_of_acts_is_as_high_as_its_words(train: str):
    """Law: no gap above the highest words, the lowest lie on the foot of the row, and no two meet."""
    briefing = briefed(train)
    for i, sequence in briefing.sequences:
        run = _run(briefing, i, sequence, 600.0)
        boxes = [spot.box for spot in run.acts]
        assert run.heights["acts"] == max(box.top for box in boxes) < 80
        assert min(box.bottom for box in boxes) < 3
        assert not [pair for pair in itertools.combinations(boxes, 2) if pair[0].meets(pair[1])]
        assert run.height > sum(run.heights.values())
        assert run.dropped == ()


def test_downhill_it_rolls_off():
    """Law: where the grade starts the train no effort is told to start it, below nought least of all."""
    briefing = briefed("a")
    found = start_sequence(briefing.train, slope(-0.01), 6000.0)
    assert found.slack.stretched < 0
    words = sentences(briefing, found)
    assert "It rolls off by itself" in words
    assert "−" not in words
    assert "start it stretched" not in words
    assert "start it stretched" in sentences(briefing, start_sequence(briefing.train, slope(0.005), 6000.0))


def test_a_roll_beyond_what_is_tabled_is_only_more():
    """Law: behind the stretch that the run knows neither distance nor speed is told."""
    briefing = briefed("b")
    sequence = next(s for _, s in briefing.sequences)
    slips = [dataclasses.replace(slip, back=REACH * f) for slip, f in zip(sequence.slips, (0.4, 0.9, 9), strict=False)]
    words = sentences(briefing, dataclasses.replace(sequence, slips=tuple(slips)))
    assert "over 6,562 ft" in words
    assert "59,055" not in words
