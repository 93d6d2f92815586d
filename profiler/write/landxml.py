"""The line as LandXML 1.2: plan, vertical line and ground for road and railway design programs.

Element names, order and required attributes as in the schema of landxml.org, LandXML-1.2.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from importlib.metadata import version
from pathlib import Path

import numpy as np

from profiler.exchange import about, mileages, on_grid, vertical_points, vertical_words
from profiler.grid_alignment import GridAlignment, GridElement, grid_alignment
from profiler.landmark import Landmarks
from profiler.profile import Profile
from profiler.units import FloatArray
from profiler.write.xml import date_written, element, figure, write_xml

_NAMESPACE = "http://www.landxml.org/schema/LandXML-1.2"


def write_landxml(profile: Profile, landmarks: Landmarks, path: Path) -> tuple[str, ...]:
    """Write the plan and the vertical line of a profile to ``path``; returns what to tell the user of it.

    Notes
    -----
    Metres throughout; points are "northing easting" in the UTM zone of the middle of the line (WGS 84). So
    that elements close, their lengths and radii, and stations, are those of that grid; each element's ``desc``
    states length and radius on the ground. Stations count from 0 at the start; where posts are
    stated, station equations give them in metres.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    route = profile.route
    grid = grid_alignment(route)
    date, time = date_written()
    # the namespace is written as an attribute of its own: elements then need no prefix
    root = element(None, "LandXML", xmlns=_NAMESPACE, version="1.2", date=date, time=time, language="English")
    units = element(root, "Units")
    element(
        units,
        "Metric",
        areaUnit="squareMeter",
        linearUnit="meter",
        volumeUnit="cubicMeter",
        temperatureUnit="celsius",
        pressureUnit="HPA",
        angularUnit="decimal degrees",
        directionUnit="decimal degrees",
    )
    element(
        root,
        "CoordinateSystem",
        desc=_grid_words(grid),
        epsgCode=str(grid.epsg),
        horizontalDatum="WGS 84",
        verticalDatum=profile.vertical_datum,
    )
    name = route.name or "line"
    element(root, "Project", name=name, desc=about(profile, landmarks))
    element(root, "Application", name="Gradewright", version=version("gradewright"))
    alignment = element(
        element(root, "Alignments"),
        "Alignment",
        name=name,
        length=figure(grid.length),
        staStart="0",
        desc=_plan_words(grid),
    )
    _coord_geom(alignment, grid)
    if route.posts.stated:
        _station_equations(alignment, profile, grid)
    _profile(alignment, profile, landmarks, grid)
    write_xml(root, path)
    return _said(profile, landmarks, grid)


def _grid_words(grid: GridAlignment) -> str:
    low, high = grid.scale
    return (
        f"WGS 84 / UTM, EPSG:{grid.epsg}, points are northing easting; one metre of ground is {low:.6f} to "
        f"{high:.6f} m of this grid, heights counted. Lengths, radii and stations are those of the grid"
    )


def _plan_words(grid: GridAlignment) -> str:
    length, curvature = (100 * _moved(grid, what) for what in ("length", "curvature_start"))
    words = (
        f"Elements lie {grid.offset_median:.1f} m beside the line's coordinates in the median, at most "
        f"{grid.offset_most:.1f} m; to close, lengths were moved by up to {length:.1f} %, curvatures by up to "
        f"{curvature:.1f} %. Each desc has the estimate, on the ground"
    )
    if grid.drawn:
        words += f". {len(grid.drawn)} stretches are drawn from the line: the curves estimated there contradict it"
    return words


def _moved(grid: GridAlignment, what: str) -> float:
    """The most that the lengths or curvatures of elements differ from their estimates, as a share."""
    scale = sum(grid.scale) / 2
    power = scale if what == "length" else 1 / scale
    pairs = [(getattr(e, what), getattr(e.plan, what) * power) for e in grid.elements if e.kind != "drawn"]
    return max((abs(laid / planned - 1) for laid, planned in pairs if planned), default=0.0)


def _coord_geom(alignment: ET.Element, grid: GridAlignment) -> None:
    geometry = element(alignment, "CoordGeom")
    station = 0.0
    for e in grid.elements:
        _WRITERS[e.kind](geometry, e, figure(station))
        station += e.length


def _ground_words(e: GridElement) -> str:
    plan = e.plan
    ends = [k for k in (plan.curvature_start, plan.curvature_end) if k]
    radii = " to ".join(dict.fromkeys(f"{1 / abs(k):.1f}" for k in ends))
    words = f"ground: chainage {plan.start:.1f} to {plan.end:.1f} m, length {plan.length:.1f} m"
    return words + (f", radius {radii} m" if radii else "")


def _line(geometry: ET.Element, e: GridElement, station: str) -> None:
    line = element(geometry, "Line", desc=_ground_words(e), length=figure(e.length), staStart=station)
    _points(line, Start=e.start, End=e.end)


def _drawn(geometry: ET.Element, e: GridElement, station: str) -> None:
    line = element(
        geometry,
        "IrregularLine",
        desc=f"drawn, no element: the curves estimated here contradict the line; {_ground_words(e)}",
        staStart=station,
    )
    _points(line, Start=e.start, End=e.end)
    element(line, "PntList2D", " ".join(_point(p) for p in e.points))


def _curve(geometry: ET.Element, e: GridElement, station: str) -> None:
    curve = element(
        geometry,
        "Curve",
        rot=_hand(e),
        name=e.plan.curve or None,
        desc=_ground_words(e),
        crvType="arc",
        length=figure(e.length),
        radius=figure(1 / abs(e.curvature_start)),
        staStart=station,
    )
    centre = _place(e.start) + np.exp(1j * e.direction) * 1j / e.curvature_start
    _points(curve, Start=e.start, Center=(centre.real, centre.imag), End=e.end)


def _spiral(geometry: ET.Element, e: GridElement, station: str) -> None:
    spiral = element(
        geometry,
        "Spiral",
        length=figure(e.length),
        radiusEnd=_radius(e.curvature_end),
        radiusStart=_radius(e.curvature_start),
        rot=_hand(e),
        spiType="clothoid",
        name=e.plan.curve or None,
        desc=_ground_words(e),
        staStart=station,
    )
    # where the tangents of both ends meet
    chord = (_place(e.end) - _place(e.start)) * np.exp(-1j * e.direction)
    meeting = _place(e.start) + np.exp(1j * e.direction) * (chord.real - chord.imag / np.tan(e.turn))
    _points(spiral, Start=e.start, PI=(meeting.real, meeting.imag), End=e.end)


_WRITERS = {"tangent": _line, "arc": _curve, "spiral": _spiral, "drawn": _drawn}


def _hand(e: GridElement) -> str:
    return "ccw" if e.turn > 0 else "cw"


def _radius(curvature: float) -> str:
    return figure(1 / abs(curvature)) if curvature else "INF"


def _place(point: tuple[float, float]) -> complex:
    return complex(*point)


def _points(parent: ET.Element, **points: tuple[float, float]) -> None:
    for tag, point in points.items():
        element(parent, tag, _point(point))


def _point(point: tuple[float, float]) -> str:
    return f"{point[1]:.4f} {point[0]:.4f}"


def _station_equations(alignment: ET.Element, profile: Profile, grid: GridAlignment) -> None:
    """Posts in metres: from one equation to the next they go on as the stations of the grid do."""
    route = profile.route

    def station(chainage: float) -> float:
        return float(grid.station_at(chainage))

    for i, m in enumerate(mileages(route.posts, float(route.chainage[0]), float(route.chainage[-1]), station)):
        element(
            alignment,
            "StaEquation",
            staAhead=figure(m.ahead),
            staBack=figure(m.back) if i else "0",
            staInternal=figure(station(m.chainage)),
            staIncrement="increasing" if route.posts.rising else "decreasing",
            desc=f"post {m.ahead / route.posts.unit_m:.3f} {route.posts.unit}",
        )


def _profile(alignment: ET.Element, profile: Profile, landmarks: Landmarks, grid: GridAlignment) -> None:
    route = profile.route
    both = element(alignment, "Profile", name=route.name or "line", staStart="0")
    ground = np.isfinite(profile.ground)
    if ground.any():
        surface = element(both, "ProfSurf", name="ground", desc="ground as the rasters give it at stations")
        element(surface, "PntList2D", _listed(grid.station_at(route.chainage[ground]), profile.ground[ground]))
    rail = element(both, "ProfAlign", name="rail", desc=vertical_words(profile, landmarks))
    for point in on_grid(vertical_points(profile, landmarks), grid):
        text = f"{point.chainage:.4f} {point.elevation:.4f}"
        if point.curve_length:
            element(rail, "ParaCurve", text, length=figure(point.curve_length))
        else:
            element(rail, "PVI", text)


def _listed(station: FloatArray, elevation: FloatArray) -> str:
    return " ".join(f"{s:.2f} {z:.2f}" for s, z in zip(station.tolist(), elevation.tolist(), strict=True))


def _said(profile: Profile, landmarks: Landmarks, grid: GridAlignment) -> tuple[str, ...]:
    said = [
        vertical_words(profile, landmarks),
        f"Coordinates are EPSG:{grid.epsg}; lengths, radii and stations are those of its grid, "
        f"{grid.scale[0]:.5f} to {grid.scale[1]:.5f} of the ground's, so that elements close.",
        "LandXML carries no standard errors, structures, speed limits or landmarks: profile.gpkg has them.",
    ]
    if grid.drawn:
        length = sum(e.plan.length for e in grid.drawn) / 1000
        said.append(
            f"{len(grid.drawn)} stretches, {length:.1f} km, are drawn as the line is: the curves estimated there "
            "contradict it."
        )
    return tuple(said)
