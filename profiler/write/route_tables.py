"""Tables of what stands along the route by its own sources: structures, named places, speed limits."""

from __future__ import annotations

from profiler.route import Route
from profiler.units import KMH
from profiler.write.cells import Columns, Texts, fixed, post_cells


def route_tables(route: Route) -> dict[str, Columns]:
    """Tables structures, places and limits; slow orders are limits of their own kind."""
    posts, stretches = route.posts, route.structures
    limits = [("limit", x) for x in route.limits] + [("slow_order", x) for x in route.slow_orders]
    return {
        "structures": {
            "kind": [x.kind for x in stretches],
            "name": Texts(x.name for x in stretches),
            "start_m": fixed([x.start for x in stretches], 1),
            "end_m": fixed([x.end for x in stretches], 1),
            "post": post_cells(posts, [x.start for x in stretches]),
            "origin": Texts(x.origin for x in stretches),
        },
        "places": {
            "name": Texts(x.name for x in route.stations),
            "chainage_m": fixed([x.chainage for x in route.stations], 1),
            "post": post_cells(posts, [x.chainage for x in route.stations]),
        },
        "limits": {
            "kind": [kind for kind, _ in limits],
            "start_m": fixed([x.start for _, x in limits], 1),
            "end_m": fixed([x.end for _, x in limits], 1),
            "post": post_cells(posts, [x.start for _, x in limits]),
            "speed_kmh": fixed([x.speed / KMH for _, x in limits], 1),
            "train_class": Texts(x.train_class for _, x in limits),
            "reason": Texts(x.reason for _, x in limits),
        },
    }
