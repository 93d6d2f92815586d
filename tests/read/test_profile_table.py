"""Tables typed from a track chart: what their columns may say, and how a slip of the pen is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from profiler import InputError
from profiler.read.track_chart import read_track_chart
from profiler.units import FOOT, MILE, degree_of_curve

CHART = "chainage_m,elevation_m\n0,100\n500,105\n"
CURVES = "start_m,end_m,degree_of_curve,hand\n100,300,4,left\n"


def written(folder: Path, table: str = CHART, curves: str | None = None) -> tuple[Path, Path | None]:
    (folder / "chart.csv").write_text(table, encoding="utf-8")
    if curves is None:
        return folder / "chart.csv", None
    (folder / "curves.csv").write_text(curves, encoding="utf-8")
    return folder / "chart.csv", folder / "curves.csv"


@pytest.mark.parametrize(
    ("table", "chainage", "elevation"),
    [
        ("chainage_ft,elevation_ft\n0,1000\n5280,1050.5\n", [0, MILE], [1000 * FOOT, 1050.5 * FOOT]),
        ("Chainage_km;Elevation_m\n0;100,5\n1,25;112\n", [0, 1250], [100.5, 112]),
        ("chainage_mi\televation_m\n0\t5\n0.5\t\N{MINUS SIGN}1\n", [0, 0.5 * MILE], [5, -1]),
        ("\ufeff# typed by hand\n\nchainage_m,elevation_m,note\n0,1,\n# half-way\n9,2,here\n", [0, 9], [1, 2]),
        ('chainage_m,note,elevation_m\n0,"a, b",1\n9,,\n', [0, 9], [1, np.nan]),
    ],
)
def test_units_stand_in_the_names(tmp_path: Path, table: str, chainage: list[float], elevation: list[float]):
    """Worked: a foot is 0.3048 m, a mile 5,280 ft; semicolons go with decimal commas; notes are no rows."""
    chart = read_track_chart(*written(tmp_path, table))
    np.testing.assert_allclose(chart.chainage, chainage)
    np.testing.assert_allclose(chart.elevation, elevation)
    assert not chart.by_post
    assert not chart.estimated


def test_rows_by_post_and_by_grade(tmp_path: Path):
    """Worked: 1.25 % and 8 ‰ of a rise; half the last digit of "1.25" is 0.005 %, that of "1" half a percent;
    rows keep the number that a spreadsheet shows."""
    chart = read_track_chart(*written(tmp_path, "post_mi,elevation_ft,grade_pct\n49+2640,704,1.25\n50.45,,1\n51,,\n"))
    assert chart.post == ("49+2640", "50.45", "51")
    assert (chart.post_unit, chart.by_post) == ("mi", True)
    np.testing.assert_allclose(chart.grade, [0.0125, 0.01, np.nan])
    np.testing.assert_allclose(chart.grade_rounding[:2], [5e-5, 5e-3])
    assert [chart.at(i).rpartition(", ")[2] for i in range(3)] == ["row 2", "row 3", "row 4"]
    permille = read_track_chart(*written(tmp_path, "post,elevation_m,grade_permille\n1,5,8\n2,,\n"))
    assert permille.grade[0] == pytest.approx(0.008)
    assert permille.post_unit == ""


def test_our_own_tables(tmp_path: Path):
    """Law: pvis.csv and curves.csv are read as they are: grades to both sides, standard errors, the sign of the degree
    beside the hand, numbers that a spreadsheet must not run."""
    pvis = (
        "chainage_m,chainage_se_m,elevation_m,grade_in_pct,grade_out_pct,curve_length_m,se_m,probability\n"
        "612.4,12.0,253.41,0.3992,1.3003,182.9,0.45,0.912\n1796.0,10.0,270.38,1.3003,-1.5000,426.7,0.30,1.000\n"
    )
    curves = (
        "number,kind,start_m,end_m,spiral_in_m,spiral_out_m,degree_of_curve,degree_se,hand,radius_m,deflection_deg,"
        "start_se_m,end_se_m,spiral_in_se_m,spiral_out_se_m,deflection_se_deg,post\n"
        "'-1A,simple,100.0,400.0,45.7,45.7,-6.000,0.250,right,291.2,-45.1,3.0,4.0,5.0,6.0,0.500,0.155\n"
    )
    chart = read_track_chart(*written(tmp_path, pvis, curves))
    assert chart.estimated
    np.testing.assert_allclose(chart.grade_before, [0.003992, 0.013003])
    np.testing.assert_allclose(chart.grade, [0.013003, -0.015])
    np.testing.assert_allclose(chart.se, [0.45, 0.3])
    np.testing.assert_allclose(chart.probability, [0.912, 1])
    found = chart.curves
    assert found is not None
    assert found.number == ("-1A",)
    assert degree_of_curve(found.curvature)[0] == pytest.approx(-6)
    bounds = degree_of_curve(np.abs(found.curvature) + np.array([1, -1]) * found.curvature_se)
    assert bounds == pytest.approx([6.25, 5.75], abs=1e-4)
    assert found.deflection_se[0] == pytest.approx(np.radians(0.5))
    assert (found.start_se[0], found.end_se[0], found.spiral_in_se[0], found.spiral_out_se[0]) == (3, 4, 5, 6)


@pytest.mark.parametrize(
    ("size", "curvature"),
    [
        ("radius_m,hand\n0,90,250,left", 1 / 250),
        ("radius_ft,hand\n0,90,1000,R", -1 / 304.8),
        ("degree_of_curve,hand\n0,90,1,right", -1 / (5729.65 * FOOT)),
        ("degree_of_curve,radius_m,hand\n0,90,6,291.2,L", 1 / 291.2),
    ],
)
def test_sizes_of_curves(tmp_path: Path, size: str, curvature: float):
    """Published: one degree by the 100-ft chord is a radius of 5,729.65 ft (AREMA, chapter 5)."""
    chart = read_track_chart(*written(tmp_path, curves=f"start_m,end_m,{size}\n"))
    assert chart.curves is not None
    assert chart.curves.curvature[0] == pytest.approx(curvature, rel=1e-4)
    assert chart.curves.curvature_se[0] == 0
    assert chart.curves.number == ("",)


def test_a_line_without_curves(tmp_path: Path):
    """Law: a table of curves with a header alone says that there are none; that is not the same as no table."""
    none = read_track_chart(*written(tmp_path, curves="start_m,end_m,degree_of_curve,hand\n"))
    assert none.curves is not None
    assert none.curves.row.size == 0
    assert read_track_chart(*written(tmp_path)).curves is None


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("chainage_m,elevation\n0,1\n9,2\n", "column elevation names no unit; name it elevation_m or elevation_ft"),
        ("chainage,elevation_m\n0,1\n9,2\n", "column chainage names no unit; name it chainage_m or chainage_ft or"),
        ("chainage_m,elevation_m,grade\n0,1,1\n9,2,\n", "column grade names no unit; name it grade_pct or"),
        ("chainage_m,elevation_m,elevation_ft\n0,1,3\n9,2,6\n", "columns elevation_m and elevation_ft both give the"),
        ("chainage_m,chainage_ft,elevation_m\n0,1,3\n9,2,6\n", "columns chainage_m and chainage_ft both give the"),
        ("chainage_m,elevation_m,elevation_m\n0,1,1\n9,2,2\n", "column elevation_m stands twice; keep one of them"),
        ("chainage_m,elevaton_m\n0,1\n9,2\n", "column 'elevaton_m' is not known; did you mean elevation_m?"),
        ("chainage_m,elevation_m,wibble\n0,1,\n9,2,\n", "column 'wibble' is not known; known here: chainage_ft,"),
        ("chainage_m,elevation_m\n0,1\n", "has 1 row; give two at least, the ends of the line"),
        ("chainage_m,elevation_m\n", "has 0 rows; give two at least"),
        ("", "is empty; give a header and a row for each place"),
        ("elevation_m\n1\n2\n", "says no place; add a column chainage_m"),
        ("chainage_m,elevation_m\n0,1\n,2\n", "row 3: says no place; fill its chainage or its post"),
        ("chainage_m,grade_pct\n0,1\n9,\n", "no column gives elevations; add elevation_m or elevation_ft"),
        ("chainage_m,elevation_m\n0,1\n9,two\n", "row 3: 'two' in column elevation_m is no number; write it like"),
        ("chainage_m,elevation_ft\n0,1\n9,nan\n", "row 3: 'nan' in column elevation_ft is no number"),
        ("chainage_m,elevation_ft\n0,1\n9,5e3\n", "row 3: '5e3' in column elevation_ft is no number"),
        ('chainage_m,elevation_ft\n0,1\n9,"1,035"\n', "row 3: '1,035' in column elevation_ft is no number"),
        ("chainage_m;elevation_m\n0;1\n9;1,035\n", "row 3: '1,035' in column elevation_m can be read in two ways"),
        ("chainage_m,elevation_m\n0,1\n9,2,3\n", "row 3: has 3 cells, the header has 2; leave a cell empty"),
        ("chainage_m,elevation_m\n0,1\n9,1e\n", "is no number"),
        ("chainage_m,elevation_m\n0,1\n9,10350\n", "row 3: elevation_m is 10350; it should lie between -500 and 9000"),
        (
            "chainage_m,elevation_m,grade_pct\n0,1,22\n9,2,\n",
            "row 2: grade_pct is 22; it should lie between -15 and 15",
        ),
        ("chainage_m,elevation_m,curve_length_ft\n0,1,\n5,2,-9\n9,2,\n", "row 3: curve_length_ft is -9, less than 0"),
        ("chainage_m,elevation_m,se_m\n0,1,0\n9,2,1\n", "row 2: se_m is 0, less than 0.001; correct it"),
        ("chainage_m,elevation_m,grade_pct,grade_out_pct\n0,1,1,1\n9,2,,\n", "grade_pct and grade_out_pct both give"),
    ],
)
def test_slips_in_the_table(tmp_path: Path, table: str, said: str):
    """Law: every slip is one sentence with the file, the row where there is one, and what to do."""
    with pytest.raises(InputError) as refused:
        read_track_chart(*written(tmp_path, table))
    words = str(refused.value)
    assert words.startswith(str(tmp_path / "chart.csv"))
    assert said in words


@pytest.mark.parametrize(
    ("curves", "said"),
    [
        ("start_m,end_m,degree_of_curve\n1,90,4\n", "row 2: its curve has no hand; write left or right"),
        ("start_m,end_m,degree_of_curve,hand\n1,90,4,west\n", "row 2: hand 'west' is neither left nor right"),
        ("start_m,end_m,degree_of_curve,hand\n1,90,-4,left\n", "row 2: its degree is negative, to the right, and its"),
        ("start_m,end_m,hand\n1,90,left\n", "row 2: its curve has no size; fill degree_of_curve, radius_m or"),
        ("start_m,end_m,degree_of_curve,hand\n1,90,,left\n", "row 2: its curve has no size"),
        ("start_m,end_m,degree_of_curve,hand\n1,90,0,left\n", "row 2: degree_of_curve is not possible; it should be"),
        ("start_m,end_m,radius_m,hand\n1,90,-250,left\n", "row 2: radius_m is not possible"),
        (
            "start_m,end_m,radius_m,degree_of_curve,hand\n1,90,250,6,left\n",
            "radius_m contradict each other: that radius",
        ),
        (
            "start_m,end_m,radius_m,radius_ft,hand\n1,90,250,,left\n",
            "columns radius_m and radius_ft both give the radius",
        ),
        ("start_m,end_m,degree,hand\n1,90,250,left\n", "column degree names no unit; name it degree_of_curve"),
        ("end_m,radius_m,hand\n90,250,left\n", "row 2: says no start; fill start_m, start_ft or start_post"),
        ("start_m,radius_m,hand\n90,250,left\n", "row 2: says no end; fill end_m, end_ft or end_post"),
        ("start_m,end_m,spiral_in_m,radius_m,hand\n1,90,-5,250,left\n", "row 2: spiral_in_m is -5, less than 0"),
        ("start_m,end_m,spiral_inn_m,radius_m,hand\n1,90,5,250,left\n", "did you mean spiral_in_m?"),
    ],
)
def test_slips_in_the_curves(tmp_path: Path, curves: str, said: str):
    """Law: the same for curves."""
    with pytest.raises(InputError) as refused:
        read_track_chart(*written(tmp_path, curves=curves))
    words = str(refused.value)
    assert words.startswith(str(tmp_path / "curves.csv"))
    assert said in words


def test_files_that_are_none(tmp_path: Path):
    """Law: a missing file, a folder and bytes that are no text are told apart."""
    with pytest.raises(InputError, match="there is no such file"):
        read_track_chart(tmp_path / "chart.csv")
    with pytest.raises(InputError, match="is a folder"):
        read_track_chart(tmp_path)
    (tmp_path / "chart.csv").write_bytes(b"chainage_m,elevation_m\n\xff\xfe\n")
    with pytest.raises(InputError, match="no text in UTF-8"):
        read_track_chart(tmp_path / "chart.csv")
