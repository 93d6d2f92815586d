"""The strip chart of one train: the line as travelled, with rows for what the train feels and does."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.briefing.words import HEAD_RULE, NO_ORDER, draft_sentences, has_knuckles, knuckle_words, train_sentence
from profiler.grade_classes import Limits, class_limits
from profiler.mark import Mark
from profiler.present.chart import Chart, MoreRows, compose_chart
from profiler.present.chart_frame import SHARE, Frame, Panel, frame_of
from profiler.present.chart_key import Words
from profiler.present.labels import Label, Room
from profiler.present.run_rows import HEIGHTS, air_used, draw_brakes, draw_by_plan, dynamic_used, fastest_by_plan
from profiler.present.sheet import Sheet, plain
from profiler.present.train_marks import Lanes, draw_marks, lanes_of, window_of
from profiler.present.train_rows import (
    COUPLERS_SHARE,
    UNDER_SHARE,
    draw_couplers,
    draw_under,
    felt_as_planned,
    near_breaking,
)
from profiler.present.train_signs import BEGIN
from profiler.present.train_slack import SLACK_LANE, draw_slack, slack_of

_SIGNS = {
    "astride": "astride: head over, ¼, ½, ¾, rear over",
    "do_not_stop": "do not stop",
    "start_hard": "start hard here",
    "not_held": "not held",
    "begin": "begin: earliest, best, hatched to the latest",
    "no_latest": "no latest",
    "no_window": "no place is early and late enough",
    "by_plan": "speed by plan",
    "stall": "stalls",
    "dynamic": "dynamic brake",
    "air": "air, a reduction hanging down",
    "slack_in": "slack runs in",
    "slack_out": "slack runs out",
    "under": "grade under the train, thin: of the rail",
    "pull": "pull",
    "push": "push",
    "felt": "pull and push felt at a marked place, as planned, usual slack",
    "start_pull": "pull at a start there",
    "limit": "limit",
    "caution": "caution",
    "breaks": "typical knuckle breaks (common practice, no source)",
}


def draw_train_chart(
    briefing: Briefing, *, svg: Path | None = None, png: Path | None = None, limits: Limits | None = None
) -> tuple[str, ...]:
    """Draw the strip chart of a briefing into the files asked for, as travelled from left to right.

    Parameters
    ----------
    briefing : Briefing
    svg, png : Path, optional
        Where to write; the same briefing gives the same bytes.
    limits : four floats, optional
        Lower limits of grade classes 1 to 4 [m/m]; by default they follow the ruling grade.

    Returns
    -------
    tuple of str
        Words for which the chart had no room; their signs are drawn, their figures are in the tables.

    Raises
    ------
    OutputError
        If a file cannot be written.
    """
    chart = compose_train_chart(briefing, limits=limits)
    chart.sheet.write(f"Strip chart: {chart.words.title}", chart.description, svg=svg, png=png)
    return chart.dropped


def compose_train_chart(briefing: Briefing, *, limits: Limits | None = None, scale: float | None = None) -> Chart:
    """Draw it on a sheet without writing it."""
    profile, landmarks = briefing.as_travelled
    limits = limits or class_limits(landmarks.steepest_ruling)
    more = rows_of_train(briefing, frame_of(profile, landmarks, limits, scale).scale)
    return compose_chart(profile, landmarks, limits=limits, scale=scale, more=more)


def rows_of_train(briefing: Briefing, scale: float, stretch: tuple[float, float] | None = None) -> MoreRows:
    """Rows that a chart of ``scale`` points a metre has of the train, those that it has room for drawn.

    Marks are those of the line, or of a stretch by distance travelled [m].
    """
    lanes = lanes_of(briefing, scale, stretch)

    def draw(sheet: Sheet, room: Room, panel: Panel, frame: Frame) -> list[Label]:
        there = panel.rows
        labels = draw_under(sheet, room, panel, frame, briefing) if "under" in there else []
        labels += draw_by_plan(sheet, room, panel, frame, briefing) if "speed" in there else []
        labels += draw_brakes(sheet, room, panel, frame, briefing) if "brakes" in there else []
        if "couplers" in there:
            labels += draw_couplers(sheet, room, panel, frame, briefing)
            labels += draw_slack(sheet, room, panel, briefing)
        return labels + (draw_marks(sheet, room, panel, briefing, lanes) if "marks" in there else [])

    heights = {**HEIGHTS, "under": UNDER_SHARE * SHARE, "couplers": COUPLERS_SHARE * SHARE}
    if slack_of(briefing):
        heights["couplers"] += SLACK_LANE
    if not (air_used(briefing.journey) or dynamic_used(briefing.journey)):
        del heights["brakes"]
    if lanes.laid:
        heights["marks"] = lanes.height
    return MoreRows(heights, _words(briefing, lanes), draw, fastest_by_plan(briefing.journey))


def _words(briefing: Briefing, lanes: Lanes) -> Words:
    profile, train = briefing.profile, briefing.train
    units = profile.units
    return Words(
        title=plain(f"{train.name}, {wording.towards(profile.route, briefing.direction)}"),
        told=tuple(plain(f"{said}.") for said in (train_sentence(briefing), *draft_sentences(briefing))),
        read=(
            "Speed and Brakes: the train run by plan on the estimated line"
            + ("; where it stalls, the run goes on at the next descent." if briefing.journey.stalls else "."),
            "Couplers: largest forces in the train by the place of its head end, slack at rest, gradual handling; pull "
            "at steady speed, push also as run by plan.",
            *([f"Fact beside the limits: {knuckle_words(units)}."] if has_knuckles(train) else []),
        ),
        last=(HEAD_RULE, NO_ORDER),
        signs=tuple((kind, _SIGNS[kind]) for kind in _kinds(briefing, lanes)),
    )


def _kinds(briefing: Briefing, lanes: Lanes) -> Iterator[str]:
    """Signs that the chart uses, in the order of the key."""
    limits, journey = briefing.train.limits, briefing.journey
    used = {"under", "by_plan", "pull", "push", "start_pull", "limit"}
    used |= {mark.kind for mark in slack_of(briefing)}
    used |= {kind for item in lanes.laid for kind in _signs_of(item.mark, briefing)}
    used |= {"felt"} if felt_as_planned(briefing) else set()
    used |= {"stall"} if journey.stalls else set()
    used |= {"dynamic"} if dynamic_used(journey) else set()
    used |= {"air"} if air_used(journey) else set()
    used |= {"breaks"} if near_breaking(briefing) else set()
    used |= {"caution"} if limits.draft_caution < limits.draft else set()
    return (kind for kind in _SIGNS if kind in used)


def _signs_of(mark: Mark, briefing: Briefing) -> Iterator[str]:
    """Signs that a mark is drawn with."""
    if mark.kind not in BEGIN:
        yield "astride" if mark.kind == "straddle" else mark.kind
        return
    window = window_of(mark, briefing.terrain)
    yield "no_window" if window.empty else "begin"
    if not window.empty and not window.ends:
        yield "no_latest"
