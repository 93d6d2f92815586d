"""Where a start is hardest, where a train had better not be stopped, and what would help."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from profiler.handling.relief import Relief, reliefs
from profiler.handling.start_marks import do_not_stop, numbered, start_hard, worst_places
from profiler.handling.starting import starting
from profiler.mechanics.places import Climb, climbs_of
from profiler.mechanics.terrain import Terrain, terrain_of
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
    assert do_not_stop(starting(D, two_climbs(0.013)), two_climbs(0.013)) == ()


def test_the_knuckle_forbids():
    """Worked: 250 kip haul (b) on a little over 0.8 %, so neither climb will do: two stretches, the knuckle at both."""
    terrain = two_climbs(0.013)
    marks = do_not_stop(starting(B, terrain, acceleration=0.0), terrain)
    assert [m.reason for m in marks] == ["knuckle", "knuckle"]
    assert marks[1].figure("draft") / KIP == pytest.approx(372, abs=1)
    assert marks[1].figure("draft_behind") == 5  # behind the fifth unit
    assert marks[1].value > 0  # force there is


def test_a_caution_is_told():
    """Worked: (a) puts 223 to 239 kip on a coupler on 1.3 %: above 200, below 250; nothing on 0.9 %."""
    terrain = two_climbs(0.013)
    (mark,) = do_not_stop(starting(A, terrain), terrain)
    assert (mark.reason, mark.probability) == ("draft_caution", 1.0)
    assert 10_000 < mark.earliest < mark.latest < 17_200


def test_adhesion_forbids():
    """Worked: (f) pulls with 506 kN at μ 0.30: enough for 972 t on 49.7 ‰, less than 5.5 %."""
    terrain = two_climbs(0.055)
    (mark,) = do_not_stop(starting(F, terrain), terrain)
    assert mark.reason == "adhesion"
    assert mark.value < 0
    assert mark.figure("notch") == -1


@pytest.mark.parametrize("tilt", [0.0, 0.004])
def test_what_the_draws_leave(tilt: float):
    """Law: it starts on the estimate, but if a fifth of the draws are too steep it had better not stop there."""
    terrain = slope(0.046)
    tilts = np.where(np.arange(100) % 5 == 0, tilt, 0.0)
    found = starting(F, terrain, terrain.elevation + tilts[:, None] * terrain.way)
    marks = do_not_stop(found, terrain)
    assert [(m.reason, m.probability) for m in marks] == ([("uncertain", pytest.approx(0.2))] if tilt else [])


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
                *do_not_stop(found, terrain),
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


def test_a_dry_rail():
    """Law: on poor rail a dry one helps as much as its adhesion is better, 0.30 for 0.18; on dry rail it is no help."""
    found = by_kind("a", rail="poor")["dry_rail"]
    dry, poor = (
        starting(dataclasses.replace(A, rail=r), slope(0.013), head=np.array([6000.0])) for r in ("dry", "poor")
    )
    assert found.margin - poor.margin[0] == pytest.approx(dry.available * (1 - 0.18 / 0.30))
    assert "dry_rail" not in by_kind("a")
