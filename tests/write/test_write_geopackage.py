"""The GeoPackage: what a GIS finds in it, the same bytes each time, and no silent half."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest
from pyproj import Geod

from profiler.errors import InputError, OutputError
from profiler.files import staged_folder
from profiler.landmark import Landmarks
from profiler.profile import Draws
from profiler.read import layout
from profiler.route import Posts
from profiler.units import MILE
from profiler.write.geopackage import write_geopackage
from profiler.write.tables import write_tables
from tests.invented import invented_landmarks, invented_profile


@pytest.fixture(scope="module")
def written(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("gpkg") / "profile.gpkg"
    write_geopackage(invented_profile(), invented_landmarks(), path)
    return path


def layer(path: Path, name: str) -> geopandas.GeoDataFrame:
    return geopandas.read_file(path, layer=name)


def test_layers_and_shapes(written: Path):
    """Law of the house: these layers, on WGS 84, and these plain tables."""
    shapes = dict(pyogrio.list_layers(written))
    assert set(shapes) == set(layout.LAYERS)
    points = {"profile", "landmarks", "pvis", "known_elevations", "known_posts", "corners", "places", "stops", "posts"}
    lines = {"centreline", "grade_runs", "curves", "practice", "structures", "limits", "slow_orders"}
    assert {name for name, shape in shapes.items() if shape == "Point"} == points
    assert {name for name, shape in shapes.items() if shape == "LineString"} == lines
    assert {name for name, shape in shapes.items() if shape is None} == {
        "straddles",
        "draws",
        "posts_map",
        "about",
    }
    for name in points | lines:
        assert layer(written, name).crs.to_epsg() == 4326


def test_sound_for_sqlite(written: Path):
    """Outside: SQLite finds nothing wrong, and the header says GeoPackage (OGC 12-128, requirement 2)."""
    with contextlib.closing(sqlite3.connect(written)) as database:
        assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []
    assert written.read_bytes()[68:72] == b"GPKG"


def test_stations_by_hand(written: Path):
    """Worked: at 6,000 m the rail stands at 130 m and climbs 0.85 % from post 41.728."""
    row = layer(written, "profile").set_index("chainage_m").loc[6000.0]
    assert row.elevation_m == pytest.approx(130.0)
    assert row.grade_pct == pytest.approx(0.85)
    assert row.post == pytest.approx(38 + 6000 / 1609.344)
    assert (row.structure, row.ground_source) == ("", "invented ground")


def test_runs_cover_the_line(written: Path):
    """Outside: geodesic lengths of the grade runs add up to that of the centreline (pyproj)."""
    geod = Geod(ellps="WGS84")
    whole = geod.geometry_length(layer(written, "centreline").geometry.iloc[0])
    runs = layer(written, "grade_runs")
    lengths = np.array([geod.geometry_length(line) for line in runs.geometry])
    assert lengths.sum() == pytest.approx(whole, rel=1e-9)
    # The made-up line is laid out on a flat sheet: its own lengths are good to a thousandth.
    np.testing.assert_allclose(lengths, runs.end_m - runs.start_m, rtol=5e-3)


def test_stretches_end_where_they_say(written: Path):
    """Law: a structure's line begins and ends on the route at its chainages, between stations too."""
    profile = invented_profile()
    route = profile.route
    tunnel = layer(written, "structures").iloc[0]
    ends = np.array(tunnel.geometry.coords)[[0, -1]]
    expected = [np.interp([20500, 22600], route.chainage, xy) for xy in (route.longitude, route.latitude)]
    np.testing.assert_allclose(ends.T, expected, atol=1e-12)
    assert len(tunnel.geometry.coords) == (22600 - 20500) / 10 + 1


def test_whole_posts(written: Path):
    """Worked: 50 km from post 38 reach post 69.07: 32 whole posts, post 40 at 2 miles."""
    posts = layer(written, "posts").set_index("post")
    assert posts.index.tolist() == list(range(38, 70))
    assert posts.loc[40.0, "chainage_m"] == pytest.approx(2 * MILE, abs=1e-4)


def test_posts_across_equations(tmp_path: Path):
    """Worked: a long mile 41.5 back = 40.5 ahead at 5,000 m carries post 41 twice; a short one, 41.5
    back = 42.5 ahead, no post 42."""
    profile = invented_profile(step=100.0)
    for ahead, twice, never in [(40.5, 41, 0), (42.5, 0, 42)]:
        posts = Posts(np.array([0.0, 5000.0, 5000.0]), np.array([38.0, 41.5, ahead]), "mi")
        route = dataclasses.replace(profile.route, posts=posts)
        write_geopackage(dataclasses.replace(profile, route=route), invented_landmarks(), tmp_path / "a.gpkg")
        found = layer(tmp_path / "a.gpkg", "posts").post.tolist()
        assert found.count(41.0) == (2 if twice else 1)
        assert (42.0 in found) is (never == 0)


def test_draws_stand_in_columns(written: Path):
    """Law: one row a node, one column a draw, as precise as they are kept."""
    draws = pyogrio.read_dataframe(written, layer="draws")
    profile = invented_profile()
    assert draws.shape == (profile.draws.chainage.size, 1 + profile.draws.elevation.shape[0])
    np.testing.assert_array_equal(draws["draw_100_m"].astype(np.float32), profile.draws.elevation[-1])


def test_about_says_what_it_is(written: Path):
    """Law: datum, units, ends and that the line is invented are told inside the file."""
    table = pyogrio.read_dataframe(written, layer="about")
    about = {row.key: json.loads(row.value) for row in table.itertuples()}
    assert about["vertical_datum"] == "EGM2008"
    assert about["ends"] == ["Farrow", "Thistle Quay"]
    assert about["invented"] is True
    assert about["rows"]["profile"] == 5001
    assert "planning aid" in about["caution"]


def test_same_bytes_at_another_time(written: Path, tmp_path: Path, monkeypatch):
    """Law: no clock inside: written later, the same bytes. (GDAL's own stamps are in milliseconds.)"""
    time.sleep(0.05)
    write_geopackage(invented_profile(), invented_landmarks(), tmp_path / "again.gpkg")
    assert (tmp_path / "again.gpkg").read_bytes() == written.read_bytes()
    assert stamps(written) == {"2000-01-01T00:00:00.000Z"}
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1000000000")
    write_geopackage(invented_profile(), invented_landmarks(), tmp_path / "dated.gpkg")
    assert stamps(tmp_path / "dated.gpkg") == {"2001-09-09T01:46:40.000Z"}
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") is None


def stamps(path: Path) -> set[str]:
    with contextlib.closing(sqlite3.connect(path)) as database:
        return {row[0] for row in database.execute("SELECT last_change FROM gpkg_contents")}


def test_an_earlier_file_is_replaced(tmp_path: Path):
    """Law: nothing of what stood there stays."""
    path = tmp_path / "profile.gpkg"
    geopandas.GeoDataFrame({"a": [1]}, geometry=geopandas.points_from_xy([0], [0]), crs=4326).to_file(path, layer="old")
    write_geopackage(invented_profile(step=1000.0), invented_landmarks(), path)
    assert "old" not in set(pyogrio.list_layers(path)[:, 0])


def test_nothing_along_the_line(tmp_path: Path):
    """Law: empty layers are there all the same, for whoever reads by name."""
    profile = invented_profile(step=1000.0)
    bare = dict.fromkeys(("curves", "structures", "stations", "limits", "slow_orders"), ())
    profile = dataclasses.replace(
        profile,
        route=dataclasses.replace(profile.route, **bare),
        draws=Draws(profile.draws.chainage, np.zeros((0, profile.draws.chainage.size))),
    )
    write_geopackage(profile, Landmarks((), (), ()), tmp_path / "bare.gpkg")
    assert set(pyogrio.list_layers(tmp_path / "bare.gpkg")[:, 0]) == set(layout.LAYERS)
    assert layer(tmp_path / "bare.gpkg", "curves").empty


@contextlib.contextmanager
def room_for(size: int) -> Iterator[None]:
    """No file of this process may grow beyond ``size`` bytes: what a full disk does to a writer."""
    resource = pytest.importorskip("resource", reason="the system must be able to limit files")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.parametrize("share", [0.0, 0.01, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 0.999])
def test_full_disk_is_never_silent(tmp_path: Path, share: float):
    """Law: wherever the disk fills up, the writer says so in our words."""
    profile, landmarks, path = invented_profile(step=50.0), invented_landmarks(), tmp_path / "profile.gpkg"
    write_geopackage(profile, landmarks, path)
    size = path.stat().st_size
    with room_for(int(share * size)), pytest.raises(OutputError, match="free some space") as caught:
        write_geopackage(profile, landmarks, path)
    assert caught.value.source == str(path)


def test_full_disk_leaves_the_earlier_folder(tmp_path: Path):
    """Law: tables fit, the GeoPackage does not: the earlier output stands, and the final place is named."""
    profile, landmarks, folder = invented_profile(step=100.0), invented_landmarks(), tmp_path / "out"

    def run() -> None:
        with staged_folder(folder) as stage:
            write_tables(profile, landmarks, stage)
            write_geopackage(profile, landmarks, stage / "profile.gpkg")

    run()
    earlier = {p.name: p.read_bytes() for p in folder.iterdir()}
    with room_for(200_000), pytest.raises(OutputError) as caught:
        run()
    assert caught.value.source == str(folder / "profile.gpkg")
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == earlier


def test_full_disk_for_tables(tmp_path: Path):
    """Law: a table that does not fit ends the run with the same sentence."""
    profile, landmarks = invented_profile(step=100.0), invented_landmarks()

    def run() -> None:
        with staged_folder(tmp_path / "out") as stage:
            write_tables(profile, landmarks, stage)

    with room_for(10_000), pytest.raises(OutputError, match="the disk is full"):
        run()
    assert list(tmp_path.iterdir()) == []


def test_no_such_folder(tmp_path: Path):
    """Law: GDAL's own error becomes ours."""
    with pytest.raises(OutputError, match="cannot be written"):
        write_geopackage(invented_profile(step=1000.0), invented_landmarks(), tmp_path / "no" / "a.gpkg")


def test_a_folder_of_that_name(tmp_path: Path):
    """Law: a folder is never replaced by a file."""
    (tmp_path / "a.gpkg").mkdir()
    with pytest.raises(OutputError):
        write_geopackage(invented_profile(step=1000.0), invented_landmarks(), tmp_path / "a.gpkg")
    assert (tmp_path / "a.gpkg").is_dir()


def test_wrong_date_is_refused_before_the_file_is_touched(tmp_path: Path, monkeypatch):
    """Law: a wrong SOURCE_DATE_EPOCH costs no earlier result."""
    path = tmp_path / "a.gpkg"
    path.write_text("earlier")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "today")
    with pytest.raises(InputError, match="SOURCE_DATE_EPOCH"):
        write_geopackage(invented_profile(step=1000.0), invented_landmarks(), path)
    assert path.read_text() == "earlier"
