"""The rail of a track chart: parabolas of published examples, and draws that are as unsure as they say."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from profiler import InputError
from profiler.elevation.charted import ChartedRail, chart_polygon, charted_rail, matern_draws
from profiler.read.track_chart import read_track_chart
from profiler.units import FOOT
from profiler.vertical_curve import Pvi


def polygon(folder: Path, table: str, se: float = 0.3) -> tuple[tuple[Pvi, ...], tuple[str, ...]]:
    """Points of a table by chainage."""
    (folder / "chart.csv").write_text(table, encoding="utf-8")
    chart = read_track_chart(folder / "chart.csv")
    return chart_polygon(chart, chart.chainage, se)


def rail(folder: Path, table: str, at: np.ndarray, se: float = 0.3) -> ChartedRail:
    return charted_rail(polygon(folder, table, se)[0], at, draws=100, seed=0)


LANDXML = "chainage_m,elevation_m,curve_length_m\n0,100,\n100,110,80\n200,100,\n"


def test_the_parabola_of_landxml(tmp_path: Path):
    """Published: LandXML 1.2 ProfAlign (S75 of the trade reference, recomputed): PVI 0 100, ParaCurve of 80 at 100 110,
    PVI 200 100 begins at 60, 106, ends at 140, 106 and passes 108 in the middle."""
    found = rail(tmp_path, LANDXML, np.array([0.0, 60, 80, 100, 120, 140, 200]))
    np.testing.assert_allclose(found.elevation, [100, 106, 107.5, 108, 107.5, 106, 100], atol=1e-9)
    np.testing.assert_allclose(found.grade, [0.1, 0.1, 0.05, 0, -0.05, -0.1, -0.1], atol=1e-12)
    assert [(p.chainage, p.elevation, p.curve_length) for p in found.pvis] == [(100, 110, 80)]


def test_a_crest_of_metres(tmp_path: Path):
    """Published: +3 % and −4 % over 2,170 m, PVI at 250 m (course sheet, S19 of the trade reference, 4-A): begins at
    217.45 m, ends at 206.60 m, summit 231.40 m 930 m on; 220.95, 228.75 and 225.69 m at 125, 525 and 1,525 m."""
    table = "chainage_m,elevation_m,curve_length_m\n0,190,\n2000,250,2170\n4000,170,\n"
    begin = 2000 - 1085
    found = rail(tmp_path, table, begin + np.array([0.0, 125, 525, 930, 1525, 2170]))
    np.testing.assert_allclose(found.elevation, [217.45, 220.95, 228.75, 231.40, 225.69, 206.60], atol=5e-3)
    np.testing.assert_allclose(found.grade[[0, 3, 5]], [0.03, 0, -0.04], atol=1e-9)


def test_a_crest_of_feet(tmp_path: Path):
    """Published: a surveyor's crest, PVI 2+50 at 1070.64 ft, +1.34 % and −1.77 %, 500 ft (S20 of the trade reference,
    4-B): 1068.32, 1068.726, 1068.511 and 1067.674 ft at 1+00 to 4+00, 1068.733 at 2+15.43, 1068.696 at the PVI."""
    table = "chainage_ft,elevation_ft,grade_pct,curve_length_ft\n0,,1.34,\n250,1070.64,-1.77,500\n600,,,\n"
    found = rail(tmp_path, table, np.array([100, 200, 215.43, 250, 300, 400.0]) * FOOT)
    expected = [1068.32, 1068.726, 1068.733, 1068.696, 1068.511, 1067.674]
    np.testing.assert_allclose(found.elevation / FOOT, expected, atol=2e-3)


def test_a_crest_of_the_railway(tmp_path: Path):
    """Worked: +1.5 % and −1.0 % over 2,500 ft, PVI 150+00 at 1,000 ft (trade reference, 4-C): 981.25 ft where it
    begins, 992.5 at the summit 152+50, 987.5 where it ends."""
    table = "chainage_ft,elevation_ft,grade_pct,curve_length_ft\n0,775,1.5,\n15000,1000,-1,2500\n20000,950,,\n"
    found = rail(tmp_path, table, np.array([13750, 14000, 15000, 15250, 16250.0]) * FOOT)
    np.testing.assert_allclose(found.elevation / FOOT, [981.25, 984.6875, 992.1875, 992.5, 987.5], atol=1e-6)


def test_grades_fill_in_elevations(tmp_path: Path):
    """Worked: 1 % over 1,000 m and −0.5 % over 400 m from 100 m are 110 and 108 m, as are the same backwards from 108;
    a misclosure of 0.2 m over both, within the tolerance, is shared by length."""
    for first, last in (("100", ""), ("", "108")):
        table = f"chainage_m,elevation_m,grade_pct\n0,{first},1.00\n1000,,-0.50\n1400,{last},\n"
        points, said = polygon(tmp_path, table)
        assert [p.elevation for p in points] == pytest.approx([100, 110, 108])
        assert said == ("chart.csv: no vertical curve is stated, the grade changes at once there",)
    points, _ = polygon(tmp_path, "chainage_m,elevation_m,grade_pct\n0,100,1.00\n1000,,-0.50\n1400,108.2,\n")
    assert [p.elevation for p in points] == pytest.approx([100, 110 + 0.2 * 1000 / 1400, 108.2])


@pytest.mark.parametrize(("rise", "kept"), [(12.6, True), (12.7, False), (-12.5, False)])
def test_grades_against_elevations(tmp_path: Path, rise: float, kept: bool):
    """Worked: 1.2 % over 1,000 m is 12 m; with a standard error of 0.05 m and half of 0.1 % over that way it may be
    0.1 + 0.5 = 0.6 m more."""
    table = f"chainage_m,elevation_m,grade_pct\n0,100,1.2\n1000,{100 + rise},\n"
    if kept:
        assert polygon(tmp_path, table, 0.05)[0][1].elevation == pytest.approx(112.6)
        return
    with pytest.raises(InputError) as refused:
        polygon(tmp_path, table, 0.05)
    said = str(refused.value)
    assert "chart.csv, row 2: its grade ahead, 1.2 %, makes 12.00 m over 1000 m" in said
    assert f"the elevations of rows 2 and 3 {rise:.2f} m" in said
    assert "more than 0.60 m apart; correct one of them" in said


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ("0,100,,\n500,110,,600\n1000,100,,\n", ""),
        ("0,100,,\n500,110,,1001\n1000,100,,\n", "row 3: its vertical curve of 1001.0 m is longer than its tangents"),
        (
            "0,100,,\n300,101,,300\n600,110,,400\n1000,100,,\n",
            "row 4: its vertical curve overlaps that of row 3 by 50.0",
        ),
        ("0,100,,50\n500,110,,\n1000,100,,\n", "row 2: a vertical curve at the end of the line has one tangent only"),
        ("0,100,,\n500,110,,\n1000,100,,9\n", "row 4: a vertical curve at the end of the line has one tangent only"),
        ("0,100,,\n500,,,\n1000,100,,\n", "row 3: its elevation cannot be told; fill it, or the grade ahead in row 2"),
        ("0,,,\n500,100,1,\n1000,,,\n", "row 2: its elevation cannot be told; fill it, or the grade ahead in row 2"),
        ("0,,1,\n500,,1,\n1000,,,\n", "chart.csv: no row gives an elevation; fill one at least"),
    ],
)
def test_what_cannot_be_built(tmp_path: Path, rows: str, said: str):
    """Law: vertical curves fit their tangents and do not overlap, and every elevation can be told; the row is named."""
    table = "chainage_m,elevation_m,grade_pct,curve_length_m\n" + rows
    if not said:
        assert polygon(tmp_path, table)[0][1].curve_length == 600
        return
    with pytest.raises(InputError) as refused:
        polygon(tmp_path, table)
    assert said in str(refused.value)


def test_our_own_points_join_by_straight_lines(tmp_path: Path):
    """Law: where grades at both ends of a stretch differ from the straight line between two seen points, that is said
    and no error; beyond the first and the last point their own grades go on."""
    table = (
        "chainage_m,chainage_se_m,elevation_m,grade_in_pct,grade_out_pct,curve_length_m,se_m,probability\n"
        "500,12,110,1.0,0.2,100,0.4,0.9\n1500,10,118,1.4,-1.0,200,0.3,1.0\n"
    )
    points, said = polygon(tmp_path, table)
    assert said == ("chart.csv: on 1 of its tangents the grades at both ends differ, a straight line joins them",)
    assert [(p.grade_in, p.grade_out) for p in points] == [
        pytest.approx((0.01, 0.008)),
        pytest.approx((0.008, -0.01)),
    ]
    found = charted_rail(points, np.array([0.0, 1000, 2000]), draws=5, seed=0)
    assert found.elevation == pytest.approx([105, 114, 113])
    assert [(p.chainage_se, p.probability, p.elevation_se) for p in found.pvis] == [(12, 0.9, 0.4), (10, 1, 0.3)]


def test_draws_of_a_gaussian_process():
    """Published: covariance (1 + √3·d/ℓ)·exp(−√3·d/ℓ) (Rasmussen and Williams 2006, equation 4.17): 20,000 draws at
    uneven places have it within 5 of their standard errors; the same seed gives the same draws, another others."""
    place = np.array([0.0, 3.0, 400.0, 1000.0, 1001.0, 2500.0])
    drawn = matern_draws(place, 1000.0, 20_000, 0)
    x = np.sqrt(3) * np.abs(place[:, None] - place) / 1000
    expected = (1 + x) * np.exp(-x)
    np.testing.assert_allclose(np.cov(drawn.T), expected, atol=5 * np.sqrt(2 / 20_000))
    np.testing.assert_allclose(drawn.mean(axis=0), 0, atol=5 / np.sqrt(20_000))
    assert (drawn[:, 4] - drawn[:, 3]).std() == pytest.approx(np.sqrt(3) / 1000, rel=0.05)
    assert np.array_equal(drawn, matern_draws(place, 1000.0, 20_000, 0))
    assert not np.array_equal(drawn, matern_draws(place, 1000.0, 20_000, 1))
