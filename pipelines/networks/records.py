"""What is known of a line's results: one small file a line, written when all of them stand."""

from __future__ import annotations

import dataclasses
import errno
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from profiler import OutputError, sha256, staged_file

FOLDER = "lines"
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


@dataclass(frozen=True)
class Outcome:
    """What became of a line; ``error`` is empty where it went well, ``earlier`` set where an earlier run did it.

    ``beside`` are the folders that were written of it too, as seen from the folder of results.
    """

    key: str
    territory: str
    length_km: float | None = None
    ruling_with_pct: float | None = None
    ruling_against_pct: float | None = None
    train_length_m: float | None = None
    highest_m: float | None = None
    beside: tuple[str, ...] = ()
    error: str = ""
    earlier: bool = False

    def __post_init__(self) -> None:
        for name in ("territory", "error"):  # a file's name may be no text, and has to be written all the same
            text = getattr(self, name).encode("utf-8", "backslashreplace").decode("utf-8")
            object.__setattr__(self, name, text)


def failures(done: Iterable[Outcome]) -> list[tuple[str, str, str]]:
    """Key, territory and error of those that failed."""
    return [(o.key, o.territory, o.error) for o in done if o.error]


_KEPT = tuple(field.name for field in dataclasses.fields(Outcome) if field.name not in ("error", "earlier"))


def result_file(out: Path, key: str) -> Path:
    """Where the profile of a line stands."""
    return out / FOLDER / f"{key}.gpkg"


def _record_file(out: Path, key: str) -> Path:
    return out / FOLDER / f"{key}.json"


def done_before(out: Path, key: str, inputs: str) -> Outcome | None:
    """The outcome of a line that an earlier run did with the same inputs; None if it has to be done.

    A result that was changed, or lost in a power failure, is none: its bytes are compared, a size says too little.
    """
    record = _record(out, key)
    try:
        if record["inputs"] != inputs or sha256(result_file(out, key)) != record["sha256"]:
            return None
        stated = {name: record[name] for name in _KEPT} | {"beside": tuple(record["beside"])}
    except (OSError, KeyError, TypeError):
        return None
    return Outcome(**stated, earlier=True) if all((out / name).is_dir() for name in stated["beside"]) else None


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
    """Record that a line is done: the last thing written of it.

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
