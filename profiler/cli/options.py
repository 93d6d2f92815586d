"""Options shared by commands, and how a source on the command line becomes a territory."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from profiler.landmarks.find import LandmarkSettings
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
trim = click.option(
    "--trim", is_flag=True, help="Keep the longest stretch with elevation data instead of refusing gaps."
)
fast = click.option("--fast", is_flag=True, help="Curves at a first look: read off a spline, without standard errors.")
out = click.option("--out", type=click.Path(path_type=Path), metavar="DIR", help="Folder for the results.")


def stem(name: str) -> str:
    """A source's name without its folders and endings."""
    return Path(name).name.split(".")[0] or "line"


def words(context: click.Context) -> list[str]:
    """The command with everything that was asked for, as one would type it, without the place of the results."""
    said = [context.info_name or ""]
    for parameter in context.command.params:
        value = context.params.get(parameter.name or "")
        if parameter.name == "out" or value is None or value is False:
            continue
        if isinstance(parameter, click.Argument):
            said.append(str(value))
        elif value is True:
            said.append(parameter.opts[0])
        else:
            for one in value if isinstance(value, tuple) else (value,):
                said += [parameter.opts[0], f"{one:g}" if isinstance(one, float) else str(one)]
    return said


def territory_from(
    name: str,
    rasters: tuple[str, ...] = (),
    step_m: float | None = None,
    unit: str | None = None,
    train_lengths: tuple[float, ...] = (),
    fast: bool = False,
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
    if fast:
        settings["fast_curves"] = True
    if train_lengths:
        settings["train_lengths_m"] = list(train_lengths)
    if Path(name).suffix.lower() != ".toml":
        return territory_of_line(name, rasters, units=unit, **settings)
    territory = read_territory(name)
    changes: dict[str, Any] = {}
    if settings:
        changes["settings"] = territory.settings.model_copy(update=settings)
    if unit is not None:
        changes["route"] = territory.route.model_copy(update={"units": unit})
    if rasters and territory.profile is None:  # a known profile needs none
        from profiler.territory import ElevationTable

        given = territory.elevation or ElevationTable(rasters=list(rasters))
        changes["elevation"] = given.model_copy(update={"rasters": list(rasters)})
        changes["raster_folder"] = Path()  # a territory's own paths start at its folder, these where one stands
    return territory.model_copy(update=changes) if changes else territory


def refuse_dem(territory: Territory, rasters: tuple[str, ...]) -> None:
    """Where one territory alone is worked on, rasters beside its known profile would go unused in silence."""
    if rasters and territory.profile is not None:
        from profiler.errors import InputError

        raise InputError(territory.source, "[profile] and --dem both tell the elevation", "leave one of them out")


def settings_of_written(name: str, train_lengths: tuple[float, ...] = ()) -> LandmarkSettings:
    """Definitions for a written profile: lengths of train [m] as asked for, else those of its ruling grades."""
    from profiler.landmarks.find import LandmarkSettings
    from profiler.read.profile import read_landmarks

    stated = {mark.train_length for mark in read_landmarks(name).of_kind("ruling_grade") if mark.train_length}
    return LandmarkSettings(train_lengths or tuple(sorted(stated)) or LandmarkSettings.train_lengths)
