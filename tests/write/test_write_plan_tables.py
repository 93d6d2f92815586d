"""The tables of the plan: curves, the sequence of elements, corners."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from profiler.profile import Profile
from profiler.route import Corner, CurveElement
from profiler.units import MILE, radius_of_degree
from profiler.write.outputs import PROFILE_FILES
from profiler.write.tables import write_tables
from tests.invented import invented_landmarks, invented_profile


def bent(**changes: object) -> Profile:
    profile = invented_profile()
    return dataclasses.replace(profile, route=dataclasses.replace(profile.route, **changes))


def table(profile: Profile, folder: Path, name: str) -> pd.DataFrame:
    write_tables(profile, invented_landmarks(), folder)
    return pd.read_csv(folder / name, keep_default_na=False, na_values={})


def test_a_curve_by_hand(tmp_path: Path):
    """Worked: 8° to the right, 600 m with spirals of 90 m: radius 50/sin 4° ft = 218.5 m, turn
    (600 − 90)/218.5 rad = 133.7°; its middle at 28 km lies at post 38 + 28/1.609344; s.e. as given."""
    profile = bent()
    last = dataclasses.replace(
        profile.route.curves[5],
        number="55C",
        kind="reverse",
        start_se=2.0,
        end_se=3.0,
        spiral_in_se=4.0,
        spiral_out_se=5.0,
        deflection_se=np.radians(0.25),
    )
    rows = table(bent(curves=(last,)), tmp_path, "curves.csv")
    assert len(rows) == 1
    row = rows.loc[0]
    radius = radius_of_degree(8)
    assert row.tolist()[:6] == ["55C", "reverse", 27700.0, 28300.0, 90.0, 90.0]
    assert (row.degree_of_curve, row.hand, row.radius_m) == (-8.0, "right", pytest.approx(radius, abs=0.05))
    assert row.deflection_deg == pytest.approx(-np.degrees(510 / radius), abs=6e-4)
    assert row.tolist()[11:16] == [2.0, 3.0, 4.0, 5.0, 0.25]
    assert row.post == pytest.approx(38 + 28000 / MILE, abs=6e-4)


def test_the_sequence_covers_the_line(tmp_path: Path):
    """Law: from the first to the last station every row begins where the one before ends, and what the rows
    turn is what the curves turn. Worked: nine curves apart are nine arcs, eighteen spirals, ten tangents."""
    profile = bent()
    rows = table(profile, tmp_path, "alignment.csv")
    assert rows.element.value_counts().to_dict() == {"spiral": 18, "tangent": 10, "arc": 9}
    assert rows.start_m.tolist() == [0.0, *rows.end_m[:-1]]
    assert rows.end_m.iloc[-1] == profile.route.chainage[-1]
    assert rows.length_m.sum() == pytest.approx(profile.route.length)
    curvature = [np.sin(np.radians(rows[c]) / 2) / 15.24 for c in ("degree_start", "degree_end")]
    turn = float((sum(curvature) / 2 * rows.length_m).sum())
    assert turn == pytest.approx(sum(c.deflection for c in profile.route.curves), abs=1e-6)


def test_rows_of_a_compound_curve(tmp_path: Path):
    """Worked: radii 500 and 250 m with a shared spiral of 40 m from 14.46 to 14.50 km; a tangent has no radius."""
    arcs = (
        CurveElement("46A.1", "compound", 14100, 14500, 60, 40, 1 / 500, 1e-5),
        CurveElement("46A.2", "compound", 14460, 14900, 40, 50, 1 / 250, 1e-5),
    )
    rows = table(bent(curves=arcs), tmp_path, "alignment.csv")
    assert rows.loc[3, ["element", "start_m", "end_m", "length_m", "curve"]].tolist() == [
        "spiral",
        14460.0,
        14500.0,
        40.0,
        "46A.1/46A.2",
    ]
    assert rows.loc[3, ["radius_start_m", "radius_end_m"]].astype(float).tolist() == [500.0, 250.0]
    assert rows.loc[1, ["radius_start_m", "radius_end_m"]].tolist() == ["", "500.0"]
    assert rows.loc[0, ["element", "degree_start", "radius_start_m", "curve"]].tolist() == ["tangent", 0.0, "", ""]


def test_corners_only_where_there_are_any(tmp_path: Path):
    """Worked: 0.1 rad is 5.73°; a line without corners has no such table, and an earlier one is replaced."""
    rows = table(bent(corners=(Corner(16093.44, 0.1, -0.25),)), tmp_path, "corners.csv")
    assert list(rows.columns) == ["chainage_m", "post", "turn_deg", "step_m"]
    assert rows.loc[0].tolist() == [16093.4, 48.0, 5.73, -0.25]
    (tmp_path / "other").mkdir()
    write_tables(bent(), invented_landmarks(), tmp_path / "other")
    assert not (tmp_path / "other" / "corners.csv").exists()
    assert "corners.csv" in PROFILE_FILES


def test_a_straight_line_has_one_tangent(tmp_path: Path):
    """Law: a table of curves without a row, a sequence of one element."""
    profile = bent(curves=(), curvature=np.zeros(invented_profile().route.chainage.size))
    assert len(table(profile, tmp_path, "curves.csv")) == 0
    assert table(profile, tmp_path, "alignment.csv").element.tolist() == ["tangent"]
