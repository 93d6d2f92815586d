"""Crests and sags: where the line turns from climbing to falling, and back."""

from __future__ import annotations

import numpy as np
from scipy.signal import find_peaks

from profiler.landmark import INTERVAL, Landmark
from profiler.profile import Profile
from profiler.units import FloatArray

REACH = 2000.0
"""A draw's crest further away than this is another crest. [m]"""


def crests_and_sags(profile: Profile, prominence: float) -> list[Landmark]:
    """Crests and sags of at least ``prominence`` [m], each with the probability that it exists.

    The probability is the share of draws that have one of that prominence nearer than the
    neighbouring turning points and within `REACH`; the place's interval comes from those draws.
    """
    chainage, z = profile.chainage, profile.elevation
    found = []
    nodes, draws = profile.draws.chainage, profile.draws.elevation
    for kind, sign in (("crest", 1.0), ("sag", -1.0)):
        peaks, about = find_peaks(sign * z, prominence=prominence)
        places = [nodes[find_peaks(sign * row, prominence=prominence)[0]] for row in draws]
        for peak, height in zip(peaks, about["prominences"], strict=True):
            at = float(chainage[peak])
            hits = _matched(at, chainage[peaks], places)
            low, high = np.percentile(hits, INTERVAL) if hits.size else (None, None)
            found.append(
                Landmark(
                    kind=kind,
                    direction="both",
                    start=at if low is None else float(min(low, at)),
                    end=at if high is None else float(max(high, at)),
                    at=at,
                    value=float(height),
                    unit="m",
                    probability=hits.size / len(places),
                    place_low=None if low is None else float(low),
                    place_high=None if high is None else float(high),
                    note=f"prominence; {'summit' if kind == 'crest' else 'lowest place'} at {z[peak]:.1f} m",
                )
            )
    return found


def _matched(at: float, others: FloatArray, places: list[FloatArray]) -> FloatArray:
    """The place (one a draw that has it) nearest to ``at`` and not nearer to another one."""
    found = []
    for draw in places:
        if draw.size == 0:
            continue
        nearest = float(draw[np.argmin(np.abs(draw - at))])
        if abs(nearest - at) <= REACH and np.abs(others - nearest).min() >= abs(nearest - at) - 1e-9:
            found.append(nearest)
    return np.array(found)


def turning_points(z: FloatArray, least: float) -> FloatArray:
    """Indices of both ends and of all turning points of at least ``least`` [m] prominence."""
    up, _ = find_peaks(z, prominence=least)
    down, _ = find_peaks(-z, prominence=least)
    return np.unique(np.r_[0, up, down, z.size - 1])
