"""The result: a route with the elevation and grade of its rail, and how sure."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from profiler.curve_resistance import CurveResistance, curve_worth
from profiler.errors import InputError
from profiler.route import Corner, Posts, Route, frozen_array
from profiler.units import CURVE_COMPENSATION, FOOT, FloatArray
from profiler.vertical_curve import Pvi


@dataclass(frozen=True, eq=False)
class Draws:
    """Equally likely profiles, for everything that is not linear in elevation.

    ``chainage`` (k,) [m] are the nodes, ``elevation`` (d, k) [m] the draws; between nodes a draw
    has one grade. The same seed gives the same draws.
    """

    chainage: FloatArray
    elevation: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "chainage", frozen_array(self.chainage))
        object.__setattr__(self, "elevation", frozen_array(self.elevation, np.float32))
        if self.elevation.ndim != 2 or self.elevation.shape[1] != self.chainage.size:
            raise InputError("draws", f"shape {self.elevation.shape}", f"give (d, {self.chainage.size})")

    def at(self, chainage: FloatArray) -> FloatArray:
        """Elevation (d, m) [m] of every draw at chainages (m,) [m], kept level beyond the ends."""
        x = np.clip(np.asarray(chainage, dtype=float), self.chainage[0], self.chainage[-1])
        i = np.clip(np.searchsorted(self.chainage, x, side="right") - 1, 0, self.chainage.size - 2)
        share = (x - self.chainage[i]) / (self.chainage[i + 1] - self.chainage[i])
        z = self.elevation
        return (z[:, i] * (1 - share) + z[:, i + 1] * share).astype(float)


UNIT_FITS = 3.0
"""A height in another unit would fit if it is no more standard errors off than this."""


@dataclass(frozen=True)
class KnownElevation:
    """Rail height ``elevation`` [m] known at ``chainage`` [m] with standard error ``se`` [m].

    ``words`` are the place as its source states it: "post 54.3".
    """

    chainage: float
    elevation: float
    se: float
    words: str


@dataclass(frozen=True)
class KnownResidual:
    """A known elevation beside what all the other evidence says there.

    ``known``, its standard error ``se``, and ``fitted`` without it are in metres above the profile's
    datum; ``residual_se`` [m] is the standard error of their difference. ``reason`` is why it is not
    ``used``: "misfit" (too far from what the rest says) or "tie" (another one contradicts it, and the
    rest does not decide); ``rival`` is the place of one that contradicts it, if there is one.
    """

    chainage: float
    known: float
    se: float
    fitted: float
    residual_se: float
    place: str
    reason: str = ""
    rival: str = ""

    @property
    def used(self) -> bool:
        """Whether it counts in the profile."""
        return not self.reason

    @property
    def residual(self) -> float:
        """Known minus fitted. [m]"""
        return self.known - self.fitted

    @property
    def standard_errors(self) -> float:
        """Size of the residual in its own standard error."""
        return abs(self.residual) / self.residual_se

    @property
    def unit_meant(self) -> str:
        """ "ft" or "m" if a height that is not used would fit in that unit instead, else nothing."""
        for unit, height in (("ft", self.known * FOOT), ("m", self.known / FOOT)):
            if not self.used and abs(height - self.fitted) < UNIT_FITS * self.residual_se:
                return unit
        return ""


_STATION_ARRAYS = (
    "ground",
    "elevation",
    "elevation_se",
    "grade",
    "grade_se",
    "structure_probability",
    "ground_weight",
)


@dataclass(frozen=True, eq=False)
class Profile:
    """A route with its rail elevation; arrays are (n,), one value a station of ``route``.

    ``ground`` is what the raster says at a station, NaN where nothing counted [m];
    ``ground_source`` (n,) is an index into ``source_names``, -1 where nothing counted; of several
    that counted, the one with the greatest share, which is ``ground_weight`` (n,): 1 where it alone
    speaks, less where others do or a structure is suspected.
    ``elevation`` is rail height above ``vertical_datum`` [m], ``elevation_se`` its standard error.
    ``grade`` [m/m] at a station is + uphill with chainage; between two stations it changes evenly, so
    that the mean of the two times the distance is the difference of elevation; ``grade_se`` its
    standard error.
    ``structure_probability`` is that the rail is not on the ground: 1 on a known tunnel or bridge.
    ``pvi_visible`` tells whether the data can show vertical points of intersection; where they
    cannot, grades are read in runs. ``pvis`` are those seen, in order of chainage: a second, cleaner
    line beside the stationwise one, for where it holds (`profiler.vertical_curve.holds`).
    ``known`` are elevations given beforehand, and how they fit. ``curve_compensation`` is the grade that
    one degree of curve is worth [1/degree] where ``curve_resistance``, the law of it, goes by that.
    ``attribution`` and ``licence`` are whose the elevation data are, in the words their provider asks for.
    ``draws`` are equally likely profiles. ``units`` are those people read
    ("us", "metric"); ``invented`` lines are no real place; ``assumptions`` say what was assumed, in sentences.
    """

    route: Route
    ground: FloatArray
    elevation: FloatArray
    elevation_se: FloatArray
    grade: FloatArray
    grade_se: FloatArray
    structure_probability: FloatArray
    ground_source: FloatArray
    ground_weight: FloatArray
    draws: Draws
    source_names: tuple[str, ...] = ()
    vertical_datum: str = "unknown"
    units: str = "metric"
    pvi_visible: bool = False
    invented: bool = False
    assumptions: tuple[str, ...] = field(default=())
    known: tuple[KnownResidual, ...] = ()
    pvis: tuple[Pvi, ...] = ()
    curve_compensation: float = CURVE_COMPENSATION
    curve_resistance: CurveResistance = "per degree"
    attribution: str = ""
    licence: str = ""

    def __post_init__(self) -> None:
        n = self.route.chainage.size
        for name in _STATION_ARRAYS:
            array = frozen_array(getattr(self, name))
            object.__setattr__(self, name, array)
            if array.shape != (n,):
                raise InputError("profile", f"{name} has shape {array.shape}", f"give ({n},)")
        object.__setattr__(self, "ground_source", frozen_array(self.ground_source, np.int16))
        if not np.isfinite(self.elevation).all():
            raise InputError("profile", "elevation has holes", "a profile has none: bridge or trim them")

    @property
    def charted(self) -> bool:
        """Whether it is a known profile, typed from a chart: it rests on no ground."""
        return bool(np.isnan(self.ground).all())

    @property
    def chainage(self) -> FloatArray:
        """Distance along the route. [m]"""
        return self.route.chainage

    @property
    def degree(self) -> FloatArray:
        """Degree of curve by the 100-ft chord, + left. [degree]"""
        return self.route.degree

    @property
    def curve_worth(self) -> FloatArray:
        """Grade that the curve at a station is worth: its resistance over weight. [m/m], shape (n,)"""
        return curve_worth(self.route.curvature, self.curve_resistance, self.curve_compensation)

    @property
    def curve_worth_se(self) -> FloatArray:
        """Its standard error, out of that of the curvature. [m/m], shape (n,)"""
        k, se = np.abs(self.route.curvature), self.route.curvature_se
        return np.abs(curve_worth(k + se, self.curve_resistance, self.curve_compensation) - self.curve_worth)

    def compensated_grade(self, direction: str = "with") -> FloatArray:
        """Grade as travelled plus what the curve is worth in grade, at stations in order of chainage. [m/m]"""
        sign = 1.0 if direction == "with" else -1.0
        return sign * self.grade + self.curve_worth


def reversed_profile(profile: Profile) -> Profile:
    """The same profile travelled the other way: chainage from the other end, grades and hands turned.

    Posts keep their labels. Doing it twice gives the profile back.
    """
    route = profile.route
    total = float(route.chainage[0] + route.chainage[-1])

    def turn(values: FloatArray) -> FloatArray:
        return values[::-1]

    curves = tuple(
        dataclasses.replace(
            c,
            start=total - c.end,
            end=total - c.start,
            spiral_in=c.spiral_out,
            spiral_out=c.spiral_in,
            curvature=-c.curvature,
            start_se=c.end_se,
            end_se=c.start_se,
            spiral_in_se=c.spiral_out_se,
            spiral_out_se=c.spiral_in_se,
        )
        for c in reversed(route.curves)
    )
    spans: dict[str, Any] = {
        name: tuple(
            dataclasses.replace(s, start=total - s.end, end=total - s.start) for s in reversed(getattr(route, name))
        )
        for name in ("structures", "limits", "slow_orders")
    }
    stations, stops = (
        tuple(dataclasses.replace(s, chainage=total - s.chainage) for s in reversed(places))
        for places in (route.stations, route.stops)
    )
    corners = tuple(Corner(total - c.chainage, -c.turn, c.step) for c in reversed(route.corners))
    known_posts = tuple(
        dataclasses.replace(k, chainage=total - k.chainage, residual=None if k.residual is None else -k.residual)
        for k in reversed(route.known_posts)
    )
    turned = dataclasses.replace(
        route,
        chainage=total - turn(route.chainage),
        longitude=turn(route.longitude),
        latitude=turn(route.latitude),
        heading=np.mod(turn(route.heading) + np.pi, 2 * np.pi),
        curvature=-turn(route.curvature),
        curvature_se=turn(route.curvature_se),
        lateral_se=turn(route.lateral_se),
        posts=_turned_posts(route.posts, total),
        ends=(route.ends[1], route.ends[0]),
        curves=curves,
        corners=corners,
        known_posts=known_posts,
        stations=stations,
        stops=stops,
        **spans,
    )
    known = tuple(dataclasses.replace(k, chainage=total - k.chainage) for k in reversed(profile.known))
    arrays = (*_STATION_ARRAYS, "ground_source")
    turned_arrays: dict[str, Any] = {name: turn(getattr(profile, name)) for name in arrays}
    turned_arrays["grade"] = -turned_arrays["grade"]
    return dataclasses.replace(
        profile,
        route=turned,
        draws=Draws(total - turn(profile.draws.chainage), profile.draws.elevation[:, ::-1]),
        known=known,
        pvis=tuple(dataclasses.replace(p.turned, chainage=total - p.chainage) for p in reversed(profile.pvis)),
        **turned_arrays,
    )


def _turned_posts(posts: Posts, total: float) -> Posts:
    """The same labels by chainage from the other end, ``total`` [m] being where the ends change places."""
    chainage, value = posts.chainage, posts.value
    if chainage[0] == chainage[-1]:  # one place alone cannot say that posts now fall
        chainage, value = np.r_[chainage, chainage[-1] + posts.unit_m], np.r_[value, value[-1] + 1]
    return dataclasses.replace(posts, chainage=total - chainage[::-1], value=value[::-1])
