"""What the page shows without script: the line as one picture, and the marks of every train in tables."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.briefing.sudden_words import sudden_lines
from profiler.grade_classes import Limits
from profiler.present import map_line
from profiler.present.chart_frame import nice_step
from profiler.present.page_train import where_words
from profiler.present.palette import GROUND, INK
from profiler.present.train_map import map_mark

_WIDTH, _LEFT, _RIGHT = 1000.0, 12.0, 988.0
_TOP, _FOOT, _RIBBON = 34.0, 170.0, 14.0
_LETTER = 6.6
"""Width of a letter, generously. [px]"""


def static_chart(briefing: Briefing, limits: Limits) -> str:
    """Rail, grades by class, posts and stations as SVG, names as text."""
    profile, landmarks = briefing.as_travelled
    s, z = profile.chainage, profile.elevation
    scale = (_RIGHT - _LEFT) / (s[-1] - s[0])
    places = np.linspace(s[0], s[-1], 900)
    heights = np.interp(places, s, z)
    y = _FOOT - 10 - (heights - heights.min()) / max(float(np.ptp(heights)), 10.0) * (_FOOT - _TOP - 40)
    x = _LEFT + (places - s[0]) * scale
    line = "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y, strict=True))
    fills = map_line.colours()["open"]
    parts = [
        f'<path d="M{_LEFT} {_FOOT}L{line}L{_RIGHT} {_FOOT}Z" fill="{GROUND}"/>',
        f'<path d="M{line}" fill="none" stroke="{INK}" stroke-width="2"/>',
    ]
    for start, end, kind, _ in map_line.class_runs(profile, landmarks, limits):
        a, b = _LEFT + (start - s[0]) * scale, _LEFT + (end - s[0]) * scale
        parts.append(
            f'<rect x="{a:.1f}" y="{_FOOT}" width="{b - a:.1f}" height="{_RIBBON}" fill="{fills[str(int(kind))]}" '
            f'stroke="{INK}" stroke-width=".5"/>'
        )
    posts = profile.route.posts
    step = max(int(nice_step(60.0 / scale / posts.unit_m)), 1)
    names = [(p, str(int(v)), _FOOT + _RIBBON + 14) for v, p in profile.route.whole_posts if int(v) % step == 0]
    names += _apart([(x.chainage, x.name) for x in profile.route.stations], scale)
    for place, text, at in names:
        x_at = _LEFT + (place - s[0]) * scale
        half = len(text) * _LETTER / 2
        anchor = "end" if x_at + half > _WIDTH else "start" if x_at < half else "middle"
        parts.append(f'<text x="{x_at:.1f}" y="{at}" text-anchor="{anchor}" font-size="11">{html.escape(text)}</text>')
    title = html.escape(f"The line {wording.travel_words(profile.route)}: height and grades")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:.0f} 210" width="{_WIDTH:.0f}" height="210" '
        f'role="img"><title>{title}</title>{"".join(parts)}</svg>'
    )


def _apart(names: Sequence[tuple[float, str]], scale: float) -> list[tuple[float, str, float]]:
    """Names in one row; those that would meet the one before are left out."""
    kept, end = [], -np.inf
    for place, text in sorted(names):
        half = len(text) * _LETTER / 2
        if place * scale - half > end:
            kept.append((place, text, _TOP - 14))
            end = place * scale + half + 6
    return kept


def static_tables(briefings: Mapping[str, Sequence[Briefing]]) -> list[dict[str, Any]]:
    """Marks as planned in order of travel, a table for each train and direction; what couplers feel in sentences."""
    tables = []
    for briefing in (one for some in briefings.values() for one in some):
        rows = []
        for mark in briefing.marks:
            words = map_mark(briefing, mark)
            _, _, title = words["title"].rpartition(" · ")
            rows.append(
                {
                    "number": words.get("number", ""),
                    "title": title,
                    "where": where_words(briefing, mark),
                    "why": "; ".join(words["lines"]),
                }
            )
        caption = f"{briefing.train.name}, {wording.towards(briefing.profile.route, briefing.direction)}"
        tables.append({"caption": caption, "rows": rows, "felt": sudden_lines(briefing)})
    return tables
