"""Marks of a briefing as rows of a printed table: chip, what, why, from where to where, the figure to know."""

from __future__ import annotations

from dataclasses import dataclass

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.briefing.words import mark_short, mark_title, mark_words
from profiler.mark import Mark
from profiler.present.train_marks import Window, window_of
from profiler.present.train_signs import BEGIN

_SHAPES = {"straddle": "round", "start_hard": "open", "not_held": "framed", "do_not_stop": "square"}
_NONE = "–"


@dataclass(frozen=True)
class MarkRow:
    """A mark in words: ``number`` empty where it has none, on a chip of a ``shape``; ``sign`` is that of the charts.

    ``reason`` is short, ``words`` all that there is to say; places are posts, "–" where there is none.
    """

    number: str
    shape: str
    sign: str
    title: str
    reason: str
    words: str
    earliest: str
    best: str
    last: str
    figure: str


def mark_row(briefing: Briefing, mark: Mark) -> MarkRow:
    """One mark; from where to where it is, or for what begins there the earliest, the best and the last place."""
    posts, train, units = briefing.profile.route.posts, briefing.train, briefing.profile.units
    first, best, last = (
        wording.post_value(posts, float(posts.at(x)), 2) for x in (mark.earliest, mark.recommended, mark.latest)
    )
    words = mark_words(mark, train, units, posts)
    reason, sign = words.partition("; ")[0], "astride" if mark.kind == "straddle" else mark.kind
    if mark.kind in BEGIN:
        window = window_of(mark, briefing.terrain)
        sign = _sign_of(window)
        first = first if window.opens and not window.empty else _NONE
        last = last if window.ends and not window.empty else _NONE
    else:
        best = _NONE
    title = mark_title(mark).partition(" · ")[2] or mark_title(mark)
    return MarkRow(
        number=str(mark.number or ""),
        shape="diamond" if mark.kind in BEGIN else _SHAPES.get(mark.kind, "none"),
        sign=sign,
        title=f"{title[:1].upper()}{title[1:]}",
        reason=_quarters(briefing, mark) or reason,
        words=words,
        earliest=first,
        best=best,
        last=last,
        figure=mark_short(mark, train, units),
    )


def _sign_of(window: Window) -> str:
    if window.empty:
        return "no_window"
    return "begin" if window.ends else "no_latest"


def _quarters(briefing: Briefing, mark: Mark) -> str:
    """ "¼ over 54.58 · ½ 54.82 · ¾ 55.07 · all 55.31": head positions with so much of the train past."""
    posts = briefing.profile.route.posts
    if mark.kind != "straddle":
        return ""
    told = zip(("¼ over", "½", "¾", "all"), (mark.quarter, mark.half, mark.three_quarter, mark.clear), strict=True)
    return " · ".join(f"{name} {wording.post_value(posts, float(posts.at(x)), 2)}" for name, x in told if x is not None)
