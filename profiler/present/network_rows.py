"""Rows of a network's table: what is told of each line, in both units, and by what the rows are sorted."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from profiler import wording
from profiler.landmark import Landmark
from profiler.network_line import NetworkLine
from profiler.units import curvature_of_degree

UNITS = ("us", "metric")


class Column(NamedTuple):
    """A column: its ``key``, its ``heading``, and the ``step`` to which its rows are sorted, 0 by words."""

    key: str
    heading: str
    step: float


COLUMNS = (
    Column("line", "Line", 0.0),
    Column("length", "Length", 0.1),
    Column("with", "Ruling grade with chainage", 1e-3),
    Column("against", "Ruling grade against chainage", 1e-3),
    Column("train", "Train of the ruling grades", 0.1),
    Column("summit", "Highest summit", 0.1),
    Column("sustained", "Steepest sustained grade", 1e-3),
    Column("curve", "Sharpest curve", 1e-3),
)
NONE = "none"


class Cell(NamedTuple):
    """A ``figure``, and in small letters what belongs to it."""

    figure: str
    small: str = ""


def figures_of(line: NetworkLine) -> tuple[float, ...]:
    """What each of `COLUMNS` but the first is sorted by [m], [%], [degree]; NaN where there is none."""
    ways = [line.ruling(direction) for direction in ("with", "against")]
    train = next((way.train_length for way in ways if way is not None), None)
    return (
        line.length,
        *(_value(way) for way in ways),
        math.nan if train is None else train,
        math.nan if line.summit is None else line.height(line.summit.at),
        _value(line.sustained),
        abs(_value(line.sharpest)),
    )


def cells_of(line: NetworkLine, units: str) -> tuple[Cell, ...]:
    """Cells of `COLUMNS` as people read them."""
    ways = [line.ruling(direction) for direction in ("with", "against")]
    train = next((way.train_length for way in ways if way is not None), None)
    ends = (line.end(0), line.end(1))
    tags = ["" if all(end in line.title for end in ends) else " – ".join(ends)]
    tags += ["on no map" if not line.track[0].size else "", "invented" if line.invented else ""]
    return (
        Cell(line.title, ", ".join(filter(None, tags))),
        Cell(wording.distance_text(line.length, units)),
        *(_graded(way, units, f"to {line.end(1 - which)}") for which, way in enumerate(ways)),
        Cell(NONE if train is None else wording.short_length_text(train, units)),
        _summit(line, units),
        _sustained(line, units),
        _curve(line, units),
    )


def more_of(line: NetworkLine, units: str) -> tuple[str, ...]:
    """What a reader of one line is told beside its row, in sentences."""
    top = line.highest
    height, post = wording.elevation_text(line.height(top), units), wording.post_named(line.posts, _post(line, top), 1)
    return (
        f"Up and down are as travelled from {line.end(0)} to {line.end(1)}.",
        f"Highest place: {height} at {post}; {wording.datum_words(line.vertical_datum)}.",
    )


def said_of(line: NetworkLine) -> tuple[str, ...]:
    """The same that no unit changes: stations, what was assumed, whose the elevation data are."""
    return (
        *([f"Stations: {', '.join(line.places)}."] if line.places else []),
        *(f"Assumed: {said}." for said in line.assumptions),
        *filter(None, [wording.credit_words(line.attribution, line.licence)]),
        *([wording.INVENTED] if line.invented else []),
    )


def total_words(lines: int, length: float, failed: int, units: str) -> str:
    """ "12 lines, 640 km; 1 failed"."""
    counted = f"{wording.number(lines, units=units)} line{'' if lines == 1 else 's'}"
    words = f"{counted}, {wording.distance_text(length, units, 0)}"
    return f"{words}; {wording.number(failed, units=units)} failed" if failed else words


def signs_of(line: NetworkLine) -> dict[str, float]:
    """Chainages of the signs of a chosen line: summit, sharpest curve, foot and head of the steepest sustained grade,
    NaN where there is none. [m]"""
    summit, curve = (math.nan if x is None else x.at for x in (line.summit, line.sharpest))
    ends = (math.nan, math.nan) if line.sustained is None else _uphill(line.sustained)
    return {"summit": summit, "curve": curve, "foot": ends[0], "head": ends[1]}


def _uphill(found: Landmark) -> tuple[float, float]:
    return (found.start, found.end) if found.direction == "with" else (found.end, found.start)


def _value(landmark: Landmark | None) -> float:
    return math.nan if landmark is None else landmark.value


def _post(line: NetworkLine, chainage: float) -> float:
    return float(line.posts.at(chainage))


def _graded(landmark: Landmark | None, units: str, *more: str) -> Cell:
    """A grade; its interval stands first in the small letters."""
    if landmark is None:
        return Cell(NONE)
    figure, _, interval = wording.interval_text(landmark.value, "%", units, landmark.low, landmark.high).partition(" (")
    return Cell(figure, ", ".join([*([f"({interval}"] if interval else []), *more]))


def _summit(line: NetworkLine, units: str) -> Cell:
    if line.summit is None:
        return Cell(NONE)
    post = wording.post_named(line.posts, _post(line, line.summit.at), 1)
    return Cell(wording.elevation_text(line.height(line.summit.at), units), post)


def _sustained(line: NetworkLine, units: str) -> Cell:
    found = line.sustained
    if found is None:
        return Cell(NONE)
    first, last = (wording.post_named(line.posts, _post(line, x), 1) for x in _uphill(found))
    return _graded(found, units, f"{wording.distance_text(found.end - found.start, units)}, {first} to {last}")


def _curve(line: NetworkLine, units: str) -> Cell:
    found = line.sharpest
    if found is None:
        return Cell(NONE)
    curvature = float(curvature_of_degree(abs(found.value)))
    post = wording.post_named(line.posts, _post(line, found.at), 1)
    return Cell(wording.curve_text(curvature, units), post if units == "us" else f"radius; {post}")


def row_data(line: NetworkLine) -> dict[str, Any]:
    """A row as the view's script takes it, figures and drawing aside."""
    return {
        "key": line.key,
        "ends": [line.end(0), line.end(1)],
        "places": line.places,
        "links": line.links,
        "cells": {units: cells_of(line, units) for units in UNITS},
        "more": {units: more_of(line, units) for units in UNITS},
    }
