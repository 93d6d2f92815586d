"""The cases of a plan beside each other, in words: what becomes of time, work, the first act and the windows."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from profiler import wording
from profiler.briefing.by_plan import PACES, ByPlan
from profiler.briefing.descent_words import DESCENT_KINDS, share_words
from profiler.briefing.plan import Briefing
from profiler.briefing.words import post_words
from profiler.handling.descent_plan import SAME_CREST
from profiler.handling.windows import Window
from profiler.units import MEGAWATT_HOUR, UNITS

_AT_LIMIT = 0.01
"""A speed held so near the limit is held to it. [m/s]"""


def case_lines(briefing: Briefing) -> list[str]:
    """One line on all cases, the figures of each in their order; none where there is but one."""
    plans = briefing.plans
    if len(plans) < 2:
        return []
    names, paces = _each(plan.case for plan in plans), _each(f"{PACES[plan.case]:g}" for plan in plans)
    figures = [
        _each(f"{plan.journey.time[-1] / UNITS['minutes']:.0f}" for plan in plans) + " min",
        _each(f"{plan.journey.work / MEGAWATT_HOUR:.1f}" for plan in plans) + " MWh",
        "first act at " + _each(_first(briefing, plan.case) for plan in plans),
        _each(_open(plan) for plan in plans) + " windows open",
        *_hardest(briefing),
    ]
    if any(plan.journey.stalls for plan in plans):
        figures.append("stalls " + _each(str(len(plan.journey.stalls)) for plan in plans))
    return [f"{names}, speeds held × {paces} and never above what is posted{_capped(plans)}: {', '.join(figures)}"]


def _each(words: Iterable[str]) -> str:
    return " / ".join(words)


def _capped(plans: Sequence[ByPlan]) -> str:
    """Over how much of the line the fastest case is held to the posted limit."""
    speeds = max(plans, key=lambda plan: PACES[plan.case]).line.speeds
    share = float((speeds.hold >= speeds.limit - _AT_LIMIT).mean())
    return f" (the fastest is held to that over {share_words(share)} of the line)" if share >= 0.005 else ""


def _first(briefing: Briefing, case: str) -> str:
    """Where the first act of a case begins."""
    kinds = (*DESCENT_KINDS, "slow_order")
    acts = [mark.recommended for mark in briefing.marks_by_case[case] if mark.kind in kinds and mark.number]
    return wording.post_text(briefing.profile.route.posts, acts[0], 2) if acts else "–"


def _windows(plan: ByPlan) -> list[Window]:
    """Of every act of the descents."""
    offs = [one.power_off for one in plan.line.descents if one.power_off is not None]
    return [*offs, *(window for one in plan.line.descents for window in one.windows)]


def _open(plan: ByPlan) -> str:
    windows = _windows(plan)
    return f"{sum(not window.empty for window in windows)} of {len(windows)}"


def _hardest(briefing: Briefing) -> Iterator[str]:
    """How long the window for power off is before the hardest descent, where every case has it."""
    held = [one for one in briefing.line.descents if one.held and one.power_off is not None]
    if not held:
        return
    hardest = max(held, key=lambda one: one.descent.force).descent
    lengths = []
    for plan in briefing.plans:
        near = [x for x in plan.line.descents if abs(x.descent.crest - hardest.crest) <= SAME_CREST]
        window = near[0].power_off if near else None
        lengths.append(_length(window, briefing.profile.units))
    yield f"power off for the crest at {post_words(briefing, hardest.crest)} within {_each(lengths)}"


def _length(window: Window | None, units: str) -> str:
    """The length of a window in words."""
    if window is None:
        return "none"
    if window.empty:
        return "no window"
    if not math.isfinite(window.latest - window.earliest):
        return "no latest"
    return wording.short_length_text(window.latest - window.earliest, units)
