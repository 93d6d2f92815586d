"""From lines of a plan to tasks: territories read and completed, all inputs hashed, rasters chosen."""

from __future__ import annotations

import functools
import glob
import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pipelines.networks.ground import Rasters, identity
from pipelines.networks.job import Task, failed, versions
from pipelines.networks.plan import Line, Plan
from pipelines.networks.records import Outcome, done_before, forget
from profiler import Centreline, ElevationTable, InputError, Territory, read_centreline, read_territory


@dataclass(frozen=True)
class Options:
    """What was asked for beside the plan: ``folder`` each line's own output folder, with or without ``pictures``;
    ``again`` everything once more."""

    trim: bool = False
    folder: bool = False
    pictures: bool = False
    again: bool = False


def tasks_of(plan: Plan, out: Path, options: Options) -> Iterator[Task | Outcome]:
    """A task for each line, in order; where none is needed, or none is possible, the outcome at once."""
    rasters = Rasters()
    for line in plan.lines:
        if line.problem:
            yield Outcome(line.key, line.territory.name, error=line.problem)
            continue
        try:
            task = _task(line, plan, out, options, rasters)
        except Exception as error:
            yield failed(error, line.key, line.territory.name, out)
            continue
        if options.again:
            forget(out, task.key)
        earlier = done_before(out, task.key, task.inputs)
        yield earlier if earlier is not None and earlier.finished(task.briefed) else task


def _task(line: Line, plan: Plan, out: Path, options: Options, rasters: Rasters) -> Task:
    territory = completed(read_territory(line.territory), plan, of_area=line.of_area)
    territory = fetched(territory, plan, of_area=line.of_area)
    ground = rasters.about(territory, drawing) if (drawing := _drawing(territory)) is not None else None
    stated = {
        "versions": versions(),
        "territory": territory.model_dump(mode="json"),
        "files": [(role, file_hash(path)) for path, role in territory.named_files() if role != "territory"],
        "rasters": identity(ground),
        "options": (options.trim, options.folder, options.pictures),
    }
    trains = [(file.name, file_hash(file.path)) for file in line.trains]
    return Task(
        line.key,
        territory,
        out,
        _stated_hash(stated),
        _stated_hash((trains, line.to, line.both)) if trains else "",
        ground,
        line.trains,
        line.to,
        line.both,
        options.trim,
        options.folder,
        options.pictures,
        versions(),
    )


def _stated_hash(stated: object) -> str:
    return hashlib.sha256(json.dumps(stated, sort_keys=True).encode()).hexdigest()


def completed(territory: Territory, plan: Plan, *, of_area: bool = False) -> Territory:
    """A territory with what the plan states for all; what it states itself goes before.

    Lines of an area have the plan's own table of elevation, whose paths are shorter to read.
    """
    changes: dict[str, object] = {}
    if plan.settings:
        stated = territory.settings.model_dump(include=territory.settings.model_fields_set)
        changes["settings"] = type(territory.settings)(**{**plan.settings, **stated})
    route: dict[str, object] = {}
    if plan.units is not None and "units" not in territory.route.model_fields_set:
        route["units"] = plan.units
    if plan.invented and not territory.route.invented:
        route["invented"] = True
    if route:
        changes["route"] = territory.route.model_copy(update=route)
    if plan.elevation is not None and plan.elevation.rasters and _wants_elevation(territory, of_area):
        stated = plan.elevation.model_dump(include=plan.elevation.model_fields_set)
        changes |= {"elevation": ElevationTable(**stated), "raster_folder": plan.folder}
    return territory.model_copy(update=changes) if changes else territory


def fetched(territory: Territory, plan: Plan, *, of_area: bool = False) -> Territory:
    """A territory with what the plan's catalogue has along its line; what came before stays in the cache.

    Raises
    ------
    InputError, CoverageError, OutputError
        As `pipelines.elevation.fetch`.
    """
    table = plan.elevation
    if table is None or table.catalogue is None or not _wants_elevation(territory, of_area):
        return territory
    from pipelines.elevation import fetch
    from pipelines.fetching.plan import Options as OfFetch

    asked = OfFetch(
        collection=table.collection,
        asset=table.asset,
        vertical_datum=table.vertical_datum if "vertical_datum" in table.model_fields_set else "",
        attribution=table.attribution,
        licence=table.licence,
    )
    folder = plan.folder / table.catalogue  # of tiles: its path starts at the plan, as all do
    source = str(folder) if folder.is_dir() else table.catalogue
    found = fetch(territory, source, plan.folder / table.cache, asked)
    folder = found.pattern.parent
    elevation = ElevationTable(**found.elevation(f"{folder.name}/{found.pattern.name}"))
    return territory.model_copy(update={"elevation": elevation, "raster_folder": folder.parent})


def _wants_elevation(territory: Territory, of_area: bool) -> bool:
    return territory.profile is None and (of_area or territory.elevation is None)


def _drawing(territory: Territory) -> Centreline | None:
    """The line as drawn, None where rasters play no part."""
    table = territory.centreline
    if table is None or territory.elevation is None:
        return None
    return read_centreline(territory.folder / table.path, layer=table.layer, keep=table.keep)


def file_hash(path: Path) -> str:
    """SHA-256 of a file with those that belong to it; many territories may share one, read once while unchanged.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    try:
        parts = [path]
        if path.suffix.lower() == ".shp":
            parts = sorted(p for p in path.parent.glob(f"{glob.escape(path.stem)}.*") if p.is_file()) or parts
        parts = [p for part in parts for p in (sorted(part.iterdir()) if part.is_dir() else [part])]
        stats = [part.stat() for part in parts]
    except FileNotFoundError:
        raise InputError(path, "there is no such file", "check the name") from None
    except OSError as error:
        raise InputError(path, f"cannot be read ({error.strerror})", "see to its permissions") from error
    return _hash(tuple((str(p), s.st_size, s.st_mtime_ns) for p, s in zip(parts, stats, strict=True)), path)


@functools.lru_cache(maxsize=1024)
def _hash(parts: tuple[tuple[str, int, int], ...], path: Path) -> str:
    digest = hashlib.sha256()
    for name, _, _ in parts:
        try:
            with Path(name).open("rb") as file:
                digest.update(hashlib.file_digest(file, "sha256").digest())
        except OSError as error:
            raise InputError(path, f"cannot be read ({error.strerror})", "see to its permissions") from error
    return digest.hexdigest()
