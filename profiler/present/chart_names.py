"""How a strip chart sets words: by kind of label, and in the gutter."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from profiler.present.chart_frame import GUTTER, Panel
from profiler.present.labels import Box, Candidate, Room
from profiler.present.palette import GROUND, INK, WHITE
from profiler.present.sheet import Sheet
from profiler.present.typeface import (
    BODY,
    CAPTION,
    NAME,
    NAME_BOLD,
    NUMBER,
    POST,
    ROW,
    STRUCTURE,
    STRUCTURE_IN_GROUND,
    Type,
    text_box,
)


@dataclass(frozen=True)
class Lettering:
    """A way to set a kind of label: on a halo, or on a patch of paper or ground where lines pass.

    ``second`` is for the line under the first.
    """

    type: Type
    second: Type = BODY
    halo: bool = False
    patch: str | None = None


LETTERING = {
    "post": Lettering(POST),
    "landmark": Lettering(NAME_BOLD, halo=True),
    "station": Lettering(NAME, halo=True),
    "structure": Lettering(STRUCTURE, halo=True),
    "structure_in_ground": Lettering(STRUCTURE_IN_GROUND, patch=GROUND),
    "station_in_ground": Lettering(NAME, patch=GROUND),
    "ruling": Lettering(NAME_BOLD, patch=WHITE),
    "bracket": Lettering(BODY, patch=WHITE),
    "number": Lettering(NUMBER),
    "number_white": Lettering(Type(NUMBER.size, bold=True, colour=WHITE), Type(BODY.size, colour=WHITE)),
    "number_outside": Lettering(NUMBER, patch=WHITE),
    "curve": Lettering(BODY),
    "curve_number": Lettering(CAPTION),
    "speed": Lettering(BODY),
    "slow": Lettering(NAME_BOLD),
    "force": Lettering(NAME_BOLD, patch=WHITE),
    "force_over": Lettering(Type(NAME_BOLD.size, bold=True, colour=WHITE), patch=INK),
    "mark": Lettering(BODY, halo=True),
    "mark_white": Lettering(Type(BODY.size, bold=True, colour=WHITE)),
}

SECOND_LINE = 9.4
_OFF = 14.0
"""Distance of the gutter's words from the rows: half a post may reach into it. [pt]"""

RANK_POST, RANK_LANDMARK, RANK_STATION, RANK_LONG, RANK_BRACKET = 0, 1, 2, 3, 2
RANK_BLOCK, RANK_SMALL, RANK_CURVE, RANK_GENTLE = 4, 5, 6, 7


def candidate(
    style: str,
    text: str,
    x: float,
    y: float,
    align: str = "left",
    *,
    stem: Box | None = None,
    over: Iterable[str] = (),
) -> Candidate:
    """Words of a kind at an anchor, one line or two, measured. [pt]"""
    lettering = LETTERING[style]
    first, _, second = text.partition("\n")
    box = text_box(first, lettering.type, x, y, align)
    if second:
        under = text_box(second, lettering.second, x, y - SECOND_LINE, align)
        box = Box(min(box.left, under.left), under.bottom, max(box.right, under.right), box.top)
    return Candidate(style, text, x, y, align, box, stem, frozenset(over))


def set_label(sheet: Sheet, chosen: Candidate) -> None:
    """Draw a label where it was placed, with its stem."""
    lettering = LETTERING[chosen.style]
    if lettering.patch is not None:
        box = chosen.box.grown(2.0 if lettering.patch == INK else 0.8)
        corners = [
            (box.left, box.bottom),
            (box.right, box.bottom),
            (box.right, box.top),
            (box.left, box.top),
        ]
        sheet.areas([corners], lettering.patch, z=2.5)
    if chosen.stem is not None:
        x = (chosen.stem.left + chosen.stem.right) / 2
        sheet.lines([[(x, chosen.stem.bottom), (x, chosen.stem.top)]], width=0.45, z=4)
    first, _, second = chosen.text.partition("\n")
    sheet.text(chosen.x, chosen.y, first, lettering.type, align=chosen.align, halo=lettering.halo)
    if second:
        sheet.text(chosen.x, chosen.y - SECOND_LINE, second, lettering.second, align=chosen.align)


def gutter(sheet: Sheet, panel: Panel, row: str, name: str, lines: Iterable[str] = ()) -> None:
    """The name of a row, bold, and what it is read in, under it."""
    y = panel.rows[row].top - ROW.size
    sheet.text(GUTTER - _OFF, y, name, ROW, align="right")
    for line in lines:
        y -= CAPTION.size * 1.42
        sheet.text(GUTTER - _OFF, y, line, CAPTION, align="right")


def tick_figure(sheet: Sheet, room: Room, panel: Panel, y: float, figure: str) -> None:
    """A figure of a scale in the right margin."""
    x, base = panel.right + 7, y - CAPTION.size * 0.36
    room.take(text_box(figure, CAPTION, x, base))
    sheet.text(x, base, figure, CAPTION)


def baseline(sheet: Sheet, panel: Panel, y: float, width: float = 0.9) -> None:
    """A line across the panel."""
    sheet.lines([[(panel.left, y), (panel.right, y)]], width=width, colour=INK, z=4)
