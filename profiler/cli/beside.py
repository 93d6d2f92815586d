"""gradewright beside"""

from __future__ import annotations

import contextlib
import dataclasses
import string
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from profiler.cli import options
from profiler.errors import InputError, ProfilerError

if TYPE_CHECKING:
    from profiler.comparison.beside import Beside, Difference
    from profiler.landmarks.find import LandmarkSettings
    from profiler.profile import Profile
    from profiler.territory import Territory

Told = Callable[[str, float], None]


@click.command(epilog="Example: gradewright beside route.toml lower-route.toml --train-length 2000 --out choice")
@click.argument("sources", nargs=-1, metavar="SOURCE SOURCE …")
@options.dem
@options.trim
@options.units
@options.train_length
@options.out
def beside(
    sources: tuple[str, ...],
    dem: tuple[str, ...],
    trim: bool,
    units: str | None,
    train_length: tuple[float, ...],
    out: Path | None,
) -> None:
    """Set two or more lines side by side: alternatives, or the tracks of one line.

    A SOURCE is a territory file, a vector file with a line, or an output folder of gradewright
    profile. The first leads: its units, direction and posts are those of the picture, and the others
    are compared with it. Writes beside.csv, differences.csv, beside.svg and beside.png.
    """
    from profiler.cli.progress import progress_bar
    from profiler.comparison.beside import compare_beside
    from profiler.files import check_place
    from profiler.results import write_beside

    _check(sources)
    folder = out if out is not None else Path(f"{options.stem(sources[0])}-beside")
    check_place(folder)
    opened = [(name, _territory(name, dem, units, train_length)) for name in sources]
    settings = _settings(*opened[0], train_length)
    with progress_bar() as progress:
        read = [
            _profile(letter, name, territory, trim, progress)
            for letter, (name, territory) in zip(string.ascii_uppercase, opened, strict=False)
        ]
        progress("comparing", 0.0)
        names = [options.stem(str(_place(name))) for name in sources]
        if units:
            read = [dataclasses.replace(profile, units=units) for profile in read]
        compared = compare_beside(read, names, settings)
        write_beside(compared, folder, progress=progress)
    click.echo(_summary(compared, folder))


def _check(sources: tuple[str, ...]) -> None:
    from profiler.comparison.beside import MOST

    if len(sources) < 2:
        only = sources[0] if sources else "beside"
        raise InputError(only, "there is nothing to set it beside" if sources else "no source is given", "give two")
    if len(sources) > MOST:
        raise InputError(
            "beside", f"{len(sources)} sources cannot be told apart on one picture", f"give {MOST} at most"
        )
    seen: set[Path] = set()
    for name in sources:
        path = _place(name).resolve()
        if path in seen:
            raise InputError(name, "is given twice", "give another source to set beside it")
        seen.add(path)


def _place(name: str) -> Path:
    """A source, or the folder that it stands for."""
    path = Path(name)
    return path.parent if path.name == "profile.gpkg" else path


def _territory(
    name: str, rasters: tuple[str, ...], units: str | None, train_lengths: tuple[float, ...]
) -> Territory | None:
    """The territory of a source, None where it is a written profile: all are looked at before any is worked on."""
    from profiler.read.profile import is_written_profile

    if is_written_profile(name):
        return None
    with _about(name):
        return options.territory_from(name, rasters, unit=units, train_lengths=train_lengths)


def _settings(name: str, territory: Territory | None, train_lengths: tuple[float, ...]) -> LandmarkSettings:
    """Definitions for all sources: those of the first one."""
    from profiler.build import landmark_settings

    if territory is not None:
        return landmark_settings(territory)
    return options.settings_of_written(name, train_lengths)


def _profile(letter: str, name: str, territory: Territory | None, trim: bool, progress: Told) -> Profile:
    from profiler.build import build_profile
    from profiler.read.profile import read_profile

    if territory is None:
        progress(f"{letter}, reading", 0.0)
        return read_profile(name)
    with _about(name):
        return build_profile(territory, trim=trim, progress=lambda step, share: progress(f"{letter}, {step}", share))


@contextlib.contextmanager
def _about(name: str) -> Iterator[None]:
    """Whatever goes wrong says which of the sources it is about."""
    try:
        yield
    except ProfilerError as error:
        if name in error.source:
            raise
        raise type(error)(f"{name}, {error.source}", error.problem, error.remedy) from error


def _summary(beside: Beside, folder: Path) -> str:
    """What is clear, what is not, and what to open."""
    from profiler import wording
    from profiler.comparison.words import invented_words

    lines = []
    for side in beside.sides:
        route = side.profile.route
        length = wording.distance_text(route.length, beside.units, 2)
        lines.append(f"{side.letter}  {side.name}, {length}, {wording.travel_words(route)}")
        lines += [f"   assumed: {said}" for said in (*route.assumptions, *side.profile.assumptions)]
    if beside.invented:
        lines.append(f"  {invented_words(beside.invented, len(beside.sides))}")
    for side in beside.sides[1:]:
        found = [d for d in beside.differences if d.letter == side.letter and d.verdict == "clear"]
        lines.append(f"  {side.letter} less {beside.sides[0].letter}, clear: {_clear(beside, found) or 'nothing'}")
    lines.append(f"  drawn over {'common posts' if beside.by_posts else 'the distance from each start'}")
    lines += [f"  {said}" for said in beside.remarks]
    lines.append(f"  {wording.CAUTION_SHORT}")
    lines.append("Open:")
    lines += [f"  {folder / name}" for name in ("beside.png", "beside.csv", "differences.csv")]
    return "\n".join(lines)


def _clear(beside: Beside, found: list[Difference]) -> str:
    from profiler import wording
    from profiler.comparison.words import figure_text, figure_words

    route = beside.sides[0].profile.route
    said = []
    for item in found:
        figure = item.figure
        if figure.key in ("rise", "fall") and figure.direction == "against":
            continue
        where = "" if figure.direction == "both" else f" {wording.towards(route, figure.direction)}"
        train = figure.train_length
        whose = "" if train is None else f", train of {wording.short_length_text(train, beside.units)}"
        words = figure_text(figure.key, item.value, beside.units, item.se, sign=True)
        said.append(f"{figure_words(figure.key)}{where}{whose} {words}")
    return "; ".join(said)
