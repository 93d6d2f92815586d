"""The train on the terrain: grade under it, and what its couplers carry."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from profiler.mechanics.couplers import Vehicles, coupler_forces, peaks
from profiler.mechanics.terrain import Terrain, terrain_of
from profiler.mechanics.under_train import Spread, height_at, under_train
from profiler.units import FOOT, GRAVITY, KIP, MILE, PERCENT, SHORT_TON
from tests.invented import invented_profile

STEP = 10.0


def hills(seed: int, count: int = 1200) -> Terrain:
    """Grades that change every few hundred metres, and some curves."""
    rng = np.random.default_rng(seed)
    way = STEP * np.arange(count)
    grade = np.repeat(rng.uniform(-0.025, 0.025, count // 30 + 1), 30)[: count - 1]
    bend = np.repeat(rng.choice([0.0, 0.0, 0.002], count // 30 + 1), 30)[: count - 1]
    climb = (np.r_[0.0, np.cumsum(STEP * x)] for x in (grade, bend))
    return Terrain(way, *climb)


def slope(grade: float, curve: float = 0.0, length: float = 12_000.0) -> Terrain:
    way = np.arange(0.0, length + STEP / 2, STEP)
    return Terrain(way, 100 + grade * way, curve * way)


def mixed(seed: int) -> tuple[Spread, Vehicles]:
    """A train of up to 120 vehicles in blocks, and the same vehicle by vehicle."""
    rng = np.random.default_rng(seed)
    counts = rng.integers(1, 40, rng.integers(1, 4))
    lengths, masses = rng.uniform(12, 27, counts.size), rng.uniform(25_000, 190_000, counts.size)
    blocks = Spread(np.r_[0.0, np.cumsum(counts * lengths)], masses / lengths)
    mass = np.repeat(masses, counts)
    return blocks, Vehicles(np.r_[0.0, np.cumsum(np.repeat(lengths, counts))], mass, 1.05 * mass)


def reversed_spread(spread: Spread) -> Spread:
    """The train turned about: its rear end leads."""
    return Spread(spread.length - spread.edge[::-1], spread.density[::-1])


def by_vehicle(terrain: Terrain, vehicles: Vehicles, head: np.ndarray) -> np.ndarray:
    """Mean grade under the train, each vehicle by itself."""
    ends = height_at(terrain.way, terrain.elevation, head[:, None] - vehicles.edge)
    return (-np.diff(ends, axis=1) / np.diff(vehicles.edge) * vehicles.mass).sum(axis=1) / vehicles.mass.sum()


@given(st.integers(0, 10_000), st.integers(0, 10_000))
@settings(max_examples=30, deadline=None)
def test_blocks_agree_with_vehicles(hill: int, train: int):
    """Law: block by block or vehicle by vehicle, at stations or anywhere."""
    terrain, (spread, vehicles) = hills(hill), mixed(train)
    at_stations, between = under_train(terrain, spread), under_train(terrain, spread, terrain.way[:-1] + 3.7)
    assert at_stations.grade == pytest.approx(by_vehicle(terrain, vehicles, terrain.way), abs=1e-12)
    assert between.grade == pytest.approx(by_vehicle(terrain, vehicles, terrain.way[:-1] + 3.7), abs=1e-12)
    listed = under_train(terrain, spread, terrain.way)
    assert at_stations.curve_grade == pytest.approx(listed.curve_grade, abs=1e-12)


@given(st.integers(0, 10_000), st.floats(-500, 5000))
@settings(max_examples=20, deadline=None)
def test_what_changes_nothing(seed: int, datum: float):
    """Law: another datum, a block split in two, the train and the line turned about twice."""
    terrain, (spread, _) = hills(seed), mixed(seed)
    here = under_train(terrain, spread)
    assert under_train(terrain.lifted(terrain.elevation + datum), spread).grade == pytest.approx(here.grade, abs=1e-10)
    middle = (spread.edge[0] + spread.edge[1]) / 2
    split = Spread(np.insert(spread.edge, 1, middle), np.insert(spread.density, 0, spread.density[0]))
    assert (under_train(terrain, split).grade == here.grade).all()
    again = reversed_spread(reversed_spread(spread))
    assert under_train(terrain, again).grade == pytest.approx(here.grade, abs=1e-12)


@given(st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_a_train_turned_about_on_a_line_turned_about(seed: int):
    """Law: the same vehicles at the same places feel the same weight, the other way, and carry the same forces."""
    terrain, (spread, vehicles) = hills(seed), mixed(seed)
    back = Terrain(
        terrain.length - terrain.way[::-1], terrain.elevation[::-1], terrain.curve_rise[-1] - terrain.curve_rise[::-1]
    )
    head = np.linspace(spread.length, terrain.length, 40)
    there, turned = (
        under_train(terrain, spread, head),
        under_train(back, reversed_spread(spread), terrain.length - head + spread.length),
    )
    assert turned.grade == pytest.approx(-there.grade, abs=1e-12)
    assert turned.curve_grade == pytest.approx(there.curve_grade, abs=1e-12)
    resistance, effort = 20.0 * vehicles.mass / 1000, np.zeros(vehicles.mass.size)
    effort[0] = 4e5
    stretched = coupler_forces(terrain, vehicles, resistance, effort, head, full=True)
    pushed = coupler_forces(
        Terrain(back.way, back.elevation, -back.curve_rise),
        Vehicles(vehicles.edge[-1] - vehicles.edge[::-1], vehicles.mass[::-1], vehicles.inertia[::-1]),
        -resistance[::-1],
        -effort[::-1],
        terrain.length - head + spread.length,
        full=True,
    )
    assert pushed.force[:, ::-1] == pytest.approx(stretched.force, rel=1e-9, abs=1e-3)


@pytest.mark.parametrize("grade", [-0.03, 0.0, 0.022])
def test_wholly_on_one_grade(grade: float):
    """Law: a train wholly on one grade feels exactly that grade, before the line begins and beyond its end too."""
    spread, _ = mixed(3)
    found = under_train(slope(grade), spread, np.array([0.0, 500.0, 6000.0, 12_000.0, 13_000.0]))
    assert found.grade == pytest.approx(grade, abs=1e-13)
    assert found.grade_force == pytest.approx(GRAVITY * spread.total * grade, abs=1e-3)


@given(st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_forces_sum_to_nothing(seed: int):
    """Law: what the couplers of a vehicle, its weight, its resistance and its effort leave over accelerates it."""
    terrain, (_, vehicles) = hills(seed), mixed(seed)
    count = vehicles.mass.size
    assume(count > 1)  # one on its own has a force of nought behind it
    resistance, effort = 15.0 * vehicles.mass / 1000, np.zeros(count)
    effort[[0, -1]] += 3e5
    head = np.linspace(4000, 11_000, 30)
    found = coupler_forces(terrain, vehicles, resistance, effort, head)
    ahead, behind = np.c_[np.zeros(30), found.force], np.c_[found.force, np.zeros(30)]
    ends = head[:, None] - vehicles.edge
    weight = (
        -sum(np.diff(height_at(terrain.way, h, ends), axis=1) for h in (terrain.elevation, terrain.curve_rise))
        * GRAVITY
        * vehicles.mass
        / np.diff(vehicles.edge)
    )
    left = found.share[:, None] * effort + ahead - behind - weight - resistance
    assert left == pytest.approx(found.acceleration[:, None] * vehicles.inertia, rel=1e-6, abs=1e-2)
    held = (found.share > 0) & (found.share < 1)
    assert np.abs(found.acceleration[held]).max(initial=0.0) < 1e-9


def test_peaks_are_those_of_all_couplers():
    """Law: the largest draft and buff and where they stand, in pieces or at once."""
    terrain, (_, vehicles) = hills(8), mixed(8)
    resistance, effort = 15.0 * vehicles.mass / 1000, np.zeros(vehicles.mass.size)
    effort[0] = 5e5
    head = np.linspace(3000, 11_900, 5000)
    force = coupler_forces(terrain, vehicles, resistance, effort, head).force
    found = peaks(terrain, vehicles, resistance, effort, head)
    assert found.draft == pytest.approx(np.maximum(force.max(axis=1), 0))
    assert found.buff == pytest.approx(np.maximum(-force.min(axis=1), 0))
    drawn = found.draft > 0
    assert force[drawn, found.draft_at[drawn]] == pytest.approx(found.draft[drawn])


def ore_train(rear: bool) -> tuple[Vehicles, np.ndarray, np.ndarray]:
    """100 cars of 143 short tons and three units without weight: resistance and equal efforts [N]."""
    cars, unit = np.full(100, 143 * SHORT_TON), np.full(1, 1e-6)
    mass = np.r_[unit, unit, cars, unit] if rear else np.r_[unit, unit, unit, cars]
    edge = np.r_[0.0, np.cumsum(np.where(mass < 1, 20.0, 53 * FOOT))]
    # modified Davis, 143 short tons, 4 axles, 12 mph: 1.3499 lbf per short ton (reference example 7-B)
    resistance = 1.3499 * KIP / 1000 * mass / SHORT_TON
    return Vehicles(edge, mass, mass), resistance, np.where(mass < 1, 1e6, 0.0)


def test_power_at_the_head_and_at_the_rear():
    """Worked: reference example 7-B (calc): 100 cars of 143 short tons on +1 % at 12 mph: 305,304 lbf behind the head
    set with all power ahead; with one of three units behind 203,536, and 101,768 in buff before that unit. The node
    lies two thirds back."""
    terrain = slope(1 * PERCENT)
    head = np.array([6000.0])
    vehicles, resistance, effort = ore_train(rear=False)
    ahead = coupler_forces(terrain, vehicles, resistance, effort, head).force[0] / KIP
    assert ahead[2] == pytest.approx(305.304, abs=0.01)
    vehicles, resistance, effort = ore_train(rear=True)
    shared = coupler_forces(terrain, vehicles, resistance, effort, head).force[0] / KIP
    assert shared[1] == pytest.approx(203.536, abs=0.01)
    assert -shared[-1] == pytest.approx(101.768, abs=0.01)
    node = np.flatnonzero(np.diff(np.sign(shared)))[0] - 1  # cars ahead of it
    assert node / 100 == pytest.approx(2 / 3, abs=0.01)


def test_three_quarters_over_a_crest():
    """Worked: a uniform train of 7,000 ft, a quarter of it on +1 % and three quarters over on -2 %: -1.25 %; half over
    -0.5 %; it feels level where 2/3 of it still climb."""
    way = np.arange(0.0, 8 * MILE, STEP)
    crest = 4 * MILE
    terrain = Terrain(way, np.where(way < crest, 0.01 * way, 0.01 * crest - 0.02 * (way - crest)), np.zeros(way.size))
    length = 7000 * FOOT
    spread = Spread(np.array([0.0, length]), np.array([9000.0]))
    heads = crest + length * np.array([0.0, 1 / 3, 0.5, 0.75, 1.0])
    found = under_train(terrain, spread, heads).grade / PERCENT
    assert found == pytest.approx([1.0, 0.0, -0.5, -1.25, -2.0], abs=0.004)


def test_terrain_of_a_profile_both_ways():
    """Law: against chainage the line is turned about, and places keep their chainage."""
    profile = invented_profile()
    there, back = terrain_of(profile), terrain_of(profile, "against")
    assert back.elevation == pytest.approx(there.elevation[::-1])
    assert back.chainage(back.way) == pytest.approx(profile.chainage[::-1])
    assert back.way_at(profile.chainage[5]) == pytest.approx(back.way[-6])
    assert back.curve_rise[-1] == pytest.approx(there.curve_rise[-1])
    assert there.curve_rise[-1] > 0
