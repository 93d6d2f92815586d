"""Provenance: what was read, with what, and nothing of the machine."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from profiler.errors import InputError
from profiler.write.provenance import InputFile, write_provenance
from tests.invented import invented_profile


def written(folder: Path, **changes: Any) -> dict[str, Any]:
    """A territory folder with a line, and a raster elsewhere; provenance as read back."""
    territory, elsewhere = folder / "territory", folder / "far" / "dem"
    territory.mkdir(exist_ok=True)
    elsewhere.mkdir(parents=True, exist_ok=True)
    (territory / "line.geojson").write_text("{}")
    (elsewhere / "ground.tif").write_bytes(b"abc")
    arguments = {
        "inputs": [
            InputFile(territory / "line.geojson", "centreline", crs="EPSG:4326"),
            InputFile(elsewhere / "ground.tif", "elevation", crs="EPSG:32630", vertical_datum="EGM2008"),
        ],
        "profile": invented_profile(step=1000.0),
        "settings": {"step_m": 10.0, "lengths": (1000.0, np.float64(2.0)), "path": elsewhere / "ground.tif"},
        "command": ["profile", str(territory / "route.toml"), "--dem", "dem/*.tif"],
        "base": territory,
        "seed": 7,
    }
    write_provenance(folder / "provenance.json", **{**arguments, **changes})
    return json.loads((folder / "provenance.json").read_text(encoding="utf-8"))


def test_inputs_with_hashes(tmp_path: Path):
    """Published: SHA-256 of "abc" begins ba7816bf (FIPS 180-4); of "{}" by hashlib."""
    line, raster = written(tmp_path)["inputs"]
    assert (line["path"], line["role"], line["bytes"], line["crs"]) == (
        "line.geojson",
        "centreline",
        2,
        "EPSG:4326",
    )
    assert line["sha256"] == hashlib.sha256(b"{}").hexdigest()
    assert "vertical_datum" not in line
    assert raster["sha256"].startswith("ba7816bf")
    assert raster["vertical_datum"] == "EGM2008"


def test_no_path_of_the_machine(tmp_path: Path):
    """Law: not a folder outside the territory is named, neither in inputs, settings nor command."""
    document = written(tmp_path)
    assert str(tmp_path) not in json.dumps(document)
    assert "far" not in json.dumps(document["inputs"] + [document["settings"], document["command"]])
    assert document["settings"]["path"] == "ground.tif"
    assert document["command"] == ["profile", "route.toml", "--dem", "dem/*.tif"]


def test_same_inputs_same_bytes(tmp_path: Path, monkeypatch):
    """Law: in another folder, at another time, the same bytes; the date only from SOURCE_DATE_EPOCH."""
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        assert written(tmp_path / name)["date"] is None
    one, two = ((tmp_path / name / "provenance.json").read_bytes() for name in ("one", "two"))
    assert one == two
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1000000000")
    assert written(tmp_path)["date"] == "2001-09-09T01:46:40+00:00"


def test_said_aloud(tmp_path: Path):
    """Law: assumptions of line and profile, the caution, the datum and the seed are all there."""
    profile = invented_profile(step=1000.0)
    route = dataclasses.replace(profile.route, assumptions=("no posts: chainage serves",))
    profile = dataclasses.replace(profile, route=route, assumptions=("vertical unit taken as metres",))
    document = written(tmp_path, profile=profile)
    assert document["assumptions"] == ["no posts: chainage serves", "vertical unit taken as metres"]
    assert document["vertical_datum"] == "EGM2008"
    assert document["draws"] == {"count": 100, "seed": 7}
    assert any("planning aid" in text for text in document["cautions"])
    assert any("Invented" in text for text in document["cautions"])
    assert document["curve_compensation"].startswith("0.04 % of grade per degree of curve (0.8 lb per short ton")
    real = written(tmp_path, profile=dataclasses.replace(profile, invented=False))
    assert not any("Invented" in text for text in real["cautions"])


def test_versions_name_both_gdals(tmp_path: Path):
    """Outside: the libraries' own version strings."""
    import pyogrio
    import rasterio

    versions = written(tmp_path)["versions"]
    assert versions["numpy"] == np.__version__
    assert versions["gdal (rasters)"] == rasterio.__gdal_version__
    assert versions["gdal (vectors)"] == ".".join(map(str, pyogrio.__gdal_version__))


def test_input_gone(tmp_path: Path):
    """Law: an input that vanished is named."""
    with pytest.raises(InputError, match=r"gone\.tif: cannot be read"):
        written(tmp_path, inputs=[InputFile(tmp_path / "gone.tif", "elevation")])
