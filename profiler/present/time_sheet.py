"""A sheet of what goes on in time at several places, one under another, and the axis of seconds under each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from profiler import wording
from profiler.briefing.words import NO_ORDER
from profiler.present.chart_frame import GUTTER, RIGHT, Panel, nice_step
from profiler.present.chart_key import FINE, LINE, MARGIN, draw_heading, draw_last_lines, wrapped
from profiler.present.chart_names import baseline
from profiler.present.labels import Box, Room
from profiler.present.palette import HAIR
from profiler.present.sheet import Sheet
from profiler.present.typeface import BODY, TITLE

PANELS_WIDE = 560.0
SHEET_WIDE = GUTTER + PANELS_WIDE + RIGHT
"""Width of the sheet, and of the panels on it. [pt]"""


@dataclass(frozen=True)
class Piece:
    """One place: ``title`` and ``words``, its ``height`` with the paper under it [pt], and ``draw``, which sets it
    under a height of the sheet [pt] and hands back words for which there was no room."""

    title: str
    words: Sequence[str]
    height: float
    draw: Callable[[Sheet, float], tuple[str, ...]]


def compose_pieces(
    title: str, told: list[str], pieces: Sequence[Piece], above: float
) -> tuple[Sheet, str, tuple[str, ...]]:
    """The sheet with so much paper ``above`` the first piece [pt], what it says in words, and what found no room."""
    inside = SHEET_WIDE - 2 * MARGIN
    heading = wrapped([title], TITLE, inside)
    small = wrapped(told, FINE, inside)
    last = wrapped([NO_ORDER, wording.CAUTION_SHORT], FINE, inside)
    top = MARGIN + 17.0 * len(heading) + LINE * len(small) + above
    sheet = Sheet(SHEET_WIDE, top + sum(piece.height for piece in pieces) + MARGIN + LINE * len(last))
    y = draw_heading(sheet, heading, [], small) - above
    dropped: list[str] = []
    for piece in pieces:
        dropped += piece.draw(sheet, y)
        y -= piece.height
    draw_last_lines(sheet, last)
    said = " ".join(f"{piece.title}: {' '.join(piece.words)}" for piece in pieces)
    return sheet, said, tuple(dropped)


def time_axis(sheet: Sheet, room: Room, panel: Panel, highest: str) -> None:
    """Seconds in the row "time" of a panel, with hair lines up to the top of the row ``highest``."""
    row = panel.rows["time"]
    baseline(sheet, panel, row.top, 0.8)
    step = nice_step(36.0 / panel.scale, (1, 2, 3, 5))
    for k in range(int(panel.end / step) + 1):
        x = float(panel.x(k * step))
        sheet.lines([[(x, row.top), (x, row.top - 4)]], width=0.8, z=4)
        sheet.lines([[(x, row.top), (x, panel.rows[highest].top)]], width=0.5, colour=HAIR, z=0.5)
        sheet.text(x, row.top - 12.0, f"{k * step:g}{' s' if k == 0 else ''}", BODY, align="center")
    room.take(Box(panel.left - 10, row.bottom, panel.right + 10, row.top))
