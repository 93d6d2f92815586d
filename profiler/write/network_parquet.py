"""A network as one GeoParquet 1.1 file: a group of rows a line, all layers in one table, told apart by a column."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pyproj
import shapely

from profiler.files import output_error
from profiler.write.geoparquet import pyarrow_here
from profiler.write.network_layers import FAILURES, LINE, Column, NetworkLayer, Rows


def write_parquet(
    path: Path,
    layers: Sequence[NetworkLayer],
    lines: Iterable[Sequence[Rows]],
    failures: Iterable[tuple[str, str, str]],
    about: Mapping[str, str],
) -> None:
    """Write a table whose column ``layer`` names the layer of each row; columns of other layers are empty there.

    Raises
    ------
    InputError
        If pyarrow is not installed.
    OutputError
        If the file cannot be written.
    """
    pyarrow = pyarrow_here()
    schema = _schema(pyarrow, (*layers, FAILURES), {"geo": json.dumps(_geo(layers)), "gradewright": json.dumps(about)})
    failed = [Rows(FAILURES, list(failures), None)]
    try:
        writer = pyarrow.parquet.ParquetWriter(path, schema, compression="zstd")
    except OSError as error:
        raise output_error(path, error) from error
    try:
        for parts in itertools.chain(lines, [failed]):  # what fails in reading passes as it is
            table = pyarrow.Table.from_batches([_batch(pyarrow, schema, part) for part in parts], schema)
            try:
                writer.write_table(table, row_group_size=max(table.num_rows, 1))
            except OSError as error:
                raise output_error(path, error) from error
    finally:
        try:
            writer.close()
        except OSError as error:
            raise output_error(path, error) from error


def _schema(pyarrow: Any, layers: Sequence[NetworkLayer], said: Mapping[str, str]) -> Any:
    names = pyarrow.dictionary(pyarrow.int32(), pyarrow.string())
    columns: dict[str, Column] = {}
    for layer in layers:
        columns |= {column.name: column for column in layer.all_columns if column.name not in columns}
    return pyarrow.schema(
        [
            pyarrow.field("layer", names, metadata={"description": "Layer of the row"}),
            *(
                pyarrow.field(
                    name,
                    names if column is LINE else pyarrow.string() if column.text else pyarrow.float64(),
                    metadata={"description": column.description},
                )
                for name, column in columns.items()
            ),
            pyarrow.field("geometry", pyarrow.binary()),
        ],
        dict(said),
    )


def _batch(pyarrow: Any, schema: Any, rows: Rows) -> Any:
    """Rows of one layer, empty in every column that others have."""
    own = {column.name: i for i, column in enumerate(rows.layer.all_columns)}
    arrays = []
    for field in schema:
        cells: Sequence[Any] = [None] * len(rows.cells)
        if field.name == "layer":
            cells = [rows.layer.name] * len(rows.cells)
        elif field.name == "geometry" and rows.shapes is not None:
            cells = shapely.to_wkb(rows.shapes, byte_order=1).tolist()
        elif field.name in own:
            cells = [row[own[field.name]] for row in rows.cells]
        arrays.append(pyarrow.array(cells, field.type))
    return pyarrow.record_batch(arrays, schema=schema)


def _geo(layers: Sequence[NetworkLayer]) -> dict[str, Any]:
    """File metadata by GeoParquet 1.1.0."""
    kinds = sorted({layer.kind for layer in layers if layer.kind})
    geometry = {"encoding": "WKB", "geometry_types": kinds, "crs": pyproj.CRS("OGC:CRS84").to_json_dict()}
    return {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": geometry}}
