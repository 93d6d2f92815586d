"""The stations as GeoParquet 1.1: one row a station, a point, every figure in its own column."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyproj

from profiler.errors import InputError
from profiler.landmark import Landmarks
from profiler.profile import Profile
from profiler.units import FloatArray
from profiler.write.columns import meaning
from profiler.write.statement import facts, left_out
from profiler.write.tables import tables_of


def write_geoparquet(profile: Profile, landmarks: Landmarks, path: Path) -> tuple[str, ...]:
    """Write the table of stations; what it says of itself is JSON under the key ``gradewright`` of the file.

    Raises
    ------
    InputError
        If pyarrow is not installed.
    OSError
        If the file cannot be written.
    """
    pyarrow = pyarrow_here()
    columns = tables_of(profile, landmarks)["profile"]
    points = np.column_stack([np.array(columns[name], dtype=float) for name in ("longitude", "latitude")])
    fields, arrays = [], []
    for name, cells in columns.items():
        it = meaning("profile", name)
        text = it.type == "string"
        values = list(cells) if text else np.array([cell or "nan" for cell in cells], dtype=float)
        arrays.append(pyarrow.array(values, pyarrow.string() if text else pyarrow.float64(), from_pandas=not text))
        told = {"description": it.description, "unit": it.unit}
        fields.append(pyarrow.field(name, arrays[-1].type, metadata=told))
    places, shapes = _wkb(points)
    buffers = [None, pyarrow.py_buffer(places), pyarrow.py_buffer(shapes)]
    arrays.append(pyarrow.Array.from_buffers(pyarrow.binary(), len(points), buffers))
    fields.append(pyarrow.field("geometry", pyarrow.binary(), nullable=False))
    schema = pyarrow.schema(fields, {"geo": json.dumps(_geo(points)), "gradewright": json.dumps(facts(profile))})
    pyarrow.parquet.write_table(pyarrow.table(arrays, schema=schema), path)
    return (left_out("everything but the stations (geojson and gpkg have it)"),)


def pyarrow_here() -> Any:
    """pyarrow with its module ``parquet``, which an extra installs.

    Raises
    ------
    InputError
        If it is not installed.
    """
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError as error:
        raise InputError(
            "geoparquet", "pyarrow is not installed", "install the extra: pip install 'gradewright[parquet]'"
        ) from error
    return pyarrow


def _wkb(points: FloatArray) -> tuple[npt.NDArray[np.int32], npt.NDArray[Any]]:
    """Points as well-known binary (OGC 06-103r4, section 8.2), all in one buffer, and where each begins."""
    layout = np.dtype([("order", "u1"), ("kind", "<u4"), ("x", "<f8"), ("y", "<f8")])
    shapes = np.zeros(len(points), layout)
    shapes["order"], shapes["kind"], shapes["x"], shapes["y"] = 1, 1, points[:, 0], points[:, 1]
    return np.arange(len(points) + 1, dtype=np.int32) * layout.itemsize, shapes


def _geo(points: FloatArray) -> dict[str, Any]:
    """File metadata by GeoParquet 1.1.0; a box across the 180° meridian goes round the world, which is true too."""
    geometry = {
        "encoding": "WKB",
        "geometry_types": ["Point"],
        "crs": pyproj.CRS("OGC:CRS84").to_json_dict(),
        "bbox": [*points.min(axis=0).tolist(), *points.max(axis=0).tolist()],
    }
    return {"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": geometry}}
