"""The line as GPX 1.1: a track with elevations, waypoints for landmarks and named places."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from profiler.files import source_date
from profiler.landmark import Landmarks
from profiler.longitude import wrapped
from profiler.profile import Profile
from profiler.units import FloatArray
from profiler.wording import datum_words
from profiler.write.cells import fixed
from profiler.write.markup import tag
from profiler.write.placemarks import (
    Placemark,
    hidden_words,
    landmark_placemarks,
    place_placemarks,
    total_words,
)
from profiler.write.shapes import cut_at_meridian
from profiler.write.statement import description, left_out, title

_DECIMALS = 7
_EAST = 180 - 10.0**-_DECIMALS
"""Longitudes lie below 180 (GPX 1.1, longitudeType)."""


def write_gpx(profile: Profile, landmarks: Landmarks, path: Path) -> tuple[str, ...]:
    """Write the track and its waypoints; where the line crosses the 180° meridian the track has two segments.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    route = profile.route
    points = np.column_stack([route.longitude, route.latitude, profile.elevation])
    marks = [*place_placemarks(profile), *landmark_placemarks(profile, landmarks)]
    said = description(profile, total_words(profile, landmarks), "Elevations in metres.")
    date = source_date()
    text = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="gradewright" xmlns="http://www.topografix.com/GPX/1/1">',
        f"<metadata>{tag('name', title(profile))}{tag('desc', said)}"
        + (f"<time>{date:%Y-%m-%dT%H:%M:%SZ}</time>" if date is not None else "")
        + "</metadata>",
        *map(_waypoint, marks),
        f"<trk>{tag('name', title(profile))}{tag('desc', said)}{tag('src', route.source)}",
        *map(_segment, cut_at_meridian(points)),
        "</trk>",
        "</gpx>",
        "",
    ]
    Path(path).write_text("\n".join(text), encoding="utf-8", newline="\n")
    things = ("grades", "curves", "structures", "posts", "limits", "standard errors", *hidden_words(landmarks))
    return (
        f"GPX has no place for a vertical datum but the description: {datum_words(profile.vertical_datum)}",
        left_out(*things),
    )


def _waypoint(mark: Placemark) -> str:
    place = _place(np.array([mark.longitude]), np.array([mark.latitude]), np.array([mark.elevation]), "wpt")[0]
    return f"{place}{tag('name', mark.name)}{tag('desc', mark.words)}{tag('type', mark.kind)}</wpt>"


def _segment(part: FloatArray) -> str:
    points = _place(part[:, 0], part[:, 1], part[:, 2], "trkpt")
    return "\n".join(["<trkseg>", *(f"{point}</trkpt>" for point in points), "</trkseg>"])


def _place(longitude: FloatArray, latitude: FloatArray, elevation: FloatArray, name: str) -> list[str]:
    """Opened elements of points, each with its elevation [m]."""
    x = fixed(np.minimum(wrapped(longitude), _EAST), _DECIMALS)
    columns = fixed(latitude, _DECIMALS), x, fixed(elevation, 2)
    return list(map(f'<{name} lat="%s" lon="%s"><ele>%s</ele>'.__mod__, zip(*columns, strict=True)))
