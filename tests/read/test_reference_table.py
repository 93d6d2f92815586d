"""Published tables read by their columns: quantities, units, order, and what is refused in one sentence."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from profiler.errors import InputError
from profiler.read.reference_table import read_reference
from profiler.read.table_columns import columns_of
from profiler.reference import Reference
from profiler.units import FOOT, MILE


def read(folder: Path, text: str) -> Reference:
    path = folder / "table.csv"
    path.write_text(text, encoding="utf-8")
    return read_reference(path)


def refusal(folder: Path, text: str) -> str:
    with pytest.raises(InputError) as caught:
        read(folder, text)
    assert str(folder / "table.csv") in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize(
    ("header", "quantity", "unit", "factor"),
    [
        ("position_km", "position", "km", 1000.0),
        ("km", "position", "km", 1000.0),
        ("pk", "position", "km", 1000.0),
        ("pk_km", "position", "km", 1000.0),
        ("Post [mi]", "position", "mi", MILE),
        ("milepost", "position", "mi", MILE),
        ("from_m", "position", "m", 1.0),
        ("chainage_m", "position", "m", 1.0),
        ("station_ft", "position", "ft", FOOT),
        ("to (km)", "to", "km", 1000.0),
        ("published_elevation_m", "elevation", "m", 1.0),
        ("Altitude (ft)", "elevation", "ft", FOOT),
        ("elevation_se_m", "elevation_se", "m", 1.0),
        ("grade_permille", "grade", "permille", 0.001),
        ("Gradient ‰", "grade", "‰", 0.001),
        ("slope per mille", "grade", "permille", 0.001),
        ("grade [mm/m]", "grade", "permille", 0.001),
        ("grade_pct", "grade", "pct", 0.01),
        ("Gradient (%)", "grade", "%", 0.01),
        ("grade_se_pct", "grade_se", "pct", 0.01),
    ],
)
def test_a_name_tells_quantity_and_unit(header: str, quantity: str, unit: str, factor: float):
    """Law: every way of naming a column that is taken, with its unit and what one of it is in SI."""
    others = ["elevation_m"] if quantity == "position" else ["elevation_m", "position_km"]
    found = columns_of([header, *others], Path("table.csv"))[quantity]
    assert (found.unit, found.factor) == (unit, pytest.approx(factor))
    assert found.place == 0


@pytest.mark.parametrize(
    "header", ["ground_m", "compensated_grade_with_pct", "m", "note", "degree_of_curve", "width_m"]
)
def test_other_columns_are_not_read(header: str):
    """Law: what only resembles a quantity is none."""
    found = columns_of([header, "position_km", "elevation_m"], Path("table.csv"))
    assert {column.place for column in found.values()} == {1, 2}


def test_gradients_hold_to_the_next_row(tmp_path: Path):
    """Worked: 12 ‰ from 0 to 0.5 km, −5 ‰ to 1.2 km; the last row has no next one and is left out, and that is said;
    rounding to 1 ‰ is uniform over it: a standard error of 1/√12 ‰."""
    found = read(tmp_path, "# note\nfrom_km;grade_permille\n0;12\n0,5;-5\n1,2;3\n")
    assert found.kind == "gradients"
    assert found.row.tolist() == [3, 4, 5]
    np.testing.assert_allclose(found.start, [0, 500, np.nan])
    np.testing.assert_allclose(found.end, [500, 1200, np.nan])
    np.testing.assert_allclose(found.grade, [0.012, -0.005, np.nan])
    np.testing.assert_allclose(found.grade_se[:2], 0.001 / np.sqrt(12))
    assert any("its last row has no next one" in said for said in found.remarks)
    assert any("±0.5 ‰" in said for said in found.remarks)


def test_rows_by_falling_positions_climb_in_their_order(tmp_path: Path):
    """Worked: listed from km 3 down, +10 ‰ climbs towards lower posts: −10 ‰ with rising ones."""
    found = read(tmp_path, "from_km,to_km,grade_permille\n3,2,10\n2,0.5,-4\n")
    np.testing.assert_allclose(found.start, [500, 2000])
    np.testing.assert_allclose(found.end, [2000, 3000])
    np.testing.assert_allclose(found.grade, [0.004, -0.010])
    assert any("climb in that order" in said for said in found.remarks)


def test_pvis_lie_off_the_rail_of_their_curves(tmp_path: Path):
    """Worked: +1 % to −1 % over a curve of 200 m: the rail passes A·L/8 = 0.5 m under the PVI at 110 m."""
    found = read(tmp_path, "position_m,elevation_m,curve_length_m\n0,100,\n1000,110,200\n2000,100,\n")
    assert found.kind == "pvis"
    np.testing.assert_allclose(found.elevation, [100, 109.5, 100])
    np.testing.assert_allclose(found.elevation_se, 1 / np.sqrt(12))


def test_stations_by_name_and_stated_errors(tmp_path: Path):
    """Worked: names without positions serve; 10 ft are 3.048 m, errors as stated; a row without elevation says none."""
    found = read(tmp_path, "station\televation_ft\tse_ft\nMarram\t10\t1\nTeasel\t\t\nSallow\t20\t2\n")
    assert found.kind == "stations"
    assert found.names == ("Marram", "Sallow")
    assert found.se_stated
    np.testing.assert_allclose(found.elevation, [3.048, 6.096])
    np.testing.assert_allclose(found.elevation_se, [0.3048, 0.6096])
    assert np.isnan(found.position).all()


def test_our_own_profile_is_an_older_one(tmp_path: Path):
    """Law: profile.csv as it is written is read by its chainage: `post` there names no unit."""
    found = read(
        tmp_path,
        "chainage_m,post,longitude,latitude,ground_m,elevation_m,elevation_se_m,grade_pct,grade_se_pct\n"
        "0.0,38.000,-31,-38,1.0,2.00,0.50,0.1,0.05\n10.0,38.006,-31,-38,1.0,2.01,0.50,0.1,0.05\n",
    )
    assert found.kind == "profile"
    assert found.by_chainage
    np.testing.assert_allclose(found.position, [0, 10])
    np.testing.assert_allclose(found.elevation, [2.0, 2.01])
    np.testing.assert_allclose(found.grade_se, 0.0005)


def test_rows_that_say_the_same_twice_count_once(tmp_path: Path):
    """Law: a repeated row is dropped, and that is said."""
    found = read(tmp_path, "position_km,elevation_m\n0,1\n1,2\n1,2\n2,3\n")
    assert found.row.tolist() == [2, 3, 5]
    assert "1 rows that say the same twice count once" in found.remarks


REFUSED = {
    "empty": ("", "is empty"),
    "only a note": ("# nothing\n", "is empty"),
    "only a header": ("position_km,elevation_m\n", "has no rows"),
    "position without a unit": ("position,elevation_m\n1,2\n", "column 'position' names no unit; name it position_m"),
    "post without a unit": ("post,elevation_m\n1,2\n", "column 'post' names no unit; name it position_m"),
    "end without a unit": ("from_km,to,grade_pct\n1,2,3\n", "column 'to' names no unit; name it to_m, to_km"),
    "elevation without a unit": ("km,elevation\n1,2\n", "column 'elevation' names no unit; name it elevation_m"),
    "grade without a unit": ("km,grade\n1,2\n", "column 'grade' names no unit; name it grade_permille or grade_pct"),
    "no place": ("elevation_m,note\n1,2\n", "no column says where its rows are"),
    "nothing to compare": ("position_km,note\n1,2\n", "no column holds elevations or grades"),
    "grades by name": ("station,grade_pct\na,2\n", "its grades have no positions"),
    "no number": ("km,elevation_m\n1,2\n2,n/a\n", "row 3: 'n/a' in column 'elevation_m' is not an elevation"),
    "thousands": (
        "km;elevation_m\n1;1,234\n2;1,300\n",
        "row 2: '1,234' in column 'elevation_m' can be read in two ways",
    ),
    "a post with a plus": ("km,elevation_m\n12+300,5\n", "row 2: '12+300' in column 'km' is not a position"),
    "decimal commas between commas": ("km,elevation_m\n1,2,3\n", "row 2: has 3 cells, the header has 2"),
    "unsorted": ("km,elevation_m\n1,5\n3,6\n2,7\n4,8\n", "row 4: 2 km comes after 3 km; sort the rows by position"),
    "contradicting": (
        "km,elevation_m\n1,5\n2,6\n2,7\n",
        "row 4: stands at 2 km like row 3 and contradicts it (6 against 7); keep one of them",
    ),
    "the same station twice": ("station,elevation_m\na,5\na,6\n", "row 3: names 'a' again, as row 2 does"),
    "overlapping": ("from_km,to_km,grade_pct\n0,2,1\n1,3,2\n", "row 3: overlaps row 2: it begins at 1 km"),
    "no elevation filled": ("km,elevation_m\n1,\n2,\n", "no row has an elevation"),
    "a hole where it lies": ("km,elevation_m\n1,4\n,5\n", "row 3: says no place"),
    "a negative error": ("km,elevation_m,elevation_se_m\n1,4,-1\n2,5,1\n", "row 2: a standard error is below 0"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_bad_tables_get_one_sentence(tmp_path: Path, case: str):
    """Law: each names the file, the row where there is one, and what to do."""
    text, said = REFUSED[case]
    assert said in refusal(tmp_path, text)


def test_files_that_are_no_tables(tmp_path: Path):
    """Law: a missing file and bytes that are no text are said as such."""
    with pytest.raises(InputError, match="there is no such file"):
        read_reference(tmp_path / "none.csv")
    (tmp_path / "bytes.csv").write_bytes(b"km,elevation_m\n\xff\xfe,1\n")
    with pytest.raises(InputError, match="is no text in UTF-8"):
        read_reference(tmp_path / "bytes.csv")
