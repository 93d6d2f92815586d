"""A train in words: remarks, sources, units."""

from __future__ import annotations

from dataclasses import replace

from profiler.catalogue import CATALOGUE
from profiler.cited import given
from profiler.train import Block
from profiler.train_words import (
    assumed_words,
    cited_text,
    consist_lines,
    force_text,
    mass_text,
    power_text,
    pressure_text,
)
from profiler.units import BAR, HORSEPOWER, KIP, PSI, SHORT_TON
from tests.any_trains import ORE, block, train


def remarks(made) -> list[str]:
    return [line.removeprefix("look at: ") for line in consist_lines(made, "us") if line.startswith("look at")]


def test_figures_in_the_units_people_read():
    """Worked: one of each, in both sets of units."""
    assert mass_text(13_052 * SHORT_TON, "us") == "13,052 short tons"
    assert mass_text(772_000, "metric") == "772 t"
    assert force_text(250 * KIP, "us") == "250 kips"
    assert force_text(450_000, "metric") == "450 kN"
    assert power_text(4300 * HORSEPOWER, "us") == "4,300 hp"
    assert pressure_text(90 * PSI, "us") == "90 psi"
    assert pressure_text(5 * BAR, "metric") == "5 bar"
    assert cited_text(given(11, "pct")) == "11 %"
    assert cited_text(given(0.3)) == "0.3"


def test_what_to_look_at():
    """Worked: each remark on a train made for it, none of them on one without."""
    calm = train(block("AC six-axle locomotive", 1), block("covered hopper, loaded", 20))
    assert remarks(calm) == []
    assert [r for r in remarks(ORE) if "more than the draft limit" in r]
    empties = train(block("AC six-axle locomotive"), block("box car, empty", 4), block("box car, loaded", 4))
    assert "4 empty cars ahead of loads: sudden acts are worst here" in remarks(empties)
    dead = train(block("AC six-axle locomotive"), block("box car, loaded", 4), block("DC six-axle locomotive", 2, 2))
    assert "a group of locomotives is wholly isolated: it is hauled" in remarks(dead)
    car = CATALOGUE["box car, loaded"]
    bare = replace(car, brake=replace(car.brake, braking_ratio=None))
    unknown = train(block("AC six-axle locomotive"), Block(vehicle=bare, count=2))
    assert "box car, loaded: neither braking ratio nor braked weight is known" in remarks(unknown)
    light = replace(CATALOGUE["box car, empty"], mass=given(15, "short_tons"), tare=given(15, "short_tons"))
    assert remarks(train(block("AC six-axle locomotive"), Block(vehicle=light, count=2))) == [
        "box car, empty: mass per axle lies outside the range of modified Davis 1970, which ends at 5 short tons"
    ]


def test_two_blocks_of_one_name_are_told_apart():
    """Law: each vehicle that differs has its assumptions; like ones only once."""
    heavy = replace(CATALOGUE["box car, loaded"], mass=given(120, "short_tons"))
    made = train(
        block("AC six-axle locomotive"),
        block("box car, loaded"),
        Block(vehicle=heavy, count=1),
        block("box car, loaded"),
    )
    lines = [words for words in assumed_words(made) if words.startswith("box car, loaded: length")]
    assert len(lines) == 2
    assert len([words for words in lines if "mass 110 short tons" in words]) == 1
