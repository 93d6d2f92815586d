"""gradewright fetch"""

from __future__ import annotations

import shlex
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pipelines.elevation import Fetched
    from pipelines.fetching.plan import Plan
    from profiler import Territory


@click.command(epilog="Example: gradewright fetch line.geojson --from copernicus-glo-30 --cache elevation-cache")
@click.argument("source", type=click.Path(path_type=Path))
@click.option(
    "--from",
    "catalogue",
    metavar="CATALOGUE",
    required=True,
    help="copernicus-glo-30, usgs-3dep-13, usgs-3dep-1, a folder or address of .hgt tiles, or stac:ADDRESS.",
)
@click.option("--collection", default="", metavar="ID", help="Collection of a STAC API.")
@click.option("--asset", default="", metavar="NAME", help="Asset of its items, where they have several rasters.")
@click.option(
    "--cache", type=click.Path(path_type=Path), metavar="DIR", help="What has come is kept here (elevation-cache)."
)
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE", help="The territory file to write.")
@click.option(
    "--corridor-m",
    type=click.FloatRange(100, 50_000),
    default=2000.0,
    show_default=True,
    metavar="M",
    help="Ground on either side of the line.",
)
@click.option("--whole", is_flag=True, help="Whole tiles, not only what lies under the corridor.")
@click.option("--list", "only_list", is_flag=True, help="Only say which tiles the line needs.")
@click.option(
    "--vertical-datum", default="", metavar="NAME", help="Datum of the tiles, before what the catalogue says."
)
@click.option("--attribution", default="", metavar="WORDS", help="Whose the data are, before what the catalogue says.")
@click.option("--licence", default="", metavar="WORDS", help="Their licence, before what the catalogue says.")
@click.option(
    "--timeout-s",
    type=click.FloatRange(1, 86_400),
    default=1800.0,
    show_default=True,
    metavar="S",
    help="A tile may take so long.",
)
def fetch(
    source: Path,
    catalogue: str,
    collection: str,
    asset: str,
    cache: Path | None,
    out: Path | None,
    corridor_m: float,
    whole: bool,
    only_list: bool,
    vertical_datum: str,
    attribution: str,
    licence: str,
    timeout_s: float,
) -> None:
    """Fetch the elevation that SOURCE needs, a territory file (.toml) or any vector file with a line.

    Tiles come from an open catalogue into a cache, of cloud-optimised ones only what lies along the line, and a
    territory file is written that names them, ready for `gradewright profile`, with their vertical datum, attribution
    and licence. An [elevation] that the source has is left out of it. Started again it goes on where it broke off.
    """
    from pipelines.elevation import fetch_planned
    from pipelines.fetched_territory import place_for, write
    from pipelines.fetching.cache import Cache
    from pipelines.fetching.download import Patience, Web
    from pipelines.fetching.plan import Options, plan

    territory = _territory(source)
    place = out if only_list else place_for(source, out)
    options = Options(
        half_width=corridor_m,
        whole=whole,
        collection=collection,
        asset=asset,
        vertical_datum=vertical_datum,
        attribution=attribution,
        licence=licence,
        patience=Patience(budget=timeout_s),
    )
    web = Web(options.patience)
    planned = plan(territory, catalogue, options, web)
    click.echo(f"{planned.title}: {_count(len(planned.tiles), 'tile')} along the line, ±{corridor_m:,.0f} m")
    folder = cache or (place or source).parent / "elevation-cache"
    if only_list:
        _list(planned, folder)
        return
    assert place is not None
    with _progress() as told:
        fetched = fetch_planned(planned, Cache(folder), options, web, told)
    write(place, source, territory, fetched)
    _tell(fetched)
    if territory.elevation is not None and place != source:
        click.echo(f"the [elevation] of {source} is not in it")
    click.echo(f"written: {place}\nnext: gradewright profile {shlex.quote(str(place))}")


def _territory(source: Path) -> Territory:
    from profiler import read_territory, territory_of_line

    return read_territory(source) if source.suffix.lower() == ".toml" else territory_of_line(source, ())


def _list(planned: Plan, folder: Path) -> None:
    """Every tile with its address and its size, where that is known without asking."""
    from pipelines.fetching.cache import sizes
    from pipelines.fetching.catalogues import shown

    known = sizes(folder)
    for tile in planned.tiles:
        here = next((place for place in tile.places if isinstance(place, Path) and place.is_file()), None)
        address = shown(str(here or tile.places[0]))
        size = here.stat().st_size if here else tile.size or known.get(address)
        click.echo(f"{tile.name}: {address}, {_bytes(size) if size else 'size unknown'}")
    for words in planned.said:
        click.echo(words)


def _tell(fetched: Fetched) -> None:
    """What came of every tile, then what all of them are."""
    states = {"fetched": "fetched", "cached": "in the cache", "absent": "not in the catalogue (sea, or not surveyed)"}
    for tile in fetched.tiles:
        record = tile.record
        amount = ""
        if tile.state == "fetched" and record.source_size and record.bytes_read:
            share = f" of {_bytes(record.source_size)}" if record.bytes_read != record.source_size else ""
            amount = f", {_bytes(record.bytes_read)}{share}"
        elif tile.state == "cached":
            amount = f", {_bytes(record.size)}"
        click.echo("; ".join([f"{states[tile.state]}: {tile.wanted.name}{amount}", *tile.said]))
    came = sum(tile.record.bytes_read for tile in fetched.tiles if tile.state == "fetched")
    click.echo(f"{_bytes(came)} came from the catalogue")
    for words in fetched.said:
        click.echo(words)
    click.echo(f"vertical datum: {fetched.vertical_datum}")
    click.echo(f"attribution: {fetched.attribution or 'not declared'}")
    click.echo(f"licence: {fetched.licence or 'not declared'}")


def _count(number: int, noun: str) -> str:
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def _bytes(size: int) -> str:
    """A size as people read it, in powers of ten."""
    if size >= 10**6:
        return f"{size / 10**6:,.1f} MB"
    return f"{size / 1000:,.1f} kB" if size >= 1000 else f"{size} bytes"


@contextmanager
def _progress() -> Iterator[Callable[[int], None]]:
    """Bytes that have come, on stderr, where somebody watches."""
    from rich.console import Console
    from rich.progress import DownloadColumn, Progress, TextColumn, TimeElapsedColumn, TransferSpeedColumn

    console = Console(stderr=True)
    columns = (TextColumn("fetching elevation"), DownloadColumn(), TransferSpeedColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("", total=None)
        yield lambda count: bar.advance(task, count)
