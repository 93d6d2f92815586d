"""Commands of the batch layer, joined to `gradewright` by entry point."""

from __future__ import annotations

import os
from pathlib import Path

import click


@click.command(epilog="Example: gradewright network territories --out results --workers 4")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), metavar="DIR", help="Folder for the results.")
@click.option(
    "--workers", type=click.IntRange(1, 256), default=None, metavar="N", help="Processes; all cores by default."
)
@click.option("--trim", is_flag=True, help="Keep the longest covered stretch of lines with gaps in the elevation.")
@click.option("--tables-only", is_flag=True, help="No maps and no charts.")
def network(folder: Path, out: Path | None, workers: int | None, trim: bool, tables_only: bool) -> None:
    """Profile every territory file of FOLDER and its direct subfolders.

    A territory that fails is reported and does not end the run; network.csv lists them all. Exit
    code 1 if any failed.
    """
    from rich.console import Console
    from rich.progress import Progress

    from pipelines.network import Outcome, plan, report, run

    place = out or Path(f"{folder.resolve().name}-network")
    tasks = plan(folder, place, trim=trim, pictures=not tables_only)
    console = Console(stderr=True)
    outcomes: list[Outcome] = []
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        step = bar.add_task(f"profiling {len(tasks)} territories", total=len(tasks))
        for outcome in run(tasks, min(workers or os.cpu_count() or 1, len(tasks))):
            outcomes.append(outcome)
            bar.advance(step)
            if outcome.error:
                console.print(f"failed: {outcome.error}", highlight=False, markup=False, soft_wrap=True)
    _keep(place, report(outcomes))
    failed = sum(bool(o.error) for o in outcomes)
    click.echo(f"{len(outcomes) - failed} done, {failed} failed: {place / 'network.csv'}")
    if failed:
        raise SystemExit(1)


def _keep(place: Path, text: str) -> None:
    """Write the report aside, then rename."""
    from profiler import OutputError

    try:
        place.mkdir(parents=True, exist_ok=True)
        aside = place / ".network.csv.unfinished"
        aside.write_text(text, encoding="utf-8")
        aside.replace(place / "network.csv")
    except OSError as error:
        raise OutputError(place, f"cannot be written ({error.strerror})", "choose another --out") from error
