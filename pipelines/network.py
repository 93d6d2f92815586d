"""A whole network: plan, run one, map over many, and one file of it all.

`network_plan` reads the PLAN, `network_tasks` makes a task of each line, `network_job` does one, `pool` or
`scheduler` maps over many, and here they are put together. Every line's result stands by itself as soon as it is
done, so that a run that was ended in any way goes on from there.
"""

from __future__ import annotations

import contextlib
import csv
import io
import os
import shutil
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

from pipelines.networks.job import Task, lost, run_one
from pipelines.networks.plan import Plan
from pipelines.networks.records import (
    FOLDER,
    Outcome,
    briefing_folder,
    failures,
    keep_failure,
    of_disk,
    profile_folder,
    result_file,
    write_text,
)
from pipelines.networks.tasks import Options, tasks_of
from pipelines.networks.view import write_view
from profiler import OutputError, write_network

COLUMNS = (
    "territory",
    "state",
    "length_km",
    "ruling_grade_with_pct",
    "ruling_grade_against_pct",
    "train_length_m",
    "highest_m",
    "error",
    "line",
)

Job = Callable[[Task], Outcome]
Map = Callable[[Iterable[Task], Job, Job], Iterator[Outcome]]
"""Tasks, the job, and what to say of a task that was lost twice: outcomes as they come in."""


def outcomes(plan: Plan, out: Path, options: Options, mapped: Map, job: Job = run_one) -> Iterator[Outcome]:
    """What becomes of each line, as it comes in; a line's tasks are made when there is room for them.

    Whoever asks is `alone_in` the folder: territory files of an area are written first.

    Raises
    ------
    OutputError
        If results cannot be written. What is done is not lost.
    """
    if plan.area is not None:
        plan.area.write()
    at_once: deque[Outcome] = deque()

    def tasks() -> Iterator[Task]:
        for found in tasks_of(plan, out, options):
            if isinstance(found, Outcome):
                at_once.append(found)
            else:
                yield found

    for outcome in _with(at_once, mapped(tasks(), job, lost)):
        if outcome.error:
            keep_failure(out, outcome)
        yield outcome


def _with(at_once: deque[Outcome], coming: Iterator[Outcome]) -> Iterator[Outcome]:
    for outcome in coming:
        while at_once:
            yield at_once.popleft()
        yield outcome
    yield from at_once


def write_whole(plan: Plan, out: Path, done: Sequence[Outcome]) -> Path:
    """The one file of the network, its report as a table and its view; in order of the keys, whatever came in first.

    Raises
    ------
    OutputError
        If they cannot be written.
    """
    ordered = sorted(done, key=lambda outcome: outcome.key)
    whole = write_network(
        ((o.key, result_file(out, o.key)) for o in ordered if not o.error),
        out / f"network.{plan.result}",
        failures=failures(ordered),
        name=plan.name,
        invented=plan.invented,
        stations=plan.stations,
    )
    write_text(out / "network.csv", report(ordered))
    write_view(plan, out, ordered)
    return whole


def report(done: Iterable[Outcome]) -> str:
    """The outcomes as CSV text, sorted by line."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(COLUMNS)
    for o in sorted(done, key=lambda o: o.key):
        figures = (o.length_km, o.ruling_with_pct, o.ruling_against_pct, o.train_length_m, o.highest_m)
        state = "failed" if o.error else "trains failed" if o.trains_failed else "done"
        error = "; ".join(o.problems)
        table.writerow([o.territory, state, *("" if x is None else f"{x:.3f}" for x in figures), error, o.key])
    return text.getvalue()


@contextlib.contextmanager
def alone_in(out: Path) -> Iterator[None]:
    """The folder of results, made if it is missing, this run alone in it; what was left unfinished goes.

    Raises
    ------
    OutputError
        If it cannot be written, or another run is at work in it.
    """
    try:
        (out / FOLDER).mkdir(parents=True, exist_ok=True)
        lock = (out / FOLDER / ".lock").open("w")
    except OSError as error:
        found = of_disk(error, out)
        if found is not error:
            raise found from error
        raise OutputError(out, f"cannot be written ({error.strerror})", "choose another --out") from error
    with lock:
        _take(lock.fileno(), out)
        _tidy(out)
        yield
        _tidy(out)


def _tidy(out: Path) -> None:
    """Take away what processes that were killed left unfinished; other folders there may be somebody else's."""
    for folder in (".", FOLDER, "area", profile_folder("*"), briefing_folder("**")):
        for left in out.glob(f"{folder}/.unfinished-*"):
            shutil.rmtree(left, ignore_errors=True)


def _take(handle: int, out: Path) -> None:
    if os.name != "posix":
        return
    import fcntl

    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)  # gone with the process, however that ends
    except BlockingIOError as error:
        raise OutputError(out, "another run is at work there", "wait for it, or choose another --out") from error
    except OSError:  # a file system without locks
        pass
