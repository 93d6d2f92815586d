"""Tonnage rating, balancing speeds, units needed and helper districts."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from profiler.catalogue import CATALOGUE
from profiler.cited import given as stated
from profiler.errors import InputError
from profiler.mechanics.places import balancing_speeds, climbs_of, head_positions, holding_back, slowest_speed
from profiler.mechanics.power_needed import climb_speeds, helper_districts, units_for
from profiler.mechanics.resistance import CURVE_START_FACTOR, block_coefficients
from profiler.mechanics.terrain import drawn_elevations, terrain_of
from profiler.mechanics.tonnage import RULES, SHORTEST, STEP, drawn_terrain, rate, ratings
from profiler.mechanics.traction import block_efforts
from profiler.mechanics.under_train import UnderTrain, spread_of, under_train
from profiler.profile import reversed_profile
from profiler.train import Train
from profiler.units import GRAVITY, MPH, POUND_FORCE, SHORT_TON
from profiler.vehicle import Vehicle
from tests.invented import invented_profile
from tests.mechanics.test_pull import split
from tests.mechanics.test_under_train import hills
from tests.trial import EMPTY, GRAIN, ORE, UNIT, hill, slope, train_of, trial_trains

NAMES = ("a", "b", "c", "d", "e", "e, empties ahead", "f")


def heavier(train: Train, factor: float) -> Train:
    """The same train, each car so many times as heavy."""
    blocks = []
    for block in train.blocks:
        vehicle: Vehicle = block.vehicle
        if vehicle.kind == "car":
            vehicle = replace(vehicle, mass=stated(vehicle.mass * factor, "kg"))
        blocks.append(replace(block, vehicle=vehicle))
    return replace(train, blocks=tuple(blocks))


def with_units(train: Train, more: int) -> Train:
    """So many units more in the leading block."""
    first = train.blocks[0]
    return replace(train, blocks=(replace(first, count=first.count + more), *train.blocks[1:]))


def times_cars(train: Train, times: int) -> Train:
    return replace(
        train,
        blocks=tuple(replace(b, count=b.count * times) if b.vehicle.kind == "car" else b for b in train.blocks),
    )


def test_what_250_kips_haul():
    """Worked: handling trial: behind the head 250 kips haul 9,090 short tons on plain 1.3 % (at its speed; 10 mph roll
    a little easier); at a start 250,000/(26 + 5)."""
    found = rate(slope(0.013), trial_trains()["b"])
    assert found.of("draft").mass / SHORT_TON == pytest.approx(9090, rel=0.01)
    assert found.of("draft at start").mass / SHORT_TON == pytest.approx(250_000 / 31, rel=1e-6)
    assert found.ruling.rule == "draft at start"
    assert not found.enough
    assert found.by_power.mass > found.given
    assert rate(slope(0.013), trial_trains()["a"]).enough


@given(st.integers(0, 10_000), st.sampled_from(NAMES), st.integers(1, 2))
@settings(max_examples=12, deadline=None)
def test_more_units_never_lower_the_rating(seed: int, name: str, more: int):
    """Law: whatever a train does, with a unit more at its head it does; so nothing that is allowed becomes less.
    Units as long as two steps of the stations, so that the cars lie at the same places."""
    terrain, train = hills(seed), trial_trains()[name]
    unit = replace(train.blocks[0].vehicle, length=stated(20, "m"))
    train = replace(train, blocks=(replace(train.blocks[0], vehicle=unit), *train.blocks[1:]))
    few, many = rate(terrain, train), rate(terrain, with_units(train, more))
    for rule in RULES:
        if few.of(rule).head is not None and many.of(rule).head is not None:
            assert many.of(rule).mass >= few.of(rule).mass * (1 - 1e-6), rule


@given(st.floats(0.0, 0.03), st.sampled_from(NAMES), st.floats(1.0, 2.0))
@settings(max_examples=20, deadline=None)
def test_heavier_is_never_faster(grade: float, name: str, factor: float):
    """Law: on a climb a heavier train never has a higher balancing speed: of heavier cars, or of more."""
    train = trial_trains()[name]
    terrain = slope(grade)

    def speed(some: Train) -> float:
        (found,) = climb_speeds(terrain, some, climbs_of(terrain, some))
        assert found.grade == pytest.approx(grade, abs=1e-9)
        return found.speed

    light = speed(train)
    assert speed(heavier(train, factor)) <= light + 1e-5
    assert speed(times_cars(train, 2)) <= light + 1e-5


@given(st.integers(0, 10_000), st.sampled_from(NAMES))
@settings(max_examples=10, deadline=None)
def test_what_changes_no_rating(seed: int, name: str):
    """Law: a block split in two; the same mix of cars twice as many; another datum."""
    terrain, train = hills(seed), trial_trains()[name]
    found = rate(terrain, train)
    lifted = terrain.lifted(terrain.elevation + 300)
    for other, tolerance in (
        (rate(terrain, split(train)), 1e-9),
        (rate(lifted, train), 1e-6),
        (rate(terrain, times_cars(train, 2)), 2e-3),
    ):
        for rule in RULES:
            assert other.of(rule).mass == pytest.approx(found.of(rule).mass, rel=tolerance)


@given(st.integers(0, 10_000), st.sampled_from(NAMES))
@settings(max_examples=10, deadline=None)
def test_the_train_as_rated(seed: int, name: str):
    """Law: with the cars that the power may haul, just as heavy a train is at minimum continuous speed where the rule
    says, and nowhere below; and with any fewer it is at no place below."""
    terrain, train = hills(seed), trial_trains()[name]
    allowed = rate(terrain, train).of("haul")
    assume(allowed.head is not None and allowed.mass > 0)
    times = allowed.mass / sum(b.count * b.vehicle.mass for b in train.blocks if b.vehicle.kind == "car")
    speed = slowest_speed(train)
    effort = float(block_efforts(train, speed, continuous=True).sum())

    def with_cars(times: float) -> tuple[UnderTrain, np.ndarray, float]:
        scale = [times if b.vehicle.kind == "car" else 1.0 for b in train.blocks]
        edge = np.r_[0.0, np.cumsum(train.lengths * scale)]
        under = under_train(terrain, replace(spread_of(train), edge=edge))
        rolling = sum(s * float(c(speed)) for s, c in zip(scale, block_coefficients(train), strict=True))
        return under, effort - rolling - under.grade_force - under.curve_force, edge[-1]

    under, left, length = with_cars(times)
    assert left.min() == pytest.approx(0.0, abs=1e-6 * effort)
    at = int(np.argmin(left))
    assert left[np.abs(under.head - allowed.head).argmin()] == pytest.approx(left[at], abs=1.0)
    assert allowed.length == pytest.approx(length)
    assert allowed.rear == pytest.approx(allowed.head - allowed.length)
    assert allowed.grade == pytest.approx((under.grade + under.curve_grade)[under.head == allowed.head][0])
    fewer = SHORTEST * STEP ** np.arange(200)
    for some in fewer[fewer < times * (1 - 1e-6)]:
        assert with_cars(some)[1].min() >= -1e-6 * effort


def test_a_train_that_nothing_stops():
    """Law: on a line that falls all the way the rating is a train as long as the line, and no place rules."""
    train = trial_trains()["a"]
    found = rate(slope(-0.01, length=12_000), train)
    assert {r.head for r in found.ruled} == {None}
    assert found.ruling.length == pytest.approx(12_000)


def test_power_that_cannot_climb_alone():
    """Law: where the units cannot lift themselves the rating is nothing."""
    poor = replace(trial_trains()["b"], rail="poor")
    found = rate(slope(0.30, length=12_000), poor)
    assert found.of("haul").mass == 0
    assert units_for(slope(0.30, length=12_000), poor).units is None


@pytest.mark.parametrize(
    ("train", "length"), [(train_of((2, UNIT)), 12_000.0), (train_of((40, UNIT), (1, ORE)), 800.0)]
)
def test_what_cannot_be_rated(train: Train, length: float):
    """Law: without cars, or on a line shorter than the power, there is no rating, and a sentence says so."""
    with pytest.raises(InputError, match=r"cars to grow|longer than the line"):
        rate(slope(0.01, length=length), train)


def test_curves_and_acceleration_count_at_a_start():
    """Worked: on one grade with one curve everywhere a start allows TE/(g (G + f C) + breakaway + k a) less the units:
    f twice the running curve resistance, the rotating parts of cars and of units counting as accelerated."""
    train = train_of((3, UNIT), (50, GRAIN))
    found = rate(slope(0.01, curves=0.002), train, acceleration=0.01)
    hill_part = GRAVITY * (0.01 + CURVE_START_FACTOR * 0.002) + 5 * 4.4482216 / 907.18474
    effort = 3 * 0.30 * UNIT.mass * GRAVITY
    units = 3 * UNIT.mass * (hill_part + 0.01 * UNIT.rotating)
    expected = (effort - units) / (hill_part + 0.01 * GRAIN.rotating)
    assert found.of("start").mass == pytest.approx(expected, rel=1e-6)


def test_both_directions_of_a_profile():
    """Law: against chainage a profile rates as the same profile turned about does with it; the interval holds the
    estimate; a profile without doubt has none; a surer one has a narrower one."""
    profile, train = invented_profile(), trial_trains()["a"]
    there, back = ratings(profile, train)
    turned = ratings(reversed_profile(profile), train)
    assert (there.direction, back.direction) == ("with", "against")
    for mine, other in ((there, turned[1]), (back, turned[0])):
        for rule in RULES:
            assert other.of(rule).mass == pytest.approx(mine.of(rule).mass, rel=1e-6)
            assert other.of(rule).low == pytest.approx(mine.of(rule).low, rel=1e-3)
    surer = ratings(invented_profile(se_m=0.3), train)
    for wide, narrow in ((there, surer[0]), (back, surer[1])):
        for rule in RULES:
            a, b = wide.of(rule), narrow.of(rule)
            assert a.low is not None and a.high is not None and b.low is not None and b.high is not None  # noqa: PT018
            assert a.low < a.mass < a.high
            assert b.high - b.low < 0.5 * (a.high - a.low)
    assert there.probability == 1
    assert back.probability == 0


def test_draws_at_once_are_draws_one_by_one():
    """Law: grade and curves under a train on all draws at once are those on each, and lie at their chainage."""
    profile, train = invented_profile(), trial_trains()["e"]
    for direction in ("with", "against"):
        drawn = drawn_terrain(profile, direction)
        together = under_train(drawn, spread_of(train))
        for i in (0, 41):
            alone = under_train(drawn.lifted(drawn.elevation[i]), spread_of(train), drawn.way)
            assert together.grade[i] == pytest.approx(alone.grade, abs=1e-12)
        assert together.curve_grade == pytest.approx(alone.curve_grade, abs=1e-12)
        whole = terrain_of(profile, direction)
        at_nodes = np.searchsorted(whole.way, drawn.way)
        assert drawn_elevations(profile, direction)[:, at_nodes] == pytest.approx(drawn.elevation)


@given(st.integers(0, 10_000), st.sampled_from(["a", "c", "e"]), st.floats(1.0, 3.0))
@settings(max_examples=10, deadline=None)
def test_helpers_where_the_power_is_short(seed: int, name: str, factor: float):
    """Law: there is a district exactly where the balancing speed is below the minimum continuous one; with that many
    units more there is none, but for what they weigh in front instead of behind."""
    terrain, train = hills(seed), heavier(trial_trains()[name], factor)
    districts = helper_districts(terrain, train)
    head = head_positions(0.0, terrain.length)
    speed = balancing_speeds(train, holding_back(terrain, train, head))
    inside = np.zeros(head.size, dtype=bool)
    for d in districts:
        inside |= (head >= d.start - 40) & (head <= d.end + 40)
        assert d.start <= d.at <= d.end
        assert d.missing > 0
    assert inside[speed < slowest_speed(train) * (1 - 1e-3)].all()
    if not districts:
        assert speed.min() >= slowest_speed(train) * (1 - 1e-3)
    for first, second in pairwise(districts):
        assert second.start - first.end > train.length
    units = [d.units for d in districts]
    if units and None not in units:
        assert helper_districts(terrain, with_units(train, max(units) + 1)) == ()
        assert len(helper_districts(terrain, with_units(train, max(units) - 2))) > 0 or max(units) == 1


def test_units_for_the_trains_of_the_trial():
    """Worked: handling trial: start need and effort of a unit on plain 1.3 %: (a) and (b) 405 of 124.8 kips each, so
    four in all; (d) 112 and (e) 206: one and two."""
    need = {"a": (405, 2), "b": (405, 0), "d": (112, 0), "e": (206, 0)}
    for name, (kips, behind) in need.items():
        train = trial_trains()[name]
        whole = train.blocks[0].count + behind
        per_unit, own = 124.8, 208 * 0.031  # each brings its own need
        bare = kips - whole * own
        expected = int(np.ceil(bare / (per_unit - own))) - behind
        found = units_for(slope(0.013), train)
        assert found.start == expected
        assert found.has == train.blocks[0].count
        assert found.units == max(found.start, found.haul or 0)


def test_speeds_on_the_climbs_of_the_trial():
    """Worked: handling trial: (a) balances at 18.4 mph on plain 1.3 %; on the hill its hardest place is in the curve of
    9° at km 11.5 to 12."""
    (plain,) = climb_speeds(slope(0.013), trial_trains()["a"], climbs_of(slope(0.013), trial_trains()["a"]))
    assert plain.speed / MPH == pytest.approx(18.4, abs=0.05)
    assert plain.enough
    (found,) = climb_speeds(hill(), trial_trains()["a"], climbs_of(hill(), trial_trains()["a"]))
    assert 11_500 <= found.head <= 12_000 + trial_trains()["a"].length
    assert 0.013 < found.grade < 0.013 + 9 * 0.0004
    stalled = heavier(trial_trains()["e"], 3.0)
    (slow,) = climb_speeds(slope(0.02), stalled, climbs_of(slope(0.02), stalled))
    assert slow.speed == 0
    assert not slow.enough


def test_mixed_power_is_rated_by_what_must_not_overheat():
    """Worked: the slowest speed is that of the unit that needs most, 11 mph (S15), 10 where heat sets none; there a DC
    unit gives 82,100 lbf (S15) and no more, whatever its power: rolling and grade of the rated train take all of it."""
    direct = CATALOGUE["DC six-axle locomotive"]
    assert slowest_speed(train_of((2, UNIT), (1, direct), (40, EMPTY))) / MPH == pytest.approx(11)
    assert slowest_speed(train_of((2, UNIT), (40, EMPTY))) / MPH == pytest.approx(10)
    train = train_of((1, direct), (40, GRAIN))
    cars = rate(slope(0.01), train).of("haul").mass / GRAIN.mass
    (unit, car) = block_coefficients(train)
    need = float(unit(11 * MPH) + cars / 40 * car(11 * MPH)) + GRAVITY * 0.01 * (direct.mass + cars * GRAIN.mass)
    assert need / POUND_FORCE == pytest.approx(82_100, rel=1e-6)
