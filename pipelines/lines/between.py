"""The shortest ways between named stations (pure)."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence

import numpy as np

from pipelines.lines.corridors import Corridors
from pipelines.lines.laid_lines import STATION_REACH, Surroundings
from pipelines.lines.line_tags import plain
from pipelines.lines.tracks import Track, chained
from pipelines.lines.ways import Ways
from profiler import InputError, RouteError

SAME_STATION = 5000.0
"""Nodes of one name further apart than this are two stations. [m]"""

STATION_OFF = 500.0
"""A station lies at most so far from a track. [m]"""


def ways_between(
    met: Corridors, around: Surroundings, pairs: Sequence[tuple[str, str]]
) -> Iterator[tuple[tuple[str, str], Track]]:
    """For each pair of stations their names as mapped, and the shortest way of a train from the one to the other.

    Raises
    ------
    InputError
        If a station is not there, not the only one of its name, too far off a track, or asked for twice in a pair.
    RouteError
        If no train gets from one of two stations to the other without turning back.
    """
    stations = {name: _found(around, name) for pair in pairs for name in pair}
    spots = {name: _spots(met, around, here) for name, here in stations.items()}
    ways = Ways(met.tracks, met.contacts, [spot for found in spots.values() for spot in found])
    for one, other in pairs:
        ends = (_name(around, stations[one][0]), _name(around, stations[other][0]))
        if stations[one] == stations[other]:
            raise InputError(around.source, f"a way from {ends[0]} to itself is none", "name two stations")
        legs = ways.between(spots[one], spots[other])
        if not legs:
            raise RouteError(
                around.source, f"no train gets from {' to '.join(ends)} without turning back", "ask for it in two parts"
            )
        parts = [met.tracks[t].part(*sorted((start, end))) for t, start, end in legs]
        parts = [part if start < end else part.turned() for part, (_, start, end) in zip(parts, legs, strict=True)]
        mate = np.arange(2 * len(parts)) + np.tile((-1, 1), len(parts))
        mate[-1] = -1
        yield ends, chained(parts, mate)[0][0]


def _same(name: object) -> str:
    """A name as it is compared: whether a capital or not."""
    return plain(plain(name).casefold())


def _name(around: Surroundings, number: int) -> str:
    return plain(around.stations.features[number].attributes["name"])


def _found(around: Surroundings, name: str) -> list[int]:
    """Numbers of the nodes that are the station of a name."""
    stations = around.stations
    names = [_name(around, i) for i in range(len(stations.features))]
    here = [i for i, known in enumerate(names) if _same(known) == _same(name)]
    if not here:
        near = difflib.get_close_matches(plain(name), names, 1)
        remedy = f"did you mean {near[0]}?" if near else "name a station or halt of the extract"
        raise InputError(around.source, f"there is no station {plain(name)} in it", remedy)
    place = stations.position[here]
    if float(np.linalg.norm(place - place[0], axis=1).max()) > SAME_STATION:
        raise InputError(
            around.source, f"{len(here)} stations in it are called {plain(name)}", "give an extract with one of them"
        )
    return here


def _spots(met: Corridors, around: Surroundings, here: Sequence[int]) -> list[tuple[int, float]]:
    """Where a station is: on every track within its reach, else on the nearest; number of the track, how far along
    it [m]."""
    place = around.stations.position[here]
    feet = sorted((*track.foot(point)[::-1], t) for point in place for t, track in enumerate(met.tracks))
    off, at, nearest = feet[0]
    if off > STATION_OFF:
        name = _name(around, here[0])
        raise InputError(around.source, f"{name} lies {off:.0f} m from the nearest line", "name another station")
    return [(t, at) for off, at, t in feet if off <= STATION_REACH] or [(nearest, at)]
