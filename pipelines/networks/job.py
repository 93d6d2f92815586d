"""One line of a network, in plain Python: profiled, briefed if asked, written, recorded."""

from __future__ import annotations

import dataclasses
import functools
import importlib.metadata
import platform
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.networks.records import FOLDER, Outcome, done_before, forget, keep, of_disk, result_file
from profiler import GroundSource, InputError, OutputError, ProfilerError, Territory

if TYPE_CHECKING:
    from pipelines.networks.plan import TrainFile
    from profiler import Landmarks, Profile

COMPUTING = ("gradewright", "numpy", "scipy", "numba", "pyproj", "rasterio")
"""Packages whose version results depend on: after an upgrade lines are done again."""
CASES = ("plan", "slower", "faster")
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True)
class Task:
    """One line to do: paths, settings and headers of rasters only, so that it travels to any process.

    ``inputs`` is a hash of all that its results rest on; ``ground`` the rasters about the line, not yet opened.
    ``folder`` asks for the line's whole output folder too, with or without ``pictures``; ``versions`` are those that
    do it, where that matters.
    """

    key: str
    territory: Territory
    out: Path
    inputs: str = ""
    ground: tuple[GroundSource, ...] | None = None
    trains: tuple[TrainFile, ...] = ()
    to: str | None = None
    both: bool = False
    trim: bool = False
    folder: bool = False
    pictures: bool = False
    versions: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """What people call it: its territory file."""
        return Path(self.territory.source).name


def run_one(task: Task) -> Outcome:
    """Do one line; whatever goes wrong with it stays with it.

    Raises
    ------
    OutputError
        If results cannot be written: then the next line's could not either.
    InputError
        If this machine computes with other versions than the one that asks.
    """
    _check_here(task)
    with _ONE_AT_A_TIME:  # a scheduler's worker may have threads, and GDAL's files belong to one
        earlier = done_before(task.out, task.key, task.inputs)
        if earlier is not None:  # done, but the process that did it was lost before it could say so
            return dataclasses.replace(earlier, earlier=False)
        forget(task.out, task.key)  # what it speaks of is written over from here on
        try:
            return _done(task)
        except Exception as error:
            return failed(error, task.key, task.name, task.out)


@functools.cache
def versions() -> tuple[str, ...]:
    """Versions of all that computes."""
    return tuple(f"{name} {importlib.metadata.version(name)}" for name in COMPUTING)


def _check_here(task: Task) -> None:
    """A worker of a scheduler may run on another machine: it has to see the same folder, and to compute alike."""
    if not (task.out / FOLDER).is_dir():
        problem = f"is not there on {platform.node()}, which does the work"
        raise OutputError(task.out, problem, "choose an --out that all machines share")
    other = [here for here, asked in zip(versions(), task.versions or versions(), strict=True) if here != asked]
    if other:
        raise InputError(platform.node(), f"computes with other versions: {', '.join(other)}", "install the same there")


def failed(error: Exception, key: str, name: str, out: Path) -> Outcome:
    """The outcome of a line that an error ended; a bug in one must not end the run of a thousand, it is named as one.

    Raises
    ------
    OutputError
        The error itself, if it is one: it is never a line's own.
    """
    if isinstance(error, OSError):
        error = of_disk(error, out)
    if isinstance(error, OutputError):
        raise error
    bug = f"bug, {type(error).__name__}: {' '.join(str(error).split())}"
    return Outcome(key, name, error=str(error) if isinstance(error, ProfilerError) else bug)


def lost(task: Task) -> Outcome:
    """The outcome of a task that killed its process every time."""
    return Outcome(task.key, task.name, error="its process was killed, memory may have run out; try it alone")


def _done(task: Task) -> Outcome:
    from profiler import build_profile, landmarks_of, write_profile, write_profile_file

    profile = build_profile(task.territory, trim=task.trim, ground=task.ground)
    landmarks = landmarks_of(profile, task.territory)
    beside = []
    if task.trains:
        beside.append(f"briefings/{task.key}")
        _brief(task, profile, landmarks, task.out / beside[-1])
    if task.folder:
        beside.append(f"{task.key}-profile")
        place, command = task.out / beside[-1], ["network", task.name]
        write_profile(profile, landmarks, place, territory=task.territory, pictures=task.pictures, command=command)
    write_profile_file(profile, landmarks, result_file(task.out, task.key))
    outcome = _figures(task, profile, landmarks, beside)
    keep(task.out, outcome, task.inputs)
    return outcome


def _brief(task: Task, profile: Profile, landmarks: Landmarks, place: Path) -> None:
    from profiler import direction_towards, plan_handling, write_briefings

    source = f"{task.name}, to"
    directions = ("with", "against") if task.both else (direction_towards(profile.route, task.to, source=source),)
    briefings = {
        file.name: [plan_handling(profile, landmarks, file.train, direction, CASES) for direction in directions]
        for file in task.trains
    }
    write_briefings(
        briefings,
        place,
        territory=task.territory,
        train_files=[file.path for file in task.trains],
        pictures=task.pictures,
        command=["network", task.name],
    )


def _figures(task: Task, profile: Profile, landmarks: Landmarks, beside: Sequence[str]) -> Outcome:
    ruling = [x for x in landmarks.of_kind("ruling_grade") if x.train_length is not None]
    longest = max((x.train_length or 0.0 for x in ruling), default=None)
    values = {x.direction: x.value for x in ruling if x.train_length == longest}
    return Outcome(
        task.key,
        task.name,
        profile.route.length / 1000,
        values.get("with"),
        values.get("against"),
        longest,
        float(profile.elevation.max()),
        tuple(beside),
    )
