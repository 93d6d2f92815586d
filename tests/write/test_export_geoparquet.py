"""GeoParquet: read back by geopandas, described in its metadata."""

from __future__ import annotations

import dataclasses
import json
import sys
from pathlib import Path

import geopandas
import numpy as np
import pytest

from profiler.errors import InputError
from profiler.write.exports import export
from tests.exported import HOSTILE, crossing, hostile, plain
from tests.invented import invented_landmarks

parquet = pytest.importorskip("pyarrow.parquet", reason="the extra parquet is not installed")


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("parquet") / "line.parquet"
    export(plain(), invented_landmarks(), "geoparquet", path)
    return path


def test_stations_read_back(written: Path):
    """Outside: geopandas reads every station where it lies, to the decimals of the tables."""
    profile, table = plain(), geopandas.read_parquet(written)
    assert table.crs.to_string() == "OGC:CRS84"
    np.testing.assert_allclose(table.geometry.x, profile.route.longitude, atol=5.1e-8)
    np.testing.assert_allclose(table.geometry.y, profile.route.latitude, atol=5.1e-8)
    np.testing.assert_allclose(table.elevation_m, profile.elevation, atol=0.0051)
    assert table.set_index("chainage_m").loc[21000.0, "structure"] == "tunnel"


def test_metadata(written: Path):
    """Published: GeoParquet 1.1.0, file and column metadata: version, primary column, encoding, types, bbox."""
    schema = parquet.read_schema(written)
    geo = json.loads(schema.metadata[b"geo"])
    assert (geo["version"], geo["primary_column"]) == ("1.1.0", "geometry")
    column = geo["columns"]["geometry"]
    assert (column["encoding"], column["geometry_types"]) == ("WKB", ["Point"])
    assert column["crs"]["id"] == {"authority": "OGC", "code": "CRS84"}
    box = geopandas.read_parquet(written).total_bounds
    np.testing.assert_allclose(column["bbox"], box, atol=1e-12)
    stored = parquet.ParquetFile(written).schema.column(schema.get_field_index("geometry"))
    assert stored.physical_type == "BYTE_ARRAY"


def test_what_is_said(written: Path):
    """Law: units on the columns; datum, caution and invention in the file."""
    schema = parquet.read_schema(written)
    said = json.loads(schema.metadata[b"gradewright"])
    assert (said["vertical_datum"], said["invented"]) == ("EGM2008", True)
    assert "planning aid" in said["caution"]
    assert schema.field("elevation_m").metadata[b"unit"] == b"m"


def test_nothing_counted_is_null(tmp_path: Path):
    """Law: an empty figure is null, never 0 or NaN."""
    profile = plain(500.0)
    ground = profile.ground.copy()
    ground[:3] = np.nan
    export(dataclasses.replace(profile, ground=ground), invented_landmarks(), "geoparquet", tmp_path / "a.parquet")
    assert parquet.read_table(tmp_path / "a.parquet")["ground_m"].null_count == 3


def test_across_the_meridian(tmp_path: Path):
    """Law: longitudes within ±180."""
    export(crossing(), invented_landmarks(), "geoparquet", tmp_path / "a.parquet")
    assert geopandas.read_parquet(tmp_path / "a.parquet").geometry.x.abs().max() <= 180


def test_hostile_names_and_same_bytes(tmp_path: Path):
    """Law: names come back as they were; written twice, the same bytes."""
    for name in ("a.parquet", "b.parquet"):
        export(*hostile(), "geoparquet", tmp_path / name)
    assert HOSTILE in set(geopandas.read_parquet(tmp_path / "a.parquet").ground_source)
    assert (tmp_path / "a.parquet").read_bytes() == (tmp_path / "b.parquet").read_bytes()


def test_without_pyarrow(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: one sentence says which extra to install, and nothing is left."""
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(InputError, match=r"pip install 'gradewright\[parquet\]'"):
        export(plain(500.0), invented_landmarks(), "geoparquet", tmp_path / "a.parquet")
    assert list(tmp_path.iterdir()) == []
