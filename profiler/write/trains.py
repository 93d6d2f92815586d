"""Write a train as a train file: what stands in the catalogue by its name, everything else with its unit."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path
from typing import Any

import tomli_w

from profiler.catalogue import CATALOGUE, PLAIN
from profiler.cited import Cited
from profiler.errors import InputError
from profiler.files import output_error
from profiler.read.train_keys import BLOCK, CODES, HANDLING, LIMITS, RESISTANCE, TRAIN, Quantity, figure_at, value_at
from profiler.read.trains import FORMULA_OF
from profiler.train import Block, Train
from profiler.units import UNITS
from profiler.vehicle import Notches, Resistance, Vehicle


def train_text(train: Train) -> str:
    """The train as TOML, figures in the unit in which they were given; `read_train` makes an equal train of it.

    Raises
    ------
    InputError
        If a vehicle lacks what its catalogue entry has, which a train file cannot say.
    """
    head: dict[str, Any] = {"name": train.name, "train_class": train.train_class, "units": train.units}
    words = ("air_brake", "brake_position", "rail", "weather", "curve_resistance")
    head |= {key: getattr(train, key) for key in words if key not in train.assumed}
    head |= _figures(train, TRAIN)
    handling = _figures(train.handling, HANDLING)
    steps = train.handling.reductions
    if any(step.source == "given" for step in steps):
        handling[f"reductions_{steps[0].unit}"] = [_plain(step.stated) for step in steps]
    tables = {"limits": _figures(train.limits, LIMITS), "handling": handling}
    parts = [tomli_w.dumps({"train": head}), *(_block_text(_block(block)) for block in train.blocks)]
    return "\n".join([*parts, *(tomli_w.dumps({name: table}) for name, table in tables.items() if table)])


def write_train(train: Train, path: Path) -> None:
    """Write a train file, aside first.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    text, aside = train_text(train), path.with_name(f".{path.name}.part")
    try:
        aside.write_text(text, encoding="utf-8")
        aside.replace(path)
    except OSError as error:
        raise output_error(path, error) from error


def _plain(stated: float) -> float | int:
    return int(stated) if stated.is_integer() else stated


def _entry(stem: str, quantity: Quantity, value: Cited) -> dict[str, Any]:
    """Key and figure, in the unit the figure was given in, or in SI where a key cannot have that unit."""
    keys = {unit: key for key, unit in quantity.keys(stem).items()}
    if value.unit in keys:
        return {keys[value.unit]: _plain(value.stated)}
    si = next(unit for unit in keys if UNITS[unit] == 1)
    return {keys[si]: _plain(float(value))}


def _figures(noun: object, quantities: dict[str, Quantity], base: object = None) -> dict[str, Any]:
    """Figures that were given, and those that differ from the base's."""
    found: dict[str, Any] = {}
    for stem, quantity in quantities.items():
        value = figure_at(noun, quantity.path)
        usual = value if base is None else figure_at(base, quantity.path)
        if value is not None and (value.source == "given" or value != usual):
            found |= _entry(stem, quantity, value)
        if value is None and usual is not None and quantity.path[0] != "dynamic":
            raise InputError(stem, "is taken away from a vehicle, which a train file cannot say", "state a figure")
    return found


def _block_text(table: dict[str, Any]) -> str:
    """One [[block]]; the library would put them into one long list."""
    inner = {key: table.pop(key) for key in ("resistance",) if key in table}
    text = f"[[block]]\n{tomli_w.dumps(table)}"
    return text + "".join(f"[block.{key}]\n{tomli_w.dumps(value)}" for key, value in inner.items())


def _block(block: Block) -> dict[str, Any]:
    vehicle = block.vehicle
    base = CATALOGUE[vehicle.like] if vehicle.like else PLAIN[vehicle.kind]
    table: dict[str, Any] = {"like": vehicle.like} if vehicle.like else {"kind": vehicle.kind}
    table["count"] = block.count
    if block.isolated:
        table["isolated"] = block.isolated
    for key, path in CODES.items():
        if (value := value_at(vehicle, path)) is not None and value != value_at(base, path):
            table[key] = value
    if not vehicle.like:
        table |= {"axles": vehicle.axles}
        table |= {"driven_axles": vehicle.traction.driven_axles} if vehicle.traction else {}
    table |= _figures(vehicle, BLOCK, base)
    if vehicle.dynamic is None and base.dynamic is not None:
        table["dynamic_brake"] = False
    if (notches := _notches(vehicle)) is not None and notches != _notches(base):
        for name, shares in (("power", notches.running), ("standing", notches.standing)):
            table[f"notch_{name}_pct"] = [_plain(s.stated if s.unit == "pct" else 100 * s) for s in shares]
    if vehicle.resistance != base.resistance or _stated(vehicle.resistance):
        table["resistance"] = {"formula": FORMULA_OF[type(vehicle.resistance)]}
        for name, value in _coefficients(vehicle.resistance).items():
            table["resistance"] |= _entry(name, RESISTANCE[name], value)
    return table


def _notches(vehicle: Vehicle) -> Notches | None:
    return vehicle.traction.notches if vehicle.traction else None


def _coefficients(formula: Resistance) -> dict[str, Cited]:
    found = {field.name: getattr(formula, field.name) for field in fields(formula)}
    return {name: value for name, value in found.items() if value is not None}


def _stated(formula: Resistance) -> bool:
    return any(value.source == "given" for value in _coefficients(formula).values())
