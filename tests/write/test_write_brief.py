"""The tables of a briefing."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from profiler.briefing.plan import Briefing, plan_handling
from profiler.errors import OutputError
from profiler.mark import MARK_KINDS, SLACK_KINDS
from profiler.results import write_briefings
from profiler.route import Station
from profiler.write.briefing import write_briefing_tables
from profiler.write.outputs import BRIEFING_FILES
from tests.briefed import briefed
from tests.invented import invented_landmarks, invented_profile
from tests.trains import A

MARKS = (
    "case,number,kind,post,earliest_m,recommended_m,latest_m,quarter_m,half_m,three_quarter_m,clear_m,value,unit,"
    "probability,reason"
)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Folders of the train with all units in front, by direction."""
    folders = {}
    for direction in ("with", "against"):
        folders[direction] = tmp_path_factory.mktemp(direction)
        write_briefing_tables(briefed("b", direction), folders[direction])
    return folders


def table(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / f"{name}.csv")


def test_marks_have_the_columns_of_the_design(written: dict[str, Path]):
    """Published: columns of marks.csv as README and design state them; numbers count in order of travel."""
    for direction, folder in written.items():
        assert (folder / "marks.csv").read_text(encoding="utf-8").splitlines()[0] == MARKS
        marks, sign = table(folder, "marks"), 1 if direction == "with" else -1
        slack = marks.kind.isin(SLACK_KINDS)
        assert marks.number[slack].isna().all()
        assert marks.number[~slack].tolist() == list(range(1, int((~slack).sum()) + 1))
        assert (np.diff(sign * marks.earliest_m) >= 0).all()
        assert (sign * (marks.latest_m - marks.earliest_m) >= 0).all()
        assert {"straddle", "do_not_stop", "start_hard", "power_off", "dynamic_brake", "air_step"} <= set(marks.kind)
        assert set(marks.kind) <= set(MARK_KINDS)
        units = {"straddle": "%", "start_hard": "kN", "power_off": "km/h", "air_step": "bar", "release": "bar"}
        for kind, unit in units.items():
            assert set(marks[marks.kind == kind].unit) <= {unit}
        assert marks.quarter_m.notna().tolist() == marks.kind.isin(["straddle", "power_off"]).tolist()


def test_rows_under_the_train_add_up(written: dict[str, Path]):
    """Law: required effort is grade, curves and resistance together; grade is as travelled; heads are 100 m apart."""
    for direction, folder in written.items():
        rows, sign = table(folder, "under_train"), 1 if direction == "with" else -1
        summed = rows.grade_kn + rows.curve_kn + rows.resistance_kn
        assert rows.required_kn.to_numpy() == pytest.approx(summed.to_numpy(), abs=0.16)
        weight = briefed("b", direction).train.mass * 9.80665 / 1000
        assert rows.grade_kn.to_numpy() == pytest.approx(rows.grade_under_train_pct.to_numpy() / 100 * weight, abs=0.2)
        steps = sign * np.diff(rows.head_m)
        assert steps.min() > 0
        assert steps.max() < 100.2
        assert rows.head_m.iloc[0] == (0 if direction == "with" else 50_000)


def test_the_largest_draft_stands_in_the_table(written: dict[str, Path]):
    """Law: the largest draft under way that is told has a row of its own, with the vehicle it is behind."""
    briefing = briefed("b")
    rows = table(written["with"], "under_train")
    most = briefing.running.pull.needed.draft.max()
    row = rows.loc[rows.draft_kn.idxmax()]
    assert row.draft_kn == pytest.approx(most / 1000, abs=0.06)
    assert row.draft_behind_vehicle == 5  # behind the last unit of the group, every car hangs on it


def test_starting_tells_margin_and_reason(written: dict[str, Path]):
    """Law: needed and margin make up what is available; no start where there is no margin or the draft is over."""
    rows = table(written["with"], "starting")
    assert rows.available_kn.to_numpy() == pytest.approx((rows.required_kn + rows.margin_kn).to_numpy(), abs=0.16)
    assert ((rows.starts == "yes") == ((rows.margin_kn >= 0) & (rows.over_limit_kn == 0))).all()
    assert set(rows.kind) == {"station", "stop", "climb", "astride"}
    assert rows[rows.kind == "stop"].place.tolist() == ["post 51"]
    assert rows[rows.kind == "station"].place.tolist() == ["Farrow", "Ombersley Gap", "Thistle Quay"]
    assert rows[rows.kind != "astride"].start_probability.between(0, 1).all()
    sequence = table(written["with"], "starting_sequence")
    assert {"stop", "climb"} == set(sequence.kind)
    assert (sequence.groupby("head_m").time_s.diff().dropna() >= 0).all()


def test_every_column_is_described(written: dict[str, Path]):
    """Law: datapackage.json names every table and column that is there, and no other."""
    for folder in written.values():
        package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
        described = {r["path"]: [f["name"] for f in r["schema"]["fields"]] for r in package["resources"]}
        assert set(described) == {path.name for path in folder.glob("*.csv")}
        for name, columns in described.items():
            assert (folder / name).read_text(encoding="utf-8").splitlines()[0].split(",") == columns
        assert set(described) | {"datapackage.json"} <= set(BRIEFING_FILES)


def test_same_bytes_and_nothing_left_over(tmp_path: Path):
    """Law: the same briefings give the same bytes; files of an earlier one go, others stay."""
    plans = {"ore": [briefed("a"), briefed("a", "against")]}
    for name in ("one", "two"):
        place = tmp_path / name / "ore" / "with"
        place.mkdir(parents=True)
        (place / "helpers.csv").write_text("of yesterday")
        (place / "notes.txt").write_text("mine")
        write_briefings(plans, tmp_path / name, pictures=False)
        assert not (place / "helpers.csv").exists()
        assert (place / "notes.txt").read_text() == "mine"
    files = [p.relative_to(tmp_path / "one") for p in (tmp_path / "one").rglob("*") if p.is_file()]
    assert {str(p.parent) for p in files} == {".", "ore/with", "ore/against"}
    for path in files:
        assert (tmp_path / "one" / path).read_bytes() == (tmp_path / "two" / path).read_bytes()


def test_all_or_nothing(tmp_path: Path):
    """Law: if one folder cannot be written none is, and an earlier one is whole; the sentence names the place."""
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "with").write_text("in the way")
    with pytest.raises(OutputError, match="in the way"):
        write_briefings({"a": [briefed("a")], "b": [briefed("b")]}, tmp_path, pictures=False)
    assert [p.name for p in tmp_path.rglob("*")] == ["b", "with"]


def hostile(name: str) -> Briefing:
    profile = invented_profile()
    route = dataclasses.replace(profile.route, stations=(Station(name, 21_000.0),))
    return plan_handling(dataclasses.replace(profile, route=route), invented_landmarks(), A)


def test_names_do_no_harm(tmp_path: Path):
    """Law: a name that begins like a formula, holds commas, quotes and line ends stays one harmless cell."""
    write_briefing_tables(hostile('=HYPERLINK("x"),\n"y"'), tmp_path)
    assert '\'=HYPERLINK("x"),\n"y"' in table(tmp_path, "starting").place.tolist()
