"""The GeoPackage for a GIS: layers, columns with words, an index, the same bytes, no silent half."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest

from profiler.errors import OutputError
from profiler.grade_classes import DOWN, UP
from profiler.write import gis
from profiler.write.exports import export
from tests.exported import HOSTILE, crossing, hostile, plain
from tests.invented import invented_landmarks

POINTS = {"stations", "landmarks", "pvis", "known_elevations", "corners", "posts", "places"}
LINES = {"line", "grade_runs", "curves", "alignment", "structures", "limits", "practice", "straddles"}


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("gis") / "line.gpkg"
    export(plain(), invented_landmarks(), "gpkg", path)
    return path


def test_layers(written: Path):
    """Outside: GDAL lists these layers with these shapes, all of it on WGS 84."""
    shapes = dict(pyogrio.list_layers(written))
    assert {name for name, shape in shapes.items() if shape == "Point"} == POINTS
    assert {name for name, shape in shapes.items() if shape == "LineString"} == LINES
    assert {name for name, shape in shapes.items() if shape is None} == {"about"}
    for name in POINTS | LINES:
        assert geopandas.read_file(written, layer=name).crs.to_epsg() == 4326


def test_stations_read_back(written: Path):
    """Law: to the decimals of the tables."""
    profile, table = plain(), geopandas.read_file(written, layer="stations")
    np.testing.assert_allclose(table.geometry.x, profile.route.longitude, atol=1e-9)
    np.testing.assert_allclose(table.elevation_m, profile.elevation, atol=0.0051)
    np.testing.assert_allclose(table.grade_pct, profile.grade * 100, atol=5.1e-5)


def test_types(written: Path):
    """Law: figures are figures, an empty cell is none, yes and no are booleans."""
    known = geopandas.read_file(written, layer="known_elevations")
    assert known.used.tolist() == [True, False, False]
    marks = geopandas.read_file(written, layer="landmarks")
    assert marks.low.isna().sum() == sum(item.low is None for item in invented_landmarks().items)
    runs = geopandas.read_file(written, layer="grade_runs")
    assert runs.grade_class.dtype.kind == "i"


def test_grade_runs_have_their_colours(written: Path):
    """Worked: 1.35 % up is class 3, 2.45 % down class 4, in the colours of chart and map."""
    runs = geopandas.read_file(written, layer="grade_runs").set_index("grade_pct")
    assert runs.loc[1.35, ["grade_class", "colour"]].tolist() == [3, UP[3]]
    assert runs.loc[-2.45, ["grade_class", "colour"]].tolist() == [-4, DOWN[4]]


def test_words_for_columns_and_layers(written: Path):
    """Published: OGC 12-128r18, annex F.9: gpkg_data_columns names only columns that are there, as an extension."""
    with contextlib.closing(sqlite3.connect(written)) as database:
        assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        rows = database.execute("SELECT table_name, column_name, description FROM gpkg_data_columns").fetchall()
        extensions = database.execute("SELECT table_name FROM gpkg_extensions WHERE extension_name = 'gpkg_schema'")
        assert {name for (name,) in extensions} == {"gpkg_data_columns", "gpkg_data_column_constraints"}
        words = dict(database.execute("SELECT table_name, description FROM gpkg_contents").fetchall())
    described = {(table, column): said for table, column, said in rows}
    for name in POINTS | LINES:
        fields = pyogrio.read_info(written, layer=name)["fields"]
        assert {column for table, column in described if table == name} == set(fields)
    assert described["stations", "elevation_m"] == "Rail above the vertical datum [m]"
    assert "Heights above EGM2008" in words["stations"]
    assert "Invented line" in words["stations"]


def test_about(written: Path):
    """Law: datum, caution and who wrote it."""
    about = pyogrio.read_dataframe(written, layer="about").set_index("key").value
    assert about["vertical_datum"] == "EGM2008"
    assert "planning aid" in about["caution"]
    assert about["invented"] == "true"


def test_across_the_meridian(tmp_path: Path):
    """Law: layers whose lines cross are of parts, all within the world."""
    export(crossing(), invented_landmarks(), "gpkg", tmp_path / "a.gpkg")
    shapes = dict(pyogrio.list_layers(tmp_path / "a.gpkg"))
    assert shapes["line"] == "MultiLineString"
    for name in POINTS | LINES:
        found = geopandas.read_file(tmp_path / "a.gpkg", layer=name).geometry
        assert found.bounds[["minx", "maxx"]].abs().max(axis=None) <= 180 if len(found) else name == "practice"


def test_hostile_names(tmp_path: Path):
    """Law: names come back as they were."""
    export(*hostile(), "gpkg", tmp_path / "a.gpkg")
    assert geopandas.read_file(tmp_path / "a.gpkg", layer="structures").name.tolist() == [HOSTILE] * 3


def test_same_bytes(written: Path, tmp_path: Path):
    """Law: no clock inside."""
    export(plain(), invented_landmarks(), "gpkg", tmp_path / "again.gpkg")
    assert (tmp_path / "again.gpkg").read_bytes() == written.read_bytes()


def test_an_index_that_is_not_whole_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: what GDAL leaves undone without a word ends in a sentence, and the earlier file stays."""
    path = tmp_path / "a.gpkg"
    path.write_bytes(b"earlier, by gradewright")
    whole = gis.describe

    def lose_a_row(database: sqlite3.Connection, rows: object) -> None:
        whole(database, rows)
        with database:
            database.execute('DELETE FROM "rtree_posts_geom" WHERE id = 1')

    monkeypatch.setattr(gis, "describe", lose_a_row)
    with pytest.raises(OutputError, match="the index of posts is not whole"):
        export(plain(500.0), invented_landmarks(), "gpkg", path)
    assert path.read_bytes() == b"earlier, by gradewright"
