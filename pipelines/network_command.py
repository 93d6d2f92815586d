"""gradewright network"""

from __future__ import annotations

import os
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from pipelines.network import Map
    from pipelines.networks.records import Outcome

TOLD_EVERY = 10.0
"""Where nobody watches, a line of progress this often. [s]"""


@click.command(epilog="Example: gradewright network plan.toml --out results --workers 4")
@click.argument("plan", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), metavar="DIR", help="Folder for the results.")
@click.option(
    "--workers", type=click.IntRange(1, 256), default=None, metavar="N", help="Processes; all cores by default."
)
@click.option("--scheduler", metavar="ADDRESS", help="Dask scheduler to work with instead, as tcp://host:8786.")
@click.option("--trim", is_flag=True, help="Keep the longest covered stretch of lines with gaps in the elevation.")
@click.option("--tables", is_flag=True, help="Also each line's own folder, as gradewright profile writes it.")
@click.option("--pictures", is_flag=True, help="The same with its map and charts.")
@click.option("--again", is_flag=True, help="Do everything again, finished lines too.")
def network(
    plan: Path,
    out: Path | None,
    workers: int | None,
    scheduler: str | None,
    trim: bool,
    tables: bool,
    pictures: bool,
    again: bool,
) -> None:
    """Profile every line of PLAN, a TOML file, or of a folder of territory files.

    One GeoPackage (or GeoParquet, as the plan says) holds all profiles, landmarks and failures, network.csv lists the
    lines, network.html shows them. A line that fails does not end the run, a train that fails does not
    take its line's profile along. However a run ends, the same command goes
    on from there: finished lines are not done again unless something they rest on has changed; failed ones are tried
    again.

    Exit code 1 if any line or train failed.
    """
    from pipelines.network import alone_in, outcomes, write_whole
    from pipelines.networks.plan import read_plan
    from pipelines.networks.tasks import Options
    from profiler import InputError

    if scheduler is not None and workers is not None:
        raise InputError("--workers", "stands beside --scheduler, which has its own", "leave one of them out")
    place = out or Path(f"{plan.resolve().name if plan.is_dir() else plan.resolve().stem}-network")
    if scheduler is not None:  # whose workers stand in other folders than this process
        plan, place = plan.absolute(), place.absolute()
    asked = read_plan(plan, place)
    options = Options(trim, tables or pictures, pictures, again)
    for sentence in asked.said:
        click.echo(sentence, err=True)
    done: list[Outcome] = []
    mapped = _map(workers, scheduler, len(asked.lines))
    try:
        with alone_in(place), _Progress(len(asked.lines)).shown() as progress:
            for outcome in outcomes(asked, place, options, mapped):
                done.append(outcome)
                progress.tell(outcome)
            progress.say(f"writing network.{asked.result}")
            whole = write_whole(asked, place, done)
    except KeyboardInterrupt:
        click.echo(
            f"gradewright: interrupted after {len(done):,} of {len(asked.lines):,} lines; "
            "the same command goes on from there",
            err=True,
        )
        raise SystemExit(130) from None
    for line in progress.again():
        click.echo(line, err=True)
    failed = sum(bool(o.error) for o in done)
    without = sum(bool(o.trains_failed) for o in done)
    files = (whole, place / "network.csv", place / "network.html")
    told = f"{len(done) - failed:,} done, {failed:,} failed{f', trains failed on {without:,}' if without else ''}"
    click.echo(f"{told}: {', '.join(map(str, files))}")
    if failed or without:
        raise SystemExit(1)


def _map(workers: int | None, scheduler: str | None, lines: int) -> Map:
    from functools import partial

    if scheduler is not None:
        from pipelines.networks.scheduler import map_over_scheduler

        return partial(map_over_scheduler, address=scheduler)
    from pipelines.networks.pool import map_over_processes

    return partial(map_over_processes, workers=min(workers or os.cpu_count() or 1, lines))


class _Progress:
    """Lines and kilometres done, how fast, and how long it will take: a bar where somebody watches, else a line."""

    def __init__(self, lines: int) -> None:
        self.lines, self.done, self.earlier, self.failed = lines, 0, 0, 0
        self.kilometres = 0.0
        self.errors: Counter[str] = Counter()
        self.start = self.told = time.monotonic()

    @contextmanager
    def shown(self) -> Iterator[_Progress]:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn

        self.console = Console(file=sys.stderr)
        self.bar = Progress(
            TextColumn("{task.description}"),
            BarColumn(),
            console=self.console,
            transient=True,
            disable=not self.console.is_terminal,
        )
        self.step = self.bar.add_task(f"{self.lines:,} lines", total=self.lines)
        with self.bar:
            yield self

    def tell(self, outcome: Outcome) -> None:
        self.done += 1
        self.failed += bool(outcome.problems)
        if outcome.earlier:
            self.earlier += 1
        else:
            self.kilometres += outcome.length_km or 0.0
        self.bar.update(self.step, advance=1, description=self.words())
        for error in outcome.problems:
            self.errors[error] += 1
            if self.errors[error] == 1:
                whose = "" if outcome.territory in error else f"{outcome.territory}: "
                self.console.print(f"failed: {whose}{error}", highlight=False, markup=False, soft_wrap=True)
        if not self.console.is_terminal and time.monotonic() - self.told >= TOLD_EVERY:
            self.say(self.words())

    def again(self) -> list[str]:
        """What went wrong with several lines, once each."""
        return [f"so did {n - 1:,} more: {error}" for error, n in self.errors.items() if n > 1]

    def say(self, words: str) -> None:
        self.told = time.monotonic()
        self.bar.update(self.step, description=words)
        if not self.console.is_terminal and self.told - self.start >= TOLD_EVERY:
            click.echo(words, err=True)

    def words(self) -> str:
        gone = time.monotonic() - self.start
        said = [f"{self.done:,} of {self.lines:,} lines"]
        if self.earlier:
            said.append(f"{self.earlier:,} done before")
        if self.failed:
            said.append(f"{self.failed:,} failed")
        new = self.done - self.earlier
        if new and gone > 0:
            said.append(f"{self.kilometres:,.0f} km at {self.kilometres / gone:,.1f} km/s")
            said.append(f"{_duration((self.lines - self.done) * gone / new)} left")
        return ", ".join(said)


def _duration(seconds: float) -> str:
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 5400:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"
