"""A TOML file checked against its model: what is wrong in it, in one sentence."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError

from profiler.errors import InputError

Model = TypeVar("Model", bound=BaseModel)

OWN_TABLES = {
    "territory": ("centreline", "profile", "route"),
    "train": ("train", "block"),
    "plan": ("network", "line", "area"),
}
"""Kinds of our TOML files, each with tables that no other kind has; without one of them none is whole."""
_CALLED = {"territory": "a territory file", "train": "a train file", "plan": "a plan of a network"}
_NAME_A_TRAIN = "name a file with [train] and [[block]]"
_INSTEAD = {
    ("plan", "territory"): "give it to gradewright profile, or name it in a plan, or give its folder",
    ("plan", "train"): "name it under trains in a plan",
    ("territory", "plan"): "give it to gradewright network",
    ("territory", "train"): "give it to gradewright brief with --train, or name it under trains in a plan",
    ("train", "territory"): _NAME_A_TRAIN,
    ("train", "plan"): _NAME_A_TRAIN,
}
"""What to do where one kind is wanted and another is given."""


def load_toml(path: Path, kind: str) -> dict[str, Any]:
    """The tables of the TOML file at ``path``.

    Parameters
    ----------
    path : Path
    kind : str
        What it should be, of `OWN_TABLES`.

    Raises
    ------
    InputError
        If the file is missing or no TOML, or is plainly of another kind.
    """
    tables = _tables(path, f"give {_CALLED[kind]} in TOML")
    found = _kind_of(tables)
    if found not in (None, kind) and tables.keys().isdisjoint(OWN_TABLES[kind]):
        raise InputError(path, f"is {_CALLED[found]}, not {_CALLED[kind]}", _INSTEAD[kind, found])
    return tables


def toml_kind(path: Path) -> str | None:
    """What a TOML file most looks like, by its tables.

    Parameters
    ----------
    path : Path

    Returns
    -------
    str or None
        A kind of `OWN_TABLES`; None if the file cannot be read, or has no such table.
    """
    try:
        return _kind_of(_tables(path, "give another"))
    except InputError:  # whoever reads it will say what is wrong
        return None


def _kind_of(tables: Mapping[str, Any]) -> str | None:
    own = {kind: len(tables.keys() & set(names)) for kind, names in OWN_TABLES.items()}
    return max(own, key=own.__getitem__) if any(own.values()) else None


def _tables(path: Path, otherwise: str) -> dict[str, Any]:
    """Tables of a file, or why it has none; ``otherwise`` is what to do where it was never meant to have any."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise InputError(path, "there is no such file", "check the name") from None
    except (UnicodeDecodeError, OSError) as error:
        raise InputError(path, "cannot be read as text", otherwise) from error
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        said = str(error)
        remedy = "correct that place" if path.suffix.lower() == ".toml" else otherwise
        raise InputError(path, f"is no valid TOML, {said[:1].lower()}{said[1:]}", remedy) from error


def check_tables(tables: Mapping[str, Any], model: type[Model], *, source: object) -> Model:
    """Tables as their model, or everything that is wrong with them.

    Parameters
    ----------
    tables : mapping
        As `load_toml` gives them.
    model : type
        A pydantic model.
    source : object
        What errors are about: the file, or a row of it.

    Raises
    ------
    InputError
        With each key that is wrong, and what to do about it.
    """
    try:
        return model.model_validate(tables)
    except ValidationError as error:
        raise told_at_once(source, [_said(found, model) for found in _in_order(error)]) from None


def told_at_once(source: object, problems: Sequence[tuple[str, str]]) -> InputError:
    """All that is wrong at a place as one error.

    Parameters
    ----------
    source : object
        What it is about: a file, or a row of it.
    problems : sequence of (str, str)
        Each problem with its remedy, at least one.
    """
    if len(problems) == 1:
        return InputError(source, *problems[0])
    whole = "; ".join(f"({i}) {problem}, {remedy}" for i, (problem, remedy) in enumerate(problems, 1))
    return InputError(source, f"{len(problems)} things are wrong: {whole}", "correct them all")


def first_problem(error: ValidationError, model: type[BaseModel]) -> tuple[str, str]:
    """Problem and remedy of the first thing wrong."""
    return _said(_in_order(error)[0], model)


def _in_order(error: ValidationError) -> list[Any]:
    """What is wrong, unknown keys first: they often explain the rest."""
    return sorted(error.errors(), key=lambda found: found["type"] != "extra_forbidden")


def _said(found: Any, model: type[BaseModel]) -> tuple[str, str]:
    """Problem and remedy of one thing."""
    location = found["loc"]
    key = _key(location)
    if found["type"] == "extra_forbidden":
        known = _known_keys(location[:-1], model)
        near = difflib.get_close_matches(str(location[-1]), known, n=1, cutoff=0.5)
        remedy = f"did you mean {near[0]}?" if near else f"known here: {', '.join(sorted(known))}"
        return (f"{key}: no such key", remedy)
    if found["type"] == "missing":
        return (f"{key} is missing", "add it")
    message = found["msg"].removeprefix("Value error, ")
    message = message[:1].lower() + message[1:]
    if found["type"] == "value_error":
        problem, _, remedy = message.partition(": ")
        if not remedy and problem.startswith("give "):
            problem, remedy = "is given in no way, or in more than one", problem
            return (f"{key} {problem}", remedy)
        return (f"{key + ': ' if key else ''}{problem}", remedy or "correct it")
    given = found.get("input")
    shown = f"{given!r} is" if isinstance(given, str | int | float | bool) else "what is given is"
    return (f"{key}: {shown} not possible", f"it should be {_wanted(message)}")


def _wanted(message: str) -> str:
    """What a value should be, out of the checking library's sentence about its "input"."""
    wanted = message.removeprefix("input should be ").split(", unable to parse")[0]
    return {
        "a valid list": "a list in square brackets",
        "a valid tuple": "a list in square brackets",
        "a valid string": "text in quotes",
    }.get(wanted, wanted.replace("a valid ", "a ").replace("a integer", "an integer"))


def _key(location: tuple[Any, ...]) -> str:
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += f".{part}" if text else str(part)
    return text


def _known_keys(location: tuple[Any, ...], model: type[BaseModel]) -> list[str]:
    """Keys that may stand at a place of the file."""
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
