"""The line of the map as numbers: simplified vertices and runs of one class of grade."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from profiler import wording
from profiler.grade_classes import DOWN, UP, Limits, signed_class
from profiler.landmark import Landmarks
from profiler.present.hillshade import mercator
from profiler.profile import Profile
from profiler.route import Route
from profiler.units import EARTH_RADIUS, FloatArray

TOLERANCE_M = 1.0
"""A drawn vertex is left out where the line strays no farther without it. [m]"""
PLACE = 1e-6
"""Step of drawn longitudes and latitudes, about a decimetre. [degree]"""
CHAINAGE_M = 0.1
"""Step of drawn chainages. [m]"""
SHORT_TUNNEL_M = 150.0
"""Tunnels up to this long are too small to draw as such. [m]"""
TUNNEL_SHADE = 0.62
"""Share of colour on white in a tunnel."""
WIDTHS_PX = (2.6, 3.2, 4.4, 5.8, 7.2)
"""Width of the coloured line by class: steepness reads as width."""

BAND_WIDTHS_PX = (17, 24, 33)
"""Width of the grey band under the line by how unsure the rail's elevation is."""

OPEN, TUNNEL, SUSPECTED = 0, 1, 2


def line_data(route: Route) -> dict[str, list[int]]:
    """Vertices as whole steps, the first absolute and the others as differences.

    Returns ``chainage`` in steps of `CHAINAGE_M`, ``longitude`` and ``latitude`` in steps of
    `PLACE`. A line across the 180th meridian goes on beyond it.
    """
    longitude = np.unwrap(route.longitude, period=360.0)
    keep = simplified(longitude, route.latitude)
    return {
        "chainage": _steps(route.chainage[keep], CHAINAGE_M),
        "longitude": _steps(longitude[keep], PLACE),
        "latitude": _steps(route.latitude[keep], PLACE),
    }


def simplified(longitude: FloatArray, latitude: FloatArray) -> FloatArray:
    """Positions of the vertices that keep the line within `TOLERANCE_M` of itself.

    Notes
    -----
    Douglas and Peucker 1973, in a Mercator plane true to scale at the middle latitude.
    """
    scale = EARTH_RADIUS * np.cos(np.radians((latitude.min() + latitude.max()) / 2))
    easting, northing = np.radians(longitude) * scale, mercator(latitude) * scale
    line = shapely.linestrings(np.column_stack([easting, northing, np.arange(longitude.size)]))
    kept = shapely.simplify(line, TOLERANCE_M, preserve_topology=False)
    return shapely.get_coordinates(kept, include_z=True)[:, 2].astype(int)


def _steps(values: FloatArray, step: float) -> list[int]:
    whole = np.rint(values / step).astype(np.int64)
    return np.diff(whole, prepend=0).tolist()


def class_runs(profile: Profile, landmarks: Landmarks, limits: Limits) -> list[list[float]]:
    """The line in runs of one class: [start m, end m, class, cover], in order and without gaps.

    ``class`` is 0 to ±4, + where it climbs with chainage; ``cover`` is `OPEN`, `TUNNEL` or
    `SUSPECTED`. The grade is that of the grade runs, and the profile's own between them.
    """
    s = profile.chainage
    starts, ends, grades = _grade_runs(landmarks)
    spans = _spans(profile, landmarks)
    own = np.flatnonzero(np.diff(signed_class(profile.grade, limits))) + 1
    loose = own[~in_stretch(s[own], starts, ends)[0]]
    edges = np.r_[s[0], s[-1], starts, ends, s[loose], [x for a, b, _ in spans for x in (a, b)]]
    edges = np.unique(np.round(np.clip(edges, s[0], s[-1]), 1))
    middle = (edges[:-1] + edges[1:]) / 2
    inside, which = in_stretch(middle, starts, ends)
    grade = profile.grade[np.clip(np.searchsorted(s, middle, side="right") - 1, 0, s.size - 1)].copy()
    if starts.size:
        grade[inside] = grades[which[inside]]
    steepness, cover = signed_class(grade, limits), np.full(middle.size, OPEN)
    for a, b, kind in spans:
        cover[(middle > a) & (middle < b) & (cover != TUNNEL)] = kind
    first = np.flatnonzero(np.r_[True, (np.diff(steepness) != 0) | (np.diff(cover) != 0)])
    last = np.r_[first[1:], middle.size]
    return [
        [float(edges[i]), float(edges[j]), int(steepness[i]), int(cover[i])] for i, j in zip(first, last, strict=True)
    ]


def unsure_runs(profile: Profile) -> list[list[float]]:
    """Where the rail's elevation is less sure than `wording.UNSURE_M`: [start m, end m, step 1 to 3]."""
    s = profile.chainage
    half = 1.96 * profile.elevation_se
    step = np.searchsorted(wording.UNSURE_M[profile.units], half, side="right")
    first = np.flatnonzero(np.r_[True, np.diff(step) != 0])
    ends = s[np.r_[first[1:], s.size - 1]]
    return [
        [round(float(s[i]), 1), round(float(end), 1), int(step[i])]
        for i, end in zip(first, ends, strict=True)
        if step[i] and end > s[i]
    ]


def colours() -> dict[str, dict[str, str]]:
    """Fill by signed class, in the open and in a tunnel (lighter)."""
    fills = {str(-i): DOWN[i] for i in range(4, 0, -1)} | {str(i): UP[i] for i in range(5)}
    return {"open": fills, "tunnel": {name: _on_white(fill) for name, fill in fills.items()}}


def _on_white(fill: str) -> str:
    bands = [int(fill[i : i + 2], 16) for i in (1, 3, 5)]
    return "#" + "".join(f"{round(TUNNEL_SHADE * b + (1 - TUNNEL_SHADE) * 255):02X}" for b in bands)


def _grade_runs(landmarks: Landmarks) -> tuple[FloatArray, FloatArray, FloatArray]:
    rows = [(run.start, run.end, run.grade) for run in landmarks.grade_runs]
    table = np.array(sorted(rows), dtype=float).reshape(-1, 3)
    return table[:, 0], table[:, 1], table[:, 2]


def in_stretch(x: FloatArray, starts: FloatArray, ends: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Whether places lie in one of the stretches, sorted and apart, and in which."""
    if not starts.size:
        return np.zeros(x.shape, dtype=bool), np.zeros(x.shape, dtype=int)
    which = np.clip(np.searchsorted(starts, x, side="right") - 1, 0, None)
    return (x >= starts[which]) & (x < ends[which]), which


def _spans(profile: Profile, landmarks: Landmarks) -> Sequence[tuple[float, float, int]]:
    """Covered stretches, tunnels first."""
    spans: list[tuple[Any, ...]] = [
        (t.start, t.end, TUNNEL)
        for t in profile.route.structures
        if t.kind == "tunnel" and t.end - t.start > SHORT_TUNNEL_M
    ]
    return [*spans, *((item.start, item.end, SUSPECTED) for item in landmarks.suspected)]
