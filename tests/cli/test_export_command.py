"""gradewright export as a user runs it: what it writes, what it says on which channel, what it refuses."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sqlite3
from pathlib import Path

import pytest
from click.testing import CliRunner

from profiler.cli.main import main
from profiler.read import layout
from profiler.write.exports import EXPORTS
from profiler.write.geopackage import write_geopackage
from tests.exported import plain
from tests.invented import invented_landmarks


@pytest.fixture(scope="module")
def complete(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("complete") / "line-profile"
    folder.mkdir()
    write_geopackage(plain(200.0), invented_landmarks(), folder / layout.FILE_NAME)
    return folder


@pytest.fixture
def here(complete: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to stand in, with a written profile."""
    shutil.copytree(complete, tmp_path / "line-profile")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*args: str) -> tuple[str, str]:
    """What a command that goes well says on stdout and on stderr."""
    result = CliRunner().invoke(main, ["export", *args])
    assert result.exit_code == 0, result.output
    return result.stdout, result.stderr


def contents(folder: Path) -> dict[str, str]:
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() if p.is_file() else "folder"
        for p in folder.rglob("*")
    }


def refused(here: Path, *args: str) -> str:
    """The one sentence with which the command refuses; nothing has changed on disk."""
    before = contents(here)
    result = CliRunner().invoke(main, ["export", *args])
    assert result.exit_code == 1, result.output
    assert contents(here) == before
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1
    return result.stderr.removeprefix("gradewright: ").removesuffix("\n")


@pytest.mark.parametrize("name", EXPORTS)
def test_every_format_beside_the_folder(here: Path, name: str):
    """Law: one thing appears, named after the folder, and it is the one the command says to open; that the line is
    invented and the caution are said, what the format does not carry goes to stderr."""
    said, warned = run("line-profile", "--to", name)
    made = f"line-profile{EXPORTS[name].suffix}"
    assert {p.name for p in here.iterdir()} == {"line-profile", made}
    assert said.split("Open:\n")[1].split() == [made]
    assert "Invented line: " in said
    assert "Training and planning aid only." in said
    assert warned
    assert all(line.startswith(f"{name}: ") for line in warned.splitlines())


@pytest.mark.usefixtures("here")
@pytest.mark.parametrize("name", ["gpx", "kml"])
def test_datum_is_never_dropped_in_silence(name: str):
    """Law: formats without a vertical datum say on stderr what heights are above."""
    assert "EGM2008" in run("line-profile", "--to", name)[1]


def test_places(here: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: the file inside names its folder; --out may lie in a folder still to be made; "." works inside."""
    run("line-profile/profile.gpkg", "--to", "geojson")
    run("line-profile", "--to", "geojson", "--out", "new/folder/a.geojson")
    assert (here / "line-profile.geojson").read_bytes() == (here / "new/folder/a.geojson").read_bytes()
    monkeypatch.chdir(here / "line-profile")
    run(".", "--to", "gpx")
    assert (here / "line-profile.gpx").is_file()


def test_unknown_format(here: Path):
    """Law: the formats are listed; usage errors end with 2."""
    result = CliRunner().invoke(main, ["export", "line-profile", "--to", "dxf"])
    assert result.exit_code == 2
    assert all(f"'{name}'" in result.stderr for name in EXPORTS)
    assert [p.name for p in here.iterdir()] == ["line-profile"]


def test_no_profile(here: Path):
    """Law: a folder without a profile, and a file that is none, are named."""
    (here / "empty").mkdir()
    (here / "a.geojson").write_text("{}")
    assert refused(here, "empty", "--to", "kml").startswith("empty/profile.gpkg: there is no such file; give an output")
    assert refused(here, "a.geojson", "--to", "kml").startswith("a.geojson: is no GeoPackage; give an output folder")


def test_older_layout(here: Path):
    """Law: a profile of another version is to be written again."""
    path = here / "line-profile/profile.gpkg"
    with sqlite3.connect(path) as database:
        database.execute("UPDATE about SET value = ? WHERE key = 'layout'", (json.dumps(layout.VERSION - 1),))
    database.close()
    said = refused(here, "line-profile", "--to", "csv")
    assert said.startswith("line-profile/profile.gpkg: has layout ")
    assert said.endswith("; write the profile again")


def test_not_writable(here: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: a place that takes nothing is refused. Root may write anywhere: asking is mocked."""
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert "permission is denied" in refused(here, "line-profile", "--to", "kml", "--out", "new/a.kml")


def test_file_in_the_way(here: Path):
    """Law: a file where a folder is needed is named, and kept."""
    (here / "notes.txt").write_text("mine")
    assert refused(here, "line-profile", "--to", "kml", "--out", "notes.txt/a.kml").startswith(
        "notes.txt: is in the way"
    )
    said = refused(here, "line-profile", "--to", "kml", "--out", "notes.txt")
    assert said.startswith("notes.txt: stands there and was not written by gradewright; move it away")


def test_interrupted(here: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: stopped while it writes, nothing is left."""

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("profiler.write.kml._grade_runs", stop)
    before = contents(here)
    result = CliRunner().invoke(main, ["export", "line-profile", "--to", "kml"])
    assert result.exit_code == 130
    assert contents(here) == before
