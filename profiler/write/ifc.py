"""The line as an alignment of IFC 4.3 (ISO 16739-1:2024): horizontal and vertical segments and their curves.

The library writes and checks; its own functions for alignments append segment by segment in a time that grows with
the square of their number, so segments are made here, all at once.
"""

from __future__ import annotations

import math
import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from itertools import pairwise
from pathlib import Path
from typing import Any

from profiler.errors import InputError
from profiler.exchange import Gradient, about, gradients, on_grid, vertical_points, vertical_words
from profiler.files import staged_folder
from profiler.grid_alignment import GridAlignment, grid_alignment
from profiler.landmark import Landmarks
from profiler.profile import Profile
from profiler.write.xml import clean, date_written

_NAMES = uuid.UUID("6f2f7c5e-63c1-5d0c-9d0d-0d2f6a4f7a11")
"""Where the names of this format's objects come from: the same object of the same line has the same name."""

_SMOOTH = 1e-4
"""Directions [rad] and grades that differ by less are one."""


@dataclass(frozen=True)
class _Segment:
    """A piece of the plan: where and in which direction it begins, its length and curvatures, as in `GridElement`."""

    start: tuple[float, float]
    direction: float
    length: float
    first: float = 0.0
    second: float = 0.0

    @property
    def end_direction(self) -> float:
        return self.direction + (self.first + self.second) / 2 * self.length


def write_ifc(profile: Profile, landmarks: Landmarks, path: Path) -> tuple[str, ...]:
    """Write the plan and the vertical line of a profile to ``path``; returns what to tell the user of it.

    Notes
    -----
    As in LandXML, lengths and radii are those of the UTM grid. Coordinates count from the start of the line, and
    an IfcMapConversion says where that lies. Segments have business logic and geometry both.

    Raises
    ------
    InputError
        If ifcopenshell is not installed.
    OutputError
        If the file cannot be written.
    """
    try:
        import ifcopenshell
    except ImportError as error:
        raise InputError(
            "ifc", "ifcopenshell is not installed", "install the extra: pip install 'gradewright[ifc]'"
        ) from error
    grid = grid_alignment(profile.route)
    model = _Model(ifcopenshell.file(schema="IFC4X3_ADD2"), profile.route.name)
    words = f"{about(profile, landmarks)} {_grid_words(grid)}"
    project, context = _project(model, profile, grid, words)
    _alignment(model, profile, landmarks, grid, project, context)
    path = Path(path)
    model.file.header.file_description.description = ("ViewDefinition [NotAssigned]",)
    model.file.header.file_name.name = path.name
    model.file.header.file_name.originating_system = f"Gradewright {version('gradewright')}"
    model.file.header.file_name.time_stamp = "T".join(date_written())
    with staged_folder(path.parent) as stage:
        # not by the library, which on a full disk says nothing or not what
        (stage / path.name).write_text(model.file.to_string(), encoding="utf-8", newline="\n")
    return _said(profile, landmarks, grid)


class _Model:
    """A file in the making, with names for what needs one."""

    def __init__(self, file: Any, line: str) -> None:
        self.file, self.line = file, line

    def add(self, kind: str, **attributes: Any) -> Any:
        return self.file.create_entity(kind, **attributes)

    def named(self, kind: str, key: str, **attributes: Any) -> Any:
        import ifcopenshell.guid

        name = ifcopenshell.guid.compress(uuid.uuid5(_NAMES, f"{self.line}/{key}").hex)
        return self.add(kind, GlobalId=name, **attributes)

    def point(self, *place: float) -> Any:
        return self.add("IfcCartesianPoint", Coordinates=tuple(map(float, place)))

    def placed(self, place: Sequence[float], direction: float = 0.0) -> Any:
        ratios = self.add("IfcDirection", DirectionRatios=(math.cos(direction), math.sin(direction)))
        return self.add("IfcAxis2Placement2D", Location=self.point(*place), RefDirection=ratios)

    def curve_segment(self, parent: Any, place: Any, start: float, length: float, transition: str) -> Any:
        begin, extent = (self.add("IfcLengthMeasure", wrappedValue=float(x)) for x in (start, length))
        return self.add(
            "IfcCurveSegment",
            Transition=transition,
            Placement=place,
            SegmentStart=begin,
            SegmentLength=extent,
            ParentCurve=parent,
        )


def _project(model: _Model, profile: Profile, grid: GridAlignment, words: str) -> tuple[Any, Any]:
    units = [
        model.add("IfcSIUnit", UnitType=kind, Name=name)
        for kind, name in (("LENGTHUNIT", "METRE"), ("PLANEANGLEUNIT", "RADIAN"))
    ]
    world = model.add("IfcAxis2Placement3D", Location=model.point(0, 0, 0))
    context = model.add(
        "IfcGeometricRepresentationContext",
        ContextType="Model",
        CoordinateSpaceDimension=3,
        Precision=1e-5,
        WorldCoordinateSystem=world,
    )
    axis = model.add(
        "IfcGeometricRepresentationSubContext",
        ContextIdentifier="Axis",
        ContextType="Model",
        ParentContext=context,
        TargetView="MODEL_VIEW",
    )
    crs = model.add(
        "IfcProjectedCRS",
        Name=f"EPSG:{grid.epsg}",
        Description="WGS 84 / UTM",
        GeodeticDatum="WGS 84",
        VerticalDatum=clean(profile.vertical_datum),
        MapProjection="UTM",
    )
    east, north = grid.elements[0].start
    model.add(
        "IfcMapConversion",
        SourceCRS=context,
        TargetCRS=crs,
        Eastings=east,
        Northings=north,
        OrthogonalHeight=0.0,
        XAxisAbscissa=1.0,
        XAxisOrdinate=0.0,
        Scale=1.0,
    )
    project = model.named(
        "IfcProject",
        "project",
        Name=clean(profile.route.name) or "line",
        Description=clean(words),
        RepresentationContexts=(context,),
        UnitsInContext=model.add("IfcUnitAssignment", Units=units),
    )
    return project, axis


def _alignment(
    model: _Model, profile: Profile, landmarks: Landmarks, grid: GridAlignment, project: Any, context: Any
) -> None:
    plan = list(_segments(grid))
    heights = _heights(profile, landmarks, grid)
    base = model.add("IfcCompositeCurve", Segments=_plan_curves(model, plan), SelfIntersect=False)
    line = model.add("IfcGradientCurve", Segments=_height_curves(model, heights), SelfIntersect=False, BaseCurve=base)
    shapes = [
        model.add(
            "IfcShapeRepresentation",
            ContextOfItems=context,
            RepresentationIdentifier=name,
            RepresentationType=kind,
            Items=(curve,),
        )
        for name, kind, curve in (("FootPrint", "Curve2D", base), ("Axis", "Curve3D", line))
    ]
    world = model.add("IfcAxis2Placement3D", Location=model.point(0, 0, 0))
    alignment = model.named(
        "IfcAlignment",
        "alignment",
        Name=clean(profile.route.name) or "line",
        Description=clean(f"{vertical_words(profile, landmarks)} {_grid_words(grid)}"),
        ObjectPlacement=model.add("IfcLocalPlacement", RelativePlacement=world),
        Representation=model.add("IfcProductDefinitionShape", Representations=shapes),
    )
    layouts = []
    for kind, designs in (
        ("IfcAlignmentHorizontal", [_plan_design(model, s) for s in plan]),
        ("IfcAlignmentVertical", [_height_design(model, g) for g in heights]),
    ):
        layout = model.named(kind, kind)
        pieces = [model.named("IfcAlignmentSegment", f"{kind}/{i}", DesignParameters=d) for i, d in enumerate(designs)]
        model.named("IfcRelNests", f"nest/{kind}", RelatingObject=layout, RelatedObjects=pieces)
        layouts.append(layout)
    model.named("IfcRelNests", "nest", RelatingObject=alignment, RelatedObjects=layouts)
    model.named("IfcRelAggregates", "whole", RelatingObject=project, RelatedObjects=(alignment,))


def _heights(profile: Profile, landmarks: Landmarks, grid: GridAlignment) -> list[Gradient]:
    """The vertical line by stations, and its end: a gradient of length zero."""
    points = on_grid(vertical_points(profile, landmarks), grid)
    heights = gradients(points)
    end, last = points[-1], heights[-1].after
    return [*heights, Gradient(end.chainage, end.chainage, end.elevation, last, last)]


def _segments(grid: GridAlignment) -> Iterator[_Segment]:
    """All elements from the start of the line, drawn stretches in straight pieces, and the end: one of length zero."""
    east, north = grid.elements[0].start
    last = _Segment((0, 0), 0, 0)
    for e in grid.elements:
        points = [(x - east, y - north) for x, y in (e.points or (e.start, e.end))]
        if e.points:
            pieces = [_Segment(a, math.atan2(b[1] - a[1], b[0] - a[0]), math.dist(a, b)) for a, b in pairwise(points)]
        else:
            pieces = [_Segment(points[0], e.direction, e.length, e.curvature_start, e.curvature_end)]
        yield from pieces
        last = _Segment(points[-1], pieces[-1].end_direction, 0)
    yield last


def _plan_design(model: _Model, s: _Segment) -> Any:
    kind = "CLOTHOID" if s.first != s.second else "CIRCULARARC" if s.first else "LINE"
    return model.add(
        "IfcAlignmentHorizontalSegment",
        StartPoint=model.point(*s.start),
        StartDirection=math.remainder(s.direction, math.tau),
        StartRadiusOfCurvature=1 / s.first if s.first else 0.0,
        EndRadiusOfCurvature=1 / s.second if s.second else 0.0,
        SegmentLength=float(s.length),
        PredefinedType=kind,
    )


def _height_design(model: _Model, g: Gradient) -> Any:
    return model.add(
        "IfcAlignmentVerticalSegment",
        StartDistAlong=g.start,
        HorizontalLength=g.length,
        StartHeight=g.elevation,
        StartGradient=g.before,
        EndGradient=g.after,
        PredefinedType="PARABOLICARC" if g.before != g.after else "CONSTANTGRADIENT",
    )


def _plan_curves(model: _Model, plan: Sequence[_Segment]) -> list[Any]:
    curves = []
    straight = _straight(model)
    for s, after in zip(plan, [*plan[1:], None], strict=True):
        place, begin, length = model.placed(s.start, s.direction), 0.0, s.length
        parent = straight
        if s.first != s.second:
            rate = (s.second - s.first) / s.length
            constant = math.copysign(1 / math.sqrt(abs(rate)), rate)
            parent = model.add("IfcClothoid", Position=model.placed((0, 0)), ClothoidConstant=constant)
            begin = s.first / rate  # from where the clothoid is straight
        elif s.first:
            parent = model.add("IfcCircle", Position=model.placed((0, 0)), Radius=1 / abs(s.first))
            length = math.copysign(s.length, s.first)
        turned = None if after is None else math.remainder(after.direction - s.end_direction, math.tau)
        curves.append(model.curve_segment(parent, place, begin, length, _transition(turned)))
    return curves


def _height_curves(model: _Model, heights: Sequence[Gradient]) -> list[Any]:
    curves = []
    straight = _straight(model)
    for g, after in zip(heights, [*heights[1:], None], strict=True):
        slope, parent, length = math.atan(g.before), straight, _along(g)
        if g.before != g.after:
            bend = (g.after - g.before) / (2 * g.length)
            parent = model.add(
                "IfcPolynomialCurve",
                Position=model.placed((0, 0)),
                CoefficientsX=(0.0, 1.0),
                CoefficientsY=(0.0, g.before, bend),
            )
        place = model.placed((g.start, g.elevation), slope)
        turned = None if after is None else after.before - g.after
        curves.append(model.curve_segment(parent, place, 0.0, length, _transition(turned)))
    return curves


def _straight(model: _Model) -> Any:
    direction = model.add("IfcVector", Orientation=model.add("IfcDirection", DirectionRatios=(1.0, 0.0)), Magnitude=1.0)
    return model.add("IfcLine", Pnt=model.point(0, 0), Dir=direction)


def _transition(turned: float | None) -> str:
    """How a curve goes on into the next."""
    if turned is None:
        return "DISCONTINUOUS"
    return "CONTSAMEGRADIENT" if abs(turned) < _SMOOTH else "CONTINUOUS"


def _along(g: Gradient) -> float:
    """Length along the slope, ∫ √(1 + g²) over the horizontal length. [m]"""

    def integral(grade: float) -> float:
        return (grade * math.hypot(1, grade) + math.asinh(grade)) / 2

    if g.before == g.after:
        return g.length * math.hypot(1, g.before)
    return g.length * (integral(g.after) - integral(g.before)) / (g.after - g.before)


def _grid_words(grid: GridAlignment) -> str:
    low, high = grid.scale
    return (
        f"Lengths and radii are those of the grid EPSG:{grid.epsg}, {low:.6f} to {high:.6f} of the ground's; "
        "coordinates count from the start of the line."
    )


def _said(profile: Profile, landmarks: Landmarks, grid: GridAlignment) -> tuple[str, ...]:
    said = [
        "This is IFC 4.3 and carries the alignment only.",
        vertical_words(profile, landmarks),
        _grid_words(grid),
        "Posts, structures, speed limits and standard errors are left out; distances count from 0 at the start.",
    ]
    if grid.drawn:
        length = sum(e.plan.length for e in grid.drawn) / 1000
        said.append(
            f"{len(grid.drawn)} stretches, {length:.1f} km, are drawn in straight pieces: the curves estimated there "
            "contradict the line."
        )
    return tuple(said)
