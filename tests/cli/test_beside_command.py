"""gradewright beside as a user runs it: what it writes, what it says, what it refuses."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from click.testing import CliRunner

from profiler.cli.main import main
from tests import country

FILES = {"beside.csv", "differences.csv", "beside.svg", "beside.png"}


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to stand in, with a territory and a second one 150 m north of it, both over one ground."""
    monkeypatch.chdir(tmp_path)
    country.write_territory(tmp_path)
    country.write_lines(tmp_path / "north.geojson", country.line(north=150.0))
    text = (tmp_path / "route.toml").read_text()
    (tmp_path / "north.toml").write_text(text.replace("line.geojson", "north.geojson"))
    return tmp_path


def run(*args: str) -> str:
    """What a command that goes well says on stdout; nobody watches, so stderr stays empty."""
    result = CliRunner().invoke(main, ["beside", *args])
    assert result.exit_code == 0, result.output
    assert result.stderr == ""
    return result.stdout


def refused(here: Path, *args: str) -> str:
    """The one sentence with which the command refuses; nothing is written."""
    before = set(here.rglob("*"))
    result = CliRunner().invoke(main, ["beside", *args])
    assert result.exit_code == 1
    assert result.stdout == ""
    assert set(here.rglob("*")) == before
    assert result.stderr.count("\n") == 1
    assert result.stderr.startswith("gradewright: ")
    return result.stderr


def rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.open(encoding="utf-8")))


def test_two_territories(here: Path):
    """Law: four files in a folder named after the first; equal names are told apart by their files; the axis, the
    caution and that all is invented are said."""
    said = run("route.toml", "north.toml", "--train-length", "1500")
    assert {p.name for p in (here / "route-beside").iterdir()} == FILES
    assert "A  Marram to Sallow (route), 5.61 mi, from Marram to Sallow" in said
    assert "B  Marram to Sallow (north), 5.6" in said
    assert "drawn over common posts" in said
    assert "Invented line: " in said
    assert "Training and planning aid only." in said
    table = rows(here / "route-beside/beside.csv")
    assert {row["train_length_m"] for row in table} == {"1500.0"}
    shown = said.split("Open:\n")[1].split()
    assert all(Path(name).is_file() for name in shown)


def test_a_written_profile_is_the_territory_it_came_from(here: Path):
    """Law: a territory beside its own written profile differs in nothing; the folder and the file in it both serve."""
    assert CliRunner().invoke(main, ["profile", "route.toml", "--tables-only", "--out", "done"]).exit_code == 0
    for source in ("done", "done/profile.gpkg"):
        run("route.toml", source, "--out", "both")
        found = rows(here / "both/differences.csv")
        assert len(found) > 15
        assert all(abs(float(row["difference"])) < 0.01 for row in found)
        assert not [row for row in found if row["verdict"] == "clear"]


def test_vector_files_take_the_ground_and_the_units_asked_for(here: Path):
    """Law: --dem serves every line that names no raster; without posts the axis is the distance from each start."""
    said = run("line.geojson", "north.geojson", "--dem", "ground.tif", "--units", "metric", "--out", "o")
    assert "A  line, 9.02 km" in said
    assert "B  north, 9.02 km" in said
    assert "drawn over the distance from each start" in said
    assert {p.name for p in (here / "o").iterdir()} == FILES


def test_one_source_and_twice_the_same(here: Path):
    """Law: there must be two, and two different ones."""
    assert "nothing to set it beside" in refused(here, "route.toml")
    assert "no source is given" in refused(here)
    assert "route.toml: is given twice" in refused(here, "route.toml", "./route.toml")
    assert "7 sources cannot be told apart" in refused(here, *(f"{i}.toml" for i in range(7)))


def test_a_source_that_fails_is_named(here: Path):
    """Law: whatever is wrong, the sentence says which source it is about."""
    assert "missing.toml" in refused(here, "route.toml", "missing.toml")
    text = (here / "north.toml").read_text()
    (here / "north.toml").write_text(text.replace("ground.tif", "nowhere.tif"))
    assert "north.toml" in refused(here, "route.toml", "north.toml")
    (here / "empty").mkdir()
    assert "empty/profile.gpkg: there is no such file" in refused(here, "route.toml", "empty")


def test_files_of_others_stay(here: Path):
    """Law: only what the command itself writes is replaced."""
    (here / "o").mkdir()
    (here / "o/notes.txt").write_text("mine")
    (here / "o/beside.csv").write_text("earlier")
    run("route.toml", "north.toml", "--out", "o")
    assert (here / "o/notes.txt").read_text() == "mine"
    assert (here / "o/beside.csv").read_text().startswith("source,name,")
