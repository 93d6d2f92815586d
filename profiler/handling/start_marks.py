"""Marks of starting: the worst place of each climb, and where a train had better not be stopped."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from profiler.cited import Cited
from profiler.handling.starting import Starting, starting
from profiler.landmark import Straddle
from profiler.mark import SLACK_KINDS, Figure, Mark
from profiler.mechanics.places import Climb, first_most
from profiler.mechanics.terrain import Terrain
from profiler.train import Train
from profiler.units import FloatArray

SURE = Cited(95, "pct", "choice")
"""Share of the draws in which a train has to start if it is to be called sure. [-]"""
NEARLY = Cited(95, "pct", "choice")
"""Head positions that need so much of what the worst one needs are as bad. [-]"""
CLEARLY = Cited(90, "pct", "choice")
"""A short stretch where it starts, but not surely, is told only if the share of draws falls below this: of a hundred
draws a share of 95 % is sure to 4 % (1.96 standard errors). [-]"""
GAP = 200.0
"""Nobody stops a train more exactly: stretches no farther apart are one, and shorter ones are told only where the train
does not start, or clearly not surely. [m]"""


def worst_places(found: Starting, climbs: Sequence[Climb], train: Train) -> tuple[int, ...]:
    """Position in ``found`` of the hardest start of each climb, in order of travel; one where climbs share it."""
    worst: list[int] = []
    for climb in climbs:
        first, last = np.searchsorted(found.head, [min(climb.heads), max(climb.heads) + 1e-6])
        inside = np.arange(first, max(last, first + 1)).clip(max=found.head.size - 1)
        worst.append(int(inside[first_most(found.need[inside])]))
    kept: list[int] = []
    for i in sorted(worst, key=lambda i: -found.need[i]):
        if all(abs(found.head[i] - found.head[j]) > train.length for j in kept):
            kept.append(i)
    return tuple(sorted(kept))


def start_hard(found: Starting, terrain: Terrain, worst: Iterable[int]) -> tuple[Mark, ...]:
    """Marks of kind "start_hard": worst place of each climb, and as far about it as is nearly as bad."""
    marks = []
    for i in worst:
        as_bad = _run_about(found.need >= NEARLY * found.need[i], i)
        reason = str(found.limited_by[i]) if found.starts[i] else _why_not(found, i)
        marks.append(_mark("start_hard", found, terrain, *as_bad, i, reason, 1.0))
    return tuple(marks)


def do_not_stop(found: Starting, terrain: Terrain, train: Train) -> tuple[Mark, ...]:
    """Marks of kind "do_not_stop": head positions from which the train does not start, or not surely.

    Stretches nearer than half the train's length are one: two heads so near share more than half of what lies under the
    train, so that a place between them is hardly better than they, and hardly surer.
    ``reason``: "adhesion", "starting_effort" or "knuckle" where it does not start at the worst place; "uncertain"
    where it does, but not in over 5 % of the draws; "draft_caution" where only the draft is above its caution.
    """
    near = max(GAP, train.length / 2)
    unsure = _closed(~found.starts | (found.probability < SURE - 1e-9), found.head, near)
    caution = _closed(~unsure & (found.draft > found.draft_caution), found.head, near) & ~unsure
    severity = np.maximum(found.need / found.available, found.draft / found.draft_limit)
    marks = []
    for first, last in _runs(unsure):
        share, failing = found.probability[first : last + 1], ~found.starts[first : last + 1]
        if found.head[last] - found.head[first] < GAP and not failing.any() and share.min() >= CLEARLY - 1e-9:
            continue
        worst = failing if failing.any() else share == share.min()
        i = first + first_most(np.where(worst, severity[first : last + 1], 0.0))
        reason = "uncertain" if found.starts[i] else _why_not(found, i)
        marks.append(_mark("do_not_stop", found, terrain, first, last, i, reason, 1 - found.probability[i]))
    for first, last in _runs(caution):
        if found.head[last] - found.head[first] < GAP:
            continue
        i = first + first_most(found.draft[first : last + 1])
        marks.append(_mark("do_not_stop", found, terrain, first, last, i, "draft_caution", 1.0))
    return tuple(sorted(marks, key=lambda m: float(terrain.way_at(m.earliest))))


def numbered(marks: Iterable[Mark], terrain: Terrain) -> tuple[Mark, ...]:
    """Marks in order of travel by where they begin, numbered from 1; slack has no number, 0."""
    ordered = sorted(marks, key=lambda m: (float(terrain.way_at(m.earliest)), m.kind, m.reason))
    count = itertools.count(1)
    return tuple(dataclasses.replace(m, number=0 if m.kind in SLACK_KINDS else next(count)) for m in ordered)


def start_astride(train: Train, terrain: Terrain, straddle: Straddle) -> Starting:
    """What a start needs with none, a quarter, half, three quarters and all of the train past a landmark: (5,).

    Over a crest a train may start in a low notch that could not start with all its cars on the grade.
    """
    heads = (straddle.head, straddle.quarter, straddle.half, straddle.three_quarter, straddle.clear)
    return starting(train, terrain, head=terrain.way_at(np.array(heads)))


def _why_not(found: Starting, i: int) -> str:
    """What keeps the train from starting: what is exceeded most."""
    knuckle = found.draft[i] / found.draft_limit >= found.need[i] / found.available
    return "knuckle" if knuckle else found.short_of


def _runs(mask: FloatArray) -> Iterator[tuple[int, int]]:
    """First and last position of every run."""
    edge = np.flatnonzero(np.diff(np.r_[0, mask.astype(int), 0]))
    yield from zip(edge[::2].tolist(), (edge[1::2] - 1).tolist(), strict=True)


def _closed(mask: FloatArray, head: FloatArray, gap: float) -> FloatArray:
    """The same with gaps up to so many metres closed."""
    closed, last = mask.copy(), None
    for first, end in _runs(mask):
        if last is not None and head[first] - head[last] <= gap:
            closed[last:first] = True
        last = end
    return closed


def _run_about(mask: FloatArray, i: int) -> tuple[int, int]:
    return next(run for run in _runs(mask) if run[0] <= i <= run[1])


def _mark(
    kind: str, found: Starting, terrain: Terrain, first: int, last: int, i: int, reason: str, probability: float
) -> Mark:
    places = (float(terrain.chainage(found.head[k])) for k in (first, i, last))
    earliest, worst, latest = places
    return Mark(
        number=0,
        kind=kind,
        direction=terrain.direction,
        earliest=earliest,
        recommended=worst,
        latest=latest,
        value=float(found.margin[i]),
        unit="N",
        probability=float(probability),
        reason=reason,
        figures=(
            Figure("need", float(found.need[i]), "N"),
            Figure("available", found.available, "N"),
            Figure("draft", float(found.draft[i]), "N"),
            Figure("draft_behind", float(found.draft_at[i]) + 1, ""),
            Figure("buff", float(found.buff[i]), "N"),
            Figure("notch", float(found.notch[i]), ""),
            Figure("share_starting", float(found.probability[i]), ""),
            Figure("independent_holds", float(found.independent_holds[i]), ""),
            Figure("continued", float(found.continued[i]), ""),
        ),
    )
