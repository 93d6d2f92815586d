"""The Data Package: what its descriptor says is what stands in the tables."""

from __future__ import annotations

import csv
import dataclasses
import json
from pathlib import Path

import frictionless
import numpy as np
import pandas as pd
import pytest

from profiler.files import sha256
from profiler.landmark import Landmarks
from profiler.write import briefing_columns, profile_columns
from profiler.write.briefing import briefing_tables
from profiler.write.columns import COLUMNS, OWN, TABLES, UNITS, meaning
from profiler.write.exports import export
from profiler.write.layers import NAMES
from profiler.write.outputs import DATA_PACKAGE_FILES
from profiler.write.tables import write_tables
from tests.briefed import felt_briefed
from tests.exported import HOSTILE, hostile, plain
from tests.invented import invented_landmarks


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("csv") / "line-csv"
    export(plain(), invented_landmarks(), "csv", path)
    return path


def package(folder: Path) -> dict:
    return json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))


def test_valid(folder: Path):
    """Outside: frictionless finds nothing wrong: hashes, sizes, every cell by its type."""
    report = frictionless.validate(folder / "datapackage.json")
    assert report.flatten(["rowNumber", "fieldName", "type", "note"]) == []
    assert report.stats["tasks"] == len(package(folder)["resources"]) == 14


def test_valid_beside_the_tables_of_a_profile(tmp_path: Path):
    """Outside: the same for the folder of gradewright profile."""
    write_tables(plain(), invented_landmarks(), tmp_path)
    assert frictionless.validate(tmp_path / "datapackage.json").valid


def test_nothing_along_the_line(tmp_path: Path):
    """Outside: tables without rows are tables all the same."""
    bare = dict.fromkeys(("curves", "corners", "structures", "stations", "limits", "slow_orders"), ())
    profile = dataclasses.replace(plain(500.0), known=())
    profile = dataclasses.replace(profile, route=dataclasses.replace(profile.route, **bare))
    export(profile, Landmarks((), (), ()), "csv", tmp_path / "bare")
    assert frictionless.validate(tmp_path / "bare/datapackage.json").valid


def test_a_changed_table_is_found(folder: Path, tmp_path: Path):
    """Outside: frictionless sees that a table is not the one that was described."""
    for path in folder.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    text = (tmp_path / "grades.csv").read_text()
    (tmp_path / "grades.csv").write_text(text.replace("0.2500", "0.3500", 1))
    errors = frictionless.validate(tmp_path / "datapackage.json").flatten(["type"])
    assert ["hash-count"] in errors


def test_every_column_is_told(folder: Path):
    """Law: names as in the header and in its order; whoever ends in a unit states it; files are on the list."""
    assert {p.name for p in folder.iterdir()} <= set(DATA_PACKAGE_FILES)
    for resource in package(folder)["resources"]:
        header = next(csv.reader((folder / resource["path"]).open(encoding="utf-8")))
        fields = resource["schema"]["fields"]
        assert [field["name"] for field in fields] == header
        assert all(field["description"] for field in fields)
        for field in fields:
            ending = "_" + field["name"].rsplit("_", 1)[-1]
            assert field.get("unit") == UNITS[ending] if ending in UNITS else True
        assert resource["hash"] == f"sha256:{sha256(folder / resource['path'])}"


def test_nothing_is_described_that_is_nowhere(folder: Path):
    """Law: the dictionary of columns holds no column that no table has, of a profile or of a briefing."""
    found = {(r["name"], field["name"]) for r in package(folder)["resources"] for field in r["schema"]["fields"]}
    for name, direction in (("a", "with"), ("b", "against")):
        found |= {
            (t, column) for t, columns in briefing_tables(felt_briefed(name, direction)).items() for column in columns
        }
    layers = {("line", name) for name in ("name", "start", "end", "length_m", "source")}
    layers |= {("grades", "grade_class"), ("grades", "colour")}
    assert set(COLUMNS) <= {name for _, name in found | layers}
    assert set(OWN) <= found | layers
    assert set(TABLES) == {name for name, _ in found} | {"line"}
    assert set(NAMES) <= set(TABLES)


def test_a_name_has_one_meaning():
    """Law: what a profile's tables say of a name, and a briefing's do not: neither overrides the other."""
    for name in ("TABLES", "COLUMNS", "OWN"):
        assert not set(getattr(profile_columns, name)) & set(getattr(briefing_columns, name))


def test_what_is_said(folder: Path):
    """Law: datum, reference system, units, caution, assumptions, and that the line is invented."""
    said = package(folder)
    assert said["vertical_datum"] == "EGM2008"
    assert "EPSG:4326" in said["coordinate_reference_system"]
    assert said["invented"] is True
    assert said["assumptions"] == ["ground above EGM2008"]
    for words in ("Invented line", "Heights above EGM2008", "planning aid"):
        assert words in said["description"]


def test_stations_read_back(folder: Path):
    """Law: to the decimals printed."""
    profile, table = plain(), pd.read_csv(folder / "profile.csv")
    np.testing.assert_allclose(table.elevation_m, profile.elevation, atol=0.0051)
    np.testing.assert_allclose(table.grade_pct, profile.grade * 100, atol=5.1e-5)
    np.testing.assert_allclose(table.longitude, profile.route.longitude, atol=5.1e-8)


def test_what_stands_along_the_route(folder: Path):
    """Worked: the line's tunnel at 20,500 m, its slow order of 15 mph = 24.1 km/h, its places."""
    structures, limits, places = (pd.read_csv(folder / f"{n}.csv") for n in ("structures", "limits", "places"))
    assert structures.iloc[0].tolist()[:4] == ["tunnel", "Ombersley Tunnel", 20500.0, 22600.0]
    slow = limits[limits.kind == "slow_order"].iloc[0]
    assert (slow.speed_kmh, slow.reason) == (24.1, "Culvert")
    assert places.name.tolist() == ["Farrow", "Ombersley Gap", "Thistle Quay"]


def test_hostile_names(tmp_path: Path):
    """Law: the package's own name is letters and hyphens; texts come back as they are, formulas with an apostrophe."""
    export(*hostile(), "csv", tmp_path / "o")
    assert package(tmp_path / "o")["name"] == "script-2-2"
    rows = list(csv.DictReader((tmp_path / "o/structures.csv").open(encoding="utf-8", newline="")))
    assert rows[0]["name"] == HOSTILE
    assert frictionless.validate(tmp_path / "o/datapackage.json").valid


def test_same_bytes(folder: Path, tmp_path: Path):
    """Law: written again, the same bytes."""
    export(plain(), invented_landmarks(), "csv", tmp_path / "again")
    for path in folder.iterdir():
        assert (tmp_path / "again" / path.name).read_bytes() == path.read_bytes()


def test_units_by_the_end_of_a_name():
    """Worked: grade_pct is in %, speed_kmh in km/h, probability has none."""
    units = [meaning("landmarks", name).unit for name in ("grade_pct", "speed_kmh", "probability", "longitude")]
    assert units == ["%", "km/h", "", "degree"]
