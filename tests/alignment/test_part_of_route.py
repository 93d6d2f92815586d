"""A route cut between two stations."""

from __future__ import annotations

import numpy as np

from profiler.alignment.route import part_of_route
from tests.invented import invented_profile


def test_cut_inside_a_curve_and_a_tunnel():
    """Worked: the curve from 14,700 to 15,300 m (spirals 90 m) cut at 15,000 m keeps 300 m without its entry
    spiral; the tunnel from 20,500 to 22,600 m cut at 21,000 m keeps 500 m."""
    route = invented_profile().route
    first, last = np.searchsorted(route.chainage, [15_000, 21_000])
    part = part_of_route(route, int(first), int(last))
    assert part.chainage[0] == 0
    assert part.length == 6000
    curve = part.curves[0]
    assert (curve.start, curve.end, curve.spiral_in, curve.spiral_out) == (0, 300, 0, 90)
    assert (part.structures[-1].start, part.structures[-1].end) == (5500, 6000)
    assert float(part.posts.at(0.0)) == float(route.posts.at(15_000.0))
    assert part.ends == ("", ""), "the old names stood at ends that are cut off"


def test_a_cut_spiral_is_no_curve():
    """Law: where only a spiral is left, no curve is listed; an uncut end keeps its name."""
    route = invented_profile().route
    first = int(np.searchsorted(route.chainage, 15_250))
    part = part_of_route(route, first, route.chainage.size - 1)
    assert part.curves[0].start > 1000
    assert part.ends == ("", "Thistle Quay")
