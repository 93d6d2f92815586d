"""What a network's view shows of a line, out of its written profile."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from profiler.landmark import GradeRun, Landmark
from profiler.network_line import NetworkLine
from profiler.route import Posts
from profiler.units import PERCENT
from profiler.write.network_layers import LAYERS, Column, NetworkLayer, Rows, damaged, read_line

_ABOUT = NetworkLayer("about", "about", (Column("key", "Which fact"), Column("value", "The fact, as JSON")), None)
_STATIONS = NetworkLayer(
    "stations", "profile", (Column("chainage_m", "Chainage [m]"), Column("elevation_m", "Elevation [m]")), "Point"
)
_POSTS = NetworkLayer("posts", "posts_map", (Column("chainage_m", "Chainage [m]"), Column("post", "Post")), None)
_PLACES = NetworkLayer("places", "places", (Column("name", "Name of a station"),), "Point")
_OF_NETWORK = tuple(layer for layer in LAYERS if layer.name in ("grade_runs", "landmarks"))


def shown_line(key: str, path: Path, links: Sequence[tuple[str, str]] = ()) -> NetworkLine:
    """A line out of its written profile, with the words and addresses of what else there is.

    Raises
    ------
    InputError
        If the file is not there, damaged, or none of ours.
    """
    rows = {part.layer.name: part for part in read_line(key, path, (_ABOUT, _STATIONS, _POSTS, _PLACES, *_OF_NETWORK))}
    try:
        return _line(key, rows, links)
    except (KeyError, ValueError, TypeError, IndexError) as error:
        raise damaged(path) from error


def _line(key: str, rows: Mapping[str, Rows], links: Sequence[tuple[str, str]]) -> NetworkLine:
    facts = {name: json.loads(value) for _, name, value in rows["about"].cells}
    stations = np.array([cells[1:] for cells in rows["stations"].cells], dtype=float)
    posts = np.array([cells[1:] for cells in rows["posts"].cells], dtype=float)
    shapes, nowhere = rows["stations"].shapes, np.full(len(stations), np.nan)
    return NetworkLine(
        key=key,
        name=facts["name"],
        ends=(facts["ends"][0], facts["ends"][1]),
        units=facts["units"],
        posts=Posts(
            posts[:, 0],
            posts[:, 1],
            facts["post_unit"],
            facts["posts_stated"],
            facts["post_prefix"],
            facts["post_plus"],
        ),
        chainage=stations[:, 0],
        longitude=nowhere if shapes is None else shapely.get_x(shapes),
        latitude=nowhere if shapes is None else shapely.get_y(shapes),
        elevation=stations[:, 1],
        landmarks=tuple(_landmark(cells) for cells in _named(rows["landmarks"])),
        grade_runs=tuple(_run(cells) for cells in _named(rows["grade_runs"])),
        places=tuple(name for _, name in rows["places"].cells),
        vertical_datum=facts["vertical_datum"],
        invented=facts["invented"],
        attribution=facts.get("attribution", ""),
        licence=facts.get("licence", ""),
        assumptions=(*facts["line_assumptions"], *facts["assumptions"]),
        links=tuple(links),
    )


def _named(rows: Rows) -> list[dict[str, Any]]:
    names = [column.name for column in rows.layer.all_columns]
    return [dict(zip(names, cells, strict=True)) for cells in rows.cells]


def _landmark(cells: Mapping[str, Any]) -> Landmark:
    return Landmark(
        kind=cells["kind"],
        direction=cells["direction"],
        start=cells["start_m"],
        end=cells["end_m"],
        at=cells["at_m"],
        value=cells["value"],
        unit=cells["unit"],
        low=cells["low"],
        high=cells["high"],
        probability=cells["probability"],
        train_length=cells["train_length_m"],
        note=cells["note"] or "",
    )


def _run(cells: Mapping[str, Any]) -> GradeRun:
    return GradeRun(
        cells["start_m"],
        cells["end_m"],
        cells["grade_pct"] * PERCENT,
        cells["grade_se_pct"] * PERCENT,
        cells["rise_m"],
        cells["end_se_m"],
    )
