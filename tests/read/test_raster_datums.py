"""Tiles of one entry stand above one vertical datum."""

from __future__ import annotations

from pathlib import Path

import pytest

from profiler.errors import InputError
from profiler.read.rasters import open_sources
from tests.country import CELL, COLUMNS, PLANE, WEST, write_ground

AWAY = WEST + COLUMNS * CELL


def tiles(folder: Path, first: str, second: str) -> Path:
    """Two tiles beside each other that declare these reference systems."""
    write_ground(folder / "one.tif", crs=first)
    write_ground(folder / "two.tif", crs=second, west=AWAY)
    return folder


def test_tiles_above_two_datums(tmp_path: Path):
    """Law: refused by the names of two files; each in its own entry they are two sources (EPSG 5773, 3855)."""
    folder = tiles(tmp_path, f"{PLANE}+5773", f"{PLANE}+3855")
    with pytest.raises(InputError) as caught:
        open_sources(["*.tif"], folder)
    assert str(caught.value) == (
        "*.tif: one.tif stands above EGM96 height, two.tif above EGM2008 height; name them in separate entries"
    )
    sources = open_sources(["one.tif", "two.tif"], folder)
    assert [source.vertical_datum for source in sources] == ["EGM96 height", "EGM2008 height"]


def test_tiles_of_one_datum_in_two_units(tmp_path: Path):
    """Law: NAVD88 in metres and in US survey feet (EPSG 5703, 6360) is one datum."""
    folder = tiles(tmp_path, f"{PLANE}+5703", f"{PLANE}+6360")
    (source,) = open_sources(["*.tif"], folder, vertical_unit="m")
    assert source.vertical_datum == "NAVD88 height"


def test_a_tile_that_does_not_say(tmp_path: Path):
    """Law: where one tile is silent, so is the source."""
    folder = tiles(tmp_path, f"{PLANE}+5773", PLANE)
    (source,) = open_sources(["*.tif"], folder)
    assert source.vertical_datum == "unknown"
