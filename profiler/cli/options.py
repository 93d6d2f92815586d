"""Options shared by commands, and how a source on the command line becomes a territory."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from profiler.territory import Territory

source = click.argument("source", type=str)
dem = click.option(
    "--dem",
    multiple=True,
    metavar="PATH",
    help="Elevation raster or pattern; may be given several times, the first is preferred.",
)
step = click.option(
    "--step", type=click.FloatRange(1, 100), metavar="M", help="Distance between stations in metres (default 10)."
)
units = click.option("--units", type=click.Choice(["us", "metric"]), help="What people read; data files stay metric.")
train_length = click.option(
    "--train-length",
    type=click.FloatRange(10, 10_000),
    multiple=True,
    metavar="M",
    help="Length of train in metres for ruling grades and straddles; may be given several times.",
)
out = click.option("--out", type=click.Path(path_type=Path), metavar="DIR", help="Folder for the results.")


def stem(name: str) -> str:
    """A source's name without its folders and endings."""
    return Path(name).name.split(".")[0] or "line"


def territory_from(
    name: str,
    rasters: tuple[str, ...] = (),
    step_m: float | None = None,
    unit: str | None = None,
    train_lengths: tuple[float, ...] = (),
) -> Territory:
    """A territory file with its options overridden, or a territory around a bare vector file.

    Raises
    ------
    InputError
        If the file is missing or wrong.
    """
    from profiler.read.territory import read_territory, territory_of_line

    settings: dict[str, Any] = {}
    if step_m is not None:
        settings["step_m"] = step_m
    if train_lengths:
        settings["train_lengths_m"] = list(train_lengths)
    if Path(name).suffix.lower() != ".toml":
        return territory_of_line(name, rasters, units=unit, **settings)
    territory = read_territory(name)
    # a territory's own paths start at its folder, those on the command line where one stands
    here = [entry if "://" in entry else str(Path(entry).absolute()) for entry in rasters]
    changes: dict[str, Any] = {}
    if settings:
        changes["settings"] = territory.settings.model_copy(update=settings)
    if unit is not None:
        changes["route"] = territory.route.model_copy(update={"units": unit})
    if here:
        from profiler.territory import ElevationTable

        given = territory.elevation
        table = given.model_copy(update={"rasters": here}) if given else ElevationTable(rasters=here)
        changes["elevation"] = table
    return territory.model_copy(update=changes) if changes else territory
