"""beside.csv and differences.csv: columns, units, places, and that they agree."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import pandas as pd
import pytest

from profiler.comparison.beside import compare_beside
from profiler.profile import reversed_profile
from profiler.write.beside import write_beside_tables
from tests.invented import invented_profile

UNITLESS = {"source", "name", "direction", "towards", "turned", "vertical_datum", "curves_count"}


@pytest.fixture(scope="module")
def tables(tmp_path_factory) -> tuple[pd.DataFrame, pd.DataFrame]:
    folder: Path = tmp_path_factory.mktemp("beside")
    profile = invented_profile()
    other = reversed_profile(profile)
    route = dataclasses.replace(other.route, name="=Lower, by the marsh", curves=other.route.curves[:5])
    write_beside_tables(compare_beside([profile, dataclasses.replace(other, route=route)]), folder)
    for name in ("beside.csv", "differences.csv"):
        data = (folder / name).read_bytes()
        assert b"\r" not in data
        assert data.endswith(b"\n")
    return tuple(pd.read_csv(folder / name) for name in ("beside.csv", "differences.csv"))


def test_a_row_for_source_direction_and_train(tables):
    """Worked: 2 sources × 2 directions × 2 lengths of train are 8 rows, each of its own."""
    beside, _ = tables
    keys = beside[["source", "direction", "train_length_m"]].drop_duplicates()
    assert len(beside) == len(keys) == 8


def test_units_stand_in_the_names_of_columns(tables):
    """Law of the house: every figure's column ends in its unit; places have a post beside them."""
    beside, _ = tables
    for name in set(beside.columns) - UNITLESS:
        assert re.search(r"_(m|pct|deg|post)$", name), name
    for name in beside.columns:
        if name.endswith("_at_m"):
            assert name.removesuffix("_at_m") + "_post" in beside.columns


def test_figures_are_metric_and_in_their_columns(tables):
    """Worked: 50 km, 254.25 m up with and 328.75 m against, an 8 degree curve of R = 50 ft / sin 4° = 218.5 m, nine
    curves against five; the 2,000 m climb of 1.35 % is the ruling grade of either train."""
    beside, _ = tables
    first = beside[(beside.source == "A") & (beside.direction == "with")].iloc[0]
    assert first[["length_m", "rise_m", "fall_m", "curves_count"]].tolist() == [50_000, 254.25, 328.75, 9]
    assert first["smallest_radius_m"] == pytest.approx(218.5, abs=0.1)
    assert first["ruling_grade_pct"] == pytest.approx(1.35)
    assert first["ruling_grade_low_pct"] <= 1.35 <= first["ruling_grade_high_pct"]
    against = beside[(beside.source == "A") & (beside.direction == "against")].iloc[0]
    assert (against["rise_m"], against["towards"]) == (328.75, "Farrow")
    assert beside[beside.source == "B"]["curves_count"].unique().tolist() == [5]


def test_places_are_those_of_the_source_itself(tables):
    """Worked: the first line's summit lies 26,000 m from its start; in the other, which is that line drawn from the
    other end, 24,000 m; the post is the same."""
    beside, _ = tables
    rows = beside.groupby("source").first()
    assert rows["summit_elevation_at_m"].tolist() == [26_000, 24_000]
    assert rows["turned"].tolist() == ["no", "yes"]
    assert rows["summit_elevation_post"].nunique() == 1


def test_a_name_is_harmless_in_a_spreadsheet(tables):
    """Law: a text that begins with "=" is not run as a formula."""
    beside, _ = tables
    assert set(beside["name"]) == {"Farrow to Thistle Quay", "'=Lower, by the marsh"}


def test_differences_are_those_of_the_figures(tables):
    """Law: every figure named is a column of beside.csv, and the difference is that of its two cells."""
    beside, differences = tables
    assert set(differences["figure"]) <= set(beside.columns)
    assert set(differences["verdict"].dropna()) <= {"clear", "within the uncertainty"}
    for row in differences.itertuples():
        way = "with" if row.direction == "both" else row.direction
        cells = beside[beside.direction == way]
        if row.train_length_m > 0:
            cells = cells[cells.train_length_m == row.train_length_m]
        a, b = (cells[cells.source == letter][row.figure].iloc[0] for letter in ("A", "B"))
        assert row.difference == pytest.approx(b - a, abs=0.011)
        assert (row.value, row.first) == pytest.approx((b, a))
    curves = differences[differences.figure == "curves_count"].iloc[0]
    assert (curves["difference"], curves["verdict"] != curves["verdict"]) == (-4, True)
