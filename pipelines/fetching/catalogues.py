"""Catalogues of elevation tiles: the one table of them, and what `--from` means."""

from __future__ import annotations

import functools
import tomllib
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path
from urllib.parse import quote, urlsplit, urlunsplit

from pipelines.fetching.tiles import Box, Corridor, corner_words, square, squares_touched
from profiler import InputError

UNKNOWN = "unknown"


@dataclass(frozen=True)
class Wanted:
    """One tile to fetch.

    ``places`` are addresses, or paths of files, tried in turn; ``box`` is where its name or its catalogue says it lies,
    ``exact`` whether it must fill that box. ``key`` tells it from all others, ``epsg`` its reference system,
    ``sha256`` and ``size`` [byte] the whole file, ``vertical_datum`` its datum, each where its catalogue says so.
    """

    name: str
    places: tuple[str | Path, ...]
    box: Box
    key: str
    exact: bool = True
    epsg: int | None = None
    sha256: str = ""
    size: int | None = None
    vertical_datum: str = ""


@dataclass(frozen=True)
class Catalogue:
    """A catalogue by name: how its tiles are called, above what they stand, and whose they are.

    ``base`` is a folder or the start of an address where the tiles have no ``address`` of their own; whose they are is
    then assumed.
    """

    key: str
    title: str
    name: str
    corner: str
    address: str = ""
    lower: bool = False
    endings: tuple[str, ...] = ()
    vertical_datum: str = UNKNOWN
    attribution: str = ""
    licence: str = ""
    base: str | Path = ""

    def tiles(self, corridor: Corridor) -> tuple[Wanted, ...]:
        """Every tile that a corridor touches."""
        return tuple(self._tile(south, west) for south, west in squares_touched(corridor))

    def _tile(self, south: int, west: int) -> Wanted:
        words = corner_words(south, west, self.corner, lower=self.lower)
        name = self.name.format(**words)
        tile = "{ns}{lat:02d}{ew}{lon:03d}".format(**words)
        places: list[str | Path] = []
        if self.address:
            places.append(self.address.format(name=name, tile=tile))
        band = f"{words['ns']}{words['lat']:02d}"
        for ending in self.endings:
            for inside in (f"{name}{ending}", f"{band}/{name}{ending}"):
                places.append(self.base / inside if isinstance(self.base, Path) else f"{self.base}/{quote(inside)}")
        return Wanted(name, tuple(places), square(south, west), shown(str(places[0])))


@functools.lru_cache(maxsize=1)
def catalogues() -> dict[str, Catalogue]:
    """The catalogues of catalogues.toml, by name."""
    table = tomllib.loads(files("pipelines.fetching").joinpath("catalogues.toml").read_text(encoding="utf-8"))
    return {key: Catalogue(key, **row | {"endings": tuple(row.get("endings", ()))}) for key, row in table.items()}


def catalogue_of(name: str) -> Catalogue:
    """What `--from` NAME means: a catalogue of the table, or a folder or address of tiles in the SRTM layout.

    Raises
    ------
    InputError
        If it is none of these.
    """
    known = {key: row for key, row in catalogues().items() if row.address}
    if name in known:
        return known[name]
    layout = catalogues()["srtm-layout"]
    layout = replace(layout, title=f"{layout.title}, {shown(name)}")
    if is_address(name):
        return replace(layout, base=name.rstrip("/"))
    if name and Path(name).is_dir():
        return replace(layout, base=Path(name))
    raise InputError(
        name,
        "is no catalogue, no folder and no address",
        f"give {', '.join(known)}, stac:ADDRESS, or a folder or address of .hgt tiles",
    )


def is_address(text: str) -> bool:
    """Whether a text is an address that may be fetched: http or https, and of some host."""
    try:
        parts = urlsplit(text)
        return parts.scheme.lower() in ("http", "https") and bool(parts.hostname)
    except ValueError:
        return False


def shown(address: str) -> str:
    """An address as it may be printed and kept: without user, password, query and control characters."""
    if not is_address(address):
        return "".join(c for c in address if c.isprintable())
    parts = urlsplit(address)
    host = parts.netloc.rpartition("@")[2]
    return "".join(c for c in urlunsplit((parts.scheme, host, parts.path, "", "")) if c.isprintable())
