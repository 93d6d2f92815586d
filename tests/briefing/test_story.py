"""What a briefing begins with: five facts and six sentences."""

from __future__ import annotations

import re

import numpy as np
import pytest

from profiler.briefing.story import SENTENCES, five_facts, six_sentences, state_at
from profiler.train_words import force_text, speed_text
from profiler.units import FOOT, PERCENT
from tests.briefed import briefed
from tests.trains import TRIAL

EVERY = [(name, direction) for name in TRIAL for direction in ("with", "against")]


def units_of(name: str) -> str:
    return "metric" if name == "f" else "us"


@pytest.mark.parametrize(("name", "direction"), EVERY)
def test_five_facts_of_every_train(name: str, direction: str):
    """Law: five of them, each a short figure and words, none with a NaN; the ruling grade is as steep as the mean grade
    under the train ever gets, and marks are counted as numbered."""
    briefing = briefed(name, direction, units_of(name))
    facts = five_facts(briefing)
    assert len(facts) == 5
    for fact in facts:
        assert 0 < len(fact.figure) <= 16
        assert fact.words
        assert not re.search(r"\bnan\b|\binf\b", f"{fact.figure} {fact.words}")
    ruling = briefing.ruling[0]
    assert ruling is not None
    profile, _ = briefing.as_travelled
    way, length = profile.chainage, briefing.train.length
    tail = way[way <= way[-1] - length]
    mean = (np.interp(tail + length, way, profile.elevation) - np.interp(tail, way, profile.elevation)) / length
    assert ruling.value * PERCENT == pytest.approx(mean.max(), abs=2e-5)
    numbered = [mark.number for mark in briefing.marks if mark.number]
    assert facts[3].figure == f"{len(numbered)} marks"
    assert sum(int(n) for n in re.findall(r"\d+", facts[3].words)) == len(numbered)


def test_summit_to_sag_of_the_invented_line():
    """Law: the greatest fall of the line is told with its height, against chainage as a rise of as much."""
    down, up = (five_facts(briefed("a", direction))[2] for direction in ("with", "against"))
    height = briefed("a").profile.elevation
    most = float((np.maximum.accumulate(height) - height).max())
    assert down.figure == f"{most / FOOT:,.0f} ft down"
    assert up.figure == f"{most / FOOT:,.0f} ft up"
    assert down.words.startswith("summit to ")
    assert " to summit: " in up.words


@pytest.mark.parametrize(("name", "direction"), EVERY)
def test_sentences_of_every_train(name: str, direction: str):
    """Law: at most six, in order of travel, about the plan or its train and never an order, none with a NaN."""
    briefing = briefed(name, direction, units_of(name))
    told = six_sentences(briefing)
    assert 2 <= len(told) <= SENTENCES
    places = [float(re.sub(r"[^\d.]", "", one.place)) for one in told]
    assert places == sorted(places, reverse=direction == "against")
    for one in told:
        assert re.match(r"(The plan|Here the plan|On the steepest part the plan|The couplers|Nothing slows)", one.text)
        assert one.text.endswith(".")
        assert not re.search(r"\bnan\b|\binf\b|\bmust\b|\bshall\b", one.text)


def test_idle_and_hold_are_those_of_the_run():
    """Law: on the hardest descent the sentence of power off has the place at which the run by plan has no notch, and
    that of the steepest part what the run has there."""
    briefing = briefed("a")
    told = {one.place: one.text for one in six_sentences(briefing)}
    hardest = max(briefing.line.descents, key=lambda plan: plan.descent.force)
    assert hardest.power_off is not None
    posts, trip = briefing.profile.route.posts, briefing.journey
    text = told[f"{float(posts.at(hardest.power_off.recommended)):.2f}"]
    said = re.search(r"at idle by ([\d.]+)", text)
    assert said is not None
    (idle,) = posts.chainages(float(said[1]))
    assert set(trip.notch[(trip.head > idle + 20) & (trip.head < idle + 500)]) == {0}
    assert trip.notch[trip.head < idle - 20][-1] > 0
    run = state_at(trip, hardest.descent.worst)
    assert run is not None
    text = told[f"{float(posts.at(hardest.descent.worst)):.2f}"]
    assert f"at {speed_text(run.speed, 'us')}" in text
    assert force_text(run.dynamic + run.air, "us") in text


def test_what_fails_is_told_first():
    """Law: stalls and descents that nothing holds are never left out for lack of room."""
    for name, direction in EVERY:
        briefing = briefed(name, direction, units_of(name))
        fails = [*briefing.journey.stalls, *(p.descent.worst for p in briefing.line.descents if not p.held)]
        texts = " ".join(one.text for one in six_sentences(briefing))
        said = texts.count("The plan stalls here") + texts.count("at no speed from")
        assert said == min(len(fails), SENTENCES)
