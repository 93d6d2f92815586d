"""The tables: columns, order, units and figures of the contract."""

from __future__ import annotations

import csv
import dataclasses
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from profiler.landmark import Landmark, Landmarks, PracticeNote
from profiler.profile import Profile
from profiler.route import Posts
from profiler.units import MILE
from profiler.write.outputs import PROFILE_FILES
from profiler.write.tables import write_tables
from tests.invented import PVI_M, invented_known, invented_landmarks, invented_profile, seen_profile

COLUMNS = {
    "profile.csv": "chainage_m, post, longitude, latitude, ground_m, elevation_m, elevation_se_m, grade_pct, "
    "grade_se_pct, degree_of_curve, structure, ground_source, structure_probability, ground_weight, "
    "compensated_grade_with_pct, compensated_grade_against_pct",
    "landmarks.csv": "kind, direction, train_length_m, start_m, end_m, at_m, post, value, low, high, unit, "
    "probability, note",
    "grades.csv": "start_m, end_m, post, grade_pct, grade_se_pct, rise_m",
    "curves.csv": "number, kind, start_m, end_m, spiral_in_m, spiral_out_m, degree_of_curve, degree_se, hand, "
    "radius_m, deflection_deg, start_se_m, end_se_m, spiral_in_se_m, spiral_out_se_m, deflection_se_deg, post",
    "alignment.csv": "element, start_m, end_m, post, length_m, degree_start, degree_end, radius_start_m, "
    "radius_end_m, curve",
    "straddles.csv": "landmark, kind, direction, train_length_m, head_m, quarter_m, half_m, three_quarter_m, clear_m",
    "practice.csv": "kind, of, start_m, end_m, post, value, value_se, practice, unit, speed_kmh, source, train_class",
    "posts.csv": "post, chainage_m, kind, residual_m, unit_length_m, longitude, latitude",
}
PVI_COLUMNS = "chainage_m, chainage_se_m, elevation_m, grade_in_pct, grade_out_pct, curve_length_m, se_m, probability"


KNOWN_COLUMNS = (
    "post, chainage_m, place, known_m, se_m, fitted_m, residual_m, residual_se_m, standard_errors, used, note"
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    place = tmp_path_factory.mktemp("tables")
    write_tables(invented_profile(), invented_landmarks(), place)
    return place


def table(folder: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(folder / name, keep_default_na=False, na_values={})


@pytest.mark.parametrize("name", COLUMNS)
def test_columns_of_the_contract(folder: Path, name: str):
    """Law of the house: exactly these columns in this order; lines end with one \\n, no byte-order mark."""
    data = (folder / name).read_bytes()
    assert data.partition(b"\n")[0].decode() == COLUMNS[name].replace(", ", ",")
    assert b"\r" not in data
    assert data.endswith(b"\n")
    assert not data.endswith(b"\n\n")


def test_files_written_are_on_the_list(folder: Path):
    """Law: a result that is not on the list would outlive the next run; no table claims PVIs that none can see."""
    assert {p.name for p in folder.iterdir()} == {*COLUMNS, "datapackage.json"} <= set(PROFILE_FILES)


def test_a_station_by_hand(folder: Path):
    """Worked: at 6,000 m 115 + 6000·0.25 % = 130 m, then 0.85 %; post 38 + 6000/1609.344 = 41.728."""
    rows = table(folder, "profile.csv").set_index("chainage_m")
    row = rows.loc[6000.0]
    assert (row.elevation_m, row.grade_pct, row.post) == (130.0, 0.85, 41.728)
    assert (row.structure, row.structure_probability, row.ground_source) == ("", 0, "invented ground")
    assert rows.loc[21000.0, "structure"] == "tunnel"
    assert rows.loc[29400.0, "structure"] == "bridge"
    assert rows.loc[29400.0, "ground_source"] == ""
    assert rows.loc[15000.0, "degree_of_curve"] == 5.0
    assert rows.loc[18500.0, "degree_of_curve"] == -4.0
    bent = rows.loc[18500.0]  # 1.35 % and 4° at 0.04 %
    assert (bent.compensated_grade_with_pct, bent.compensated_grade_against_pct) == (1.51, -1.19)


def test_figures_within_half_a_digit():
    """Law: what is read back differs from what was known by half of the last digit at most."""
    profile = invented_profile()
    rows = written(profile, "profile.csv")
    for column, values, digit in [
        ("chainage_m", profile.chainage, 0.1),
        ("longitude", profile.route.longitude, 1e-7),
        ("latitude", profile.route.latitude, 1e-7),
        ("ground_m", profile.ground, 0.01),
        ("elevation_m", profile.elevation, 0.01),
        ("elevation_se_m", profile.elevation_se, 0.01),
        ("grade_pct", profile.grade * 100, 1e-4),
        ("grade_se_pct", profile.grade_se * 100, 1e-4),
        ("degree_of_curve", profile.degree, 1e-3),
        ("structure_probability", profile.structure_probability, 1e-3),
    ]:
        np.testing.assert_allclose(rows[column].astype(float), values, rtol=0, atol=0.5001 * digit)


def written(profile: Profile, name: str, landmarks: Landmarks | None = None) -> pd.DataFrame:
    with tempfile.TemporaryDirectory() as place:
        write_tables(profile, landmarks or invented_landmarks(), Path(place))
        return table(Path(place), name)


def test_pvis_by_hand():
    """Worked: at 12,000 m 130 + 6000·0.85 % = 181 m; +0.85 % to −0.40 % at 0.1 % per 100 ft takes 1,250 ft = 381 m."""
    rows = written(seen_profile(), "pvis.csv")
    assert list(rows.columns) == PVI_COLUMNS.split(", ")
    assert len(rows) == PVI_M.size - 2
    assert rows.loc[1].tolist() == [12000.0, 15.0, 181.0, 0.85, -0.4, 381.0, 0.3, 1.0]
    assert rows.loc[7, "probability"] == 0.7


def test_data_that_show_pvis_and_have_none(tmp_path: Path):
    """Law: a line of one grade has a table of PVIs without a row."""
    write_tables(dataclasses.replace(seen_profile(), pvis=()), invented_landmarks(), tmp_path)
    assert (tmp_path / "pvis.csv").read_text() == PVI_COLUMNS.replace(", ", ",") + "\n"


def test_known_elevations_by_hand():
    """Worked: 311 m against 305 ± 1 m is 6 standard errors off; 1,000 m would fit as 1,000 ft = 304.8 m.
    Law: posts are the route's own."""
    profile = dataclasses.replace(invented_profile(), known=invented_known())
    rows = written(profile, "known_elevations.csv")
    assert list(rows.columns) == KNOWN_COLUMNS.split(", ")
    assert rows.post.tolist() == pytest.approx(profile.route.posts.at(np.array([5000, 15000, 30000])), abs=6e-4)
    assert rows.loc[0].tolist()[1:] == [5000.0, "post 5.0", 320.0, 0.3, 320.4, -0.4, 0.8, 0.5, "yes", ""]
    assert rows.used.tolist() == ["yes", "no", "no"]
    assert rows.note[1] == (
        "disagrees by 6.0 standard errors and contradicts the one at post 15.1: wrong post, wrong datum or a "
        "typing error?"
    )
    assert rows.note[2] == "disagrees by 773.3 standard errors: would fit in ft"
    assert "known_elevations.csv" in PROFILE_FILES


def test_empty_cells_and_no_negative_nought():
    """Law: no ground gives an empty cell, not "nan"; a grade of -1e-9 reads 0.0000, not -0.0000."""
    profile = invented_profile(step=1000.0)
    ground = profile.ground.copy()
    ground[2] = np.nan
    level = np.full(profile.grade.size, -1e-9)
    rows = written(dataclasses.replace(profile, ground=ground, grade=level), "profile.csv")
    assert rows.ground_m[2] == ""
    assert (rows.grade_pct.astype(str) == "0.0").all()


def test_landmarks_by_hand(folder: Path):
    """Worked: the ruling grade of the made-up line, at post 38 + 16000/1609.344 = 47.942."""
    with (folder / "landmarks.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    ruling = rows[3]
    assert (ruling["kind"], ruling["train_length_m"], ruling["post"]) == ("ruling_grade", "2000.0", "47.942")
    assert (ruling["value"], ruling["low"], ruling["high"], ruling["unit"]) == (
        "1.3500",
        "1.3200",
        "1.3800",
        "%",
    )
    crest = rows[1]
    assert (crest["value"], crest["low"], crest["unit"], crest["probability"]) == ("6.00", "", "m", "0.830")
    assert rows[-1]["value"] == "-8.000"


def test_straddle_points_at_its_landmark(folder: Path):
    """Law: `landmark` is the row of landmarks.csv, from 1, and that row is the thing astride."""
    straddle = table(folder, "straddles.csv").iloc[0]
    landmark = table(folder, "landmarks.csv").iloc[straddle.landmark - 1]
    assert (landmark.kind, landmark.at_m) == (straddle.kind, straddle.head_m) == ("crest", 26000.0)


def test_curve_by_hand(folder: Path):
    """Worked: 6° left has R 15.24/sin 3° = 291.196 m, turns (600 − 90)/291.196 rad = 100.348°; standard error
    2e-5 · 2·15.24/cos 3° rad = 0.035°."""
    curve = table(folder, "curves.csv").iloc[6]
    assert (curve.number, curve.hand, curve.degree_of_curve, curve.radius_m) == ("46A", "left", 6.0, 291.2)
    assert curve.deflection_deg == pytest.approx(100.348, abs=0.001)
    assert curve.degree_se == 0.035


def test_practice_by_hand():
    """Worked: 36 km/h is 10 m/s; the middle of 27.7 and 28.3 km stands at post 38 + 28000/1609.344 = 55.398.
    Law: without a speed its cell is empty."""
    curve = {"of": "curve 55A", "start": 27_700, "end": 28_300}
    notes = (
        PracticeNote(
            kind="tight_curve", value=16.24, value_se=0.35, practice=15, unit="degree", source="rule", **curve
        ),
        PracticeNote(
            **curve,
            kind="cant",
            value=240.4,
            value_se=3,
            practice=228.6,
            unit="mm",
            speed=10.0,
            train_class="freight",
            source="a, b",
        ),
    )
    rows = written(invented_profile(), "practice.csv", Landmarks((), (), (), notes))
    tight, cant = rows.to_dict("records")
    assert list(tight.values()) == [
        *("tight_curve", "curve 55A", 27_700, 28_300, 55.398, 16.24, 0.35, 15, "degree", "", "rule", "")
    ]
    assert (cant["value"], cant["value_se"], cant["practice"]) == (240, 3, 229)
    assert (float(cant["speed_kmh"]), cant["source"], cant["train_class"]) == (36.0, "a, b", "freight")


def test_rises_add_up(folder: Path):
    """Law: grade times length is the rise, and the rises add up to the difference of the ends."""
    runs = table(folder, "grades.csv")
    np.testing.assert_allclose(runs.rise_m, (runs.end_m - runs.start_m) * runs.grade_pct / 100, atol=0.006)
    rows = table(folder, "profile.csv")
    assert runs.rise_m.sum() == pytest.approx(rows.elevation_m.iloc[-1] - rows.elevation_m.iloc[0], abs=0.05)


def test_text_from_outside_is_harmless():
    """Law: commas, quotes and line ends stay in their cell; formulas get an apostrophe."""
    notes = ["=1+1", "+1", "-1", "@now", "\tx", 'say "a, b"', "two\nlines", "a-b=c", "Žďár"]
    items = tuple(
        Landmark(kind="sag", direction="both", start=0, end=0, at=0, value=1, unit="m", note=note) for note in notes
    )
    profile = dataclasses.replace(invented_profile(step=1000.0), source_names=('=cmd("x"),y.tif',))
    rows = written(profile, "landmarks.csv", Landmarks(items, (), ()))
    assert rows.note.tolist() == ["'=1+1", "'+1", "'-1", "'@now", "'\tx", *notes[5:]]
    sources = written(profile, "profile.csv", Landmarks((), (), ())).ground_source
    assert set(sources) == {'\'=cmd("x"),y.tif', ""}


def test_nothing_found_gives_headers_only():
    """Law: a table without rows is a header."""
    profile = invented_profile(step=1000.0)
    bare = dataclasses.replace(profile, route=dataclasses.replace(profile.route, curves=()))
    for name in ("landmarks.csv", "grades.csv", "straddles.csv", "curves.csv", "practice.csv"):
        rows = written(bare, name, Landmarks((), (), ()))
        assert rows.empty
        assert list(rows.columns) == COLUMNS[name].split(", ")


def test_posts_of_a_falling_line():
    """Worked: posts that fall from 3 to −27 miles keep their plain minus: data, not prose."""
    profile = invented_profile(step=1000.0)
    posts = Posts(np.array([0.0, 30 * MILE]), np.array([3.0, -27.0]), "mi")
    rows = written(dataclasses.replace(profile, route=dataclasses.replace(profile.route, posts=posts)), "profile.csv")
    assert rows.post[0] == 3.0
    assert rows.post[10] == pytest.approx(3 - 10_000 / MILE, abs=0.0005)


def test_same_profile_same_bytes(folder: Path, tmp_path: Path):
    """Law: writing twice gives the same bytes."""
    write_tables(invented_profile(), invented_landmarks(), tmp_path)
    for name in COLUMNS:
        assert (tmp_path / name).read_bytes() == (folder / name).read_bytes()
