"""Two or more profiles side by side: their figures, their differences, and an axis they share."""

from __future__ import annotations

import dataclasses
import string
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from profiler.comparison.figures import SURE, Figure, figures_of
from profiler.errors import InputError
from profiler.landmark import Landmarks
from profiler.landmarks.find import LandmarkSettings, find_landmarks
from profiler.profile import Profile, reversed_profile
from profiler.route import Posts, Route
from profiler.units import EARTH_RADIUS, PERCENT, POST_UNITS, FloatArray

MOST = 6
"""More lines than these cannot be told apart on one picture."""

COMMON = 0.5
"""Posts serve as the common axis if every line shares this part of the shorter post range with the first."""

UNJUDGED = ("sustained_grade",)
"""Means over stretches that each line's own grades bound: a difference may be one of bounds, not of grades."""

INDEPENDENT = (
    "the errors of the sources are taken as independent: where two of them share track or ground, "
    "a difference is surer than stated"
)


@dataclass(frozen=True, eq=False)
class Side:
    """One of the lines: ``letter`` and ``name`` tell it from the others.

    ``profile`` runs the way the first line does; ``turned`` says that it was drawn the other way,
    and `own` gives its own chainage back. ``figures`` are those of `figures_of`; ``places`` (n,) [m]
    are its stations on the common axis.
    """

    letter: str
    name: str
    profile: Profile
    landmarks: Landmarks
    figures: tuple[Figure, ...]
    places: FloatArray
    turned: bool = False

    def figure(self, key: str, direction: str = "both", train_length: float | None = None) -> Figure:
        """The figure of a key for a direction, and for a length of train [m] where it belongs to one."""
        wanted = (key, direction, train_length)
        return next(f for f in self.figures if (f.key, f.direction, f.train_length) == wanted)

    def own(self, chainage: float | None) -> float | None:
        """Chainage [m] as its own profile counts it."""
        if chainage is None or not self.turned:
            return chainage
        s = self.profile.chainage
        return float(s[0] + s[-1]) - chainage


@dataclass(frozen=True)
class Difference:
    """A figure of one line less that of the first line.

    ``value`` with its 95 % interval, ``low`` and ``high`` (None where none is known), in the figure's
    unit. ``verdict`` is "clear" where the interval leaves out nought, "within the uncertainty" where
    it does not, and empty without an interval.
    """

    letter: str
    figure: Figure
    value: float
    low: float | None = None
    high: float | None = None

    @property
    def se(self) -> float:
        """Standard error that goes with the interval, 0 where there is none."""
        return 0.0 if self.low is None or self.high is None else (self.high - self.low) / (2 * SURE)

    @property
    def verdict(self) -> str:
        """What may be said of it."""
        if self.low is None or self.high is None:
            return ""
        return "clear" if self.low > 0 or self.high < 0 else "within the uncertainty"


@dataclass(frozen=True, eq=False)
class Beside:
    """Lines side by side, the first of ``sides`` the one that others are compared with: ``differences``.

    ``by_posts`` tells whether ``axis`` counts the posts that all share, or the distance from each
    line's start; ``start`` and ``end`` are its ends [m]. ``train_lengths`` [m] are common to all;
    ``remarks`` say what was done to make the lines comparable.
    """

    sides: tuple[Side, ...]
    axis: Posts
    by_posts: bool
    start: float
    end: float
    train_lengths: tuple[float, ...]
    differences: tuple[Difference, ...]
    remarks: tuple[str, ...]

    @property
    def units(self) -> str:
        """What people read: "us" or "metric"."""
        return self.sides[0].profile.units

    @property
    def invented(self) -> tuple[str, ...]:
        """Letters of the lines that are invented."""
        return tuple(side.letter for side in self.sides if side.profile.invented)

    def difference(self, letter: str, figure: Figure) -> Difference | None:
        """The difference of one line in a figure, None where there is none."""
        wanted = _identity(figure)
        return next((d for d in self.differences if d.letter == letter and _identity(d.figure) == wanted), None)


def compare_beside(
    profiles: Sequence[Profile], names: Sequence[str] = (), settings: LandmarkSettings | None = None
) -> Beside:
    """Set profiles side by side.

    Parameters
    ----------
    profiles : sequence of Profile
        Two to six. The first one's units, direction and posts lead.
    names : sequence of str, optional
        What the sources are called where routes have no name, or the same one.
    settings : LandmarkSettings, optional
        Definitions and train lengths, the same for all.

    Raises
    ------
    InputError
        If there are fewer than two profiles, or more than can be told apart.
    """
    settings = settings or LandmarkSettings()
    if len(profiles) < 2:
        raise InputError("beside", "only one line is given", "give two or more to be set side by side")
    if len(profiles) > MOST:
        raise InputError("beside", f"{len(profiles)} lines cannot be told apart on one picture", f"give {MOST} at most")
    first = profiles[0]
    called = told_apart([p.route.name for p in profiles], names)
    posts_common = all(_same_posts(first.route.posts, p.route.posts) for p in profiles)
    ways, remarks = [], [*_datum_remarks(profiles), *_unit_remarks(profiles), *_compensation_remarks(profiles)]
    for i, profile in enumerate(profiles):
        turned = i > 0 and _runs_back(first.route, profile.route, posts_common)
        if not (posts_common or (first.route.on_map and profile.route.on_map)) and i > 0:
            remarks.append(f"{string.ascii_uppercase[i]} is taken to run as A does: no map and no posts tell")
        if turned:
            remarks.append(f"{string.ascii_uppercase[i]} is drawn the other way: it is turned to run as A does")
        way = reversed_profile(profile) if turned else profile
        ways.append((dataclasses.replace(way, units=first.units, curve_compensation=first.curve_compensation), turned))
    by_posts = posts_common and all(_overlaps(ways[0][0].route, way.route) for way, _ in ways)
    if posts_common and not by_posts:
        remarks.append("the lines share hardly any posts: they are set side by side from their starts")
    axis = _axis(ways[0][0], by_posts)
    sides = []
    for i, (way, turned) in enumerate(ways):
        marks = find_landmarks(way, settings)
        figures = figures_of(way, marks, settings.train_lengths)
        places = _places(way.route, axis, by_posts)
        sides.append(Side(string.ascii_uppercase[i], called[i], way, marks, figures, places, turned))
    one_datum = len({p.vertical_datum for p in profiles}) == 1
    return Beside(
        sides=tuple(sides),
        axis=axis,
        by_posts=by_posts,
        start=min(float(side.places[0]) for side in sides),
        end=max(float(side.places[-1]) for side in sides),
        train_lengths=settings.train_lengths,
        differences=tuple(d for side in sides[1:] for d in _differences(sides[0], side, one_datum)),
        remarks=(*remarks, INDEPENDENT),
    )


def told_apart(names: Sequence[str], others: Sequence[str] = ()) -> tuple[str, ...]:
    """Names, the one of its source behind each that is not the only one of its kind, or instead of none."""
    others = [*others, *[""] * (len(names) - len(others))]
    full = []
    for name, other in zip(names, others, strict=True):
        shared = f"{name} ({other})" if other and names.count(name) > 1 else name
        full.append(shared if name else other or "line without a name")
    return tuple(full)


def _datum_remarks(profiles: Sequence[Profile]) -> list[str]:
    datums = list(dict.fromkeys(p.vertical_datum for p in profiles))
    if len(datums) == 1:
        return []
    return [f"heights are counted from different datums ({', '.join(datums)}): summits are not compared"]


def _unit_remarks(profiles: Sequence[Profile]) -> list[str]:
    if len({p.units for p in profiles}) == 1:
        return []
    return [
        f"the sources are read in different units: {'US' if profiles[0].units == 'us' else 'metric'}, as A, for all"
    ]


def _compensation_remarks(profiles: Sequence[Profile]) -> list[str]:
    if len({p.curve_compensation for p in profiles}) == 1:
        return []
    shown = f"{profiles[0].curve_compensation / PERCENT:g} % a degree"
    return [f"the sources compensate curves differently: {shown}, as A, for all"]


def _same_posts(first: Posts, other: Posts) -> bool:
    return first.stated and other.stated and first.unit == other.unit


def _runs_back(first: Route, other: Route, posts_common: bool) -> bool:
    """Whether a line runs against the first: by posts where both have them, else by where the ends lie."""
    tied = all(route.posts.chainage[0] < route.posts.chainage[-1] for route in (first, other))
    if posts_common and tied:
        return first.posts.rising != other.posts.rising
    straight = _apart(first, 0, other, 0) + _apart(first, -1, other, -1)
    crossed = _apart(first, 0, other, -1) + _apart(first, -1, other, 0)
    return crossed < straight / 2


def _apart(first: Route, i: int, other: Route, j: int) -> float:
    """Distance of two stations on a sphere (haversine). [m]"""
    lon, lat = (np.radians([a[i], b[j]]) for a, b in zip(_place(first), _place(other), strict=True))
    half = np.sin(np.diff(lat) / 2) ** 2 + np.cos(lat[0]) * np.cos(lat[1]) * np.sin(np.diff(lon) / 2) ** 2
    return float(2 * EARTH_RADIUS * np.arcsin(np.sqrt(half[0])))


def _place(route: Route) -> tuple[FloatArray, FloatArray]:
    return route.longitude, route.latitude


def _overlaps(first: Route, other: Route) -> bool:
    a, b = (np.sort(route.posts.at(route.chainage[[0, -1]])) for route in (first, other))
    shared = min(a[1], b[1]) - max(a[0], b[0])
    return bool(shared >= COMMON * min(a[1] - a[0], b[1] - b[0]))


def _axis(first: Profile, by_posts: bool) -> Posts:
    """What the common axis counts: place 0 is the first line's start."""
    route = first.route
    if not by_posts:
        unit = "mi" if first.units == "us" else "km"
        return Posts(np.array([0.0]), np.array([0.0]), unit, stated=False)
    start = float(route.posts.at(route.chainage[0]))
    step = 1.0 if route.posts.rising else -1.0
    unit_m = route.posts.unit_m
    return dataclasses.replace(route.posts, chainage=np.array([0.0, unit_m]), value=np.array([start, start + step]))


def _places(route: Route, axis: Posts, by_posts: bool) -> FloatArray:
    """Stations (n,) on the common axis, never falling: where posts repeat, the second time stands still. [m]"""
    if not by_posts:
        return route.chainage - route.chainage[0]
    step = 1.0 if axis.rising else -1.0
    places = (route.posts.at(route.chainage) - axis.value[0]) * step * POST_UNITS[axis.unit]
    rising: FloatArray = np.maximum.accumulate(places)
    return rising


def _identity(figure: Figure) -> tuple[str, str, float | None]:
    return figure.key, figure.direction, figure.train_length


def _differences(first: Side, other: Side, one_datum: bool) -> list[Difference]:
    found = []
    for a, b in zip(first.figures, other.figures, strict=True):
        if a.value is None or b.value is None or (a.key == "summit" and not one_datum):
            continue
        low, high = (None, None) if a.key in UNJUDGED else interval_of_difference(a, b)
        found.append(Difference(other.letter, b, b.value - a.value, low, high))
    return found


def interval_of_difference(first: Figure, other: Figure) -> tuple[float | None, float | None]:
    """95 % interval of ``other`` less ``first``, two independent figures; None where one has no interval.

    Notes
    -----
    From the intervals of both, which may be lopsided (a steepest grade reads high, never low): the
    distances to the unfavourable ends are added in squares. "MOVER", equation 3 of Zou and Donner,
    Construction of confidence limits about effect measures, Statistics in Medicine 27 (2008) 1693-1702.
    """
    if None in (first.value, first.low, first.high, other.value, other.low, other.high):
        return None, None
    a, la, ua, b, lb, ub = (
        float(x or 0.0) for x in (first.value, first.low, first.high, other.value, other.low, other.high)
    )
    middle = b - a
    return middle - float(np.hypot(b - lb, ua - a)), middle + float(np.hypot(ub - b, a - la))
