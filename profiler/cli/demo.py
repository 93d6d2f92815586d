"""gradewright demo"""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path

import click

from profiler.cli import options
from profiler.cli.profile import run


@click.command(epilog="Example: gradewright demo --out demo")
@options.units
@options.out
def demo(units: str | None, out: Path | None) -> None:
    """Profile the sample territory Farrow to Thistle Quay, which is invented."""
    with as_file(files("profiler.sample_routes")) as folder:
        territory = options.territory_from(str(folder / "farrow.toml"), unit=units)
        run(territory, out or Path("farrow-profile"), trim=False, pictures=True, command=["demo"])
