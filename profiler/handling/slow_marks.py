"""Marks of slow orders and lower limits: where slowing down begins, at the latest, and where the tail is out."""

from __future__ import annotations

from collections.abc import Iterable

from profiler.handling.slow_orders import Slowing
from profiler.mark import Figure, Mark
from profiler.mechanics.terrain import Terrain


def slow_marks(slowings: Iterable[Slowing], terrain: Terrain) -> tuple[Mark, ...]:
    """Marks of kind "slow_order", not yet numbered, in order of travel; none where the train is no faster anyway.

    ``recommended`` is where the mildest way begins that slows the train in time, by coasting if that is enough, and
    ``latest`` where the strongest does; ``reason`` tells the mildest: "coasting", "dynamic", "air", or "cannot" where
    none does.
    """
    return tuple(_mark(one, terrain) for one in slowings if one.ways)


def _mark(one: Slowing, terrain: Terrain) -> Mark:
    can = [way for way in one.ways if not way.cannot]
    mild = can[0] if can else None
    best = mild.begins if mild is not None else one.start
    latest = max((way.begins for way in can), default=one.start)
    if mild is None:
        reason = "cannot"
    elif mild.reduction > 0:
        reason = "air"
    else:
        reason = "dynamic" if mild.dynamic else "coasting"
    figures = [
        Figure("start", float(terrain.chainage(one.start)), "m"),
        Figure("approach", one.approach, "m/s"),
        Figure("limit", one.limit.speed, "m/s"),
        Figure("air", one.air, "Pa"),
        Figure("ordered", float(one.kind == "slow_order"), ""),
    ]
    if mild is not None:
        figures.append(Figure("reduction", mild.reduction, "Pa"))
    by_dynamic = [way for way in can if way.dynamic and way.reduction == 0]
    by_least_air = [way for way in can if way.reduction > 0]
    for name, ways in (("dynamic_begins", by_dynamic), ("air_begins", by_least_air)):
        if ways:
            figures.append(Figure(name, float(terrain.chainage(ways[0].begins)), "m"))
    places = (float(terrain.chainage(x)) for x in (best, best, latest, one.clear))
    earliest, recommended, last, clear = places
    return Mark(
        number=0,
        kind="slow_order",
        direction=terrain.direction,
        earliest=earliest,
        recommended=recommended,
        latest=last,
        clear=clear,
        value=one.slow,
        unit="m/s",
        reason=reason,
        figures=tuple(figures),
    )
