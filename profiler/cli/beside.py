"""gradewright beside"""

from __future__ import annotations

import dataclasses
import string
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from profiler.cli import options
from profiler.errors import InputError, ProfilerError

if TYPE_CHECKING:
    from profiler.comparison.beside import Beside, Difference
    from profiler.landmarks.find import LandmarkSettings
    from profiler.profile import Profile

Told = Callable[[str, float], None]


@dataclass(frozen=True)
class _Asked:
    """Options that every source is read with."""

    rasters: tuple[str, ...]
    trim: bool
    units: str | None
    train_lengths: tuple[float, ...]


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
    with progress_bar() as progress:
        asked = _Asked(dem, trim, units, train_length)
        read = [
            _named(letter, name, asked, progress) for letter, name in zip(string.ascii_uppercase, sources, strict=False)
        ]
        settings = read[0][1]
        progress("comparing", 0.0)
        names = [options.stem(name) for name in sources]
        compared = compare_beside([profile for profile, _ in read], names, settings)
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
        path = Path(name).resolve()
        path = path.parent if path.name == "profile.gpkg" else path
        if path in seen:
            raise InputError(name, "is given twice", "give another source to set beside it")
        seen.add(path)


def _named(letter: str, name: str, asked: _Asked, progress: Told) -> tuple[Profile, LandmarkSettings]:
    """A source's profile and its definitions; whatever goes wrong says which of the sources it is about."""
    try:
        return _read(name, asked, lambda step, share: progress(f"{letter}, {step}", share))
    except ProfilerError as error:
        if name in error.source:
            raise
        raise type(error)(f"{name}, {error.source}", error.problem, error.remedy) from error


def _read(name: str, asked: _Asked, progress: Told) -> tuple[Profile, LandmarkSettings]:
    from profiler.build import build_profile, landmark_settings
    from profiler.landmarks.find import LandmarkSettings
    from profiler.read.profile import is_written_profile, read_landmarks, read_profile

    if is_written_profile(name):
        progress("reading", 0.0)
        profile = read_profile(name)
        stated = {mark.train_length for mark in read_landmarks(name).of_kind("ruling_grade") if mark.train_length}
        lengths = asked.train_lengths or tuple(sorted(stated)) or LandmarkSettings.train_lengths
        return dataclasses.replace(profile, units=asked.units or profile.units), LandmarkSettings(lengths)
    territory = options.territory_from(name, asked.rasters, unit=asked.units, train_lengths=asked.train_lengths)
    return build_profile(territory, trim=asked.trim, progress=progress), landmark_settings(territory)


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
