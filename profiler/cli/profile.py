"""gradewright profile"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from profiler.cli import options

if TYPE_CHECKING:
    from profiler.territory import Territory


@click.command(epilog='Example: gradewright profile line.geojson --dem "dem/*.tif" --units us --out results')
@options.source
@options.dem
@options.trim
@options.step
@options.units
@options.train_length
@options.fast
@click.option("--tables-only", is_flag=True, help="No map and no chart.")
@options.out
def profile(
    source: str,
    dem: tuple[str, ...],
    trim: bool,
    step: float | None,
    units: str | None,
    train_length: tuple[float, ...],
    fast: bool,
    tables_only: bool,
    out: Path | None,
) -> None:
    """Profile SOURCE, a territory file (.toml) or any vector file with a line.

    Writes tables, a GeoPackage, a map and a strip chart into a folder named after the source, or
    into --out.
    """
    territory = options.territory_from(source, dem, step, units, train_length, fast)
    options.refuse_dem(territory, dem)
    folder = out if out is not None else Path(f"{options.stem(source)}-profile")
    run(territory, folder, trim=trim, pictures=not tables_only)


def run(territory: Territory, folder: Path, *, trim: bool = False, pictures: bool = True) -> None:
    """Build, write, and say in a few lines what came out."""
    from profiler.build import build_profile, landmarks_of
    from profiler.cli.progress import progress_bar
    from profiler.cli.summary import summary
    from profiler.files import check_place
    from profiler.results import write_profile

    check_place(folder)
    command = options.words(click.get_current_context())
    with progress_bar() as progress:
        built = build_profile(territory, trim=trim, progress=progress)
        progress("finding landmarks", 0.0)
        landmarks = landmarks_of(built, territory)
        write_profile(
            built, landmarks, folder, territory=territory, pictures=pictures, command=command, progress=progress
        )
    click.echo(summary(built, landmarks, folder))
