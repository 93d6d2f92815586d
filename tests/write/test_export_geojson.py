"""GeoJSON against the rules of RFC 7946, and back to the same profile."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import geopandas
import numpy as np
import pytest
from pyproj import Geod

from profiler.profile import Profile
from profiler.write.exports import export
from tests.exported import HOSTILE, crossing, hostile, plain
from tests.invented import invented_landmarks


def written(profile: Profile, path: Path) -> dict:
    export(profile, invented_landmarks(), "geojson", path)
    return json.loads(path.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict:
    return written(plain(), tmp_path_factory.mktemp("geojson") / "a.geojson")


def positions(geometry: dict) -> list[list[float]]:
    points, depth = geometry["coordinates"], {"Point": 0, "LineString": 1, "MultiLineString": 2}[geometry["type"]]
    if depth == 0:
        return [points]
    return [xy for part in points for xy in part] if depth == 2 else points


def check_rules(collection: dict) -> None:
    """Published: RFC 7946: 3.3 members of a collection, 3.2 of a feature, 3.1.1 positions of two numbers, longitude
    first, 3.1.4 two positions a line at least, 4 no crs, 3.1.9 nothing that crosses the meridian, 7.1 no member of
    another type's name."""
    assert collection["type"] == "FeatureCollection"
    assert not {"crs", "coordinates", "geometries", "geometry", "properties"} & set(collection)
    assert isinstance(collection["features"], list)
    for feature in collection["features"]:
        assert set(feature) == {"type", "id", "geometry", "properties"}
        assert feature["type"] == "Feature"
        assert isinstance(feature["id"], str)
        assert set(feature["geometry"]) == {"type", "coordinates"}
        shape = feature["geometry"]
        for x, y in positions(shape):
            assert -180 <= x <= 180
            assert -90 <= y <= 90
        for line in {"LineString": [shape["coordinates"]], "MultiLineString": shape["coordinates"]}.get(
            shape["type"], []
        ):
            assert len(line) >= 2
            assert max(x for x, _ in line) - min(x for x, _ in line) < 180
    assert len({feature["id"] for feature in collection["features"]}) == len(collection["features"])


def test_rules(found: dict):
    """Published: RFC 7946, see `check_rules`."""
    check_rules(found)


def test_across_the_meridian(tmp_path: Path):
    """Published: RFC 7946, 3.1.9 and 5.2: parts meet at ±180, west is the greater edge; Outside: pyproj's length."""
    profile = crossing()
    collection = written(profile, tmp_path / "a.geojson")
    check_rules(collection)
    west, south, east, north = collection["bbox"]
    assert west > 179 > -179 > east
    assert south < north
    line = next(f["geometry"] for f in collection["features"] if f["properties"]["layer"] == "line")
    assert line["type"] == "MultiLineString"
    parts = [np.array(part) for part in line["coordinates"]]
    for a, b in pairwise(parts):
        assert abs(a[-1][0]) == abs(b[0][0]) == 180
        assert a[-1][0] == -b[0][0]
        assert a[-1][1] == b[0][1]
    geod = Geod(ellps="WGS84")
    lengths = sum(geod.line_length(*part.T) for part in parts)
    assert lengths == pytest.approx(geod.line_length(profile.route.longitude, profile.route.latitude), rel=1e-5)


def test_stations_read_back(found: dict):
    """Law: to the decimals printed; elevation is a property, no third number."""
    profile = plain()
    stations = [f for f in found["features"] if f["properties"]["layer"] == "stations"]
    xy = np.array([f["geometry"]["coordinates"] for f in stations])
    np.testing.assert_allclose(xy.T, [profile.route.longitude, profile.route.latitude], atol=5.1e-8)
    elevation = [f["properties"]["elevation_m"] for f in stations]
    np.testing.assert_allclose(elevation, profile.elevation, atol=0.0051)


def test_landmarks_and_runs(found: dict):
    """Worked: the crest at 26,000 m stands out by 168 m; 1.35 % is class 3 (from 1 %), as travelled up."""
    marks = [f["properties"] for f in found["features"] if f["properties"]["layer"] == "landmarks"]
    crest = next(x for x in marks if x["at_m"] == 26000.0)
    assert (crest["kind"], crest["value"], crest["low"], crest["unit"]) == ("crest", 168.0, None, "m")
    runs = [f["properties"] for f in found["features"] if f["properties"]["layer"] == "grade_runs"]
    assert [(x["grade_pct"], x["grade_class"]) for x in runs[3:6]] == [(1.35, 3), (-1.5, -3), (-2.45, -4)]
    used = [f["properties"]["used"] for f in found["features"] if f["properties"]["layer"] == "known_elevations"]
    assert used == [True, False, False]


def test_what_is_said(found: dict):
    """Law: datum, units, caution, invention and every property's meaning are foreign members."""
    assert found["vertical_datum"] == "EGM2008"
    assert found["invented"] is True
    assert "planning aid" in found["caution"]
    assert found["properties_of"]["stations"]["elevation_m"]["unit"] == "m"
    for feature in found["features"]:
        layer = feature["properties"]["layer"]
        assert set(feature["properties"]) - {"layer"} == set(found["properties_of"][layer])


def test_a_gis_reads_it(found: dict, tmp_path: Path):
    """Outside: GDAL reads as many features, on WGS 84."""
    (tmp_path / "a.geojson").write_text(json.dumps(found))
    table = geopandas.read_file(tmp_path / "a.geojson")
    assert len(table) == len(found["features"])
    assert table.crs.to_epsg() == 4326
    assert table.geometry.is_valid.all()


def test_hostile_names(tmp_path: Path):
    """Law: whatever the names hold comes back as it was."""
    export(*hostile(), "geojson", tmp_path / "a.geojson")
    text = (tmp_path / "a.geojson").read_text(encoding="utf-8")
    tunnel = next(f for f in json.loads(text)["features"] if f["properties"]["layer"] == "structures")
    assert tunnel["properties"]["name"] == HOSTILE


def test_same_bytes(tmp_path: Path):
    """Law: written twice, the same bytes."""
    for name in ("a", "b"):
        export(plain(500.0), invented_landmarks(), "geojson", tmp_path / name)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()
