"""A written profile, read back from its GeoPackage."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyogrio
import shapely

from profiler.errors import InputError
from profiler.landmark import Landmarks
from profiler.profile import Draws, Profile
from profiler.read import layout
from profiler.route import Posts, Route

_AGAIN = "write the profile again"
_SQLITE = b"SQLite format 3\0"  # how every GeoPackage begins (OGC 12-128r18, requirement 1)

Table = dict[str, npt.NDArray[Any]]


def read_profile(source: Path | str) -> Profile:
    """Read a profile, draws included, as it was written.

    Parameters
    ----------
    source : path
        An output folder of ``gradewright profile``, or the profile.gpkg inside it.

    Raises
    ------
    InputError
        If there is no such file, it is damaged, or it was not written by this layout.
    """
    path = _file(source)
    with _naming(path):
        facts = _about(path)
        stations, points = _table(path, layout.STATIONS, {**layout.ROUTE_ARRAYS, **layout.PROFILE_ARRAYS})
        sources = stations["source_index"]
        if sources.min() < -1 or sources.max() >= len(facts.get("source_names", ())):
            raise InputError(f"{path}, layer {layout.STATIONS}", "a source_index names no source", _AGAIN)
        places = _table(path, "posts_map", layout.POSTS_MAP)[0]
        nowhere = np.full(sources.size, np.nan)
        route = Route(
            longitude=shapely.get_x(points) if points.size else nowhere,
            latitude=shapely.get_y(points) if points.size else nowhere,
            posts=Posts(**_fields(places, layout.POSTS_MAP), **_fields(facts, layout.POSTS_FACTS)),
            curves=_records(path, "curves"),
            corners=_records(path, "corners"),
            known_posts=_records(path, "known_posts"),
            structures=_records(path, "structures"),
            stations=_records(path, "places"),
            stops=_records(path, "stops"),
            limits=_records(path, "limits"),
            slow_orders=_records(path, "slow_orders"),
            **_fields(stations, layout.ROUTE_ARRAYS),
            **_fields(facts, layout.ROUTE_FACTS),
        )
        return Profile(
            route=route,
            draws=_draws(path),
            pvis=_records(path, "pvis"),
            known=_records(path, "known_elevations"),
            **_fields(stations, layout.PROFILE_ARRAYS),
            **_fields(facts, layout.PROFILE_FACTS),
        )


def is_written_profile(source: Path | str) -> bool:
    """Whether a path is to be read as a written profile, and not as a territory or a line.

    That is a folder, or a GeoPackage that says it is one.
    """
    path = Path(source)
    if path.is_dir():
        return path.suffix.lower() != ".gdb"
    if path.suffix.lower() != ".gpkg" or not path.is_file():
        return False
    try:
        return {"about", layout.STATIONS} <= set(pyogrio.list_layers(path)[:, 0])
    except pyogrio.errors.DataSourceError:
        return False


def read_landmarks(source: Path | str) -> Landmarks:
    """Read the landmarks of a written profile; ``source`` and errors as for `read_profile`."""
    path = _file(source)
    with _naming(path):
        _about(path)
        names = ("landmarks", "grade_runs", "straddles", "practice")
        return Landmarks(*(_records(path, name) for name in names))


def _file(source: Path | str) -> Path:
    path = Path(source)
    if path.is_dir():
        path = path / layout.FILE_NAME
    if not path.is_file():
        raise InputError(path, "there is no such file", "give an output folder of gradewright profile")
    try:
        with path.open("rb") as file:
            start = file.read(len(_SQLITE))
    except OSError as error:
        raise InputError(path, f"cannot be read ({error.strerror})", "see to its permissions") from error
    if start != _SQLITE:
        raise InputError(path, "is no GeoPackage", "give an output folder of gradewright profile")
    return path


@contextlib.contextmanager
def _naming(path: Path) -> Iterator[None]:
    """Name the file in every error that its content raises."""
    try:
        yield
    except InputError as error:
        if error.source.startswith(str(path)):
            raise
        raise InputError(path, f"{error.source}, {error.problem}", _AGAIN) from error
    except (RuntimeError, TypeError, ValueError) as error:  # GDAL or Python, on a damaged file
        raise InputError(path, "is cut short or damaged", _AGAIN) from error


def _about(path: Path) -> dict[str, Any]:
    """What the file says of itself, after making sure that it is whole and ours."""
    present = set(pyogrio.list_layers(path)[:, 0])
    foreign = InputError(path, "was not written by gradewright", "give a profile.gpkg of gradewright profile")
    if "about" not in present or {"key", "value"} - set(pyogrio.read_info(path, layer="about")["fields"]):
        raise foreign
    table = _table(path, "about", ("key", "value"))[0]
    try:
        facts = {key: json.loads(value) for key, value in zip(table["key"], table["value"], strict=True)}
    except (TypeError, ValueError) as error:
        raise InputError(f"{path}, table about", "a value is no JSON", _AGAIN) from error
    if facts.get("written_by") != layout.WRITTEN_BY:
        raise foreign
    version = facts.get("layout")
    if version != layout.VERSION:
        age = "a newer" if isinstance(version, int) and version > layout.VERSION else "another"
        raise InputError(path, f"has layout {version} of {age} gradewright, this one reads {layout.VERSION}", _AGAIN)
    missing = [name for name in layout.LAYERS if name not in present]
    if missing:
        raise InputError(path, f"layer {missing[0]} is missing", _AGAIN)
    for name, rows in dict(facts.get("rows", {})).items():
        found = pyogrio.read_info(path, layer=name, force_feature_count=True)["features"]
        if found != rows:
            raise InputError(f"{path}, layer {name}", f"has {found} rows and should have {rows}", _AGAIN)
    return facts


def _table(path: Path, layer: str, columns: Iterable[str]) -> tuple[Table, npt.NDArray[Any]]:
    """Columns by name, and the shapes."""
    wanted = list(columns)
    meta, _, shapes, values = pyogrio.raw.read(path, layer=layer, columns=wanted)
    table = dict(zip(meta["fields"], values, strict=True))
    for name in wanted:
        if name not in table:
            raise InputError(f"{path}, layer {layer}", f"column {name} is missing", _AGAIN)
    return table, shapely.from_wkb(shapes if shapes is not None else np.array([], dtype=object))


def _fields(values: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    """Arguments of a noun from columns or facts."""
    for name in names:
        if name not in values:
            raise InputError("table about", f"key {name} is missing", _AGAIN)
    return {
        field: tuple(values[name]) if isinstance(values[name], list) else values[name] for name, field in names.items()
    }


def _records(path: Path, layer: str) -> tuple[Any, ...]:
    noun, columns = layout.RECORDS[layer]
    table, _ = _table(path, layer, [column.name for column in columns])
    cells = [_cells(column, table[column.name].tolist()) for column in columns]
    fields = [column.field for column in columns]
    return tuple(noun(**dict(zip(fields, row, strict=True))) for row in zip(*cells, strict=True))


def _cells(column: layout.Column, values: list[Any]) -> list[Any]:
    if column.optional:
        return [None if value != value else value for value in values]
    return [column.kind(value) for value in values]


def _draws(path: Path) -> Draws:
    names = [name for name in pyogrio.read_info(path, layer="draws")["fields"] if name != "chainage_m"]
    table, _ = _table(path, "draws", ["chainage_m", *names])
    nodes = table["chainage_m"]
    return Draws(nodes, np.array([table[name] for name in names], dtype=np.float32).reshape(-1, nodes.size))
