"""Elevation along a line from an open catalogue: what it needs is listed, fetched, checked and kept."""

from __future__ import annotations

from concurrent.futures import CancelledError, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipelines.fetching.cache import Cache
from pipelines.fetching.download import Told, Web
from pipelines.fetching.plan import Options, Plan, plan
from pipelines.fetching.run import Fetching, Tile
from profiler import CoverageError, ProfilerError, Territory

AT_ONCE = 4
"""Tiles fetched at the same time."""


@dataclass(frozen=True)
class Fetched:
    """Elevation of one product along a line.

    ``rasters`` are files, ``pattern`` matches just them; ``vertical_datum``, ``attribution`` and ``licence`` are for
    the [elevation] of a territory. ``tiles`` tell of every tile, ``said`` what was assumed.
    """

    rasters: tuple[Path, ...]
    pattern: Path
    vertical_datum: str
    attribution: str
    licence: str
    tiles: tuple[Tile, ...]
    said: tuple[str, ...]

    def elevation(self, rasters: str) -> dict[str, Any]:
        """The table [elevation] of a territory that names the files as ``rasters``."""
        table = {"rasters": [rasters], "vertical_datum": self.vertical_datum}
        return table | {key: value for key in ("attribution", "licence") if (value := getattr(self, key))}


def fetch(
    territory: Territory,
    catalogue: str,
    cache: Path,
    options: Options | None = None,
    told: Told = lambda _: None,
) -> Fetched:
    """Everything that a line needs of a catalogue, in ``cache``.

    Parameters
    ----------
    territory : Territory
        Its line counts, whatever elevation it states.
    catalogue : str
        A name of catalogues.toml, a folder or address of tiles in the SRTM layout, or "stac:" and an address.
    cache : Path
        A folder, made if missing; several processes may share it.
    options : Options, optional
    told : callable
        Told how many bytes have come since it was last told, by several threads.

    Raises
    ------
    InputError
        If the line or the catalogue is not what it claims to be, or cannot be reached. What has come is kept.
    CoverageError
        If the catalogue has nothing along the line.
    OutputError
        If the cache cannot be written.
    """
    options = options or Options()
    web = Web(options.patience)
    return fetch_planned(plan(territory, catalogue, options, web), Cache(cache), options, web, told)


def fetch_planned(plan: Plan, cache: Cache, options: Options, web: Web, told: Told = lambda _: None) -> Fetched:
    """Fetch what a plan names, several tiles at once; errors as `fetch`."""
    one = Fetching(plan, cache, options, web, told)
    failed: ProfilerError | None = None
    tiles: list[Tile] = []
    with ThreadPoolExecutor(AT_ONCE) as pool:
        running = [pool.submit(one.tile, wanted) for wanted in plan.tiles]
        try:
            for each in running:
                try:
                    tiles.append(each.result())
                except CancelledError:
                    continue
                except ProfilerError as error:  # tiles under way come to their end, and are kept
                    failed = failed or error
                    pool.shutdown(wait=False, cancel_futures=True)
        except BaseException:
            web.stopped.set()
            pool.shutdown(cancel_futures=True)
            raise
    if failed is not None:
        raise failed
    there = [tile for tile in tiles if tile.state != "absent"]
    if not there:
        raise CoverageError(plan.title, "has no tile along the line", "take another catalogue with --from")
    named = [
        # a pattern takes files by name: where they may overlap, the first of the plan goes first
        (tile.wanted.name if tile.wanted.exact else f"{i:03d}-{tile.wanted.name}", tile.place)
        for i, tile in enumerate(there)
    ]
    folder = cache.together(plan.key, named)
    return Fetched(
        rasters=tuple(sorted(folder.glob("*.tif"))),
        pattern=folder / "*.tif",
        vertical_datum=plan.vertical_datum,
        attribution=plan.attribution,
        licence=plan.licence,
        tiles=tuple(tiles),
        said=plan.said,
    )
