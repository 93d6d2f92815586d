"""railML 2.4 and 3.2: what stands in the files leads back to the line, with the signs they state."""

from __future__ import annotations

import dataclasses
from itertools import pairwise
from pathlib import Path
from xml.etree.ElementTree import Element

import defusedxml.ElementTree
import numpy as np
import pytest

from profiler.plan_elements import elements_of
from profiler.profile import Profile
from profiler.route import CurveElement, Posts, SpeedLimit
from profiler.vertical_curve import line_of, pvis_of
from profiler.write.railml2 import write_railml2
from profiler.write.railml3 import write_railml3
from tests.invented import invented_landmarks, invented_profile, seen_profile

NS2, NS3 = "{https://www.railml.org/schemas/2018}", "{https://www.railml.org/schemas/3.2}"
REFERENCES = ("ref", "ocpRef", "netElementRef", "positioningSystemRef")


def read(path: Path) -> Element:
    return defusedxml.ElementTree.parse(path).getroot()


def railml2(profile: Profile, folder: Path) -> Element:
    write_railml2(profile, invented_landmarks(), folder / "line.railml")
    return read(folder / "line.railml")


def railml3(profile: Profile, folder: Path) -> Element:
    write_railml3(profile, invented_landmarks(), folder / "line.railml3")
    return read(folder / "line.railml3")


def figures(elements: list[Element], *names: str) -> np.ndarray:
    return np.array([[float(e.get(name, 0)) for name in names] for e in elements])


def with_route(**changes: object) -> Profile:
    profile = seen_profile()
    return dataclasses.replace(profile, route=dataclasses.replace(profile.route, **changes))


CURVES = (
    CurveElement("1A.1", "compound", 2000, 2500, 60, 40, 0.002, 1e-6),
    CurveElement("1A.2", "compound", 2460, 2900, 40, 50, 0.004, 1e-6),
    CurveElement("2A", "reverse", 5000, 5400, 40, 60, -0.003, 1e-6),
    CurveElement("2B", "reverse", 5340, 5800, 60, 0, 0.002, 1e-6),
)


@pytest.mark.parametrize("make", [railml2, railml3])
def test_references_resolve_and_names_are_one(tmp_path: Path, make):
    """Law (XML 1.0, ID and IDREF): no id stands twice, and whatever is referred to is there."""
    root = make(seen_profile(), tmp_path)
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    used = {e.get(name) for e in root.iter() for name in REFERENCES if e.get(name)}
    assert used
    assert used <= set(ids)


@pytest.mark.parametrize(("make", "version"), [(railml2, "2.4"), (railml3, "3.2")])
def test_what_must_be_said(tmp_path: Path, make, version: str):
    """Law: version, what it carries, conventions of sign, cautions, and that the line is invented stand in the file."""
    root = make(invented_profile(), tmp_path)
    assert root.get("version") == version
    description = " ".join(e.text or "" for e in root.iter("{http://purl.org/dc/elements/1.1/}description"))
    for words in (
        "geometry only",
        "to the right",
        "per mille",
        "Invented line",
        "not for live train control",
        "EGM2008",
    ):
        assert words in description
    assert "grade runs" in description


@pytest.mark.parametrize("write", [write_railml2, write_railml3])
def test_same_bytes_and_hostile_names(tmp_path: Path, write):
    """Law: two runs give the same bytes; markup and control characters in a name do no harm."""
    profile = with_route(name='<a href="x">\x07&amp;--')
    said = write(profile, invented_landmarks(), tmp_path / "a")
    write(profile, invented_landmarks(), tmp_path / "b")
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()
    assert any(e.get("name") == '<a href="x">&amp;--' for e in read(tmp_path / "a").iter())
    assert any("geometry only" in sentence for sentence in said)


def test_slopes_of_railml_2(tmp_path: Path):
    """Law: slopes (‰, + up) and transition lengths lead from the first elevation along the line of PVIs."""
    profile = seen_profile()
    rows = figures(railml2(profile, tmp_path).findall(f".//{NS2}gradientChange"), "pos", "slope", "transitionLength")
    place = np.r_[rows[:, 0], profile.route.length]
    start = line_of(profile.pvis, np.array([0.0]))[0]
    height = start + np.r_[0, np.cumsum(np.diff(place) * rows[:, 1] / 1000)]
    again = pvis_of(place, height, np.r_[rows[:, 2], 0])
    x = np.linspace(0, profile.route.length, 3000)
    assert line_of(again, x)[0] == pytest.approx(line_of(profile.pvis, x)[0], abs=0.01)
    assert rows[0, 1] == pytest.approx(2.5)  # uphill, from the invented line's first grade of 0.25 %


def test_radii_of_railml_2(tmp_path: Path):
    """Worked: right is +, left −, straight 0; changes in the middle of spirals of 60, 40, 50 m, of the reverse one of
    60 m, and where the last arc ends without any."""
    rows = figures(railml2(with_route(curves=CURVES), tmp_path).findall(f".//{NS2}radiusChange"), "pos", "radius")
    assert rows.tolist() == [
        [0, 0], [2030, -500], [2480, -250], [2875, 0], [5020, 333.333], [5370, -500], [5800, 0]
    ]  # fmt: skip


def test_radii_turn_as_much_as_the_curves(tmp_path: Path):
    """Law: lengths over radii between changes add up to what the elements turn."""
    profile = with_route(curves=CURVES)
    rows = figures(railml2(profile, tmp_path).findall(f".//{NS2}radiusChange"), "pos", "radius")
    length = np.diff(np.r_[rows[:, 0], profile.route.length])
    curvature = np.array([-1 / r if r else 0 for r in rows[:, 1]])
    turns = sum(e.turn for e in elements_of(CURVES, 0, profile.route.length))
    assert (length * curvature).sum() == pytest.approx(turns, abs=1e-5)


def test_limits_mileage_and_places_of_railml_2(tmp_path: Path):
    """Worked: 72 km/h to 1 km, then 36 to the end at 50 km, up and down; posts fall from 38 km, the first kilometre of
    them 1,020 m long: 38,000 m at the start, at 1,020 m the ground says 36,980 and the post 37,000, so 20 m overlap."""
    limits = (SpeedLimit(0, 1000, 20), SpeedLimit(1000, 50_000, 10))
    posts = Posts(np.array([0.0, 1020]), np.array([38.0, 37.0]), "km")
    root = railml2(with_route(limits=limits, posts=posts), tmp_path)
    rows = [(e.get("dir"), float(e.get("pos")), e.get("vMax")) for e in root.iter(f"{NS2}speedChange")]
    assert rows == [
        ("up", 0, "72"), ("up", 1000, "36"), ("up", 50_000, "end"),
        ("down", 0, "end"), ("down", 1000, "72"), ("down", 50_000, "36"),
    ]  # fmt: skip
    begin, end = root.find(f".//{NS2}trackBegin"), root.find(f".//{NS2}trackEnd")
    assert (float(begin.get("absPos")), float(end.get("pos"))) == (38_000, 50_000)
    assert float(end.get("absPos")) == pytest.approx(37_000 - (50_000 - 1020))
    (change,) = root.iter(f"{NS2}mileageChange")
    assert [float(change.get(n)) for n in ("pos", "absPosIn", "absPos")] == [1020, 36_980, 37_000]
    assert change.get("type") == "overlapping"
    assert [e.get("name") for e in root.iter(f"{NS2}ocp")] == ["Farrow", "Ombersley Gap", "Thistle Quay"]
    assert [float(e.get("pos")) for e in root.iter(f"{NS2}crossSection")] == [700, 26_600, 49_500]
    latitude, _ = map(float, root.find(f".//{NS2}geoCoord").get("coord").split())
    assert latitude == pytest.approx(np.interp(700, np.arange(0, 50_001, 10), seen_profile().route.latitude), abs=1e-6)


def test_gradient_curves_of_railml_3(tmp_path: Path):
    """Law: pieces follow each other, and gradient and deltaGradient (‰) give the line of PVIs at every joint; a hill
    has a positive radius, length over change of grade."""
    profile = seen_profile()
    found = list(railml3(profile, tmp_path).iter(f"{NS3}gradientCurve"))
    begin, end = (
        figures([next(e.iter(f"{NS3}linearCoordinate{which}")) for e in found], "measure")[:, 0]
        for which in ("Begin", "End")
    )
    gradient, change, length, radius = figures(found, "gradient", "deltaGradient", "length", "radius").T
    assert begin[1:] == pytest.approx(end[:-1])
    assert length == pytest.approx(end - begin, abs=1e-3)
    height = line_of(profile.pvis, begin[:1])[0] + np.r_[0, np.cumsum(length * (gradient + change / 2) / 1000)]
    assert height == pytest.approx(line_of(profile.pvis, np.r_[begin, end[-1]])[0], abs=0.01)
    curved = radius != 0
    assert [e.get("curveType") for e in found] == ["arc" if c else "straight" for c in curved]
    assert radius[curved] == pytest.approx(-length[curved] / change[curved] * 1000, rel=1e-3)
    assert not change[~curved].any()


def test_horizontal_curves_of_railml_3(tmp_path: Path):
    """Worked: 600 m with two spirals of 90 m, 3° to the right: an arc of 420 m between clothoids, radius positive, all
    azimuths growing; the reverse spiral of `CURVES` is two clothoids."""
    found = list(railml3(seen_profile(), tmp_path).iter(f"{NS3}horizontalCurve"))
    right = [e for e in found if e.find(f"{NS3}name") is not None and e.find(f"{NS3}name").get("name") == "41A"]
    assert [e.get("curveType") for e in right] == ["clothoid", "arc", "clothoid"]
    turn, length, radius = figures(right, "deltaAzimuth", "length", "radius").T
    assert length.tolist() == [90, 420, 90]
    assert radius == pytest.approx(582.2, abs=0.2)  # 50/sin(1.5°) ft
    assert turn == pytest.approx(np.degrees(length / radius) * [0.5, 1, 0.5], abs=1e-3)
    for a, b in pairwise(right):
        step = float(b.get("azimuth")) - float(a.get("azimuth"))
        assert step % 360 == pytest.approx(float(a.get("deltaAzimuth")), abs=1.0)  # stations are 10 m apart
    bent = railml3(with_route(curves=CURVES), tmp_path)
    names = [e.get("curveType") for e in bent.iter(f"{NS3}horizontalCurve")]
    assert names.count("clothoid") == 6
    radii = [float(e.get("radius")) for e in bent.iter(f"{NS3}horizontalCurve") if e.get("curveType") == "arc"]
    assert radii == pytest.approx([-500, -250, 333.333, -500])


def test_topology_of_railml_3(tmp_path: Path):
    """Law: one net element as long as the line, its two ends where the line's are."""
    profile = seen_profile()
    root = railml3(profile, tmp_path)
    (line,) = root.iter(f"{NS3}netElement")
    assert float(line.get("length")) == profile.route.length
    ends = figures(list(line.iter(f"{NS3}geometricCoordinate")), "x", "y")
    at = [0, -1]
    assert ends == pytest.approx(np.column_stack([profile.route.latitude[at], profile.route.longitude[at]]), abs=1e-6)
