"""Time of the tables and the GeoPackage beside the library's plain writer (pytest --benchmark-enable)."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from profiler.read.profile import read_profile
from profiler.write.geopackage import write_geopackage
from profiler.write.tables import write_tables
from tests.invented import invented_landmarks, invented_profile

PROFILE, LANDMARKS = invented_profile(step=1.0), invented_landmarks()


def test_tables(benchmark, tmp_path: Path):
    """Law: one row a station, 50,001 of them."""
    benchmark(write_tables, PROFILE, LANDMARKS, tmp_path)
    assert (tmp_path / "profile.csv").read_bytes().count(b"\n") == 50_002


def test_pandas_on_the_same_rows(benchmark, tmp_path: Path):
    """Outside: the yardstick: pandas writes the finished rows, without the work of making them."""
    write_tables(PROFILE, LANDMARKS, tmp_path)
    rows = pd.read_csv(tmp_path / "profile.csv")
    benchmark(rows.to_csv, tmp_path / "plain.csv", index=False)
    assert (tmp_path / "plain.csv").read_bytes().count(b"\n") == 50_002


def test_geopackage_there_and_back(benchmark, tmp_path: Path):
    """Law: what is written can be read."""
    benchmark(write_geopackage, PROFILE, LANDMARKS, tmp_path / "profile.gpkg")
    assert read_profile(tmp_path).elevation[-1] == pytest.approx(PROFILE.elevation[-1])
