"""A territory with a typed track chart from the command line: what is said, and what is refused in one sentence."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from profiler.cli.main import main
from tests import country
from tests.cli.test_bad_input import refused

ROUTE = '[profile]\ntable = "chart.csv"\ncurves = "curves.csv"\n'
CHART = "chainage_m,elevation_m,grade_pct,curve_length_m\n0,100,1.0,\n3000,130,-1.5,400\n6000,85,,\n"
CURVES = "start_m,end_m,radius_m,hand\n500,900,500,left\n2000,2400,400,right\n"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to stand in, with a sound chart."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "route.toml").write_text(ROUTE)
    (tmp_path / "chart.csv").write_text(CHART)
    (tmp_path / "curves.csv").write_text(CURVES)
    return tmp_path


def said(*args: str) -> str:
    """What a command that works prints."""
    result = CliRunner().invoke(main, list(args))
    assert result.exit_code == 0, result.output
    return result.stdout


def test_profile_says_why_there_is_no_map(here: Path):
    """Law: the console says what is known, how sure, what was assumed, why there is no map, and what to open."""
    words = said("profile", "route.toml", "--out", "out")
    assert "ruling grade 10.0 ‰" in words
    assert "heights as on the chart" in words
    assert (
        "assumed: chart.csv: standard error of its elevations 0.3 m, as none is stated, their errors alike over 1 km"
        in words
    )
    assert "no map: the table does not say where the line lies" in words
    assert "map.html" not in words
    assert not (here / "out" / "map.html").exists()
    assert (here / "out" / "chart.png").exists()


def test_check_looks_at_all_of_it(here: Path):
    """Law: check builds the known profile and says what it is; nothing is written."""
    before = sorted(here.iterdir())
    words = said("check", "route.toml")
    assert words.startswith("route.toml: can be used\n")
    assert "line: 6.000 km from the first row of the table to the last, on no map" in words
    assert "elevation: known, 1 PVI, 1 with a vertical curve, 85 m to 129 m, heights as on the chart" in words
    assert "curves: 2, sharpest radius 400 m (4.4°)" in words
    assert "not used yet" not in words
    assert "nan" not in words
    assert sorted(here.iterdir()) == before


def test_check_of_a_chart_beside_a_line(here: Path):
    """Law: with a drawn line check says where that lies, too."""
    country.write_lines(here / "line.geojson", country.line())
    (here / "route.toml").write_text(ROUTE + '[centreline]\npath = "line.geojson"\n')
    words = said("check", "route.toml")
    assert "line: 1 piece, EPSG:4326" in words
    assert "assumed: the drawn line is kept where the table reaches" in words


def test_units_and_step(here: Path):
    """Law: options hold for a known profile as for any other."""
    words = said("profile", "route.toml", "--units", "us", "--step", "20", "--tables-only", "--out", "out")
    assert "ruling grade 1.00 %" in words
    assert len((here / "out" / "profile.csv").read_text().splitlines()) == 302


def test_a_chart_beside_an_estimate(here: Path):
    """Law: a chart and a line over rasters are set side by side; --dem is for the line."""
    country.write_territory(here / "other")
    words = said("beside", "other/line.geojson", "route.toml", "--dem", "other/ground.tif", "--out", "both")
    assert "B is taken to run as A does: no map and no posts tell" in words
    assert (here / "both" / "beside.png").exists()


@pytest.mark.parametrize(
    ("name", "old", "new", "words"),
    [
        (
            "chart.csv",
            "3000,130",
            "3000,12O",
            "chart.csv, row 3: '12O' in column elevation_m is no number; write it like",
        ),
        (
            "chart.csv",
            "3000,130",
            "300,130",
            "chart.csv, row 2: its grade ahead, 1 %, makes 3.00 m over 300 m, the elev",
        ),
        (
            "chart.csv",
            "3000,130,-1.5",
            "7000,130,",
            "chart.csv, row 4: stands at 6000.0 m, not beyond row 3 at 7000.0 m",
        ),
        ("chart.csv", "-1.5,400", "-1.5,6400", "chart.csv, row 3: its vertical curve of 6400.0 m is longer than its"),
        ("chart.csv", "elevation_m", "elevation", "chart.csv: column elevation names no unit; name it elevation_m or"),
        ("chart.csv", "grade_pct", "grad_pct", "chart.csv: column 'grad_pct' is not known; did you mean grade_pct?"),
        ("curves.csv", "2000,2400", "2000,7400", "curves.csv, row 3: its curve lies outside the line, from 2000.0 to"),
        ("curves.csv", "2000,2400", "800,2400", "curves.csv, row 3: its curve begins at 800.0 m, row 2 ends at 900.0"),
        ("curves.csv", "400,right", "400,", "curves.csv, row 3: its curve has no hand; write left or right"),
        ("route.toml", '"chart.csv"', '"charts.csv"', "charts.csv: there is no such file; check the name"),
        ("route.toml", "table", "tabel", "route.toml: profile.tabel: no such key; did you mean table?"),
        (
            "route.toml",
            "[profile]",
            "[elevation]\nrasters = ['x.tif']\n[profile]",
            "route.toml: [profile] and [elevation]",
        ),
        ("route.toml", "[profile]", "[profile]\nse_m = -1", "route.toml: profile.se_m: -1 is not possible; it should"),
    ],
)
def test_slips(here: Path, name: str, old: str, new: str, words: str):
    """Law: one sentence that names file and row, exit code 1, nothing written; check says the same."""
    path = here / name
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    sentence = refused(here, "profile", "route.toml")
    assert sentence.startswith(words)
    assert refused(here, "check", "route.toml") == sentence


def test_rasters_beside_a_known_profile(here: Path):
    """Law: --dem does not go unused in silence."""
    for command in ("profile", "check"):
        sentence = refused(here, command, "route.toml", "--dem", "ground.tif")
        assert sentence == "route.toml: [profile] and --dem both tell the elevation; leave one of them out"
