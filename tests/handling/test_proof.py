"""Plans driven over the draws of their line."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from profiler.handling.descent_plan import DescentPlan
from profiler.handling.proof import prove
from profiler.mechanics.course import drawn_along
from profiler.mechanics.terrain import Terrain
from tests.handling.scenes import Staged, scene_of
from tests.planned import DSM, DTM, NAMES, planned
from tests.trial import ORE, UNIT, crest_of, erring, train_of

LIMIT = 11.2
MOST_LATE, MOST_LATE_REACTING = 0.05, 0.01
"""What may be over the limit by timing, without and with the customary reaction. [-]"""


def on_draws(scene: Staged, line: Terrain) -> Staged:
    """The scene with draws of its line."""
    mine = scene.courses[0]
    drawn = drawn_along(scene.train, erring(line, *DTM), mine)
    return replace(scene, drawn=tuple(one._replace(hold=mine.hold, limit=mine.limit) for one in drawn))


def plans(name: str, errors: tuple[float, float]) -> tuple[DescentPlan, ...]:
    """Of every descent."""
    return planned(name, errors).descents


@pytest.mark.parametrize("errors", [DTM, DSM], ids=["terrain", "surface"])
@pytest.mark.parametrize("name", NAMES)
def test_timing_holds_on_the_draws(name: str, errors: tuple[float, float]):
    """Law: begun where recommended no more than 5 % of the draws pass the limit by timing, 1 % with the customary
    reaction; on the estimate none is passed, and the train does not come to a stand."""
    for plan in plans(name, errors):
        proof = plan.proof
        assert proof.over <= 0
        assert proof.least > 1
        assert proof.late <= MOST_LATE
        assert proof.late_reacting <= MOST_LATE_REACTING
        assert 0 <= proof.level <= 1
        assert proof.stalled <= proof.stalled_reacting


@pytest.mark.parametrize("name", NAMES)
def test_the_brake_planned_is_enough_on_a_terrain_model(name: str):
    """Law: on draws that err by 0.4 m the level of the brake fails in hardly any, and no train stalls."""
    for plan in plans(name, DTM):
        assert plan.proof.level <= 0.05
        assert plan.proof.stalled <= 0.05


def test_later_than_recommended_more_draws_pass_the_limit():
    """Law: the later power goes off, the more draws pass the limit: none well before the recommended place, all of them
    well past the latest, and by timing, since an earlier start would have held them."""
    line = crest_of(0.006, 0.012)
    scene = scene_of(train_of((3, UNIT), (60, ORE), (1, UNIT)), line, LIMIT, ())
    window = scene.power_off()
    scene = on_draws(scene, line)
    shares = []
    for place in (window.recommended - 150, window.latest, window.latest + 150):
        proof = prove(scene, place, window, ())
        shares.append(proof.late)
        assert proof.level == 0
    assert shares == sorted(shares)
    assert shares[0] == 0
    assert 0.1 < shares[1] < 0.9
    assert shares[2] == 1


def test_a_level_too_low_is_no_matter_of_timing():
    """Law: where no earlier start would hold the train it is the level of the brake that fails, not its timing."""
    line = crest_of(0.01, 0.025)
    scene = scene_of(train_of((3, UNIT), (84, ORE), (2, UNIT)), line, LIMIT, ())  # no air is set
    window = scene.power_off()
    scene = on_draws(scene, line)
    proof = prove(scene, window.recommended, window, ())
    assert window.empty
    assert math.isnan(window.latest)
    assert proof.over > 0
    assert proof.level == 1
    assert proof.late == proof.late_reacting == 0


def test_without_draws():
    """Law: shares of no draws are not numbers; the estimate is driven all the same."""
    proof = planned("a", None).descents[0].proof
    assert proof.over < 0 < proof.least
    assert all(math.isnan(x) for x in (proof.late, proof.late_reacting, proof.level, proof.stalled))


def test_the_reaction_helps():
    """Worked: handling trial 7: nobody reacting, more draws pass the limit than with the customary reaction."""
    line = crest_of(0.006, 0.012)
    scene = scene_of(train_of((3, UNIT), (60, ORE), (1, UNIT)), line, LIMIT, ())
    window = scene.power_off()
    scene = on_draws(scene, line)
    proof = prove(scene, window.latest, window, ())
    assert proof.late_reacting < proof.late
