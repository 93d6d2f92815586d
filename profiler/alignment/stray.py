"""Vertices that lie far aside of their neighbours are no track and are left out before smoothing.

A vertex of track never takes away turning when it is removed: a hairpin, a helical loop and the
reversal of a zigzag turn as much without it, because their neighbours turn too. A stray vertex makes
the line go out and come back, and without it the line goes straight on.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from profiler.alignment.join import Joined
from profiler.alignment.smooth import earth_centred
from profiler.alignment.ways import place_words
from profiler.centreline import Centreline
from profiler.errors import RouteError
from profiler.route import frozen_array
from profiler.units import FloatArray

LEAST_DETOUR = 10.0
"""A way out and back shorter than this is left to the smoothing. [m]"""

OVER_USUAL = 20.0
"""A stray vertex makes a detour so many times that of the usual vertex: noisy vertices stay."""

OVER_SPACING = 3.0
"""Both its ways lead so many times as far as the vertices around it are apart: on a line of few vertices
a valley crossed far up looks no different."""

TURNING_LOST = np.radians(240)
"""Without it the line turns by at least so much less; two legs that meet at 60° and the turns
into the first and out of the second make just so much."""

TURNING_LEFT = np.radians(90)
"""Without it the line goes on within this: at a reversal it would still turn back."""

NEAR, NEAR_ASIDE, NEAR_LOST, NEAR_LEFT = 100.0, 10.0, np.radians(120), np.radians(30)
"""Over ways shorter than `NEAR` [m] no track goes out and comes back at all: there it is astray from
`NEAR_ASIDE` [m] and a smaller loss of turning on, if the line goes straight on without it."""

FLANK = np.radians(5)
"""The line turns so much before it and after it. The first leg of a zigzag lies straight ahead."""

MOST_SHARE, MOST_FREE = 0.05, 3
"""A line of which more vertices are astray, in share and in number, is refused."""

_AROUND = 6
_REACH = 0.25  # of a leg: the length over which the line's own direction is taken


@dataclass(frozen=True, eq=False)
class Strays:
    """Which vertices (n,) of a line stay, and how far [m] aside of the line without it each other one lies."""

    keep: FloatArray
    aside: FloatArray


def strays(longitude: FloatArray, latitude: FloatArray) -> Strays:
    """Find single vertices, and pairs of neighbours, that lie far aside of the line.

    Parameters
    ----------
    longitude, latitude : ndarray, shape (n,)
        Vertices of a line on WGS 84. [degree]

    Returns
    -------
    Strays
        The ends are never astray.
    """
    place = earth_centred(longitude, latitude)
    keep, aside = np.ones(longitude.size, dtype=bool), np.zeros(longitude.size)
    usual = _usual_detour(place)
    for count in (1, 2, 1):  # what stood beside a stray vertex may be seen to be astray without it
        there = np.flatnonzero(keep)
        for first in _found(place[there], count, max(LEAST_DETOUR, OVER_USUAL * usual)):
            gone = there[first : first + count]
            keep[gone] = False
            aside[gone] = _aside(place[gone], place[there[first - 1]], place[there[first + count]])
    return Strays(keep, aside)


def without_strays(joined: Joined, centreline: Centreline) -> tuple[Joined, tuple[str, ...]]:
    """A joined line without its stray vertices, and what was left out in words.

    Raises
    ------
    RouteError
        If so many vertices are astray that the line cannot be told.
    """
    found = strays(joined.longitude, joined.latitude)
    gone = np.flatnonzero(~found.keep)
    if not gone.size:
        return joined, ()
    worst = int(gone[np.argmax(found.aside[gone])])
    if gone.size > max(MOST_SHARE * found.keep.size, MOST_FREE):
        raise RouteError(
            f"{centreline.source}, feature {_row(joined, centreline, worst)}",
            f"{gone.size} of {found.keep.size} vertices of the line lie far aside of their neighbours, "
            f"that at {_where(joined, worst)} by {found.aside[worst]:.0f} m",
            "correct or remove them, or give another file",
        )
    said = tuple(
        f"feature {_row(joined, centreline, i)}: the vertex at {_where(joined, i)} lies {found.aside[i]:.0f} m "
        "aside of its neighbours and is left out"
        for i in gone.tolist()
    )
    return _kept(joined, found.keep), _shortened(said)


def _row(joined: Joined, centreline: Centreline, vertex: int) -> int:
    return centreline.pieces[int(joined.piece[vertex])].row


def _where(joined: Joined, vertex: int) -> str:
    return place_words((joined.longitude[vertex], joined.latitude[vertex]))


def _shortened(said: Sequence[str], most: int = 3) -> tuple[str, ...]:
    more = len(said) - most
    return (*said[:most], f"and {more} more vertices like these") if more > 1 else tuple(said)


def _kept(joined: Joined, keep: FloatArray) -> Joined:
    number = np.cumsum(keep) - 1  # a piece that ends in a stray vertex ends in the one before it
    spans = tuple(
        dataclasses.replace(s, first=int(number[s.first]), last=int(number[s.last]))
        for s in joined.spans
        if number[s.last] > number[s.first]
    )
    return dataclasses.replace(
        joined,
        longitude=frozen_array(joined.longitude[keep]),
        latitude=frozen_array(joined.latitude[keep]),
        spans=spans,
    )


def _usual_detour(place: FloatArray) -> float:
    """Median of how much longer the way over a vertex is than past it. [m]"""
    if len(place) < 3:
        return 0.0
    return float(np.median(_detour(place, 1)))


def _detour(place: FloatArray, count: int) -> FloatArray:
    """How much longer the way over ``count`` vertices is than past them, from vertex 1 on. [m]"""
    step = np.linalg.norm(np.diff(place, axis=0), axis=1)
    over = np.lib.stride_tricks.sliding_window_view(step, count + 1).sum(axis=1)
    return np.asarray(over - np.linalg.norm(place[count + 1 :] - place[: -count - 1], axis=1))


def _found(place: FloatArray, count: int, least: float) -> list[int]:
    """First vertices of runs of ``count`` that are astray, no two runs touching."""
    if len(place) < count + 3:
        return []
    step = np.linalg.norm(np.diff(place, axis=0), axis=1)
    leg = np.minimum(step[: step.size - count], step[count:])
    detour = _detour(place, count)
    likely = np.flatnonzero((detour >= least) & (leg >= least / 4))
    doubtful = np.zeros(len(place), dtype=bool)
    for k in range(count):
        doubtful[likely + 1 + k] = True
    found: list[int] = []
    taken = np.zeros(len(place), dtype=bool)
    for i in likely[np.argsort(-detour[likely], kind="stable")]:
        first = int(i) + 1
        if not taken[first - 1 : first + count + 1].any() and _is_astray(place, step, doubtful, first, count):
            taken[first : first + count] = True
            found.append(first)
    return found


def _is_astray(place: FloatArray, step: FloatArray, doubtful: FloatArray, first: int, count: int) -> bool:
    before, after = first - 1, first + count
    a, b = place[before], place[after]
    leg = float(min(step[before], step[after - 1]))
    past = float(np.linalg.norm(b - a))
    around = np.r_[step[max(before - _AROUND, 0) : before], step[after : after + _AROUND]]
    alone = leg >= OVER_SPACING * float(np.median(around))
    if not alone and (max(step[before:after]) > NEAR or _aside(place[first:after], a, b).max() < NEAR_ASIDE):
        return False
    into = _direction(place, doubtful, range(before - 1, -1, -1), a, _REACH * leg, a - b)
    out = -_direction(place, doubtful, range(after + 1, len(place)), b, _REACH * leg, b - a)
    turns = _turns(np.vstack((into, np.diff(place[before : after + 1], axis=0), out)))
    left = _turns(np.vstack((into, b - a, out)) if past > _REACH * leg else np.vstack((into, out))).sum()
    most_left, least_lost = (TURNING_LEFT, TURNING_LOST) if alone else (NEAR_LEFT, NEAR_LOST)
    return bool(min(turns[0], turns[-1]) >= FLANK and left <= most_left and turns.sum() - left >= least_lost)


def _direction(
    place: FloatArray, doubtful: FloatArray, others: Sequence[int], at: FloatArray, reach: float, otherwise: FloatArray
) -> FloatArray:
    """From the nearest of other vertices beyond ``reach`` [m] to a place (3,); doubtful ones cannot tell."""
    way = -otherwise
    for i in others:
        if not doubtful[i]:
            way = at - place[i]
            if np.linalg.norm(way) >= reach:
                break
    return np.asarray(way)


def _turns(ways: FloatArray) -> FloatArray:
    """Angles (k − 1,) between ways (k, 3). [rad]"""
    unit = ways / np.maximum(np.linalg.norm(ways, axis=1), 1e-9)[:, None]
    return np.asarray(np.arccos(np.clip((unit[1:] * unit[:-1]).sum(axis=1), -1.0, 1.0)))


def _aside(gone: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    """Distance (k,) [m] of places (k, 3) from the straight way between two others."""
    way = b - a
    share = np.clip(((gone - a) @ way) / max(float(way @ way), 1e-9), 0.0, 1.0)
    return np.asarray(np.linalg.norm(gone - a - share[:, None] * way, axis=1))
