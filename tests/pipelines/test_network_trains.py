"""A train that cannot be briefed leaves its line's profile standing, is told of, and tried again alone."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import geopandas
import pytest

import profiler.briefing.plan
from pipelines.networks.job import Task, lost, run_one
from pipelines.networks.plan import read_plan
from pipelines.networks.tasks import Options, tasks_of
from profiler import InputError, read_profile
from tests import country
from tests.pipelines.test_network import contents, network, rows
from tests.pipelines.test_network_plan import TRAIN, write_plan

PLAN = '[network]\nterritories = ["marram.toml"]\ntrains = ["heavy.toml", "light.toml"]\n'
LIMIT = """
[[speed_limits]]
train_class = "crawling"
from = { chainage_m = 1000 }
to = { chainage_m = 2000 }
speed_kmh = 1
"""
HEAVY = TRAIN.replace("Empties", "Heavy")
CRAWLING = HEAVY.replace("[[block]]", 'train_class = "crawling"\n[[block]]', 1)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one line, on which one class of trains has a limit that cannot be held."""
    folder = tmp_path_factory.mktemp("plan")
    country.write_territory(folder, country.TERRITORY + LIMIT, name="marram.toml")
    return folder


def written(folder: Path) -> Path:
    """A plan of the line and two trains."""
    for name, text in (("heavy", HEAVY), ("light", TRAIN)):
        (folder / f"{name}.toml").write_text(text)
    return write_plan(folder, PLAN)


@pytest.fixture
def plan(folder: Path) -> Path:
    """The plan as no other test has left it."""
    return written(folder)


@pytest.fixture(scope="module")
def whole(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Every file of a run in which nothing fails."""
    out = tmp_path_factory.mktemp("whole")
    assert network(written(folder), out, "--workers", "1").exit_code == 0
    return contents(out)


@pytest.fixture
def planned(monkeypatch: pytest.MonkeyPatch) -> Callable[..., list[str]]:
    """Have every planning counted by its train's name, and those of some trains fail, or end the run."""
    plan_handling = profiler.briefing.plan.plan_handling

    def watched(failing: str = "", error: BaseException | None = None) -> list[str]:
        called: list[str] = []

        def count(profile, landmarks, train, *more):
            called.append(train.name)
            if train.name == failing and error is not None:
                raise error
            return plan_handling(profile, landmarks, train, *more)

        monkeypatch.setattr(profiler.briefing.plan, "plan_handling", count)
        return called

    return watched


def stamp(out: Path) -> int:
    return (out / "lines/marram.gpkg").stat().st_mtime_ns


def test_one_train_of_two_fails(whole: dict[str, str], plan: Path, tmp_path: Path):
    """Law: the profile and the other train's briefing are there, the failure is told everywhere with the train named;
    once the train is corrected, it all is as if it had never failed, the profile not done again."""
    out = tmp_path / "out"
    (plan.parent / "heavy.toml").write_text(CRAWLING)
    result = network(plan, out, "--workers", "1")
    assert result.exit_code == 1
    assert result.stdout.startswith("1 done, 0 failed, trains failed on 1: ")
    (told,) = [line for line in result.stderr.splitlines() if line.startswith("failed: ")]
    assert told.startswith("failed: marram.toml: train heavy: ")
    assert "walking pace" in told
    (row,) = rows(out)
    assert (row["state"], float(row["length_km"])) == ("trains failed", pytest.approx(9.023, abs=0.005))
    assert row["error"] == told.removeprefix("failed: marram.toml: ")
    failures = geopandas.read_file(out / "network.gpkg", layer="failures")
    assert failures.values.tolist() == [["marram", "marram.toml", row["error"]]]
    assert geopandas.read_file(out / "network.gpkg", layer="lines")["line"].tolist() == ["marram"]
    assert row["error"] in (out / "network.html").read_text(encoding="utf-8")
    assert [p.parent.parent.name for p in (out / "briefings").rglob("marks.csv")] == ["light"]
    before, done = contents(out), stamp(out)
    assert network(plan, out, "--workers", "1").exit_code == 1
    assert (contents(out), stamp(out)) == (before, done)
    (plan.parent / "heavy.toml").write_text(HEAVY)
    assert network(plan, out, "--workers", "1").exit_code == 0
    assert (contents(out), stamp(out)) == (whole, done)


def test_an_end_that_is_none(plan: Path, tmp_path: Path):
    """Law: what several trains have in common is one failure that names them; the profile outlasts the correction."""
    out = tmp_path / "out"
    plan.write_text(PLAN + 'to = "Nowhere"\n')
    assert network(plan, out, "--workers", "1").exit_code == 1
    assert rows(out)[0]["error"] == (
        "trains heavy, light: marram.toml, to: 'Nowhere' is no end of the line; write 'Sallow' or 'Marram'"
    )
    assert not (out / "briefings").exists()
    done = stamp(out)
    plan.write_text(PLAN + 'to = "Marram"\n')
    assert network(plan, out, "--workers", "1").exit_code == 0
    assert {p.parent.name for p in (out / "briefings").rglob("marks.csv")} == {"against"}
    assert stamp(out) == done


def test_what_failed_is_tried_again(whole: dict[str, str], plan: Path, tmp_path: Path, planned):
    """Law: while a train fails as before it alone is tried, and nothing written but what is told of it; when it
    succeeds all ends with the same bytes, and after that no train is planned."""
    out = tmp_path / "out"
    planned("Heavy", InputError("Heavy", "cannot be held", "shorten it"))
    assert network(plan, out, "--workers", "1").exit_code == 1
    assert rows(out)[0]["error"] == "train heavy: Heavy: cannot be held; shorten it"
    before, done = contents(out), stamp(out)
    called = planned("Heavy", ZeroDivisionError("division by zero"))
    assert network(plan, out, "--workers", "1").exit_code == 1
    assert called == ["Heavy"]
    assert rows(out)[0]["error"] == "train heavy: bug, ZeroDivisionError: division by zero"
    changed = {name for name, digest in contents(out).items() if before[name] != digest}
    assert changed == {"network.csv", "network.gpkg", "network.html", "lines/marram.json"}
    called = planned()
    assert network(plan, out, "--workers", "1").exit_code == 0
    assert called == ["Heavy", "Empties"]
    assert (contents(out), stamp(out)) == (whole, done)
    called = planned()
    assert network(plan, out, "--workers", "1").exit_code == 0
    assert called == []


def test_ended_between_the_profile_and_the_trains(whole: dict[str, str], plan: Path, tmp_path: Path, planned):
    """Law: a run that ends while a train is planned keeps the profile, and the next one's bytes are the same; so they
    are where the briefings have gone."""
    out = tmp_path / "out"
    planned("Empties", KeyboardInterrupt())
    assert network(plan, out, "--workers", "1").exit_code == 130
    done = stamp(out)
    planned()
    assert network(plan, out, "--workers", "1").exit_code == 0
    assert (contents(out), stamp(out)) == (whole, done)
    shutil.rmtree(out / "briefings")
    assert network(plan, out, "--workers", "1").exit_code == 0
    assert (contents(out), stamp(out)) == (whole, done)


def test_trains_taken_out_of_the_plan(plan: Path, tmp_path: Path):
    """Law: without trains the line is done by its profile, which is not done again, and nothing is told of them."""
    out = tmp_path / "out"
    (plan.parent / "heavy.toml").write_text(CRAWLING)
    assert network(plan, out, "--workers", "1").exit_code == 1
    done = stamp(out)
    plan.write_text('[network]\nterritories = ["marram.toml"]\n')
    assert network(plan, out, "--workers", "1").exit_code == 0
    assert rows(out)[0]["state"] == "done"
    assert stamp(out) == done


def test_a_process_lost_over_a_train(plan: Path, tmp_path: Path, planned):
    """Law: a task that took its process with it is its trains' failure if the profile stands, else the line's."""
    out = tmp_path / "out"
    (out / "lines").mkdir(parents=True)
    (task,) = tasks_of(read_plan(plan, out), out, Options())
    assert isinstance(task, Task)
    assert lost(task).error.startswith("its process was killed")
    planned("Empties", KeyboardInterrupt())
    with pytest.raises(KeyboardInterrupt):
        run_one(task)
    outcome = lost(task)
    (told,) = outcome.problems
    assert told.startswith("trains heavy, light: its process was killed")
    assert (outcome.error, outcome.length_km) == ("", read_profile(out / "lines/marram.gpkg").route.length / 1000)
