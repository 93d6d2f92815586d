"""What the map shows of one train: its marks as numbered chips, stretches where it had better not be stopped."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.briefing.words import HEAD_RULE, NO_ORDER, draft_sentences, mark_title, mark_words, train_sentence
from profiler.grade_classes import Limits
from profiler.ground import Relief
from profiler.mark import Mark
from profiler.present.map import draw_map
from profiler.present.map_marks import mark_of
from profiler.present.train_marks import ways_of, window_of
from profiler.present.train_signs import BEGIN, SLACK

SIGNS = {
    "straddle": "astride",
    "do_not_stop": "stop",
    "start_hard": "hard",
    "not_held": "unheld",
    **dict.fromkeys(BEGIN, "begin"),
    "slack_in": "slack-in",
    "slack_out": "slack-out",
}
"""Signs of marks by their kind."""


def draw_train_map(briefing: Briefing, relief: Relief | None, path: Path, *, limits: Limits | None = None) -> None:
    """Write the map of a briefing as one self-contained HTML file, up and down as travelled.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    profile, landmarks = briefing.as_travelled
    train = train_layer(briefing)
    draw_map(profile, landmarks, relief, path, limits=limits, online_tiles=not profile.invented, train=train)


def train_layer(briefing: Briefing) -> dict[str, Any]:
    """The marks in plain values by distance travelled, what they are of, and sentences for the key."""
    profile, length = briefing.profile, briefing.terrain.length
    marks = [map_mark(briefing, mark) for mark in briefing.marks]
    return {
        "title": f"{briefing.train.name}, {wording.towards(profile.route, briefing.direction)}",
        "marks": [mark for mark in marks if mark["end"] >= 0 and mark["start"] < length],
        "notes": [f"{said}." for said in (train_sentence(briefing), *draft_sentences(briefing))],
        "rules": [HEAD_RULE, NO_ORDER],
    }


def map_mark(briefing: Briefing, mark: Mark) -> dict[str, Any]:
    """One mark in plain values by distance travelled, its number only where it has one."""
    posts, units, terrain = briefing.profile.route.posts, briefing.profile.units, briefing.terrain
    start, at, end = ways_of(mark, terrain)
    at = min(max(at, 0.0), terrain.length)
    where = _where(briefing, mark)
    lines = [*mark_words(mark, briefing.train, units, posts).split("; "), *_quarters(briefing, mark), *_holding(mark)]
    title = mark_title(mark)
    made = mark_of(SIGNS[mark.kind], at, title, where, lines, title=title, stretch=(start, end))
    return made if mark.kind in SLACK else {**made, "number": mark.number}


def _where(briefing: Briefing, mark: Mark) -> str:
    """From where to where, by posts; where something begins the best place too, and what there is not."""
    posts = briefing.profile.route.posts
    if mark.kind not in BEGIN:
        return wording.stretch_words(posts, mark.earliest, mark.latest, 2)
    places = (wording.post_text(posts, x, 2) for x in (mark.earliest, mark.recommended, mark.latest))
    return window_of(mark, briefing.terrain).words(*places)


def _quarters(briefing: Briefing, mark: Mark) -> list[str]:
    """Posts of the head end with a quarter, half, three quarters and all of the train past."""
    places = (mark.quarter, mark.half, mark.three_quarter, mark.clear)
    figures = [wording.post_text(briefing.profile.route.posts, x, 2) for x in places if x is not None]
    return [f"head at ¼, ½, ¾, rear over: {', '.join(figures)}"] if len(figures) == len(places) else []


def _holding(mark: Mark) -> list[str]:
    """Whether the independent brake keeps the standing train, where a start is meant."""
    if mark.kind not in ("start_hard", "do_not_stop"):
        return []
    holds = "holds" if mark.figure("independent_holds") else "does not hold"
    return [f"the independent brake of the head units alone {holds} it while the train air is released"]
