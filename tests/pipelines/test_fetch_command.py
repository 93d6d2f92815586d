"""`gradewright fetch` from a line to a profile."""

from __future__ import annotations

import dataclasses
import gzip
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from pipelines.fetching import catalogues
from profiler import build_profile, read_territory
from profiler.cli.main import main
from tests import country
from tests.pipelines.fetching_help import SOUTH, WEST, cog, hgt
from tests.pipelines.range_server import Server

NAME = "Copernicus_DSM_COG_10_S39_00_W032_00_DEM"
LINE = np.column_stack([np.linspace(WEST + 0.2, WEST + 0.35, 400), np.full(400, SOUTH + 0.8)])


@pytest.fixture
def bucket(server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Server:
    """The bucket of the catalogue on this machine, and a folder with a line in it to stand in."""
    table = catalogues.catalogues()
    here = dataclasses.replace(table["copernicus-glo-30"], address=server.address + "/{name}/{name}.tif")
    monkeypatch.setattr(catalogues, "catalogues", lambda: table | {here.key: here})
    server.files[f"/{NAME}/{NAME}.tif"] = cog()
    country.write_lines(tmp_path / "line.geojson", LINE)
    monkeypatch.chdir(tmp_path)
    return server


def fetch(*words: str, catalogue: str = "copernicus-glo-30") -> Result:
    return CliRunner().invoke(main, ["fetch", *words, "--from", catalogue])


@pytest.mark.usefixtures("bucket")
def test_from_a_line_to_a_profile():
    """Law: the file that is written is profiled as it stands, its words are the catalogue's, its paths relative."""
    result = fetch("line.geojson")
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert lines[0] == "Copernicus DEM GLO-30, surface, 1 arc-second: 1 tile along the line, ±2,000 m"
    assert lines[1].startswith(f"fetched: {NAME}, ")
    assert " of " in lines[1]
    assert "vertical datum: EGM2008" in lines
    assert any(line.startswith("attribution: Produced using Copernicus WorldDEM-30 © DLR") for line in lines)
    assert lines[-2:] == ["written: line-fetched.toml", "next: gradewright profile line-fetched.toml"]
    told = tomllib.loads(Path("line-fetched.toml").read_text(encoding="utf-8"))
    assert told["centreline"] == {"path": "line.geojson"}
    (pattern,) = told["elevation"]["rasters"]
    assert pattern.startswith("elevation-cache/copernicus-glo-30-")
    profile = build_profile(read_territory("line-fetched.toml"))
    assert profile.vertical_datum == "EGM2008"
    assert "DLR e.V." in profile.attribution
    assert np.isfinite(profile.ground).all()
    again = fetch("line.geojson")
    assert f"in the cache: {NAME}" in again.stdout
    assert "0 bytes came" in again.stdout


@pytest.mark.usefixtures("bucket")
def test_a_territory_keeps_the_rest():
    """Law: of a territory all but its [elevation] stays; paths start at the folder of the new file."""
    text = country.TERRITORY.replace('path = "line.geojson"', 'path = "../line.geojson"')
    text = text.replace("[[structures]]", '[[structures]]\nkind = "bridge"\npath = "bridges.geojson"\n[[structures]]')
    Path("given").mkdir()
    Path("given/marram.toml").write_text(text, encoding="utf-8")
    country.write_lines(Path("given/bridges.geojson"), LINE[20:25])
    result = fetch("given/marram.toml", "--out", "out/new.toml", "--cache", "cache")
    assert result.exit_code == 0, result.output
    assert "the [elevation] of given/marram.toml is not in it" in result.stdout
    told = tomllib.loads(Path("out/new.toml").read_text(encoding="utf-8"))
    assert told["centreline"]["path"] == "../line.geojson"
    assert told["structures"][0]["path"] == "../given/bridges.geojson"
    assert told["posts"] == tomllib.loads(text)["posts"]
    assert set(told["elevation"]) == {"rasters", "vertical_datum", "attribution", "licence"}
    assert told["elevation"]["rasters"][0].startswith("../cache/copernicus-glo-30-")
    assert read_territory("out/new.toml").route.name == "Marram to Sallow"


@pytest.mark.usefixtures("bucket")
@pytest.mark.parametrize("cache", ["cache [1]", "elevation-cache", "behind/cache"])
def test_places_that_patterns_and_links_make_difficult(cache: str):
    """Law: whatever the folders are called, and behind a link too, what is written is profiled as it stands."""
    Path("behind/a").mkdir(parents=True)
    Path("link").symlink_to("behind/a")
    for out in ("[ab] c.toml", "link/new.toml"):
        result = fetch("line.geojson", "--out", out, "--cache", cache)
        assert result.exit_code == 0, result.output
        territory = read_territory(out)
        assert np.isfinite(build_profile(territory).ground).all()
    result = fetch("line.geojson", "--out", "[ab] c.toml")
    assert result.stdout.endswith("next: gradewright profile '[ab] c.toml'\n")


@pytest.mark.usefixtures("bucket")
def test_one_file_for_each_source():
    """Law: two lines of one beginning do not write over each other."""
    for name in ("line.v1.geojson", "line.v2.geojson"):
        Path("line.geojson").rename(name)
        assert fetch(name).exit_code == 0
        Path(name).rename("line.geojson")
    assert Path("line.v1-fetched.toml").exists()
    assert Path("line.v2-fetched.toml").exists()


@pytest.mark.usefixtures("bucket")
def test_what_is_assumed_of_a_folder():
    """Law: datum, credit and licence of tiles that do not say them are assumed in nobody's silence, each by itself;
    of several names it is the file that is there which is listed."""
    Path("tiles").mkdir()
    Path("tiles/S39W032.hgt.gz").write_bytes(gzip.compress(hgt()))
    assumed = "taken to be SRTM, as nothing else is stated: "
    listed = fetch("line.geojson", "--list", catalogue="tiles").stdout.splitlines()
    assert listed[0] == "tiles in the SRTM layout, tiles: 1 tile along the line, ±2,000 m"
    assert re.fullmatch(r"S39W032: tiles/S39W032\.hgt\.gz, [\d.]+ [kM]B", listed[1])
    assert listed[2] == f"{assumed}vertical datum, attribution, licence"
    stated = ["--vertical-datum", "EGM2008", "--attribution", "Sedge"]
    assert f"{assumed}licence\n" in fetch("line.geojson", *stated, catalogue="tiles").stdout
    assert assumed not in fetch("line.geojson", *stated, "--licence", "open", catalogue="tiles").stdout


@pytest.mark.usefixtures("bucket")
def test_never_over_a_file_of_the_user():
    """Law: what fetch did not write stays, byte for byte, and is named; what it wrote it writes again."""
    Path("mine.toml").write_text("# mine\n", encoding="utf-8")
    for place in ("mine.toml", "line.geojson"):
        before = Path(place).read_bytes()
        result = fetch("line.geojson", "--out", place)
        assert result.exit_code == 1
        said = "stands there and was not written by gradewright fetch; name another file with --out"
        assert result.stderr == f"gradewright: {place}: {said}\n"
        assert Path(place).read_bytes() == before
    assert not Path("elevation-cache").exists()
    assert fetch("line.geojson").exit_code == 0
    assert fetch("line-fetched.toml").stdout.endswith("next: gradewright profile line-fetched.toml\n")


def test_list_fetches_nothing(bucket: Server):
    """Law: tiles with their addresses; sizes as the cache knows them; nothing asked for, nothing made."""
    result = fetch("line.geojson", "--list")
    address = f"{bucket.address}/{NAME}/{NAME}.tif"
    assert result.stdout.splitlines()[1] == f"{NAME}: {address}, size unknown"
    assert not bucket.asked
    assert [path.name for path in Path().iterdir()] == ["line.geojson"]
    fetch("line.geojson")
    assert f"{address}, {len(cog()) / 1e6:.1f} MB" in fetch("line.geojson", "--list").stdout


@pytest.mark.usefixtures("bucket")
def test_what_is_stated_counts():
    """Law: datum, attribution and licence of the command line before those of the catalogue."""
    fetch("line.geojson", "--vertical-datum", "EGM96", "--attribution", "Sedge", "--licence", "mine")
    told = tomllib.loads(Path("line-fetched.toml").read_text(encoding="utf-8"))["elevation"]
    assert (told["vertical_datum"], told["attribution"], told["licence"]) == ("EGM96", "Sedge", "mine")


@pytest.mark.parametrize(
    ("words", "catalogue", "said"),
    [
        (["none.geojson"], "copernicus-glo-30", "none.geojson: there is no such file"),
        (["line.geojson"], "sedge", "is no catalogue, no folder and no address"),
        (["line.geojson"], "stac:file:///x", "no address of a STAC API"),
        (["line.geojson", "--collection", "x"], "copernicus-glo-30", "is no STAC API; leave --collection and --asset"),
        (["line.geojson", "--out", "."], "copernicus-glo-30", "is a folder; name a file with --out"),
        (["known.toml"], "copernicus-glo-30", "states its elevations in [profile]"),
    ],
)
def test_refusals(bucket: Server, words: list[str], catalogue: str, said: str):
    """Law: one sentence, exit code 1, nothing asked for."""
    Path("known.toml").write_text('[profile]\ntable = "chart.csv"\n', encoding="utf-8")
    result = fetch(*words, catalogue=catalogue)
    assert result.exit_code == 1
    assert said in result.stderr
    assert result.stderr.count("\n") == 1
    assert not bucket.asked


def test_no_connection(bucket: Server, monkeypatch: pytest.MonkeyPatch):
    """Law: one sentence; a folder made for the cache is all there is."""
    table = catalogues.catalogues()
    here = dataclasses.replace(table["copernicus-glo-30"], address="http://nowhere.invalid/{name}.tif")
    monkeypatch.setattr(catalogues, "catalogues", lambda: table | {here.key: here})
    result = fetch("line.geojson")
    assert result.exit_code == 1
    assert result.stderr == (
        f"gradewright: http://nowhere.invalid/{NAME}.tif: cannot be reached; "
        "check the connection and start again, what has come is kept\n"
    )
    assert not bucket.asked
    assert not Path("line-fetched.toml").exists()
