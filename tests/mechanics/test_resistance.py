"""Resistance of whole trains: sums, choice of formula, ranges, curves and starting."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiler.catalogue import CATALOGUE
from profiler.cited import given as stated
from profiler.errors import InputError
from profiler.mechanics.rating import balancing_speed
from profiler.mechanics.resistance import (
    BREAKAWAY,
    CURVE_HELP,
    block_coefficients,
    davis_1926,
    grade_force,
    outside_ranges,
    running_resistance,
    starting_resistances,
    strahl,
    train_coefficients,
    vehicle_coefficients,
)
from profiler.mechanics.traction import block_efforts
from profiler.train import Block
from profiler.units import FOOT, GRAVITY, KMH, MPH, PERMILLE, POUND_FORCE, SHORT_TON, TONNE, UNITS
from profiler.vehicle import CanadianNational1990, Davis1926, ModifiedDavis1970, RunDown
from tests.any_trains import ORE, block, split, train, trains

SPEEDS = np.linspace(0, 40, 9)


@given(trains())
def test_summed_once_or_vehicle_by_vehicle(made):
    """Law: the train's A, B and C are those of its vehicles, the first of them leading."""
    one_by_one = np.zeros(SPEEDS.size)
    number = 0
    for part in made.blocks:
        for _ in range(part.count):
            one_by_one += vehicle_coefficients(part.vehicle, leading=number == 0)(SPEEDS)
            number += 1
    assert train_coefficients(made)(SPEEDS) == pytest.approx(one_by_one, rel=1e-9)


@given(trains(), st.integers(0, 5), st.integers(1, 59))
def test_splitting_a_block_changes_nothing(made, which: int, at: int):
    """Law: running and starting resistance of a train do not depend on how its blocks are written."""
    other = split(made, which % len(made.blocks), at)
    assert train_coefficients(other)(SPEEDS) == pytest.approx(train_coefficients(made)(SPEEDS), rel=1e-9)
    assert starting_resistances(other).sum() == pytest.approx(starting_resistances(made).sum(), rel=1e-12)


@given(trains())
def test_resistance_rises_with_speed(made):
    """Law: nothing here rolls easier when faster, and the blocks add up to the train."""
    force = train_coefficients(made)(SPEEDS)
    assert (np.diff(force) > 0).all()
    assert sum(c(SPEEDS) for c in block_coefficients(made)) == pytest.approx(force)


def test_light_axles_of_davis():
    """Worked: 4 short tons per axle: 9.4/2 + 12.5/4 = 7.825 lb per short ton instead of 1.3 + 29/4 = 8.55."""
    car = davis_1926(16 * SHORT_TON, 4, area=90 * FOOT**2, locomotive=False)
    assert car.a / POUND_FORCE / 16 == pytest.approx(7.825)


def test_adjusted_davis_multiplies():
    """Law: the factor of the adjusted formula multiplies the whole."""
    plain, adjusted = (davis_1926(60 * TONNE, 4, area=8, locomotive=False, factor=f)(SPEEDS) for f in (1.0, 0.85))
    assert adjusted == pytest.approx(0.85 * plain)


def test_strahl_by_hand():
    """Worked, from memory: 1.4 + 0.057 · (60/10)² = 3.452 per mille of the weight at 60 km/h."""
    force = float(strahl(80 * TONNE, base=1.4 * PERMILLE, air=0.05)(60 * KMH))
    assert force / (80 * TONNE * GRAVITY) / PERMILLE == pytest.approx(3.452)


def test_every_formula_finds_its_own_numbers():
    """Law: a vehicle's resistance is by the formula it carries."""
    car = CATALOGUE["box car, loaded"]
    made = {
        "run": RunDown(a=stated(1000, "n"), b=stated(5, "n_per_kmh"), c=stated(0.25, "n_per_kmh2")),
        "cn": CanadianNational1990(streamlining=stated(4.9), area=stated(140, "sq_ft")),
        "davis": Davis1926(area=stated(90, "sq_ft"), factor=stated(1)),
        "modified": ModifiedDavis1970(k=stated(0.07, "lbf_per_mph2")),
    }
    found = {name: vehicle_coefficients(replace(car, resistance=r)) for name, r in made.items()}
    assert float(found["run"](40 * KMH)) == pytest.approx(1000 + 5 * 40 + 0.25 * 1600)
    assert found["cn"].a == pytest.approx((1.5 * 110 + 18 * 4) * POUND_FORCE)
    assert found["davis"].a == pytest.approx((1.3 * 110 + 29 * 4) * POUND_FORCE)
    assert found["modified"].a == pytest.approx((0.6 * 110 + 20 * 4) * POUND_FORCE)


def test_a_leading_locomotive_meets_the_wind():
    """Law: turned about, the same vehicles resist differently only by who leads."""
    lead, behind = CATALOGUE["AC six-axle locomotive"], CATALOGUE["ore car, loaded"]
    ahead = train(Block(vehicle=lead, count=1), Block(vehicle=behind, count=9))
    pushed = train(Block(vehicle=behind, count=9), Block(vehicle=lead, count=1))
    more = train_coefficients(ahead)(20.0) - train_coefficients(pushed)(20.0)
    assert float(more) == pytest.approx(18.5e-4 * 160 * (20 / MPH) ** 2 * POUND_FORCE, rel=1e-9)


def test_outside_its_range_is_said():
    """Law: a formula beyond its speeds says so, within them nothing. Level balancing by modified Davis lies there:
    over 60 mph for 1.5 hp per short ton, where a lecture (S17) says about 60."""
    within = running_resistance(ORE, np.array([10, 20, 40]) * MPH)
    assert within.outside == ()
    assert within.force.shape == (3,)
    beyond = running_resistance(ORE, np.array([10, 60]) * MPH).outside
    assert {(o.quantity, o.formula) for o in beyond} == {("speed", ModifiedDavis1970)}
    assert {o.vehicle for o in beyond} == {"ore car, loaded"}

    level = balancing_speed(
        lambda v: float(block_efforts(ORE, v).sum()), lambda v: float(train_coefficients(ORE)(v)), fastest=60.0
    )
    assert level > 60 * MPH
    assert outside_ranges(ORE, level)


def test_a_light_axle_is_said_once():
    """Law: mass per axle has a range too; slow speeds below the range are told beside it."""
    light = replace(CATALOGUE["box car, empty"], mass=stated(15, "short_tons"), tare=stated(15, "short_tons"))
    made = train(block("AC six-axle locomotive"), Block(vehicle=light, count=2), Block(vehicle=light, count=3))
    assert [o.quantity for o in outside_ranges(made, 20 * MPH)] == ["mass per axle"]
    assert {o.quantity for o in outside_ranges(made, 1 * MPH)} == {"speed", "mass per axle"}


def test_backwards_is_refused():
    """Law: direction belongs to the profile."""
    with pytest.raises(InputError, match="negative"):
        running_resistance(ORE, [-1.0, 3.0])


@given(st.floats(1e3, 1e7), st.floats(-0.1, 0.1))
def test_a_hill_gives_back_what_it_took(mass: float, grade: float):
    """Law: the force down is that up."""
    assert grade_force(mass, -grade) == pytest.approx(-grade_force(mass, grade))
    assert abs(grade_force(mass, grade)) <= mass * GRAVITY * abs(grade)


def test_curves_help_downhill_only_where_dry():
    """Our choice, no source: all of it on dry rail, half of it otherwise."""
    assert {rail: float(share) for rail, share in CURVE_HELP.items()} == {"dry": 1, "wet": 0.5, "poor": 0.5}


def test_starting():
    """From memory (after Hay, M2): roller 5 to 8 lb per short ton, cold to 15; plain 15 to 25, cold to 35; the ore
    train needs 5 · 13 052 lb on the level."""
    assert starting_resistances(ORE).sum() / POUND_FORCE == pytest.approx(5 * 13_052)
    assert starting_resistances(replace(ORE, weather="cold")).sum() / POUND_FORCE == pytest.approx(15 * 13_052)
    pounds = {key: (b.low.stated, b.high.stated) for key, b in BREAKAWAY.items()}
    assert pounds["roller", "mild"] == (5, 8)
    assert pounds["plain", "mild"] == (15, 25)
    assert all(b.low <= b.used <= b.high for b in BREAKAWAY.values())


def test_plain_bearings_start_heavier():
    """Law: cold, and plain bearings, take more."""
    car = CATALOGUE["box car, loaded"]
    need = {}
    for bearing in ("roller", "plain"):
        made = train(block("AC six-axle locomotive"), Block(vehicle=replace(car, bearing=bearing), count=10))
        need[bearing] = [starting_resistances(replace(made, weather=w))[1] for w in ("mild", "cold")]
    assert need["roller"][0] < need["roller"][1] < need["plain"][1]
    assert need["roller"][0] < need["plain"][0] < need["plain"][1]


def test_run_down_units():
    """Worked: 1 N per km/h is 3.6 N per m/s, 1 N per (km/h)² 12.96 N per (m/s)²."""
    assert UNITS["n_per_kmh"] == pytest.approx(3.6)
    assert UNITS["n_per_kmh2"] == pytest.approx(12.96)
