"""Read a territory file, checked whole before any work."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from profiler.errors import InputError, TerritoryError
from profiler.read.checking import first_problem, load_toml
from profiler.territory import CentrelineTable, ElevationTable, RouteTable, SettingsTable, Territory

_NOT_KEYS = ("folder", "source", "raster_folder")


def read_territory(path: str | Path) -> Territory:
    """Read and check a territory file.

    Parameters
    ----------
    path : path of a TOML file

    Raises
    ------
    InputError
        If the file is missing, no TOML, or plainly of another kind.
    TerritoryError
        If a key is unknown (the nearest known one is named) or a value impossible.
    """
    path = Path(path)
    data = load_toml(path, "territory")
    return check_territory(data, source=str(path), folder=path.parent)


def check_territory(data: dict[str, Any], *, source: str, folder: Path) -> Territory:
    """A territory from parsed tables; ``folder`` is where relative paths start.

    Raises
    ------
    TerritoryError
        As in `read_territory`.
    """
    for hidden in _NOT_KEYS:
        if hidden in data:
            raise TerritoryError(source, f"{hidden}: no such key", "remove it")
    try:
        return Territory(**data, folder=folder, source=source)
    except ValidationError as error:
        raise TerritoryError(source, *first_problem(error, Territory)) from None


def territory_of_line(path: str | Path, rasters: Sequence[str], **settings: Any) -> Territory:
    """A territory around a bare vector file: every setting at its default but those given.

    Parameters
    ----------
    path : path
        Any vector file of lines.
    rasters : sequence of str
        Elevation rasters, as in a territory file.
    **settings
        As in a territory file's table of settings.

    Raises
    ------
    InputError
        If there is no such file.
    """
    path = Path(path)
    if not path.exists():
        raise InputError(path, "there is no such file", "check the name")
    if path.is_dir():
        raise InputError(path, "is a folder, not a file", "name the file with the line in it")
    return Territory(
        route=RouteTable(name=path.name.split(".")[0], units=settings.pop("units", None) or "metric"),
        centreline=CentrelineTable(path=str(path)),
        elevation=ElevationTable(rasters=list(rasters)) if rasters else None,
        settings=SettingsTable(**settings),
        folder=Path(),
        source=str(path),
    )
