"""IFC 4.3: another library finds the file sound and walks its curves back to the line."""

from __future__ import annotations

import dataclasses
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from profiler.errors import InputError
from profiler.exchange import Gradient
from profiler.grid_alignment import grid_alignment
from profiler.profile import Profile
from profiler.vertical_curve import line_of, pvis_of
from profiler.write import ifc
from tests.invented import invented_landmarks, invented_profile, seen_profile
from tests.write.test_write_landxml import crooked, long_line

ifcopenshell = pytest.importorskip("ifcopenshell", reason="the extra ifc is not installed")


def written(profile: Profile, folder: Path) -> object:
    ifc.write_ifc(profile, invented_landmarks(), folder / "line.ifc")
    return ifcopenshell.open(folder / "line.ifc")


def seen_and_crooked() -> Profile:
    return dataclasses.replace(crooked(), pvi_visible=True, pvis=seen_profile().pvis)


def bent_line() -> Profile:
    """With a curve that the list leaves out: a stretch is drawn."""
    profile = seen_and_crooked()
    route = dataclasses.replace(profile.route, curves=(*profile.route.curves[:2], profile.route.curves[4]))
    return dataclasses.replace(profile, route=route)


def test_the_schema_holds(tmp_path: Path):
    """Outside (ifcopenshell, schema IFC4X3_ADD2 of ISO 16739-1:2024 with its EXPRESS rules): nothing to say."""
    import ifcopenshell.validate

    log = ifcopenshell.validate.json_logger()
    ifcopenshell.validate.validate(written(bent_line(), tmp_path), log, express_rules=True)
    assert log.statements == []


@pytest.mark.parametrize("make", [seen_and_crooked, bent_line])
def test_its_curves_lead_to_every_joint(tmp_path: Path, make):
    """Outside (geometry kernel of ifcopenshell): at the summed length the curve of the plan is where the next segment
    says that it starts, within 1 mm, and at the line's end."""
    from ifcopenshell.api.alignment import evaluate_representation

    profile = make()
    model = written(profile, tmp_path)
    designs = model.by_type("IfcAlignmentHorizontalSegment")
    starts = np.array([d.StartPoint.Coordinates for d in designs])
    along = np.cumsum([0.0, *(d.SegmentLength for d in designs[:-1])])
    (plan,) = [r for r in model.by_type("IfcShapeRepresentation") if r.RepresentationIdentifier == "FootPrint"]
    places = np.array([evaluate_representation(plan.Items[0], float(x))[3, :2] for x in along])
    assert places == pytest.approx(starts, abs=1e-3)
    grid = grid_alignment(profile.route)
    assert starts[-1] == pytest.approx(np.subtract(grid.elements[-1].end, grid.elements[0].start), abs=1e-6)
    (moved,) = model.by_type("IfcMapConversion")
    assert (moved.Eastings, moved.Northings) == grid.elements[0].start
    assert moved.TargetCRS.Name == f"EPSG:{grid.epsg}"


def test_heights_are_those_of_the_pvis(tmp_path: Path):
    """Outside (geometry kernel of ifcopenshell): the curve in space has the height of the line of PVIs at the chainage
    that a station stands for."""
    from ifcopenshell.api.alignment import evaluate_representation

    profile = seen_and_crooked()
    grid = grid_alignment(profile.route)
    model = written(profile, tmp_path)
    (curve,) = [r for r in model.by_type("IfcShapeRepresentation") if r.RepresentationIdentifier == "Axis"]
    chainage = np.linspace(0, profile.route.length - 1, 60)
    z = [evaluate_representation(curve.Items[0], float(x))[3, 2] for x in grid.station_at(chainage)]
    assert z == pytest.approx(line_of(profile.pvis, chainage)[0], abs=0.01)


def test_a_parabola():
    """Published (IFC 4.3, IfcAlignmentVerticalSegment PARABOLICARC: z0 + g0·d + (g1 − g0)·d²/(2L)), by hand: 52 m at
    +2 % to −3 % over 200 m 52.6875 after 50 m and 52.75 after 100. The library's curve of our segment agrees."""
    from ifcopenshell.api.alignment import evaluate_representation

    file = ifcopenshell.file(schema="IFC4X3_ADD2")
    model = ifc._Model(file, "")
    plan = [ifc._Segment((0, 0), 0, 200), ifc._Segment((200, 0), 0, 0)]
    heights = [Gradient(0, 200, 52, 0.02, -0.03), Gradient(200, 200, 51, -0.03, -0.03)]
    base = model.add("IfcCompositeCurve", Segments=ifc._plan_curves(model, plan), SelfIntersect=False)
    curve = model.add(
        "IfcGradientCurve", Segments=ifc._height_curves(model, heights), SelfIntersect=False, BaseCurve=base
    )
    model.add("IfcUnitAssignment", Units=[model.add("IfcSIUnit", UnitType="LENGTHUNIT", Name="METRE")])
    z = [evaluate_representation(curve, float(d))[3, 2] for d in (0, 50, 100, 150)]
    assert z == pytest.approx([52, 52.6875, 52.75, 52.1875], abs=1e-6)


def test_the_hand_of_a_curve(tmp_path: Path):
    """Published (IFC 4.3, StartRadiusOfCurvature: positive turns counter-clockwise): the invented curve to the right
    has a negative radius, of 582 m."""
    model = written(invented_profile(), tmp_path)
    arcs = [d for d in model.by_type("IfcAlignmentHorizontalSegment") if d.PredefinedType == "CIRCULARARC"]
    assert [np.sign(a.StartRadiusOfCurvature) for a in arcs] == [1, -1, 1, -1, 1, -1, 1, -1, 1]
    assert arcs[1].StartRadiusOfCurvature == pytest.approx(-582.2, rel=0.01)


def test_same_bytes_and_what_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: two runs give the same bytes; the file says that the line is invented, and the cautions."""
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    model = written(invented_profile(), tmp_path)
    first = (tmp_path / "line.ifc").read_bytes()
    assert b"Gradewright" in first[:1000]
    assert b"2000-01-01T00:00:00" in first  # where the library would write the clock
    written(invented_profile(), tmp_path)
    assert (tmp_path / "line.ifc").read_bytes() == first
    (project,) = model.by_type("IfcProject")
    for words in ("Invented line", "not for live train control", "grade runs", "EPSG:"):
        assert words in project.Description


def test_without_the_library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: a sentence that says what to install."""
    monkeypatch.setitem(sys.modules, "ifcopenshell", None)
    with pytest.raises(InputError, match=r"gradewright\[ifc\]"):
        ifc.write_ifc(invented_profile(), invented_landmarks(), tmp_path / "line.ifc")


def test_time_is_proportional_to_length(tmp_path: Path):
    """Law: ten times the line takes no more than some ten times as long."""
    times = []
    for copies in (10, 100):
        profile = long_line(copies)
        start = time.process_time()
        ifc.write_ifc(profile, invented_landmarks(), tmp_path / "line.ifc")
        times.append(time.process_time() - start)
    assert times[1] < 30 * times[0]


def test_pvis_survive_the_grid(tmp_path: Path):
    """Worked: on a grid of 0.9996 a curve of 80 m is 79.97 m long, and its grades are as much steeper."""
    pvis = pvis_of([0, 100, 50_000], [100, 110, 110 - 0.1 * 49_900], [0, 80, 0])
    model = written(dataclasses.replace(crooked(), pvi_visible=True, pvis=pvis), tmp_path)
    first, curve, *_ = model.by_type("IfcAlignmentVerticalSegment")
    assert (first.PredefinedType, curve.PredefinedType) == ("CONSTANTGRADIENT", "PARABOLICARC")
    assert curve.HorizontalLength == pytest.approx(79.968, abs=1e-2)
    assert curve.StartHeight == pytest.approx(106, abs=1e-2)
    assert curve.StartGradient == pytest.approx(0.1 / 0.9996, rel=1e-4)
