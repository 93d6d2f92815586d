"""Grade runs: the fewest stretches that agree with the estimated grade within its standard error."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from profiler.landmark import INTERVAL, GradeRun, Landmark
from profiler.profile import Profile
from profiler.units import PERCENT, FloatArray

AGREE = 1.0
"""A station agrees with a run whose grade lies within so many standard errors of its own."""

NEAR, FAR = 150.0, 350.0
"""A draw has a grade break if its mean grades between these distances before and after it differ
enough. [m]"""

SHORTEST = 400.0
"""A run shorter than this whose grade lies between its neighbours' is the bend between them. [m]"""


def grade_runs(profile: Profile) -> tuple[GradeRun, ...]:
    """Grade runs of a profile.

    Sweeping from the left, a run goes on while one grade lies within the bounds of all its
    stations: no division has fewer runs. Sweeping from the right gives the earliest place for
    each edge, from the left the latest; the edge is put between them, and their distance says
    how unsure it is. Of a known profile they are its tangents, from PVI to PVI.
    """
    if profile.charted:
        return tuple(_tangents(profile))
    s, low, high = profile.chainage, *_bounds(profile)
    latest = _sweep(low, high)
    earliest = (low.size - _sweep(low[::-1], high[::-1]))[::-1]
    edges = _settled(profile, latest, earliest)
    runs = _described(profile, edges, np.abs(s[np.minimum(latest, s.size - 1)] - s[np.minimum(earliest, s.size - 1)]))
    return _with_doubt(profile, _without_bends(profile, runs))


def _tangents(profile: Profile) -> Iterator[GradeRun]:
    s, pvis = profile.chainage, profile.pvis
    place = [float(s[0]), *(p.chainage for p in pvis), float(s[-1])]
    # where no PVI is left out, the grade out of one is that into the next
    grades = [pvis[0].grade_in, *(p.grade_out for p in pvis)] if pvis else [float(profile.grade[0])]
    for (start, end), grade, pvi in zip(pairwise(place), grades, [*pvis, None], strict=True):
        end_se = pvi.chainage_se if pvi else 0.0
        yield _run(profile, start, end, grade * (end - start), end_se)


def _with_doubt(profile: Profile, runs: tuple[GradeRun, ...]) -> tuple[GradeRun, ...]:
    """Edges no surer than the draws are of them: a draw has the edge where, between the middles of both
    runs, it stands farthest off the straight line on the side that the change of grade bends to."""
    nodes, heights = profile.draws.chainage, profile.draws.elevation
    doubted = []
    for before, after in pairwise(runs):
        first, last = (before.start + before.end) / 2, (after.start + after.end) / 2
        a, b = np.searchsorted(nodes, first, side="left"), np.searchsorted(nodes, last, side="right")
        if b - a > 2:
            x, z = nodes[a:b], heights[:, a:b].astype(float)
            chord = z[:, :1] + (z[:, -1:] - z[:, :1]) * (x - x[0]) / (x[-1] - x[0])
            edges = x[np.argmax((chord - z) * np.sign(after.grade - before.grade), axis=1)]
            spread = float(np.sqrt(np.mean((edges - before.end) ** 2)))
            before = dataclasses.replace(before, end_se=max(before.end_se, spread))
        doubted.append(before)
    return (*doubted, *runs[-1:])


def _bounds(profile: Profile) -> tuple[FloatArray, FloatArray]:
    reach = AGREE * profile.grade_se
    return profile.grade - reach, profile.grade + reach


def _sweep(low: FloatArray, high: FloatArray) -> FloatArray:
    """Index at which each further run begins."""
    edges: list[int] = []
    floor, ceiling = -np.inf, np.inf
    for i, (a, b) in enumerate(zip(low.tolist(), high.tolist(), strict=True)):
        floor, ceiling = max(floor, a), min(ceiling, b)
        if floor > ceiling:
            edges.append(i)
            floor, ceiling = a, b
    return np.array(edges, dtype=int)


def _settled(profile: Profile, latest: FloatArray, earliest: FloatArray) -> FloatArray:
    """Each edge where the grade passes the middle between the runs on both sides."""
    grade = profile.grade
    middle = ((latest + earliest) // 2).astype(int)
    bounds = np.r_[0, middle, grade.size]
    edges = []
    for k, (a, b) in enumerate(zip(earliest.astype(int), latest.astype(int), strict=True)):
        before = float(np.median(grade[bounds[k] : max(middle[k], bounds[k] + 1)]))
        after = float(np.median(grade[middle[k] : max(bounds[k + 2], middle[k] + 1)]))
        inside = grade[a : b + 1]
        passed = np.flatnonzero((inside - (before + after) / 2) * np.sign(after - before) >= 0)
        edges.append(a + int(passed[0]) if passed.size else int(middle[k]))
    return np.maximum.accumulate(np.array(edges, dtype=int)) if edges else np.zeros(0, dtype=int)


def _described(profile: Profile, edges: FloatArray, spread: FloatArray) -> list[GradeRun]:
    s, z = profile.chainage, profile.elevation
    kept = [0, *(int(e) for e in edges), s.size - 1]
    unsure = [*(float(x) / (2 * AGREE) for x in spread), 0.0]
    runs = []
    for k, (a, b) in enumerate(pairwise(kept)):
        if b > a:
            runs.append(_run(profile, float(s[a]), float(s[b]), float(z[b] - z[a]), unsure[k]))
    return runs


def _run(profile: Profile, start: float, end: float, rise: float, end_se: float) -> GradeRun:
    ends = profile.draws.at(np.array([start, end]))
    se = float(np.std(ends[:, 1] - ends[:, 0]) / (end - start))
    return GradeRun(start, end, rise / (end - start), se, rise, end_se)


def _without_bends(profile: Profile, runs: list[GradeRun]) -> tuple[GradeRun, ...]:
    """Bends between two runs are shared out to both: they are the vertical curve, not a grade."""
    changed = True
    while changed:
        changed = False
        for k in sorted(range(1, len(runs) - 1), key=lambda k: runs[k].end - runs[k].start):
            before, bend, after = runs[k - 1 : k + 2]
            length = bend.end - bend.start
            if length >= SHORTEST:
                break
            if not min(before.grade, after.grade) <= bend.grade <= max(before.grade, after.grade):
                continue
            edge = (bend.start + bend.end) / 2
            z = np.interp([before.start, edge, after.end], profile.chainage, profile.elevation)
            unsure = max(before.end_se, bend.end_se, length / (2 * AGREE))
            runs[k - 1 : k + 2] = [
                _run(profile, before.start, edge, float(z[1] - z[0]), unsure),
                _run(profile, edge, after.end, float(z[2] - z[1]), after.end_se),
            ]
            changed = True
            break
    return tuple(runs)


def grade_breaks(
    profile: Profile, runs: tuple[GradeRun, ...], least: float, taken: tuple[float, ...]
) -> list[Landmark]:
    """Edges between runs of one sense where the grade changes by at least ``least`` [m/m].

    ``taken`` are places [m] of crests and sags, which are no breaks. The probability of a break is
    the share of the draws whose grade changes near it in the same sense and by half as much at least.
    """
    found = []
    for before, after in pairwise(runs):
        change = after.grade - before.grade
        at = before.end
        if abs(change) < least or before.grade * after.grade < 0:
            continue
        if taken and min(abs(at - place) for place in taken) < 300.0:
            continue
        ends = profile.draws.at(np.array([before.start, at, after.end]))
        steps = np.diff(ends, axis=1) / np.array([at - before.start, after.end - at])
        changes = steps[:, 1] - steps[:, 0]
        low, high = np.percentile(changes, INTERVAL)
        found.append(
            Landmark(
                kind="grade_break",
                direction="both",
                start=at - 1.96 * before.end_se,
                end=at + 1.96 * before.end_se,
                at=at,
                value=change / PERCENT,
                low=float(low) / PERCENT,
                high=float(high) / PERCENT,
                unit="%",
                probability=float((_changes_near(profile, at) * np.sign(change) >= abs(change) / 2).mean()),
                place_low=at - 1.96 * before.end_se,
                place_high=at + 1.96 * before.end_se,
                note=f"from {before.grade / PERCENT:.2f} % to {after.grade / PERCENT:.2f} % with chainage",
            )
        )
    return found


def _changes_near(profile: Profile, at: float) -> FloatArray:
    """Change of grade (d,) [m/m] about a place [m] in every draw."""
    s = profile.chainage
    places = np.clip(at + np.array([-FAR, -NEAR, NEAR, FAR]), s[0], s[-1])
    rise = np.diff(profile.draws.at(places), axis=1)
    grades = rise / np.maximum(np.diff(places), 1.0)
    return np.asarray(grades[:, 2] - grades[:, 0])
