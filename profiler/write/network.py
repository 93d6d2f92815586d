"""Many written profiles as one GeoPackage or GeoParquet."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from profiler.write.network_gpkg import write_gpkg
from profiler.write.network_layers import LAYERS, STATIONS, read_line, told
from profiler.write.network_parquet import write_parquet


def write_network_file(
    lines: Iterable[tuple[str, Path]],
    failures: Iterable[tuple[str, str, str]],
    path: Path,
    *,
    name: str,
    invented: bool,
    stations: bool,
) -> None:
    """Write the file that `profiler.results.write_network` puts into its place; one line is in memory at a time."""
    layers = (*LAYERS, STATIONS) if stations else LAYERS
    write = write_parquet if path.suffix == ".parquet" else write_gpkg
    write(path, layers, (read_line(key, file, layers) for key, file in lines), failures, dict(told(name, invented)))
