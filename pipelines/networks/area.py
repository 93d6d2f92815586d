"""Lines of an [area] of a PLAN as territory files."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipelines.area import MAIN_LINES, lines_of_area, territory_files, write_lines
from pipelines.lines.laid_lines import Line

if TYPE_CHECKING:
    from pipelines.networks.plan import AreaTable, PlanElevationTable


@dataclass(frozen=True, eq=False)
class AreaFiles:
    """Territory files of an area's lines in ``folder``, found and not yet written: another run may be at work there.

    ``elevation`` is the table [elevation] of each, ``said`` what was found in reading the area.
    """

    lines: tuple[Line, ...]
    folder: Path
    elevation: Mapping[str, Any] | None
    invented: bool
    said: tuple[str, ...]

    @property
    def paths(self) -> tuple[Path, ...]:
        """Where they will stand."""
        return territory_files(self.lines, self.folder)

    def write(self) -> None:
        """Write them; those of an earlier run are replaced.

        Raises
        ------
        OutputError
            As `pipelines.area.write_lines`.
        """
        write_lines(self.lines, self.folder, elevation=self.elevation, invented=self.invented)


def files_of_area(
    area: AreaTable, elevation: PlanElevationTable | None, base: Path, folder: Path, *, invented: bool
) -> AreaFiles:
    """Territory files of all lines of an extract, for ``folder``.

    Raises
    ------
    InputError, RouteError
        As `pipelines.area.lines_of_area`.
    """
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
    return AreaFiles(tuple(found.lines), folder, table, invented, tuple(found.said))
