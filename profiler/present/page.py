"""The page with the train that moves: one HTML file for all trains, directions and cases of a territory."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import jinja2

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.briefing.words import HEAD_RULE, NO_ORDER
from profiler.grade_classes import DOWN, UP, Limits, class_limits
from profiler.ground import Relief
from profiler.present import map_line, offline, page_words
from profiler.present.hillshade import shade
from profiler.present.map import notes_of
from profiler.present.page_line import UNITS, in_units, line_view, plan_data
from profiler.present.page_pack import Packer
from profiler.present.page_static import static_chart, static_tables
from profiler.present.page_train import train_data, trip_data

_ROOMS = ("_read", "_signs", "_window", "_hand", "_plan", "_section", "_felt", "_train", "")
SCRIPTS = tuple(f"page{room}.js" for room in _ROOMS)
"""The page's own script, in the order in which it is put together."""
_MOST_PIXELS, _QUALITY = 900_000, 72
"""Of the shaded ground under the line."""


def write_page(
    briefings: Mapping[str, Sequence[Briefing]],
    path: Path,
    *,
    relief: Relief | None = None,
    limits: Limits | None = None,
) -> None:
    """Write the page of all briefings of a territory as one self-contained HTML file.

    Parameters
    ----------
    briefings : mapping of str to sequence of Briefing
        By train, at least one; all of one profile.
    path : Path
        The file to write; an earlier one is replaced only by a whole new one.
    relief : Relief, optional
        Ground for the shaded picture under the line; without it the paper stays plain.
    limits : tuple of float, optional
        Lower limits of grade classes 1 to 4 [m/m]; by default those that fit the ruling grade.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    offline.write_page(page_of(briefings, relief=relief, limits=limits), path)


def page_of(
    briefings: Mapping[str, Sequence[Briefing]], *, relief: Relief | None = None, limits: Limits | None = None
) -> str:
    """The page of `write_page` as text."""
    first = next(iter(briefings.values()))[0]
    profile = first.profile
    limits = limits or class_limits(first.landmarks.steepest_ruling)
    script = offline.inline_script("".join(offline.own_file(name) for name in SCRIPTS))
    style = offline.own_file("page.css")
    for text in (script, style):
        offline.check_whole(text)
    made = jinja2.Environment(autoescape=True, keep_trailing_newline=True).from_string(offline.own_file("page.html"))
    return made.render(
        title=profile.route.name or wording.travel_words(profile.route),
        known=offline.script_hash(script),  # the browser itself refuses every request, and every script but this one
        style=style,
        script=script,
        on_map=profile.route.on_map,
        picture=_picture(relief) if relief is not None and profile.route.on_map else "",
        caution=wording.CAUTION,
        caution_short=wording.CAUTION_SHORT,
        notes=_notes(first, relief),
        layers=page_words.LAYERS,
        chart=static_chart(first, limits),
        tables=static_tables(briefings),
        numbers=_numbers(briefings, relief, limits),
    )


def _numbers(briefings: Mapping[str, Sequence[Briefing]], relief: Relief | None, limits: Limits) -> str:
    """Everything that the script looks up."""
    packer = Packer()
    every = [briefing for some in briefings.values() for briefing in some]
    route = every[0].profile.route
    lines: dict[str, Any] = {}
    for briefing in every:
        if briefing.direction not in lines:
            lines[briefing.direction] = line_view(*briefing.as_travelled, briefing.terrain, limits, packer)
    names = {units: wording.class_words(limits, units) for units in UNITS}
    bounds = relief.bounds if relief is not None else None
    data = {
        "units": every[0].profile.units,
        "words": page_words.WORDS,
        "colours": map_line.colours(),
        "widths": map_line.WIDTHS_PX,
        "key": {"fills": [*UP[:0:-1], *DOWN], "names": names},
        "lines": lines,
        "plan": plan_data(route, bounds, packer) if route.on_map else None,
        "trains": [
            train_data(some[0].train) | {"trips": {one.direction: trip_data(one, packer) for one in some}}
            for some in briefings.values()
        ],
    }
    return packer.text(data)


def _notes(briefing: Briefing, relief: Relief | None) -> list[str]:
    """Rules, what is assumed, where the figures come from and how sure they are."""
    profile = briefing.profile
    sure = {units: notes_of(in_units(profile, units), relief) for units in UNITS}
    return [
        f"{HEAD_RULE} {NO_ORDER}",
        page_words.FELT if briefing.felt else page_words.NOT_FELT,
        *([wording.INVENTED] if profile.invented else []),
        *dict.fromkeys(note for pair in zip(*sure.values(), strict=True) for note in pair),
        *filter(None, [wording.credit_words(profile.attribution, profile.licence)]),
        *(f"Assumed: {said}." for said in (*profile.route.assumptions, *profile.assumptions)),
    ]


def _picture(relief: Relief) -> str:
    """The shaded ground, small, as a data URL."""
    return offline.data_url("image/jpeg", shade(relief).jpeg(_QUALITY, _MOST_PIXELS))
