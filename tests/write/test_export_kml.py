"""KML against its published schema, and back to the same line."""

from __future__ import annotations

import dataclasses
import warnings
from importlib.util import find_spec
from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
import xmlschema
from defusedxml.ElementTree import parse

from profiler.grade_classes import UP
from profiler.write.exports import export
from tests.exported import crossing, hostile, plain
from tests.invented import invented_landmarks

SPACE = "{http://www.opengis.net/kml/2.2}"


@pytest.fixture(scope="module")
def schema() -> xmlschema.XMLSchema:
    """The schema of KML 2.2 (OGC 07-147r2) as the package fastkml carries it."""
    package = find_spec("fastkml")
    assert package is not None
    path = Path(str(package.origin)).parent / "schema" / "ogckml22.xsd"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return xmlschema.XMLSchema(str(path), allow="local")


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("kml") / "line.kml"
    export(plain(), invented_landmarks(), "kml", path)
    return path


def test_valid(written: Path, schema: xmlschema.XMLSchema):
    """Published: the schema of KML 2.2, OGC 07-147r2."""
    assert [str(error) for error in schema.iter_errors(str(written))] == []


def test_the_schema_tells(tmp_path: Path, written: Path, schema: xmlschema.XMLSchema):
    """Outside: the check finds an element out of order, so it can fail."""
    text = written.read_text(encoding="utf-8").replace(
        "<altitudeMode>absolute</altitudeMode><coordinates>",
        "<coordinates/><altitudeMode>absolute</altitudeMode><coordinates>",
        1,
    )
    (tmp_path / "a.kml").write_text(text, encoding="utf-8")
    assert list(schema.iter_errors(str(tmp_path / "a.kml")))


def test_line_reads_back(written: Path):
    """Outside: GDAL finds every station on the line, with its elevation."""
    profile, table = plain(), geopandas.read_file(written, layer="Line")
    found = shapely.get_coordinates(table.geometry.iloc[0], include_z=True)
    expected = np.column_stack([profile.route.longitude, profile.route.latitude, profile.elevation])
    np.testing.assert_allclose(found[:, :2], expected[:, :2], atol=5.1e-8)
    np.testing.assert_allclose(found[:, 2], expected[:, 2], atol=0.0051)


def test_grade_runs(written: Path):
    """Worked: 1.35 % climbing is class 3: its colour as aabbggrr; the run goes from 13,500 to 26,000 m."""
    root = parse(written).getroot()
    mark = next(x for x in root.iter(f"{SPACE}Placemark") if x.findtext(f"{SPACE}name") == "up 1.35 %")
    assert mark.findtext(f"{SPACE}styleUrl") == "#up-3"
    style = next(x for x in root.iter(f"{SPACE}Style") if x.get("id") == "up-3")
    r, g, b = (UP[3][i : i + 2].lower() for i in (1, 3, 5))
    assert style.findtext(f"{SPACE}LineStyle/{SPACE}color") == f"ff{b}{g}{r}"
    assert len(mark.findtext(f"{SPACE}LineString/{SPACE}coordinates").split()) == (26000 - 13500) / 50 + 1


def test_every_style_is_there(written: Path):
    """Law: no placemark points to a style that is not in the file."""
    root = parse(written).getroot()
    used = {x.text for x in root.iter(f"{SPACE}styleUrl")}
    assert used <= {f"#{x.get('id')}" for x in root.iter(f"{SPACE}Style")}


def test_folders(written: Path):
    """Outside: GDAL makes a layer of each folder, with as many placemarks as the line has of them."""
    route = plain().route
    counts = {
        "Grade runs": len(invented_landmarks().grade_runs),
        "Structures": len(route.structures),
        "Curves": len(route.curves),
        "Named places": len(route.stations),
        "Speed limits": len(route.limits) + len(route.slow_orders),
        "Posts": len(route.whole_posts),
    }
    for name, count in counts.items():
        assert len(geopandas.read_file(written, layer=name)) == count


def test_what_is_said(written: Path):
    """Law: datum, caution and invention are in the description."""
    words = parse(written).getroot().findtext(f"{SPACE}Document/{SPACE}description")
    for part in ("Invented line", "Heights above EGM2008", "planning aid", "Grade classes"):
        assert part in words


@pytest.mark.parametrize(("datum", "warned"), [("EGM96", False), ("EGM2008", True), ("unknown", True)])
def test_datum_other_than_its_own(tmp_path: Path, datum: str, warned: bool):
    """Published: OGC 07-147r2, annex B: KML heights are above EGM96; whatever else they are is said."""
    profile = dataclasses.replace(plain(500.0), vertical_datum=datum)
    said = " ".join(export(profile, invented_landmarks(), "kml", tmp_path / "a.kml"))
    assert ("EGM96" in said) is warned


def test_across_the_meridian(tmp_path: Path, schema: xmlschema.XMLSchema):
    """Law: valid, and every part within ±180 on one side."""
    export(crossing(), invented_landmarks(), "kml", tmp_path / "a.kml")
    assert list(schema.iter_errors(str(tmp_path / "a.kml"))) == []
    line = geopandas.read_file(tmp_path / "a.kml", layer="Line").geometry.iloc[0]
    assert len(line.geoms) > 1
    assert all(np.ptp(shapely.get_coordinates(part)[:, 0]) < 1 for part in line.geoms)


def test_hostile_names(tmp_path: Path, schema: xmlschema.XMLSchema):
    """Law: valid all the same; the name is text."""
    export(*hostile(), "kml", tmp_path / "a.kml")
    assert list(schema.iter_errors(str(tmp_path / "a.kml"))) == []
    name = parse(tmp_path / "a.kml").getroot().findtext(f"{SPACE}Document/{SPACE}name")
    assert name.startswith('<script>"&')


def test_same_bytes(written: Path, tmp_path: Path):
    """Law: written again, the same bytes."""
    export(plain(), invented_landmarks(), "kml", tmp_path / "a.kml")
    assert (tmp_path / "a.kml").read_bytes() == written.read_bytes()
