"""gradewright compare"""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING

import click

from profiler.cli import options

if TYPE_CHECKING:
    from profiler.comparison.compare import Comparison
    from profiler.profile import Profile
    from profiler.reference import Reference


@click.command(epilog="Example: gradewright compare farrow-profile sample_routes/farrow-gradients.csv")
@click.argument("folder", metavar="DIR")
@click.argument("reference")
@options.units
@options.train_length
@click.option(
    "--known-out",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Write the reference's elevations as [[known_elevations]] for a territory.",
)
@click.option(
    "--known-se-m",
    type=click.FloatRange(0, min_open=True),
    metavar="M",
    help="Standard error of these elevations in metres, where the reference states none.",
)
@options.out
def compare(
    folder: str,
    reference: str,
    units: str | None,
    train_length: tuple[float, ...],
    known_out: Path | None,
    known_se_m: float | None,
    out: Path | None,
) -> None:
    """Hold a written profile, DIR, against what the railway itself publishes.

    REFERENCE is a CSV: gradients (from_km and grade_permille), PVIs or a profile (position_km and
    elevation_m), elevations of stations (station, elevation_m); or the output folder of an older
    profile. The unit of each column stands in its name: km, m, mi, ft, permille, pct. Writes
    comparison.csv, summary.csv, comparison.svg and comparison.png.
    """
    from profiler.cli.progress import progress_bar
    from profiler.comparison.compare import compare as held_against
    from profiler.files import check_place
    from profiler.read.profile import read_profile
    from profiler.results import write_comparison
    from profiler.write.comparison import write_known_elevations

    place = out if out is not None else Path(f"{options.stem(str(Path(folder).resolve()))}-comparison")
    check_place(place)
    with progress_bar() as progress:
        progress("reading", 0.0)
        profile = read_profile(folder)
        if units:
            profile = dataclasses.replace(profile, units=units)
        settings = options.settings_of_written(folder, train_length)
        other = _reference(reference)
        progress("comparing", 0.0)
        compared = held_against(profile, other, settings, source=reference)
        known = write_known_elevations(compared, known_out, known_se_m) if known_out is not None else 0
        write_comparison(compared, place, progress=progress)
    click.echo(_summary(compared, place, known_out, known))


def _reference(name: str) -> Reference | Profile:
    from profiler.read.profile import is_written_profile, read_profile
    from profiler.read.reference_table import read_reference

    return read_profile(name) if Path(name).exists() and is_written_profile(name) else read_reference(name)


def _summary(comparison: Comparison, folder: Path, known_out: Path | None, known: int) -> str:
    from profiler import wording
    from profiler.comparison.reference_words import results, sentences

    name = comparison.profile.route.name or "Line"
    lines = [f"{name}, held against {comparison.reference.source}"]
    lines += [f"  {said}" for said in sentences(comparison)]
    lines += [f"  {said}" for said in results(comparison)]
    if known_out is not None:
        lines.append(f"  {known} known elevations written to {known_out}, as stated")
    lines.append(f"  {wording.CAUTION_SHORT}")
    lines.append("Open:")
    lines += [f"  {folder / name}" for name in ("comparison.png", "comparison.csv", "summary.csv")]
    return "\n".join(lines)
