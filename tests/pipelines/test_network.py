"""A folder of territories: what fails stays with itself, and the number of processes changes nothing."""

from __future__ import annotations

import csv
import hashlib
import os
import signal
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipelines.network import COLUMNS, Outcome, Task, plan, report, run, run_one
from profiler import InputError
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


def network(folder: Path, out: Path, *more: str) -> Result:
    return CliRunner().invoke(main, ["network", str(folder), "--out", str(out), "--tables-only", *more])


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
    assert result.stdout == f"2 done, 1 failed: {out / 'network.csv'}\n"
    assert "broken.toml: route.unit: no such key; did you mean units?" in result.stderr
    table = rows(out)
    assert tuple(table[0]) == COLUMNS
    assert [(row["territory"], row["state"]) for row in table] == [
        ("broken.toml", "failed"),
        ("marram.toml", "done"),
        ("sedge.toml", "done"),
    ]
    broken, marram, _ = table
    assert "did you mean units?" in broken["error"]
    assert broken["length_km"] == broken["highest_m"] == ""
    # 9 km as drawn, and a sway of 150 m: 9.02 km; the hills rise to 300 + 25 + 10 m
    assert float(marram["length_km"]) == pytest.approx(9.023, abs=0.005)
    assert float(marram["highest_m"]) == pytest.approx(325, abs=11)
    assert float(marram["train_length_m"]) == 2000
    assert marram["error"] == ""
    for name in ("marram-profile", "north-sedge-profile"):
        assert (out / name / "profile.csv").is_file()
    assert not (out / "broken-profile").exists()


def test_two_processes_write_what_one_writes(territories: Path, tmp_path: Path):
    """Law: the same bytes in every file, network.csv too, whatever the number of processes."""
    one, two = tmp_path / "one", tmp_path / "two"
    assert network(territories, one, "--workers", "1").exit_code == 1
    assert network(territories, two, "--workers", "2").exit_code == 1
    assert len(contents(one)) == 1 + 2 * 12
    assert contents(one) == contents(two)


def stub(task: Task) -> Outcome:
    """A job that kills its process where the territory's name says so, once or always."""
    mark = task.folder.with_suffix(".tried")
    if task.territory.name == "always" or (task.territory.name == "once" and not mark.exists()):
        mark.write_text("")
        os.kill(os.getpid(), signal.SIGKILL)
    return Outcome(task, length_km=1.0)


@pytest.mark.parametrize("first", ["always", "once"])
def test_a_killed_process_does_not_end_the_run(tmp_path: Path, first: str):
    """Law: killed twice it is named; killed once it is done at the second try; all others are done."""
    names = ["a", first, "b", "c", "d", "e"]
    outcomes = list(run([Task(Path(name), tmp_path / name) for name in names], 2, stub))
    assert sorted(o.task.territory.name for o in outcomes) == sorted(names)
    failed = {o.task.territory.name: o.error for o in outcomes if o.error}
    assert set(failed) == ({"always"} if first == "always" else set())
    assert all("process was killed" in error for error in failed.values())


def test_a_bug_stays_with_its_territory(territories: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: what is no error of ours is named as a bug, and the next territory is profiled."""

    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("profiler.rail.estimate", fail)
    outcome = run_one(Task(territories / "marram.toml", tmp_path / "out", pictures=False))
    assert outcome.error == "bug, ZeroDivisionError: division by zero"
    assert not (tmp_path / "out").exists()


def test_plan_only_looks(territories: Path, tmp_path: Path):
    """Law: planning writes nothing and says the same each time; a train file is no territory."""
    before = contents(tmp_path)
    tasks = plan(territories, Path("out"), trim=True, pictures=False)
    assert tasks == plan(territories, Path("out"), trim=True, pictures=False)
    assert contents(tmp_path) == before
    assert [task.folder for task in tasks] == [
        Path("out/broken-profile"),
        Path("out/marram-profile"),
        Path("out/north-sedge-profile"),
    ]
    assert all(task.trim and not task.pictures for task in tasks)


def test_plan_refuses(tmp_path: Path):
    """Law: nothing to do, or two results in one place, is said before any work."""
    with pytest.raises(InputError, match="there is no such folder"):
        plan(tmp_path / "nowhere", tmp_path)
    with pytest.raises(InputError, match="holds no territory file"):
        plan(tmp_path, tmp_path)
    (tmp_path / "a").mkdir()
    for name in ("a/b.toml", "a-b.toml"):
        (tmp_path / name).write_text(country.TERRITORY)
    with pytest.raises(InputError, match=r"would write where .*b.toml does; rename one of them"):
        plan(tmp_path, tmp_path)


def test_refusals_on_the_command_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: the command says the same in one sentence, exit code 1, nothing made."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "empty").mkdir()
    result = CliRunner().invoke(main, ["network", "empty"])
    assert result.exit_code == 1
    assert result.stderr == (
        "gradewright: empty: holds no territory file; put .toml files with a [centreline] into it\n"
    )
    assert [p.name for p in tmp_path.iterdir()] == ["empty"]


def test_report_is_one_table():
    """Law: sorted by place, empty where there is no figure, a comma in a message quoted."""
    one = Outcome(Task(Path("z.toml"), Path("b")), error="z.toml: is empty, or worse; look")
    two = Outcome(Task(Path("y.toml"), Path("a")), 12.3456, 1.0, 2.0, 2000.0, 99.0)
    assert report([one, two]) == (
        ",".join(COLUMNS)
        + "\ny.toml,done,12.346,1.000,2.000,2000.000,99.000,\n"
        + 'z.toml,failed,,,,,,"z.toml: is empty, or worse; look"\n'
    )
