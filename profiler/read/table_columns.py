"""What the columns of somebody else's table hold, told by their names: quantity and unit, never a guess."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from profiler.errors import InputError
from profiler.reference import POSITION_UNITS
from profiler.units import FOOT, PERCENT, PERMILLE

_LENGTHS = {
    "m": "m",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "km": "km",
    "kilometre": "km",
    "kilometres": "km",
    "kilometer": "km",
    "kilometers": "km",
    "mi": "mi",
    "mile": "mi",
    "miles": "mi",
    "ft": "ft",
    "foot": "ft",
    "feet": "ft",
}
_HEIGHTS_M = {"m": 1.0, "ft": FOOT}
_SLOPES = {
    "permille": PERMILLE,
    "promille": PERMILLE,
    "‰": PERMILLE,
    "pct": PERCENT,
    "percent": PERCENT,
    "%": PERCENT,
}
_IMPLIED = {"pk": "km", "mp": "mi", "milepost": "mi"}
"""Words for a position that say their unit themselves."""

_BESIDE_THE_POINT = {"published", "official", "rail", "reference", "stated", "pvi", "the", "of", "at"}
_POSITIONS = ("post", "pk", "mp", "milepost", "position", "pos", "location", "distance", "stationing", "chainage")
_FROM, _TO = {"from", "start", "begin"}, {"to", "end", "until"}
_ELEVATIONS = {"elevation", "elev", "height", "altitude", "alt", "level"}
_GRADES = {"grade", "gradient", "slope"}
_ERRORS = {"se", "sd"}
_NAMES = {"name", "station", "stop", "halt", "place"}
_DEGREES = {
    "longitude": "longitude",
    "lon": "longitude",
    "lng": "longitude",
    "latitude": "latitude",
    "lat": "latitude",
}

_REMEDY = {
    "position": "name it position_m, position_km, position_mi or position_ft",
    "elevation": "name it elevation_m or elevation_ft",
    "grade": "name it grade_permille or grade_pct",
}

_WORD = re.compile(r"[^\W\d_]+|[‰%]")
_PER_MILLE = re.compile(r"per[\s_-]*mil(?:le|l)?(?![a-z])|mm[\s_]*(?:/|per)[\s_]*m(?![a-z])")


@dataclass(frozen=True)
class Column:
    """A column that is read: its ``place`` in a row from 0, its ``name``, ``unit`` and how much one is in SI."""

    place: int
    name: str
    unit: str
    factor: float
    word: str = ""


def columns_of(header: Sequence[str], path: Path) -> dict[str, Column]:
    """Columns by what they hold.

    Keys are "position", "to", "elevation", "elevation_se", "grade", "grade_se", "name", "longitude",
    "latitude", "curve_length" and "pvi": grades before and after, which only mark a list of PVIs.

    Raises
    ------
    InputError
        If a column names no unit, or none says where rows are or what is there.
    """
    found: dict[str, Column] = {}
    bare: dict[str, str] = {}
    rank: dict[str, int] = {}
    for place, name in enumerate(header):
        told = _told(name)
        if told is None:
            continue
        quantity, unit, factor, word = told
        if not factor:
            bare.setdefault(quantity.removesuffix("_se"), name)
            continue
        order = _preference(quantity, word)
        if quantity not in found or order < rank[quantity]:
            found[quantity], rank[quantity] = Column(place, name, unit, factor, word), order
    _refuse_bare(path, found, bare)
    placed = "position" in found or "name" in found or {"longitude", "latitude"} <= set(found)
    if not placed:
        raise InputError(
            path,
            "no column says where its rows are",
            "name one position_km, post_mi, from_m or the like, or station, or longitude and latitude",
        )
    if "elevation" not in found and "grade" not in found:
        raise InputError(
            path,
            "no column holds elevations or grades",
            "name one elevation_m, elevation_ft, grade_permille or grade_pct",
        )
    if "grade" in found and "elevation" not in found and "position" not in found:
        raise InputError(path, "its grades have no positions", "add a column position_km, post_mi, from_m or the like")
    return found


def _refuse_bare(path: Path, found: dict[str, Column], bare: dict[str, str]) -> None:
    for quantity, name in bare.items():
        missing = quantity not in found
        if quantity in ("position", "to") and {"longitude", "latitude"} <= set(found):
            missing = False
        if missing:
            remedy = _REMEDY.get(quantity, f"name it {name}_m, {name}_km, {name}_mi or {name}_ft")
            raise InputError(path, f"column {name!r} names no unit", remedy)


def _told(name: str) -> tuple[str, str, float, str] | None:
    """Quantity, unit, how much one is in SI (0 where no unit is named), and the word for it."""
    words = _WORD.findall(_PER_MILLE.sub(" permille ", name.strip().lower()))
    words = [word for word in words if word not in _BESIDE_THE_POINT]
    lengths = [_LENGTHS[word] for word in words if word in _LENGTHS]
    slopes = [word for word in words if word in _SLOPES]
    rest = [word for word in words if word not in _LENGTHS and word not in _SLOPES]
    return (
        _position_told(rest, lengths, bool(slopes))
        or _value_told(rest, lengths, slopes)
        or _text_told(rest, bool(lengths or slopes))
    )


def _position_told(rest: list[str], lengths: list[str], sloped: bool) -> tuple[str, str, float, str] | None:
    unit = lengths[0] if lengths else next((_IMPLIED[word] for word in rest if word in _IMPLIED), "")
    if sloped:
        return None
    if not rest:
        return ("position", unit, POSITION_UNITS[unit], unit) if unit in ("km", "mi") else None
    words = set(rest)
    if len(rest) > 1:
        words -= set(_POSITIONS)  # "post from" is a from
    word = next(iter(words), rest[0])
    if len(words) > 1 or (word == "station" and not unit):
        return None
    if word in _TO:
        return "to", unit, POSITION_UNITS.get(unit, 0.0), word
    if word in _FROM or word in _POSITIONS or word == "station":
        return "position", unit, POSITION_UNITS.get(unit, 0.0), "from" if word in _FROM else word
    return None


def _value_told(rest: list[str], lengths: list[str], slopes: list[str]) -> tuple[str, str, float, str] | None:
    unit = lengths[0] if lengths else ""
    height = _HEIGHTS_M.get(unit, 0.0)
    slope = _SLOPES[slopes[0]] if slopes else 0.0
    plain = [word for word in rest if word not in _ERRORS]
    error = "_se" if len(plain) < len(rest) else ""
    if not plain and error:
        return (f"elevation{error}", unit, height, "") if height else None
    if len(plain) == 1 and plain[0] in _ELEVATIONS:
        return f"elevation{error}", unit, height, plain[0]
    if len(plain) == 1 and plain[0] in _GRADES:
        return f"grade{error}", slopes[0] if slopes else "", slope, plain[0]
    if plain[-2:] == ["curve", "length"] and height:
        return "curve_length", unit, height, ""
    if set(plain) & _GRADES and set(plain) & {"in", "out"}:
        return "pvi", unit, 1.0, ""
    return None


def _text_told(rest: list[str], measured: bool) -> tuple[str, str, float, str] | None:
    if measured or not rest:
        return None
    if len(rest) == 1 and rest[0] in _DEGREES:
        return _DEGREES[rest[0]], "degree", 1.0, rest[0]
    return ("name", "", 1.0, rest[0]) if set(rest) <= _NAMES else None


def _preference(quantity: str, word: str) -> int:
    """Of several columns for positions: where pieces begin before posts, posts before chainage."""
    if quantity != "position":
        return 0
    order = ("from", *_POSITIONS[:4], "km", "mi", *_POSITIONS[4:], "station")
    return order.index(word) if word in order else len(order)
