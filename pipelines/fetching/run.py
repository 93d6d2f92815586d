"""One run over the tiles of a plan: out of the cache, in pieces, or whole; what is not as it should be is not kept."""

from __future__ import annotations

import datetime
import math
import tempfile
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rasterio.errors import RasterioError

from pipelines.fetching import cut
from pipelines.fetching.cache import Cache, Record, clean, link
from pipelines.fetching.catalogues import Wanted, is_address, shown
from pipelines.fetching.download import NoAnswerError, NoRangesError, NotThereError, Told, Web, cannot_write, download
from pipelines.fetching.plan import Options, Plan
from pipelines.fetching.ranged import RangedFile
from profiler import InputError, OutputError, sha256


@dataclass(frozen=True)
class Tile:
    """What became of one tile: ``state`` is "fetched", "cached" or "absent"; ``record`` stands beside its raster.

    ``said`` is what deserves to be said of this run.
    """

    wanted: Wanted
    state: str
    place: Path
    record: Record
    said: tuple[str, ...] = ()


class Fetching:
    """One run over the tiles of a plan, by several threads."""

    def __init__(self, plan: Plan, cache: Cache, options: Options, web: Web, told: Told) -> None:
        self.plan, self.cache, self.options, self.web, self.told = plan, cache, options, web, told
        self.first_choice = 0  # which of several namings a folder of tiles keeps to

    def tile(self, wanted: Wanted) -> Tile:
        """Out of the cache, or fetched into it."""
        try:
            return self._tile(wanted)
        except OSError as error:
            if isinstance(error, OutputError):
                raise
            raise cannot_write(self.cache.files, error) from error

    def _tile(self, wanted: Wanted) -> Tile:
        keys = self._keys(wanted)
        whole = self.cache.place(wanted.name, *keys)
        part = self.cache.place(wanted.name, *keys, self.plan.corridor.inside(wanted.box.grown(0.02)).key)
        places = (whole,) if self.options.whole else (whole, part)
        tile, damaged = self._cached(wanted, places)
        if tile is not None:
            return tile

        def go_on() -> None:
            self.web.check(str(wanted.places[0]), math.inf)

        with self.cache.alone(part, go_on), self.cache.alone(whole, go_on) as beginning:
            tile, _ = self._cached(wanted, places)  # another process may have been quicker
            if tile is None:
                try:
                    tile = self._from_places(wanted, whole, part, beginning)
                except NoAnswerError:
                    record, _ = self.cache.held(whole)
                    if record is None or not record.absent:
                        raise
                    tile = Tile(wanted, "absent", whole, record, ("as the server said earlier, it is not reached now",))
        said = ("the one in the cache was damaged and has been fetched again",) if damaged else ()
        return replace(tile, said=(*said, *tile.said))

    def _cached(self, wanted: Wanted, places: tuple[Path, ...]) -> tuple[Tile | None, bool]:
        """The first of these rasters that is there, and whether one before it was damaged."""
        damaged = False
        for place in places:
            record, broken = self.cache.held(place)
            damaged = damaged or broken
            if record is not None and not record.absent:
                return Tile(wanted, "cached", place, record, record.said), damaged
        return None, damaged

    def _keys(self, wanted: Wanted) -> tuple[str, ...]:
        """What tells a tile from all others; a file on this machine may change under its name."""
        here = next((place for place in wanted.places if isinstance(place, Path) and place.is_file()), None)
        if here is None:
            return (wanted.key,)
        return str(here.resolve()), str(here.stat().st_size), str(here.stat().st_mtime_ns)

    def _from_places(self, wanted: Wanted, whole: Path, part: Path, beginning: Path) -> Tile:
        order = sorted(range(len(wanted.places)), key=lambda i: (i != self.first_choice, i))
        for i in order:
            place = wanted.places[i]
            try:
                if isinstance(place, Path):
                    if not place.is_file():
                        continue
                    tile = self._local(wanted, place, whole)
                else:
                    tile = self._remote(wanted, place, whole, part, beginning)
            except NotThereError:
                continue
            self.first_choice = i
            return tile
        record = self._record(str(wanted.places[0]), absent=True)
        self.cache.note(whole, record)
        return Tile(wanted, "absent", whole, record)

    def _record(self, address: str, **more: Any) -> Record:
        now = datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
        return Record(shown(address), self.plan.key, now, **more)

    def _tags(self, address: str) -> dict[str, str]:
        source = shown(address) if is_address(address) else Path(address).name
        return {"SOURCE": source, "ATTRIBUTION": self.plan.attribution, "LICENCE": self.plan.licence}

    def _local(self, wanted: Wanted, path: Path, whole: Path) -> Tile:
        try:
            path.open("rb").close()
        except OSError as error:
            raise InputError(path, f"cannot be read ({error.strerror or error})", "check its permissions") from error
        record = self._record(str(path), source_size=path.stat().st_size)
        return self._converted(wanted, path, whole, record, path.name)

    def _remote(self, wanted: Wanted, address: str, whole: Path, part: Path, beginning: Path) -> Tile:
        said: tuple[str, ...] = ()
        if not self.options.whole and address.lower().partition("?")[0].endswith((".tif", ".tiff")):
            try:
                return self._pieces(wanted, address, part)
            except NoRangesError:
                said = ("the server gives whole files only",)
        return self._all_of(wanted, address, whole, beginning, said)

    def _pieces(self, wanted: Wanted, address: str, part: Path) -> Tile:
        """The blocks of a remote GeoTIFF under the corridor, on its own grid."""
        source = shown(address)
        file = RangedFile(self.web, address, self.told)
        self._check_size(wanted, file.size, source)
        aside, name = self.cache.aside(part), f"{part.stem}.tif"
        try:
            try:
                with cut.opened(name, opener=file.opener(name)) as dataset:
                    cut.check(dataset, wanted, source)
                    blocks = cut.blocks_under(dataset, self.plan.corridor)
                    values = cut.write_cut(dataset, blocks, aside, source, self._tags(address))
            except (RasterioError, InputError) as error:
                if file.error is None:
                    raise error if isinstance(error, InputError) else cut.damaged(source, error) from error
            if file.error is not None:  # also where GDAL made nothing of it
                raise file.error
            said = values.words()
            if wanted.sha256:
                said += ("its checksum covers the whole file and was not compared with the part",)
            record = self._record(
                address,
                etag=file.version.etag,
                modified=file.version.modified,
                source_size=file.size,
                bytes_read=file.came,
                said=said,
            )
            return Tile(wanted, "fetched", part, self.cache.keep(aside, part, record), said)
        finally:
            aside.unlink(missing_ok=True)

    def _all_of(self, wanted: Wanted, address: str, whole: Path, beginning: Path, said: tuple[str, ...]) -> Tile:
        """A whole file as it is, or a tile of the SRTM layout made a GeoTIFF."""
        came = 0

        def told(count: int) -> None:
            nonlocal came
            came += count
            self.told(count)

        version = download(self.web, address, beginning, told)
        source = shown(address)
        try:
            self._check_size(wanted, version.size or 0, source)
            if wanted.sha256 and sha256(beginning) != wanted.sha256:
                raise InputError(source, "does not have the checksum that its catalogue states", "start again")
            record = self._record(
                address,
                etag=version.etag,
                modified=version.modified,
                source_size=version.size,
                bytes_read=came,
                said=said,
            )
            return self._converted(wanted, beginning, whole, record, source)
        finally:
            beginning.unlink(missing_ok=True)

    def _check_size(self, wanted: Wanted, size: int, source: str) -> None:
        if wanted.size is not None and size != wanted.size:
            raise InputError(source, f"has {size:,} bytes, its catalogue states {wanted.size:,}", "start again later")

    def _converted(self, wanted: Wanted, path: Path, whole: Path, record: Record, source: str) -> Tile:
        """A whole file that is here, checked from its first cell to its last, into the cache."""
        kind, aside = cut.kind_of(path, source), self.cache.aside(whole)
        try:
            if kind == "tiff":
                with cut.readable(path, source) as dataset:
                    cut.check(dataset, wanted, source)
                    values = cut.read_all(dataset, source)
                link(path, aside)
            else:
                with tempfile.TemporaryDirectory(dir=self.cache.files, prefix=f".{whole.stem}-") as folder:
                    tile = Path(folder) / f"{clean(wanted.name)}.hgt"  # GDAL takes its place from the name
                    if kind == "hgt":
                        link(path, tile)
                    else:
                        cut.unpack(path, kind, tile, source)
                        if cut.kind_of(tile, source) != "hgt":
                            raise cut.damaged(source)
                    with cut.readable(tile, source, "SRTMHGT") as dataset:
                        cut.check(dataset, wanted, source)
                        values = cut.write_cut(
                            dataset, cut.all_blocks(dataset), aside, source, self._tags(record.address)
                        )
            said = (*record.said, *values.words())
            kept = self.cache.keep(aside, whole, replace(record, said=said))
            return Tile(wanted, "fetched", whole, kept, said)
        finally:
            aside.unlink(missing_ok=True)
