"""The line as railML 3.2: gradient and horizontal curves on one net element, and the places along it.

Element names from memory of the schema's documentation (railML.org, subschema infrastructure): no file here is
claimed to be valid by the schema, which is in no package.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np

from profiler.exchange import gradients, vertical_points, vertical_words
from profiler.grid_alignment import one_handed
from profiler.landmark import Landmarks
from profiler.plan_elements import PlanElement, elements_of
from profiler.profile import Profile
from profiler.route import Route
from profiler.units import PERMILLE
from profiler.write.railml2 import add_metadata, coordinates
from profiler.write.xml import element, figure, write_xml

VERSION = "3.2"

CONVENTIONS = (
    "railML 3.2, geometry only: one net element without relations, no interlocking. Measures, lengths and radii are "
    "metres of ground along the track from its start. gradient in per mille at the beginning of a curve, + up with "
    "rising measures, deltaGradient what it changes by, radius of a gradient curve + on a hill, − in a valley, "
    "vertical curves being parabolas. azimuth in degrees clockwise from true north, that of the line at the beginning "
    "of a curve; deltaAzimuth what it turns, + to the right; radius of a horizontal curve + to the right, − to the "
    "left, of a clothoid that of its sharper end. Not checked against the schema."
)

_KINDS = {"tangent": "straight", "arc": "arc", "spiral": "clothoid"}


def write_railml3(profile: Profile, landmarks: Landmarks, path: Path) -> tuple[str, ...]:
    """Write the geometry of a profile as railML 3.2 to ``path``; returns what to tell the user of it.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    root = element(None, "railML", xmlns="https://www.railml.org/schemas/3.2", version=VERSION)
    add_metadata(root, profile, landmarks, VERSION, CONVENTIONS)
    _positioning(root, profile.route)
    infrastructure = element(root, "infrastructure", id="is1")
    _topology(infrastructure, profile.route)
    geometry = element(infrastructure, "geometry")
    _gradient_curves(geometry, profile, landmarks)
    _horizontal_curves(geometry, profile.route)
    _functional(infrastructure, profile.route)
    write_xml(root, path)
    said = [
        "This is railML 3.2 and carries geometry only: gradient and horizontal curves and the places of one track.",
        vertical_words(profile, landmarks),
        "Posts, speed limits, structures and standard errors are left out; measures are metres from the start.",
        "The file follows the schema's documentation but is not checked against the schema.",
    ]
    return tuple(said)


def _positioning(root: ET.Element, route: Route) -> None:
    positioning = element(element(root, "common", id="co1"), "positioning")
    systems = element(positioning, "geometricPositioningSystems")
    element(systems, "geometricPositioningSystem", id="gps1", crsDefinition="EPSG:4326")
    systems = element(positioning, "linearPositioningSystems")
    element(
        systems,
        "linearPositioningSystem",
        id="lps1",
        linearReferencingMethod="absolute",
        units="m",
        startMeasure="0",
        endMeasure=figure(route.length, 3),
    )


def _topology(infrastructure: ET.Element, route: Route) -> None:
    topology = element(infrastructure, "topology")
    line = element(element(topology, "netElements"), "netElement", id="ne1", length=figure(route.length, 3))
    placed = element(line, "associatedPositioningSystem", id="aps1")
    for share, at in ((0, float(route.chainage[0])), (1, float(route.chainage[-1]))):
        latitude, longitude = coordinates(route, at)
        end = element(placed, "intrinsicCoordinate", id=f"ic{share}", intrinsicCoord=str(share))
        element(end, "geometricCoordinate", positioningSystemRef="gps1", x=f"{latitude:.7f}", y=f"{longitude:.7f}")
        element(end, "linearCoordinate", positioningSystemRef="lps1", measure=figure(share * route.length, 3))
    level = element(element(element(topology, "networks"), "network", id="nw1"), "level", id="lv1")
    level.set("descriptionLevel", "Micro")
    element(level, "networkResource", ref="ne1")


def _gradient_curves(geometry: ET.Element, profile: Profile, landmarks: Landmarks) -> None:
    curves = element(geometry, "gradientCurves")
    for i, piece in enumerate(gradients(vertical_points(profile, landmarks)), 1):
        curve = element(
            curves,
            "gradientCurve",
            id=f"gc{i}",
            curveType="arc" if piece.radius else "straight",
            gradient=figure(piece.before / PERMILLE, 4),
            deltaGradient=figure((piece.after - piece.before) / PERMILLE, 4),
            length=figure(piece.length, 3),
            radius=figure(piece.radius, 3) if piece.radius else None,
        )
        _stretch(curve, f"gc{i}", profile.route, piece.start, piece.end)


def _horizontal_curves(geometry: ET.Element, route: Route) -> None:
    curves = element(geometry, "horizontalCurves")
    heading = np.unwrap(route.heading)
    plan = one_handed(elements_of(route.curves, float(route.chainage[0]), float(route.chainage[-1])))
    for i, e in enumerate(plan, 1):
        azimuth = np.degrees(np.interp(e.start, route.chainage, heading)) % 360
        curve = element(
            curves,
            "horizontalCurve",
            id=f"hc{i}",
            curveType=_KINDS[e.kind],
            azimuth=figure(azimuth, 5),
            deltaAzimuth=figure(-np.degrees(e.turn), 5),
            length=figure(e.length, 3),
            radius=_radius(e),
        )
        if e.curve:
            element(curve, "name", name=e.curve, language="en")
        _stretch(curve, f"hc{i}", route, e.start, e.end)


def _radius(e: PlanElement) -> str | None:
    sharper = max(e.curvature_start, e.curvature_end, key=abs)
    return figure(-1 / sharper, 3) if sharper else None


def _stretch(parent: ET.Element, name: str, route: Route, start: float, end: float) -> None:
    location = element(parent, "linearLocation", id=f"{name}_location", applicationDirection="both")
    along = element(location, "associatedNetElement", netElementRef="ne1", keepsOrientation="true")
    for tag, at in (("linearCoordinateBegin", start), ("linearCoordinateEnd", end)):
        element(along, tag, positioningSystemRef="lps1", measure=figure(at - float(route.chainage[0]), 3))


def _functional(infrastructure: ET.Element, route: Route) -> None:
    functional = element(infrastructure, "functionalInfrastructure")
    if route.stations:
        points = element(functional, "operationalPoints")
        for i, station in enumerate(route.stations, 1):
            point = element(points, "operationalPoint", id=f"op{i}")
            element(point, "name", name=station.name, language="en")
            spot = element(
                point, "spotLocation", id=f"op{i}_location", netElementRef="ne1", applicationDirection="both"
            )
            measure = figure(station.chainage - float(route.chainage[0]), 3)
            element(spot, "linearCoordinate", positioningSystemRef="lps1", measure=measure)
    track = element(element(functional, "tracks"), "track", id="tr1", type="mainTrack")
    element(track, "name", name=route.name or "line", language="en")
    _stretch(track, "tr1", route, float(route.chainage[0]), float(route.chainage[-1]))
