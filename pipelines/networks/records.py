"""What is known of a line's results: one small file a line, written when all of them stand."""

from __future__ import annotations

import dataclasses
import errno
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from profiler import OutputError, ProfilerError, sha256, staged_file

FOLDER = "lines"
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


@dataclass(frozen=True)
class Outcome:
    """What became of a line; ``error`` is empty where it went well, ``earlier`` set where an earlier run did it.

    ``beside`` are the folders that were written of it too, as seen from the folder of results; ``briefed`` is a hash
    of the trains that were seen to, ``trains_failed`` those of them without a briefing, by name, and why.
    """

    key: str
    territory: str
    length_km: float | None = None
    ruling_with_pct: float | None = None
    ruling_against_pct: float | None = None
    train_length_m: float | None = None
    highest_m: float | None = None
    beside: tuple[str, ...] = ()
    briefed: str = ""
    trains_failed: tuple[tuple[str, str], ...] = ()
    error: str = ""
    earlier: bool = False

    def __post_init__(self) -> None:
        for name in ("territory", "error"):  # a file's name may be no text, and has to be written all the same
            object.__setattr__(self, name, _text(getattr(self, name)))
        trains = tuple((_text(train), _text(error)) for train, error in self.trains_failed)
        object.__setattr__(self, "trains_failed", trains)

    @property
    def problems(self) -> tuple[str, ...]:
        """What went wrong with the line, or with trains on it, in sentences."""
        if self.error:
            return (self.error,)
        trains: dict[str, list[str]] = {}
        for train, error in self.trains_failed:
            trains.setdefault(error, []).append(train)
        return tuple(
            f"{'train' if len(names) == 1 else 'trains'} {', '.join(names)}: {error}" for error, names in trains.items()
        )

    def finished(self, briefed: str) -> bool:
        """Whether nothing is left to do, if these are the trains."""
        return not self.problems and self.briefed == briefed

    def unbriefed(self) -> Outcome:
        """The same of the profile alone."""
        beside = tuple(name for name in self.beside if name != briefing_folder(self.key))
        return dataclasses.replace(self, beside=beside, briefed="", trains_failed=())


def _text(name: str) -> str:
    return name.encode("utf-8", "backslashreplace").decode("utf-8")


def failures(done: Iterable[Outcome]) -> list[tuple[str, str, str]]:
    """Key, territory and error of lines that failed, and of trains that did on a line."""
    return [(o.key, o.territory, error) for o in done for error in o.problems]


_KEPT = tuple(field.name for field in dataclasses.fields(Outcome) if field.name not in ("error", "earlier"))


def result_file(out: Path, key: str) -> Path:
    """Where the profile of a line stands."""
    return out / FOLDER / f"{key}.gpkg"


def profile_folder(key: str) -> str:
    """Where a line's own folder stands, as seen from the folder of results."""
    return f"{key}-profile"


def briefing_folder(key: str) -> str:
    """Where the trains on a line stand, as seen from the folder of results."""
    return f"briefings/{key}"


def _record_file(out: Path, key: str) -> Path:
    return out / FOLDER / f"{key}.json"


def done_before(out: Path, key: str, inputs: str) -> Outcome | None:
    """The outcome of a line whose profile an earlier run did with the same inputs; None if it has to be done.

    Its trains may be left to do, see `Outcome.finished`. A result that was changed, or lost in a power failure, is
    none: its bytes are compared, a size says too little.
    """
    record = _record(out, key)
    try:
        if record["inputs"] != inputs or sha256(result_file(out, key)) != record["sha256"]:
            return None
        stated = {name: record[name] for name in _KEPT} | {"beside": tuple(record["beside"])}
        outcome = Outcome(**stated, earlier=True)
    except (OSError, KeyError, TypeError, ValueError):
        return None
    gone = [name for name in outcome.beside if not (out / name).is_dir()]
    if gone == [briefing_folder(key)]:
        return outcome.unbriefed()
    return None if gone else outcome


def _record(out: Path, key: str) -> dict[str, Any]:
    """What is recorded of a line, nothing where it is not or cannot be read."""
    try:
        record = json.loads(_record_file(out, key).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return record if isinstance(record, dict) else {}


def forget(out: Path, key: str) -> None:
    """Take a line's record away, so that it is done again."""
    _record_file(out, key).unlink(missing_ok=True)


def keep(out: Path, outcome: Outcome, inputs: str) -> None:
    """Record that a line's profile is done, and which trains: the last thing written of either.

    Raises
    ------
    OutputError
        If the record cannot be written.
    """
    stated = {name: getattr(outcome, name) for name in _KEPT}
    proof = {"inputs": inputs, "sha256": sha256(result_file(out, outcome.key))}
    write_text(_record_file(out, outcome.key), json.dumps(proof | stated, indent=1) + "\n")


def keep_failure(out: Path, outcome: Outcome) -> None:
    """Record a failure, which the next start tries again; what was left of the line goes.

    What an earlier run finished stays: it was not begun anew, and is good again when its inputs are back, a disk that
    was not there, say.

    Raises
    ------
    OutputError
        If the record cannot be written.
    """
    if "inputs" in _record(out, outcome.key):
        return
    said = {"key": outcome.key, "territory": outcome.territory, "error": outcome.error}
    write_text(_record_file(out, outcome.key), json.dumps(said, indent=1, ensure_ascii=False) + "\n")
    result_file(out, outcome.key).unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write a small file aside, then rename.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    with staged_file(path) as stage:
        stage.write_text(text, encoding="utf-8", newline="\n")


def of_disk(error: OSError, place: Path) -> OSError:
    """A full disk as its sentence, whatever library met it; any other error as it is."""
    if error.errno in FULL and not isinstance(error, OutputError):
        return OutputError(place, "the disk is full", "free some space or choose another folder with --out")
    return error


def sentence_of(error: Exception, out: Path) -> str:
    """An error that ended a line, or a train on it; a bug must not end the run of a thousand, it is named as one.

    Raises
    ------
    OutputError
        The error itself, if it is one or a full disk: it is never a line's own.
    """
    if isinstance(error, OSError):
        error = of_disk(error, out)
    if isinstance(error, OutputError):
        raise error
    if isinstance(error, ProfilerError):
        return str(error)
    return f"bug, {type(error).__name__}: {' '.join(str(error).split())}"
