"""gradewright demo"""

from __future__ import annotations

from pathlib import Path

import click

from profiler.cli import options
from profiler.cli.profile import run
from profiler.sample import sample_territory


@click.command(epilog="Example: gradewright demo --out demo")
@options.units
@options.out
def demo(units: str | None, out: Path | None) -> None:
    """Profile the sample territory Farrow to Thistle Quay, which is invented."""
    territory = options.territory_from(str(sample_territory()), unit=units)
    run(territory, out or Path("farrow-profile"))
