"""Where a start is hardest, where a train had better not be stopped, and what would help."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from profiler.handling.relief import Relief, reliefs, reliefs_at
from profiler.handling.start_marks import do_not_stop, numbered, start_hard, worst_places
from profiler.handling.starting import Starting, starting
from profiler.mechanics.places import Climb, climbs_of
from profiler.mechanics.terrain import Terrain, terrain_of
from profiler.train import Train
from profiler.units import KIP
from tests.invented import invented_profile
from tests.mechanics.test_under_train import slope
from tests.trains import TRIAL, A, B, D, E, F


def two_climbs(steep: float, direction: str = "with") -> Terrain:
    """+0.9 % for 6 km, -1 % for 4 km, then steeper for 6 km, and down; 24 km."""
    way = np.arange(0.0, 24_005.0, 10.0)
    grade = np.select([way < 6000, way < 10_000, way < 16_000], [0.009, -0.01, steep], -0.01)
    z = np.r_[0.0, np.cumsum(10 * grade[:-1])]
    return Terrain(way, z if direction == "with" else z[::-1], 0 * way, direction)


CLIMBS = (
    Climb(kind="sustained_grade", start=0.0, end=6000.0),
    Climb(kind="sustained_grade", start=10_000.0, end=16_000.0),
)


def test_the_worst_place_of_each_climb():
    """Law: where the train first lies on the grade whole; the ruling climb shares its place with the second."""
    terrain = two_climbs(0.013)
    found = starting(E, terrain)
    ruling = climbs_of(terrain, E)
    worst = worst_places(found, (*CLIMBS, *ruling), E)
    assert len(worst) == 2
    assert found.head[worst[1]] == pytest.approx(10_000 + E.length, abs=10)
    marks = start_hard(found, terrain, worst)
    assert marks[1].value == pytest.approx(found.margin[10_000 // 10 : 1600].min())
    for mark in marks:
        assert mark.earliest <= mark.recommended <= mark.latest
        assert mark.figure("need") <= mark.figure("available")


def test_sure_enough_to_stop_anywhere():
    """Law: (d) has power to spare and no coupler near its caution: there is no stretch to keep off."""
    assert do_not_stop(starting(D, two_climbs(0.013)), two_climbs(0.013), D) == ()


def test_the_knuckle_forbids():
    """Worked: 250 kip haul (b) on a little over 0.8 %, so neither climb will do: two stretches, the knuckle at both."""
    terrain = two_climbs(0.013)
    marks = do_not_stop(starting(B, terrain, acceleration=0.0), terrain, B)
    assert [m.reason for m in marks] == ["knuckle", "knuckle"]
    assert marks[1].figure("draft") / KIP == pytest.approx(372, abs=1)
    assert marks[1].figure("draft_behind") == 5  # behind the fifth unit
    assert marks[1].value > 0  # force there is


def test_a_caution_is_told():
    """Worked: (a) puts 223 to 239 kip on a coupler on 1.3 %: above 200, below 250; nothing on 0.9 %."""
    terrain = two_climbs(0.013)
    (mark,) = do_not_stop(starting(A, terrain), terrain, A)
    assert (mark.reason, mark.probability) == ("draft_caution", 1.0)
    assert 10_000 < mark.earliest < mark.latest < 17_200


def test_adhesion_forbids():
    """Worked: (f) pulls with 506 kN at μ 0.30: enough for 972 t on 49.7 ‰, less than 5.5 %."""
    terrain = two_climbs(0.055)
    (mark,) = do_not_stop(starting(F, terrain), terrain, F)
    assert mark.reason == "adhesion"
    assert mark.value < 0
    assert mark.figure("notch") == -1


@pytest.mark.parametrize("tilt", [0.0, 0.004])
def test_what_the_draws_leave(tilt: float):
    """Law: it starts on the estimate, but if a fifth of the draws are too steep it had better not stop there."""
    terrain = slope(0.046)
    tilts = np.where(np.arange(100) % 5 == 0, tilt, 0.0)
    found = starting(F, terrain, terrain.elevation + tilts[:, None] * terrain.way)
    marks = do_not_stop(found, terrain, F)
    assert [(m.reason, m.probability) for m in marks] == ([("uncertain", pytest.approx(0.2))] if tilt else [])


def flickering(*shares: tuple[int, float]) -> Starting:
    """(f) on a grade where it starts anywhere on the estimate, in all draws but for stretches of 10 m positions."""
    found = starting(F, slope(0.04))
    drawn = np.concatenate([np.full(count, share) for count, share in shares])
    probability = np.r_[drawn, np.ones(found.head.size - drawn.size)]
    return dataclasses.replace(found, probability=probability)


def stretches(found: Starting, train: Train = F) -> list[tuple[float, float]]:
    return [(m.earliest, m.latest) for m in do_not_stop(found, slope(0.04), train)]


def test_stretches_near_each_other_are_one():
    """Law: nearer than half the train, or 200 m, they are one, farther apart two; none of a stretch is lost."""
    apart, near = ([(100, 1.0), (30, 0.8), (gap, 1.0), (30, 0.8)] for gap in (60, 15))
    assert stretches(flickering(*near)) == [(1000.0, 1740.0)]
    assert stretches(flickering(*apart)) == [(1000.0, 1290.0), (1900.0, 2190.0)]
    longer = dataclasses.replace(F, blocks=(F.blocks[0], dataclasses.replace(F.blocks[1], count=120)))
    assert longer.length / 2 > 620
    assert stretches(flickering(*apart), longer) == [(1000.0, 2190.0)]


def test_slivers_on_which_nobody_can_act():
    """Law: shares that flicker about 95 % for less than 200 m are not told; longer, clearly lower or falling short on
    the estimate they are, and just 95 of 100 draws are enough."""
    edge = [(100, 1.0), (1, 0.94), (30, 1.0), (1, 0.93), (80, 1.0)]
    assert stretches(flickering(*edge)) == []
    assert stretches(flickering((100, 1.0), (500, 0.95))) == []
    assert stretches(flickering((100, 1.0), (21, 0.94))) == [(1000.0, 1200.0)]
    assert stretches(flickering((100, 1.0), (3, 0.89))) == [(1000.0, 1020.0)]
    short = flickering((100, 1.0), (1, 0.94))
    cut = dataclasses.replace(short, curve=np.where(short.head == 1000.0, short.available, short.curve))
    assert not cut.starts[100]
    assert stretches(cut) == [(1000.0, 1000.0)]


def test_an_unsure_stretch_stands_for_its_least_share():
    """Law: where it starts all along, the one place told is that where the fewest draws do."""
    (mark,) = do_not_stop(flickering((100, 1.0), (40, 0.9), (1, 0.4), (40, 0.9)), slope(0.04), F)
    assert (mark.recommended, mark.reason, mark.figure("share_starting")) == (1400.0, "uncertain", 0.4)


def test_against_chainage():
    """Law: the line turned about has the same marks, their places the route's own and falling."""
    profile = invented_profile()
    train = dataclasses.replace(B, rail="poor")
    for direction, sign in (("with", 1), ("against", -1)):
        terrain = terrain_of(profile, direction)
        found = starting(train, terrain)
        marks = numbered(
            (
                *start_hard(found, terrain, worst_places(found, climbs_of(terrain, train), train)),
                *do_not_stop(found, terrain, train),
            ),
            terrain,
        )
        assert marks
        for mark in marks:
            assert mark.direction == direction
            assert sign * (mark.latest - mark.recommended) >= 0
            assert sign * (mark.recommended - mark.earliest) >= 0
            assert profile.chainage[0] <= min(mark.earliest, mark.latest)
            i = int(np.argmin(np.abs(terrain.chainage(found.head) - mark.recommended)))
            assert mark.value == pytest.approx(found.margin[i])


def by_kind(name: str, **changes) -> dict[str, Relief]:
    return {r.kind: r for r in reliefs(dataclasses.replace(TRIAL[name], **changes), slope(0.013), 6000.0)}


def test_what_would_help_the_train_with_all_its_power_in_front():
    """Worked: handling trial: the same power as 3 + 2 starts (b); 250 kip haul 9,090 short tons on 1.3 %, 56 cars
    behind five units, less what a small acceleration takes."""
    found = by_kind("b")
    assert set(found) == {"rear_power", "doubling"}
    assert (found["rear_power"].count, found["rear_power"].starts) == (2, True)
    same = starting(A, slope(0.013), head=np.array([6000.0]))
    assert found["rear_power"].draft == pytest.approx(same.draft[0])
    assert 50 <= found["doubling"].count <= 56
    assert found["doubling"].starts


def test_fewer_units_save_a_knuckle():
    """Law: where full throttle would pass the limit, the units told start it and keep full throttle within it."""
    found = by_kind("c")["fewer_units"]
    assert found.starts
    assert found.count < TRIAL["c"].groups[0].working
    assert found.draft <= TRIAL["c"].limits.draft
    assert "fewer_units" not in by_kind("d")  # two units on empties: nothing to save


def test_places_tried_at_once():
    """Law: what helps at a place is the same whatever other places are asked for."""
    terrain, places = two_climbs(0.02), [3000.0, 6000.0, 15_000.0, 15_500.0]
    for train in (A, B, dataclasses.replace(F, rail="poor")):
        together = reliefs_at(train, terrain, places)
        assert any(together)
        for place, found in zip(places, together, strict=True):
            alone = reliefs(train, terrain, place)
            assert [(r.kind, r.count, r.starts) for r in found] == [(r.kind, r.count, r.starts) for r in alone]
            for one, other in zip(found, alone, strict=True):
                assert (one.margin, one.draft, one.buff) == pytest.approx((other.margin, other.draft, other.buff))


def test_a_dry_rail():
    """Law: on poor rail a dry one helps as much as its adhesion is better, 0.30 for 0.18; on dry rail it is no help."""
    found = by_kind("a", rail="poor")["dry_rail"]
    dry, poor = (
        starting(dataclasses.replace(A, rail=r), slope(0.013), head=np.array([6000.0])) for r in ("dry", "poor")
    )
    assert found.margin - poor.margin[0] == pytest.approx(dry.available * (1 - 0.18 / 0.30))
    assert "dry_rail" not in by_kind("a")
