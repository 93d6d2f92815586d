"""PLAN of a network: its schema, checked whole, and the lines it asks for. Nothing is read of a line here."""

from __future__ import annotations

import glob
import hashlib
import os
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from profiler import (
    ElevationTable,
    InputError,
    SettingsTable,
    Train,
    check_tables,
    load_toml,
    read_train,
    told_at_once,
    toml_kind,
)

if TYPE_CHECKING:
    from pipelines.networks.area import AreaFiles

_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)", re.IGNORECASE)
_LONGEST = 50
Files = list[Annotated[str, Field(min_length=1)]]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class _Directed(_Table):
    to: str | None = None
    both: bool = False

    @model_validator(mode="after")
    def _one_way(self) -> _Directed:
        if self.to is not None and self.both:
            raise ValueError("to names one direction, and both asks for two: leave one of them out")
        return self


class NetworkTable(_Directed):
    """Of the network as a whole; units and trains hold for every line that states none of its own."""

    name: str = ""
    units: Literal["us", "metric"] | None = None
    invented: bool = False
    result: Literal["gpkg", "parquet"] = "gpkg"
    stations: bool = True
    territories: Files = []
    trains: Files = []


class LineTable(_Directed):
    """One line, with trains of its own."""

    territory: Annotated[str, Field(min_length=1)]
    trains: Files | None = None


class AreaTable(_Table):
    """All lines of an OpenStreetMap extract; each becomes a territory file."""

    path: Annotated[str, Field(min_length=1)]
    keep: dict[str, list[str]] | None = None
    between: list[tuple[str, str]] = []
    tracks: Literal["one", "all"] = "one"
    shortest_km: Annotated[float, Field(gt=0, le=100)] = 1.0


class PlanElevationTable(ElevationTable):
    """Rasters as in a territory file, or a catalogue to fetch them from, as `gradewright fetch --from` has it."""

    rasters: list[str] = Field(default_factory=list)
    catalogue: str | None = None
    cache: Annotated[str, Field(min_length=1)] = "elevation-cache"
    collection: str = ""
    asset: str = ""

    @model_validator(mode="after")
    def _one_way(self) -> PlanElevationTable:
        if bool(self.rasters) == (self.catalogue is not None):
            raise ValueError("give rasters, or a catalogue to fetch them from")
        if self.catalogue is None and self.model_fields_set & {"cache", "collection", "asset"}:
            raise ValueError("cache, collection and asset belong to a catalogue: name one, or leave them out")
        return self


class PlanFile(_Table):
    """A whole PLAN; rows of ``line`` are checked one by one, so that a wrong one is a failure of its own."""

    network: NetworkTable = NetworkTable()
    line: list[dict[str, Any]] = []
    area: AreaTable | None = None
    elevation: PlanElevationTable | None = None
    settings: SettingsTable = SettingsTable()


@dataclass(frozen=True)
class TrainFile:
    """A train and where it was read from."""

    path: Path
    train: Train

    @property
    def name(self) -> str:
        """What its folder is called."""
        return self.path.stem


@dataclass(frozen=True)
class Line:
    """A line to be done: ``key`` names its results; ``problem`` is why it cannot be; ``of_area`` if we write it."""

    key: str
    territory: Path
    trains: tuple[TrainFile, ...] = ()
    to: str | None = None
    both: bool = False
    problem: str = ""
    of_area: bool = False


@dataclass(frozen=True)
class Plan:
    """A checked PLAN. ``folder`` is where its paths start; ``elevation`` and ``settings`` are for lines without.

    ``area`` are the territory files of an area, which are still to be written.
    """

    lines: tuple[Line, ...]
    folder: Path
    name: str = ""
    units: str | None = None
    invented: bool = False
    result: str = "gpkg"
    stations: bool = True
    elevation: PlanElevationTable | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)
    area: AreaFiles | None = None

    @property
    def said(self) -> tuple[str, ...]:
        """What was found in reading an area, in sentences."""
        return () if self.area is None else self.area.said


def read_plan(path: Path, out: Path) -> Plan:
    """Read a PLAN, or take a folder of territory files for one; lines are in order of their keys. Nothing is written.

    Parameters
    ----------
    path : Path
    out : Path
        Where results will stand; territory files of an ``[area]`` belong into its folder ``area``.

    Raises
    ------
    InputError
        With everything that is wrong in the tables that hold for all lines; or if there is no line.
    """
    if path.is_dir():
        return _plan_of_folder(path)
    if not path.exists():
        raise InputError(path, "there is no such file or folder", "check the name")
    data = load_toml(path, "plan")
    file = check_tables(data, PlanFile, source=path)
    base, head = path.parent, file.network
    of_all = _trains(path, base, head.trains)
    rows = _once(_rows(file, base, path, of_all))
    area = None
    lines = [*rows, *_unlike(rows, _globbed(head, base, of_all))]
    if file.area is not None:
        if file.elevation is None:
            remedy = "add [elevation] with rasters, or with a catalogue"
            raise InputError(path, "its [area] has lines and no ground: there is no [elevation]", remedy)
        from pipelines.networks.area import files_of_area

        area = files_of_area(file.area, file.elevation, base, out / "area", invented=head.invented)
        lines += [Line("", territory, of_all, head.to, head.both, of_area=True) for territory in area.paths]
    if not lines:
        raise InputError(path, "names no line", "give territories in [network], [[line]] rows, or an [area]")
    return Plan(
        _keyed(lines, base),
        base,
        head.name or path.stem,
        head.units,
        head.invented,
        head.result,
        head.stations,
        file.elevation,
        file.settings.model_dump(include=file.settings.model_fields_set),
        area,
    )


def _plan_of_folder(folder: Path) -> Plan:
    """Every territory file of a folder and its direct subfolders; files of trains and plans are passed over."""
    files = [p for p in sorted((*folder.glob("*.toml"), *folder.glob("*/*.toml"))) if _is_territory(p)]
    if not files:
        raise InputError(folder, "holds no territory file", "put .toml files with a [centreline] into it")
    return Plan(_keyed([Line("", path) for path in files], folder), folder, folder.resolve().name)


def _is_territory(path: Path) -> bool:
    """Whether to take a file for a territory; one that cannot be parsed is, and fails by itself."""
    return toml_kind(path) in (None, "territory")


def _trains(source: Path | str, base: Path, files: Iterable[str]) -> tuple[TrainFile, ...]:
    """Trains of a list of files, all problems of it in one error."""
    found, problems = [], []
    for name in files:
        try:
            found.append(TrainFile(base / name, read_train(base / name)))
        except InputError as error:
            problems.append((f"trains: {error.source}: {error.problem}", error.remedy))
    count = Counter(train.name.casefold() for train in found)
    problems += [(f"trains: two files are called {name}", "rename one of them") for name, n in count.items() if n > 1]
    if problems:
        raise told_at_once(source, problems)
    return tuple(found)


def _rows(file: PlanFile, base: Path, path: Path, of_all: tuple[TrainFile, ...]) -> Iterator[Line]:
    """Lines of the rows [[line]]; a wrong one is a line with its problem."""
    head = file.network
    for number, row in enumerate(file.line, 1):
        place = f"{path}, line[{number}]"
        stated = row.get("territory")
        territory = base / stated if isinstance(stated, str) and stated else base / f"line[{number}]"
        try:
            table = check_tables(row, LineTable, source=place)
            own = of_all if table.trains is None else _trains(place, base, table.trains)
        except InputError as error:
            yield Line("", territory, problem=str(error))
            continue
        directed = table.to is not None or "both" in table.model_fields_set
        to, both = (table.to, table.both) if directed else (head.to, head.both)
        yield Line("", territory, own, to, both)


def _globbed(head: NetworkTable, base: Path, trains: tuple[TrainFile, ...]) -> Iterator[Line]:
    for entry in head.territories:
        if not glob.has_magic(entry) or (base / entry).is_file():  # names may have brackets too
            yield Line("", base / entry, trains, head.to, head.both)
            continue
        pattern = entry if Path(entry).is_absolute() else str(Path(glob.escape(str(base))) / entry)
        found = sorted(Path(name) for name in glob.glob(pattern, recursive=True))  # noqa: PTH207 (absolute patterns)
        found = [p for p in found if p.is_file() and _is_territory(p)]
        if not found:
            yield Line("", base / entry, problem=f"{base / entry}: no territory file matches; check the pattern")
        yield from (Line("", territory, trains, head.to, head.both) for territory in found)


def _once(rows: Iterable[Line]) -> list[Line]:
    """Rows, the second for the same territory turned into a problem."""
    kept: list[Line] = []
    seen: set[str] = set()
    for line in rows:
        place = _place(line)
        if place in seen and not line.problem:
            kept.append(
                Line("", line.territory, problem=f"{line.territory}: stands in two rows; leave one of them out")
            )
        else:
            kept.append(line)
        seen.add(place)
    return kept


def _unlike(rows: Iterable[Line], lines: Iterable[Line]) -> Iterator[Line]:
    """Lines of patterns, each once, without those that have a row of their own."""
    seen = {_place(line) for line in rows}
    for line in lines:
        if (place := _place(line)) not in seen:
            seen.add(place)
            yield line


def _place(line: Line) -> str:
    """Where its territory file stands, however the plan writes that; a link is another file, with its own folder."""
    return os.path.abspath(line.territory)  # noqa: PTH100 (no method of Path takes a/../ away without following links)


def _keyed(lines: list[Line], base: Path) -> tuple[Line, ...]:
    """Lines with keys: names of files, unique however letters are written, stable, sorted."""
    places = [Path(line.territory.name) if line.of_area else _inside(line.territory, base) for line in lines]
    names = [_name(place) for place in places]
    # a row that repeats another does not change that one's key
    count = Counter(name.casefold() for line, name in zip(lines, names, strict=True) if not line.problem)
    keyed: dict[str, Line] = {}
    for line, place, name in zip(lines, places, names, strict=True):
        key = name
        shared = count[name.casefold()] > (0 if line.problem else 1)
        if shared or name != "-".join(place.with_suffix("").parts) or _RESERVED.fullmatch(name):
            key += "-" + hashlib.sha256(place.as_posix().encode("utf-8", "surrogateescape")).hexdigest()[:8]
        while key in keyed:  # a second row for one territory
            key += "-again"
        keyed[key] = replace(line, key=key)
    return tuple(keyed[key] for key in sorted(keyed))


def _inside(path: Path, base: Path) -> Path:
    """A path as seen from the plan, so that the key does not tell of the machine."""
    try:
        return path.absolute().relative_to(base.absolute())
    except ValueError:
        return Path(*path.parts[-2:])


def _name(place: Path) -> str:
    """A file's name, safe anywhere, for the results of a territory."""
    return re.sub(r"[^\w-]+", "_", "-".join(place.with_suffix("").parts)).strip("_-")[:_LONGEST] or "line"
