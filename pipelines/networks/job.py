"""One line of a network, in plain Python: profiled, written, recorded; then its trains, if it has any."""

from __future__ import annotations

import dataclasses
import functools
import importlib.metadata
import platform
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.networks.records import (
    FOLDER,
    Outcome,
    done_before,
    forget,
    keep,
    profile_folder,
    result_file,
    sentence_of,
)
from pipelines.networks.trains import briefed
from profiler import GroundSource, InputError, OutputError, Territory

if TYPE_CHECKING:
    from pipelines.networks.plan import TrainFile
    from profiler import Landmarks, Profile

COMPUTING = ("gradewright", "numpy", "scipy", "numba", "pyproj", "rasterio")
"""Packages whose version results depend on: after an upgrade lines are done again."""
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True)
class Task:
    """One line to do: paths, settings and headers of rasters only, so that it travels to any process.

    ``inputs`` is a hash of all that its profile rests on, ``briefed`` of what its briefings rest on besides, empty
    where there are no trains; ``ground`` are the rasters about the line, not yet opened.
    ``folder`` asks for the line's whole output folder too, with or without ``pictures``; ``versions`` are those that
    do it, where that matters.
    """

    key: str
    territory: Territory
    out: Path
    inputs: str = ""
    briefed: str = ""
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
    """Do what is left to do of one line; what goes wrong stays with it, and what goes wrong with a train with that.

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
        if earlier is not None and earlier.finished(task.briefed):
            # done, but the process that did it was lost before it could say so
            return dataclasses.replace(earlier, earlier=False)
        try:
            return briefed(task, earlier or _profiled(task))
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
    """The outcome of a line that an error ended.

    Raises
    ------
    OutputError
        As `sentence_of`.
    """
    return Outcome(key, name, error=sentence_of(error, out))


def lost(task: Task) -> Outcome:
    """The outcome of a task that killed its process every time; a profile that stood before it died stays."""
    error = "its process was killed, memory may have run out; try it alone"
    earlier = done_before(task.out, task.key, task.inputs)
    if earlier is None:
        return Outcome(task.key, task.name, error=error)
    if earlier.finished(task.briefed):
        return earlier
    return dataclasses.replace(earlier.unbriefed(), trains_failed=tuple((file.name, error) for file in task.trains))


def _profiled(task: Task) -> Outcome:
    """A line's profile, done and recorded."""
    from profiler import build_profile, landmarks_of, write_profile, write_profile_file

    forget(task.out, task.key)  # what it speaks of is written over from here on
    profile = build_profile(task.territory, trim=task.trim, ground=task.ground)
    landmarks = landmarks_of(profile, task.territory)
    outcome = _figures(task, profile, landmarks)
    for name in outcome.beside:
        place, command = task.out / name, ["network", task.name]
        write_profile(profile, landmarks, place, territory=task.territory, pictures=task.pictures, command=command)
    write_profile_file(profile, landmarks, result_file(task.out, task.key))
    keep(task.out, outcome, task.inputs)
    return outcome


def _figures(task: Task, profile: Profile, landmarks: Landmarks) -> Outcome:
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
        (profile_folder(task.key),) if task.folder else (),
    )
