"""The canonical result: one GeoPackage with the profile, its landmarks and its draws.

It opens in any GIS, and `profiler.read.profile` reads it back bit for bit.
"""

from __future__ import annotations

import contextlib
import dataclasses
import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyogrio
import shapely

from profiler.errors import OutputError
from profiler.files import output_error, source_date
from profiler.landmark import Landmarks
from profiler.profile import Profile
from profiler.read import layout
from profiler.route import Posts, Route
from profiler.units import KMH, PERCENT, degree_of_curve
from profiler.wording import CAUTION
from profiler.write.shapes import along, position

_NO_DATE = "2000-01-01T00:00:00.000Z"
_STRUCTURES = np.array(["", "tunnel", "bridge"], dtype=object)

Array = npt.NDArray[Any]


@dataclass(frozen=True, eq=False)
class _Layer:
    """A layer to write: columns (n,), and shapes (n,) of one kind; none makes it a plain table."""

    name: str
    columns: Mapping[str, Array]
    shapes: Array | None = None
    shape_kind: str | None = None

    @property
    def rows(self) -> int:
        return next(iter(self.columns.values())).size


def write_geopackage(profile: Profile, landmarks: Landmarks, path: Path) -> None:
    """Write a profile and its landmarks to ``path``; a file that stands there is replaced.

    Layers: ``centreline``, ``profile`` (a point a station), ``landmarks``, ``grade_runs``,
    ``pvis``, ``known_elevations``, ``curves``, ``structures``, ``places``, ``stops``, ``limits``,
    ``slow_orders``, ``posts``; tables: ``straddles``, ``draws`` (a row a node, a column a draw),
    ``posts_map``, ``about`` (JSON values).
    Coordinates are EPSG:4326; of a line that lies on no map all layers are tables. The same profile gives
    the same bytes; the date inside is fixed, or SOURCE_DATE_EPOCH.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    path = Path(path)
    with np.errstate(invalid="ignore"):  # shapes on no map are made of nothing
        layers = _layers(profile, landmarks)
    if not profile.route.on_map:
        layers = [dataclasses.replace(layer, shapes=None, shape_kind=None) for layer in layers]
    layers.append(_about(profile, {layer.name: layer.rows for layer in layers}))
    with writing(path):
        path.unlink(missing_ok=True)
        for layer in layers:
            _write(path, layer)


@contextlib.contextmanager
def writing(path: Path) -> Iterator[None]:
    """Keep the clock out of a GeoPackage, and turn what goes wrong with it into a sentence.

    Raises
    ------
    OutputError
        If GDAL or SQLite cannot write it.
    """
    try:
        with _configured():
            yield
    except OSError as error:
        raise output_error(path, error) from error
    except (RuntimeError, sqlite3.Error) as error:  # they say no more than this when a disk is full
        raise OutputError(
            path, f"cannot be written ({error})", "free some space or choose another folder with --out"
        ) from error


@contextlib.contextmanager
def _configured() -> Iterator[None]:
    """A fixed date; and no waiting for the disk after each layer: the file is not in its place before it is whole."""
    date = source_date()
    text = _NO_DATE if date is None else date.strftime("%Y-%m-%dT%H:%M:%S.000Z")
    options = {"OGR_CURRENT_DATE": text, "OGR_SQLITE_SYNCHRONOUS": "OFF", "OGR_SQLITE_JOURNAL": "MEMORY"}
    pyogrio.set_gdal_config_options(options)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(dict.fromkeys(options))


def _write(path: Path, layer: _Layer) -> None:
    spatial = layer.shapes is not None
    pyogrio.raw.write(
        path,
        shapely.to_wkb(layer.shapes) if spatial else None,
        list(layer.columns.values()),
        list(layer.columns),
        layer=layer.name,
        driver="GPKG",
        geometry_type=layer.shape_kind,
        crs="EPSG:4326" if spatial else None,
        # What GDAL does when it closes the file, a full disk leaves undone without a word: no index of
        # places, no running count of rows.
        dataset_options={"ADD_GPKG_OGR_CONTENTS": "NO"},
        layer_options={"SPATIAL_INDEX": "NO"} if spatial else None,
    )


def _layers(profile: Profile, landmarks: Landmarks) -> list[_Layer]:
    route = profile.route
    records: dict[str, Sequence[Any]] = {
        "landmarks": landmarks.items,
        "grade_runs": landmarks.grade_runs,
        "pvis": profile.pvis,
        "known_elevations": profile.known,
        "straddles": landmarks.straddles,
        "curves": route.curves,
        "corners": route.corners,
        "known_posts": route.known_posts,
        "practice": landmarks.practice,
        "structures": route.structures,
        "places": route.stations,
        "stops": route.stops,
        "limits": route.limits,
        "slow_orders": route.slow_orders,
    }
    return [
        _centreline(route),
        _stations(profile),
        *(_records(name, items, route) for name, items in records.items()),
        _whole_posts(route),
        _draws(profile),
        _Layer("posts_map", {name: getattr(route.posts, field) for name, field in layout.POSTS_MAP.items()}),
    ]


def _centreline(route: Route) -> _Layer:
    facts = {"name": route.name, "start": route.ends[0], "end": route.ends[1], "source": route.source}
    columns: dict[str, Array] = {name: np.array([text], dtype=object) for name, text in facts.items()}
    columns["length_m"] = np.array([route.length])
    line = shapely.linestrings(np.column_stack([route.longitude, route.latitude]))
    return _Layer("centreline", columns, np.array([line]), "LineString")


def _stations(profile: Profile) -> _Layer:
    route = profile.route
    sources = np.array([*profile.source_names, ""], dtype=object)  # -1 is the last, the empty one
    columns = {
        **{name: getattr(route, field) for name, field in layout.ROUTE_ARRAYS.items()},
        **{name: getattr(profile, field) for name, field in layout.PROFILE_ARRAYS.items()},
        "post": route.posts.at(route.chainage),
        "grade_pct": profile.grade / PERCENT,
        "grade_se_pct": profile.grade_se / PERCENT,
        "degree_of_curve": profile.degree,
        "structure": _STRUCTURES[route.structure_at(route.chainage).astype(int)],
        "ground_source": sources[profile.ground_source],
    }
    return _Layer(layout.STATIONS, columns, shapely.points(route.longitude, route.latitude), "Point")


def _records(name: str, items: Sequence[Any], route: Route) -> _Layer:
    columns: dict[str, Array] = {
        column.name: np.array(
            [getattr(item, column.field) for item in items],
            dtype=object if column.kind is str else column.kind,
        )
        for column in layout.RECORDS[name].columns
    }
    columns |= _for_people(columns, route.posts)
    if "at_m" in columns or "chainage_m" in columns:
        places = columns["at_m"] if "at_m" in columns else columns["chainage_m"]
        return _Layer(name, columns, shapely.points(*position(route, places)), "Point")
    if "start_m" in columns:
        ends = zip(columns["start_m"], columns["end_m"], strict=True)
        lines = [shapely.linestrings(np.column_stack(position(route, along(route, *both)))) for both in ends]
        return _Layer(name, columns, np.array(lines, dtype=object), "LineString")
    return _Layer(name, columns)


def _for_people(columns: Mapping[str, Array], posts: Posts) -> dict[str, Array]:
    """What a reader of the map expects to see beside the SI columns."""
    extra: dict[str, Array] = {}
    for place in ("at_m", "chainage_m", "start_m"):
        if place in columns:
            extra["post"] = posts.at(columns[place])
            break
    for name in ("grade", "grade_se", "grade_in", "grade_out"):
        if f"{name}_ratio" in columns:
            extra[f"{name}_pct"] = columns[f"{name}_ratio"] / PERCENT
    if "curvature_per_m" in columns:
        extra["degree_of_curve"] = degree_of_curve(columns["curvature_per_m"])
    if "speed_m_per_s" in columns:
        extra["speed_kmh"] = columns["speed_m_per_s"] / KMH
    return extra


def _whole_posts(route: Route) -> _Layer:
    """Points at whole posts; where a post stands twice, both."""
    post, chainage = np.array(route.whole_posts, dtype=float).reshape(-1, 2).T
    points = shapely.points(*position(route, chainage))
    return _Layer("posts", {"post": post, "chainage_m": chainage}, points, "Point")


def _draws(profile: Profile) -> _Layer:
    draws = profile.draws
    columns = {layout.DRAW.format(i + 1): elevation for i, elevation in enumerate(draws.elevation)}
    return _Layer("draws", {"chainage_m": draws.chainage, **columns})


def _about(profile: Profile, rows: Mapping[str, int]) -> _Layer:
    route = profile.route
    facts: dict[str, object] = {
        "layout": layout.VERSION,
        "written_by": layout.WRITTEN_BY,
        "caution": CAUTION,
        **{key: getattr(route, field) for key, field in layout.ROUTE_FACTS.items()},
        **{key: getattr(route.posts, field) for key, field in layout.POSTS_FACTS.items()},
        **{key: getattr(profile, field) for key, field in layout.PROFILE_FACTS.items()},
        "rows": rows,
    }
    values = [json.dumps(fact, ensure_ascii=False, default=lambda x: x.item()) for fact in facts.values()]
    return _Layer("about", {"key": np.array(list(facts), dtype=object), "value": np.array(values, dtype=object)})
