"""The line as railML 2.4: one track with its gradients, radii, limits and mileage, and the places along it.

Element names from memory of the schema's documentation (railML.org, subschema infrastructure): no file here is
claimed to be valid by the schema, which is in no package.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from importlib.metadata import version
from pathlib import Path

import numpy as np

from profiler.exchange import about, mileages, speed_steps, tangent_grades, vertical_points, vertical_words
from profiler.landmark import Landmarks
from profiler.longitude import wrapped
from profiler.plan_elements import PlanElement, elements_of
from profiler.profile import Profile
from profiler.route import Route
from profiler.units import KMH, PERMILLE
from profiler.write.xml import element, figure, write_xml

VERSION = "2.4"

CONVENTIONS = (
    "railML 2.4, geometry only: no interlocking, no topology beyond one track. Positions are metres of ground along "
    "the track from its start; absPos are the railway's posts in metres. slope in per mille, + up with rising "
    "positions, from one change of grade to the next; a vertical curve of transitionLength lies half before and half "
    "behind it. radius in metres, 0 straight, + to the right, − to the left with rising positions; it "
    "changes in the middle of a transition curve, which turns as much as the arc and the straight it stands for. "
    "vMax in km/h. Not checked against the schema."
)


def write_railml2(profile: Profile, landmarks: Landmarks, path: Path) -> tuple[str, ...]:
    """Write a profile as one track of railML 2.4 to ``path``; returns what to tell the user of it.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    route = profile.route
    root = element(None, "railml", xmlns="https://www.railml.org/schemas/2018", version=VERSION)
    add_metadata(root, profile, landmarks, VERSION, CONVENTIONS)
    infrastructure = element(root, "infrastructure", id="is1", name=route.name or None)
    track = element(element(infrastructure, "tracks"), "track", id="tr1", name=route.name or "line", type="mainTrack")
    _topology(track, route)
    _elements(track, profile, landmarks)
    _places(infrastructure, route)
    write_xml(root, path)
    said = [
        "This is railML 2.4 and carries geometry only: gradients, radii, general speed limits, mileage and places of "
        "one track.",
        vertical_words(profile, landmarks),
        "Transition curves stand as a change of radius in their middle; structures, temporary limits, limits of "
        "one class of train and standard errors are left out.",
        "The file follows the schema's documentation but is not checked against the schema.",
    ]
    return tuple(said)


def add_metadata(root: ET.Element, profile: Profile, landmarks: Landmarks, format_version: str, words: str) -> None:
    """What the file is, in terms of Dublin Core."""
    root.set("xmlns:dc", "http://purl.org/dc/elements/1.1/")
    metadata = element(root, "metadata")
    element(metadata, "dc:format", format_version)
    element(metadata, "dc:source", f"Gradewright {version('gradewright')}")
    element(metadata, "dc:title", profile.route.name or "line")
    element(metadata, "dc:language", "en")
    element(metadata, "dc:description", f"{words} {about(profile, landmarks)}")


def coordinates(route: Route, chainage: float) -> tuple[float, float]:
    """Latitude and longitude of a place [degree]."""
    latitude = float(np.interp(chainage, route.chainage, route.latitude))
    longitude = float(wrapped(np.interp(chainage, route.chainage, route.longitude)))
    return latitude, longitude


def _topology(track: ET.Element, route: Route) -> None:
    start, end = float(route.chainage[0]), float(route.chainage[-1])
    first, *changes = mileages(route.posts, start, end)
    last = float(route.posts.at(end)) * route.posts.unit_m
    topology = element(track, "trackTopology")
    for which, at, post in (("Begin", start, first.ahead), ("End", end, last)):
        node = element(
            topology, f"track{which}", id=f"track{which}1", pos=figure(at - start, 3), absPos=figure(post, 3)
        )
        element(node, "openEnd", id=f"open{which}1")
    if changes:
        jumps = element(topology, "mileageChanges")
        for i, m in enumerate(changes, 1):
            missing = (m.ahead > m.back) == route.posts.rising
            element(
                jumps,
                "mileageChange",
                id=f"mc{i}",
                pos=figure(m.chainage - start, 3),
                absPos=figure(m.ahead, 3),
                absPosIn=figure(m.back, 3),
                type="missing" if missing else "overlapping",
            )
    if route.stations:
        sections = element(topology, "crossSections")
        for i, station in enumerate(route.stations, 1):
            pos = figure(station.chainage - start, 3)
            element(sections, "crossSection", id=f"cs{i}", name=station.name, pos=pos, ocpRef=f"ocp{i}")


def _elements(track: ET.Element, profile: Profile, landmarks: Landmarks) -> None:
    route = profile.route
    start, end = float(route.chainage[0]), float(route.chainage[-1])
    both = element(track, "trackElements")
    steps = [(d, s) for d in ("with", "against") for s in speed_steps(route, d)]
    if steps:
        changes = element(both, "speedChanges")
        for i, (direction, step) in enumerate(steps, 1):
            element(
                changes,
                "speedChange",
                id=f"sc{i}",
                pos=figure(np.clip(step.chainage, start, end) - start, 3),
                dir="up" if direction == "with" else "down",
                vMax="end" if step.speed is None else figure(step.speed / KMH, 2),
            )
    changes = element(both, "gradientChanges")
    points = vertical_points(profile, landmarks)
    for i, (point, grade) in enumerate(zip(points, tangent_grades(points), strict=False), 1):
        element(
            changes,
            "gradientChange",
            id=f"gc{i}",
            pos=figure(point.chainage - start, 3),
            slope=figure(grade / PERMILLE, 4),
            transitionLength=figure(point.curve_length, 3) if point.curve_length else None,
        )
    changes = element(both, "radiusChanges")
    for i, (at, curvature) in enumerate(_radius_steps(elements_of(route.curves, start, end)), 1):
        radius = figure(-1 / curvature, 3) if curvature else "0"
        element(changes, "radiusChange", id=f"rc{i}", pos=figure(at - start, 3), radius=radius)


def _radius_steps(plan: Sequence[PlanElement]) -> list[tuple[float, float]]:
    """Chainages [m] from which a curvature [1/m, + left] holds, spirals cut in their middle: the turns are the same."""
    steps: list[tuple[float, float]] = []
    for e in plan:
        for at, curvature in ((e.start, e.curvature_start), ((e.start + e.end) / 2, e.curvature_end)):
            if not steps or abs(curvature - steps[-1][1]) > 1e-9:
                steps.append((at, curvature))
    return steps


def _places(infrastructure: ET.Element, route: Route) -> None:
    if not route.stations:
        return
    points = element(infrastructure, "operationControlPoints")
    for i, station in enumerate(route.stations, 1):
        ocp = element(points, "ocp", id=f"ocp{i}", name=station.name)
        latitude, longitude = coordinates(route, station.chainage)
        element(ocp, "geoCoord", coord=f"{latitude:.7f} {longitude:.7f}", epsgCode="urn:ogc:def:crs:EPSG::4326")
