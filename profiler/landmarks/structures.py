"""Tunnels and bridges that nobody told of, suspected where the rail is not on the ground."""

from __future__ import annotations

import numpy as np

from profiler.elevation.coverage import runs_of
from profiler.landmark import Landmark
from profiler.profile import Profile

LIKELY = 0.5
"""A run is a suspected structure where that is likelier than not."""

TREES, TREES_LENGTH = 20.0, 350.0
"""Ground no higher over the rail than the first [m], no longer than the second [m], may be trees."""


def suspected_structures(profile: Profile) -> list[Landmark]:
    """Suspected tunnels (ground over the rail) and bridges (ground under it), each with its probability.

    ``value`` is the greatest height of ground over or under the rail [m]. Short runs of ground that
    trees or a roof would explain are left out: they are no structure, though their ground did not count.
    """
    known = profile.route.structure_at(profile.chainage) > 0
    apart = profile.ground - profile.elevation
    likely = (profile.structure_probability > LIKELY) & ~known
    found = []
    for first, last in runs_of(likely):
        if first == last:  # one station alone
            continue
        start, end = float(profile.chainage[first]), float(profile.chainage[last])
        heights = apart[first : last + 1]
        heights = heights[np.isfinite(heights)]
        if not heights.size:  # a void shows nothing
            continue
        above = float(heights.mean()) > 0
        height = float(heights.max() if above else -heights.min())
        if above and height < TREES and end - start < TREES_LENGTH:
            continue
        found.append(
            Landmark(
                kind="suspected_tunnel" if above else "suspected_bridge",
                direction="both",
                start=start,
                end=end,
                at=(start + end) / 2,
                value=height,
                unit="m",
                probability=float(profile.structure_probability[first : last + 1].mean()),
                note=_note(above, height, last == profile.chainage.size - 1 or first == 0),
            )
        )
    return found


def _note(above: bool, height: float, open_end: bool) -> str:
    words = f"ground up to {height:.0f} m {'above' if above else 'below'} the rail; not in the data given"
    if open_end:
        words += (
            "; it does not come out before the line ends, so that the rail in it is known by its standard error only"
        )
    return words
