"""Open data behind a bucket of this machine: what is fetched along the line gives the profile of whole tiles.

Lines: SNCF Réseau open data (ODbL); ground: SRTM (public domain).
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
import rasterio

from pipelines.elevation import fetch
from pipelines.fetching import catalogues
from profiler import Territory
from profiler.build import open_ground, sample_ground
from profiler.drawn_line import draw_line
from tests.open_data import OPEN_DATA, maurienne, needs_open_data, puymorens
from tests.pipelines.range_server import Server

pytestmark = needs_open_data


def as_cog(tile: Path, folder: Path) -> bytes:
    """A tile of the open data as a cloud-optimised GeoTIFF."""
    path = folder / "cog.tif"
    with rasterio.open(tile) as source:
        profile = {"driver": "COG", "compress": "deflate", "blocksize": 256, "overviews": "none"}
        size = {"height": source.height, "width": source.width, "count": 1, "dtype": source.dtypes[0]}
        with rasterio.open(
            path, "w", crs=source.crs, transform=source.transform, nodata=source.nodata, **size, **profile
        ) as out:
            out.write(source.read())
    return path.read_bytes()


@pytest.mark.parametrize(
    ("territory", "tile", "name"),
    [
        (puymorens(), "fr-puymorens/N42E001.hgt", "Copernicus_DSM_COG_10_N42_00_E001_00_DEM"),
        (maurienne(), "fr-maurienne/N45E006.hgt", "Copernicus_DSM_COG_10_N45_00_E006_00_DEM"),
    ],
    ids=["puymorens", "maurienne"],
)
def test_the_same_ground(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, territory: Territory, tile: str, name: str
):
    """Law: ground at every station, and left and right of it, is that of the whole tile to the last bit, for part of
    its bytes; what the bucket does not have is told."""
    table = catalogues.catalogues()
    here = dataclasses.replace(
        table["copernicus-glo-30"], address=server.address + "/{name}.tif", vertical_datum="EGM96"
    )
    monkeypatch.setattr(catalogues, "catalogues", lambda: table | {here.key: here})
    server.files[f"/{name}.tif"] = as_cog(Path(OPEN_DATA, tile), tmp_path)
    fast = territory.model_copy(update={"settings": territory.settings.model_copy(update={"fast_curves": True})})
    got = fetch(fast, "copernicus-glo-30", tmp_path / "cache")
    assert {one.state for one in got.tiles} <= {"fetched", "absent"}
    drawn = draw_line(fast)
    assert fast.elevation is not None
    fetched = fast.model_copy(
        update={"elevation": fast.elevation.model_copy(update={"rasters": [str(path) for path in got.rasters]})}
    )
    whole, part = (sample_ground(one, open_ground(one), drawn, shoulders=True) for one in (fast, fetched))
    np.testing.assert_array_equal(part.values, whole.values)
    np.testing.assert_array_equal(part.shoulders, whole.shoulders)
    share = server.sent / len(server.files[f"/{name}.tif"])
    print(f"{name}: {share:.0%} of {len(server.files[f'/{name}.tif']):,} bytes")
    assert share < 0.8
