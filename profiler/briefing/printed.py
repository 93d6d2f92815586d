"""Tables of a briefing as people read them: where not to stop, starts, starting sequences; figures in their units."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from profiler import wording
from profiler.briefing.plan import Astride, Briefing
from profiler.briefing.sequence_words import place_title, sequence_sentences
from profiler.briefing.words import (
    figure_of,
    mark_name,
    mark_words,
    notch_words,
    place_words,
    reliefs_words,
    start_words,
)
from profiler.handling.starting import NO_NOTCH
from profiler.train_words import force_text

_LONG = 40
"""A cell of more letters than this is broken into lines."""
_TOGETHER_ROWS, _TOGETHER_LETTERS = 16, 3000
"""A table with no more of both stays on one sheet."""
_PAST = ("none of it past", "¼ past", "½ past", "¾ past", "all of it past")


@dataclass(frozen=True)
class Table:
    """A table in words: ``rows`` of cells under ``heads``; columns in ``wide`` hold words, the others figures.

    ``notes`` are sentences before it.
    """

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    wide: tuple[int, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def stretch(self) -> int | None:
        """The column with the most words, which takes the room that the others leave; None where all are short."""
        longest = [max((len(row[i]) for row in self.rows), default=0) for i in range(len(self.heads))]
        return longest.index(max(longest)) if longest and max(longest) > _LONG else None

    @property
    def together(self) -> bool:
        """Whether it is short enough to stand on one sheet."""
        letters = sum(map(len, (*self.notes, *(cell for row in self.rows for cell in row))))
        return len(self.rows) <= _TOGETHER_ROWS and letters <= _TOGETHER_LETTERS


def force_unit(units: str) -> str:
    """ "kips" or "kN"."""
    return force_text(0.0, units).rpartition(" ")[2]


def post_cell(briefing: Briefing, way: float, decimals: int = 2) -> str:
    """A post under a head that says so; nothing where there is no place [m]."""
    if not math.isfinite(way):
        return "–"
    posts = briefing.profile.route.posts
    return wording.post_value(posts, float(posts.at(float(briefing.terrain.chainage(way)))), decimals)


def where_not_to_stop(briefing: Briefing) -> Table:
    """Stretches without a clean place to rest, those that are hard to leave, those where nothing holds the train."""
    posts, train, units = briefing.profile.route.posts, briefing.train, briefing.profile.units
    marks = [mark for mark in briefing.marks if mark.kind in ("do_not_stop", "start_hard", "not_held")]
    rows = tuple(
        (
            str(mark.number),
            mark_name(mark),
            *(wording.post_value(posts, float(posts.at(x)), 2) for x in (mark.earliest, mark.latest)),
            mark_words(mark, train, units, posts),
        )
        for mark in marks
    )
    none = () if rows else ("It starts, and is held, wherever it is stopped on the line.",)
    return Table("Where not to stop", ("mark", "what", "from", "to", "why"), rows, (1, 4), none)


def starting_table(briefing: Briefing) -> Table:
    """What a start needs at stations, planned stops and the hardest place of each climb."""
    train, units, found = briefing.train, briefing.profile.units, briefing.at_places
    rows = []
    for i, place in enumerate(briefing.places):
        name = place.name or "hardest place of a climb"
        how = start_words(train, found, i, units)
        helps = reliefs_words(place.reliefs, units)
        words = f"{how}. Would help: {helps}" if helps else how
        holds = "holds" if found.independent_holds[i] else "does not hold"
        rows.append((f"stop, {name}" if place.kind == "stop" else name, post_cell(briefing, place.head), words, holds))
    heads = ("place", "post", "a start there", "independent brake alone")
    return Table("Starting", heads, tuple(rows), (0, 2, 3))


def crests_table(briefing: Briefing) -> Table | None:
    """Starts with none, parts and all of the train past a crest, where that tells something; None where it does not."""
    telling = [astride for astride in briefing.astride if astride.telling]
    if not telling:
        return None
    rows = tuple(row for astride in telling for row in _over_crest(briefing, astride))
    heads = ("crest", "the train", "head at", f"needs, {force_unit(briefing.profile.units)}", "starts in")
    return Table("Starting astride a crest", heads, rows, (0, 1, 4))


def _over_crest(briefing: Briefing, astride: Astride) -> Iterable[tuple[str, ...]]:
    units, found = briefing.profile.units, astride.starting
    crest = place_words(briefing, float(briefing.terrain.way_at(astride.straddle.straddle.head)))
    for i, past in enumerate(_PAST):
        notch = int(found.notch[i])
        starts = notch_words(notch) if found.starts[i] and notch != NO_NOTCH else "does not start"
        need = figure_of(max(float(found.need[i]), 0.0), units)
        yield crest, past, post_cell(briefing, float(found.head[i])), need, starts


def sequence_table(briefing: Briefing) -> Table | None:
    """How a start goes at planned stops; None where none is planned."""
    told = [(i, sequence) for i, sequence in briefing.sequences if briefing.places[i].kind == "stop"]
    if not told:
        return None
    rows = tuple(
        (place_title(briefing, briefing.places[i]), " ".join(sequence_sentences(briefing, i, sequence)))
        for i, sequence in told
    )
    return Table(
        "Starting sequence at planned stops", ("place", "before, notches, slack, what a late hand costs"), rows, (0, 1)
    )


def some(tables: Sequence[Table | None]) -> tuple[Table, ...]:
    """Those that there are."""
    return tuple(table for table in tables if table is not None)


def line_tables(briefing: Briefing) -> tuple[Table, ...]:
    """The line as travelled: grades, limits and slow orders, structures and stations; what the charts show, as text."""
    profile, landmarks = briefing.as_travelled
    route, units = profile.route, profile.units
    grades = tuple(
        (
            *(post_cell(briefing, x) for x in (run.start, run.end)),
            wording.slope_words(run.grade, units, run.grade_se),
            wording.distance_text(run.end - run.start, units),
        )
        for run in landmarks.grade_runs
    )
    limits = tuple(
        (
            *(post_cell(briefing, x) for x in (limit.start, limit.end)),
            wording.speed_figure(limit.speed, units),
            ", ".join(filter(None, (kind, limit.train_class, limit.reason))),
        )
        for kind, some_limits in (("", route.limits), ("slow order", route.slow_orders))
        for limit in some_limits
    )
    places = sorted(
        [
            *((float(x.chainage), float(x.chainage), "station", x.name) for x in route.stations),
            *((x.start, x.end, x.kind, x.name) for x in route.structures),
            *((x.at, x.at, wording.kind_words(x.kind), "") for x in landmarks.shown("crest", "sag", "grade_break")),
        ]
    )
    named = tuple(
        (post_cell(briefing, a), post_cell(briefing, b) if b > a else "", kind, name) for a, b, kind, name in places
    )
    tables = (
        Table("Grades as travelled", ("from", "to", "grade", "length"), grades),
        Table("Limits", ("from", "to", wording.speed_unit(units), "for"), limits, (3,)),
        Table("Places", ("from", "to", "what", "name"), named, (2, 3)),
    )
    return tuple(table for table in tables if table.rows)
