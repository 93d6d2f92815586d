"""GPX 1.1: in the order of its schema, and back to the same track."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import geopandas
import numpy as np
import pytest
from defusedxml.ElementTree import parse

from profiler.landmark import Landmark, Landmarks
from profiler.write.exports import export
from tests.exported import crossing, hostile, plain
from tests.invented import invented_landmarks

SPACE = "{http://www.topografix.com/GPX/1/1}"
ORDER = {
    "gpx": ("metadata", "wpt", "rte", "trk", "extensions"),
    "metadata": ("name", "desc", "author", "copyright", "link", "time", "keywords", "bounds", "extensions"),
    "wpt": ("ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "fix"),
    "trkpt": ("ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type", "fix"),
    "trk": ("name", "cmt", "desc", "src", "link", "number", "type", "extensions", "trkseg"),
    "trkseg": ("trkpt", "extensions"),
}
"""From memory: GPX 1.1 schema (topografix.com/GPX/1/1), the sequence of each complex type."""


def check_order(path: Path) -> None:
    """From memory: GPX 1.1 schema: sequences, version and creator, longitudes from −180 to below 180."""
    root = parse(path).getroot()
    assert root.tag == f"{SPACE}gpx"
    assert root.get("version") == "1.1"
    assert root.get("creator")
    for element in root.iter():
        name = element.tag.removeprefix(SPACE)
        children = [ORDER[name].index(child.tag.removeprefix(SPACE)) for child in element] if len(element) else []
        assert children == sorted(children)
        if name in ("wpt", "trkpt"):
            assert -180 <= float(element.get("lon")) < 180
            assert -90 <= float(element.get("lat")) <= 90


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("gpx") / "line.gpx"
    export(plain(), invented_landmarks(), "gpx", path)
    return path


def test_order(written: Path):
    """From memory: GPX 1.1 schema, see `check_order`."""
    check_order(written)


def test_track_reads_back(written: Path):
    """Outside: GDAL finds one track whose points are the stations, with the rail's elevation."""
    profile, points = plain(), geopandas.read_file(written, layer="track_points")
    np.testing.assert_allclose(points.geometry.x, profile.route.longitude, atol=5.1e-8)
    np.testing.assert_allclose(points.geometry.y, profile.route.latitude, atol=5.1e-8)
    np.testing.assert_allclose(points.ele, profile.elevation, atol=0.0051)
    assert set(points.track_seg_id) == {0}


def test_waypoints(written: Path):
    """Worked: the crest at 26,000 m is post 38 + 26000/1609.344 = 54.2, at 115 + Σ grades = 343.75 m."""
    points = geopandas.read_file(written, layer="waypoints").set_index("name")
    assert points.loc["Crest, post 54.2", "ele"] == pytest.approx(343.75)
    assert points.loc["Crest, post 54.2", "desc"] == "rail 1,128 ft; stands out by 551 ft; certain"
    assert "Ombersley Gap" in points.index
    assert not [name for name in points.index if name.startswith("Total")]


def test_what_is_said(written: Path):
    """Law: what a description can hold is in it, and the console says the rest."""
    words = parse(written).getroot().findtext(f"{SPACE}metadata/{SPACE}desc")
    for part in ("Invented line", "Heights above EGM2008", "Elevations in metres", "planning aid", "total rise 833 ft"):
        assert part in words


def test_warnings(tmp_path: Path):
    """Law: an unknown datum, and landmarks too doubtful for a waypoint, are said."""
    doubtful = Landmark(kind="sag", direction="both", start=5.0, end=5.0, at=5.0, value=1.0, unit="m", probability=0.2)
    landmarks = Landmarks((doubtful,), (), ())
    profile = dataclasses.replace(plain(500.0), vertical_datum="unknown")
    said = " ".join(export(profile, landmarks, "gpx", tmp_path / "a.gpx"))
    assert "vertical datum unknown" in said
    assert "1 landmark less than 50 % likely" in said
    assert "equally likely profiles" in said


def test_across_the_meridian(tmp_path: Path):
    """Law: one segment a side, none of which goes round the world."""
    export(crossing(), invented_landmarks(), "gpx", tmp_path / "a.gpx")
    check_order(tmp_path / "a.gpx")
    points = geopandas.read_file(tmp_path / "a.gpx", layer="track_points")
    x = points.groupby("track_seg_id")["geometry"].apply(lambda g: np.ptp(g.x))
    assert len(x) > 1
    assert (x < 1).all()


def test_hostile_names(tmp_path: Path):
    """Law: XML all the same, and no element of the name's."""
    export(*hostile(), "gpx", tmp_path / "a.gpx")
    check_order(tmp_path / "a.gpx")
    name = parse(tmp_path / "a.gpx").getroot().findtext(f"{SPACE}trk/{SPACE}name")
    assert name.startswith('<script>"&')


def test_same_bytes_and_no_clock(written: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: no date unless SOURCE_DATE_EPOCH gives one."""
    export(plain(), invented_landmarks(), "gpx", tmp_path / "a.gpx")
    assert (tmp_path / "a.gpx").read_bytes() == written.read_bytes()
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1000000000")
    export(plain(500.0), invented_landmarks(), "gpx", tmp_path / "b.gpx")
    check_order(tmp_path / "b.gpx")
    assert parse(tmp_path / "b.gpx").getroot().findtext(f"{SPACE}metadata/{SPACE}time") == "2001-09-09T01:46:40Z"
