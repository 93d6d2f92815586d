"""A folder of territories, profiled by a pool of processes: plan (pure), run one, map over many."""

from __future__ import annotations

import csv
import io
import multiprocessing
import tomllib
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path

from profiler import InputError, ProfilerError

COLUMNS = (
    "territory",
    "state",
    "length_km",
    "ruling_grade_with_pct",
    "ruling_grade_against_pct",
    "train_length_m",
    "highest_m",
    "error",
)


@dataclass(frozen=True)
class Task:
    """One territory to profile: paths and settings only, so that it travels to any process."""

    territory: Path
    folder: Path
    trim: bool = False
    pictures: bool = True


@dataclass(frozen=True)
class Outcome:
    """What became of a task; ``error`` is empty where it went well."""

    task: Task
    length_km: float | None = None
    ruling_with_pct: float | None = None
    ruling_against_pct: float | None = None
    train_length_m: float | None = None
    highest_m: float | None = None
    error: str = ""


def plan(folder: Path, out: Path, *, trim: bool = False, pictures: bool = True) -> list[Task]:
    """A task for every territory file in a folder and its direct subfolders, sorted by name.

    Train files are passed over; a file that cannot be parsed gets a task, and fails by itself.

    Raises
    ------
    InputError
        If the folder is missing, or holds no territory, or two would write to one place.
    """
    if not folder.is_dir():
        raise InputError(folder, "there is no such folder", "check the name")
    files = [p for p in sorted((*folder.glob("*.toml"), *folder.glob("*/*.toml"))) if _is_territory(p)]
    if not files:
        raise InputError(folder, "holds no territory file", "put .toml files with a [centreline] into it")
    tasks = [Task(path, out / _place(path, folder), trim, pictures) for path in files]
    seen: dict[Path, Path] = {}
    for task in tasks:
        other = seen.setdefault(task.folder, task.territory)
        if other != task.territory:
            raise InputError(task.territory, f"would write where {other} does", "rename one of them")
    return tasks


def _is_territory(path: Path) -> bool:
    try:
        return "train" not in tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return True


def _place(path: Path, folder: Path) -> str:
    inside = path.relative_to(folder).with_suffix("")
    return "-".join((*inside.parts, "profile"))


def run_one(task: Task) -> Outcome:
    """Profile one territory in plain Python; whatever goes wrong with it stays with it."""
    from profiler import build_profile, landmarks_of, read_territory, write_profile

    try:
        territory = read_territory(task.territory)
        profile = build_profile(territory, trim=task.trim)
        landmarks = landmarks_of(profile, territory)
        command = ["network", task.territory.name]
        write_profile(profile, landmarks, task.folder, territory=territory, pictures=task.pictures, command=command)
    except ProfilerError as error:
        return Outcome(task, error=str(error))
    except Exception as error:  # a bug in one must not end the run of a thousand: it is named as one
        return Outcome(task, error=f"bug, {type(error).__name__}: {error}")
    ruling = [x for x in landmarks.of_kind("ruling_grade") if x.train_length is not None]
    longest = max((x.train_length or 0.0 for x in ruling), default=None)
    values = {x.direction: x.value for x in ruling if x.train_length == longest}
    return Outcome(
        task,
        profile.route.length / 1000,
        values.get("with"),
        values.get("against"),
        longest,
        float(profile.elevation.max()),
    )


Job = Callable[[Task], Outcome]


def run(tasks: Sequence[Task], workers: int, job: Job = run_one) -> Iterator[Outcome]:
    """Outcomes as they come in, by a pool of ``workers`` processes.

    A task that kills its process (out of memory, say) is run again alone, and named if it does
    so again; the others go on.
    """
    if workers <= 1:
        yield from map(job, tasks)
        return
    waiting = deque(tasks)
    while waiting:
        suspects: list[Task] = []
        yield from _pooled(waiting, workers, job, suspects)
        for task in suspects:
            killed: list[Task] = []
            yield from _pooled(deque([task]), 1, job, killed)
            if killed:
                yield Outcome(task, error="its process was killed, memory may have run out: try it alone")


def _pooled(waiting: deque[Task], workers: int, job: Job, suspects: list[Task]) -> Iterator[Outcome]:
    """Work off ``waiting`` until a process dies; the tasks then under way become ``suspects``."""
    with ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn")) as pool:
        pending: dict[Future[Outcome], Task] = {}
        while True:
            # no more are handed out than run at once, so that few are suspected
            while waiting and not suspects and len(pending) < workers:
                try:
                    pending[pool.submit(job, waiting[0])] = waiting[0]
                except BrokenProcessPool:
                    break
                waiting.popleft()
            if not pending:
                return
            done, _ = wait(pending, return_when=FIRST_COMPLETED)
            for future in done:
                task = pending.pop(future)
                try:
                    yield future.result()
                except BrokenProcessPool:
                    suspects.append(task)


def report(outcomes: Iterable[Outcome]) -> str:
    """The outcomes as CSV text, sorted by territory."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(COLUMNS)
    for o in sorted(outcomes, key=lambda o: str(o.task.folder)):
        figures = (o.length_km, o.ruling_with_pct, o.ruling_against_pct, o.train_length_m, o.highest_m)
        table.writerow(
            [
                o.task.territory.name,
                "failed" if o.error else "done",
                *("" if x is None else f"{x:.3f}" for x in figures),
                o.error,
            ]
        )
    return text.getvalue()
