"""One continuous stationed line and what stands along it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from profiler.errors import InputError
from profiler.units import POST_UNITS, FloatArray, degree_of_curve

DIRECTIONS = ("with", "against")
"""Directions of travel: with chainage, against chainage."""


def frozen_array(values: object, dtype: npt.DTypeLike = float) -> FloatArray:
    """A read-only copy of our own."""
    array: FloatArray = np.array(values, dtype=dtype)
    array.flags.writeable = False
    return array


@dataclass(frozen=True, eq=False)
class Posts:
    """The labels the railway uses along the line: a monotone map between chainage and post.

    ``chainage`` (k,) [m] does not decrease; ``value`` (k,) [miles or km by ``unit``] is the post
    there. Two entries at one chainage are an equation (a long or short mile): the post jumps from
    the first (back) to the second (ahead). Between entries the map is linear, beyond them it goes
    on at the true length of the unit. Posts may rise or fall along the line.

    How people write them: ``prefix`` before the figure ("km", "PK", "MP", or nothing; None is "km" for
    kilometres and nothing for miles); with ``plus`` as a whole post and the metres or feet beyond it, "12+2112".
    """

    chainage: FloatArray
    value: FloatArray
    unit: str = "km"
    stated: bool = True
    """False where no posts were given and chainage itself serves."""
    prefix: str | None = None
    plus: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "chainage", frozen_array(self.chainage))
        object.__setattr__(self, "value", frozen_array(self.value))
        if self.unit not in ("km", "mi"):
            raise InputError("posts", f"unit {self.unit!r} is not known", "write km or mi")
        if self.chainage.size < 1 or self.chainage.shape != self.value.shape:
            raise InputError("posts", "no post is tied to a place", "give at least one")
        if not (np.isfinite(self.chainage).all() and np.isfinite(self.value).all()):
            raise InputError("posts", "a post has no figure or no place", "correct or remove it")
        if (np.diff(self.chainage) < 0).any():
            raise InputError("posts", "places do not follow the line", "sort them by chainage")
        along = np.diff(self.chainage) > 0
        steps = np.sign(np.diff(self.value)[along])
        wrong = steps != (1 if steps.sum() >= 0 else -1)
        if wrong.any():
            place = float(self.value[1:][along][wrong][0])
            raise InputError("posts", f"post {place:g} repeats or turns back on its neighbours", "correct or remove it")

    @property
    def unit_m(self) -> float:
        """Length of one post unit. [m]"""
        return POST_UNITS[self.unit]

    @property
    def rising(self) -> bool:
        """Whether posts rise with chainage; True where one post cannot say."""
        steps = np.diff(self.value)[np.diff(self.chainage) > 0]
        return not (steps.size and steps[0] < 0)

    @property
    def equations(self) -> tuple[tuple[float, float, float], ...]:
        """Where the post jumps: chainage [m], post back, post ahead."""
        at = np.flatnonzero(np.diff(self.chainage) == 0)
        columns = self.chainage[at], self.value[at], self.value[at + 1]
        return tuple(zip(*(column.tolist() for column in columns), strict=True))

    def _knots(self) -> tuple[FloatArray, FloatArray]:
        far = 1e8
        slope = (1 if self.rising else -1) / self.unit_m
        chainage = np.r_[self.chainage[0] - far, self.chainage, self.chainage[-1] + far]
        value = np.r_[self.value[0] - far * slope, self.value, self.value[-1] + far * slope]
        return chainage, value

    def at(self, chainage: FloatArray | float) -> FloatArray:
        """Post values at chainages [m]; at an equation, the value ahead."""
        x = np.asarray(chainage, dtype=float)
        knots, value = self._knots()
        i = np.clip(np.searchsorted(knots, x, side="right") - 1, 0, knots.size - 2)
        span = knots[i + 1] - knots[i]
        share = np.where(span > 0, (x - knots[i]) / np.where(span > 0, span, 1.0), 0.0)
        return value[i] + share * (value[i + 1] - value[i])

    def chainages(self, post: float) -> tuple[float, ...]:
        """Every chainage [m] that carries a post: none in the gap of an equation, two where it repeats."""
        knots, value = self._knots()
        a, b, va, vb = knots[:-1], knots[1:], value[:-1], value[1:]
        rounding = 1e-9  # of a post: what `at` gives just before an equation is found again
        carries = (np.minimum(va, vb) - rounding <= post) & (post <= np.maximum(va, vb) + rounding)
        found: list[float] = []
        for i in np.flatnonzero(carries & (b > a)):
            share = np.clip((post - va[i]) / (vb[i] - va[i]), 0, 1)
            place = float(a[i] + share * (b[i] - a[i]))
            if not found or place - found[-1] > 1e-3:
                found.append(place)
        return tuple(found)


@dataclass(frozen=True)
class Structure:
    """A structure of a ``kind``, "tunnel" or "bridge", ``start`` to ``end`` by chainage [m]; ``name`` may be empty."""

    kind: str
    start: float
    end: float
    name: str = ""
    origin: str = ""
    """Where it was learned: "tags", a file's name, "posts"."""


@dataclass(frozen=True)
class Station:
    """A place on the line, ``name``, at a ``chainage``. [m]"""

    name: str
    chainage: float


@dataclass(frozen=True)
class SpeedLimit:
    """A limit ``speed`` [m/s] from ``start`` to ``end`` by chainage [m].

    ``train_class`` is whom it binds, empty: everybody; ``reason`` is why, as the territory states it.
    """

    start: float
    end: float
    speed: float
    train_class: str = ""
    reason: str = ""


@dataclass(frozen=True)
class CurveElement:
    """One circular arc with its spirals, by chainage [m]: a trapezoid of curvature.

    ``curvature`` is that of the circular body, + left [1/m]. ``spiral_in`` and ``spiral_out`` are the
    lengths of the transitions inside start…end. Arcs of one compound curve share a transition: there
    the end of one overlaps the start of the next, and the sum of the two is the curvature.
    ``kind`` is "simple", "compound" (one of several arcs of one hand without a tangent between),
    "reverse" (the next or the last curve turns the other way, with hardly a tangent between) or
    "broken_back" (it turns the same way, after a short tangent). ``number`` is what people call it:
    "62C" is the third curve past post 62; "62C.1" and "62C.2" are arcs of one compound curve.
    Standard errors are ``curvature_se`` [1/m], ``deflection_se`` [rad], ``start_se``, ``end_se``, ``spiral_in_se``
    and ``spiral_out_se`` [m]; NaN where none was worked out.
    """

    number: str
    kind: str
    start: float
    end: float
    spiral_in: float
    spiral_out: float
    curvature: float
    curvature_se: float
    start_se: float = 0.0
    end_se: float = 0.0
    spiral_in_se: float = 0.0
    spiral_out_se: float = 0.0
    deflection_se: float = 0.0

    @property
    def name(self) -> str:
        """The number of the whole curve: "62C" of the arc "62C.1"; a railway's own "62.5" is whole."""
        return self.number.partition(".")[0] if self.kind == "compound" else self.number

    @property
    def hand(self) -> str:
        """ "left" or "right" with chainage."""
        return "left" if self.curvature > 0 else "right"

    @property
    def radius(self) -> float:
        """Radius of the body. [m]"""
        return 1 / abs(self.curvature)

    @property
    def knots(self) -> tuple[float, float, float, float]:
        """Where the trapezoid begins, is full, begins to fall, ends. [m]"""
        full = min(self.start + self.spiral_in, self.end)
        return self.start, full, max(self.end - self.spiral_out, full), self.end

    @property
    def deflection(self) -> float:
        """Angle turned, spirals counted half, + left. [rad]"""
        return self.curvature * (self.end - self.start - 0.5 * (self.spiral_in + self.spiral_out))


@dataclass(frozen=True)
class Corner:
    """A bend of the drawn line that no track makes: at a switch, a bad join, a stray vertex.

    At ``chainage`` [m] the line turns by ``turn`` [rad, + left] at once; ``step`` [m, + left] is how
    far it is set sideways there. It is no curve and adds nothing to curvature.
    """

    chainage: float
    turn: float
    step: float = 0.0


@dataclass(frozen=True)
class KnownPost:
    """A post whose place on the line is known, ``chainage`` [m], beside what the others say of it.

    ``residual`` [m] is how much further with chainage it lies than the posts to both sides of it
    put it; None where there are none to tell.
    """

    post: float
    chainage: float
    residual: float | None = None


_ROUTE_ARRAYS = ("chainage", "longitude", "latitude", "heading", "curvature", "curvature_se", "lateral_se")


@dataclass(frozen=True, eq=False)
class Route:
    """One continuous stationed line; arrays are (n,), n >= 2.

    ``chainage`` is the distance along the smoothed line from its start, strictly increasing [m]:
    geodesic length on the ellipsoid times ``scale`` (1 + mean ground height / Earth radius).
    ``longitude`` and ``latitude`` on WGS 84 [degree]; ``heading`` clockwise from north [rad];
    ``curvature`` + left with chainage [1/m], exactly 0 on tangents, and its standard error
    ``curvature_se``; ``lateral_se`` the standard error of the line sideways [m]. ``name``, ``ends``
    and ``source`` are what people read; ``assumptions`` what was assumed, in sentences.
    ``posts`` are the labels of places; ``curves``, ``corners`` of the drawn line, ``known_posts`` with their
    residuals, ``structures``, ``stations``, ``stops`` (planned ones, named as the territory states their places),
    ``limits`` and ``slow_orders`` stand in order of chainage.
    A line that is known by a table alone lies on no map: its ``longitude``, ``latitude``, ``heading`` and
    ``lateral_se`` are NaN throughout.
    """

    chainage: FloatArray
    longitude: FloatArray
    latitude: FloatArray
    heading: FloatArray
    curvature: FloatArray
    curvature_se: FloatArray
    lateral_se: FloatArray
    posts: Posts
    name: str = ""
    ends: tuple[str, str] = ("", "")
    source: str = ""
    scale: float = 1.0
    curves: tuple[CurveElement, ...] = ()
    corners: tuple[Corner, ...] = ()
    known_posts: tuple[KnownPost, ...] = ()
    structures: tuple[Structure, ...] = ()
    stations: tuple[Station, ...] = ()
    stops: tuple[Station, ...] = ()
    limits: tuple[SpeedLimit, ...] = ()
    slow_orders: tuple[SpeedLimit, ...] = ()
    assumptions: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        for name in _ROUTE_ARRAYS:
            object.__setattr__(self, name, frozen_array(getattr(self, name)))
        shapes = {getattr(self, n).shape for n in _ROUTE_ARRAYS}
        if len(shapes) > 1 or self.chainage.ndim != 1 or self.chainage.size < 2:
            raise InputError(self.source, f"array shapes {sorted(shapes)}", "give one value a station, n >= 2")
        placed = np.isfinite(self.longitude) & np.isfinite(self.latitude)
        if placed.any() and not placed.all():
            raise InputError(self.source, f"station {int(placed.argmin()) + 1} has no place", "give one to all or none")
        bad = ~(np.diff(self.chainage) > 0)  # written so that NaN is bad too
        if bad.any():
            raise InputError(
                self.source, f"chainage does not increase at station {int(bad.argmax()) + 1}", "drop repeats"
            )

    @property
    def on_map(self) -> bool:
        """Whether it is known where on the Earth the line lies."""
        return bool(np.isfinite(self.longitude[0]))

    @property
    def length(self) -> float:
        """Length from the first to the last station. [m]"""
        return float(self.chainage[-1] - self.chainage[0])

    @property
    def degree(self) -> FloatArray:
        """Degree of curve by the 100-ft chord, + left. [degree]"""
        return degree_of_curve(self.curvature)

    @property
    def whole_posts(self) -> tuple[tuple[float, float], ...]:
        """Whole posts on the line with their chainage [m], in order of post; one that stands twice, twice."""
        values = self.posts.at(self.chainage)
        return tuple(
            (float(post), place)
            for post in range(int(np.ceil(values.min())), int(np.floor(values.max())) + 1)
            for place in self.posts.chainages(post)
            if self.chainage[0] <= place <= self.chainage[-1]
        )

    def reaches_end(self, start: float, end: float) -> bool:
        """Whether a stretch [m] goes on to where the line begins or ends."""
        return bool(start <= self.chainage[0] or end >= self.chainage[-1])

    def structure_at(self, chainage: FloatArray) -> FloatArray:
        """0 on open track, 1 in a tunnel, 2 on a bridge, at chainages [m]."""
        x = np.asarray(chainage, dtype=float)
        kind = np.zeros(x.shape)
        for structure in self.structures:
            inside = (x >= structure.start) & (x <= structure.end)
            kind[inside] = 1 if structure.kind == "tunnel" else 2
        return kind
