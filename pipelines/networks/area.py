"""Lines of an [area] of a PLAN as territory files."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipelines.networks.plan import AreaTable, PlanElevationTable


def territories_of_area(
    area: AreaTable, elevation: PlanElevationTable | None, base: Path, folder: Path, *, invented: bool
) -> tuple[tuple[Path, ...], tuple[str, ...]]:
    """Territory files of all lines of an extract, written into ``folder``, and what was said in finding them.

    Raises
    ------
    InputError, RouteError, OutputError
        As `pipelines.area.lines_of_area` and `pipelines.area.write_lines`.
    """
    from pipelines.area import MAIN_LINES, lines_of_area, write_lines

    found = lines_of_area(
        base / area.path,
        keep=MAIN_LINES if area.keep is None else area.keep,
        between=area.between,
        tracks=area.tracks,
        shortest_m=area.shortest_km * 1000,
    )
    table = None
    if elevation is not None and elevation.rasters:
        table = elevation.model_dump(include=elevation.model_fields_set, exclude_none=True)
        # so that each file can be profiled as it stands
        table["rasters"] = [os.path.relpath(base / entry, folder).replace(os.sep, "/") for entry in elevation.rasters]
    return write_lines(found.lines, folder, elevation=table, invented=invented), found.said
