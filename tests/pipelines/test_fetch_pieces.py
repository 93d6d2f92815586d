"""Cloud-optimised files in pieces: the cells are those of the whole file, and the rest is not asked for."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio

from pipelines.elevation import fetch_planned
from pipelines.fetching import cut
from pipelines.fetching.cache import Cache
from pipelines.fetching.plan import Options, Plan
from pipelines.fetching.ranged import RangedFile
from pipelines.fetching.run import Fetching, Tile
from pipelines.fetching.tiles import Box, Corridor, corridor_of
from profiler import CoverageError, InputError
from tests.pipelines.fetching_help import SOUTH, WEST, cog, corridor, hills, plan_of, tiff, wanted, web
from tests.pipelines.range_server import Fault, Server

PATH = "/S39W032.tif"
FAR = rasterio.Affine(1e6, 0, 1e9, 0, -1e6, 1e9)
TAG = f'"{hashlib.sha256(cog()).hexdigest()[:12]}"'
LATER = {"ETag": TAG, "Content-Range": f"bytes 65536-65600/{len(cog())}"}


def fetched(
    server: Server, tmp_path: Path, body: bytes | None = None, *, whole: bool = False, read: float = 20.0, **more: Any
) -> Tile:
    """The square degree from the server, into an empty cache."""
    server.files[PATH] = cog() if body is None else body
    tile = wanted(server.address + PATH, **more)
    return Fetching(plan_of(tile), Cache(tmp_path), Options(whole=whole), web(read=read), lambda _: None).tile(tile)


def sparse(side: int, block: int) -> bytes:
    """A file of some bytes that declares any number of cells, in blocks of any size."""
    size = {"height": side, "width": side, "count": 1, "dtype": "float32", "blockxsize": block, "blockysize": block}
    where = {"crs": "EPSG:4326", "transform": rasterio.Affine(1 / side, 0, WEST, 0, -1 / side, SOUTH + 1)}
    with rasterio.MemoryFile() as file:
        with file.open(driver="GTiff", tiled=True, sparse_ok=True, compress="deflate", **size, **where):
            pass
        return bytes(file.getbuffer())


def cells_under(along: Corridor) -> np.ndarray:
    """Which cells (600, 600) of the square degree have their centre in a corridor."""
    rows, columns = np.mgrid[:600, :600]
    latitude, longitude = SOUTH + 1 - (rows + 0.5) / 600, WEST + (columns + 0.5) / 600
    places = np.floor(np.stack([latitude, longitude], axis=-1) * 100).astype(int)
    inside = {tuple(cell) for cell in along.cells.tolist()}
    return np.array([[tuple(cell) in inside for cell in row] for row in places.tolist()])


def test_the_same_cells_for_less(server: Server, tmp_path: Path):
    """Law: what is there is as in the whole file, everything under the corridor is there, on the same grid, for about
    the share of blocks that it touches."""
    tile = fetched(server, tmp_path)
    with rasterio.open(tile.place) as part:
        cells = part.read(1, masked=True)
        assert (part.driver, part.dtypes[0], part.profile["compress"], part.profile["tiled"]) == (
            "GTiff", "float32", "deflate", True,
        )  # fmt: skip
        assert (part.transform.c, part.transform.f) == (WEST, SOUTH + 1)
        assert part.shape == hills().shape
        assert part.tags()["SOURCE"] == server.address + PATH
        assert part.tags()["ATTRIBUTION"] == "Sedge"
    there = ~np.ma.getmaskarray(cells)
    np.testing.assert_array_equal(cells.data[there], hills()[there])
    assert there[cells_under(corridor())].all()
    assert 0.1 < there.mean() < 0.5
    assert tile.record.bytes_read == server.sent < 0.7 * len(cog())
    assert tile.record.source_size == len(cog())
    assert all(one.range for one in server.asked)


@pytest.mark.parametrize(
    "faults",
    [
        [Fault(breaks_at=20_000)],
        [Fault(), Fault(breaks_at=20_000), Fault(status=503), Fault(breaks_at=0)],
        [Fault(), Fault(wait=60.0)],
    ],
    ids=["first", "later", "slow"],
)
def test_over_a_bad_line(server: Server, tmp_path: Path, faults: list[Fault]):
    """Law: pieces that break off are asked for again from there; the raster is the same, bit for bit."""
    whole = fetched(server, tmp_path / "a").place.read_bytes()
    server.faults[PATH] = list(faults)
    silent = any(fault.wait for fault in faults)
    assert fetched(server, tmp_path / "b", read=1.0 if silent else 20.0).place.read_bytes() == whole


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (Fault(etag='"other"'), "changed on the server while it was read; start again"),
        (Fault(part=5), "sends another part than asked for; use --whole"),
        (Fault(breaks_at=0), "breaks off again and again while it is read; start again, or use --whole"),
        (Fault(status=500), "the server answers 500"),
        (Fault(body=b"x" * 5000), "changed on the server while it was read"),
    ],
)
def test_pieces_that_do_not_fit(server: Server, tmp_path: Path, fault: Fault, words: str):
    """Law: pieces of two versions, or of elsewhere, make no raster; nothing is kept."""
    server.faults[PATH] = [Fault()]
    server.always[PATH] = fault
    with pytest.raises(InputError, match=words):
        fetched(server, tmp_path)
    assert not [*tmp_path.rglob("*.tif"), *tmp_path.rglob("*.json")]


@pytest.mark.parametrize("more", [{}, {"driver": "GTiff"}], ids=["cloud-optimised", "in strips"])
def test_without_ranges_the_whole_file(server: Server, tmp_path: Path, more: dict[str, Any]):
    """Published: RFC 9110, 14.2: a server may ignore Range and answer 200. Then all of it comes, and it is said."""
    server.always[PATH] = Fault(ranges=False)
    body = tiff(**more)
    tile = fetched(server, tmp_path, body)
    assert tile.place.read_bytes() == body
    assert tile.said == ("the server gives whole files only",)


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "breaks off again and again while it is read"),
        (bytes(5_000_000), "sends another part than asked for; use --whole"),
    ],
    ids=["nothing", "more"],
)
def test_a_body_that_is_not_the_part_it_says(server: Server, body: bytes, words: str):
    """Law: neither is an empty part asked for again for ever, nor is one read on that does not end."""
    server.files[PATH] = cog()
    file = RangedFile(web(), server.address + PATH, lambda _: None)
    server.always[PATH] = Fault(status=206, body=body, headers=LATER, chunked=True)
    assert file.read(1 << 16, 100) == b""
    assert re.search(words, str(file.error))
    assert file.came < 200_000
    assert len(server.asked) < 10


@pytest.mark.parametrize(
    "fault",
    [
        Fault(ranges=False),
        Fault(status=206, body=cog()[: 1 << 16], headers={"Content-Range": "bytes 0-65535/*"}),
        Fault(status=206, body=b"--x", headers={"Content-Type": "multipart/byteranges; boundary=x"}),
        Fault(status=206, body=b"x", headers={"Content-Encoding": "gzip", "Content-Range": "bytes 0-0/9"}),
    ],
    ids=["200", "no total", "multipart", "packed"],
)
@pytest.mark.parametrize("later", [False, True], ids=["first", "later"])
def test_parts_that_are_none(server: Server, tmp_path: Path, fault: Fault, later: bool):
    """Published: RFC 9110, 14.4, 14.6 and 8.4: a part may leave the size open, be several, or one of a packed file.
    None of these can be used; all of it comes instead, whenever that shows."""
    server.faults[PATH] = [*([Fault()] if later else []), fault]
    tile = fetched(server, tmp_path)
    assert tile.place.read_bytes() == cog()
    assert tile.said == ("the server gives whole files only",)


def test_whole_if_asked(server: Server, tmp_path: Path):
    """Law: --whole keeps the file as published, and later a part of it is not fetched."""
    tile = fetched(server, tmp_path, whole=True)
    assert tile.place.read_bytes() == cog()
    assert fetched(server, tmp_path).state == "cached"
    assert len(server.asked) == 1


@pytest.mark.parametrize("whole", [False, True], ids=["pieces", "whole"])
@pytest.mark.parametrize(
    ("body", "words"),
    [
        (lambda: tiff(west=WEST + 1), r"lies within longitude -31\.00 to -30\.00, .* not what its name says"),
        (lambda: tiff(north=SOUTH), "not what its name says"),
        (lambda: tiff(hills()[:300, :300], crs="EPSG:32725"), "not what its name says"),
        (lambda: tiff(np.stack([hills()] * 3).astype("uint8")), "has 3 bands, elevations have one"),
        (lambda: tiff(hills() + 40_000), "which are no elevations"),
        (lambda: sparse(200_000, 256), "declares more cells, or larger blocks, than any tile has"),
        (lambda: sparse(8192, 8192), "declares more cells, or larger blocks, than any tile has"),
        (lambda: cog()[:60_000], "is damaged"),
        (lambda: b"<html><title>Sign in</title>" + b" " * 5000, "is a web page|is damaged, or no raster"),
        (lambda: b"no raster" * 20_000, "is damaged, or no raster at all"),
        (lambda: tiff(driver="GTiff", crs=None), "does not say where it lies"),
        (lambda: tiff(driver="GTiff", crs='LOCAL_CS["x",UNIT["metre",1]]'), "lies nowhere on the globe"),
        (lambda: tiff(driver="GTiff", crs="EPSG:32725", transform=FAR), "lies nowhere on the globe"),
        (lambda: b"", "is damaged, or no raster at all"),
    ],
    ids=[
        "east",
        "south",
        "other plane",
        "bands",
        "heights",
        "cells",
        "blocks",
        "cut",
        "page",
        "text",
        "nowhere",
        "local",
        "far",
        "empty",
    ],
)
def test_not_what_its_name_says(server: Server, tmp_path: Path, body: Any, words: str, whole: bool):
    """Law: a file that is no raster, or another one, is refused in a sentence and not kept."""
    with pytest.raises(InputError, match=words) as caught:
        fetched(server, tmp_path, body(), whole=whole)
    assert server.address in str(caught.value)
    assert not [*tmp_path.rglob("*.tif"), *tmp_path.rglob("*.json"), *tmp_path.rglob("*.part")]


def test_a_code_that_nobody_knows(server: Server, tmp_path: Path):
    """Law: a reference system by a code that the EPSG list does not have is another one, in a sentence."""
    with pytest.raises(InputError, match=r"not in the reference system that its catalogue says \(EPSG:1025\)"):
        fetched(server, tmp_path, epsg=1025)


def test_beside_the_corridor():
    """Law: a raster that a box holds and the line does not reach is not told as void."""
    assert cut.Values(0, 0).words() == ("nothing of it lies along the line",)
    assert cut.Values(9, 0).words() == ("all of it void, no cell holds an elevation",)
    assert cut.Values(9, 1).words() == ()


@pytest.mark.parametrize("whole", [False, True], ids=["pieces", "whole"])
def test_voids(server: Server, tmp_path: Path, whole: bool):
    """Law: a raster without any elevation is kept, and it is said; voids stay voids."""
    values = np.full_like(hills(), -9999)
    tile = fetched(server, tmp_path / "a", tiff(values, nodata=-9999), whole=whole)
    assert "all of it void, no cell holds an elevation" in tile.said
    values[:200] = hills()[:200]
    tile = fetched(server, tmp_path / "b", tiff(values, nodata=-9999), whole=whole)
    assert not tile.said
    with rasterio.open(tile.place) as part:
        assert np.ma.getmaskarray(part.read(1, masked=True))[200:].all()


def test_a_plane_grid_and_the_meridian(tmp_path: Path):
    """Law: blocks are found on a UTM grid, and on a raster whose longitudes go on beyond 180."""
    path = tmp_path / "utm.tif"
    path.write_bytes(tiff(driver="GTiff", crs="EPSG:32725", transform=rasterio.Affine(100, 0, 400e3, 0, -100, 5.8e6),
                          tiled=True, blockxsize=64, blockysize=64))  # fmt: skip
    with cut.opened(path) as dataset:
        box = cut.extent(dataset)
        middle = corridor_of([(box.west + box.east) / 2], [(box.south + box.north) / 2], 500)
        found = cut.blocks_under(dataset, middle)
        assert (4, 4) in found
        assert len(found) <= 9
        assert cut.blocks_under(dataset, corridor_of([box.west - 1], [box.south], 500)) == []
    path.write_bytes(tiff(west=179.5, tiled=True, driver="GTiff", blockxsize=64, blockysize=64))
    with cut.opened(path) as dataset:
        cut.check(dataset, wanted("x", box=Box(179.5, SOUTH, 180.5, SOUTH + 1)), "x")
        cut.check(dataset, wanted("x", box=Box(-180.5, SOUTH, -179.5, SOUTH + 1)), "x")
        beyond = cut.blocks_under(dataset, corridor_of([-179.6], [SOUTH + 0.5], 500))
        assert (4, 8) in beyond


def test_several_tiles_and_what_is_not_there(server: Server, tmp_path: Path):
    """Law: what is there is fetched, what is not is told, one pattern names the rasters; nothing at all is refused."""
    server.files[PATH] = cog()
    here, sea = wanted(server.address + PATH), wanted(f"{server.address}/none.tif", name="S39W033")
    got = fetch_planned(plan_of(here, sea), Cache(tmp_path), Options(), web())
    assert [tile.state for tile in got.tiles] == ["fetched", "absent"]
    assert [path.name for path in got.rasters] == ["S39W032.tif"]
    assert sorted(got.pattern.parent.glob(got.pattern.name)) == list(got.rasters)
    with pytest.raises(CoverageError, match="Sedge: has no tile along the line; take another catalogue"):
        fetch_planned(plan_of(sea), Cache(tmp_path), Options(), web())


def test_one_that_fails_among_many(server: Server, tmp_path: Path):
    """Law: the first failure is told, and what came beside it is not fetched again."""
    tiles = []
    for i in range(6):
        server.files[f"/{i}.tif"] = cog()
        tiles.append(wanted(f"{server.address}/{i}.tif", name=f"tile{i}"))
    server.always["/5.tif"] = Fault(status=403)
    plan: Plan = plan_of(*tiles)
    with pytest.raises(InputError, match=r"/5\.tif: the server answers 403"):
        fetch_planned(plan, Cache(tmp_path), Options(), web())
    server.always.clear()
    server.asked.clear()
    got = fetch_planned(plan, Cache(tmp_path), Options(), web())
    assert len(got.rasters) == 6
    assert {one.path for one in server.asked} == {"/5.tif"}
