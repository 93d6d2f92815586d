"""A briefing as a book of sheets: everything that is printed, in words and pictures, before any typesetting."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from profiler import wording
from profiler.briefing.lesson import Question, lesson
from profiler.briefing.plan import Briefing
from profiler.briefing.printed import (
    Table,
    crests_table,
    line_tables,
    sequence_table,
    some,
    starting_table,
    where_not_to_stop,
)
from profiler.briefing.printed_descents import descent_tables, ledger_table
from profiler.briefing.story import SENTENCES, Fact, Sentence, five_facts, six_sentences
from profiler.briefing.words import HEAD_RULE, NO_ORDER, train_sentence
from profiler.files import source_date
from profiler.grade_classes import Limits
from profiler.ground import Relief
from profiler.present.chart import Chart
from profiler.present.chart_frame import Frame
from profiler.present.chart_key import provenance
from profiler.present.felt_chart import felt_pictures, how_to_read
from profiler.present.mark_rows import MarkRow, mark_row
from profiler.present.paper_map import paper_map
from profiler.present.sheet import Sheet, plain
from profiler.present.strips import Strip, overview_chart, strip_charts, strips_of
from profiler.present.train_picture import train_picture
from profiler.present.train_signs import of_train
from profiler.train_words import assumed_words, consist_lines

PAPERS = {"us": ("us-letter", 612.0, 792.0, 525.6), "metric": ("a4", 595.28, 841.89, 510.24)}
"""Paper by the units of the territory: its name, width, height and the width of what stands on it. [pt]"""
_MAP_HIGH = {"us": 142.0, "metric": 195.0}
"""Of the map on the first sheet. [pt]"""
_TOP_AND_FOOT = 96.0
"""Margins of the paper. [pt]"""
_AROUND_CHART, _AROUND_TABLE, _ROW = 40.0, 104.0, 25.0
"""What a strip sheet needs besides its chart alone, besides chart and rows of its table, and for such a row. [pt]"""
_OTHERWISE = "Where the train runs otherwise than by this plan its marks no longer hold; the rules in force come first."
_SIGNS = {
    "begin": "begins: earliest, best, hatched to the last",
    "no_latest": "begins, no last place",
    "no_window": "no place is early and late enough",
    "astride": "astride: head over, ¼, ½, ¾, rear over",
    "do_not_stop": "do not stop",
    "start_hard": "start hard here",
    "not_held": "not held",
    "slack_in": "slack runs in",
    "slack_out": "slack runs out",
}


@dataclass(frozen=True)
class Picture:
    """An SVG of a size [pt] by its file ``name``, and what it shows in ``words``."""

    name: str
    svg: bytes
    width: float
    height: float
    words: str


@dataclass(frozen=True)
class StripSheet:
    """A stretch of the line: chart, its marks, how sure all that is; ``apart`` if its table has a sheet of its own."""

    title: str
    posts: str
    chart: Picture
    marks: tuple[MarkRow, ...]
    last: str
    apart: bool


@dataclass(frozen=True, kw_only=True)
class Book:
    """All of a printed briefing, in the order of its sheets.

    ``signs`` are the signs used with their words, by name; ``sudden`` places handled as planned and suddenly.
    """

    paper: str
    page_width: float
    width: float
    title: str
    subtitle: str
    train: str
    facts: tuple[Fact, ...]
    overview: Picture
    key: Picture
    map: Picture | None
    plan_title: str
    sentences: tuple[Sentence, ...]
    signs: dict[str, tuple[Picture, str]]
    consist: Picture
    consist_lines: tuple[str, ...]
    assumed: tuple[str, ...]
    sources: tuple[str, ...]
    sure: tuple[str, ...]
    cautions: tuple[str, ...]
    strips: tuple[StripSheet, ...]
    sudden: tuple[Picture, ...]
    sudden_notes: tuple[str, ...]
    marks: tuple[MarkRow, ...]
    tables: tuple[Table, ...]
    questions: tuple[Question, ...]
    foot: str


def book_of(briefing: Briefing, relief: Relief | None = None, limits: Limits | None = None) -> Book:
    """Draw and word everything; ``limits`` are those of the grade classes [m/m], by default by the ruling grade."""
    profile = briefing.as_travelled[0]
    route, units = profile.route, profile.units
    paper, across, tall, width = PAPERS[units]
    strips = strips_of(briefing)
    rows = [tuple(mark_row(briefing, m) for m in briefing.marks if m.number and x.holds(briefing, m)) for x in strips]
    body = tall - _TOP_AND_FOOT
    beside = tuple(body - _AROUND_TABLE - _ROW * len(each) for each in rows)
    overview, key = overview_chart(briefing, strips, width, limits)
    whole = f"The whole line, rail and grades. {' '.join(_grades(briefing))}"
    charts = strip_charts(briefing, strips, width, beside, body - _AROUND_CHART, limits)
    sentences = six_sentences(briefing)
    ends = (0.0, briefing.terrain.length)
    named = f"{wording.end_name(route, 0)} to {wording.end_name(route, 1)}"
    name = plain(named if any(route.ends) or not route.name else route.name)
    posts = wording.stretch_words(route.posts, *ends)
    rising = float(route.posts.at(ends[1])) > float(route.posts.at(ends[0]))
    way = f"{'with' if rising else 'against'} the posts, {posts.partition(' ')[2]}" if route.posts.stated else posts
    marks = tuple(mark_row(briefing, mark) for mark in briefing.marks)
    train = plain(briefing.train.name)
    return Book(
        paper=paper,
        page_width=across,
        width=width,
        title=name,
        subtitle=f"travelling {way}",
        train=f"{train}: {train_sentence(briefing)}.",
        facts=five_facts(briefing),
        overview=_picture("overview", overview.sheet, whole),
        key=_picture("key", key, "Key of grades: nine classes from steep up over level to steep down."),
        map=_map(briefing, relief, width, limits) if route.on_map else None,
        plan_title=f"The worked plan in {'six' if len(sentences) == SENTENCES else 'a few'} sentences",
        sentences=sentences,
        signs={sign: (_sign(sign), words) for sign, words in _SIGNS.items() if any(m.sign == sign for m in marks)},
        consist=_picture("train", train_picture(briefing.train, width), "The train to scale, its head to the right."),
        consist_lines=tuple(line for line in consist_lines(briefing.train, units) if not line.startswith("assumed:")),
        assumed=tuple(assumed_words(briefing.train)),
        sources=tuple(_sources(briefing, overview.frame)),
        sure=tuple(filter(None, _sure(briefing))),
        cautions=(wording.CAUTION, HEAD_RULE, NO_ORDER, *([wording.INVENTED] if profile.invented else [])),
        strips=tuple(
            _strip(briefing, i, *each) for i, each in enumerate(zip(strips, charts, rows, beside, strict=True), start=1)
        ),
        sudden=tuple(
            _picture(f"sudden-{i}", *drawn) for i, drawn in enumerate(felt_pictures(briefing, width), start=1)
        ),
        sudden_notes=tuple(how_to_read(briefing)) if briefing.felt else (),
        marks=marks,
        tables=some(
            [
                where_not_to_stop(briefing),
                starting_table(briefing),
                crests_table(briefing),
                sequence_table(briefing),
                *descent_tables(briefing),
                ledger_table(briefing),
                *line_tables(briefing),
            ]
        ),
        questions=lesson(briefing),
        foot=f"{train} · {name}",
    )


def _picture(name: str, sheet: Sheet, words: str) -> Picture:
    return Picture(name, sheet.svg(name, words), sheet.width, sheet.height, words)


def _sign(kind: str) -> Picture:
    sheet = Sheet(26.0, 19.0)
    of_train(sheet, kind, 3.0, 9.5)
    return _picture(f"sign-{kind}", sheet, _SIGNS[kind])


def _map(briefing: Briefing, relief: Relief | None, width: float, limits: Limits | None) -> Picture:
    high = _MAP_HIGH[briefing.profile.units]
    drawn = paper_map(briefing, relief, width, high, limits)
    svg = drawn.sheet.svg("map", drawn.words, ground=drawn.ground)
    return Picture("map", svg, width, high, drawn.words)


def _strip(
    briefing: Briefing, number: int, strip: Strip, chart: Chart, rows: tuple[MarkRow, ...], room: float
) -> StripSheet:
    route = briefing.as_travelled[0].route
    posts = wording.stretch_words(route.posts, strip.start, strip.end)
    title = f"Strip {number}: {strip.first} to {strip.last}"
    words = f"Strip chart, {posts}: posts, rail, grades, curves, speed, what the train carries, and its marks."
    picture = _picture(f"strip-{number}", chart.sheet, words)
    last = " ".join(filter(None, [HEAD_RULE, *_sure(briefing), _OTHERWISE]))
    return StripSheet(title, posts, picture, rows, last, chart.sheet.height > room)


def _grades(briefing: Briefing) -> Iterator[str]:
    """Grades as travelled in words, for those who cannot see the picture."""
    profile, landmarks = briefing.as_travelled
    for run in landmarks.grade_runs:
        where = wording.stretch_words(profile.route.posts, run.start, run.end)
        yield f"{where}: {wording.slope_words(run.grade, profile.units, run.grade_se)}."


def _sure(briefing: Briefing) -> Iterator[str]:
    """How sure elevations, grades and structures are."""
    profile, landmarks = briefing.as_travelled
    se = profile.elevation_se
    elevation = wording.elevation_sure_words(float(np.median(se)), float(se.max()), profile.units)
    grade = wording.grade_sure_words(float(np.median(briefing.running.grade_se)), profile.units)
    yield f"How sure (95 %): {elevation}; grade under the train {grade}."
    kinds = [mark.kind for mark in landmarks.suspected]
    yield wording.suspected_sentence(kinds.count("suspected_tunnel"), kinds.count("suspected_bridge"))


def _sources(briefing: Briefing, frame: Frame) -> Iterator[str]:
    """Where the line and the ground come from, and when it was put together if that is said (SOURCE_DATE_EPOCH)."""
    profile = briefing.profile
    if profile.route.source:
        yield f"Line: {plain(profile.route.source)}."
    yield from provenance(frame)
    yield from (f"Assumed of the line: {plain(said)}." for said in (*profile.route.assumptions, *profile.assumptions))
    date = source_date()
    if date is not None:
        yield f"Date: {date.date().isoformat()}."
