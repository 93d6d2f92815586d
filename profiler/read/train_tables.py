"""The tables of a train file as they stand in it: keys, types, bounds; one unit per figure.

Only the file is checked here; that it makes a train is the business of `profiler.train`.
"""

from __future__ import annotations

from types import GenericAlias
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field, create_model, model_validator

from profiler.cited import Cited, given
from profiler.curve_resistance import CurveResistance
from profiler.read.train_keys import BLOCK, HANDLING, LIMITS, RESISTANCE, TRAIN, Quantity
from profiler.train import AirBrake, BrakePosition, Rail, Weather
from profiler.units import UNITS
from profiler.vehicle import AdhesionControl, Bearing, Coupler, Kind, Shoe

FORMULAS = ("Davis 1926", "modified Davis 1970", "Canadian National 1990", "run-down", "Strahl")
Formula = Literal["Davis 1926", "modified Davis 1970", "Canadian National 1990", "run-down", "Strahl"]
Percents = list[Annotated[float, Field(ge=0, le=100)]]


class Figures(BaseModel):
    """A table whose figures have the unit in the key, each given once."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, strict=True)
    quantities: ClassVar[dict[str, Quantity]] = {}

    @model_validator(mode="before")
    @classmethod
    def _known_units(cls, data: Any) -> Any:
        if isinstance(data, dict):
            for key in data.keys() - cls.model_fields.keys():
                stem = max((s for s in cls.quantities if key == s or key.startswith(f"{s}_")), key=len, default=None)
                if stem is not None:
                    wrong = "has no unit" if key == stem else "is in no unit known here"
                    raise ValueError(f"{key} {wrong}: write {' or '.join(cls.quantities[stem].keys(stem))}")
        return data

    @model_validator(mode="after")
    def _once_and_within(self) -> Figures:
        for stem, quantity in self.quantities.items():
            stated = {key: getattr(self, key) for key in quantity.keys(stem) if getattr(self, key) is not None}
            if len(stated) > 1:
                raise ValueError(f"{' and '.join(stated)} say the same figure twice: keep one of them")
            for key, value in stated.items():
                _check(key, value, quantity.keys(stem)[key], quantity)
        return self

    def figure(self, stem: str) -> Cited | None:
        """What the table states of a figure."""
        for key, unit in self.quantities[stem].keys(stem).items():
            value = getattr(self, key)
            if value is not None:
                return given(value, unit)
        return None


def _check(key: str, value: float, unit: str, quantity: Quantity) -> None:
    low, high = quantity.low / UNITS[unit], quantity.high / UNITS[unit]
    if value <= 0 < low:
        raise ValueError(f"{key} is {value:g}: give one above zero")
    if not low <= value <= high:
        raise ValueError(f"{key} is {value:g}, which is absurd: it lies between {low:.3g} and {high:.3g}")


def _with(name: str, base: type[Figures], quantities: dict[str, Quantity], **tables: Any) -> Any:
    """The table with a key for every unit of every quantity, and with optional tables inside."""
    fields: dict[str, Any] = {key: (table | None, None) for key, table in tables.items()}
    fields |= {key: (float | None, None) for stem, quantity in quantities.items() for key in quantity.keys(stem)}
    made = create_model(name, __base__=base, **fields)
    made.quantities = quantities
    return made


class _Block(Figures):
    like: str | None = None
    name: str | None = None
    kind: Kind | None = None
    count: Annotated[int, Field(ge=1, le=1000)] = 1
    isolated: Annotated[int, Field(ge=0)] = 0
    axles: Annotated[int, Field(ge=2, le=40)] | None = None
    platforms: Annotated[int, Field(ge=1, le=12)] | None = None
    driven_axles: Annotated[int, Field(ge=1, le=40)] | None = None
    bearing: Bearing | None = None
    coupler: Coupler | None = None
    shoe: Shoe | None = None
    adhesion_control: AdhesionControl | None = None
    dynamic_brake: bool | None = None
    notch_power_pct: Percents | None = None
    notch_standing_pct: Percents | None = None

    @model_validator(mode="after")
    def _notches_rise(self) -> _Block:
        running, standing = self.notch_power_pct, self.notch_standing_pct
        if (running is None) != (standing is None):
            raise ValueError("notch_power_pct and notch_standing_pct belong together: give both or none")
        if running is not None and standing is not None:
            if len(running) != len(standing) or not running:
                raise ValueError("notch_power_pct and notch_standing_pct differ in length: give one figure per notch")
            if sorted(running) != running or sorted(standing) != standing:
                raise ValueError("notches fall: give them from the lowest to full power")
        return self


class _Resistance(Figures):
    formula: Formula


class _Train(Figures):
    name: str = ""
    train_class: str = ""
    units: Literal["us", "metric"] | None = None
    air_brake: AirBrake | None = None
    brake_position: BrakePosition | None = None
    rail: Rail | None = None
    weather: Weather | None = None
    curve_resistance: CurveResistance | None = None


class _Handling(Figures):
    reductions_psi: list[float] | None = None
    reductions_bar: list[float] | None = None

    @model_validator(mode="after")
    def _reductions_rise(self) -> _Handling:
        if self.reductions_psi is not None and self.reductions_bar is not None:
            raise ValueError("reductions_psi and reductions_bar say the same figure twice: keep one of them")
        stated = self.reductions_psi if self.reductions_psi is not None else self.reductions_bar
        if stated is not None and (not stated or min(stated) <= 0 or sorted(set(stated)) != stated):
            raise ValueError("reductions must be figures above zero: give them rising, each once")
        return self


ResistanceTable = _with("ResistanceTable", _Resistance, RESISTANCE)
BlockTable = _with("BlockTable", _Block, BLOCK, resistance=ResistanceTable)
TrainTable = _with("TrainTable", _Train, TRAIN)
LimitsTable = _with("LimitsTable", Figures, LIMITS)
HandlingTable = _with("HandlingTable", _Handling, HANDLING)

_Blocks: Any = GenericAlias(list, (BlockTable,))
TrainFile: Any = create_model(
    "TrainFile",
    __config__=ConfigDict(extra="forbid", frozen=True, strict=True),
    train=(TrainTable, ...),
    block=(_Blocks, Field(min_length=1)),
    limits=(LimitsTable, Field(default_factory=LimitsTable)),
    handling=(HandlingTable, Field(default_factory=HandlingTable)),
)
