"""The same tasks on a Dask scheduler: a worker killed, a scheduler that is not there, or has no workers, or goes."""

from __future__ import annotations

import importlib
import os
import signal
import socket
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import dask
import pytest
from distributed import LocalCluster

from pipelines.network import alone_in, outcomes, write_whole
from pipelines.networks.plan import read_plan
from pipelines.networks.scheduler import AT_ONCE, map_over_scheduler
from pipelines.networks.tasks import Options
from profiler import InputError
from tests.pipelines.test_network import contents, network
from tests.pipelines.test_network_resume import territories, whole  # noqa: F401 (fixtures)
from tests.pipelines.test_pool import alive, missed, stub
from tests.waiting import until

WORKERS = 2


PATIENT = partial(map_over_scheduler, answers_within=120.0, workers_within=120.0)
"""On a machine that has much else to do."""


@pytest.fixture(scope="module")
def two_workers() -> Iterator[LocalCluster]:
    """Two processes of one thread each; a task that takes two of them with it is given up."""
    config = {"distributed.scheduler.allowed-failures": 1, "distributed.worker.daemon": True}
    with (
        dask.config.set(config),
        LocalCluster(
            n_workers=WORKERS,
            threads_per_worker=1,
            dashboard_address=None,
            worker_dashboard_address=None,
            silence_logs=50,
        ) as made,
    ):
        yield made


@pytest.fixture
def cluster(two_workers: LocalCluster, monkeypatch: pytest.MonkeyPatch) -> LocalCluster:
    """A worker at work, whoever killed one before; the command waits for it as long as it takes."""
    until(lambda: living(two_workers) and two_workers.scheduler.workers)
    monkeypatch.setattr("pipelines.networks.scheduler.map_over_scheduler", PATIENT)
    return two_workers


def living(cluster: LocalCluster) -> list[int]:
    """Process numbers of the workers; one that is being started again has none."""
    return [one.pid for one in cluster.workers.values() if one.pid is not None and alive(one.pid)]


def mapped(cluster: LocalCluster, names: Iterator[str] | list[str], folder: Path) -> Iterator[str]:
    return PATIENT(names, partial(stub, folder), missed, address=cluster.scheduler_address)


def test_tasks_go_in_chunks(cluster: LocalCluster, tmp_path: Path):
    """Law: every task is done once, and no more are asked for ahead than the workers have room for."""
    made: list[int] = []

    def tasks() -> Iterator[str]:
        for number in range(60):
            made.append(number)
            yield str(number)

    found = []
    for outcome in mapped(cluster, tasks(), tmp_path):
        found.append(outcome)
        assert len(made) <= len(found) + AT_ONCE * WORKERS
    assert sorted(found) == sorted(map(str, range(60)))


def test_a_task_that_kills_its_worker(cluster: LocalCluster, tmp_path: Path):
    """Law: once, and another worker does it; always, and it is lost; the others are done."""
    found = list(mapped(cluster, ["a", "once", "b", "always", "c"], tmp_path))
    assert sorted(found) == sorted(["a", "once", "b", "c", "lost always"])


def test_a_worker_killed_in_mid_run(
    cluster: LocalCluster,
    territories: Path,  # noqa: F811
    whole: dict[str, str],  # noqa: F811
    tmp_path: Path,
):
    """Law: real lines, a worker killed with -9 after the first: all done, in every file the bytes of one process."""
    out = tmp_path / "out"
    plan = read_plan(territories, out)
    done = []
    over = partial(PATIENT, address=cluster.scheduler_address)
    with alone_in(out):
        for outcome in outcomes(plan, out, Options(), over):
            done.append(outcome)
            if len(done) == 1:
                os.kill(living(cluster)[0], signal.SIGKILL)
        write_whole(plan, out, done)
    assert not any(outcome.error for outcome in done)
    assert contents(out) == whole


def test_by_the_command(cluster: LocalCluster, territories: Path, whole: dict[str, str], tmp_path: Path):  # noqa: F811
    """Law: --scheduler changes nothing in any file."""
    result = network(territories, tmp_path / "out", "--scheduler", cluster.scheduler_address)
    assert result.exit_code == 0, result.stderr
    assert contents(tmp_path / "out") == whole


def test_an_error_of_the_job_comes_out(cluster: LocalCluster, tmp_path: Path):
    """Law: what a job raises ends the map as it is."""
    with pytest.raises(OSError, match="No space left"):
        list(mapped(cluster, ["a", "bad", "b"], tmp_path))


def test_workers_that_know_nothing_of_it(cluster: LocalCluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: a job that workers cannot import is told in one sentence."""
    (tmp_path / "only_here.py").write_text("def job(task):\n    return task\n")
    monkeypatch.syspath_prepend(tmp_path)
    job = importlib.import_module("only_here").job
    with pytest.raises(InputError, match=r"its workers cannot import only_here: tcp:.*; install the same there"):
        list(PATIENT(["a"], job, missed, address=cluster.scheduler_address))


def test_from_another_folder(
    cluster: LocalCluster,
    territories: Path,  # noqa: F811
    whole: dict[str, str],  # noqa: F811
    monkeypatch: pytest.MonkeyPatch,
):
    """Law: workers that stand elsewhere find what is named from here."""
    monkeypatch.chdir(territories.parent)
    result = network(Path(territories.name), Path("out"), "--scheduler", cluster.scheduler_address)
    assert result.exit_code == 0, result.stderr
    assert contents(territories.parent / "out") == whole


def test_no_scheduler_there(territories: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):  # noqa: F811
    """Law: one sentence within a bounded time, whether nobody listens, nobody answers, or it is no address."""
    monkeypatch.setattr(
        "pipelines.networks.scheduler.map_over_scheduler", partial(map_over_scheduler, answers_within=1.0)
    )
    with socket.create_server(("127.0.0.1", 0)) as silent:  # it takes a connection and never says a word
        port = silent.getsockname()[1]
        for address in (f"tcp://127.0.0.1:{port}", "tcp://127.0.0.1:1", "nonsense://x", "not an address"):
            begun = time.monotonic()
            result = network(territories, tmp_path / "out", "--scheduler", address)
            assert time.monotonic() - begun < 60
            assert result.exit_code == 1
            assert result.stderr.splitlines()[-1] == (
                f"gradewright: --scheduler: nothing answers at {address} within 1 s; "
                "start one with dask scheduler and give its address, tcp://host:8786"
            )


def test_a_scheduler_without_workers(tmp_path: Path):
    """Law: said, with how to start one, instead of waiting for ever."""
    with LocalCluster(n_workers=0, dashboard_address=None, silence_logs=50) as empty:
        over = PATIENT(["a"], partial(stub, tmp_path), missed, address=empty.scheduler_address, workers_within=0.5)
        with pytest.raises(InputError, match=r"has no workers; start some with dask worker tcp://"):
            list(over)


def test_a_scheduler_that_goes_away(tmp_path: Path):
    """Law: said, with how to go on; what had come in by then has come in."""
    with LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None, silence_logs=50) as going:
        over = PATIENT(map(str, range(50)), partial(stub, tmp_path), missed, address=going.scheduler_address)
        assert next(over) in map(str, range(50))
        going.close()
        with pytest.raises(InputError, match="went away; start it again, and the same command: it goes on from here"):
            list(over)


def test_both_kinds_of_workers(territories: Path, tmp_path: Path):  # noqa: F811
    """Law: --workers and --scheduler exclude each other."""
    result = network(territories, tmp_path / "out", "--workers", "2", "--scheduler", "tcp://127.0.0.1:1")
    assert "--workers: stands beside --scheduler" in result.stderr
