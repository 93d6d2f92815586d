"""Tractive effort: which limit binds, notches, heat, groups and their couplers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiler.catalogue import CATALOGUE
from profiler.cited import given as stated
from profiler.errors import InputError
from profiler.mechanics.consist import consist_of
from profiler.mechanics.rating import balancing_speed, hauled_mass, units_needed
from profiler.mechanics.resistance import train_coefficients
from profiler.mechanics.traction import (
    ADHESION,
    adhesion,
    block_efforts,
    group_efforts,
    starting_efforts,
    unit_effort,
)
from profiler.units import GRAVITY, HORSEPOWER, KIP, KMH, MPH, POUND_FORCE, SHORT_TON
from tests.any_trains import LOCOMOTIVES, ORE, block, split, train, trains

AC, DC = CATALOGUE["AC six-axle locomotive"], CATALOGUE["DC six-axle locomotive"]
SPEEDS = np.linspace(0, 40, 41)


def test_available_to_start():
    """Worked, and as the handling notes have it: 5 · 0.30 · 208 short tons = 624 kips at μ 0.30, less than 5 · 170."""
    assert starting_efforts(ORE).sum() / KIP == pytest.approx(624)


@given(st.sampled_from(LOCOMOTIVES), st.sampled_from(["dry", "wet", "poor"]))
def test_effort_falls_with_speed_and_rises_with_notches(name: str, rail: str):
    """Law: more speed never more effort, more notch never less; idle pulls nothing; power bounds F·v."""
    vehicle = CATALOGUE[name]
    assert vehicle.traction
    efforts = np.array([unit_effort(vehicle, SPEEDS, rail=rail, notch=n) for n in range(9)])
    assert (efforts[0] == 0).all()
    assert (np.diff(efforts, axis=0) >= 0).all()
    assert (np.diff(efforts, axis=1) <= 1e-6).all()
    assert (efforts[-1] * SPEEDS <= vehicle.traction.rail_power * (1 + 1e-12)).all()
    assert efforts[-1] == pytest.approx(unit_effort(vehicle, SPEEDS, rail=rail))


def test_each_limit_binds_somewhere():
    """Worked: an AC unit on dry rail: 0.30 · 416 kips = 124.8 kips at a stand; 0.15 of 170 kips in notch 1; by power
    308 · 4300/30 = 44.1 kips at 30 mph, 35 % of it in notch 4."""

    def kips(mph: float, notch: int) -> float:
        return float(unit_effort(AC, mph * MPH, rail="dry", notch=notch)) / KIP

    assert kips(0, 8) == pytest.approx(124.8)
    assert kips(0, 1) == pytest.approx(25.5)
    assert kips(30, 8) == pytest.approx(308 * 4.3 / 30)
    assert kips(30, 4) == pytest.approx(0.35 * 308 * 4.3 / 30)


def test_rail_and_control():
    """Law: worse rail never holds more, and better control of wheel slip never less; stated adhesion overrides all."""
    for control in ("axle", "truck", "none", "Curtius-Kniffler"):
        levels = [ADHESION[control, rail] for rail in ("dry", "wet", "poor")]
        assert levels == sorted(levels, reverse=True)
    for rail in ("dry", "wet", "poor"):
        levels = [ADHESION[control, rail] for control in ("axle", "truck", "none")]
        assert levels == sorted(levels, reverse=True)
    assert AC.traction
    told = replace(AC.traction, adhesion=stated(0.22))
    assert adhesion(told, "poor", [0.0, 20.0]) == pytest.approx([0.22, 0.22])


def test_adhesion_over_speed():
    """Worked, from memory (Curtius and Kniffler): three quarters of 7.5/(100 + 44) + 0.161 on wet rail at 100 km/h."""
    assert AC.traction
    law = replace(AC.traction, control="Curtius-Kniffler")
    assert float(adhesion(law, "wet", 100 * KMH)) == pytest.approx(0.75 * (7.5 / 144 + 0.161))


def test_heat():
    """Published: S15: a DC unit is held to 82 100 lb for hours, and pulls more for minutes only."""
    speed = 5 * MPH
    assert float(unit_effort(DC, speed, rail="dry")) > float(unit_effort(DC, speed, rail="dry", continuous=True))
    assert float(unit_effort(DC, speed, rail="dry", continuous=True)) / POUND_FORCE == pytest.approx(82_100)


@given(trains(), st.integers(0, 5), st.integers(1, 59))
def test_splitting_a_block_changes_nothing(made, which: int, at: int):
    """Law: efforts of the train and of each group do not depend on how blocks are written."""
    other = split(made, which % len(made.blocks), at)
    assert block_efforts(other, SPEEDS).sum(axis=0) == pytest.approx(block_efforts(made, SPEEDS).sum(axis=0))
    assert group_efforts(other, SPEEDS) == pytest.approx(group_efforts(made, SPEEDS))


def test_isolated_units_do_not_pull():
    """Law: three with one isolated pull like two."""
    cars = block("ore car, loaded", 20)
    isolated, two = (train(block("AC six-axle locomotive", n, i), cars) for n, i in ((3, 1), (2, 0)))
    assert starting_efforts(isolated).sum() == pytest.approx(starting_efforts(two).sum())


def test_the_draft_limit_holds_a_group_back():
    """Worked: 374.4 kips at the head may pull 250, and what they need themselves beside it; 249.6 behind go as
    they are; without a limit all go."""
    assert group_efforts(ORE, 0.0) / KIP == pytest.approx([250, 249.6])
    own = np.array([20, 15]) * KIP
    assert group_efforts(ORE, 0.0, own_need=own) / KIP == pytest.approx([270, 249.6])
    assert group_efforts(ORE, 0.0, draft_limit=np.inf) / KIP == pytest.approx([374.4, 249.6])
    assert group_efforts(ORE, SPEEDS, own_need=own[:, None]).shape == (2, SPEEDS.size)


def test_no_such_notch():
    """Law: a notch that the throttle does not have is refused."""
    with pytest.raises(InputError, match="there is no notch 9"):
        unit_effort(AC, 1.0, rail="dry", notch=9)


def test_balancing_speed_of_the_ore_train():
    """Outside: an earlier numerical prototype in plain numpy, other code: 18.4 mph on plain 1.3 %, within 1 %."""
    coefficients, hill = train_coefficients(ORE), ORE.mass * GRAVITY * 0.013
    free = replace(ORE, limits=replace(ORE.limits, draft=stated(1000, "kips")))
    found = balancing_speed(
        lambda v: float(block_efforts(free, v).sum()), lambda v: float(coefficients(v)) + hill, fastest=40.0
    )
    assert found / MPH == pytest.approx(18.4, rel=0.01)


def test_balancing_speed_at_its_ends():
    """Law: a train that does not start stands; one that nothing holds runs at the fastest asked."""
    assert balancing_speed(lambda _: 1.0, lambda _: 2.0, fastest=30.0) == 0
    assert balancing_speed(lambda _: 2.0, lambda _: 1.0, fastest=30.0) == 30


@given(st.floats(1e4, 2e6), st.floats(0.001, 0.05), st.floats(0.0005, 0.01))
def test_tonnage_takes_all_the_effort(effort: float, grade: float, resistance: float):
    """Law: what is hauled needs exactly the effort."""
    mass = hauled_mass(effort, grade=grade, resistance=resistance)
    assert mass * GRAVITY * (grade + resistance) == pytest.approx(effort)


def test_rating_where_there_is_none():
    """Law: a train that runs by itself has no tonnage, and units that cannot climb themselves help nobody."""
    with pytest.raises(InputError, match="needs no effort"):
        hauled_mass(1e5, grade=-0.01, resistance=0.002)
    assert units_needed(1e5, effort=1e4, own_need=2e4) == np.inf


def test_consist_of_the_ore_train():
    """Worked: 5 · 4300 hp over 12 012 trailing short tons; 143 per brake; 115 kips per unit, below 0.28 of 416: 34.5
    and 23 equivalent axles; loads only."""
    consist = consist_of(ORE)
    assert consist.power_per_mass * SHORT_TON / HORSEPOWER == pytest.approx(21_500 / 12_012)
    assert consist.mass_per_brake / SHORT_TON == pytest.approx(143)
    assert [p.dynamic_axles for p in consist.power] == pytest.approx([34.5, 23.0])
    assert [p.starting_effort / KIP for p in consist.power] == pytest.approx([374.4, 249.6])
    assert (consist.powered_axles, consist.loads, consist.empties) == (30, 84, 0)


def test_what_deserves_a_second_look():
    """Worked: 44 empties ahead of 36 loads; one place where an auto rack stands beside an ore car."""
    mixed = train(
        block("AC six-axle locomotive", 3), block("covered hopper, empty", 44), block("covered hopper, loaded", 36),
        block("auto rack, empty", 2), block("ore car, empty", 4),
    )  # fmt: skip
    consist = consist_of(mixed)
    assert (consist.empties_ahead, consist.long_beside_short, consist.empties) == (44, 1, 50)
    light = consist_of(train(block("AC six-axle locomotive", 2)))
    assert light.power_per_mass == np.inf
    assert light.mass_per_brake == np.inf
