"""One line of a network, in plain Python: profiled, briefed if asked, written, recorded."""

from __future__ import annotations

import dataclasses
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipelines.networks.records import Outcome, done_before, keep, of_disk, result_file
from profiler import GroundSource, OutputError, ProfilerError, Territory

if TYPE_CHECKING:
    from pipelines.networks.plan import TrainFile
    from profiler import Landmarks, Profile

CASES = ("plan", "slower", "faster")
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True)
class Task:
    """One line to do: paths, settings and headers of rasters only, so that it travels to any process.

    ``inputs`` is a hash of all that its results rest on; ``ground`` the rasters about the line, not yet opened.
    ``folder`` asks for the line's whole output folder too, with or without ``pictures``.
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
    """
    with _ONE_AT_A_TIME:  # a scheduler's worker may have threads, and GDAL's files belong to one
        earlier = done_before(task.out, task.key, task.inputs)
        if earlier is not None:  # done, but the process that did it was lost before it could say so
            return dataclasses.replace(earlier, earlier=False)
        try:
            return _done(task)
        except OutputError:
            raise
        except ProfilerError as error:
            return Outcome(task.key, task.name, error=str(error))
        except Exception as error:  # a bug in one must not end the run of a thousand: it is named as one
            if isinstance(error, OSError) and isinstance(full := of_disk(error, task.out), OutputError):
                raise full from error
            return Outcome(task.key, task.name, error=f"bug, {type(error).__name__}: {error}")


def lost(task: Task) -> Outcome:
    """The outcome of a task that killed its process every time."""
    return Outcome(task.key, task.name, error="its process was killed, memory may have run out: try it alone")


def _done(task: Task) -> Outcome:
    from profiler import build_profile, landmarks_of, write_profile, write_profile_file

    profile = build_profile(task.territory, trim=task.trim, ground=task.ground)
    landmarks = landmarks_of(profile, task.territory)
    if task.trains:
        _brief(task, profile, landmarks)
    if task.folder:
        place = task.out / f"{task.key}-profile"
        command = ["network", task.name]
        write_profile(profile, landmarks, place, territory=task.territory, pictures=task.pictures, command=command)
    write_profile_file(profile, landmarks, result_file(task.out, task.key))
    outcome = _figures(task, profile, landmarks)
    keep(task.out, outcome, task.inputs)
    return outcome


def _brief(task: Task, profile: Profile, landmarks: Landmarks) -> None:
    from profiler import direction_towards, plan_handling, write_briefings

    source = f"{task.name}, to"
    directions = ("with", "against") if task.both else (direction_towards(profile.route, task.to, source=source),)
    briefings = {
        file.name: [plan_handling(profile, landmarks, file.train, direction, CASES) for direction in directions]
        for file in task.trains
    }
    write_briefings(
        briefings,
        task.out / "briefings" / task.key,
        territory=task.territory,
        train_files=[file.path for file in task.trains],
        pictures=task.pictures,
        command=["network", task.name],
    )


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
    )
