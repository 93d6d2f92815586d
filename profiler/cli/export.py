"""gradewright export"""

from __future__ import annotations

from pathlib import Path

import click

from profiler.write.exports import EXPORTS

_HELP = """Carry a written profile, DIR, on into other tools.

DIR is an output folder of gradewright profile. What a format cannot carry, or does not say, is told on stderr.
Formats:

\b
"""


@click.command(
    help=_HELP + "\n".join(f"{name:<11} {found.words}" for name, found in EXPORTS.items()),
    epilog="Example: gradewright export farrow-profile --to geojson",
)
@click.argument("folder", metavar="DIR")
@click.option("--to", "name", type=click.Choice(list(EXPORTS)), required=True, metavar="FORMAT", help="See above.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Where to write it; beside DIR and named after it otherwise.",
)
def export(folder: str, name: str, out: Path | None) -> None:
    from profiler import wording
    from profiler.cli.progress import progress_bar
    from profiler.files import check_place
    from profiler.read.profile import read_landmarks, read_profile
    from profiler.write.exports import check_free
    from profiler.write.exports import export as write

    path = out if out is not None else _beside(Path(folder), EXPORTS[name].suffix)
    with progress_bar() as progress:
        progress("reading", 0.0)
        profile, landmarks = read_profile(folder), read_landmarks(folder)
        check_place(path if EXPORTS[name].files else path.parent)
        check_free(name, path)
        progress(f"writing {name}", 0.0)
        warnings = write(profile, landmarks, name, path)
    for warning in warnings:
        click.echo(f"{name}: {warning}", err=True)
    lines = [f"{profile.route.name or 'Line'}: {EXPORTS[name].words}"]
    if profile.invented:
        lines.append(f"  {wording.INVENTED}")
    lines.append(f"  {wording.CAUTION_SHORT}")
    click.echo("\n".join([*lines, "Open:", f"  {path}"]))


def _beside(folder: Path, suffix: str) -> Path:
    """The place beside an output folder, which may be named by the GeoPackage inside it, or as "."."""
    folder = folder.parent if folder.name == "profile.gpkg" else folder
    named = folder if folder.name not in ("", "..") else folder.resolve()
    return named.parent / f"{named.name}{suffix}"
