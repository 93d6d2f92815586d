"""The cache: trusted only where it agrees with its record, whole whoever dies, and nothing outside it is touched."""

from __future__ import annotations

import json
import multiprocessing
import os
import re
import resource
import signal
import threading
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio

from pipelines.elevation import Fetched, fetch_planned
from pipelines.fetching.cache import Cache, clean
from pipelines.fetching.catalogues import Wanted
from pipelines.fetching.plan import Options
from pipelines.fetching.run import Fetching, Tile
from profiler import InputError, OutputError
from tests.pipelines.fetching_help import cog, hgt, plan_of, wanted, web
from tests.pipelines.range_server import Fault, Server
from tests.waiting import until

PATH = "/S39W032.tif"


def fetched(tile: Wanted, cache: Path, *, whole: bool = False) -> Tile:
    return Fetching(plan_of(tile), Cache(cache), Options(whole=whole), web(), lambda _: None).tile(tile)


@pytest.fixture
def tile(server: Server) -> Wanted:
    server.files[PATH] = cog()
    return wanted(server.address + PATH)


def test_once_is_enough(server: Server, tile: Wanted, tmp_path: Path):
    """Law: the second time nothing is asked for, with no connection either; the record says what came from where."""
    first = fetched(tile, tmp_path)
    asked = len(server.asked)
    second = fetched(tile, tmp_path)
    assert (second.state, second.place) == ("cached", first.place)
    assert len(server.asked) == asked
    told = json.loads(first.place.with_suffix(".json").read_text())
    assert told["address"] == server.address + PATH
    assert told["catalogue"] == "sedge"
    assert told["size"] == first.place.stat().st_size
    assert told["source_size"] == len(cog())
    assert told["etag"].startswith('"')
    assert len(told["sha256"]) == 64


@pytest.mark.parametrize("harm", ["flipped", "cut", "gone", "no record", "no JSON", "foreign"])
def test_damage_is_fetched_again(tile: Wanted, tmp_path: Path, harm: str):
    """Law: a raster that is not what its record says is fetched again, and that is said; without a record it is new."""
    first = fetched(tile, tmp_path)
    good, record = first.place.read_bytes(), first.place.with_suffix(".json")
    if harm == "flipped":
        first.place.write_bytes(good[:5000] + bytes([good[5000] ^ 1]) + good[5001:])
    elif harm == "cut":
        first.place.write_bytes(good[:-10])
    elif harm == "gone":
        first.place.unlink()
    elif harm == "no record":
        record.unlink()
    else:
        record.write_text("{" if harm == "no JSON" else '{"me": 1}')
    again = fetched(tile, tmp_path)
    assert again.state == "fetched"
    assert again.place.read_bytes() == good
    assert ("damaged" in " ".join(again.said)) == (harm != "no record")
    assert fetched(tile, tmp_path).state == "cached"


def test_absent_is_remembered_for_want_of_a_connection(server: Server, tmp_path: Path):
    """Law: what the server did not have is asked for again; without a connection its word holds, and that is said."""
    sea = wanted(server.address + "/sea.tif")
    assert fetched(sea, tmp_path).state == "absent"
    server.always["/sea.tif"] = Fault(status=403)
    later = fetched(sea, tmp_path)
    assert (later.state, later.said) == ("absent", ("as the server said earlier, it is not reached now",))
    server.always.clear()
    server.files["/sea.tif"] = cog()
    assert fetched(sea, tmp_path).state == "fetched"


def test_two_threads_one_download(server: Server, tile: Wanted, tmp_path: Path):
    """Law: who comes second waits, and takes what came."""
    server.faults[PATH] = [Fault(wait=0.02)]
    found: list[Tile] = []
    threads = [threading.Thread(target=lambda: found.append(fetched(tile, tmp_path, whole=True))) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(one.state for one in found) == ["cached", "cached", "fetched"]
    assert len(server.asked) == 1


def _child(tile: Wanted, cache: Path, whole: bool, states: multiprocessing.Queue) -> None:  # type: ignore[type-arg]
    states.put(fetched(tile, cache, whole=whole).state)


@pytest.mark.parametrize("whole", [False, True], ids=["pieces", "whole"])
def test_two_processes_one_of_them_killed(server: Server, tile: Wanted, tmp_path: Path, whole: bool):
    """Law: one killed by the system in the middle leaves nothing that is taken for a raster; the other, waiting, goes
    on from there and what both would have fetched is whole."""
    good = fetched(tile, tmp_path / "good", whole=whole).place.read_bytes()
    server.asked.clear()
    server.sent = 0
    server.always[PATH] = Fault(piece=8_192, wait=0.03)
    context = multiprocessing.get_context("fork")
    states = context.Queue()
    first, second = (context.Process(target=_child, args=(tile, tmp_path / "c", whole, states)) for _ in range(2))
    first.start()
    until(lambda: server.sent > 20_000)
    second.start()
    until(
        lambda: server.sent > 60_000 and (not whole or any(p.stat().st_size for p in tmp_path.glob("c/files/*.part")))
    )
    assert first.pid is not None
    os.kill(first.pid, signal.SIGKILL)
    first.join()
    assert states.get(timeout=120) == "fetched"
    second.join()
    left = fetched(tile, tmp_path / "c", whole=whole)
    assert (left.state, left.place.read_bytes()) == ("cached", good)
    endings = {path.suffix for path in (tmp_path / "c" / "files").iterdir()}
    assert endings == {".tif", ".json", ".lock"}
    if whole:
        assert any(one.range.startswith("bytes=") for one in server.asked)  # it went on, and did not begin again


@pytest.mark.parametrize(
    "name", ["../../x", "/etc/passwd", "a\0b", "..", "", "x" * 500, "C:\\x", "S39W032.tif\n", "Zürich—ß"]
)
def test_names_are_no_paths(server: Server, tmp_path: Path, name: str):
    """Law: whatever a catalogue calls its tiles, everything lies inside the cache, under names of ours."""
    server.files[PATH] = cog()
    tile = wanted(server.address + PATH, name=name, exact=False)
    got = fetch_planned(plan_of(tile), Cache(tmp_path / "cache"), Options(), web())
    assert [path.name for path in tmp_path.iterdir()] == ["cache"]
    for path in (*got.rasters, got.tiles[0].place):
        assert path.resolve().is_relative_to(tmp_path / "cache")
        assert path.name.isascii()
        assert len(path.name) < 100
    assert clean(name)


def test_names_alike_are_two_rasters(server: Server, tmp_path: Path):
    """Law: two tiles of one name lie side by side."""
    server.files |= {"/a.tif": cog(), "/b.tif": cog()}
    got = fetch_planned(
        plan_of(wanted(server.address + "/a.tif"), wanted(server.address + "/b.tif")), Cache(tmp_path), Options(), web()
    )
    assert len(got.rasters) == 2


def test_nowhere_to_write(tmp_path: Path):
    """Law: a file where the cache should be is a sentence."""
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match=r"cannot be written .*; free some space or use --cache"):
        Cache(tmp_path / "file")


def test_a_disk_that_is_full(tile: Wanted, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: what cannot be written is not kept, and is said once."""

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Cache, "keep", full)
    with pytest.raises(OutputError, match="No space left on device"):
        fetched(tile, tmp_path)
    assert not list(tmp_path.rglob("*.tif"))


def _small(tile: Wanted, cache: Path, said: multiprocessing.Queue) -> None:  # type: ignore[type-arg]
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))
    try:
        fetched(tile, cache)
    except Exception as error:
        said.put(f"{type(error).__name__}: {error}")


def test_a_file_that_cannot_grow(tile: Wanted, tmp_path: Path):
    """Law: a disk that takes no more while the cut is written is not told as a damaged tile, and nothing is kept."""
    context = multiprocessing.get_context("fork")
    said = context.Queue()
    child = context.Process(target=_small, args=(tile, tmp_path, said))
    child.start()
    assert re.match(r"OutputError: .*cannot be written .*; free some space or use --cache", said.get(timeout=120))
    child.join()
    assert {path.suffix for path in (tmp_path / "files").iterdir()} == {".lock"}


def test_waiting_ends_when_all_is_stopped(tile: Wanted, tmp_path: Path):
    """Law: who waits for another's raster stops at once when told to, and does not wait for the other's end."""
    cache, session = Cache(tmp_path), web()
    one = Fetching(plan_of(tile), cache, Options(whole=True), session, lambda _: None)
    with cache.alone(cache.place(tile.name, tile.key)):
        threading.Timer(0.3, session.stopped.set).start()
        with pytest.raises(InputError, match="was stopped before its end"):
            one.tile(tile)
    assert fetched(tile, tmp_path, whole=True).state == "fetched"


def test_nothing_is_written_twice(tile: Wanted, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: where all is there nothing is written, neither links nor copies, so that a cache may be read-only; a raster
    that was mended takes the place of the damaged one under its other name too."""
    for folder, links in ((tmp_path / "links", True), (tmp_path / "copies", False)):
        if not links:
            monkeypatch.setattr(os, "link", _no_links)
        first = fetch_planned(plan_of(tile), Cache(folder), Options(), web())
        (raster,) = first.rasters
        changed = {path: path.stat().st_mtime_ns for path in (folder, raster.parent, folder / "files")}
        assert fetch_planned(plan_of(tile), Cache(folder), Options(), web()).rasters == (raster,)
        assert {path: path.stat().st_mtime_ns for path in changed} == changed
        good = raster.read_bytes()
        first.tiles[0].place.write_bytes(good[:-10])
        fetch_planned(plan_of(tile), Cache(folder), Options(), web())
        assert raster.read_bytes() == good
        assert [path.name for path in raster.parent.iterdir()] == [raster.name]


def _no_links(*_: object) -> None:
    raise OSError(95, "Operation not supported")


def test_absent_once_and_wrong_now(server: Server, tmp_path: Path):
    """Law: "not there" is remembered for want of an answer only; an answer that is no tile is refused."""
    sea = wanted(server.address + "/sea.tif")
    assert fetched(sea, tmp_path).state == "absent"
    server.files["/sea.tif"] = b"<html>" * 1000
    with pytest.raises(InputError, match="is damaged, or no raster"):
        fetched(sea, tmp_path)


class TestTilesOfTheSrtmLayout:
    """Folders and addresses of .hgt, plain, in .gz and in .zip."""

    NAME = "S39W032"

    def _from(self, folder: Path, cache: Path) -> Fetched:
        from pipelines.fetching.catalogues import catalogue_of
        from tests.pipelines.fetching_help import corridor

        (tile,) = catalogue_of(str(folder)).tiles(corridor())
        return fetch_planned(plan_of(tile), Cache(cache), Options(), web())

    @pytest.mark.parametrize("ending", [".hgt", ".hgt.gz", ".hgt.zip", ".SRTMGL1.hgt.zip"])
    @pytest.mark.parametrize("band", ["", "S39/"])
    def test_a_folder(self, tmp_path: Path, ending: str, band: str):
        """Published: SRTM user guide, from memory: rows from the north, whole metres, big-endian, cell centres on whole
        arc-seconds, so that the grid lies half a cell outside its degree."""
        path = tmp_path / "srtm" / band / f"{self.NAME}{ending}"
        path.parent.mkdir(parents=True)
        self._write(path)
        before = path.read_bytes()
        got = self._from(tmp_path / "srtm", tmp_path / "cache")
        assert [raster.name for raster in got.rasters] == ["S39W032.tif"]
        with rasterio.open(got.rasters[0]) as raster:
            values = np.frombuffer(hgt(), ">i2").reshape(1201, 1201)
            np.testing.assert_array_equal(raster.read(1), values)
            assert raster.bounds.left == pytest.approx(-32 - 0.5 / 1200)
            assert raster.bounds.top == pytest.approx(-38 + 0.5 / 1200)
            assert str(tmp_path) not in raster.tags()["SOURCE"]
        assert path.read_bytes() == before

    def _write(self, path: Path, body: bytes | None = None) -> None:
        import gzip

        body = hgt() if body is None else body
        if path.suffix == ".gz":
            path.write_bytes(gzip.compress(body))
        elif path.suffix == ".zip":
            with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
                archive.writestr("../../S39W032.hgt", body)
                archive.writestr("readme.txt", "")
        else:
            path.write_bytes(body)

    def test_a_folder_of_links(self, tmp_path: Path):
        """Law: a link to a tile, from its own folder, is that tile."""
        (tmp_path / "srtm/store").mkdir(parents=True)
        self._write(tmp_path / "srtm/store/1.hgt")
        (tmp_path / f"srtm/{self.NAME}.hgt").symlink_to("store/1.hgt")
        assert self._from(tmp_path / "srtm", tmp_path / "cache").tiles[0].state == "fetched"

    def test_a_tile_that_may_not_be_read(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
        """Law: it is the tile that is named, not the cache."""
        path = tmp_path / f"{self.NAME}.hgt"
        self._write(path)
        opened = Path.open

        def denied(self: Path, *more: Any, **named: Any) -> Any:
            if self == path:
                raise PermissionError(13, "Permission denied")
            return opened(self, *more, **named)

        monkeypatch.setattr(Path, "open", denied)
        with pytest.raises(
            InputError, match=r"S39W032\.hgt: cannot be read \(Permission denied\); check its permissions"
        ):
            self._from(tmp_path, tmp_path / "cache")

    def test_a_changed_file_is_read_again(self, tmp_path: Path):
        """Law: a file of this machine is known by its size and date too."""
        path = tmp_path / f"{self.NAME}.hgt"
        self._write(path)
        self._from(tmp_path, tmp_path / "cache")
        self._write(path, hgt(np.full((1201, 1201), 7.0)))
        os.utime(path, (1, 1))
        (raster,) = self._from(tmp_path, tmp_path / "cache").rasters
        with rasterio.open(raster) as opened:
            assert opened.read(1).max() == 7

    def test_an_address(self, server: Server, tmp_path: Path):
        """Law: the endings are tried in turn; what is there is fetched whole and unpacked."""
        self._write(tmp_path / "x.zip")
        server.files["/srtm/S39/S39W032.hgt.zip"] = (tmp_path / "x.zip").read_bytes()
        from pipelines.fetching.catalogues import catalogue_of
        from tests.pipelines.fetching_help import corridor

        (tile,) = catalogue_of(f"{server.address}/srtm").tiles(corridor())
        got = fetch_planned(plan_of(tile), Cache(tmp_path / "cache"), Options(), web())
        assert got.tiles[0].record.source_size == len(server.files["/srtm/S39/S39W032.hgt.zip"])
        assert [p.suffix for p in got.tiles[0].place.parent.iterdir() if "part" in p.name] == []

    @pytest.mark.parametrize(
        ("ending", "body", "words"),
        [
            (".hgt", hgt()[:-2], "is damaged"),
            (".hgt.gz", b"\x1f\x8b" + b"x" * 100, "is damaged"),
            (".hgt.zip", b"PK\x03\x04" + b"x" * 100, "is damaged"),
            (".hgt", b"<html>", "is a web page"),
            (".hgt", np.full((1201, 1201), 32000, ">i2").tobytes(), "which are no elevations"),
        ],
    )
    def test_damaged_tiles(self, tmp_path: Path, ending: str, body: bytes, words: str):
        """Law: a sentence with the file's name, and nothing kept."""
        (tmp_path / f"{self.NAME}{ending}").write_bytes(body)
        with pytest.raises(InputError, match=words):
            self._from(tmp_path, tmp_path / "cache")
        assert not list((tmp_path / "cache").rglob("*.tif"))

    def test_archives_that_are_no_tile(self, tmp_path: Path):
        """Law: two tiles in one archive, none, or one that unpacks to more than a tile, are refused."""
        path = tmp_path / f"{self.NAME}.hgt.zip"
        for names, words in ((("a.hgt", "b.hgt"), "holds 2 .hgt tiles"), (("a.txt",), "holds 0 .hgt tiles")):
            with zipfile.ZipFile(path, "w") as archive:
                for name in names:
                    archive.writestr(name, "x")
            with pytest.raises(InputError, match=words):
                self._from(tmp_path, tmp_path / "cache")
        self._write(path, bytes(26_000_000))
        with pytest.raises(InputError, match="unpacks to more than a tile"):
            self._from(tmp_path, tmp_path / "cache")
