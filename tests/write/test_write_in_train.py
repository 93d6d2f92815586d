"""What couplers feel at marked places, in tables."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from profiler.briefing.sudden import felt_along
from profiler.mechanics.draft_gear import SLACK
from profiler.units import UNITS
from profiler.write.briefing import briefing_tables, write_briefing_tables
from profiler.write.outputs import BRIEFING_FILES
from tests.briefed import briefed, felt_briefed


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The train with all units in front."""
    place = tmp_path_factory.mktemp("felt")
    write_briefing_tables(felt_briefed("b"), place)
    return place


def test_only_where_it_was_asked_for(folder: Path):
    """Law: both tables are written where couplers were followed, and are on the list; a unit on its own has none."""
    assert not {"in_train", "make_up_ranking"} & set(briefing_tables(briefed("b")))
    assert {"in_train.csv", "make_up_ranking.csv"} <= {path.name for path in folder.iterdir()} <= set(BRIEFING_FILES)


def test_steady_forces_stand_beside(folder: Path):
    """Law: rows are those of the briefing, each place and way in three states of wear with its slack in inches; limits
    are the train's, what is over them is told; a place of the plan has what its steady forces are, to a tenth."""
    briefing, rows = felt_briefed("b"), pd.read_csv(folder / "in_train.csv")
    assert rows.wear.tolist() == [*SLACK] * (len(rows) // 3)
    inches = rows.wear.map({wear: float(slack) / UNITS["in"] for wear, slack in SLACK.items()})
    np.testing.assert_allclose(rows.slack_mm / 25.4, inches, atol=0.02)
    assert {"planned", "gentler", "no_pause", "dynamic_at_once", "throttle_at_once", "release_at_once"} == set(rows.way)
    assert (rows.draft_limit_kn == round(float(briefing.train.limits.draft) / 1000, 1)).all()
    assert ((rows.draft_kn > rows.draft_limit_kn) == (rows.over_draft_limit == "yes")).all()
    assert ((rows.buff_kn > rows.buff_limit_kn) == (rows.over_buff_limit == "yes")).all()
    for row, one in zip(rows.itertuples(), briefing.felt, strict=True):
        assert row.steady_buff_kn == pytest.approx(one.buff.force / 1000, abs=0.051)
        assert row.buff_kn == pytest.approx(one.forces.buff.force / 1000, abs=0.051)
        assert row.buff_kn == 0 or row.buff_behind_vehicle == one.forces.buff.vehicle + 1
        assert (row.breaks == "yes") == one.breaks
        assert np.isfinite(row.parted_m) == (one.forces.parted is not None)
    reached = rows[rows.draft_after_s.notna() & rows.parted_m.isna()]
    assert (reached.draft_after_s >= -0.6).all()
    assert rows.step_changes_pct.between(0, 2).all()


def test_where_in_the_train(folder: Path):
    """Law: a row a vehicle, first that with the largest force of all; the largest forces are those of in_train.csv
    with usual slack; handled suddenly the push is larger than as planned; thirds go by length."""
    briefing = felt_briefed("b")
    ranks, rows = (pd.read_csv(folder / f"{name}.csv") for name in ("make_up_ranking", "in_train"))
    assert ranks.vehicle.tolist() == list(range(1, briefing.train.vehicles + 1))
    assert sorted(ranks["rank"]) == ranks.vehicle.tolist()
    usual = rows[(rows.wear == "usual") & rows.buff_after_s.notna()]
    pushed = usual[usual.way != "planned"]
    assert ranks.sudden_buff_kn.max() == pytest.approx(pushed.buff_kn.max(), abs=0.11)
    behind = pushed.loc[pushed.buff_kn.idxmax()].buff_behind_vehicle
    first = ranks.set_index("rank").loc[1]
    assert first.vehicle in (behind, behind + 1)
    assert ranks.sudden_buff_kn.max() > 1.5 * ranks.planned_buff_kn.max()
    assert (
        ranks.part == pd.cut(ranks.behind_head_share, [0, 1 / 3, 2 / 3, 1], labels=["head", "middle", "rear"])
    ).all()


def test_nothing_is_between_the_ends_of_one_vehicle():
    """Law: a unit on its own has no coupler to feel anything."""
    briefing = briefed("b")
    unit = briefing.train.blocks[0]
    alone = dataclasses.replace(briefing.train, blocks=(dataclasses.replace(unit, count=1),))
    assert felt_along(dataclasses.replace(briefing, train=alone)) == ()
