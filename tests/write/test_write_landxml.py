"""LandXML 1.2: what stands in the file leads back to the line."""

from __future__ import annotations

import dataclasses
import time
from itertools import pairwise
from pathlib import Path
from xml.etree.ElementTree import Element

import defusedxml.ElementTree
import numpy as np
import pytest
from pyproj import Transformer
from scipy.special import fresnel

from profiler.profile import Profile
from profiler.route import CurveElement, Posts
from profiler.vertical_curve import line_of, pvis_of
from profiler.write.landxml import write_landxml
from tests.invented import invented_landmarks, invented_profile, seen_profile

NS = "{http://www.landxml.org/schema/LandXML-1.2}"


def written(profile: Profile, folder: Path) -> Element:
    write_landxml(profile, invented_landmarks(), folder / "line.xml")
    return defusedxml.ElementTree.parse(folder / "line.xml").getroot()


def found(root: Element, path: str) -> list[Element]:
    return root.findall("/".join(f"{NS}{tag}" for tag in path.split("/")))


def geometry(root: Element) -> list[Element]:
    (alignment,) = found(root, "Alignments/Alignment/CoordGeom")
    return list(alignment)


def tag(element: Element) -> str:
    return element.tag.removeprefix(NS)


def point(element: Element, name: str) -> complex:
    """ "northing easting" as easting + i·northing."""
    north, east = map(float, element.find(NS + name).text.split())
    return complex(east, north)


def curvature(element: Element) -> tuple[float, float]:
    """Of the ends of an element, + left (ccw)."""
    hand = {"ccw": 1, "cw": -1}.get(element.get("rot"), 0)
    radii = {"Line": ("INF", "INF"), "Curve": (element.get("radius"),) * 2}.get(
        tag(element), (element.get("radiusStart"), element.get("radiusEnd"))
    )
    first, second = (0.0 if r == "INF" else hand / float(r) for r in radii)
    return first, second


def clothoid(k0: float, k1: float, length: float) -> complex:
    """From the start of a clothoid to its end, heading 0 at the start, by Fresnel integrals."""
    if abs(k1 - k0) < 1e-12:
        return length if k0 == 0 else (np.exp(1j * k0 * length) - 1) / (1j * k0)
    rate = (k1 - k0) / length
    scale = np.sqrt(np.pi / abs(rate))
    a, b = k0 / rate / scale, (k0 / rate + length) / scale
    sine, cosine = (np.diff(f)[0] for f in fresnel([a, b]))
    way = scale * (cosine + 1j * np.sign(rate) * sine)
    return complex(way * np.exp(-1j * k0**2 / (2 * rate)))


def heading(element: Element) -> float:
    """Of the beginning, from the points alone."""
    start = point(element, "Start")
    if tag(element) == "Curve":
        return float(np.angle((start - point(element, "Center")) * 1j * np.sign(curvature(element)[0])))
    return float(np.angle(point(element, {"Line": "End", "Spiral": "PI"}[tag(element)]) - start))


def line_on_grid(profile: Profile, root: Element) -> np.ndarray:
    epsg = found(root, "CoordinateSystem")[0].get("epsgCode")
    to_grid = Transformer.from_crs(4326, int(epsg), always_xy=True)
    east, north = to_grid.transform(profile.route.longitude, profile.route.latitude)
    return np.asarray(east) + 1j * np.asarray(north)


def crooked() -> Profile:
    """The invented line, a compound curve and two reverse curves that share a spiral laid into its integral."""
    profile = invented_profile()
    s = profile.chainage
    curves = (
        CurveElement("1A.1", "compound", 2000, 2500, 60, 40, 0.002, 1e-6),
        CurveElement("1A.2", "compound", 2460, 2900, 40, 50, 0.004, 1e-6),
        CurveElement("2A", "reverse", 5000, 5400, 40, 60, -0.003, 1e-6),
        CurveElement("2B", "reverse", 5340, 5800, 60, 50, 0.002, 1e-6),
        CurveElement("3A", "simple", 8000, 8300, 0, 0, -0.002, 1e-6),
    )
    fine = np.arange(0.0, s[-1] + 0.5)
    k = sum(
        np.interp(fine, [c.start - 1e-3, *c.knots, c.end + 1e-3], [0, 0, *[c.curvature] * 2, 0, 0]) for c in curves[:4]
    )
    k = k + np.where((fine >= 8000) & (fine < 8300), curves[4].curvature, 0.0)
    theta = 0.3 + np.r_[0, np.cumsum((k[1:] + k[:-1]) / 2)]
    way = np.r_[0, np.cumsum(np.exp(1j * (theta[1:] + theta[:-1]) / 2))]
    place = np.interp(s, fine, way) * 0.9996 + 500_000 + 5_000_000j
    lon, lat = Transformer.from_crs(32632, 4326, always_xy=True).transform(place.real, place.imag)
    route = dataclasses.replace(profile.route, longitude=lon, latitude=lat, curves=curves, structures=())
    return dataclasses.replace(profile, route=route)


@pytest.mark.parametrize("make", [invented_profile, crooked])
def test_elements_lead_from_start_to_end(tmp_path: Path, make):
    """Outside: lines, circles and clothoids (Fresnel integrals of scipy) from each element's own points and radii
    arrive at the start of the next within 3 cm, in its heading, and at the end of the profile."""
    profile = make()
    root = written(profile, tmp_path)
    elements = geometry(root)
    line = line_on_grid(profile, root)
    assert abs(point(elements[0], "Start") - line[0]) < 1e-3
    assert abs(point(elements[-1], "End") - line[-1]) < 1e-3
    at, direction = point(elements[0], "Start"), heading(elements[0])
    for e in elements:
        (k0, k1), length = curvature(e), float(e.get("length"))
        assert abs(at - point(e, "Start")) < 0.03
        assert np.angle(np.exp(1j * (direction - heading(e)))) == pytest.approx(0, abs=2e-5)
        at = point(e, "Start") + np.exp(1j * heading(e)) * clothoid(k0, k1, length)
        assert abs(at - point(e, "End")) < 0.03
        direction = heading(e) + (k0 + k1) / 2 * length
    total = sum(float(e.get("length")) for e in elements)
    assert total == pytest.approx(float(found(root, "Alignments/Alignment")[0].get("length")), abs=0.01)


def test_hands_and_elements_of_compound_and_reverse_curves(tmp_path: Path):
    """Worked: a curve to the left turns counter-clockwise; the spiral between two arcs of one hand has both radii,
    1/0.002 and 1/0.004 times the scale of the projection; that between two hands is cut where it is straight;
    without a spiral the arc begins at once."""
    profile = crooked()
    rows = [
        (tag(e), e.get("rot"), e.get("radiusStart"), e.get("radiusEnd")) for e in geometry(written(profile, tmp_path))
    ]
    assert [r[0] for r in rows] == [
        "Line", "Spiral", "Curve", "Spiral", "Curve", "Spiral",
        "Line", "Spiral", "Curve", "Spiral", "Spiral", "Curve", "Spiral", "Line", "Curve", "Line",
    ]  # fmt: skip
    assert [r[1] for r in rows] == [
        None, *["ccw"] * 5, None, *["cw"] * 3, *["ccw"] * 3, None, "cw", None,
    ]  # fmt: skip
    assert [float(r) for r in rows[3][2:]] == pytest.approx([500 * 0.9996, 250 * 0.9996], rel=0.01)
    assert rows[9][3] == rows[10][2] == "INF"


def test_it_stays_on_the_line(tmp_path: Path):
    """Law: where curves and line agree, every joint lies within 1 m of the line's coordinates."""
    profile = crooked()
    root = written(profile, tmp_path)
    line = line_on_grid(profile, root)
    joints = np.array([point(e, "Start") for e in geometry(root)])
    assert max(np.abs(line - joint).min() for joint in joints) < 6  # stations are 10 m apart
    assert not [e for e in geometry(root) if tag(e) == "IrregularLine"]


def test_a_stretch_that_contradicts_its_curves_is_drawn(tmp_path: Path):
    """Law: with one curve left out of the list the line is drawn there and said; the rest are elements that close."""
    profile = crooked()
    route = dataclasses.replace(profile.route, curves=(*profile.route.curves[:2], profile.route.curves[4]))
    said = write_landxml(dataclasses.replace(profile, route=route), invented_landmarks(), tmp_path / "line.xml")
    root = defusedxml.ElementTree.parse(tmp_path / "line.xml").getroot()
    elements = geometry(root)
    (drawn,) = [e for e in elements if tag(e) == "IrregularLine"]
    assert any("drawn" in sentence for sentence in said)
    assert [tag(e) for e in elements].count("Curve") == 3
    numbers = np.array(drawn.find(NS + "PntList2D").text.split(), dtype=float).reshape(-1, 2)
    assert complex(*numbers[0][::-1]) == point(drawn, "Start")
    for a, b in pairwise(elements):
        assert abs(point(a, "End") - point(b, "Start")) < 1e-3


def vertical(root: Element) -> list[tuple[str, float, float, float]]:
    (rail,) = found(root, "Alignments/Alignment/Profile/ProfAlign")
    rows = []
    for e in rail:
        station, elevation = map(float, e.text.split())
        rows.append((tag(e), station, elevation, float(e.get("length", 0))))
    return rows


def to_chainage(profile: Profile, root: Element, station: np.ndarray) -> np.ndarray:
    """Chainages of stations by the way along the line's own coordinates on the grid."""
    way = np.r_[0, np.cumsum(np.abs(np.diff(line_on_grid(profile, root))))]
    return np.interp(station, way, profile.chainage)


def test_pvis_lead_back_to_the_vertical_line(tmp_path: Path):
    """Law: elevations from PVI and ParaCurve are those of the profile's own line of PVIs at the same places."""
    profile = seen_profile()
    root = written(profile, tmp_path)
    rows = vertical(root)
    assert [r[0] for r in rows] == ["PVI", *["ParaCurve"] * 8, "PVI"]
    _, station, elevation, length = zip(*rows, strict=True)
    again = pvis_of(station, elevation, length)
    x = np.linspace(0, station[-1], 2000)
    assert line_of(again, x)[0] == pytest.approx(line_of(profile.pvis, to_chainage(profile, root, x))[0], abs=0.02)


def test_the_parabola_of_the_schema(tmp_path: Path):
    """Published (LandXML 1.2, ParaCurve: text is station and elevation of the PVI, ``length`` half each side; A·L/8):
    PVI 0 100, ParaCurve 80 at 100 110, PVI 200 100: the curve begins at 60 and ends at 140 with 106,
    and stands at 108 in the middle. On the grid all lengths are 0.9996 of that."""
    pvis = pvis_of([0, 100, 50_000], [100, 110, 110 - 0.1 * 49_900], [0, 80, 0])
    rows = vertical(written(dataclasses.replace(crooked(), pvi_visible=True, pvis=pvis), tmp_path))
    assert rows[0] == ("PVI", 0, 100, 0)
    assert rows[1] == ("ParaCurve", pytest.approx(99.96, abs=0.01), 110, pytest.approx(79.968, abs=0.01))
    z, _ = line_of(pvis_of(*zip(*[r[1:] for r in rows], strict=True)), 99.96 + 0.9996 * np.array([-40.0, 0.0, 40.0]))
    assert z == pytest.approx([106, 108, 106], abs=1e-3)


def test_grade_runs_where_no_pvi_is_seen(tmp_path: Path):
    """Law: no curve is claimed, the file says that these are runs, and they meet on the profile."""
    profile = invented_profile()
    root = written(profile, tmp_path)
    (rail,) = found(root, "Alignments/Alignment/Profile/ProfAlign")
    rows = vertical(root)
    assert {r[0] for r in rows} == {"PVI"}
    assert "grade runs" in rail.get("desc")
    x = to_chainage(profile, root, np.array([r[1] for r in rows]))
    assert [r[2] for r in rows] == pytest.approx(np.interp(x, profile.chainage, profile.elevation), abs=0.02)


def test_ground_and_its_places(tmp_path: Path):
    """Law: the surface holds every station with ground, station and elevation by turns."""
    profile = invented_profile()
    root = written(profile, tmp_path)
    (surface,) = found(root, "Alignments/Alignment/Profile/ProfSurf/PntList2D")
    pairs = np.array(surface.text.split(), dtype=float).reshape(-1, 2)
    assert pairs[:, 1] == pytest.approx(profile.ground[np.isfinite(profile.ground)], abs=0.006)
    assert (np.diff(pairs[:, 0]) > 0).all()


@pytest.mark.parametrize("sign", [1, -1])
def test_station_equations(tmp_path: Path, sign: int):
    """Worked: posts from 38 km with a kilometre of 900 m at the tenth: coming from 48 km, going on as 48.1 (falling:
    as 27.9); between equations a metre of post is a metre of station, so each ``staBack`` continues the last."""
    profile = invented_profile()
    value = 38 + sign * np.array([0, 10, 10.1, 50.1])
    posts = Posts(np.array([0.0, 10_000, 10_000, 50_000]), value, "km")
    root = written(dataclasses.replace(profile, route=dataclasses.replace(profile.route, posts=posts)), tmp_path)
    rows = [{k: e.get(k) for k in e.attrib} for e in found(root, "Alignments/Alignment/StaEquation")]
    assert {r["staIncrement"] for r in rows} == {"increasing" if sign > 0 else "decreasing"}
    assert float(rows[0]["staAhead"]) == 38_000
    assert float(rows[0]["staBack"]) == float(rows[0]["staInternal"]) == 0
    for a, b in pairwise(rows):
        gone = float(b["staInternal"]) - float(a["staInternal"])
        assert float(b["staBack"]) == pytest.approx(float(a["staAhead"]) + sign * gone, abs=1e-3)
    assert float(rows[-1]["staAhead"]) == pytest.approx(38_000 + sign * 10_100)
    assert float(rows[-1]["staInternal"]) == pytest.approx(10_000, rel=2e-3)


def test_structure_of_the_schema(tmp_path: Path):
    """Published (LandXML-1.2.xsd, landxml.org; the schema itself is in no package we know of, from memory): order of
    elements and required attributes of what is written."""
    root = written(seen_profile(), tmp_path)
    assert [tag(e) for e in root] == ["Units", "CoordinateSystem", "Project", "Application", "Alignments"]
    required = {
        "LandXML": {"version", "date", "time"},
        "Metric": {"areaUnit", "linearUnit", "volumeUnit", "temperatureUnit", "pressureUnit"},
        "Project": {"name"},
        "Application": {"name"},
        "Alignment": {"name", "length", "staStart"},
        "Curve": {"rot"},
        "Spiral": {"length", "radiusStart", "radiusEnd", "rot", "spiType"},
        "StaEquation": {"staAhead", "staInternal"},
        "ProfAlign": {"name"},
        "ProfSurf": {"name"},
        "ParaCurve": {"length"},
    }
    children = {"Line": ["Start", "End"], "Curve": ["Start", "Center", "End"], "Spiral": ["Start", "PI", "End"]}
    seen = set()
    for e in root.iter():
        seen.add(tag(e))
        assert required.get(tag(e), set()) <= set(e.attrib), tag(e)
        assert [tag(c) for c in e] == children.get(tag(e), [tag(c) for c in e])
    assert required.keys() <= seen
    order = [tag(e) for e in found(root, "Alignments/Alignment")[0]]
    assert order == sorted(order, key=["CoordGeom", "StaEquation", "Profile"].index)


def test_what_must_be_said(tmp_path: Path):
    """Law: the projection, its scale, the datum, the cautions, and that the line is invented stand in the file."""
    root = written(invented_profile(), tmp_path)
    system, project = found(root, "CoordinateSystem")[0], found(root, "Project")[0]
    assert (system.get("epsgCode"), system.get("verticalDatum")) == ("32725", "EGM2008")
    assert "one metre of ground is" in system.get("desc")
    for words in ("Invented line", "not for live train control", "EGM2008"):
        assert words in project.get("desc")


def test_hostile_names_and_same_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: a name with markup and control characters is text without those; two runs give the same bytes, and the date
    is SOURCE_DATE_EPOCH."""
    profile = invented_profile()
    profile = dataclasses.replace(
        profile, route=dataclasses.replace(profile.route, name='<a href="x">\x07&amp;\ufffe\n--')
    )
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    root = written(profile, tmp_path)
    first = (tmp_path / "line.xml").read_bytes()
    assert found(root, "Project")[0].get("name") == '<a href="x">&amp; --'
    written(profile, tmp_path)
    assert (tmp_path / "line.xml").read_bytes() == first
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    assert written(profile, tmp_path).get("date") == "1970-01-02"


def long_line(copies: int) -> Profile:
    """Copies of a wave of two curves, 10 km each, one after the other along a parallel; no heading is left over."""
    profile = invented_profile()
    turns = (1, -1, -1, 1)
    curves = tuple(
        CurveElement(f"{i}{'ABCD'[j]}", "simple", x, x + 600, 80, 80, 0.001 * turn, 1e-6)
        for i in range(copies)
        for j, turn in enumerate(turns)
        for x in [10_000 * i + 1000 + 2000 * j]
    )
    s = np.arange(0.0, 10_000 * copies + 1, 10.0)
    k = np.zeros(s.size)
    for c in curves:
        a, b = np.searchsorted(s, [c.start, c.end])
        k[a : b + 1] += np.interp(s[a : b + 1], c.knots, [0, c.curvature, c.curvature, 0])
    theta = np.r_[0, np.cumsum((k[1:] + k[:-1]) / 2 * 10)]
    way = np.r_[0, np.cumsum(10 * np.exp(1j * (theta[1:] + theta[:-1]) / 2))]
    flat = np.zeros(s.size)
    route = dataclasses.replace(
        profile.route,
        chainage=s,
        # on the equator a metre of easting or northing is as many degrees everywhere
        longitude=10 + way.real / 111_319.49,
        latitude=way.imag / 110_574.0,
        heading=flat,
        curvature=k,
        curvature_se=flat,
        lateral_se=flat,
        curves=curves,
        structures=(),
        stations=(),
    )
    names = ("ground", "elevation", "elevation_se", "grade", "grade_se", "structure_probability", "ground_source")
    arrays = dict.fromkeys((*names, "ground_weight"), flat)
    return dataclasses.replace(profile, route=route, **arrays)


def test_time_is_proportional_to_length(tmp_path: Path):
    """Law: ten times the line takes no more than some ten times as long, and 1,000 km close as 100 do."""
    times = []
    for copies in (10, 100):
        profile = long_line(copies)
        start = time.process_time()
        write_landxml(profile, invented_landmarks(), tmp_path / "line.xml")
        times.append(time.process_time() - start)
    elements = geometry(defusedxml.ElementTree.parse(tmp_path / "line.xml").getroot())
    assert [tag(e) for e in elements].count("Curve") == 400
    assert times[1] < 30 * times[0]


def test_lines_without_curves_and_wholly_drawn(tmp_path: Path):
    """Law: a straight line is one Line; a line that nothing agrees with is drawn from its start to its end."""
    profile = long_line(1)
    straight = dataclasses.replace(
        profile, route=dataclasses.replace(profile.route, curves=(), latitude=np.zeros(profile.chainage.size))
    )
    assert [tag(e) for e in geometry(written(straight, tmp_path))] == ["Line"]
    without = dataclasses.replace(profile, route=dataclasses.replace(profile.route, curves=()))
    root = written(without, tmp_path)
    (drawn,) = geometry(root)
    line = line_on_grid(without, root)
    assert tag(drawn) == "IrregularLine"
    assert [point(drawn, "Start"), point(drawn, "End")] == pytest.approx([line[0], line[-1]], abs=1e-3)
