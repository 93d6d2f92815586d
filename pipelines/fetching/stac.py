"""Tiles that a STAC API names along a corridor (SpatioTemporal Asset Catalog 1.0, API item search).

It is believed in nothing: what an answer says is checked for shape, its addresses for http or https, and its
pages are counted.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote, urlencode, urljoin, urlsplit, urlunsplit

import pyproj

from pipelines.fetching.catalogues import UNKNOWN, Wanted, is_address, shown
from pipelines.fetching.download import Web
from pipelines.fetching.tiles import Box, Corridor
from profiler import InputError

MOST_PAGES, MOST_ITEMS, PER_PAGE = 100, 2_000, 100
_TELL = "tell the keeper of the catalogue, or take another"
_RASTER = ("image/tiff", "image/geotiff", "image/vnd.stac.geotiff", "application/geotiff")
_SHA256 = re.compile(r"1220([0-9a-f]{64})")
_WORDS = 300


@dataclass(frozen=True)
class Found:
    """What a STAC endpoint has along a corridor: its ``tiles``, the newest first, and whose they are."""

    title: str
    tiles: tuple[Wanted, ...]
    vertical_datum: str
    attribution: str
    licence: str


def find(web: Web, root: str, collection: str, asset: str, corridor: Corridor) -> Found:
    """Search a STAC API along a corridor.

    Parameters
    ----------
    root : str
        Address of the API's first page.
    collection, asset : str
        By their ids; an empty ``asset`` means the one raster of each item, and several are refused.

    Raises
    ------
    InputError
        If it is no STAC API, or its answers are not what the standard says.
    """
    if not collection:
        raise InputError(shown(root), "no collection is named", "add --collection ID")
    search = _search_address(web, root)
    features: dict[str, dict[str, Any]] = {}
    for box in corridor.boxes():
        corners = ",".join(f"{x:g}" for x in (box.west, box.south, box.east, box.north))
        asked = urlencode({"collections": collection, "bbox": corners, "limit": PER_PAGE}, safe=",")
        for feature, page in _features(web, f"{search}{'&' if '?' in search else '?'}{asked}"):
            features[str(feature["id"])] = feature | {"page": page}
            other = feature.get("collection") or collection
            if other != collection:
                source = f"{shown(page)}, item {_words(feature['id'])}"
                raise InputError(source, f"is of collection {_words(other)}, not of {_words(collection)}", _TELL)
            if len(features) > MOST_ITEMS:
                raise InputError(shown(search), f"names over {MOST_ITEMS:,} items", "profile the line in parts")
    newest = sorted(features.values(), key=lambda one: (_date(one), str(one["id"])), reverse=True)
    told = _collection(web, root, collection)
    tiles, licences = [], []
    for feature in newest:
        wanted = _wanted(feature, collection, asset)
        if len(corridor.inside(wanted.box).cells):
            tiles.append(wanted)
            licences.append(_words(_properties(feature).get("license") or told.get("license") or ""))
    data = {tile.vertical_datum for tile in tiles}
    return Found(
        title=f"STAC collection {_words(collection)} of {shown(root)}",
        tiles=tuple(tiles),
        vertical_datum=data.pop() if len(data) == 1 else UNKNOWN,
        attribution=_providers(told),
        licence=", ".join(dict.fromkeys(filter(None, licences))),
    )


def _search_address(web: Web, root: str) -> str:
    page, came_from = web.json(root)
    for link in _links(page):
        if link.get("rel") == "search" and link.get("method", "GET") == "GET":
            return _resolved(str(link.get("href", "")), came_from, "its search")
    raise InputError(shown(root), "is no STAC API that can be searched", "give the address of its first page")


def _features(web: Web, address: str) -> Iterator[tuple[dict[str, Any], str]]:
    """Every item of a search and the page it stands on, page by page."""
    post: Any = None
    seen: set[str] = set()
    while True:
        asked = json.dumps([address, post], sort_keys=True)
        if asked in seen or len(seen) >= MOST_PAGES:
            why = "leads back to a page seen before" if asked in seen else f"goes on over {MOST_PAGES} pages"
            raise InputError(shown(address), f"its search {why}", _TELL)
        seen.add(asked)
        page, came_from = web.json(address, post)
        if not isinstance(page, dict) or not isinstance(page.get("features"), list):
            raise InputError(shown(address), "its answer is no list of items", _TELL)
        for feature in page["features"]:
            yield _item(feature, address), came_from
        following = [link for link in _links(page) if link.get("rel") == "next"]
        if not following:
            return
        link = following[0]
        address = _resolved(str(link.get("href", "")), came_from, "its next page")
        body = link["body"] if isinstance(link.get("body"), dict) else {}
        posted = str(link.get("method", "GET")).upper() == "POST"
        post = ({**(post or {}), **body} if link.get("merge") else body) if posted else None


def _item(feature: Any, page: str) -> dict[str, Any]:
    """An item with an id, a box and assets, or a sentence."""
    if not isinstance(feature, dict) or not isinstance(feature.get("id"), str):
        raise InputError(shown(page), "names an item without an id", _TELL)
    source = f"{shown(page)}, item {_words(feature['id'])}"
    box = feature.get("bbox")
    numbers = isinstance(box, list) and len(box) in (4, 6) and all(_finite(x) for x in box)
    if not numbers or not _on_the_globe(_corners(feature)):
        raise InputError(source, "does not say where it lies (bbox)", _TELL)
    if not isinstance(feature.get("assets"), dict) or not feature["assets"]:
        raise InputError(source, "has no assets", _TELL)
    return feature


def _finite(x: Any) -> bool:
    return isinstance(x, int | float) and not isinstance(x, bool) and abs(x) < 1e6


def _corners(feature: dict[str, Any]) -> Box:
    box = feature["bbox"]
    west, south, east, north = (box[i] for i in ((0, 1, 2, 3) if len(box) == 4 else (0, 1, 3, 4)))
    return Box(west, south, east if east >= west else east + 360, north)  # RFC 7946, 5.2: across the 180° meridian


def _on_the_globe(box: Box) -> bool:
    return -180 <= box.west <= 180 and -90 <= box.south < box.north <= 90 and 0 < box.east - box.west <= 360


def _wanted(feature: dict[str, Any], collection: str, asset: str) -> Wanted:
    source = f"{shown(feature['page'])}, item {_words(feature['id'])}"
    name, told = _asset(feature["assets"], asset, source)
    properties = _properties(feature)
    address = _resolved(
        str(told.get("href", "")), _self(feature), f"asset {_words(name)} of item {_words(feature['id'])}"
    )
    size = told.get("file:size")
    code = _code(told) or _code(properties)
    return Wanted(
        name=str(feature["id"]),
        places=(address,),
        box=_corners(feature),
        # signatures in a query change from day to day, the item does not
        key="\n".join((shown(address), collection, str(feature["id"]), name)),
        exact=False,
        epsg=code,
        sha256=_checksum(told, source),
        size=size if isinstance(size, int) and size > 0 else None,
        vertical_datum=_datum({**properties, **told}) or UNKNOWN,
    )


def _asset(assets: dict[str, Any], wanted: str, source: str) -> tuple[str, dict[str, Any]]:
    tables = {name: told for name, told in assets.items() if isinstance(told, dict)}
    rasters = {name: told for name, told in tables.items() if _is_raster(told)}
    if wanted:
        if wanted not in tables:
            raise InputError(source, f"has no asset {wanted}", f"its rasters are {', '.join(map(_words, rasters))}")
        if not _is_raster(tables[wanted]):
            kind = _words(tables[wanted].get("type", ""))
            raise InputError(source, f"asset {wanted} is {kind}, not a GeoTIFF", "name another with --asset")
        return wanted, tables[wanted]
    data = {name: told for name, told in rasters.items() if "data" in _listed(told.get("roles"))} or rasters
    if len(data) != 1:
        several = (
            f"has {len(data)} rasters ({', '.join(map(_words, data))})" if data else "has no GeoTIFF among its assets"
        )
        raise InputError(source, several, "name one with --asset")
    return next(iter(data.items()))


def _is_raster(told: dict[str, Any]) -> bool:
    kind = str(told.get("type", "")).partition(";")[0].strip().lower()
    return kind in _RASTER or (not kind and str(told.get("href", "")).lower().endswith((".tif", ".tiff")))


def _self(feature: dict[str, Any]) -> str:
    """Where relative addresses of an item start: its own address, else the page that it stands on."""
    for link in _links(feature):
        if link.get("rel") == "self" and is_address(str(link.get("href"))):
            return str(link["href"])
    return str(feature["page"])


def _resolved(href: str, start: str, what: str) -> str:
    try:
        address = urljoin(start, href) if href else ""
    except ValueError:
        address = ""
    if not is_address(address):
        raise InputError(
            shown(start), f"{what} is at {_words(href) or 'no address'}, which is not http or https", _TELL
        )
    return address


def _code(told: dict[str, Any]) -> int | None:
    """EPSG code by the projection extension, old or new."""
    code = told.get("proj:epsg")
    if isinstance(code, int) and 1024 <= code <= 32767:
        return code
    authority, _, number = str(told.get("proj:code", "")).partition(":")
    return int(number) if authority.upper() == "EPSG" and number.isdecimal() and len(number) <= 6 else None


def _datum(told: dict[str, Any]) -> str:
    """The vertical datum that an item's compound reference system declares, nothing where none does."""
    for key in ("proj:wkt2", "proj:projjson", "proj:code", "proj:epsg"):
        value = told.get(key)
        if value is None:
            continue
        try:
            crs = pyproj.CRS.from_user_input(value)
        except (pyproj.exceptions.ProjError, TypeError, ValueError):
            continue
        for part in crs.sub_crs_list:
            if part.is_vertical:
                return str(part.name)
    return ""


def _checksum(told: dict[str, Any], source: str) -> str:
    """SHA-256 of the file extension's multihash; other kinds are not read here."""
    stated = told.get("file:checksum")
    if stated is None:
        return ""
    found = _SHA256.fullmatch(str(stated).lower())
    if str(stated).lower().startswith("1220") and found is None:
        raise InputError(source, "its file:checksum is no SHA-256", _TELL)
    return found[1] if found else ""


def _date(feature: dict[str, Any]) -> str:
    told = _properties(feature)
    return str(told.get("datetime") or told.get("start_datetime") or "")


def _properties(feature: dict[str, Any]) -> dict[str, Any]:
    told = feature.get("properties")
    return told if isinstance(told, dict) else {}


def _collection(web: Web, root: str, collection: str) -> dict[str, Any]:
    parts = urlsplit(root)  # a key may stand behind its question mark
    path = f"{parts.path.rstrip('/')}/collections/{quote(collection, safe='')}"
    try:
        told, _ = web.json(urlunsplit(parts._replace(path=path)))
    except InputError:
        return {}  # nobody is credited then, which is said
    return told if isinstance(told, dict) else {}


def _providers(told: dict[str, Any]) -> str:
    stated = told.get("sci:citation") or told.get("attribution")
    if isinstance(stated, str):
        return _words(stated)
    names = [
        str(one.get("name", ""))
        for one in _listed(told.get("providers"))
        if isinstance(one, dict) and {"producer", "licensor"}.intersection(map(str, _listed(one.get("roles"))))
    ]
    return _words(", ".join(filter(None, names)))


def _links(told: Any) -> list[dict[str, Any]]:
    return [link for link in _listed(told.get("links") if isinstance(told, dict) else None) if isinstance(link, dict)]


def _listed(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _words(text: object) -> str:
    """Words from outside, on one line and not for ever."""
    kept = " ".join("".join(c if c.isprintable() else " " for c in str(text)).split())
    return kept if len(kept) <= _WORDS else f"{kept[: _WORDS - 1]}…"
