"""Every table with its place on the globe, for formats that have layers or features."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.grade_classes import DOWN, UP, class_limits, signed_class
from profiler.landmark import Landmarks
from profiler.profile import Profile
from profiler.units import PERCENT, FloatArray
from profiler.write.cells import Columns, Texts, fixed
from profiler.write.route_tables import route_tables
from profiler.write.shapes import along, position
from profiler.write.tables import tables_of

NAMES = {"profile": "stations", "grades": "grade_runs"}
"""Layers that are not called as their table is."""

_PLACES = ("at_m", "chainage_m")
_STRETCHES = (("start_m", "end_m"), ("head_m", "clear_m"))


@dataclass(frozen=True, eq=False)
class Layer:
    """Rows of one kind: the ``columns`` of a ``table``, and where each row lies.

    ``points`` are longitudes and latitudes (n, 2), ``lines`` n arrays (m, 2), as continuous as the route's
    [degree]; a layer has one of the two.
    """

    name: str
    table: str
    columns: Columns
    points: FloatArray | None = None
    lines: tuple[FloatArray, ...] = ()


def layers_of(profile: Profile, landmarks: Landmarks) -> list[Layer]:
    """The line, the stations, and every table of things along it.

    A landmark is a point where it stands; a straddle the stretch of its head positions; grade runs have the class
    of steepness that maps and charts draw, and its colour.
    """
    route = profile.route
    everything = np.column_stack([route.longitude, route.latitude])
    line: Columns = {
        "name": Texts([route.name]),
        "start": Texts([route.ends[0]]),
        "end": Texts([route.ends[1]]),
        "length_m": fixed([route.length], 1),
        "source": Texts([route.source]),
    }
    found = [Layer("line", "line", line, lines=(everything,))]
    for table, columns in {**tables_of(profile, landmarks), **route_tables(route)}.items():
        name = NAMES.get(table, table)
        if table == "profile":
            found.append(Layer(name, table, columns, points=everything))
        elif table == "grades":
            found.append(_placed(profile, name, table, {**columns, **_classes(landmarks)}))
        else:
            found.append(_placed(profile, name, table, columns))
    return found


def _placed(profile: Profile, name: str, table: str, columns: Columns) -> Layer:
    route = profile.route
    place = next((column for column in _PLACES if column in columns), None)
    if place is not None:
        at = np.array(columns[place], dtype=float)
        return Layer(name, table, columns, points=np.column_stack(position(route, at)))
    first, last = next(pair for pair in _STRETCHES if pair[0] in columns)
    ends = np.sort(np.array([columns[first], columns[last]], dtype=float), axis=0).T
    lines = tuple(np.column_stack(position(route, along(route, *both))) for both in ends)
    return Layer(name, table, columns, lines=lines)


def _classes(landmarks: Landmarks) -> Columns:
    """Class of steepness of each grade run, + climbing with chainage, and its colour."""
    limits = class_limits(landmarks.steepest_ruling)
    classes = signed_class(np.array([run.grade for run in landmarks.grade_runs], dtype=float), limits)
    colours = [UP[shade] if shade >= 0 else DOWN[-shade] for shade in classes.tolist()]
    return {"grade_class": [str(shade) for shade in classes.tolist()], "colour": colours}


def class_sentence(landmarks: Landmarks) -> str:
    """Where the classes of grade begin."""
    limits = class_limits(landmarks.steepest_ruling)
    return f"Grade classes 1 to 4 begin at {', '.join(f'{limit / PERCENT:g}' for limit in limits)} %."
