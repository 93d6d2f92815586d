"""Forces along the run, in words."""

from __future__ import annotations

import dataclasses

import pytest

from profiler.briefing.forces_words import STEADY, curves_told, force_lines, make_up_lines, yardstick_words
from profiler.briefing.plan import plan_handling
from profiler.briefing.words import vehicle_words
from profiler.cited import SOURCES, given
from profiler.train import Block
from profiler.train_words import force_text
from tests.briefed import briefed
from tests.invented import invented_landmarks, invented_profile
from tests.trains import EMPTY, LOADED, TRIAL, UNIT, train_of


@pytest.mark.parametrize(("name", "direction"), [(n, d) for n in TRIAL for d in ("with", "against")])
def test_largest_pull_and_push_of_the_run(name: str, direction: str):
    """Law: those of the run by plan, behind which vehicle and where, and by how much over a limit, only where they
    are; steady is said, the words of the data are not used."""
    units = "metric" if name == "f" else "us"
    briefing = briefed(name, direction, units)
    line = force_lines(briefing)[0]
    for word, most, limit in (
        ("pull", briefing.forces.draft, briefing.train.limits.draft),
        ("push", briefing.forces.buff, briefing.train.limits.buff),
    ):
        where = f"largest {word} {force_text(most.force, units)} behind {vehicle_words(briefing.train, most.vehicle)}"
        assert where in line
        over = f"{force_text(most.force - limit, units)} over its limit"
        assert (over in line) == (most.force > limit)
    assert line.endswith(f"({STEADY})")
    assert not any(word in line for word in ("draft", "buff", "nan"))


def test_curves_are_told_with_their_yardstick():
    """Law: the empty train of the trial, its cars light, is told of in curves: ratio of a truck, and twice that on one
    rail. Published: 0.82 of a wheel, Interface Journal of 25 January 2026; 0.5 and 0.6 from memory."""
    briefing = briefed("d", "against")
    (line,) = [line for line in force_lines(briefing) if line.startswith("in curves")]
    for one in curves_told(briefing):
        assert f"lateral over vertical {one.ratio:.2f}, {2 * one.ratio:.2f} if all is on one rail" in line
        assert force_text(abs(one.force), "us") in line
    words = yardstick_words()
    assert "0.5, 0.6 is used (from memory)" in words
    assert f"0.82 (published: {SOURCES['S58']})" in words


def test_make_up_is_told():
    """Worked: 30 empty cars behind the units with 40 loads behind them are warned of, the same cars behind the loads
    are not; a short car beside a long one in the head part likewise."""
    bad, good = ([(UNIT, 2), (EMPTY, 30), (LOADED, 40)], [(UNIT, 2), (LOADED, 40), (EMPTY, 30)])
    told = []
    for blocks in (bad, good):
        briefing = plan_handling(invented_profile(), invented_landmarks(), train_of("m", *blocks))
        told.append(make_up_lines(briefing))
    (line,) = told[0]
    assert line.startswith("make-up: 30 × an empty car next behind the head power with loads behind; worst is car ")
    assert "common practice, no source" in line
    assert told[1] == []
    long, short = (dataclasses.replace(LOADED, length=given(feet, "ft")) for feet in (90, 45))
    train = train_of("l", (UNIT, 2), (LOADED, 1))
    train = dataclasses.replace(
        train,
        blocks=(
            train.blocks[0],
            *(Block(vehicle=v, count=n) for v, n in ((long, 2), (short, 3), (LOADED, 40))),
        ),
    )
    (line,) = make_up_lines(plan_handling(invented_profile(), invented_landmarks(), train))
    assert line.startswith("make-up: 1 × a long car beside a short one in the head part; worst is car ")
    assert SOURCES["S60"] in line
