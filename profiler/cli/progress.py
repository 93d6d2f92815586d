"""Progress on stderr: a bar where somebody watches, nothing where nobody does."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def progress_bar() -> Iterator[Callable[[str, float], None]]:
    """Give a function (step, share done) that shows both, with the time gone by."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(file=sys.stderr)
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        TimeElapsedColumn(),
        console=console,
        transient=True,
        disable=not console.is_terminal,
    )
    with bar:
        task = bar.add_task("starting", total=None)
        last = ""

        def told(step: str, share: float) -> None:
            nonlocal last
            if step != last:
                # a step that cannot tell its share shows a moving bar
                bar.reset(task, total=1.0 if share > 0 else None, description=step)
                last = step
            if share > 0:
                bar.update(task, total=1.0, completed=share, description=step)

        yield told
