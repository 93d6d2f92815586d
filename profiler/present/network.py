"""The view of a network: one HTML file with all its lines on a map, by grade, and in a table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import jinja2
import numpy as np

from profiler import wording
from profiler.grade_classes import DEFAULT_LIMITS, DOWN, UP, Limits
from profiler.network_line import NetworkLine
from profiler.present import map_line, network_rows, offline
from profiler.present.network_levels import Levels, place_on
from profiler.present.page_pack import Packer

SCRIPTS = tuple(
    f"{name}.js" for name in ("page_read", "page_window", "network_map", "network_names", "network_table", "network")
)
"""The view's own script, in the order in which it is put together."""
RULES = (
    "Ruling grade: the greatest mean grade over the length of a train, for the longest train asked for; in brackets "
    "its 95 % interval.",
    "Classes of grade are the same for all lines, up and down as travelled from the first end of a line to the other. "
    "A stretch too short to be seen shows the steepest class that a quarter of it reaches. Tunnels and bridges stand "
    "on each line's own map.",
    "The map is drawn from the lines alone, over degrees of longitude and latitude.",
)


def draw_network(
    lines: Iterable[NetworkLine],
    path: Path | str,
    *,
    failures: Iterable[tuple[str, str, str]] = (),
    name: str = "",
    invented: bool = False,
    units: str | None = None,
    limits: Limits | None = None,
) -> None:
    """Write the view of a network as one self-contained HTML file.

    Lines are coloured as on their own maps and can be chosen, sorted and searched by name and station. One line is in
    memory at a time; of each is kept what is shown.

    Parameters
    ----------
    lines : iterable of NetworkLine
        In the order in which the table has them at first.
    path : path
        The file to write; an earlier one is replaced only by a whole new one.
    failures : iterable of (str, str, str)
        Key, territory, and why it failed, of lines that are not there.
    name, invented
        Of the whole network.
    units : str, optional
        "us" or "metric", for the reader to change; by default that of most lines.
    limits : tuple of float, optional
        Lower limits of grade classes 1 to 4 [m/m], the same for all lines; by default `DEFAULT_LIMITS`.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    page = network_page(lines, failures=failures, name=name, invented=invented, units=units, limits=limits)
    offline.write_page(page, Path(path))


def network_page(
    lines: Iterable[NetworkLine],
    *,
    failures: Iterable[tuple[str, str, str]] = (),
    name: str = "",
    invented: bool = False,
    units: str | None = None,
    limits: Limits | None = None,
) -> str:
    """The view of `draw_network` as text."""
    failed = [tuple(row) for row in failures]
    found = _Gathered(limits or DEFAULT_LIMITS)
    for line in lines:
        found.add(line)
    units = units or found.usual_units
    script = offline.inline_script("".join(offline.own_file(name) for name in SCRIPTS))
    style = offline.own_file("network.css")
    for text in (script, style):
        offline.check_whole(text)
    library = offline.leaflet_script()
    made = jinja2.Environment(autoescape=True, keep_trailing_newline=True).from_string(offline.own_file("network.html"))
    return made.render(
        title=name or "Network",
        known=[offline.script_hash(text) for text in (library, script)],
        library=library,
        library_style=offline.leaflet_style(),
        style=style,
        script=script,
        total=network_rows.total_words(len(found.rows), found.length, len(failed), units),
        columns=network_rows.COLUMNS,
        rows=[row["cells"][units] for row in found.rows],
        keys=[row["key"] for row in found.rows],
        failed=failed,
        notes=_notes(found, invented),
        credits=found.credit_words,
        caution=wording.CAUTION,
        caution_short=wording.CAUTION_SHORT,
        numbers=found.packed(units, len(failed)),
    )


class _Gathered:
    """What is shown of all lines, taken one by one."""

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self.rows: list[dict[str, Any]] = []
        self.length = 0.0
        self.invented = 0
        self._figures: list[tuple[float, ...]] = []
        self._places: dict[str, list[tuple[float, float]]] = {}
        self._said: dict[str, int] = {}
        self._credits: Counter[str] = Counter()
        self._units: Counter[str] = Counter()
        self._levels = Levels(limits)

    def add(self, line: NetworkLine) -> None:
        said = [self._said.setdefault(words, len(self._said)) for words in network_rows.said_of(line)]
        self.rows.append(network_rows.row_data(line) | {"said": said})
        self._figures.append(network_rows.figures_of(line))
        for key, chainage in network_rows.signs_of(line).items():
            self._places.setdefault(key, []).append(place_on(line, chainage))
        self._levels.add(line)
        self.length += line.length
        self.invented += line.invented
        self._credits[wording.credit_words(line.attribution, line.licence)] += 1
        self._units[line.units] += 1

    @property
    def usual_units(self) -> str:
        """Those of most lines."""
        return max(network_rows.UNITS, key=lambda units: (self._units[units], units))

    @property
    def credit_words(self) -> list[str]:
        """Whose the elevation data are, and of how many lines where they are not of all."""
        count = len(self.rows)
        return [
            words if n == count else f"{words} ({n} of {count} lines)"
            for words, n in sorted(self._credits.items())
            if words
        ]

    @property
    def units_words(self) -> str:
        """In what units the railways themselves reckon."""
        if len(self._units) < 2:
            return ""
        us, metric = (self._units[units] for units in network_rows.UNITS)
        lines = f"{us} of the lines are reckoned in US units by their own railways, {metric} in metric ones"
        return f"{lines}; posts stay as each has them."

    def packed(self, units: str, failed: int) -> str:
        """Everything that the script looks up."""
        packer = Packer()
        figures = np.array(self._figures).reshape(-1, len(network_rows.COLUMNS) - 1)
        turns = self._levels.turns
        data = {
            "units": units,
            "total": {
                one: network_rows.total_words(len(self.rows), self.length, failed, one) for one in network_rows.UNITS
            },
            "classes": {one: wording.class_words(self.limits, one) for one in network_rows.UNITS},
            "grade_unit": {one: wording.grade_unit(one) for one in network_rows.UNITS},
            "fills": [*DOWN[:0:-1], *UP],
            "widths": map_line.WIDTHS_PX,
            "levels": self._levels.packed(packer),
            "columns": [column._asdict() for column in network_rows.COLUMNS],
            "figures": {
                column.key: packer.add(figures[:, i], column.step) for i, column in enumerate(network_rows.COLUMNS[1:])
            },
            "places": {
                key: [packer.add(values, 1e-5) for values in _placed(places, turns)]
                for key, places in self._places.items()
            },
            "lines": self.rows,
            "said": list(self._said),
        }
        return packer.text(data)


def _placed(places: list[tuple[float, float]], turns: Any) -> tuple[Any, Any]:
    """Longitudes, moved with their lines, and latitudes. [degree]"""
    table = np.array(places).reshape(-1, 2)
    return table[:, 0] + 360 * turns, table[:, 1]


def _notes(found: _Gathered, invented: bool) -> list[str]:
    """Rules of the picture, and what is to be known of all lines."""
    count = len(found.rows)
    some = f"{found.invented} of the lines are invented: nothing of them is a real place, company or person."
    every = invented or (count and found.invented == count)
    return [
        *RULES,
        *filter(None, [found.units_words]),
        *([wording.INVENTED.replace("Invented line", "Invented lines")] if every else [some] if found.invented else []),
    ]
