"""posts.csv: known and whole posts with their places."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from profiler.longitude import wrapped
from profiler.route import Route
from profiler.write.cells import Columns, fixed


def posts_table(route: Route) -> Columns:
    """Every known post, and every whole one between, in order of chainage.

    ``kind`` is "known", "whole", or "equation" for the post back and the post ahead of one;
    ``residual_m`` is how much further with chainage a known post lies than the others put it;
    ``unit_length_m`` at a whole post the way to the next whole one, if that is one unit on.
    """
    start, end = float(route.chainage[0]), float(route.chainage[-1])
    known = [k for k in route.known_posts if start <= k.chainage <= end]
    whole = sorted((place, post) for post, place in route.whole_posts)
    taken = {(round(k.chainage, 1), k.post) for k in known}
    jumps = {place for place, _, _ in route.posts.equations}
    rows = [(k.chainage, k.post, "equation" if k.chainage in jumps else "known", k.residual) for k in known]
    rows += [(place, post, "whole", None) for place, post in whole if (round(place, 1), post) not in taken]
    rows.sort(key=lambda row: row[0])
    onward = {(round(a[0], 1), a[1]): b[0] - a[0] for a, b in pairwise(whole) if abs(b[1] - a[1]) == 1}
    places = np.array([row[0] for row in rows])
    return {
        "post": fixed([row[1] for row in rows], 3),
        "chainage_m": fixed(places, 1),
        "kind": [row[2] for row in rows],
        "residual_m": fixed([row[3] for row in rows], 1),
        "unit_length_m": fixed([onward.get((round(row[0], 1), row[1])) for row in rows], 1),
        "longitude": fixed(wrapped(np.interp(places, route.chainage, route.longitude)), 7),
        "latitude": fixed(np.interp(places, route.chainage, route.latitude), 7),
    }
