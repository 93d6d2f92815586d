"""gradewright compare as a user runs it: what it writes, what it says, what it refuses."""

from __future__ import annotations

import csv
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from profiler import read_profile
from profiler.cli.main import main
from profiler.wording import CAUTION_SHORT
from tests import country

FILES = {"comparison.csv", "summary.csv", "comparison.svg", "comparison.png"}


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The output folder of a small territory."""
    folder = tmp_path_factory.mktemp("country")
    country.write_territory(folder)
    territory, out = str(folder / "route.toml"), folder / "done"
    result = CliRunner().invoke(main, ["profile", territory, "--tables-only", "--out", str(out)])
    assert result.exit_code == 0, result.output
    return out


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*args: str) -> str:
    """What a command that goes well says on stdout; nobody watches, so stderr stays empty."""
    result = CliRunner().invoke(main, ["compare", *args])
    assert result.exit_code == 0, result.output
    assert result.stderr == ""
    return result.stdout


def refused(here: Path, *args: str) -> str:
    """The one sentence with which the command refuses; nothing is written."""
    before = set(here.rglob("*"))
    result = CliRunner().invoke(main, ["compare", *args])
    assert result.exit_code == 1, result.output
    assert result.stdout == ""
    assert set(here.rglob("*")) == before
    assert result.stderr.count("\n") == 1
    assert result.stderr.startswith("gradewright: ")
    return result.stderr


def rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.open(encoding="utf-8")))


def own_table(done: Path, lift: float = 0.0, shift: float = 0.0) -> str:
    """Elevations of the profile itself every 500 m by post, over another datum and a shifted count."""
    profile = read_profile(done)
    at = np.arange(500.0, 8600.0, 500.0)
    post = profile.route.posts.at(at) + shift
    z = np.interp(at, profile.chainage, profile.elevation) + lift
    lines = [f"{p:.4f};{e:.2f};0.5" for p, e in zip(post, z, strict=True)]
    return "\n".join(["post_mi;elevation_m;elevation_se_m", *lines, ""])


def test_what_is_written_and_said(done: Path, here: Path):
    """Law: four files in a folder named after the profile's; kind, columns, placing, datum and shares are said; the
    2.3 m by which the table was lifted are found to the centimetre, and every row is within."""
    (here / "table.csv").write_text(own_table(done, lift=2.3))
    said = run(str(done), "table.csv")
    out = here / "done-comparison"
    assert {p.name for p in out.iterdir()} == FILES
    assert "held against table.csv" in said
    assert "read as list of PVIs, 17 rows, from post_mi, elevation_m, elevation_se_m" in said
    assert "taken as posts, as they stand" in said
    assert re.search(
        r"stands 7\.[56] ft higher throughout \(median of 17\), taken off: rms 7\.[56] ft before, 0\.0 ft", said
    )
    assert "17 of 17 within the stated 95 % interval" in said
    assert CAUTION_SHORT in said
    assert all(Path(name).is_file() for name in said.split("Open:\n")[1].split())
    table = rows(out / "comparison.csv")
    heights = [row for row in table if row["figure"] == "elevation"]
    assert [row["reference_row"] for row in heights] == [str(k) for k in range(2, 19)]
    assert {row["within_95"] for row in heights} == {"yes"}
    assert all(float(row["difference_as_stated"]) == pytest.approx(-2.3, abs=0.02) for row in heights)
    assert all(float(row["difference"]) == pytest.approx(0.0, abs=0.02) for row in heights)
    assert len([row for row in table if row["figure"] == "grade"]) == 16
    summary = {row["figure"]: row for row in rows(out / "summary.csv")}
    assert float(summary["elevation_offset"]["reference"]) == pytest.approx(2.3, abs=0.01)
    assert summary["elevations"]["share_within_95"] == "1.000"


def test_an_older_output_folder_serves(done: Path, here: Path):
    """Law: a profile beside itself differs in nothing; units are those asked for."""
    said = run(str(done), str(done), "--units", "metric", "--train-length", "800", "--out", "x")
    assert "read as older profile" in said
    assert "rms 0.0 m, 100 % within" in said
    assert "train of 800 m" in said
    grades = [row for row in rows(here / "x/comparison.csv") if row["figure"] == "grade"]
    assert grades
    assert all(abs(float(row["difference"])) < 1e-3 for row in grades)


def test_known_elevations_go_into_a_territory(done: Path, here: Path):
    """Law: what --known-out writes is read by a territory as it stands: places, heights, standard errors."""
    (here / "table.csv").write_text(own_table(done, lift=1.0))
    said = run(str(done), "table.csv", "--known-out", "known.toml")
    found = tomllib.loads((here / "known.toml").read_text())["known_elevations"]
    assert f"{len(found)} known elevations written to known.toml, as stated" in said
    assert len(found) == 17
    assert all(entry["se_m"] == 0.5 for entry in found)
    profile = read_profile(done)
    for entry in found:
        (at,) = profile.route.posts.chainages(float(entry["at"]["post"]))
        assert entry["elevation_m"] == pytest.approx(
            float(np.interp(at, profile.chainage, profile.elevation)) + 1, abs=0.02
        )
    country.write_territory(here)
    text = (here / "route.toml").read_text() + (here / "known.toml").read_text()
    (here / "known-route.toml").write_text(text)
    result = CliRunner().invoke(main, ["profile", "known-route.toml", "--tables-only", "--out", "again"])
    assert result.exit_code == 0, result.output
    assert "known elevations: 17 of 17 used" in result.stdout


def test_known_elevations_need_an_error(done: Path, here: Path):
    """Law: heights whose table states no standard error are not taken as known without one; it can be given."""
    (here / "table.csv").write_text("station;elevation_m\nMarram;310\n")
    said = refused(here, str(done), "table.csv", "--known-out", "known.toml")
    assert "states no standard error of its elevations; give one with --known-se-m" in said
    run(str(done), "table.csv", "--known-out", "known.toml", "--known-se-m", "0.4")
    (entry,) = tomllib.loads((here / "known.toml").read_text())["known_elevations"]
    assert (entry["elevation_m"], entry["se_m"]) == (310.0, 0.4)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("position,elevation_m\n1,2\n", "table.csv: column 'position' names no unit"),
        ("km,elevation_m\n1,x\n", "table.csv, row 2: 'x' in column 'elevation_m' is not an elevation"),
        ("km,elevation_m\n2,1\n1,1\n3,1\n", "table.csv, row 3: 1 km comes after 2 km"),
        ("km,elevation_m\n1,1\n1,2\n", "table.csv, row 3: stands at 1 km like row 2 and contradicts it"),
        ("", "table.csv: is empty"),
        ("post_mi,elevation_m\n90,1\n91,2\n", "none of its 2 rows is on the line: they lie from 90.00 to 91.00 mi"),
    ],
)
def test_bad_references(done: Path, here: Path, text: str, said: str):
    """Law: each gets its sentence, and nothing is written."""
    (here / "table.csv").write_text(text)
    assert said in refused(here, str(done), "table.csv")


def test_bad_places(done: Path, here: Path):
    """Law: a folder without a profile, a missing reference and a reference that is a plain folder are said."""
    (here / "empty").mkdir()
    (here / "table.csv").write_text(own_table(done))
    assert "empty" in refused(here, "empty", "table.csv")
    assert "none.csv: there is no such file" in refused(here, str(done), "none.csv")
    assert "empty" in refused(here, str(done), "empty")
