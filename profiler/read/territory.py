"""Read a territory file, checked whole before any work."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from profiler.errors import InputError, TerritoryError
from profiler.territory import CentrelineTable, ElevationTable, RouteTable, SettingsTable, Territory

_NOT_KEYS = ("folder", "source", "raster_folder")


def read_territory(path: str | Path) -> Territory:
    """Read and check a territory file.

    Parameters
    ----------
    path : path of a TOML file

    Raises
    ------
    InputError
        If the file is missing or no TOML.
    TerritoryError
        If a key is unknown (the nearest known one is named) or a value impossible.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise InputError(path, "there is no such file", "check the name") from None
    except (UnicodeDecodeError, OSError) as error:
        raise InputError(path, "cannot be read as text", "give a territory file in TOML") from error
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        said = str(error)
        raise InputError(path, f"is no valid TOML, {said[:1].lower()}{said[1:]}", "correct that place") from error
    return check_territory(data, source=str(path), folder=path.parent)


def check_territory(data: dict[str, Any], *, source: str, folder: Path) -> Territory:
    """A territory from parsed tables; ``folder`` is where relative paths start.

    Raises
    ------
    TerritoryError
        As in `read_territory`.
    """
    for hidden in _NOT_KEYS:
        if hidden in data:
            raise TerritoryError(source, f"{hidden}: no such key", "remove it")
    try:
        return Territory(**data, folder=folder, source=source)
    except ValidationError as error:
        raise _first_problem(error, source) from None


def territory_of_line(path: str | Path, rasters: Sequence[str], **settings: Any) -> Territory:
    """A territory around a bare vector file: every setting at its default but those given.

    Parameters
    ----------
    path : path
        Any vector file of lines.
    rasters : sequence of str
        Elevation rasters, as in a territory file.
    **settings
        As in a territory file's table of settings.

    Raises
    ------
    InputError
        If there is no such file.
    """
    path = Path(path)
    if not path.exists():
        raise InputError(path, "there is no such file", "check the name")
    if path.is_dir():
        raise InputError(path, "is a folder, not a file", "name the file with the line in it")
    return Territory(
        route=RouteTable(name=path.name.split(".")[0], units=settings.pop("units", None) or "metric"),
        centreline=CentrelineTable(path=str(path)),
        elevation=ElevationTable(rasters=list(rasters)) if rasters else None,
        settings=SettingsTable(**settings),
        folder=Path(),
        source=str(path),
    )


def _first_problem(error: ValidationError, source: str) -> TerritoryError:
    """The sentence for the first problem; an unknown key comes first, it often explains the rest."""
    problems = error.errors()
    found = next((p for p in problems if p["type"] == "extra_forbidden"), problems[0])
    location = found["loc"]
    key = _key(location)
    if found["type"] == "extra_forbidden":
        known = _known_keys(location[:-1])
        near = difflib.get_close_matches(str(location[-1]), known, n=1, cutoff=0.5)
        remedy = f"did you mean {near[0]}?" if near else f"known here: {', '.join(sorted(known))}"
        return TerritoryError(source, f"{key}: no such key", remedy)
    if found["type"] == "missing":
        return TerritoryError(source, f"{key} is missing", "add it")
    message = found["msg"].removeprefix("Value error, ")
    message = message[:1].lower() + message[1:]
    if found["type"] == "value_error":
        problem, _, remedy = message.partition(": ")
        if not remedy and problem.startswith("give "):
            problem, remedy = "is given in no way, or in more than one", problem
            return TerritoryError(source, f"{key} {problem}", remedy)
        return TerritoryError(source, f"{key + ': ' if key else ''}{problem}", remedy or "correct it")
    given = found.get("input")
    shown = f"{given!r} is" if isinstance(given, str | int | float | bool) else "what is given is"
    return TerritoryError(source, f"{key}: {shown} not possible", f"it should be {_wanted(message)}")


def _wanted(message: str) -> str:
    """What a value should be, out of the checking library's sentence about its "input"."""
    wanted = message.removeprefix("input should be ").split(", unable to parse")[0]
    return {"a valid list": "a list in square brackets", "a valid string": "text in quotes"}.get(
        wanted, wanted.replace("a valid ", "a ").replace("a integer", "an integer")
    )


def _key(location: tuple[Any, ...]) -> str:
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += f".{part}" if text else str(part)
    return text


def _known_keys(location: tuple[Any, ...]) -> list[str]:
    """Keys that may stand at a place of the file."""
    model: type[BaseModel] = Territory
    for part in location:
        if isinstance(part, int):
            continue
        field = model.model_fields.get(part) or next((f for f in model.model_fields.values() if f.alias == part), None)
        inner = _model_of(field.annotation if field else None)
        if inner is None:
            return []
        model = inner
    return [field.alias or name for name, field in model.model_fields.items() if not field.exclude]


def _model_of(annotation: Any) -> type[BaseModel] | None:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in get_args(annotation):
        found = _model_of(part)
        if found is not None:
            return found
    return None
