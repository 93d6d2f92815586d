"""The territory file that `gradewright fetch` writes: that of the source, with the elevation that came."""

from __future__ import annotations

import glob
import os
import tomllib
import uuid
from pathlib import Path
from typing import Any

import tomli_w

from pipelines.elevation import Fetched
from profiler import OutputError, Territory

WRITTEN = "# Written by gradewright fetch, which may write it again."
"""First line of such a file: one that begins otherwise is the user's, and is not touched."""


def place_for(source: Path, out: Path | None) -> Path:
    """Where the territory file goes: ``out``, else beside the source, else the source itself if fetch wrote it.

    Raises
    ------
    OutputError
        If a file stands there that fetch did not write, or a folder.
    """
    if out is None:
        out = source if _ours(source) else source.with_name(f"{source.stem}-fetched.toml")
    if out.is_dir():
        raise OutputError(out, "is a folder", "name a file with --out")
    if out.exists() and not _ours(out):
        raise OutputError(out, "stands there and was not written by gradewright fetch", "name another file with --out")
    return out


def write(path: Path, source: Path, territory: Territory, fetched: Fetched) -> None:
    """Write the territory, aside and then in place; its paths start at its own folder.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    tables = _tables(source, territory, path.parent)
    folder = glob.escape(_from(path.parent, fetched.pattern.parent))
    tables["elevation"] = fetched.elevation(f"{folder}/{fetched.pattern.name}")
    aside = path.with_name(f".{path.name}-{uuid.uuid4().hex[:8]}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        aside.write_text(f"{WRITTEN}\n{tomli_w.dumps(tables)}", encoding="utf-8")
        aside.replace(path)
    except OSError as error:
        aside.unlink(missing_ok=True)
        raise OutputError(
            path, f"cannot be written ({error.strerror or error})", "name another file with --out"
        ) from error


def _ours(path: Path) -> bool:
    try:
        with path.open(encoding="utf-8") as file:
            return file.readline().rstrip("\r\n") == WRITTEN
    except (OSError, UnicodeDecodeError):
        return False


def _tables(source: Path, territory: Territory, folder: Path) -> dict[str, Any]:
    """The tables of a territory file, or those around a bare line, with paths from ``folder``."""
    if source.suffix.lower() != ".toml":
        return {
            "route": {"name": territory.route.name},
            "centreline": {"path": _from(folder, source)},
        }
    tables = tomllib.loads(source.read_text(encoding="utf-8"))
    line = tables.get("centreline", {})
    posts = line.get("posts_from", {})
    for table, key in ((line, "path"), (posts, "points"), *((one, "path") for one in tables.get("structures", ()))):
        if key in table:
            table[key] = _from(folder, source.parent / table[key])
    return tables


def _from(folder: Path, path: Path) -> str:
    """A path as it is reached from a folder, also one behind a link; one on another disk stays whole."""
    if not path.is_relative_to(folder):
        folder, path = folder.resolve(), path.resolve()
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:
        return path.resolve().as_posix()
