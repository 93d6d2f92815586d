"""Where on the line elevations are known."""

from __future__ import annotations

from profiler.alignment.places import NEAR, LineIndex
from profiler.alignment.route import place_of
from profiler.errors import RouteError
from profiler.route import Route
from profiler.territory import Place, Territory
from profiler.wording import post_text

AS_NEAR = 30.0
"""Of two passages of the line neither is the one meant if both lie as near as this. [m]"""


def known_places(territory: Territory, route: Route) -> tuple[float, ...]:
    """Chainage [m] of each of a territory's known elevations, in its order.

    Raises
    ------
    InputError
        If a post or a chainage is not on the line.
    RouteError
        If coordinates are further than `NEAR` from it, or where it passes over itself.
    """
    if not territory.known_elevations:
        return ()
    index = LineIndex(route.chainage, route.longitude, route.latitude, route.ends)
    found = []
    for number, entry in enumerate(territory.known_elevations, start=1):
        source = f"{territory.source}: known_elevations[{number}].at"
        found.append(place_of(index, route.posts, entry.at, source, within=NEAR))
        _refuse_two(index, route, entry.at, source)
    return tuple(found)


def _refuse_two(index: LineIndex, route: Route, place: Place, source: str) -> None:
    """On a helix coordinates alone do not say on which level."""
    if place.longitude is None or place.latitude is None:
        return
    passages = sorted(index.candidates(place.longitude, place.latitude, NEAR), key=lambda passage: passage[1])
    if len(passages) > 1 and passages[1][1] - passages[0][1] < AS_NEAR:
        where = " and ".join(post_text(route.posts, at, 2) for at, _ in passages[:2])
        raise RouteError(source, f"the line passes {place.words()} twice, at {where}", "give a post or chainage_m")
