"""The view of a network: what else there is of each line, and the page written beside the one file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from urllib.parse import quote

from pipelines.networks.plan import Plan
from pipelines.networks.records import Outcome, briefing_folder, failures, profile_folder, result_file
from profiler import write_network_view

FILE = "network.html"
_BESIDE = (
    ("Map of this line", profile_folder, "map.html"),
    ("Chart of this line", profile_folder, "chart.svg"),
    ("Trains on this line", briefing_folder, "page.html"),
)


def write_view(plan: Plan, out: Path, ordered: Sequence[Outcome]) -> Path:
    """Write the page of a network's lines; it links to what stands beside it.

    Raises
    ------
    InputError
        If a line's profile is damaged.
    OutputError
        If the page cannot be written.
    """
    done = [outcome for outcome in ordered if not outcome.error]
    return write_network_view(
        ((o.key, result_file(out, o.key)) for o in done),
        out / FILE,
        failures=failures(ordered),
        name=plan.name,
        invented=plan.invented,
        units=plan.units,
        limits=_limits(plan),
        links={o.key: tuple(_links(out, o)) for o in done},
    )


def _links(out: Path, outcome: Outcome) -> Iterator[tuple[str, str]]:
    """Pages written with the line; those that earlier runs left tell of another one."""
    for words, folder_of, page in _BESIDE:
        folder = folder_of(outcome.key)
        if folder in outcome.beside and (out / folder / page).is_file():
            yield words, quote(f"{folder}/{page}")


def _limits(plan: Plan) -> tuple[float, float, float, float] | None:
    """Limits of the grade classes [m/m] where the plan sets them for all lines."""
    stated = plan.settings.get("grade_classes_pct")
    if stated is None:
        return None
    a, b, c, d = (limit / 100 for limit in stated)
    return a, b, c, d
