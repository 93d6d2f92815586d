"""Vehicles, blocks and trains: derived figures, groups of power, what is refused; cited figures."""

from __future__ import annotations

import copy
import pickle
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiler.catalogue import CATALOGUE, PLAIN
from profiler.cited import SOURCES, TAGS, Cited
from profiler.cited import given as stated
from profiler.errors import InputError
from profiler.train import Block
from profiler.units import FOOT, HORSEPOWER, KIP, MPH, PSI, SHORT_TON, UNITS
from tests.any_trains import ORE, block, figures_of, split, train, trains


def test_a_cited_figure_is_a_float_with_its_source():
    """Worked: 143 short tons are 143 · 2000 · 0.45359237 kg; copies keep the source, arithmetic leaves it."""
    mass = Cited(143, "short_tons", "prac")
    assert mass == pytest.approx(129_727.41782)
    for copied in (copy.deepcopy(mass), pickle.loads(pickle.dumps(mass))):
        assert copied == mass
        assert (copied.stated, copied.unit, copied.source) == (143, "short_tons", "prac")
    assert type(mass * 2) is float
    with pytest.raises(AttributeError):
        mass.source = "S46"


def test_a_figure_without_a_known_source_is_refused():
    """Law: there is no figure without a source."""
    with pytest.raises(KeyError):
        Cited(1, "m", "somebody")
    assert Cited(100, "kips", "S46").tag == "S"
    assert Cited(100, "kips", "M5").words.startswith("published, the figure from memory: AAR")
    assert Cited(100, "kips", "prac").words == "common practice, no source"


@given(st.sampled_from(sorted(UNITS)), st.floats(1e-3, 1e6))
def test_units_are_factors(unit: str, figure: float):
    """Law: stated times the unit's factor, exactly."""
    assert float(Cited(figure, unit, "given")) == figure * UNITS[unit]


def test_units_by_their_definitions():
    """Published: NIST SP 811: hp 745.69987 W, psi 6894.757 Pa, lbf 4.448222 N; 1 hp is 375 lb at 1 mph."""
    assert pytest.approx(745.69987, rel=1e-8) == HORSEPOWER
    assert pytest.approx(6894.757, rel=1e-7) == PSI
    assert UNITS["lbf"] == pytest.approx(4.448222, rel=1e-7)
    assert UNITS["hp"] == pytest.approx(375 * UNITS["lbf"] * MPH, rel=1e-12)


@pytest.mark.parametrize("name", [*CATALOGUE, *PLAIN])
def test_every_figure_of_the_catalogue_is_cited(name: str):
    """Law of the house: a source, or a plain word that there is none; nothing here was given by anybody."""
    vehicle = CATALOGUE.get(name) or PLAIN[name]
    figures = figures_of(vehicle)
    assert len(figures) >= 7
    for path, figure in figures:
        assert figure.source in {*SOURCES, *TAGS} - {"given"}, path
    assert not [name for name, value in vars(vehicle).items() if type(value) is float]


@pytest.mark.parametrize("name", CATALOGUE)
def test_the_catalogue_is_of_this_world(name: str):
    """Common practice, no source: axle loads of 2.5 to 36 t, lengths of 5 to 30 m per platform, adhesion of the
    starting effort below 0.5; loads weigh half as much again as empties."""
    vehicle = CATALOGUE[name]
    assert vehicle.name == vehicle.like == name
    assert 2.5 <= vehicle.mass_per_axle / 1000 <= 36
    assert 5 <= vehicle.length / vehicle.platforms <= 30
    assert vehicle.loaded is ("loaded" in name)
    if vehicle.traction:
        assert vehicle.traction.starting_effort < 0.5 * vehicle.driven_mass * 9.81
        assert len(vehicle.traction.notches.running) == len(vehicle.traction.notches.standing)
        assert vehicle.traction.notches.running[-1] == vehicle.traction.notches.standing[-1] == 1


def test_the_ore_train():
    """Worked, and as the handling notes have it: 5 · 74 ft + 84 · 40 ft = 3730 ft (1137 m); 5 · 208 + 84 · 143 =
    13 052 short tons; 30 + 336 axles; the remote group stands 3 · 74 + 84 · 40 = 3582 ft behind the head."""
    assert ORE.length == pytest.approx(3730 * FOOT)
    assert ORE.mass == pytest.approx(13_052 * SHORT_TON)
    assert ORE.trailing_mass == pytest.approx(12_012 * SHORT_TON)
    assert ORE.axles == 366
    assert ORE.vehicles == 89
    assert ORE.heads == pytest.approx(np.array([0, 222, 3582]) * FOOT)
    assert ORE.tails[-1] == pytest.approx(ORE.length)
    assert ORE.mass_to_tail == pytest.approx(np.array([624, 12_636, 13_052]) * SHORT_TON)
    assert ORE.rotating_mass == pytest.approx((1040 * 1.15 + 12_012 * 1.04) * SHORT_TON)
    assert ORE.power == pytest.approx(5 * 4300 * HORSEPOWER * 308 / 375)
    assert ORE.operative_brakes == 84
    assert [(g.place, g.working, g.first, g.last) for g in ORE.groups] == [("head", 3, 0, 0), ("rear", 2, 2, 2)]
    assert ORE.groups[1].start == pytest.approx(3582 * FOOT)


def test_groups_of_power():
    """Worked: blocks of locomotives side by side are one group, isolated units stay in it and do not pull."""
    ac, dc, car = "AC six-axle locomotive", "DC six-axle locomotive", "box car, empty"
    made = train(block(car, 2), block(ac, 2, 1), block(dc, 1), block(car, 5), block(dc, 2, 2), block(car))
    assert [(g.place, g.first, g.last, g.working) for g in made.groups] == [("mid", 1, 2, 2), ("mid", 4, 4, 0)]
    assert made.trailing_mass == pytest.approx((8 * 35 + 208 + 2 * 184) * SHORT_TON)
    assert [g.place for g in train(block(ac), block(dc)).groups] == ["head"]


def test_platforms_count_as_brakes():
    """Published: S28 (rules of a railroad, 1996): each platform of a multi-platform car counts one operative brake."""
    made = train(block("AC six-axle locomotive"), block("articulated well set, loaded", 3))
    assert made.operative_brakes == 15
    weak = replace(CATALOGUE["ore car, loaded"].brake, operative=stated(85, "pct"))
    cars = Block(vehicle=replace(CATALOGUE["ore car, loaded"], brake=weak), count=100)
    assert train(block("AC six-axle locomotive"), cars).operative_brakes == pytest.approx(85)


def test_long_and_short_cars():
    """Published: S60: 80 ft and more is long, 45 ft and less short; platforms of a set count by themselves."""
    sizes = {name: CATALOGUE[name].size for name in ("auto rack, empty", "ore car, empty", "box car, empty")}
    assert sizes == {"auto rack, empty": "long", "ore car, empty": "short", "box car, empty": ""}
    assert CATALOGUE["articulated well set, empty"].size == ""


@given(trains(), st.integers(0, 5), st.integers(1, 59))
def test_splitting_a_block_changes_nothing(made, which: int, at: int):
    """Law: a block written as two is the same train."""
    other = split(made, which % len(made.blocks), at)
    for name in ("length", "mass", "rotating_mass", "trailing_mass", "power", "operative_brakes", "axles", "vehicles"):
        assert getattr(other, name) == pytest.approx(getattr(made, name), rel=1e-12), name
    assert other.vehicle_heads == pytest.approx(made.vehicle_heads, rel=1e-12)
    groups = [[(g.place, g.working, round(g.start, 6), round(g.end, 6)) for g in t.groups] for t in (made, other)]
    assert groups[0] == groups[1]


@given(trains())
def test_vehicles_and_blocks_are_one_train(made):
    """Law: heads of blocks are heads of their first vehicles; blocks lie end to end."""
    first = np.r_[0, np.cumsum(made.counts)[:-1]]
    assert made.vehicle_heads[first] == pytest.approx(made.heads, abs=1e-9)
    assert made.heads[0] == pytest.approx(0, abs=1e-9)
    assert made.tails[:-1] == pytest.approx(made.heads[1:])
    assert (made.masses_per_metre * made.lengths).sum() == pytest.approx(made.mass)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: train(), "there are no vehicles"),
        (lambda: train(block("box car, empty", 3)), "no locomotive pulls"),
        (lambda: train(block("AC six-axle locomotive", 2, 2)), "no locomotive pulls"),
        (lambda: block("AC six-axle locomotive", 2, 3), "3 isolated of 2"),
        (lambda: block("box car, empty", 2, 1), "isolated belongs to locomotives"),
        (lambda: block("box car, empty", 0), "the count is 0"),
        (lambda: replace(CATALOGUE["box car, loaded"], mass=stated(-1, "t")), "the mass is -1000"),
        (lambda: replace(CATALOGUE["box car, loaded"], length=stated(0, "m")), "the length is 0"),
        (lambda: replace(CATALOGUE["box car, loaded"], mass=stated(20, "t")), "less than empty"),
    ],
)
def test_no_train(make, words: str):
    """Law: what is no train is refused in one sentence."""
    with pytest.raises(InputError, match=words):
        make()


def test_default_limits_are_told_as_choices():
    """Law: nobody takes our defaults for a railway's rules."""
    assert ORE.limits.draft == pytest.approx(250 * KIP)
    assert {figure.tag for _, figure in figures_of(ORE.limits)} <= {"choice", "prac"}
