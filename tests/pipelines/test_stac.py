"""A STAC API that tells the truth, and others that do not."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipelines.elevation import Fetched, fetch_planned
from pipelines.fetching.cache import Cache
from pipelines.fetching.plan import Options, Plan, plan
from pipelines.fetching.stac import MOST_PAGES, Found, find
from pipelines.fetching.tiles import corridor_of
from profiler import CoverageError, InputError, territory_of_line
from tests import country
from tests.pipelines.fetching_help import SOUTH, WEST, cog, corridor, plan_of, web
from tests.pipelines.range_server import Fault, Server

BOX = [WEST, SOUTH, WEST + 1, SOUTH + 1]


@pytest.fixture
def api(server: Server) -> Server:
    """An API of one collection with one item, as in the examples of STAC 1.0 (from memory of the specification)."""
    server.files["/tile.tif"] = cog()
    tell(server, "/", {"type": "Catalog", "stac_version": "1.0.0", "links": [{"rel": "search", "href": "/search"}]})
    tell(server, "/collections/sedge", {
        "type": "Collection",
        "id": "sedge",
        "license": "CC-BY-4.0",
        "providers": [{"name": "Sedge Survey", "roles": ["producer"]}, {"name": "A host", "roles": ["host"]}],
    })  # fmt: skip
    tell(server, "/search", page(item()))
    return server


def tell(server: Server, path: str, answer: Any) -> None:
    server.files[path] = json.dumps(answer).encode()


def page(*items: Any, **more: Any) -> dict[str, Any]:
    return {"type": "FeatureCollection", "features": list(items), "links": [], **more}


def item(**more: Any) -> dict[str, Any]:
    asset = {"href": "tile.tif", "type": "image/tiff; application=geotiff; profile=cloud-optimized", "roles": ["data"]}
    return {
        "type": "Feature",
        "stac_version": "1.0.0",
        "id": "sedge-1",
        "bbox": BOX,
        "geometry": None,
        "properties": {"datetime": "2021-05-01T00:00:00Z"},
        "links": [],
        "assets": {"data": {**asset, **more.pop("asset", {})}, "thumbnail": {"href": "t.png", "type": "image/png"}},
        **more,
    }


def search(api: Server, asset: str = "") -> Found:
    return find(web(), f"{api.address}/", "sedge", asset, corridor())


def fetched(api: Server, folder: Path, *, whole: bool = False) -> Fetched:
    found = search(api)
    plan = Plan("stac-sedge", "Sedge", found.tiles, corridor(), "EGM2008", "", "", ())
    return fetch_planned(plan, Cache(folder), Options(whole=whole), web())


def test_search_and_fetch(api: Server, tmp_path: Path):
    """Published: STAC API 1.0, item search, from memory: GET search with collections, bbox of four numbers, limit.
    Relative addresses start at the page; licence and producers are those of the collection."""
    found = search(api)
    (asked,) = api.of("/search")
    found_box = re.fullmatch(r"/search\?collections=sedge&bbox=([-.,\d]+)&limit=100", asked.path)
    assert found_box
    west, south, east, north = map(float, found_box[1].split(","))
    # the line runs from −31.8 to −31.3 at −38.2; 2 km are 0.018° of latitude, 0.023° of longitude there
    assert west == pytest.approx(-31.823, abs=0.02)
    assert east == pytest.approx(-31.277, abs=0.02)
    assert (south, north) == (pytest.approx(-38.218, abs=0.02), pytest.approx(-38.182, abs=0.02))
    (tile,) = found.tiles
    assert tile.places == (f"{api.address}/tile.tif",)
    assert (found.licence, found.attribution, found.vertical_datum) == ("CC-BY-4.0", "Sedge Survey", "unknown")
    got = fetched(api, tmp_path)
    assert [path.name for path in got.rasters] == ["000-sedge-1.tif"]


def test_across_the_meridian_two_boxes(api: Server):
    """Published: RFC 7946, 5.2: an item across the meridian has its west greater than its east. A box for either side
    is asked for, an item found twice counts once."""
    tell(api, "/search", page(item(bbox=[179.5, -1, -179.5, 0])))
    along = corridor_of(np.linspace(179.8, 180.2, 50), np.full(50, -0.5), 500)
    found = find(web(), f"{api.address}/", "sedge", "", along)
    assert len(api.of("/search")) == 2
    assert len(found.tiles) == 1
    assert (found.tiles[0].box.west, found.tiles[0].box.east) == (179.5, 180.5)


def test_items_of_another_collection(api: Server):
    """Law: a server that does not look at the collection it is asked for gives data of another name and licence."""
    tell(api, "/search", page(item(collection="sedge")))
    assert len(search(api).tiles) == 1
    tell(api, "/search", page(item(collection="bog")))
    with pytest.raises(InputError, match="item sedge-1: is of collection bog, not of sedge"):
        search(api)


def test_licences_of_items(api: Server):
    """Published: STAC 1.0, common metadata, from memory: a license in an item's properties goes before the
    collection's. Those of items that the line does not touch do not count."""
    far = item(id="far", bbox=[WEST, SOUTH, WEST + 1, SOUTH + 0.5], properties={"license": "proprietary"})
    tell(api, "/search", page(item(id="a", properties={"license": "CC0-1.0"}), item(id="b"), far))
    assert search(api).licence == "CC-BY-4.0, CC0-1.0"


def test_items_above_several_datums(api: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Law: where items declare different datums none is taken for all, and what they declare is said."""
    of_code = [item(id=code, properties={"proj:code": code}) for code in ("EPSG:9518", "EPSG:9707")]
    tell(api, "/search", page(*of_code))
    monkeypatch.chdir(tmp_path)
    country.write_lines(Path("line.geojson"), np.array([[WEST + 0.2, SOUTH + 0.8], [WEST + 0.3, SOUTH + 0.8]]))
    territory = territory_of_line(Path("line.geojson"), ())
    told = plan(territory, f"stac:{api.address}/", Options(collection="sedge"), web())
    assert told.vertical_datum == "unknown"
    said = "vertical datum not one but several (EGM2008 height, EGM96 height): what the files themselves say counts"
    assert any(words.startswith(said) for words in told.said)


def test_a_key_in_the_address(api: Server):
    """Law: what stands behind the question mark of the first page goes along to the collection."""
    assert find(web(), f"{api.address}/?key=1", "sedge", "", corridor()).licence == "CC-BY-4.0"
    assert api.of("/collections/sedge")[0].path == "/collections/sedge?key=1"


def test_pages_by_get_and_post(api: Server):
    """Published: STAC API 1.0, paging, from memory: `next` with an address, or with method POST, a body and merge."""
    api.files["/search"] = json.dumps(
        page(item(id="a"), links=[{"rel": "next", "href": "/two", "method": "POST", "body": {"token": 2}}])
    ).encode()
    tell(api, "/two", page(item(id="b"), links=[{"rel": "next", "href": "/three?x=1"}]))
    tell(api, "/three", page(item(id="c")))
    assert sorted(tile.name for tile in search(api).tiles) == ["a", "b", "c"]
    (posted,) = api.of("/two")
    assert (posted.method, json.loads(posted.body)) == ("POST", {"token": 2})


def test_newest_first(api: Server, tmp_path: Path):
    """Law: where items overlap the newest is preferred, and its file comes first by name."""
    new = item(id="new", properties={"datetime": "2024-01-01T00:00:00Z"})
    tell(api, "/search", page(item(), new))
    assert [path.name for path in fetched(api, tmp_path).rasters] == ["000-new.tif", "001-sedge-1.tif"]


def test_beside_the_line(api: Server):
    """Law: an item that the box holds and the line does not touch is not fetched."""
    tell(api, "/search", page(item(), item(id="far", bbox=[WEST, SOUTH, WEST + 1, SOUTH + 0.5])))
    assert [tile.name for tile in search(api).tiles] == ["sedge-1"]


def test_datum_of_the_item(api: Server):
    """Worked: a compound reference system names its datum: EPSG:9518 is WGS 84 + EGM2008 height."""
    tell(api, "/search", page(item(properties={"proj:code": "EPSG:9518"})))
    assert search(api).vertical_datum == "EGM2008 height"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"bbox": None}, r"item sedge-1: does not say where it lies \(bbox\)"),
        ({"bbox": [1, 2, 3]}, "does not say where it lies"),
        ({"bbox": [1, 2, 3, "x"]}, "does not say where it lies"),
        ({"bbox": [-32, -38, -31, -39]}, "does not say where it lies"),
        ({"bbox": [-500, -39, 500, -38]}, "does not say where it lies"),
        ({"bbox": [float("nan")] * 4}, "does not say where it lies"),
        ({"assets": {}}, "has no assets"),
        ({"assets": None}, "has no assets"),
        ({"assets": {"data": "x"}}, "has no GeoTIFF among its assets; name one with --asset"),
        ({"id": None}, "names an item without an id"),
        ({"asset": {"type": "text/html"}}, "has no GeoTIFF among its assets"),
        ({"asset": {"href": "file:///etc/hostname"}}, "is at file:///etc/hostname, which is not http or https"),
        ({"asset": {"href": "s3://sedge/tile.tif"}}, "is not http or https"),
        ({"asset": {"roles": 5, "type": 5}}, "has no GeoTIFF among its assets"),
        ({"asset": {"href": ""}}, "is at no address"),
        ({"asset": {"href": "http://[x"}}, "is not http or https"),
        ({"asset": {"file:checksum": "1220abc"}}, "file:checksum is no SHA-256"),
    ],
)
def test_items_that_lie(api: Server, change: dict[str, Any], words: str):
    """Law: an item that is not what the standard says is refused with its name."""
    tell(api, "/search", page(item(**change)))
    with pytest.raises(InputError, match=words):
        search(api)


@pytest.mark.parametrize(
    "answer", [[], {}, {"features": {}}, {"features": ["x"]}, "x", None, {"features": [{"id": 1}], "links": 7}]
)
def test_answers_that_are_no_list(api: Server, answer: Any):
    """Law: whatever JSON comes instead of a list of items is refused."""
    tell(api, "/search", answer)
    with pytest.raises(InputError, match=r"is no list of items|without an id"):
        search(api)


@pytest.mark.parametrize("root", [{}, [], {"links": [{"rel": "search"}]}, {"links": "x"}, {"links": [1]}])
def test_no_api(api: Server, root: Any):
    """Law: a page that offers no search is no API."""
    tell(api, "/", root)
    with pytest.raises(InputError, match=r"is no STAC API that can be searched|no address"):
        search(api)
    with pytest.raises(InputError, match="no collection is named; add --collection"):
        find(web(), api.address, "", "", corridor())


def test_pages_without_end(api: Server):
    """Law: a page that leads to itself ends at once, ever new ones after a hundred, one to file:// not at all."""
    tell(api, "/search", page(item(), links=[{"rel": "next", "href": "/again"}]))
    tell(api, "/again", page(item(), links=[{"rel": "next", "href": "/again"}]))
    with pytest.raises(InputError, match="leads back to a page seen before"):
        search(api)
    for i in range(MOST_PAGES + 1):
        tell(api, f"/p{i}", page(links=[{"rel": "next", "href": f"/p{i + 1}"}]))
    tell(api, "/search", page(links=[{"rel": "next", "href": "/p0"}]))
    with pytest.raises(InputError, match="goes on over 100 pages"):
        search(api)
    tell(api, "/search", page(links=[{"rel": "next", "href": "file:///etc/hostname"}]))
    with pytest.raises(InputError, match="not http or https"):
        search(api)


def test_items_without_end(api: Server):
    """Law: more items than any line needs are refused, and an answer that is too large is not read to its end."""
    tell(api, "/search", page(*(item(id=str(i)) for i in range(2001))))
    with pytest.raises(InputError, match="names over 2,000 items; profile the line in parts"):
        search(api)
    api.always["/search"] = Fault(body=b" " * (21 << 20))
    with pytest.raises(InputError, match="its answer is over 20 MB"):
        search(api)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"bbox": [WEST - 2, SOUTH, WEST + 1, SOUTH + 1]}, "is not what its name says"),
        ({"properties": {"proj:epsg": 32725}}, r"reference system that its catalogue says \(EPSG:32725\)"),
        ({"asset": {"file:size": 17}}, "bytes, its catalogue states 17"),
        ({"asset": {"href": "/page"}}, "is a web page|is damaged, or no raster"),
    ],
)
@pytest.mark.parametrize("whole", [False, True], ids=["pieces", "whole"])
def test_files_that_are_not_what_the_item_says(
    api: Server, tmp_path: Path, change: dict[str, Any], words: str, whole: bool
):
    """Law: a file elsewhere, in another system, of another size, or none at all, is refused and not kept."""
    api.files["/page"] = b"<html>"
    tell(api, "/search", page(item(**change)))
    with pytest.raises(InputError, match=words):
        fetched(api, tmp_path, whole=whole)
    assert not [*tmp_path.rglob("*.tif"), *tmp_path.rglob("*.json")]


def test_checksum(api: Server, tmp_path: Path):
    """Published: STAC file extension, from memory: file:checksum is a multihash, 12 20 and 32 bytes for SHA-256. A
    whole file is compared with it, of a part it is said that it cannot be."""
    right = f"1220{hashlib.sha256(cog()).hexdigest()}"
    tell(
        api,
        "/search",
        page(item(asset={"file:checksum": right, "file:size": len(cog())}, properties={"proj:code": "EPSG:4326"})),
    )
    (tile,) = fetched(api, tmp_path / "a", whole=True).tiles
    assert tile.said == ()
    (tile,) = fetched(api, tmp_path / "b").tiles
    assert tile.said == ("its checksum covers the whole file and was not compared with the part",)
    tell(api, "/search", page(item(asset={"file:checksum": "1220" + "0" * 64})))
    with pytest.raises(InputError, match="does not have the checksum that its catalogue states"):
        fetched(api, tmp_path / "c", whole=True)


def test_signed_addresses(api: Server, tmp_path: Path):
    """Law: a signature that changes from day to day neither is kept nor fetches again; where it counts it is sent."""
    for day in ("one", "two"):
        tell(api, "/search", page(item(asset={"href": f"tile.tif?sig={day}"})))
        (tile,) = fetched(api, tmp_path).tiles
    assert tile.state == "cached"
    assert {one.path for one in api.of("/tile.tif")} == {"/tile.tif?sig=one"}
    for path in tmp_path.rglob("*"):
        assert path.is_dir() or b"sig=" not in path.read_bytes()


def test_several_rasters_need_a_choice(api: Server):
    """Law: of several rasters none is guessed; the one named is taken, one that is no raster is not."""
    both = item()
    both["assets"]["slope"] = {"href": "slope.tif", "type": "image/tiff", "roles": ["data"]}
    tell(api, "/search", page(both))
    with pytest.raises(InputError, match=r"has 2 rasters \(data, slope\); name one with --asset"):
        search(api)
    assert search(api, "slope").tiles[0].places[0].endswith("/slope.tif")
    with pytest.raises(InputError, match=r"has no asset aspect; its rasters are data, slope"):
        search(api, "aspect")
    with pytest.raises(InputError, match=r"asset thumbnail is image/png, not a GeoTIFF"):
        search(api, "thumbnail")


def test_nothing_found(api: Server, tmp_path: Path):
    """Law: an empty answer is no elevation along the line."""
    tell(api, "/search", page())
    assert search(api).tiles == ()
    with pytest.raises(CoverageError, match="has no tile along the line"):
        fetch_planned(plan_of(), Cache(tmp_path), Options(), web())
