"""A network as one GeoPackage, filled line by line: memory does not grow with the number of lines."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely

from profiler.write.geopackage import writing
from profiler.write.gis import describe
from profiler.write.network_layers import FAILURES, NetworkLayer, Rows

_HEADER = b"GP\0\1" + (4326).to_bytes(4, "little")
_HEADER_BOX = b"GP\0\3" + (4326).to_bytes(4, "little")


def write_gpkg(
    path: Path,
    layers: Sequence[NetworkLayer],
    lines: Iterable[Sequence[Rows]],
    failures: Iterable[tuple[str, str, str]],
    about: Mapping[str, str],
) -> None:
    """Write the layers, the table of failures and what the file says of itself; the same rows give the same bytes.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    with writing(path):
        for layer in (*layers, FAILURES):
            _make(path, layer)
        _make_about(path)
    with _filling(path) as file:
        filling = {layer.name: _Filling(file, layer) for layer in layers}
        for rows in lines:  # errors of reading pass as they are: only what writes is in `writing`
            with writing(path):
                for part in rows:
                    filling[part.layer.name].add(part)
        with writing(path):
            for one in filling.values():
                one.finish()
            file.executemany('INSERT INTO "failures" (line, territory, error) VALUES (?, ?, ?)', failures)
            file.executemany('INSERT INTO "about" (key, value) VALUES (?, ?)', about.items())
            file.execute("COMMIT")
            describe(file, _meanings((*layers, FAILURES)))


def _make(path: Path, layer: NetworkLayer) -> None:
    """An empty layer with its index of places."""
    columns = layer.all_columns
    pyogrio.raw.write(
        path,
        np.array([], dtype=object) if layer.kind else None,
        [np.array([], dtype=object if column.text else float) for column in columns],
        [column.name for column in columns],
        layer=layer.name,
        driver="GPKG",
        geometry_type=layer.kind,
        crs="EPSG:4326" if layer.kind else None,
        dataset_options={"ADD_GPKG_OGR_CONTENTS": "NO"},
        layer_options={"SPATIAL_INDEX": "YES"} if layer.kind else None,
    )


def _make_about(path: Path) -> None:
    empty = np.array([], dtype=object)
    pyogrio.raw.write(
        path, None, [empty, empty], ["key", "value"], layer="about", driver="GPKG", geometry_type=None, crs=None
    )


@contextlib.contextmanager
def _filling(path: Path) -> Iterator[sqlite3.Connection]:
    """One transaction without a journal: the file is written aside, and thrown away if anything goes wrong."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as file:
        file.execute("PRAGMA journal_mode = OFF")
        file.execute("PRAGMA synchronous = OFF")
        file.execute("BEGIN")
        yield file


class _Filling:
    """A layer being filled: rows, their boxes in the index, and the box of all."""

    def __init__(self, file: sqlite3.Connection, layer: NetworkLayer) -> None:
        self.file, self.layer, self.rows = file, layer, 0
        self.box = np.array([np.inf, np.inf, -np.inf, -np.inf])
        # the index is filled here: its triggers call functions that only GDAL has, and are put back at the end
        self.triggers = [
            (name, text)
            for name, text in file.execute(
                "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (layer.name,)
            )
        ]
        for name, _ in self.triggers:
            file.execute(f'DROP TRIGGER "{name}"')
        names = ["fid", *(column.name for column in layer.all_columns), "geom"]
        quoted, marks = ", ".join(f'"{name}"' for name in names), ", ".join("?" * len(names))
        self.insert = f'INSERT INTO "{layer.name}" ({quoted}) VALUES ({marks})'

    def add(self, rows: Rows) -> None:
        fids = range(self.rows + 1, self.rows + len(rows.cells) + 1)
        self.rows += len(rows.cells)
        if rows.shapes is None or not len(rows.cells):
            self.file.executemany(
                self.insert, [(fid, *cells, None) for fid, cells in zip(fids, rows.cells, strict=True)]
            )
            return
        boxes = shapely.bounds(rows.shapes)
        self.box = np.r_[
            np.minimum(self.box[:2], boxes[:, :2].min(axis=0)), np.maximum(self.box[2:], boxes[:, 2:].max(axis=0))
        ]
        blobs = _binary(rows.shapes, boxes, point=self.layer.kind == "Point")
        self.file.executemany(
            self.insert, [(fid, *cells, blob) for fid, cells, blob in zip(fids, rows.cells, blobs, strict=True)]
        )
        self.file.executemany(
            f'INSERT INTO "rtree_{self.layer.name}_geom" VALUES (?, ?, ?, ?, ?)',
            [
                (fid, west, east, south, north)
                for fid, (west, south, east, north) in zip(fids, boxes.tolist(), strict=True)
            ],
        )

    def finish(self) -> None:
        for _, text in self.triggers:
            self.file.execute(text)
        if np.isfinite(self.box).all():
            self.file.execute(
                "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? WHERE table_name = ?",
                (*self.box.tolist(), self.layer.name),
            )


def _binary(shapes: Any, boxes: Any, *, point: bool) -> list[bytes]:
    """Binary of a GeoPackage (OGC 12-128r18, section 2.1.3): boxes with everything but points."""
    plain = shapely.to_wkb(shapes, byte_order=1)
    if point:
        return [_HEADER + wkb for wkb in plain]
    order = np.ascontiguousarray(boxes[:, [0, 2, 1, 3]], dtype="<f8")
    return [_HEADER_BOX + box.tobytes() + wkb for box, wkb in zip(order, plain, strict=True)]


def _meanings(layers: Sequence[NetworkLayer]) -> Iterator[tuple[str, str, str]]:
    for layer in layers:
        for column in layer.all_columns:
            yield layer.name, column.name, column.description
