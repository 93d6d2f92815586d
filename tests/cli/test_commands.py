"""The commands as a user runs them: what they write, where, and what they say."""

from __future__ import annotations

import csv
import hashlib
import json
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from profiler.cli.main import main
from tests import country

ROOT = Path(__file__).parents[2]
TABLES = {
    "profile.csv",
    "landmarks.csv",
    "grades.csv",
    "pvis.csv",
    "curves.csv",
    "alignment.csv",
    "posts.csv",
    "straddles.csv",
    "practice.csv",
    "datapackage.json",
}
RECORDS = {"profile.gpkg", "provenance.json"}
PICTURES = {"map.html", "chart.svg", "chart.png"}


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to stand in; the territory, its line and its ground are in its subfolder `in`."""
    monkeypatch.chdir(tmp_path)
    country.write_territory(tmp_path / "in")
    return tmp_path


def run(*args: str) -> str:
    """What a command that goes well says on stdout; nobody watches, so stderr stays empty."""
    result = CliRunner().invoke(main, list(args))
    assert result.exit_code == 0, result.output
    assert result.stderr == ""
    return result.stdout


def names(folder: Path) -> set[str]:
    return {p.name for p in folder.iterdir()}


def hashes(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}


def test_vector_file_in_both_units(here: Path):
    """Law: people read the units asked for; data files are metric and the same but for the record."""
    for units in ("us", "metric"):
        said = run(
            *("profile", "in/line.geojson", "--dem", "in/ground.tif", "--tables-only", "--units", units),
            *("--train-length", "1500", "--out", units),
        )
        assert said.startswith("line, 5.6 mi" if units == "us" else "line, 9.0 km")
        assert ("train of 4,921 ft" if units == "us" else "train of 1 500 m") in said.replace("\u202f", " ")
    us, metric = hashes(here / "us"), hashes(here / "metric")
    assert set(us) == set(metric) == TABLES | RECORDS
    # without stated posts the posts are miles or kilometres of chainage
    tables = [list(csv.DictReader((here / u / "profile.csv").open())) for u in ("us", "metric")]
    assert [float(rows[-1]["post"]) for rows in tables] == pytest.approx([9.023 / 1.609344, 9.023], abs=0.001)
    for rows in tables:
        del rows[0]["post"]
    assert tables[0][0] == tables[1][0]


def test_territory_and_default_folder(here: Path):
    """Law: the results stand in a folder named after the source, beside where one stands, not beside the source."""
    said = run("profile", "in/route.toml")
    assert names(here) == {"in", "route-profile"}
    assert names(here / "in") == {"route.toml", "line.geojson", "ground.tif"}
    assert names(here / "route-profile") == TABLES | RECORDS | PICTURES
    assert said.startswith("Marram to Sallow, 5.6 mi, from Marram to Sallow\n  Invented line: ")
    assert "heights above EGM2008" in said
    assert "Training and planning aid only." in said
    shown = said.split("Open:\n")[1].split()
    assert shown == [f"route-profile/{n}" for n in ("map.html", "chart.png", "profile.csv", "landmarks.csv")]
    assert all((here / name).is_file() for name in shown)


def test_pictures_of_an_earlier_run_go(here: Path):
    """Law: with --tables-only no map or chart is left that belongs to other figures; foreign files stay."""
    place = here / "route-profile"
    run("profile", "in/route.toml")
    (place / "notes.txt").write_text("mine")
    run("profile", "in/route.toml", "--tables-only")
    assert names(place) == TABLES | RECORDS | {"notes.txt"}


def test_step_and_raster_on_the_command_line(here: Path):
    """Law: options go before the territory's own settings; 9,023 m in steps of 50 m are 181 stations."""
    country.write_ground(here / "other.tif", country.hills() + 100)
    run("profile", "in/route.toml", "--tables-only", "--out", "plain")
    run("profile", "in/route.toml", "--tables-only", "--step", "50", "--dem", "other.tif")
    rows = list(csv.DictReader((here / "route-profile/profile.csv").open()))
    plain = list(csv.DictReader((here / "plain/profile.csv").open()))
    assert len(rows) == 181
    assert {row["ground_source"] for row in rows} == {"other.tif", ""}
    assert float(rows[0]["elevation_m"]) - float(plain[0]["elevation_m"]) == pytest.approx(100, abs=0.5)
    record = json.loads((here / "route-profile/provenance.json").read_text())
    assert record["command"] == ["profile", "in/route.toml", "--dem", "other.tif", "--step", "50", "--tables-only"]
    assert record["settings"]["step_m"] == 50


def test_record_names_no_place_of_the_machine(here: Path):
    """Law: the record has a hash of every input (that of the file itself) and no absolute path."""
    run("profile", str(here / "in/route.toml"), "--dem", str(here / "in/ground.tif"), "--tables-only")
    text = (here / "route-profile/provenance.json").read_text()
    assert str(here) not in text
    inputs = {entry["role"]: entry for entry in json.loads(text)["inputs"]}
    assert set(inputs) == {"territory", "centreline", "elevation"}
    for entry in inputs.values():
        assert entry["sha256"] == hashlib.sha256((here / "in" / entry["path"]).read_bytes()).hexdigest()
    for name in TABLES | RECORDS:
        assert str(here).encode() not in (here / "route-profile" / name).read_bytes()


def test_same_inputs_same_bytes(here: Path):
    """Law: two runs, in two processes with other seeds of Python's hash and another place, write the same bytes."""
    for seed, place in (("1", "a"), ("2", "b")):
        subprocess.run(
            [sys.executable, "-m", "profiler", "profile", "in/route.toml", "--out", place],
            check=True,
            capture_output=True,
            env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONHASHSEED": seed},
        )
    assert names(here / "a") == TABLES | RECORDS | PICTURES
    assert hashes(here / "a") == hashes(here / "b")


def test_check(here: Path):
    """Law: check says what would be read and assumed, of a territory and of a bare line, and writes nothing."""
    before = names(here)
    territory = run("check", "in/route.toml").splitlines()
    assert territory[0] == "in/route.toml: can be used"
    for line in (
        "line: 1 piece, EPSG:4326, joined to 9.023 km",
        "posts: 10.00 to 15.61, rising",
        "structures: 1 tunnel over 0.40 km, 0 bridges",
        "people read: US units",
        "elevation: ground.tif, 1 file, EPSG:32725, cells of 30 m, heights above EGM2008",
        "coverage: 100.0% of the line has elevation",
    ):
        assert line in territory
    bare = run("check", "in/line.geojson").splitlines()
    assert bare[0] == "in/line.geojson: can be used"
    assert "elevation: none is named yet, use [elevation] or --dem" in bare
    assert "posts: none, chainage serves" in bare
    with_ground = run("check", "in/line.geojson", "--dem", "in/*.tif")
    assert "assumed: in/*.tif: vertical unit not declared, metres assumed" in with_ground
    assert names(here) == before


AT = "at = [{{ post = '10', chainage_m = 0 }}, {{ post = '12', chainage_m = {second} }}, {others}]"


def test_check_says_how_posts_fit(here: Path):
    """Worked: posts 10 to 14 stand a mile apart, 12 a hundred metres, 328 ft, too far; of four equations three are
    written out, and none of their rows counts as a known post. Law: one post alone has nothing to be compared with."""
    territory = here / "in" / "route.toml"
    text = territory.read_text()
    stated = 'at = [{ post = "10.0", chainage_m = 0 }]'
    assert stated in text
    assert "known posts: 1" in run("check", "in/route.toml").splitlines()
    mile = 1609.344
    others = ", ".join(f"{{ post = '{post}', chainage_m = {mile * (post - 10):.3f} }}" for post in (11, 13, 14))
    at = AT.format(second=f"{2 * mile + 100:.3f}", others=others)
    territory.write_text(text.replace(stated, at))
    said = run("check", "in/route.toml")
    assert "known posts: 5, largest residual 328 ft at mi 12\n" in said
    assert "assumed: post mi 12 lies 328 ft from where its neighbours put it" in said
    assert "equation" not in said.partition("assumed")[0]
    jumps = [f"{{ at_chainage_m = {7000 + 400 * i}, back = '{15 + i}+2640', ahead = '{16 + i}' }}" for i in range(4)]
    for count, words in ((1, ""), (4, ", mi 16+2640 = mi 17+0000, mi 17+2640 = mi 18+0000 and 1 more")):
        territory.write_text(text.replace(stated, f"{at}\nequations = [{', '.join(jumps[:count])}]"))
        said = run("check", "in/route.toml")
        assert f"post equations: {count}, mi 15+2640 = mi 16+0000{words}\n" in said
        assert "known posts: 5, " in said


def test_demo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: the demonstration runs from anywhere and says that its line is invented. Published: its territory file
    states posts 38.0 to 70.6 at its ends, which are 32.6 miles apart."""
    monkeypatch.chdir(tmp_path)
    said = run("demo")
    assert names(tmp_path) == {"farrow-profile"}
    assert names(tmp_path / "farrow-profile") >= (TABLES - {"pvis.csv"}) | RECORDS | PICTURES
    lines = said.splitlines()
    assert lines[0] == "Farrow to Thistle Quay, 32.6 mi, from Farrow to Thistle Quay"
    assert lines[1] == "  Invented line: nothing here is a real place, company or person."
    assert re.search(r"to Thistle Quay: ruling grade \d\.\d+ % \(.+\) near \d\d\.\d, train of 6,562 ft", said)
    assert re.search(r"to Farrow: ruling grade \d\.\d+ % \(.+\) near \d\d\.\d, train of 6,562 ft", said)
    assert re.search(r"highest crest at \d\d\.\d, [\d,]+ ft", said)
    assert re.search(r"how sure: elevation to ±[\d.]+ ft, at worst ±[\d.]+ ft; heights above EGM2008", said)
    assert "farrow-profile/map.html" in said


@pytest.mark.parametrize("args", [(), ("profile",), ("brief",), ("check",), ("demo",), ("fetch",), ("network",)])
def test_help(args: tuple[str, ...]):
    """Law: every command has help with a real example, by module as by name."""
    run = subprocess.run(
        [sys.executable, "-m", "profiler", *args, "--help"], capture_output=True, text=True, check=True, cwd=ROOT
    )
    assert run.stderr == ""
    assert f"Example: gradewright {args[0] if args else 'profile'}" in run.stdout
    if not args:
        listed = ("profile", "brief", "beside", "compare", "export", "check", "demo", "fetch", "network")
        assert re.search(r" .+\n +".join(listed) + " ", run.stdout)


@pytest.mark.usefixtures("here")
def test_progress_goes_to_stderr():
    """Law: where somebody watches, progress is drawn on stderr; stdout holds the summary and nothing else."""
    watched, end = pty.openpty()
    args = ("profile", "in/route.toml", "--tables-only")
    run_ = subprocess.Popen(
        [sys.executable, "-m", "profiler", *args],
        stdout=subprocess.PIPE,
        stderr=end,
        env={**os.environ, "PYTHONPATH": str(ROOT), "TERM": "xterm"},
    )
    os.close(end)
    drawn = b""
    try:
        while part := os.read(watched, 4096):
            drawn += part
    except OSError:  # how a terminal on Linux says that its other end is closed
        pass
    said = run_.communicate()[0].decode()
    os.close(watched)
    assert run_.returncode == 0
    for step in ("estimating the rail", "writing tables"):
        assert step in drawn.decode()
        assert step not in said
    assert said == run(*args)
