"""A known profile end to end: a table typed from a track chart, with and without a line, written and read again."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pyogrio
import pytest

from profiler import (
    CoverageError,
    InputError,
    Profile,
    RouteError,
    TerritoryError,
    build_profile,
    build_route,
    landmarks_of,
    read_landmarks,
    read_profile,
    read_territory,
    reversed_profile,
    write_profile,
)
from profiler.build import input_files, relief_around
from profiler.comparison.beside import compare_beside
from profiler.landmarks.find import find_landmarks
from profiler.read.territory import check_territory
from profiler.territory import Territory
from profiler.units import FOOT, MILE, curvature_of_degree
from profiler.vertical_curve import line_of
from sample_routes.maker.line import alignment, chainage_of, grades
from tests import country

CHART = """chainage_m,elevation_m,grade_pct,curve_length_m
0,100,1.0,
3000,130,-1.5,400
6000,85,0.5,300
9000,100,,
"""
CURVES = """number,start_m,end_m,spiral_in_m,spiral_out_m,radius_m,hand
7,500,900,60,60,500,left
,2000,2600,80,100,400,right
,2500,3000,100,60,300,right
"""


def territory(folder: Path, chart: str = CHART, curves: str | None = CURVES, **tables: object) -> Territory:
    """A territory of the tables alone; others go in as they are."""
    (folder / "chart.csv").write_text(chart, encoding="utf-8")
    profile = {"table": "chart.csv"}
    if curves is not None:
        (folder / "curves.csv").write_text(curves, encoding="utf-8")
        profile["curves"] = "curves.csv"
    stated = {"profile": profile, **tables}
    stated["profile"] = profile | dict(tables.get("profile", {}))  # type: ignore[call-overload]
    return check_territory(stated, source=str(folder / "route"), folder=folder)


@pytest.fixture(scope="module")
def known(tmp_path_factory: pytest.TempPathFactory) -> Profile:
    return build_profile(territory(tmp_path_factory.mktemp("known"), profile={"se_m": 0.5}))


def test_the_rail_is_the_chart(known: Profile):
    """Worked: 1 % from 100 m, at the crest A·L/8 = 0.025·400/8 = 1.25 m under 130 m; the parts between vertical curves
    have the stated grade, stations lie every 10 m from the first row to the last."""
    at = {x: i for i, x in enumerate(known.chainage.tolist())}
    assert known.chainage.size == 901
    assert known.elevation[[at[0], at[1000], at[3000], at[9000]]] == pytest.approx([100, 110, 128.75, 100])
    assert known.grade[[at[1000], at[3000], at[4000], at[8000]]] == pytest.approx([0.01, -0.0025, -0.015, 0.005])
    steps = (known.grade[1:] + known.grade[:-1]) / 2 * np.diff(known.chainage)
    np.testing.assert_allclose(np.diff(known.elevation), steps, atol=1e-3)
    assert [(p.chainage, p.curve_length) for p in known.pvis] == [(3000, 400), (6000, 300)]
    assert known.charted
    assert known.pvi_visible
    assert np.isnan(known.ground).all()
    assert known.source_names == ("profile table",)
    assert known.vertical_datum == "as on the chart"


def test_how_unsure_it_is(known: Profile):
    """Law: elevations have the stated standard error, grades that of a Matérn 3/2 process, √3·σ/ℓ; the draws have both
    (100 draws over a line of 9 correlation lengths) and their correlation at 1 km, 0.483."""
    assert known.elevation_se == pytest.approx(np.full(901, 0.5))
    assert known.grade_se == pytest.approx(np.full(901, np.sqrt(3) * 0.5 / 1000))
    error = known.draws.at(known.chainage) - known.elevation
    assert error.std() == pytest.approx(0.5, rel=0.1)
    assert np.abs(error.mean(axis=0)).max() < 5 * 0.05
    lag = 100  # stations, 1 km
    alike = np.mean(error[:, lag:] * error[:, :-lag]) / error.var()
    x = np.sqrt(3)
    assert alike == pytest.approx((1 + x) * np.exp(-x), abs=0.1)
    slope = np.diff(known.draws.at(np.array([4000.0, 4050.0])), axis=1) / 50
    assert slope.std() == pytest.approx(known.grade_se[0], rel=0.3)


def test_row_standard_errors_lead(tmp_path: Path):
    """Worked: half-way between rows of 0.2 and 1.0 m it is 0.6 m; a row that states none has that of [profile]."""
    chart = "chainage_m,elevation_m,se_m\n0,100,0.2\n2000,120,1.0\n4000,120,\n"
    built = build_profile(territory(tmp_path, chart, None, profile={"se_ft": 2}))
    assert built.elevation_se[[0, 100, 200, 400]] == pytest.approx([0.2, 0.6, 1.0, 2 * FOOT])


def test_curves_of_the_table(known: Profile):
    """Worked: a left curve of 500 m radius; two right ones that share a spiral of 100 m are one compound curve, in the
    middle of that spiral of the mean curvature; the railway's own number stays, the others are counted by post."""
    curves = known.route.curves
    assert [(c.number, c.kind) for c in curves] == [("7", "simple"), ("2A.1", "compound"), ("2A.2", "compound")]
    at = np.interp([700, 2300, 2550, 2800, 4000], known.chainage, known.route.curvature)
    assert at == pytest.approx([1 / 500, -1 / 400, -(1 / 400 + 1 / 300) / 2, -1 / 300, 0], abs=1e-6)
    assert not known.route.curvature_se.any()


def test_where_it_stands_is_not_told(known: Profile):
    """Law: a profile names its file alone, so that it is the same wherever that stands."""
    assert known.route.source == "chart.csv"


def test_no_table_of_curves(tmp_path: Path):
    """Law: a line whose curves nobody states counts as straight, and that is said."""
    built = build_profile(territory(tmp_path, curves=None))
    assert not built.route.curvature.any()
    assert any("no table of curves is given" in said for said in built.route.assumptions)


def test_landmarks_are_those_of_the_chart(known: Profile):
    """Worked: the crest's turning point lies 400·1/2.5 = 160 m into its curve, at 2,960 m, the sag's 300·1.5/2 = 225 m
    into its, at 6,075 m; the ruling grade with is 1 %, against 1.5 %; grade runs are the tangents from PVI to PVI."""
    marks = find_landmarks(known)
    assert [m.at for m in marks.of_kind("crest")] == pytest.approx([2960], abs=10)
    assert [m.at for m in marks.of_kind("sag")] == pytest.approx([6075], abs=10)
    ruling = {m.direction: m.value for m in marks.of_kind("ruling_grade") if m.train_length == 1000}
    assert ruling == pytest.approx({"with": 1.0, "against": 1.5})
    assert [(r.start, r.end) for r in marks.grade_runs] == [(0, 3000), (3000, 6000), (6000, 9000)]
    assert [r.grade for r in marks.grade_runs] == pytest.approx([0.01, -0.015, 0.005])
    assert not marks.suspected
    assert marks.straddles


def test_unknown_vertical_curves_are_no_sharp_ones(tmp_path: Path):
    """Law: where the chart states no length nothing is said of how short the vertical curve is; the grade changes at
    once, and that is said."""
    chart = "chainage_m,elevation_m\n0,100\n3000,190\n6000,100\n"
    built = build_profile(territory(tmp_path, chart, None, profile={"se_m": 0.01}))
    assert [n.kind for n in find_landmarks(built).practice] == []
    assert any("no vertical curve is stated" in said for said in built.assumptions)
    assert built.grade[[299, 301]] == pytest.approx([0.03, -0.03])
    short = chart.replace("elevation_m\n", "elevation_m,curve_length_m\n").replace("0,100\n", "0,100,\n")
    built = build_profile(territory(tmp_path, short.replace("190", "190,20"), None, profile={"se_m": 0.01}))
    assert [n.kind for n in find_landmarks(built).practice] == ["sharp_vertical_curve"]


def test_no_map(known: Profile, tmp_path: Path):
    """Law: a line of tables lies on no map: no coordinates in the tables, no map.html, no reference system; everything
    else is there, with the bytes of a second run."""
    given = territory(tmp_path)
    landmarks = landmarks_of(known, given)
    folders = [write_profile(known, landmarks, tmp_path / name, territory=given) for name in ("one", "two")]
    names = {p.name for p in folders[0].iterdir()}
    assert {"profile.csv", "pvis.csv", "curves.csv", "chart.svg", "chart.png", "profile.gpkg", "posts.csv"} <= names
    assert "map.html" not in names
    for name in names:
        assert (folders[0] / name).read_bytes() == (folders[1] / name).read_bytes(), name
    second = (folders[0] / "profile.csv").read_text().splitlines()[1].split(",")
    assert second[:6] == ["0.0", "0.000", "", "", "", "100.00"]
    record = json.loads((folders[0] / "provenance.json").read_text())
    assert record["crs"] is None
    assert record["route"]["lateral_se_m"] is None
    assert [(f["path"], f["role"]) for f in record["inputs"]] == [
        ("chart.csv", "profile table"),
        ("curves.csv", "curves"),
    ]
    assert relief_around(known, given) is None


def test_written_and_read_back(known: Profile, tmp_path: Path):
    """Law: the GeoPackage of a line on no map gives the profile back, bit for bit; its layers are tables."""
    landmarks = find_landmarks(known)
    write_profile(known, landmarks, tmp_path / "out", pictures=False)
    again = read_profile(tmp_path / "out")
    for field in dataclasses.fields(known):
        mine, its = getattr(known, field.name), getattr(again, field.name)
        if isinstance(mine, np.ndarray):
            np.testing.assert_array_equal(mine, its)
    for name in ("chainage", "longitude", "latitude", "heading", "curvature", "lateral_se"):
        np.testing.assert_array_equal(getattr(known.route, name), getattr(again.route, name))
    assert not again.route.on_map
    assert again.charted
    assert (again.pvis, again.route.curves) == (known.pvis, known.route.curves)
    np.testing.assert_array_equal(again.draws.elevation, known.draws.elevation)
    assert read_landmarks(tmp_path / "out") == landmarks
    assert {kind for _, kind in pyogrio.list_layers(tmp_path / "out" / "profile.gpkg")} == {None}


def test_the_same_profile_out_of_our_own_tables(known: Profile, tmp_path: Path):
    """Law: pvis.csv and curves.csv of a profile, given as a known profile, are the same profile within their printed
    precision: 5 cm in place, 5 mm in height. The line ends with its last vertical curve, as pvis.csv holds no ends."""
    write_profile(known, find_landmarks(known), tmp_path / "out", pictures=False)
    tables = {"table": "out/pvis.csv", "curves": "out/curves.csv"}
    again = build_profile(territory(tmp_path, profile=tables))
    assert again.route.length == pytest.approx(6150)
    assert any("the line ends with its last curve" in said for said in again.route.assumptions)
    shared = known.chainage <= 6150
    z, grade = line_of(again.pvis, known.chainage[shared])
    np.testing.assert_allclose(z, known.elevation[shared], atol=0.015)
    np.testing.assert_allclose(grade, known.grade[shared], atol=1e-5)
    np.testing.assert_allclose(np.interp(known.chainage[shared], again.chainage, again.elevation), z, atol=0.01)
    curvature = np.interp(known.chainage[shared], again.chainage, again.route.curvature)
    np.testing.assert_allclose(curvature, known.route.curvature[shared], atol=2e-5)
    assert [(c.number, c.kind) for c in again.route.curves] == [(c.number, c.kind) for c in known.route.curves]
    assert again.elevation_se == pytest.approx(np.full(again.chainage.size, 0.5))


def test_travelled_the_other_way(known: Profile):
    """Law: turned round twice it is itself; it lies on no map either way."""
    back = reversed_profile(known)
    assert not back.route.on_map
    assert back.elevation[0] == known.elevation[-1]
    np.testing.assert_array_equal(reversed_profile(back).elevation, known.elevation)


def test_beside_another(known: Profile):
    """Law: two charts are set side by side; where no posts are shared and no map tells, they are taken to run alike,
    and that is said."""
    other = dataclasses.replace(known, elevation=known.elevation + 5)
    compared = compare_beside([known, other])
    assert [side.turned for side in compared.sides] == [False, False]
    assert "B is taken to run as A does: no map and no posts tell" in compared.remarks
    rises = [d for d in compared.differences if d.figure.key in ("rise", "fall")]
    assert rises
    assert all(d.value == pytest.approx(0, abs=1e-6) for d in rises)


# Posts.


def test_posts_alone(tmp_path: Path):
    """Worked: from 49+2640 to 51 are 1.5 true miles; posts are shown as they are typed, and may fall along the line."""
    chart = "post_mi,elevation_ft,grade_pct\n49+2640,704,1.25\n50+0,,1.25\n51+0,,\n"
    route = build_route(territory(tmp_path, chart, None))
    assert route.length == pytest.approx(1.5 * MILE)
    assert route.posts.plus
    assert float(route.posts.at(0.0)) == pytest.approx(49.5)
    falling = build_profile(territory(tmp_path, "post_km,elevation_m\n12.5,100\n12.0,95\n10,115\n", None))
    assert falling.route.length == pytest.approx(2500)
    assert not falling.route.posts.rising
    assert [p.chainage for p in falling.pvis] == pytest.approx([500])


def test_posts_tied_to_chainage(tmp_path: Path):
    """Worked: a mile of 1,700 m between two rows; half-way the post is half a mile on."""
    chart = "chainage_m,post_mi,elevation_m\n0,7,100\n1700,8,110\n3400,,110\n"
    route = build_route(territory(tmp_path, chart, None))
    assert float(route.posts.at(850.0)) == pytest.approx(7.5)
    assert route.posts.stated


def test_posts_of_the_territory(tmp_path: Path):
    """Worked: with mile 20 at 0 and an equation 21 = 21.5 at a mile, post 21.75 stands 1.25 miles on; a place of the
    territory and a curve's ends are found by the same posts."""
    chart = "post,elevation_ft\n20,500\n21.75,600\n22.5,600\n"
    curves = "start_post,end_post,degree_of_curve,hand\n20.5,20.75,6,left\n"
    posts = {
        "unit": "mi",
        "at": [{"post": "20", "chainage_m": 0}],
        "equations": [{"at_chainage_m": MILE, "back": "21", "ahead": "21.5"}],
    }
    tables = {
        "posts": posts,
        "stations": [{"name": "Nettlebank", "at": {"post": "21.6"}}],
        "speed_limits": [{"from": {"post": "20"}, "to": {"post": "20.5"}, "speed_mph": 40}],
        "slow_orders": [{"from": {"post": "20.1"}, "to": {"chainage_m": 800}, "speed_mph": 10}],
        "structures": [{"kind": "tunnel", "from": {"post": "22"}, "to": {"post": "22.2"}}],
        "stops": [{"at": {"post": "22"}}],
    }
    built = build_profile(territory(tmp_path, chart, curves, **tables))
    assert [p.chainage for p in built.pvis] == pytest.approx([1.25 * MILE])
    assert built.route.stations[0].chainage == pytest.approx(1.1 * MILE)
    assert built.route.curves[0].start == pytest.approx(0.5 * MILE)
    assert built.route.curves[0].curvature == pytest.approx(float(curvature_of_degree(6)))
    assert built.route.limits[0].end == pytest.approx(0.5 * MILE)
    assert built.route.slow_orders[0].end == 800
    stop = built.route.stops[0]
    assert (stop.name, stop.chainage) == ("post 22", pytest.approx(1.5 * MILE))
    tunnel = built.route.structures[0]
    inside = (built.chainage > tunnel.start) & (built.chainage < tunnel.end)
    assert (built.structure_probability[inside] == 1).all()
    assert built.structure_probability.sum() < 40


@pytest.mark.parametrize(
    ("chart", "tables", "said"),
    [
        ("post,elevation_m\n1,1\n2,2\n", {}, "column post names no unit; name it post_mi or post_km"),
        ("post_km,elevation_m\n1,1\n3,2\n2,2\n", {}, "row 4: post 2 does not go on from 3 in row 3; sort the rows"),
        ("post_km,elevation_m\n1,1\n1,2\n", {}, "row 3: post 1 does not go on from 1 in row 2"),
        ("post_km,elevation_m\n1,1\nx,2\n", {}, "row 3: 'x' is no post; write it like 12.40"),
        (
            "chainage_m,elevation_m\n0,1\n900,2\n500,2\n",
            {},
            "row 4: stands at 500.0 m, not beyond row 3 at 900.0 m; sort",
        ),
        ("chainage_m,elevation_m\n0,1\n0,2\n", {}, "row 3: stands at 0.0 m, not beyond row 2"),
        (
            "chainage_m,elevation_m\n700,1\n900,2\n",
            {},
            "row 2: the first row stands at chainage 700.0 m; count from the",
        ),
        ("chainage_m,elevation_m\n0,1\n9e9,2\n", {}, "'9e9' in column chainage_m is no number"),
        ("chainage_mi,elevation_m\n0,1\n90000,2\n", {}, "no railway is as long; correct it or its unit"),
        (
            "chainage_m,elevation_m\n0,1\n12,2\n",
            {},
            "the line is only 12 m long; give a longer line or a shorter step_m",
        ),
        (
            "chainage_m,post_km,elevation_m\n0,1,1\n900,2,2\n",
            {"posts": "km"},
            "its rows have chainage and post, and posts are",
        ),
        (
            "post_mi,elevation_m\n1,1\n2,2\n",
            {"posts": "km"},
            "its posts are in mi, those of the line in km; use one unit",
        ),
        (
            "post,elevation_m\n3,1\n4,2\n",
            {"posts": "km"},
            "row 2: the first row stands at chainage 2000.0 m; tie its post",
        ),
        ("post,elevation_m\n0.5,1\n4,2\n", {"posts": "km"}, "row 2: post km 0.5 lies outside the line"),
    ],
)
def test_places_that_are_none(tmp_path: Path, chart: str, tables: dict[str, str], said: str):
    """Law: rows stand on the line in its order; what cannot be placed is told with its row."""
    if "posts" in tables:
        tables = {"posts": {"unit": tables["posts"], "at": [{"post": "1", "chainage_m": 0}]}}  # type: ignore[dict-item]
    with pytest.raises(InputError) as refused:
        build_profile(territory(tmp_path, chart, None, **tables))
    assert said in str(refused.value)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        (
            "8000,9100,,,300,left",
            "row 2: its curve lies outside the line, from 8000.0 to 9100.0 m; the line runs from 0",
        ),
        ("800,800,,,300,left", "row 2: its curve ends at 800.0 m, where it begins or before; correct it"),
        ("100,300,150,60,300,left", "row 2: its spirals, 210.0 m together, are longer than its curve, 200.0 m"),
        (
            "100,300,,,300,left\n250,500,,,300,left",
            "row 3: its curve begins at 250.0 m, row 2 ends at 300.0; sort the rows",
        ),
        ("100,300,,50,300,left\n240,500,50,,300,right", "row 3: its curve begins at 240.0 m, row 2 ends at 300.0"),
        ("700,900,,,300,left\n250,500,,,300,left", "row 3: its curve begins at 250.0 m, row 2 ends at 900.0"),
    ],
)
def test_curves_that_do_not_fit(tmp_path: Path, rows: str, said: str):
    """Law: curves lie on the line, in order, and overlap by a shared spiral at most; the rows are named."""
    with pytest.raises(InputError) as refused:
        build_route(territory(tmp_path, curves=f"start_m,end_m,spiral_in_m,spiral_out_m,radius_m,hand\n{rows}\n"))
    assert str(refused.value).startswith(str(tmp_path / "curves.csv"))
    assert said in str(refused.value)


def test_a_place_that_only_a_map_tells(tmp_path: Path):
    """Law: without a line there is nothing to measure coordinates from."""
    place = {"longitude": -31.1, "latitude": -38.2}
    with pytest.raises(
        RouteError, match=r"stations\[1\].at: coordinates cannot be placed, the line lies on no map; give"
    ):
        build_profile(territory(tmp_path, stations=[{"name": "Nettlebank", "at": place}]))
    posts = {"unit": "km", "at": [{"post": "1", **place}]}
    with pytest.raises(RouteError, match=r"posts.at\[1\]: coordinates cannot be placed"):
        build_profile(territory(tmp_path, posts=posts))


def test_both_ways_are_refused(tmp_path: Path):
    """Law: elevations are known or estimated."""
    with pytest.raises(
        TerritoryError, match=r"\[profile\] and \[elevation\] both tell the elevation; keep one of them"
    ):
        territory(tmp_path, elevation={"rasters": ["ground.tif"]})


# Beside a drawn line.


@pytest.fixture
def line(tmp_path: Path) -> dict[str, object]:
    """A line of some 9 km; places on the plane of `tests.country`."""
    country.write_lines(tmp_path / "line.geojson", country.line())
    return {"centreline": {"path": "line.geojson"}}


def test_with_a_line_there_is_a_map(tmp_path: Path, line: dict[str, object]):
    """Law: chainage counts along the drawn line, raised to the chart's mean height; where the table reaches less far
    the line is cut, and said; curves of the table count instead of those drawn, and without a table those drawn do."""
    drawn = build_route(check_territory(line, source="route.toml", folder=tmp_path))
    given = territory(tmp_path, CHART.replace("9000,100", "8600,98"), **line)
    built = build_profile(given)
    assert built.route.on_map
    assert built.route.length == pytest.approx(8600, abs=11)
    assert built.route.scale == pytest.approx(1 + np.mean([100, 130, 85, 98]) / 6_371_008.8, rel=1e-9)
    assert any("the drawn line is kept where the table reaches" in said for said in built.assumptions)
    assert [c.number for c in built.route.curves] == ["7", "2A.1", "2A.2"]
    own = build_profile(territory(tmp_path, CHART.replace("9000,100", "8600,98"), None, **line))
    assert 0 < len(own.route.curves) <= len(drawn.curves)
    folder = write_profile(built, landmarks_of(built, given), tmp_path / "out", territory=given)
    assert (folder / "map.html").exists()
    assert "typed from a track chart" in (folder / "map.html").read_text(encoding="utf-8")
    assert [role for _, role in input_files(given, built.route)] == ["centreline", "profile table", "curves"]


def test_ends_that_nearly_meet(tmp_path: Path, line: dict[str, object]):
    """Law: a chart may be longer than the drawn line by half a percent, no more."""
    length = build_route(check_territory(line, source="route.toml", folder=tmp_path)).length
    for much, fits in ((1.004, True), (1.006, False)):
        chart = f"chainage_m,elevation_m\n0,100\n{length * much:.1f},190\n"
        if fits:
            built = build_profile(territory(tmp_path, chart, None, **line))
            assert built.elevation[-1] == pytest.approx(100 + 90 / much, abs=0.02)
            continue
        with pytest.raises(InputError, match=r"chart.csv, row 3: stands at \d+ m; the drawn line runs from 0 to \d+ m"):
            build_profile(territory(tmp_path, chart, None, **line))


def test_rows_by_post_need_posts_of_the_line(tmp_path: Path, line: dict[str, object]):
    """Law: a drawn line has no posts of its own: they are stated, or the rows tie them to chainage."""
    chart = "post_km,elevation_m\n1,100\n9,120\n"
    with pytest.raises(
        InputError, match=r"its rows stand at posts, and none of the drawn line is known; state \[posts\]"
    ):
        build_profile(territory(tmp_path, chart, None, **line))
    posts = {"unit": "km", "at": [{"post": "1", "chainage_m": 500}]}
    built = build_profile(territory(tmp_path, chart, None, posts=posts, **line))
    assert built.chainage[0] == 0
    assert float(built.route.posts.at(0.0)) == pytest.approx(1.0, abs=0.011)
    tied = "chainage_m,post_km,elevation_m\n500,1,100\n8500,9,120\n"
    assert build_profile(territory(tmp_path, tied, None, **line)).route.length == pytest.approx(8000, abs=21)


def test_a_table_beside_the_line(tmp_path: Path, line: dict[str, object]):
    """Law: rows that lie off the line are told, not bent onto it."""
    with pytest.raises((CoverageError, InputError), match=r"chart\.csv"):
        build_profile(territory(tmp_path, "chainage_m,elevation_m\n20000,100\n25000,190\n", None, **line))


# The sample.


def test_the_sample_chart_is_the_sample_line():
    """Law: the typed chart of Ombersley Gap says what the invented line is: elevations to the half foot of its figures
    and what a rounded grade makes of it, curves to the feet they are typed in."""
    folder = Path(__file__).parents[1] / "sample_routes"
    given = read_territory(folder / "ombersley-chart.toml")
    assert given.route.invented
    built = build_profile(given)
    true = grades().at(chainage_of(49.0) + built.chainage)
    assert np.abs(built.elevation - true).max() < 0.8 * FOOT
    assert built.route.posts.unit == "mi"
    arcs = [a for a in alignment().arcs if a.start > chainage_of(49.0) and a.end < chainage_of(58.9)]
    assert len(arcs) == len(built.route.curves) == 18
    for arc, curve in zip(arcs, built.route.curves, strict=True):
        assert curve.start + chainage_of(49.0) == pytest.approx(arc.start, abs=1)
        assert curve.curvature == pytest.approx(float(curvature_of_degree(arc.degree)))
