"""The command on a folder of territories: what fails stays with itself, the number of processes changes nothing."""

from __future__ import annotations

import csv
import dataclasses
import hashlib
import os
from pathlib import Path

import geopandas
import pytest
from click.testing import CliRunner, Result

from pipelines.network import COLUMNS, report
from pipelines.networks.job import Task, run_one, versions
from pipelines.networks.records import Outcome
from pipelines.networks.tasks import file_hash
from profiler import (
    InputError,
    OutputError,
    Territory,
    build_profile,
    landmarks_of,
    read_profile,
    read_territory,
    write_profile_file,
)
from profiler.cli.main import main
from tests import country


@pytest.fixture
def territories(tmp_path: Path) -> Path:
    """Three territory files, one of them broken, and a train file, in a folder and its subfolder."""
    folder = tmp_path / "territories"
    country.write_territory(folder, name="marram.toml")
    country.write_territory(folder / "north", country.TERRITORY.replace("Marram", "Sedge"), name="sedge.toml")
    (folder / "broken.toml").write_text(country.TERRITORY.replace('units = "us"', 'unit = "us"'))
    (folder / "train.toml").write_text('[train]\nname = "Empty hoppers"\n')
    return folder


def network(plan: Path, out: Path, *more: str) -> Result:
    return CliRunner().invoke(main, ["network", str(plan), "--out", str(out), *more])


def rows(out: Path) -> list[dict[str, str]]:
    with (out / "network.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def contents(folder: Path) -> dict[str, str]:
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.rglob("*") if p.is_file()
    }


def test_one_broken_of_three(territories: Path, tmp_path: Path):
    """Law: the broken one is a row with its sentence and exit code 1, the others are done."""
    out = tmp_path / "out"
    result = network(territories, out, "--workers", "1")
    assert result.exit_code == 1
    files = ", ".join(str(out / name) for name in ("network.gpkg", "network.csv", "network.html"))
    assert result.stdout == f"2 done, 1 failed: {files}\n"
    assert "broken.toml: route.unit: no such key; did you mean units?" in result.stderr
    table = rows(out)
    assert tuple(table[0]) == COLUMNS
    assert [(row["territory"], row["line"], row["state"]) for row in table] == [
        ("broken.toml", "broken", "failed"),
        ("marram.toml", "marram", "done"),
        ("sedge.toml", "north-sedge", "done"),
    ]
    broken, marram, _ = table
    assert "did you mean units?" in broken["error"]
    assert broken["length_km"] == broken["highest_m"] == ""
    # 9 km as drawn, and a sway of 150 m: 9.02 km; the hills rise to 300 + 25 + 10 m
    assert float(marram["length_km"]) == pytest.approx(9.023, abs=0.005)
    assert float(marram["highest_m"]) == pytest.approx(325, abs=11)
    assert float(marram["train_length_m"]) == 2000
    assert marram["error"] == ""
    lines = geopandas.read_file(out / "network.gpkg", layer="lines")
    assert lines["line"].tolist() == ["marram", "north-sedge"]
    assert lines["name"].tolist() == ["Marram to Sallow", "Sedge to Sallow"]
    failures = geopandas.read_file(out / "network.gpkg", layer="failures")
    assert failures[["line", "territory", "error"]].values.tolist() == [["broken", "broken.toml", broken["error"]]]
    assert not (out / "lines" / "broken.gpkg").exists()


def test_a_line_is_what_profile_writes(territories: Path, tmp_path: Path):
    """Law: the profile of a line is, byte for byte, that of the territory by itself."""
    network(territories, tmp_path / "out", "--workers", "1")
    territory = read_territory(territories / "marram.toml")
    profile = build_profile(territory)
    alone = write_profile_file(profile, landmarks_of(profile, territory), tmp_path / "alone.gpkg")
    assert (tmp_path / "out/lines/marram.gpkg").read_bytes() == alone.read_bytes()
    assert read_profile(tmp_path / "out/lines/marram.gpkg").route.length == profile.route.length


def test_two_processes_write_what_one_writes(territories: Path, tmp_path: Path):
    """Law: the same bytes in every file, network.csv too, whatever the number of processes."""
    one, two = tmp_path / "one", tmp_path / "two"
    assert network(territories, one, "--workers", "1", "--tables").exit_code == 1
    assert network(territories, two, "--workers", "2", "--tables").exit_code == 1
    # two lines with their records, a failure's record and the lock; three files of the whole; a folder of 12 each
    assert len(contents(one)) == 2 * 2 + 2 + 3 + 2 * 12
    assert contents(one) == contents(two)


def test_a_bug_stays_with_its_territory(territories: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: what is no error of ours is named as a bug, and the next territory is profiled."""

    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("profiler.rail.estimate", fail)
    (tmp_path / "out/lines").mkdir(parents=True)
    outcome = run_one(Task("marram", read_territory(territories / "marram.toml"), tmp_path / "out"))
    assert outcome.error == "bug, ZeroDivisionError: division by zero"
    assert [p.name for p in (tmp_path / "out").rglob("*")] == ["lines"]


def test_where_the_work_is_done(territories: Path, tmp_path: Path):
    """Law: a machine that does not see the folder of results, or computes with other versions, ends the run."""
    task = Task("marram", read_territory(territories / "marram.toml"), tmp_path / "out")
    with pytest.raises(OutputError, match=r"out: is not there on .*; choose an --out that all machines share"):
        run_one(task)
    (tmp_path / "out/lines").mkdir(parents=True)
    asked = ("gradewright 0.0.0", *versions()[1:])
    with pytest.raises(InputError, match=f"computes with other versions: {versions()[0]}; install the same there"):
        run_one(dataclasses.replace(task, versions=asked))


def test_what_goes_wrong_before_a_line_is_begun(territories: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: a bug stays with its line there too; a disk that is full does not, and ends the run."""

    def fail(path: Path) -> Territory:
        if path.name == "marram.toml":
            raise error
        return read_territory(path)

    error: Exception = ZeroDivisionError("division\nby zero")
    monkeypatch.setattr("pipelines.networks.tasks.read_territory", fail)
    assert network(territories, tmp_path / "out", "--workers", "1").exit_code == 1
    assert [row["error"] for row in rows(tmp_path / "out")][1:] == ["bug, ZeroDivisionError: division by zero", ""]
    error = OutputError("cache", "the disk is full", "free some space")
    result = network(territories, tmp_path / "out", "--workers", "1")
    assert result.stderr.endswith("gradewright: cache: the disk is full; free some space\n")


@pytest.mark.skipif(os.name != "posix", reason="names are bytes there alone")
def test_a_name_that_is_no_text(territories: Path, tmp_path: Path):
    """Law: a file whose name is not UTF-8 is a line like another, or a failure."""
    (territories / "broken.toml").rename(os.fsdecode(os.fsencode(territories) + b"/br\xfcck.toml"))
    result = network(territories, tmp_path / "out", "--workers", "1")
    assert result.exit_code == 1
    assert result.stdout.startswith("2 done, 1 failed")
    assert [row["territory"] for row in rows(tmp_path / "out")] == ["br\\udcfcck.toml", "marram.toml", "sedge.toml"]


def test_a_shapefile_of_any_name_is_looked_at(tmp_path: Path):
    """Law: what stands in a file changes its hash, whatever its name."""
    for name in ("line[1].shp", "line[1].dbf", "LINE.SHP"):
        (tmp_path / name).write_text("before")
    before = [file_hash(tmp_path / name) for name in ("line[1].shp", "LINE.SHP")]
    for name in ("line[1].dbf", "LINE.SHP"):
        (tmp_path / name).write_text("and after")
    assert not set(before) & {file_hash(tmp_path / name) for name in ("line[1].shp", "LINE.SHP")}


def test_refusals_on_the_command_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: the command says it in one sentence, exit code 1, nothing made."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "empty").mkdir()
    result = CliRunner().invoke(main, ["network", "empty"])
    assert result.exit_code == 1
    assert result.stderr == (
        "gradewright: empty: holds no territory file; put .toml files with a [centreline] into it\n"
    )
    result = CliRunner().invoke(main, ["network", "gone.toml"])
    assert result.stderr == "gradewright: gone.toml: there is no such file or folder; check the name\n"
    assert [p.name for p in tmp_path.iterdir()] == ["empty"]


def test_a_folder_with_a_dot_in_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: results of a folder are called after the whole of its name."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lines 2.1").mkdir()
    (tmp_path / "lines 2.1/broken.toml").write_text("[")
    assert CliRunner().invoke(main, ["network", "lines 2.1"]).exit_code == 1
    assert (tmp_path / "lines 2.1-network/network.csv").is_file()


def test_report_is_one_table():
    """Law: sorted by line, empty where there is no figure, a comma in a message quoted."""
    one = Outcome("b", "z.toml", error="z.toml: is empty, or worse; look")
    two = Outcome("a", "y.toml", 12.3456, 1.0, 2.0, 2000.0, 99.0)
    assert report([one, two]) == (
        ",".join(COLUMNS)
        + "\ny.toml,done,12.346,1.000,2.000,2000.000,99.000,,a\n"
        + 'z.toml,failed,,,,,,"z.toml: is empty, or worse; look",b\n'
    )
