"""Read a train file, checked whole before any work."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from profiler.catalogue import CATALOGUE, PLAIN
from profiler.cited import Cited, given
from profiler.errors import InputError, TrainError
from profiler.read.checking import first_problem, load_toml
from profiler.read.train_keys import BLOCK, CODES, HANDLING, LIMITS, RESISTANCE, US_UNITS, Quantity
from profiler.read.train_tables import FORMULAS, TrainFile
from profiler.train import (
    DIRECT_PIPE,
    GRADUATED_HANDLING,
    GRADUATED_PIPE,
    SCREW_LIMITS,
    Block,
    Handling,
    Limits,
    Train,
)
from profiler.vehicle import (
    CanadianNational1990,
    Davis1926,
    DynamicBrake,
    ModifiedDavis1970,
    Notches,
    Resistance,
    RunDown,
    Strahl,
    Vehicle,
)

FORMULA_OF: dict[type[Resistance], str] = dict(
    zip((Davis1926, ModifiedDavis1970, CanadianNational1990, RunDown, Strahl), FORMULAS, strict=True)
)
"""The words for a resistance formula in a train file."""
_MUST = {
    "car": ("length", "mass", "axles"),
    "locomotive": ("length", "mass", "axles", "driven_axles", "power", "starting_effort"),
}
"""What a vehicle outside the catalogue has to state."""
_OF_LOCOMOTIVES = ("traction", "dynamic", "independent")
_DEFAULTED = ("air_brake", "brake_position", "rail", "weather", "curve_resistance")
"""Words of [train] that have a default."""


def read_train(path: str | Path) -> Train:
    """Read and check a train file.

    Parameters
    ----------
    path : path of a TOML file

    Raises
    ------
    InputError
        If the file is missing, no TOML, or plainly of another kind.
    TrainError
        If a key is unknown (the nearest known one is named), a figure has no unit or more than one, a vehicle
        is not in the catalogue, or a value makes no train.
    """
    path = Path(path)
    return check_train(load_toml(path, "train"), source=str(path))


def check_train(data: dict[str, Any], *, source: str) -> Train:
    """A train from parsed tables.

    Parameters
    ----------
    data : dict
        As a TOML file gives them.
    source : str
        What errors are about.

    Raises
    ------
    TrainError
        As in `read_train`.
    """
    try:
        file = TrainFile(**data)
    except ValidationError as error:
        raise TrainError(source, *first_problem(error, TrainFile)) from None
    blocks = tuple(_block(table, f"block[{i}]", source) for i, table in enumerate(file.block, 1))
    head = file.train
    graduated = head.air_brake == "graduated release"
    screw = any(b.vehicle.coupler == "screw" for b in blocks)
    with _named(source, "train"):
        limits = _replaced(SCREW_LIMITS if screw else Limits(), file.limits, LIMITS)
        if limits.draft_caution > limits.draft:
            limits = _caution(limits, file.limits, source)
        handling = _replaced(GRADUATED_HANDLING if graduated else Handling(), file.handling, HANDLING)
        for unit in ("psi", "bar"):
            if (steps := getattr(file.handling, f"reductions_{unit}")) is not None:
                handling = replace(handling, reductions=tuple(given(step, unit) for step in steps))
        pipe = head.figure("brake_pipe") or (GRADUATED_PIPE if graduated else DIRECT_PIPE)
        if handling.reductions[-1] >= pipe:
            raise InputError(
                "", "a reduction is as large as the brake pipe pressure", "correct reductions or brake_pipe"
            )
        return Train(
            name=head.name or Path(source).stem,
            train_class=head.train_class,
            units=head.units or ("us" if _speaks_us(data) else "metric"),
            blocks=blocks,
            air_brake=head.air_brake or "direct release",
            brake_position=head.brake_position or "P",
            pipe_pressure=pipe,
            rail=head.rail or "dry",
            weather=head.weather or "mild",
            curve_resistance=head.curve_resistance or "per degree",
            limits=limits,
            handling=handling,
            assumed=tuple(key for key in _DEFAULTED if getattr(head, key) is None),
        )


@contextmanager
def _named(source: str, place: str) -> Iterator[None]:
    """Complaints of the nouns, with the file and the place in it."""
    try:
        yield
    except TrainError:
        raise
    except InputError as error:
        raise TrainError(source, f"{place}: {error.problem}", error.remedy) from None


def _replaced(noun: Any, table: Any, quantities: dict[str, Quantity]) -> Any:
    """A noun with the figures that a table states."""
    stated = {quantity.path[0]: table.figure(stem) for stem, quantity in quantities.items()}
    return replace(noun, **{name: value for name, value in stated.items() if value is not None})


def _caution(limits: Limits, table: Any, source: str) -> Limits:
    """The caution follows a lower limit, unless it is stated itself."""
    if table.figure("draft_caution") is not None:
        raise TrainError(source, "limits: draft_caution is above draft", "give a caution below the limit")
    return replace(limits, draft_caution=Cited(limits.draft.stated, limits.draft.unit, "choice"))


def _block(table: Any, place: str, source: str) -> Block:
    base = _base(table, place, source)
    with _named(source, f"{place} ({table.name or table.like or table.kind})"):
        return Block(vehicle=_vehicle(table, base), count=table.count, isolated=table.isolated)


def _base(table: Any, place: str, source: str) -> Vehicle:
    """The vehicle a block starts from."""
    if table.like is not None:
        if table.like not in CATALOGUE:
            near = difflib.get_close_matches(table.like, CATALOGUE, n=3, cutoff=0.4)
            remedy = f"did you mean {' or '.join(near)}?" if near else f"known are: {'; '.join(CATALOGUE)}"
            raise TrainError(source, f"{place}.like: there is no {table.like!r} in the catalogue", remedy)
        if table.kind is not None:
            raise TrainError(source, f"{place}: kind stands beside like", "keep one of them")
        return CATALOGUE[table.like]
    if table.kind is None:
        remedy = 'give like = a vehicle of the catalogue, or kind = "car" or "locomotive" with its figures'
        raise TrainError(source, f"{place}: it is not said what vehicles these are", remedy)
    for stem in _MUST[table.kind]:
        if (table.figure(stem) if stem in BLOCK else getattr(table, stem)) is None:
            keys = " or ".join(BLOCK[stem].keys(stem)) if stem in BLOCK else stem
            raise TrainError(source, f"{place}: {stem.replace('_', ' ')} is missing", f"add {keys}, or use like")
    return PLAIN[table.kind]


def _vehicle(table: Any, base: Vehicle) -> Vehicle:
    """The base with everything that the block states."""
    stated: dict[tuple[str, ...], Any] = {BLOCK[stem].path: table.figure(stem) for stem in BLOCK}
    stated |= {path: getattr(table, key) for key, path in CODES.items()}
    stated = {path: value for path, value in stated.items() if value is not None}
    if table.notch_power_pct is not None:
        running, standing = (
            tuple(given(x, "pct") for x in steps) for steps in (table.notch_power_pct, table.notch_standing_pct)
        )
        stated["traction", "notches"] = Notches(running=running, standing=standing)
    if base.mass == base.tare and ("mass",) in stated:
        stated.setdefault(("tare",), stated["mass",])
    if base.traction is None and any(path[0] in _OF_LOCOMOTIVES for path in stated):
        raise InputError("", "power, effort and dynamic brake belong to locomotives", 'say kind = "locomotive"')
    changes: dict[str, Any] = {path[0]: value for path, value in stated.items() if len(path) == 1}
    for part in ("brake", "traction"):
        inner = {path[1]: value for path, value in stated.items() if path[0] == part}
        if inner:
            changes[part] = replace(getattr(base, part), **inner)
    changes["dynamic"] = _dynamic(table, base, {path[1]: v for path, v in stated.items() if path[0] == "dynamic"})
    if table.resistance is not None:
        changes["resistance"] = _resistance(table.resistance, base.resistance)
    return replace(base, **changes)


def _dynamic(table: Any, base: Vehicle, stated: dict[str, Cited]) -> DynamicBrake | None:
    if table.dynamic_brake is False:
        if stated:
            raise InputError("", "figures of a dynamic brake stand beside dynamic_brake = false", "keep one of them")
        return None
    if base.dynamic is not None:
        return replace(base.dynamic, **stated)
    missing = [f.name for f in fields(DynamicBrake) if f.name not in stated]
    if missing and (stated or table.dynamic_brake):
        stem = next(stem for stem, q in BLOCK.items() if q.path == ("dynamic", missing[0]))
        raise InputError("", f"{stem} is missing", f"add {' or '.join(BLOCK[stem].keys(stem))}")
    return DynamicBrake(**stated) if stated else None


def _resistance(table: Any, base: Resistance) -> Resistance:
    """The formula named, with the base's coefficients where it is the same and the table states none."""
    kind = next(kind for kind, words in FORMULA_OF.items() if words == table.formula)
    own = [f.name for f in fields(kind)]
    stated = {stem: value for stem in RESISTANCE if (value := table.figure(stem)) is not None}
    if alien := stated.keys() - set(own):
        raise InputError("", f"resistance.{min(alien)} is no part of {table.formula}", f"its own are {', '.join(own)}")
    if isinstance(base, kind):
        return replace(base, **stated)
    if missing := [name for name in own if name not in (*stated, "leading")]:
        keys = " or ".join(RESISTANCE[missing[0]].keys(missing[0]))
        raise InputError("", f"resistance.{missing[0]} is missing for {table.formula}", f"add {keys}")
    return kind(**stated)


def _speaks_us(data: dict[str, Any]) -> bool:
    """Whether a key of the file has a US unit."""
    tables = [data.get("train", {}), data.get("limits", {}), data.get("handling", {}), *data.get("block", [])]
    return any(key.endswith(f"_{unit}") for table in tables for key in table for unit in US_UNITS)
