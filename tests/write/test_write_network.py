"""Many written profiles in one file: read back by other libraries, the same bytes, what is damaged told."""

from __future__ import annotations

import dataclasses
import sqlite3
from pathlib import Path

import geopandas
import numpy as np
import pyarrow.parquet
import pyogrio
import pytest

from profiler import InputError, OutputError, read_landmarks, read_profile, write_network, write_profile_file
from tests.invented import invented_landmarks, invented_profile

FAILED = [("gone", "gone.toml", "gone.toml: there is no such file; check the name")]


@pytest.fixture(scope="module")
def lines(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[str, Path]]:
    """Two lines: as invented, and the same moved across the 180° meridian."""
    folder = tmp_path_factory.mktemp("lines")
    profile = invented_profile()
    middle = float(profile.route.longitude.mean())
    moved = dataclasses.replace(profile.route, longitude=profile.route.longitude - middle + 180.0)
    for name, route in (("here", profile.route), ("there", moved)):
        write_profile_file(dataclasses.replace(profile, route=route), invented_landmarks(), folder / f"{name}.gpkg")
    return [(name, folder / f"{name}.gpkg") for name in ("here", "there")]


def test_geopackage_read_by_another_library(lines: list[tuple[str, Path]], tmp_path: Path):
    """Outside: GDAL finds every row of both lines, through the index of places too; figures are the profile's own."""
    path = write_network(lines, tmp_path / "n.gpkg", failures=FAILED, name="Two", stations=True)
    assert dict(pyogrio.list_layers(path)) == {
        **dict.fromkeys(("lines", "grade_runs"), "MultiLineString"),
        **dict.fromkeys(("landmarks", "pvis", "stations"), "Point"),
        **dict.fromkeys(("failures", "about"), None),
    }
    profile, marks = read_profile(lines[0][1]), read_landmarks(lines[0][1])
    stations = geopandas.read_file(path, layer="stations", where="line = 'here'")
    np.testing.assert_array_equal(stations["elevation_m"], profile.elevation)
    np.testing.assert_array_equal(stations.geometry.x, profile.route.longitude)
    runs = geopandas.read_file(path, layer="grade_runs", where="line = 'here'")
    np.testing.assert_allclose(runs["grade_pct"], [100 * run.grade for run in marks.grade_runs])
    every = geopandas.read_file(path, layer="lines")
    box = tuple(every.geometry[0].bounds)
    assert geopandas.read_file(path, layer="lines", bbox=box)["line"].tolist() == ["here"]
    ruling = [m for m in marks.of_kind("ruling_grade") if m.direction == "with"]
    assert every["ruling_grade_with_pct"][0] == max(ruling, key=lambda m: m.train_length or 0).value
    assert geopandas.read_file(path, layer="failures").values.tolist() == [list(FAILED[0])]


def test_across_the_meridian(lines: list[tuple[str, Path]], tmp_path: Path):
    """Law (RFC 7946, 3.1.9): lines are cut where they cross it, and no longitude leaves −180 to 180."""
    path = write_network(lines, tmp_path / "n.gpkg", stations=True)
    for layer in ("lines", "grade_runs", "landmarks", "stations"):
        west, _, east, _ = geopandas.read_file(path, layer=layer).total_bounds
        assert west >= -180
        assert east <= 180
    assert len(geopandas.read_file(path, layer="lines").geometry[1].geoms) == 2


def test_index_and_file_are_sound(lines: list[tuple[str, Path]], tmp_path: Path):
    """Outside: SQLite finds both the file and its indexes sound; each index has a box a row."""
    path = write_network(lines, tmp_path / "n.gpkg")
    database = sqlite3.connect(path)
    assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    for layer in ("lines", "grade_runs", "landmarks", "pvis"):
        assert database.execute(f"SELECT rtreecheck('rtree_{layer}_geom')").fetchone() == ("ok",)
        rows = database.execute(f'SELECT (SELECT count(*) FROM "{layer}"), count(*) FROM "rtree_{layer}_geom"')
        assert len(set(rows.fetchone())) == 1


def test_a_group_of_rows_a_line(lines: list[tuple[str, Path]], tmp_path: Path):
    """Law: GeoParquet holds what the GeoPackage holds; a row group a line, the last for failures."""
    one = write_network(lines, tmp_path / "n.gpkg", failures=FAILED)
    other = write_network(lines, tmp_path / "n.parquet", failures=FAILED)
    assert pyarrow.parquet.ParquetFile(other).num_row_groups == len(lines) + 1
    table = geopandas.read_parquet(other)
    assert table["layer"].value_counts().to_dict() == {
        layer: len(pyogrio.read_dataframe(one, layer=layer, read_geometry=False))
        for layer in table["layer"].unique()
        if layer in pyogrio.list_layers(one)[:, 0]
    }
    marks = table[table["layer"] == "landmarks"]
    same = geopandas.read_file(one, layer="landmarks")
    assert marks["value"].tolist() == same["value"].tolist()
    assert marks.geometry.to_wkb().tolist() == same.geometry.to_wkb().tolist()


@pytest.mark.parametrize("name", ["n.gpkg", "n.parquet"])
def test_same_bytes(lines: list[tuple[str, Path]], tmp_path: Path, name: str):
    """Law: the same lines give the same bytes."""
    first = write_network(lines, tmp_path / "a" / name, failures=FAILED, stations=True).read_bytes()
    assert write_network(lines, tmp_path / "b" / name, failures=FAILED, stations=True).read_bytes() == first


@pytest.mark.parametrize("name", ["n.gpkg", "n.parquet"])
def test_a_damaged_line_is_named(lines: list[tuple[str, Path]], tmp_path: Path, name: str):
    """Law: the sentence names the line's file, and the network that stood there stays."""
    path = write_network(lines, tmp_path / name)
    whole = path.read_bytes()
    cut = tmp_path / "cut.gpkg"
    cut.write_bytes(lines[0][1].read_bytes()[:40_000])
    with pytest.raises(InputError, match=r"cut\.gpkg: is cut short or damaged"):
        write_network([*lines, ("cut", cut)], path)
    with pytest.raises(InputError, match="there is no such file"):
        write_network([("gone", tmp_path / "gone.gpkg")], path)
    assert path.read_bytes() == whole
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(["cut.gpkg", name])


@pytest.mark.parametrize("name", ["n.gpkg", "n.parquet"])
def test_nowhere_to_write(lines: list[tuple[str, Path]], tmp_path: Path, name: str):
    """Law: a place that cannot be written ends in a sentence."""
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="is in the way"):
        write_network(lines, tmp_path / "file" / name)
