"""One line of a network: what is seen and told of it beside many others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from profiler.landmark import SHOWN_FROM, GradeRun, Landmark, Landmarks
from profiler.longitude import continuous, wrapped
from profiler.profile import Profile
from profiler.route import Posts
from profiler.units import FloatArray
from profiler.wording import post_named


@dataclass(frozen=True, kw_only=True, eq=False)
class NetworkLine:
    """A profiled line without all that only its own map and chart show.

    ``key`` names its results, ``name`` and ``ends`` are what people call it ("" where nobody says). By station (n,):
    ``chainage`` [m], ``longitude`` and ``latitude`` [degree] (NaN of a line on no map), ``elevation`` [m].
    ``landmarks`` and ``grade_runs`` as `Landmarks` has them, ``posts`` as the route has them, ``places`` the names of
    its stations; ``units`` ("us", "metric") what its own readers use. ``vertical_datum``, ``invented``,
    ``attribution``, ``licence`` and ``assumptions`` are those of the profile. ``links`` are words and address,
    relative to the view, of what else there is.
    """

    key: str
    name: str
    ends: tuple[str, str]
    units: str
    posts: Posts
    chainage: FloatArray
    longitude: FloatArray
    latitude: FloatArray
    elevation: FloatArray
    landmarks: tuple[Landmark, ...] = ()
    grade_runs: tuple[GradeRun, ...] = ()
    places: tuple[str, ...] = ()
    vertical_datum: str = "unknown"
    invented: bool = False
    attribution: str = ""
    licence: str = ""
    assumptions: tuple[str, ...] = ()
    links: tuple[tuple[str, str], ...] = ()

    @classmethod
    def of(cls, key: str, profile: Profile, landmarks: Landmarks, links: Sequence[tuple[str, str]] = ()) -> NetworkLine:
        """What a network shows of a profile."""
        route = profile.route
        return cls(
            key=key,
            name=route.name,
            ends=(route.ends[0], route.ends[1]),
            units=profile.units,
            posts=route.posts,
            chainage=profile.chainage,
            longitude=route.longitude,
            latitude=route.latitude,
            elevation=profile.elevation,
            landmarks=landmarks.items,
            grade_runs=landmarks.grade_runs,
            places=tuple(station.name for station in route.stations),
            vertical_datum=profile.vertical_datum,
            invented=profile.invented,
            attribution=profile.attribution,
            licence=profile.licence,
            assumptions=(*route.assumptions, *profile.assumptions),
            links=tuple(links),
        )

    @property
    def title(self) -> str:
        """Its name, or its ends where it has none."""
        return self.name or f"{self.end(0)} to {self.end(1)}"

    @property
    def length(self) -> float:
        """Length along the line. [m]"""
        return float(self.chainage[-1] - self.chainage[0])

    @property
    def track(self) -> tuple[FloatArray, FloatArray]:
        """Longitudes, continuous from one between −180 and 180 on, and latitudes (n,); of no map (0,). [degree]"""
        if not np.isfinite(self.longitude).all():
            return np.empty(0), np.empty(0)
        first = float(self.longitude[0])
        return continuous(self.longitude) - (first - float(wrapped(first))), self.latitude

    def end(self, which: int) -> str:
        """Name of the start (0) or the other end (1), its post where it has none."""
        at = float(self.chainage[-which])
        return self.ends[which] or post_named(self.posts, float(self.posts.at(at)), 1)

    def height(self, chainage: float) -> float:
        """Elevation of the rail at a chainage. [m]"""
        return float(np.interp(chainage, self.chainage, self.elevation))

    @property
    def highest(self) -> float:
        """Chainage of the highest place, an end of the line perhaps. [m]"""
        return float(self.chainage[np.argmax(self.elevation)])

    def ruling(self, direction: str) -> Landmark | None:
        """The ruling grade of a direction, for the longest train that was asked for."""
        found = [
            x
            for x in self.landmarks
            if x.kind == "ruling_grade" and x.direction == direction and x.train_length is not None
        ]
        return max(found, key=lambda x: x.train_length or 0.0, default=None)

    @property
    def summit(self) -> Landmark | None:
        """The highest crest that is sure enough to be shown."""
        crests = [x for x in self.landmarks if x.kind == "crest" and x.probability >= SHOWN_FROM]
        return max(crests, key=lambda x: self.height(x.at), default=None)

    @property
    def sustained(self) -> Landmark | None:
        """The steepest sustained grade of both directions."""
        return max((x for x in self.landmarks if x.kind == "sustained_grade"), key=lambda x: x.value, default=None)

    @property
    def sharpest(self) -> Landmark | None:
        """The sharpest curve."""
        curves = [x for x in self.landmarks if x.kind == "sharpest_curve"]
        return max(curves, key=lambda x: abs(x.value), default=None)
