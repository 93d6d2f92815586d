"""Points along the line as people read them: landmarks sure enough to be shown, and named places."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from profiler.landmark import SHOWN_FROM, Landmark, Landmarks
from profiler.profile import Profile
from profiler.wording import (
    capitalised,
    doubted_words,
    elevation_text,
    interval_text,
    kind_words,
    post_named,
    probability_words,
    short_length_text,
    stretch_words,
    towards,
)
from profiler.write.shapes import position

TOTALS = ("total_rise", "total_fall")
"""Landmarks that belong to the whole line and stand at no place."""


class Placemark(NamedTuple):
    """A point by its ``chainage`` [m], and its ``longitude``, ``latitude`` [degree] and ``elevation`` [m]."""

    kind: str
    name: str
    words: str
    chainage: float
    longitude: float
    latitude: float
    elevation: float


def landmark_placemarks(profile: Profile, landmarks: Landmarks) -> list[Placemark]:
    """One for each landmark that maps would show."""
    shown = [item for item in landmarks.items if item.kind not in TOTALS and item.probability >= SHOWN_FROM]
    return _placed(profile, [(item.kind, item.at, _name(profile, item), _words(profile, item)) for item in shown])


def place_placemarks(profile: Profile) -> list[Placemark]:
    """One for each named place."""
    return _placed(profile, [("place", place.chainage, place.name, "") for place in profile.route.stations])


def post_placemarks(profile: Profile) -> list[Placemark]:
    """One for each whole post; where a post stands twice, both."""
    posts = profile.route.posts
    return _placed(profile, [("post", place, post_named(posts, post), "") for post, place in profile.route.whole_posts])


def hidden_words(landmarks: Landmarks) -> tuple[str, ...]:
    """What to say of landmarks that are not among them."""
    hidden = [item for item in landmarks.items if item.kind not in TOTALS and item.probability < SHOWN_FROM]
    count = len(hidden)
    less = f"{count} landmark{'s' * (count != 1)} less than {100 * SHOWN_FROM:.0f} % likely"
    return (less,) if hidden else ()


def total_words(profile: Profile, landmarks: Landmarks) -> str:
    """Total rise and fall in one sentence, with chainage."""
    said = [
        f"{kind_words(item.kind)} {interval_text(item.value, item.unit, profile.units, item.low, item.high)}"
        for item in landmarks.of_kind(*TOTALS, direction="with")
    ]
    return f"{capitalised(towards(profile.route, 'with'))}: {', '.join(said)}." if said else ""


def _placed(profile: Profile, found: Sequence[tuple[str, float, str, str]]) -> list[Placemark]:
    """Placemarks out of kinds, chainages [m], names and words; each says the height of the rail."""
    at = np.array([chainage for _, chainage, _, _ in found], dtype=float)
    longitude, latitude = position(profile.route, at)
    elevation = np.interp(at, profile.chainage, profile.elevation)
    return [
        Placemark(kind, name, "; ".join(filter(None, (_height(profile, z), words))), chainage, x, y, z)
        for (kind, chainage, name, words), x, y, z in zip(
            found, longitude.tolist(), latitude.tolist(), elevation.tolist(), strict=True
        )
    ]


def _height(profile: Profile, elevation: float) -> str:
    return f"rail {elevation_text(elevation, profile.units)}"


def _name(profile: Profile, item: Landmark) -> str:
    doubtful = item.kind in ("crest", "sag", "grade_break")
    name = doubted_words(item.kind, item.probability) if doubtful else capitalised(kind_words(item.kind))
    return f"{name}, {stretch_words(profile.route.posts, item.at, item.at)}"


def _words(profile: Profile, item: Landmark) -> str:
    """Figures, for whom, how sure."""
    units, route = profile.units, profile.route
    return "; ".join(
        filter(
            None,
            (
                _figure(item, units),
                "" if item.direction == "both" else f"trains {towards(route, item.direction)}",
                f"train of {short_length_text(item.train_length, units)}" if item.train_length else "",
                stretch_words(route.posts, item.start, item.end) if item.end > item.start else "",
                probability_words(item.probability),
                item.note,
            ),
        )
    )


def _figure(item: Landmark, units: str) -> str:
    if item.kind == "grade_break":
        return f"grade changes by {interval_text(abs(item.value), item.unit, units)}"
    figure = interval_text(item.value, item.unit, units, item.low, item.high)
    if item.kind.startswith("suspected_"):
        return f"{figure} long"
    return {"crest": f"stands out by {figure}", "sag": f"lies lower by {figure}"}.get(item.kind, figure)
