"""Profiles for tests of exports: a plain one, one across the 180° meridian, one with hostile names."""

from __future__ import annotations

import dataclasses

from profiler.landmark import Landmarks
from profiler.profile import Profile
from profiler.route import Corner, Station
from tests.invented import invented_known, invented_landmarks, seen_profile

HOSTILE = '<script>"&\x01\x0b../../=2+2\x7f'
"""Markup, characters that XML has no place for, a way out of the folder, a formula."""


def plain(step: float = 50.0) -> Profile:
    """The invented line with PVIs, known elevations and a corner, so that every table has rows."""
    profile = dataclasses.replace(seen_profile(step=step), known=invented_known())
    route = dataclasses.replace(profile.route, corners=(Corner(20000.0, 0.1, 0.5),))
    return dataclasses.replace(profile, route=route, assumptions=("ground above EGM2008",))


def crossing(step: float = 50.0) -> Profile:
    """The same line moved west until it crosses the 180° meridian twice, its longitudes going on beyond it."""
    profile = plain(step)
    route = profile.route
    middle = (route.longitude.min() + route.longitude.max()) / 2
    return dataclasses.replace(
        profile, route=dataclasses.replace(route, longitude=route.longitude - middle - 180.0 + 0.02)
    )


def hostile() -> tuple[Profile, Landmarks]:
    """The same with every name that comes from outside replaced."""
    profile, landmarks = plain(500.0), invented_landmarks()
    route = profile.route
    route = dataclasses.replace(
        route,
        name=HOSTILE,
        ends=(HOSTILE, HOSTILE),
        source=HOSTILE,
        stations=(Station(HOSTILE, 700.0),),
        structures=tuple(dataclasses.replace(x, name=HOSTILE, origin=HOSTILE) for x in route.structures),
        limits=tuple(dataclasses.replace(x, train_class=HOSTILE, reason=HOSTILE) for x in route.limits),
    )
    profile = dataclasses.replace(
        profile,
        route=route,
        source_names=(HOSTILE,),
        vertical_datum=HOSTILE,
        assumptions=(HOSTILE,),
        attribution=HOSTILE,
        licence=HOSTILE,
    )
    items = tuple(dataclasses.replace(item, note=HOSTILE) for item in landmarks.items)
    return profile, dataclasses.replace(landmarks, items=items)
