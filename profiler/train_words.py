"""A train in words: what it is, what it can do, and what was assumed about it."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import fields

from profiler.cited import Cited
from profiler.mechanics.consist import Consist, consist_of
from profiler.mechanics.resistance import CURVE_START_FACTOR, outside_ranges, starting_resistances, train_coefficients
from profiler.mechanics.traction import ADHESION
from profiler.train import Block, Train
from profiler.units import BAR, CURVE_COMPENSATION, HORSEPOWER, KIP, KMH, MPH, POUND_FORCE, PSI, SHORT_TON, TONNE
from profiler.vehicle import CanadianNational1990, Davis1926, ModifiedDavis1970, Notches, RunDown, Strahl
from profiler.wording import compensation_words, number, short_length_text, speed_unit

_FORMULA_WORDS = {
    Davis1926: "Davis 1926",
    ModifiedDavis1970: "modified Davis 1970",
    CanadianNational1990: "Canadian National 1990",
    RunDown: "run-down tests",
    Strahl: "Strahl",
}
_UNIT_WORDS = {
    "pct": "%", "permille": "‰", "short_tons": "short tons", "sq_ft": "sq ft", "m2": "m²", "kn": "kN", "lbf": "lbf",
    "kmh": "km/h", "kw": "kW", "m_s": "m/s", "lbf_per_mph2": "lbf/mph²", "n_per_kmh2": "N/(km/h)²", "seconds": "s",
}  # fmt: skip
_KEY_WORDS = {
    "air_brake": "the air brake is {0.air_brake}",
    "brake_position": "the brake position is {0.brake_position}",
    "rail": "the rail is {0.rail}",
    "weather": "the weather is {0.weather}",
    "curve_resistance": "the curve resistance is so much a degree",
}
_NAMES = {
    "k": "air resistance K", "streamlining": "air resistance C", "leading": "C at the head",
    "a": "A", "b": "B", "c": "C",
    "rotating": "rotating factor", "operative": "operative brakes", "independent": "independent brake",
    "peak": "dynamic brake", "knee": "its effort falls above", "fade": "its effort fades below",
    "usable_dynamic": "usable dynamic share", "short_time": "time below continuous speed",
    "base": "resistance at rest", "air": "air resistance",
    "adhesion": "adhesion in dynamic brake",
    "dynamic_axles": "equivalent axles of dynamic brake", "efficiency": "share of power at the rail",
}  # fmt: skip
LOOKED_AT = {"us": (10 * MPH, 20 * MPH, 40 * MPH), "metric": (20 * KMH, 40 * KMH, 60 * KMH)}
"""Speeds at which the resistance is told. [m/s]"""


def mass_text(mass: float, units: str, decimals: int = 0) -> str:
    """A mass [kg] in short tons or tonnes."""
    figure, name = (mass / SHORT_TON, "short tons") if units == "us" else (mass / TONNE, "t")
    return f"{number(figure, decimals, units=units)} {name}"


def force_text(force: float, units: str, decimals: int = 0) -> str:
    """A force [N] in kips or kilonewtons."""
    figure, name = (force / KIP, "kips") if units == "us" else (force / 1000, "kN")
    return f"{number(figure, decimals, units=units)} {name}"


def power_text(power: float, units: str) -> str:
    """A power [W] in horsepower or kilowatts."""
    figure, name = (power / HORSEPOWER, "hp") if units == "us" else (power / 1000, "kW")
    return f"{number(figure, units=units)} {name}"


def pressure_text(pressure: float, units: str) -> str:
    """A pressure [Pa] in psi or bar."""
    return f"{pressure / PSI:.0f} psi" if units == "us" else f"{pressure / BAR:.2g} bar"


def speed_text(speed: float, units: str) -> str:
    """A speed [m/s] with its unit, one decimal below 10."""
    figure = speed / (MPH if units == "us" else KMH)
    return f"{number(figure, 1 if figure < 10 else 0, units=units)} {speed_unit(units)}"


def cited_text(figure: Cited) -> str:
    """A figure as its source prints it: "40 ft", "11 %"."""
    return f"{figure.stated:,.4g} {_UNIT_WORDS.get(figure.unit, figure.unit)}".strip()


def consist_lines(train: Train, units: str) -> list[str]:
    """The train from the head, one line per block, then its figures, then what to look at and what is assumed."""
    consist = consist_of(train)
    return [
        f"train: {train.name}{f', {train.train_class}' if train.train_class else ''}",
        "from the head:",
        *(_block_line(block, units) for block in train.blocks),
        *_figures(train, consist, units),
        *_power(train, consist, units),
        *_resistance(train, units),
        *(f"look at: {words}" for words in _remarks(train, consist)),
        *(f"assumed: {words}" for words in assumed_words(train)),
    ]


def _block_line(block: Block, units: str) -> str:
    vehicle = block.vehicle
    isolated = f", {block.isolated} isolated" if block.isolated else ""
    return (
        f"  {block.count:4} {vehicle.name}{isolated}: {short_length_text(block.count * vehicle.length, units)}, "
        f"{mass_text(block.count * vehicle.mass, units)}"
        f"{f' ({mass_text(vehicle.mass, units, 1)} each)' if block.count > 1 else ''}"
    )


def _count(figure: int, name: str) -> str:
    return f"{figure:,} {name}{'' if figure == 1 else 's'}"


def _figures(train: Train, consist: Consist, units: str) -> list[str]:
    trailing, brakes = train.trailing_mass, train.operative_brakes
    lines = [
        f"length: {short_length_text(train.length, units)}, {_count(train.vehicles, 'vehicle')}, {train.axles} axles",
        f"mass: {mass_text(train.mass, units)}, {mass_text(trailing, units)} trailing; "
        f"{_count(consist.loads, 'load')}, {_count(consist.empties, 'empty').replace('emptys', 'empties')}",
        f"power: {power_text(consist.rated_power, units)}, {power_text(train.power, units)} at the rail"
        + (f"; {_per_mass(consist.power_per_mass, units)}" if math.isfinite(consist.power_per_mass) else ""),
        f"brakes: {train.air_brake}, {pressure_text(train.pipe_pressure, units)}; "
        + (
            f"{brakes:g} operative brakes, {mass_text(consist.mass_per_brake, units, 1)} per operative brake"
            if brakes
            else "no car brakes"
        ),
    ]
    if train.air_brake == "graduated release":
        lines[-1] += f"; position {train.brake_position}"
    return lines


def _per_mass(figure: float, units: str) -> str:
    if units == "us":
        return f"{figure * SHORT_TON / HORSEPOWER:.2f} hp per trailing short ton"
    return f"{figure:.1f} kW per trailing tonne"


def _power(train: Train, consist: Consist, units: str) -> list[str]:
    lines = [f"powered axles: {consist.powered_axles}; rail {train.rail}; draft limit "
             f"{force_text(train.limits.draft, units)}, buff limit {force_text(train.limits.buff, units)}"]  # fmt: skip
    for power in consist.power:
        group = power.group
        place = {"head": "at the head", "rear": "at the rear"}.get(
            group.place, f"{short_length_text(group.start, units)} behind the head"
        )
        words = f"power {place}: {_count(group.working, 'unit')}, {force_text(power.starting_effort, units)} to start"
        words += f", dynamic brake {power.dynamic_axles:.1f} equivalent axles"
        if group.place == "head" and power.dynamic_axles > train.limits.dynamic_axles:
            words += f", of which the limit leaves {train.limits.dynamic_axles:g}"
        lines.append(words)
    return lines


def _resistance(train: Train, units: str) -> list[str]:
    coefficients = train_coefficients(train)
    parts = []
    for speed in LOOKED_AT[units]:
        force = float(coefficients(speed))
        per, name = ((force / train.mass) * SHORT_TON / POUND_FORCE, "lb per short ton")
        if units == "metric":
            per, name = force / train.mass * 1000, "N/t"
        at = f"{speed / MPH:.0f} mph" if units == "us" else f"{speed / KMH:.0f} km/h"
        parts.append(f"{force_text(force, units, 1)} ({per:.1f} {name}) at {at}")
    start = force_text(float(starting_resistances(train).sum()), units, 1)
    return [
        f"resistance on level straight track: {start} to start, {', '.join(parts)}",
        f"curve resistance: {curve_resistance_words(train, units)}; at a start {CURVE_START_FACTOR:g} times as much",
    ]


def curve_resistance_words(train: Train, units: str) -> str:
    """The law of curve resistance; what a degree is worth is the line's business."""
    if train.curve_resistance == "roeckl":
        return compensation_words(CURVE_COMPENSATION, units, "roeckl")
    return f"{compensation_words(CURVE_COMPENSATION, units)}, unless the territory sets it"


def _remarks(train: Train, consist: Consist) -> list[str]:
    """What deserves a second look."""
    found = []
    for group in train.groups:
        if not group.working:
            found.append("a group of locomotives is wholly isolated: it is hauled")
    for power in consist.power:
        if power.starting_effort > train.limits.draft:
            where = {"head": "at the head", "rear": "at the rear"}.get(power.group.place, "inside the train")
            found.append(f"the power {where} can pull more than the draft limit: it has to be held back")
    if consist.empties_ahead:
        found.append(f"{_count(consist.empties_ahead, 'empty car')} ahead of loads: sudden acts are worst here")
    if consist.long_beside_short:
        found.append("a long car stands beside a short one: forces in sharp curves (common practice)")
    for block in train.blocks:
        brake = block.vehicle.brake
        if block.vehicle.kind == "car" and brake.braking_ratio is None and brake.braked_weight is None:
            found.append(f"{block.vehicle.name}: neither braking ratio nor braked weight is known")
    for outside in outside_ranges(train, LOOKED_AT[train.units]):
        formula = f"{_FORMULA_WORDS[outside.formula]}, which ends at {cited_text(outside.limit)}"
        found.append(f"{outside.vehicle}: {outside.quantity} lies outside the range of {formula}")
    return list(dict.fromkeys(found))


def assumed_words(train: Train) -> list[str]:
    """What nobody stated for this train: words of the file, then figures by what they belong to and their source."""
    said = [_KEY_WORDS[key].format(train) for key in train.assumed]
    if train.air_brake == "direct release":  # the position belongs to graduated release
        said = [words for words in said if not words.startswith("the brake position")]
    for vehicle in dict.fromkeys(block.vehicle for block in train.blocks):
        said += [f"{vehicle.name}: resistance by {_FORMULA_WORDS[type(vehicle.resistance)]}"]
        said += [f"{vehicle.name}: {words}" for words in _by_source(vehicle)]
        if vehicle.traction is not None and vehicle.traction.adhesion is None:
            figure = ADHESION[vehicle.traction.control, train.rail]
            share = " of Curtius and Kniffler" if vehicle.traction.control == "Curtius-Kniffler" else ""
            said.append(f"{vehicle.name}: adhesion {figure:g}{share} on {train.rail} rail ({figure.words})")
    heat = any(b.vehicle.traction and b.vehicle.traction.continuous_speed is not None for b in train.blocks)
    for name, table in (("limits", train.limits), ("handling", train.handling)):
        said += [f"{name}: {words}" for words in _by_source(table, *([] if heat else ["short_time"]))]
    return said + ([f"brake pipe {cited_text(train.pipe_pressure)}"] if train.pipe_pressure.source != "given" else [])


def _by_source(noun: object, *left_out: str) -> list[str]:
    """Figures that nobody stated, gathered by their source, without those that do not matter."""
    gathered: dict[str, list[str]] = defaultdict(list)
    for name, figure in (each for each in _figures_in(noun) if each[0] not in left_out):
        gathered[figure.words].append(f"{_NAMES.get(name, name.replace('_', ' '))} {cited_text(figure)}")
    return [f"{', '.join(figures)} ({source})" for source, figures in gathered.items()]


def _figures_in(noun: object) -> list[tuple[str, Cited]]:
    found: list[tuple[str, Cited]] = []
    for field in fields(noun):  # type: ignore[arg-type]
        value = getattr(noun, field.name)
        if isinstance(value, Cited):
            found += [(field.name, value)] if value.source != "given" else []
        elif hasattr(value, "__dataclass_fields__") and not isinstance(value, Notches):
            found += _figures_in(value)
    return found
