"""What a line needs of a catalogue: its corridor, the tiles that it touches, and whose they are."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from pipelines.fetching.cache import clean
from pipelines.fetching.catalogues import UNKNOWN, Wanted, catalogue_of, is_address, shown
from pipelines.fetching.download import Patience, Web
from pipelines.fetching.stac import find
from pipelines.fetching.tiles import Corridor, corridor_of
from profiler import InputError, Territory

HALF_WIDTH = 2000.0
"""Ground is fetched so far to either side of the line. [m]"""


@dataclass(frozen=True)
class Options:
    """How to fetch.

    ``half_width`` of the corridor [m]; ``whole`` tiles instead of what lies under it; ``collection`` and ``asset`` of a
    STAC API. What is stated as ``vertical_datum``, ``attribution`` and ``licence`` counts before what a catalogue says.
    """

    half_width: float = HALF_WIDTH
    whole: bool = False
    collection: str = ""
    asset: str = ""
    vertical_datum: str = ""
    attribution: str = ""
    licence: str = ""
    patience: Patience = field(default_factory=Patience)


@dataclass(frozen=True)
class Plan:
    """What a line needs of a catalogue: ``tiles`` along its ``corridor``, above what, and whose they are.

    ``said`` is what was assumed.
    """

    key: str
    title: str
    tiles: tuple[Wanted, ...]
    corridor: Corridor
    vertical_datum: str
    attribution: str
    licence: str
    said: tuple[str, ...]


def line_corridor(territory: Territory, half_width: float) -> Corridor:
    """The corridor of a territory's line, found without its curves.

    Raises
    ------
    InputError, RouteError
        As `profiler.build_route`; and if the line is on no map.
    """
    from profiler import build_route

    if territory.profile is not None:
        raise InputError(
            territory.source, "states its elevations in [profile]", "it needs no rasters, profile it as it is"
        )
    settings = territory.settings.model_copy(update={"fast_curves": True})
    route = build_route(territory.model_copy(update={"settings": settings}))
    return corridor_of(route.longitude, route.latitude, half_width)


def plan(territory: Territory, catalogue: str, options: Options, web: Web) -> Plan:
    """The tiles that a line needs; a STAC API is asked for them, nothing else is opened.

    Raises
    ------
    InputError
        As `fetch`.
    """
    said: list[str] = []
    data: set[str] = set()
    stated = {key: getattr(options, key) for key in ("vertical_datum", "attribution", "licence")}
    if catalogue.startswith("stac:"):
        root = catalogue.removeprefix("stac:")
        if not is_address(root):
            raise InputError(shown(catalogue), "is no address of a STAC API", "give stac:https://… with its first page")
        corridor = line_corridor(territory, options.half_width)
        found = find(web, root, options.collection, options.asset, corridor)
        key, title, tiles = f"stac-{clean(options.collection)}", found.title, found.tiles
        from_it: Any = found
        data = {tile.vertical_datum for tile in tiles}
    else:
        if options.collection or options.asset:
            raise InputError(catalogue, "is no STAC API", "leave --collection and --asset out, or give stac:ADDRESS")
        listed = catalogue_of(catalogue)
        corridor = line_corridor(territory, options.half_width)
        key, title, tiles = listed.key, listed.title, listed.tiles(corridor)
        assumed = [name.replace("_", " ") for name, value in stated.items() if not value]
        if listed.base and assumed:
            said.append(f"taken to be SRTM, as nothing else is stated: {', '.join(assumed)}")
        from_it = listed
    known = {name: value or getattr(from_it, name) for name, value in stated.items()}
    if known["vertical_datum"] in ("", UNKNOWN):
        known["vertical_datum"] = UNKNOWN
        what = "not declared by the catalogue" if len(data) < 2 else f"not one but several ({', '.join(sorted(data))})"
        said.append(f"vertical datum {what}: what the files themselves say counts, else unknown")
    for name, option in (("attribution", "--attribution"), ("licence", "--licence")):
        if not known[name]:
            said.append(f"{name} not declared by the catalogue: find it out before results are handed on ({option})")
    return Plan(key, title, tiles, corridor, said=tuple(said), **known)
