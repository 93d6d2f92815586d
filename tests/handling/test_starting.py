"""What a start needs, what there is, and what couplers carry."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from profiler.handling.start_marks import start_astride
from profiler.handling.starting import NO_NOTCH, lowest_notch, starting
from profiler.handling.straddles import mass_quarters
from profiler.landmark import Straddle
from profiler.mechanics.couplers import peaks, vehicles_of
from profiler.mechanics.pull import vehicle_efforts, vehicle_starts
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.traction import block_efforts, notches_of
from profiler.train import Block, Train
from profiler.units import GRAVITY, KIP, SHORT_TON, FloatArray
from tests.benchmarks.test_under_train_speed import fastest
from tests.mechanics.test_under_train import hills, slope
from tests.trains import LOADED, ORE, TRIAL, UNIT, A, B, C, F, train_of

HERE = np.array([6000.0])


def grade_of(name: str) -> float:
    return 0.030 if name == "f" else 0.013


@pytest.mark.parametrize(
    ("name", "need", "available", "draft", "buff", "holding", "starts_in"),
    [
        ("a", 405, 624, 223, 149, 3, 4),
        ("b", 405, 624, 372, 0, 3, 4),
        ("c", 270, 499, 183, 61, 3, 3),
        ("d", 112, 250, 99, 0, 2, 3),
        ("e", 206, 374, 186, 0, 3, 3),
        ("f", 70, 114, 57, 0, 4, 4),
    ],
)
def test_trains_of_the_trial(
    name: str, need: float, available: float, draft: float, buff: float, holding: int, starts_in: int
):
    """Worked: handling trial: kips to start on plain 1.3 % (f on 30 ‰) without acceleration, what there is at μ 0.30,
    coupler forces, the notch that holds back roll and the notch that starts."""
    train = TRIAL[name]
    found = starting(train, slope(grade_of(name)), head=HERE, acceleration=0.0)
    kips = [float(x) / KIP for x in (found.need[0], found.available, found.draft[0], found.buff[0])]
    assert kips == pytest.approx([need, available, draft, buff], abs=1.0)
    assert found.notch[0] == starts_in
    efforts = np.array([block_efforts(train, 0.0, notch=n).sum() for n in notches_of(train)])
    assert lowest_notch(efforts, found.grade)[0] == holding
    # (b) must be refused: its draft is above the limit
    assert bool(found.starts[0]) == (name != "b")
    # and a small acceleration changes no notch
    assert starting(train, slope(grade_of(name)), head=HERE).notch[0] == starts_in


def with_adhesion(train: Train, value: float) -> Train:
    blocks = []
    for b in train.blocks:
        if b.vehicle.traction is not None:
            vehicle = dataclasses.replace(b.vehicle, traction=dataclasses.replace(b.vehicle.traction, adhesion=value))
            b = dataclasses.replace(b, vehicle=vehicle)
        blocks.append(b)
    return dataclasses.replace(train, blocks=tuple(blocks))


def curved_hill() -> Terrain:
    """1.3 %, a curve of 9° from 11.5 to 12 km with spirals of 60 m inside."""
    way = np.arange(0.0, 18_000.0, 10.0)
    degree = np.interp(way, [11_500, 11_560, 11_940, 12_000], [0, 9, 9, 0])
    return Terrain(way, 0.013 * way, np.r_[0.0, np.cumsum(0.0004 * (degree[1:] + degree[:-1]) / 2 * 10)])


def test_a_curve_counts_twice():
    """Worked: handling trial: (a) with its head at 12.05 km behind a curve of 9°: 442 kip with running curve
    resistance, 479 with that of a start; at μ 0.22 (458) it starts on the plain grade and not there."""
    found = starting(A, curved_hill(), head=np.array([8000.0, 12_050.0]), acceleration=0.0)
    assert found.need / KIP == pytest.approx([405, 479], abs=1.5)
    assert (found.need - found.curve / 2)[1] / KIP == pytest.approx(442, abs=1.5)
    slippery = starting(with_adhesion(A, 0.22), curved_hill(), head=np.array([8000.0, 12_050.0]), acceleration=0.0)
    assert slippery.available / KIP == pytest.approx(458, abs=1)
    assert slippery.starts.tolist() == [True, False]
    assert (slippery.short_of, slippery.notch[1]) == ("adhesion", NO_NOTCH)


def test_three_quarters_over_the_top():
    """Worked: five units and 130 ore cars, 1,920 m, over a crest of +1.8 % and -1.0 % on poor rail. All on the grade
    39,260 kips lie on 1.8 %: 707 and 98 to break away, 805 of 374 kip: it does not start. With three quarters of the
    mass past, 1.8/4 - 3 x 1.0/4 = -0.3 %: less than nothing, it starts with no more than the first notch."""
    train = dataclasses.replace(train_of("heavy", (UNIT, 5), (ORE, 130)), rail="poor")
    way = np.arange(0.0, 20_005.0, 10.0)
    terrain = Terrain(way, np.minimum(0.018 * way, 180 - 0.010 * (way - 10_000)), 0 * way)
    places = (10_000 + mass_quarters(train)).tolist()
    found = start_astride(train, terrain, Straddle(0, "crest", "with", train.length, *places))
    weight = train.mass * GRAVITY
    assert found.grade / weight == pytest.approx([0.018, 0.011, 0.004, -0.003, -0.010], abs=1e-5)
    assert not found.starts[0]
    assert found.notch[0] == NO_NOTCH
    assert found.starts[3]
    assert 0 <= found.notch[3] <= 1
    assert (np.diff(found.need) < 0).all()


def test_draws_say_how_sure():
    """Law: of draws that tilt the line by known amounts, the share is those in which the effort is enough."""
    terrain = slope(0.013)
    weight = F.mass * GRAVITY
    sure = starting(F, terrain, head=HERE)
    spare = sure.margin[0] / weight  # grade that may still be added
    tilts = np.array([-0.01, 0.0, 0.4 * spare, 0.9 * spare, 1.1 * spare, 2 * spare])
    draws = terrain.elevation + tilts[:, None] * terrain.way
    found = starting(F, terrain, draws, head=HERE)
    assert found.probability[0] == pytest.approx(4 / 6)
    assert starting(F, terrain, draws).probability[600] == pytest.approx(4 / 6)


def test_draws_and_the_knuckle():
    """Law: a draw in which the draft would pass the limit does not start, exactly as that line by itself says."""
    terrain = slope(0.008)
    tilts = np.linspace(-0.004, 0.004, 33)
    found = starting(B, terrain, terrain.elevation + tilts[:, None] * terrain.way, head=HERE)
    alone = [starting(B, slope(0.008 + t), head=HERE).starts[0] for t in tilts]
    assert 0.1 < np.mean(alone) < 0.9
    assert found.probability[0] == pytest.approx(np.mean(alone))


@pytest.mark.parametrize("seed", range(5))
def test_forces_between_stations_of_calculation(seed: int):
    """Law: draft worked out every 50 m and filled in lies within 1 % of the largest of that worked out everywhere."""
    terrain = hills(seed)
    found = starting(A, terrain, acceleration=0.0)
    vehicles, need = vehicles_of(A), float(found.need.max())
    effort = vehicle_efforts(A, 0.0) * max(need, 1.0)
    every = peaks(terrain, vehicles, vehicle_starts(A), effort, terrain.way, curves=2.0)
    assert np.abs(found.draft - every.draft).max() < 0.01 * every.draft.max() + 4000


def test_what_changes_nothing():
    """Law: another datum, a block split in two."""
    terrain = hills(3)
    here = starting(C, terrain)
    moved = starting(C, terrain.lifted(terrain.elevation + 700))
    split = train_of("c", (UNIT, 1), (UNIT, 2), (LOADED, 20), (LOADED, 40), (UNIT, 1))
    for other in (moved, starting(split, terrain)):
        assert other.need == pytest.approx(here.need, abs=1.0)
        assert other.draft == pytest.approx(here.draft, abs=1.0)
        assert (other.notch == here.notch).mean() > 0.999


def test_before_the_line_begins():
    """Law: with the tail before the line the first grade goes on there, and that is said."""
    found = starting(A, slope(0.013))
    assert found.continued.sum() == int(np.ceil(A.length / 10))
    assert found.need == pytest.approx(found.need[-1], rel=1e-9)


def test_a_light_engine():
    """Law: one locomotive has no coupler to pull, and with its independent brake stands where it is put."""
    light = train_of("light", (UNIT, 1))
    found = starting(light, slope(0.013), head=HERE)
    assert (found.draft[0], found.buff[0]) == (0, 0)
    assert found.starts[0]
    assert found.independent_holds[0]


def test_steeper_needs_more():
    """Law: on a steeper grade need, draft and notch are no less, margin and the independent's holding no more."""
    found = [starting(C, slope(g), head=HERE) for g in np.linspace(-0.005, 0.04, 20)]
    values = np.array([[f.need[0], f.draft[0], -f.margin[0], -float(f.independent_holds[0])] for f in found])
    assert (np.diff(values, axis=0) >= -1e-6).all()
    assert found[0].notch[0] == 0
    assert found[-1].notch[0] == NO_NOTCH


def test_what_gives_out_first():
    """Worked: (d) has one light tail: 99 of 112 kip pass the first coupler, 250 available would put 221 on it, under
    250: adhesion; (b) passes 372 of 405: the knuckle. Locomotives of 20 kip of starting effort slip never."""
    assert starting(TRIAL["d"], slope(0.013), head=HERE, acceleration=0.0).limited_by[0] == "adhesion"
    assert starting(B, slope(0.013), head=HERE, acceleration=0.0).limited_by[0] == "knuckle"
    assert UNIT.traction is not None
    weak = dataclasses.replace(UNIT, traction=dataclasses.replace(UNIT.traction, starting_effort=20 * KIP))
    train = dataclasses.replace(C, blocks=(Block(vehicle=weak, count=3), *C.blocks[1:2]))
    assert starting(train, slope(0.001), head=HERE).limited_by[0] == "starting_effort"


def test_a_long_line_is_quick():
    """Law: 200 km at 10 m and 100 draws take no more than three times what 500 look-ups of such a line take."""
    way = np.arange(0.0, 200_005.0, 10.0)
    terrain = Terrain(way, 100 * np.sin(way / 3000), 0 * way)
    draws: FloatArray = terrain.elevation + np.random.default_rng(1).normal(size=(100, 1)) * np.sin(way / 900)

    def floor() -> None:
        for drawn in draws:
            for _ in range(5):
                np.interp(way - 3.0, way, drawn)

    assert fastest(lambda: starting(A, terrain, draws)) < 3 * fastest(floor)


def test_the_mass_is_that_of_the_train():
    """Worked: handling trial: 13,050 short tons and 1,137 m."""
    assert (A.mass / SHORT_TON, A.length) == pytest.approx((13_050, 1137), rel=1e-3)
