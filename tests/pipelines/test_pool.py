"""A pool of processes: who is killed, who is named, and that nobody stays behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest

from pipelines.networks.pool import map_over_processes
from tests.waiting import until

ROOT = Path(__file__).parents[2]


def stub(folder: Path, name: str) -> str:
    """A job that kills its process where the name says so, once or always."""
    mark = folder / name
    if name == "always" or (name == "once" and not mark.exists()):
        mark.write_text("")
        os.kill(os.getpid(), signal.SIGKILL)
    if name == "bad":
        raise OSError(28, "No space left on device")
    return name


def missed(name: str) -> str:
    return f"lost {name}"


@pytest.mark.parametrize("first", ["always", "once"])
def test_a_killed_process_does_not_end_the_run(tmp_path: Path, first: str):
    """Law: killed twice it is lost; killed once it is done at the second try; all others are done."""
    names = ["a", first, "b", "c", "d", "e"]
    found = list(map_over_processes(names, partial(stub, tmp_path), missed, workers=2))
    assert sorted(found) == sorted(["a", "b", "c", "d", "e", "lost always" if first == "always" else "once"])


@pytest.mark.parametrize("workers", [1, 2])
def test_tasks_are_made_when_there_is_room(tmp_path: Path, workers: int):
    """Law: memory is bounded: no more tasks are asked for ahead than processes work at."""
    made: list[int] = []

    def tasks():
        for number in range(12):
            made.append(number)
            yield str(number)

    for done, _ in enumerate(map_over_processes(tasks(), partial(stub, tmp_path), missed, workers=workers), 1):
        assert len(made) <= done + 2 * workers
    assert len(made) == 12


def test_an_error_of_the_job_ends_the_map(tmp_path: Path):
    """Law: what a job raises comes out as it is, and the processes are gone."""
    with pytest.raises(OSError, match="No space left"):
        list(map_over_processes(["bad", *map(str, range(50))], partial(stub, tmp_path), missed, workers=2))


def sleepy(folder: Path, name: str) -> str:
    (folder / f"{name}-{os.getpid()}").write_text("")
    time.sleep(600)
    return name


SCRIPT = """
import sys
from functools import partial
from pathlib import Path
from pipelines.networks.pool import map_over_processes
from tests.pipelines.test_pool import missed, sleepy
if __name__ == "__main__":
    list(map_over_processes("ab", partial(sleepy, Path(sys.argv[1])), missed, workers=2))
"""


def heeds_ctrl_c() -> None:
    """Tests that were started in the background ignore Ctrl-C, and so would what they start."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def alive(number: int) -> bool:
    try:
        return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="looks for processes in /proc")
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
def test_processes_go_with_their_parent(tmp_path: Path, how: signal.Signals):
    """Law: however the parent ends, its processes end at once and write nothing more."""
    parent = subprocess.Popen(
        [sys.executable, "-c", SCRIPT, str(tmp_path)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stderr=subprocess.DEVNULL,
        preexec_fn=heeds_ctrl_c,
    )
    until(lambda: len(list(tmp_path.iterdir())) >= 2)
    begun = list(tmp_path.iterdir())
    parent.send_signal(how)
    parent.wait(120)
    workers = [int(path.name.rpartition("-")[2]) for path in begun]
    until(lambda: not any(map(alive, workers)))
