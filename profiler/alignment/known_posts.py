"""Known posts judged by each other: which of them lie astray, and where the others put each of them."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from profiler import wording
from profiler.route import KnownPost, Posts
from profiler.units import FloatArray

ASTRAY, ASTRAY_M = 5.0, 30.0
"""Posts disagree from so many robust s.d. of all steps between posts, and so many metres, on."""

NATURAL = 0.005
"""By this part of the way between them true posts may differ from their figures: over the 5 to 70 km between the
ends of pieces of SNCF Réseau's line 672000 (open data) it is up to 0.003."""

JUMP = 2.5
"""A step that stays wrong counts as much as so many posts astray: of three posts moved alike at an end, or six
in between, none is called astray, but the step to them."""

REACH = int(2 * JUMP) + 1
"""From one good post the next is at most so many on: to leave out more would cost more than two jumps."""

SAID = 3
"""More posts astray than these are only counted."""


@dataclass(frozen=True, eq=False)
class _Judged:
    """``lead`` (k,) [m] is how much further each post lies than its figure says, seen from the first of its run;
    ``part`` (k,) numbers stretches without an equation, stated or not; ``astray`` (k,); ``jumps`` are pairs of
    good posts between which the step is wrong."""

    lead: FloatArray
    part: FloatArray
    astray: FloatArray
    jumps: tuple[tuple[int, int], ...]


def known_posts(posts: Posts) -> tuple[KnownPost, ...]:
    """Every post whose place is known, beside where the posts to both sides of it that are not astray put it.

    Between equations it is interpolated between its neighbours; at an end of such a run it is the usual
    length of the unit on this line from the next one; where that is the only post of its run nothing can tell.
    """
    judged = _judge(posts)
    good = np.flatnonzero(~judged.astray)
    return tuple(
        KnownPost(float(value), float(place), _residual(i, posts.value, judged, good))
        for i, (place, value) in enumerate(zip(posts.chainage, posts.value, strict=True))
    )


def _residual(i: int, value: FloatArray, judged: _Judged, good: FloatArray) -> float | None:
    near = good[(judged.part[good] == judged.part[i]) & (good != i)]
    sides = [*near[near < i][-1:], *near[near > i][:1]]
    if not sides:
        return None
    a, b = sides[0], sides[-1]
    share = (value[i] - value[a]) / (value[b] - value[a]) if a != b else 0.0
    return float(judged.lead[i] - judged.lead[a] - share * (judged.lead[b] - judged.lead[a]))


def _judge(posts: Posts) -> _Judged:
    """The fewest posts whose removal lets the rest agree, run by run between equations.

    Steps between posts show it, not residuals: a post astray spoils those of its neighbours too.
    """
    chainage, value = posts.chainage, posts.value
    size = chainage.size
    way, units = np.diff(chainage), np.abs(np.diff(value))
    along = way > 0
    run = np.r_[0, np.cumsum(~along)]  # an equation ends one run and begins the next
    part, astray = run.copy(), np.zeros(size, dtype=bool)
    if not along.any():
        return _Judged(np.zeros(size), part, astray, ())
    steps = np.where(along, way - units * _usual_unit(way[along], units[along], posts.unit_m), 0.0)
    lead = np.r_[0.0, np.cumsum(steps)]
    limit, usual = _limit(steps[along]), float(np.median(units[along])) * posts.unit_m
    jumps = []
    for k in range(run[-1] + 1):
        inside = np.flatnonzero(run == k)
        told = np.abs(value[inside] - value[inside[0]]) * posts.unit_m
        good, broken = _agreeing(lead[inside], told, limit, usual)
        astray[inside] = True
        astray[inside[good]] = False
        for a, b in broken:
            part[inside[b] :] += 1
            jumps.append((int(inside[a]), int(inside[b])))
    return _Judged(lead, part, astray, tuple(jumps))


def _usual_unit(way: FloatArray, units: FloatArray, true: float) -> float:
    """Length of a unit between posts, the median by length; the true one while fewer than three steps tell. [m]"""
    if way.size < 3:
        return true
    length = way / units
    order = np.argsort(length)
    half = np.searchsorted(np.cumsum(units[order]), units.sum() / 2)
    return float(length[order[half]])


def _limit(steps: FloatArray) -> float:
    """How far a step of the usual length may be off. [m]

    The s.d. comes from the lower third of the steps, so that it stands where every third post is astray and
    spoils two steps: a third of Gaussian values are less than 0.4307 s.d.
    """
    third = np.sort(np.abs(steps))[(steps.size - 1) // 3]
    return max(ASTRAY_M, ASTRAY * float(third) / 0.4307)


def _agreeing(
    lead: FloatArray, told: FloatArray, limit: float, usual: float
) -> tuple[list[int], list[tuple[int, int]]]:
    """Posts of a run to keep, and the steps between them that stay wrong; ``told`` [m] is how far on each is said
    to be, ``limit`` [m] is that of steps of the ``usual`` length [m].

    The cheapest way through: a post left out costs 1, a wrong step `JUMP`. Errors of lengths add up as the
    root of the length, so that a longer step may be off by more. Where it would be half of a run or more that is
    astray, nobody can tell which half, and all are kept; so is what the others put within the limit after all.
    """

    size, way = lead.size, np.diff(told)
    allowed = np.maximum(limit * np.sqrt(np.maximum(1.0, way / usual)), NATURAL * way)

    def wrong(a: int, b: int) -> float:  # over 1 if it is; what is left out between does not make it longer
        return float(abs(lead[b] - lead[a]) / allowed[a:b].max())

    cost, before = [0.0], [-1]
    for b in range(1, size):
        ways = [(float(b), -1)] if b <= REACH else []
        for a in range(max(0, b - REACH), b):
            share = wrong(a, b)
            # among equals, the one that leaves the least disagreement
            ways.append((cost[a] + b - a - 1 + (JUMP if share > 1 else 0.0) + 1e-3 * min(share, 1.0), a))
        best = min(ways)
        cost.append(best[0])
        before.append(best[1])
    last = min(range(size), key=lambda b: cost[b] + size - 1 - b)
    kept = [last]
    while before[kept[-1]] >= 0:
        kept.append(before[kept[-1]])
    kept.reverse()
    if 2 * (size - len(kept)) >= size:
        kept = list(range(size))
    while True:
        near = np.abs(lead - np.interp(told, told[kept], lead[kept])) <= limit
        if near.sum() == len(kept):
            break
        kept = np.flatnonzero(near).tolist()
    return kept, [(a, b) for a, b in itertools.pairwise(kept) if wrong(a, b) > 1]


def said_of_known(posts: Posts, units: str) -> tuple[str, ...]:
    """Known posts that lie far from where the others put them, and unstated equations, in sentences."""
    known, judged = known_posts(posts), _judge(posts)
    told = [
        f"post {_named(posts, i)} lies {wording.short_length_text(abs(known[i].residual or 0.0), units)} from where "
        "its neighbours put it: check its place, or state an equation"
        for i in np.flatnonzero(judged.astray).tolist()
        if abs(known[i].residual or 0.0) > ASTRAY_M  # between two jumps nothing may be left to tell
    ]
    for a, b in judged.jumps:
        more = judged.lead[b] - judged.lead[a]
        told.append(
            f"from post {_named(posts, a)} to {_named(posts, b)} the line is "
            f"{wording.short_length_text(abs(more), units)} {'longer' if more > 0 else 'shorter'} than they say: "
            "check their places, or state an equation"
        )
    if len(told) > SAID:
        rest = len(told) - SAID
        told[SAID:] = [f"{rest} more of the known posts {'lies' if rest == 1 else 'lie'} as far off, see posts.csv"]
    return tuple(told)


def _named(posts: Posts, i: int) -> str:
    return wording.post_named(posts, float(posts.value[i]))
