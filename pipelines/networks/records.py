"""What is known of a line's results: one small file a line, written when all of them stand."""

from __future__ import annotations

import dataclasses
import errno
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from profiler import OutputError, staged_file

FOLDER = "lines"
FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


@dataclass(frozen=True)
class Outcome:
    """What became of a line; ``error`` is empty where it went well, ``earlier`` set where an earlier run did it."""

    key: str
    territory: str
    length_km: float | None = None
    ruling_with_pct: float | None = None
    ruling_against_pct: float | None = None
    train_length_m: float | None = None
    highest_m: float | None = None
    error: str = ""
    earlier: bool = False


_KEPT = tuple(field.name for field in dataclasses.fields(Outcome) if field.name not in ("error", "earlier"))


def result_file(out: Path, key: str) -> Path:
    """Where the profile of a line stands."""
    return out / FOLDER / f"{key}.gpkg"


def _record_file(out: Path, key: str) -> Path:
    return out / FOLDER / f"{key}.json"


def done_before(out: Path, key: str, inputs: str) -> Outcome | None:
    """The outcome of a line that an earlier run did with the same inputs; None if it has to be done."""
    try:
        record: dict[str, Any] = json.loads(_record_file(out, key).read_text(encoding="utf-8"))
        if record["inputs"] != inputs or result_file(out, key).stat().st_size != record["bytes"]:
            return None
        return Outcome(**{name: record[name] for name in _KEPT}, earlier=True)
    except (OSError, ValueError, KeyError, TypeError):
        return None


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
    size = result_file(out, outcome.key).stat().st_size
    write_text(_record_file(out, outcome.key), json.dumps({"inputs": inputs, "bytes": size, **stated}, indent=1) + "\n")


def keep_failure(out: Path, outcome: Outcome) -> None:
    """Record a failure, which the next start tries again; what an earlier run made of the line goes.

    Raises
    ------
    OutputError
        If the record cannot be written.
    """
    result_file(out, outcome.key).unlink(missing_ok=True)
    said = {"key": outcome.key, "territory": outcome.territory, "error": outcome.error}
    write_text(_record_file(out, outcome.key), json.dumps(said, indent=1, ensure_ascii=False) + "\n")


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
