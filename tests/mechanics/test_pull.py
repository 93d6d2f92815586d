"""Coupler forces along a line, units to use on its climbs, and where remote power should stand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from profiler.cited import given as stated
from profiler.landmark import Landmark, Landmarks
from profiler.mechanics.couplers import coupler_forces, peaks, vehicles_of
from profiler.mechanics.places import Climb, climbs_of
from profiler.mechanics.pull import draft_over, pull_along, vehicle_efforts, vehicle_resistances, vehicle_starts
from profiler.mechanics.remote import RemotePlaces, remote_places
from profiler.mechanics.resistance import CURVE_START_FACTOR, block_coefficients
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.traction import block_efforts
from profiler.mechanics.units_to_use import units_on_climbs, units_to_use, with_head_units
from profiler.train import Block, Train
from profiler.units import KIP, MPH
from tests.mechanics.test_under_train import hills
from tests.trial import EMPTY, GRAIN, ORE, UNIT, hill, slope, train_of, trial_trains

PLAIN = slope(0.013)
"""The grade of the trial's climb, without its curves."""


def split(train: Train) -> Train:
    """Every block of more than one vehicle as two."""
    blocks: list[Block] = []
    for block in train.blocks:
        blocks += [replace(block, count=1)] * (block.count > 1) + [replace(block, count=max(block.count - 1, 1))]
    return replace(train, blocks=tuple(blocks))


@pytest.mark.parametrize(
    ("name", "draft", "buff"),
    [("a", 223, 149), ("b", 372, 0), ("c", 183, 61), ("d", 99, 0), ("e", 186, 0), ("e, empties ahead", 186, 0)],
)
def test_peaks_at_a_start(name: str, draft: float, buff: float):
    """Worked: handling trial, start on plain 1.3 %: largest draft and buff, kips."""
    train = trial_trains()[name]
    found = peaks(
        PLAIN, vehicles_of(train), vehicle_starts(train), vehicle_efforts(train, 0.0), np.array([train.length + 5000])
    )
    assert found.draft[0] / KIP == pytest.approx(draft, abs=1)
    assert found.buff[0] / KIP == pytest.approx(buff, abs=1)


def test_speeds_on_the_climb():
    """Worked: handling trial: train (a) balances at 18.4 mph on plain 1.3 % and falls to 16.9 in the curves of the
    hill, where its own momentum still helps it a little."""
    train = trial_trains()["a"]
    assert pull_along(PLAIN, train, 25 * MPH).speed / MPH == pytest.approx(18.4, abs=0.05)
    climb = np.arange(7000.0, 17_000, 50)
    assert pull_along(hill(), train, 25 * MPH, climb).speed.min() / MPH == pytest.approx(16.9, abs=0.4)


@given(st.integers(0, 10_000))
@settings(max_examples=15, deadline=None)
def test_full_effort_and_the_effort_needed(seed: int):
    """Law: the train goes no faster than asked; with all power ahead more effort draws no coupler less; what is
    needed does not accelerate; and where power is short both are the same."""
    terrain, train = hills(seed), trial_trains()["b"]
    found = pull_along(terrain, train, 20 * MPH)
    assert found.speed.max() <= 20 * MPH
    assert (found.full.draft >= found.needed.draft - 1.0).all()
    slow = (found.speed < 20 * MPH) & (found.speed > 0)
    assert found.full.draft[slow] == pytest.approx(found.needed.draft[slow], rel=1e-3, abs=1e3)


@pytest.mark.parametrize("seed", [2, 9, 23])
def test_a_finer_step_finds_no_more(seed: int):
    """Law: the peaks of head positions ten metres apart are those of the step used, within 20 kN, where grades break
    sharply by up to 5 % every 300 m."""
    terrain, train = hills(seed), trial_trains()["a"]
    used = pull_along(terrain, train, 25 * MPH)
    fine = pull_along(terrain, train, 25 * MPH, terrain.way)
    for a, b in ((used.needed, fine.needed), (used.full, fine.full)):
        assert a.draft.max() == pytest.approx(b.draft.max(), abs=20e3)
        assert a.buff.max() == pytest.approx(b.buff.max(), abs=20e3)


@pytest.mark.parametrize("name", ["a", "e"])
def test_a_block_in_two(name: str):
    """Law: splitting a block changes nothing, here or below."""
    train, parts = trial_trains()[name], split(trial_trains()[name])
    assert len(parts.blocks) > len(train.blocks)
    head = np.arange(2000.0, 20_000, 200)
    whole, cut = (pull_along(hill(), t, 20 * MPH, head) for t in (train, parts))
    assert cut.needed.draft == pytest.approx(whole.needed.draft, rel=1e-3, abs=500)  # the leading unit's air resistance
    (climb,) = climbs_of(hill(), train)
    for found, again in zip(
        *(units_to_use(hill(), t, climb).pulling for t in (train, parts)),
        strict=True,
    ):
        assert again.full_draft == pytest.approx(found.full_draft)
        assert (again.starts, again.holds, again.vehicle) == (found.starts, found.holds, found.vehicle)
    places, others = (remote_places(hill(), t, [climb], units=1) for t in (train, parts))
    assert places
    assert others
    assert others.best.cars_ahead == places.best.cars_ahead
    assert others.best.rms == pytest.approx(places.best.rms)


def test_where_the_draft_is_over():
    """Law: the stretches are the head positions above the limit, no more and no fewer, and have the most of each."""
    train = trial_trains()["b"]
    found = pull_along(hill(), train, 23 * MPH).needed
    limit = 340 * KIP
    over = draft_over(found, limit)
    assert len(over) > 1
    inside = np.zeros(found.head.size, dtype=bool)
    for stretch in over:
        here = (found.head >= stretch.start) & (found.head <= stretch.end)
        inside |= here
        assert stretch.force == found.draft[here].max() > stretch.limit
        assert stretch.excess == pytest.approx(stretch.force - limit)
        assert stretch.vehicle == 4  # behind the fifth unit
        assert 5000 < stretch.at < 19_000
    assert (inside == (found.draft > limit)).all()
    assert draft_over(found, 1000 * KIP) == ()


def test_isolated_units_do_not_pull():
    """Law: effort and resistance vehicle by vehicle add up to those of the blocks; an isolated unit has none."""
    train = with_head_units(trial_trains()["a"], 2)
    speed = np.array([3.0, 7.0])
    effort = vehicle_efforts(train, speed)
    assert effort.sum(axis=1) == pytest.approx(block_efforts(train, speed).sum(axis=0))
    assert (effort[:, 2] == 0).all()
    assert (effort[:, [0, 1, -1]] > 0).all()
    resistance = vehicle_resistances(train, speed)
    assert resistance.sum(axis=1) == pytest.approx(sum(c(speed) for c in block_coefficients(train)))


def test_all_on_the_head_is_refused():
    """Worked: handling trial: five units ahead of 84 loads need 372 kips behind them to start on plain 1.3 %, so that
    none of their numbers is both enough and within 250; three and two need 223 of 250."""
    ahead, shared = (trial_trains()[name] for name in "ba")
    (climb,) = climbs_of(PLAIN, ahead)
    found = units_to_use(PLAIN, ahead, climb)
    assert found.start_need / KIP == pytest.approx(405, abs=1)
    assert found.pulling[-1].needed_draft / KIP == pytest.approx(372, abs=1)
    assert found.fewest == 4  # 4 x 124.8 kips is the first above 405
    assert found.most == 2  # 2 x 124.8 less what they weigh is the last below 250
    assert found.refused
    assert not units_to_use(PLAIN, shared, climb).refused


def test_what_a_start_in_the_curve_needs():
    """Worked: handling trial: on the hill, with the curve resistance of a start, 479 kips in the curve of 9°."""
    train = trial_trains()["a"]
    (climb,) = climbs_of(hill(), train)
    assert units_to_use(hill(), train, climb).start_need / KIP == pytest.approx(479, abs=1)


@given(st.integers(0, 10_000), st.sampled_from(["a", "b", "c", "d", "e"]))
@settings(max_examples=25, deadline=None)
def test_more_units_pulling(seed: int, name: str):
    """Law: more units pulling draw no coupler less, keep up no lower speed, and start whatever fewer did."""
    terrain, train = hills(seed), trial_trains()[name]
    (climb,) = climbs_of(terrain, train)
    found = units_to_use(terrain, train, climb)
    assert [p.units for p in found.pulling] == list(range(1, train.groups[0].working + 1))
    for fewer, more in zip(found.pulling, found.pulling[1:], strict=False):
        assert more.full_draft >= fewer.full_draft - 1.0
        assert more.speed >= fewer.speed - 1e-5
        assert more.starts >= fewer.starts
    if found.most:
        assert found.pulling[found.most - 1].full_draft <= train.limits.draft * (1 + 1e-12)


def test_climbs_tried_at_once():
    """Law: units to use on a climb are the same whatever other climbs are asked for."""
    terrain, train = hill(), trial_trains()["a"]
    climbs = [Climb(kind="sustained_grade", start=a, end=b) for a, b in ((6000.0, 7500.0), (9000.0, 12_000.0))]
    for climb, found in zip(climbs, units_on_climbs(terrain, train, climbs), strict=True):
        assert found == units_to_use(terrain, train, climb)


@pytest.mark.parametrize("name", ["a", "b", "e"])
def test_the_most_the_head_may_pull_with(name: str):
    """Law: with just that effort ahead, power elsewhere all in use, the worst coupler behind the head bears the
    limit."""
    train = trial_trains()[name]
    (climb,) = climbs_of(hill(), train)
    found = units_to_use(hill(), train, climb)
    effort = vehicle_efforts(train, 0.0)
    head = int(train.counts[0])
    effort[:head] *= found.head_limit / effort[:head].sum()
    force = coupler_forces(
        *(hill(), vehicles_of(train), vehicle_starts(train), effort, climb.heads), curves=CURVE_START_FACTOR, full=True
    ).force
    assert force[:, head - 1 :].max() == pytest.approx(train.limits.draft)


def places(train: Train, units: int | None = None, terrain: Terrain = PLAIN) -> RemotePlaces:
    found = remote_places(terrain, train, climbs_of(terrain, train), units=units)
    assert found
    return found


@pytest.mark.parametrize(
    ("name", "units", "smoothest", "no_buff", "buff_at_rear"),
    [("a", None, 0.77, 0.60, 149), ("c", None, 0.83, 0.75, 61), ("e", 1, 0.5, None, None),
     ("e, empties ahead", 1, 0.88, None, None)],
)  # fmt: skip
def test_places_of_the_trial(
    name: str, units: int | None, smoothest: float, no_buff: float | None, buff_at_rear: float | None
):
    """Worked: handling trial, share of the cars ahead of the remote where the root mean square is least (the minimum
    is flat: 0.06), to where there is no buff ahead of it, and the buff with it at the rear end, kips."""
    found = places(trial_trains()[name], units)
    assert found.smoothest.back == pytest.approx(smoothest, abs=0.065)
    if no_buff and buff_at_rear:
        assert max(s.back for s in found.standings if s.buff < KIP) == pytest.approx(no_buff, abs=0.02)
        assert found.standings[-1].buff / KIP == pytest.approx(buff_at_rear, abs=1)
        assert found.now == found.standings[-1]
        assert found.best.back == pytest.approx(no_buff, abs=0.02)
        assert found.gain.buff / KIP == pytest.approx(buff_at_rear, abs=1)


@pytest.mark.parametrize(
    ("name", "units", "first"), [("a", None, 0.42), ("c", None, 0.25), ("e, empties ahead", 1, 0.62)]
)
def test_the_peak_hardly_depends_on_the_place(name: str, units: int | None, first: float):
    """Worked: handling trial: the largest draft is the same from 0.42, 0.25 and 0.62 of the cars ahead to the rear."""
    found = places(trial_trains()[name], units)
    least = min(s.draft for s in found.standings)
    assert min(s.back for s in found.standings if s.draft < least + KIP) == pytest.approx(first, abs=0.03)
    assert found.standings[-1].draft < least + KIP


@given(st.integers(1, 4), st.integers(1, 4), st.floats(0.004, 0.02))
@settings(max_examples=20, deadline=None)
def test_the_smoothest_place_in_a_uniform_train(head: int, remote: int, grade: float):
    """Law: with a share s of the effort at the head, in a train of like cars on one grade the force falls evenly from
    s to 0 at s and goes on; the root mean square is least with (1 + s)/2 of the train ahead of the remote."""
    unit = replace(UNIT, mass=stated(1, "kg"), tare=stated(1, "kg"), length=stated(1, "m"))
    assert unit.traction
    unit = replace(unit, traction=replace(unit.traction, adhesion=stated(1e6)))
    train = train_of((head, unit), (80, ORE), (remote, unit))
    found = places(train, terrain=slope(grade))
    share = head / (head + remote)
    if max(s.draft for s in found.standings) == 0:
        return
    assert found.smoothest.back == pytest.approx((1 + share) / 2, abs=0.02)
    assert max(s.back for s in found.standings if s.buff < KIP) == pytest.approx(share, abs=0.03)


def test_splitting_the_power_of_the_head():
    """Law: where there is no remote group, units of the head group may be tried: two of five behind save the draft that
    three and two have less, and nothing is gained where nothing moves."""
    ahead = places(trial_trains()["b"], 2)
    assert ahead.now.cars_ahead == 0
    assert ahead.standings[-1].draft == pytest.approx(places(trial_trains()["a"]).now.draft)
    assert ahead.gain.excess == pytest.approx(ahead.now.excess)  # all of it
    assert remote_places(PLAIN, trial_trains()["b"], climbs_of(PLAIN, trial_trains()["b"])) is None


def test_a_light_group_beside_loads_and_empties():
    """Law: every place between cars is tried, beside other groups too; each is another order of the same train."""
    train = train_of((2, UNIT), (20, GRAIN), (1, UNIT), (10, EMPTY), (1, UNIT))
    found = places(train, terrain=slope(0.01))
    assert [s.cars_ahead for s in found.standings] == list(range(31))
    assert found.now.cars_ahead == 30
    moved = remote_places(slope(0.01), train, climbs_of(slope(0.01), train), group=1)
    assert moved
    assert moved.now.cars_ahead == 20
    assert moved.now.draft == pytest.approx(found.now.draft)


def test_climbs_of_a_direction():
    """Law: the ruling climb of the train, then the sustained grades as travelled."""
    train = trial_trains()["a"]
    rise = {"kind": "sustained_grade", "value": 1.0, "unit": "%", "at": 10_000.0}
    items = (
        Landmark(direction="with", start=5000, end=18_000, **rise),
        Landmark(direction="against", start=20_000, end=40_000, **rise),
    )
    there = climbs_of(hill(), train, Landmarks(items, (), ()))
    assert [c.kind for c in there] == ["ruling", "sustained_grade"]
    assert (there[1].start, there[1].end) == (5000, 18_000)
    assert there[0].end - there[0].start == pytest.approx(train.length)
    turned = Terrain(hill().way, hill().elevation[::-1], hill().curve_rise[-1] - hill().curve_rise[::-1], "against")
    back = climbs_of(turned, train, Landmarks(items, (), ()))
    assert (back[1].start, back[1].end) == (20_000, 40_000)
    assert back[0].heads.size == 1
    assert back[1].heads[0] == 20_000
