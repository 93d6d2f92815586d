"""A profile held against what the railway itself publishes: what differs, and whether the profile said so.

Differences are ours less the reference's. Grades of both are means over the reference's own pieces.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.signal import find_peaks

from profiler.comparison.figures import SURE, Figure, rise_and_fall
from profiler.comparison.fitting import elevation_at, grade_se, place_reference
from profiler.comparison.placing import OVERLAP, Placing, pieces_of
from profiler.errors import InputError
from profiler.landmark import Landmark
from profiler.landmarks.find import LandmarkSettings
from profiler.landmarks.grades import LEAST_UNDULATION, Climbs, steepest_interval
from profiler.landmarks.turning import REACH, crests_and_sags, turning_points
from profiler.landmarks.windows import steepest
from profiler.profile import Draws, Profile
from profiler.reference import Reference
from profiler.units import PERCENT, FloatArray
from profiler.vertical_curve import length_by_rate

LEAST_ELEVATIONS = 3
"""So many elevations show how far two datums stand apart."""

CURVE_RATE = 0.0010
"""Change of grade in 100 ft by which customary vertical curves are as long as they are likely to be: crests of main
lines by the old rule of the AREA."""

LINES = ("gradients", "pvis", "profile")
"""Kinds of reference that tell the whole line; between stations nobody knows it."""


@dataclass(frozen=True, eq=False)
class Compared:
    """One kind of figure of all rows that have it, arrays (m,).

    ``figure`` is "elevation" [m] at ``start``, or "grade" [m/m], the mean over ``start``…``end``,
    chainages [m]; ``item`` is the row's place in the reference. ``offset`` [m] is how much higher the
    reference stands throughout: it is taken off before anything is judged.
    """

    figure: str
    item: FloatArray
    start: FloatArray
    end: FloatArray
    reference: FloatArray
    reference_se: FloatArray
    ours: FloatArray
    ours_se: FloatArray
    offset: float = 0.0

    @property
    def stated(self) -> FloatArray:
        """Ours less the reference's (m,) as it stands."""
        return self.ours - self.reference

    @property
    def difference(self) -> FloatArray:
        """The same (m,) with the offset taken off."""
        return self.stated + self.offset

    @property
    def se(self) -> FloatArray:
        """Standard error (m,) of the difference."""
        return np.hypot(self.ours_se, self.reference_se)

    @property
    def within(self) -> FloatArray:
        """Whether (m,) the difference is within 1.96 standard errors."""
        return np.abs(self.difference) <= SURE * self.se

    @property
    def within_as_stated(self) -> FloatArray:
        """The same (m,) without taking the offset off."""
        return np.abs(self.stated) <= SURE * self.se


@dataclass(frozen=True)
class Turn:
    """A crest or a sag of the reference at ``place`` [m], and ours with its 95 % interval, None where there is none.

    ``item`` is the reference's row from which it is read.
    """

    kind: str
    item: int
    place: float
    ours: float | None = None
    low: float | None = None
    high: float | None = None

    @property
    def within(self) -> bool | None:
        """Whether the reference's place lies in our interval, None where there is none."""
        if self.low is None or self.high is None:
            return None
        return self.low <= self.place <= self.high


@dataclass(frozen=True)
class Whole:
    """A figure of the whole common stretch: ours with its interval, the reference's ``value`` in its unit."""

    figure: Figure
    value: float

    @property
    def difference(self) -> float:
        """Ours less the reference's."""
        return float(self.figure.value or 0.0) - self.value

    @property
    def within(self) -> bool:
        """Whether the reference's lies in our 95 % interval."""
        low, high = self.figure.low, self.figure.high
        return low is not None and high is not None and low <= self.value <= high


@dataclass(frozen=True, eq=False)
class Comparison:
    """A ``profile`` beside a ``reference``.

    ``placing`` is how the reference lies on the line. ``elevation`` and ``grade`` are compared row by row,
    ``turns`` (crests and sags) and ``wholes`` (rise, fall, ruling grades) one by one; rows ``left_out`` lie beyond
    the line. ``line`` (2, k) is chainage [m] and elevation [m] of the reference's own line at our level; empty where
    it tells none. ``stretch`` [m] is common to both.
    """

    profile: Profile
    reference: Reference
    placing: Placing
    elevation: Compared
    grade: Compared
    turns: tuple[Turn, ...]
    wholes: tuple[Whole, ...]
    line: FloatArray
    stretch: tuple[float, float]
    left_out: FloatArray

    @property
    def units(self) -> str:
        """What people read: "us" or "metric"."""
        return self.profile.units


def compare(
    profile: Profile, reference: Reference | Profile, settings: LandmarkSettings | None = None, *, source: str = ""
) -> Comparison:
    """Hold a profile against a reference.

    Parameters
    ----------
    profile : Profile
        Its standard errors and draws say how sure it is.
    reference : Reference or Profile
        A table as `read_reference` gives it, or an older profile of the same line.
    settings : LandmarkSettings, optional
        Lengths of train and the prominence of crests, the same for both.
    source : str
        What an older profile is called.

    Raises
    ------
    InputError
        If nothing of the reference lies on the line.

    Notes
    -----
    The standard error of our mean grade over a piece is that of the draws: station by station the
    errors hang together, and no sum over stations has their sum. Standard errors of draws have the
    estimator's floors.
    """
    settings = settings or LandmarkSettings()
    if isinstance(reference, Profile):
        reference = reference_of_profile(reference, source)
    placing = place_reference(reference, profile)
    elevation, grade = _elevations(profile, reference, placing), _grades(profile, reference, placing)
    line = _line(profile, reference, placing, elevation.offset)
    item = np.unique(np.r_[elevation.item, grade.item]).astype(int)
    if not item.size:
        raise InputError(reference.source, "no figure of it lies wholly on the line", "give the table of this line")
    places = np.r_[elevation.start, grade.start, grade.end]
    stretch = (float(places.min()), float(places.max()))
    turns: tuple[Turn, ...] = ()
    wholes: tuple[Whole, ...] = ()
    if line.size:
        stretch = (float(line[0, 0]), float(line[0, -1]))
        turns = tuple(_turns(profile, placing, line, settings.prominence))
        wholes = tuple(_wholes(profile, line, settings.train_lengths))
    has = np.isfinite(reference.elevation) | np.isfinite(reference.grade)
    left_out = np.setdiff1d(np.flatnonzero(has), item)
    return Comparison(profile, reference, placing, elevation, grade, turns, wholes, line, stretch, left_out)


def reference_of_profile(profile: Profile, source: str = "") -> Reference:
    """A profile as a reference, at the nodes of its draws, with standard errors of its own."""
    nodes = profile.draws.chainage
    nodes = nodes[np.r_[True, np.diff(nodes) > OVERLAP]]
    z, se = (np.interp(nodes, profile.chainage, v) for v in (profile.elevation, profile.elevation_se))
    piece_se = np.r_[grade_se(profile, nodes[:-1], nodes[1:]), np.nan]
    empty = np.full(nodes.size, np.nan)
    lon, lat = (np.interp(nodes, profile.chainage, v) for v in (profile.route.longitude, profile.route.latitude))
    return Reference(
        source=source or profile.route.name or "older profile",
        kind="profile",
        row=np.arange(1, nodes.size + 1),
        position=nodes,
        elevation=z,
        elevation_se=se,
        start=empty,
        end=empty,
        grade=empty,
        grade_se=piece_se,
        longitude=lon,
        latitude=lat,
        names=("",) * nodes.size,
        unit="m",
        by_chainage=True,
        se_stated=True,
        columns=("profile.gpkg",),
    )


def _elevations(profile: Profile, reference: Reference, placing: Placing) -> Compared:
    item = np.flatnonzero(np.isfinite(placing.chainage) & np.isfinite(reference.elevation))
    at = placing.chainage[item]
    ours, theirs = elevation_at(profile, at), reference.elevation[item]
    offset = float(np.median(theirs - ours)) if item.size >= LEAST_ELEVATIONS else 0.0
    return Compared(
        figure="elevation",
        item=item,
        start=at,
        end=at,
        reference=theirs,
        reference_se=np.nan_to_num(reference.elevation_se[item]),
        ours=ours,
        ours_se=np.interp(at, profile.chainage, profile.elevation_se),
        offset=offset,
    )


def _grades(profile: Profile, reference: Reference, placing: Placing) -> Compared:
    item, start, end, grade, stated_se = pieces_of(reference, placing)
    if reference.kind == "gradients" and item.size:
        stated_se = np.hypot(stated_se, tangent_se(start, end, grade))
    ours = (elevation_at(profile, end) - elevation_at(profile, start)) / (end - start)
    return Compared(
        figure="grade",
        item=item,
        start=start,
        end=end,
        reference=grade,
        reference_se=stated_se,
        ours=ours,
        ours_se=grade_se(profile, start, end),
    )


def tangent_se(start: FloatArray, end: FloatArray, grade: FloatArray) -> FloatArray:
    """How far (m,) the rail's mean grade may depart from tangents that a table states, as a standard error. [m/m]

    ``start``, ``end`` (m,) [m] and ``grade`` (m,) [m/m] by rising chainage. Tables state tangents and
    no vertical curves; at a PVI the rail lies M = A·L/8 off them. L is taken to be anything up to the
    customary one, at `CURVE_RATE`, that neighbouring tangents have room for.
    """
    length = end - start
    meet = np.abs(start[1:] - end[:-1]) <= OVERLAP
    change = np.abs(np.diff(grade))
    longest = np.minimum([length_by_rate(c, CURVE_RATE) for c in change.tolist()], np.minimum(length[1:], length[:-1]))
    height = np.where(meet, change * longest / 8, 0.0) / np.sqrt(3)
    return np.hypot(np.r_[0.0, height], np.r_[height, 0.0]) / length


def _line(profile: Profile, reference: Reference, placing: Placing, offset: float) -> FloatArray:
    """The reference's own line (2, k), chainage and elevation [m], at our level; its longest part without a gap."""
    if reference.kind not in LINES:
        return np.zeros((2, 0))
    if not np.isfinite(reference.grade).any():
        item = np.flatnonzero(np.isfinite(placing.chainage) & np.isfinite(reference.elevation))
        item = item[np.argsort(placing.chainage[item], kind="stable")]
        at = placing.chainage[item]
        kept = np.r_[True, np.diff(at) > 0] if at.size else np.zeros(0, dtype=bool)
        return np.array([at[kept], reference.elevation[item][kept] - offset]) if kept.sum() > 1 else np.zeros((2, 0))
    item, start, end, grade, _ = pieces_of(reference, placing)
    if not item.size:
        return np.zeros((2, 0))
    runs = np.split(np.arange(item.size), np.flatnonzero(start[1:] - end[:-1] > OVERLAP) + 1)
    run = max(runs, key=lambda part: end[part[-1]] - start[part[0]])
    own = np.abs(reference.end - reference.start)[item[run]]
    at, z = np.r_[start[run], end[run[-1]]], np.r_[0.0, np.cumsum(grade[run] * own)]
    return np.array([at, z + np.median(elevation_at(profile, at) - z)])


def _turns(profile: Profile, placing: Placing, line: FloatArray, prominence: float) -> Iterator[Turn]:
    """Crests and sags of the reference beside ours, each with the nearest that is not nearer to another."""
    s = profile.chainage[(profile.chainage >= line[0, 0]) & (profile.chainage <= line[0, -1])]
    if s.size < 3:
        return
    z = np.interp(s, *line)
    ours = crests_and_sags(profile, prominence)
    rows = placing.chainage if np.isfinite(placing.chainage).any() else placing.start
    for kind, sign in (("crest", 1.0), ("sag", -1.0)):
        places = s[find_peaks(sign * z, prominence=prominence)[0]]
        marks = [mark for mark in ours if mark.kind == kind]
        for place in places.tolist():
            item = int(np.nanargmin(np.abs(rows - place)))
            yield _beside(Turn(kind, item, place), marks, places)


def _beside(turn: Turn, marks: list[Landmark], places: FloatArray) -> Turn:
    near = min(marks, key=lambda mark: abs(mark.at - turn.place), default=None)
    if near is None or abs(near.at - turn.place) > REACH:
        return turn
    if np.abs(places - near.at).min() < abs(near.at - turn.place) - 1e-9:
        return turn
    return dataclasses.replace(turn, ours=near.at, low=near.place_low, high=near.place_high)


def _wholes(profile: Profile, line: FloatArray, train_lengths: tuple[float, ...]) -> Iterator[Whole]:
    """Total rise and fall and ruling grades of the stretch that both tell, in one and the same way."""
    a, b = float(line[0, 0]), float(line[0, -1])
    s = _within(profile.chainage, a, b)
    z, nodes = elevation_at(profile, s), _within(profile.draws.chainage, a, b)
    draws = Draws(nodes, profile.draws.at(nodes))
    if s.size < 3 or nodes.size < 3:
        return
    turning = line[1][turning_points(line[1], LEAST_UNDULATION)]
    steps = np.diff(turning)
    for key, sign, (value, (low, high)) in zip(("rise", "fall"), (1.0, -1.0), rise_and_fall(s, z, draws), strict=True):
        figure = Figure(key=key, unit="m", direction="with", value=value, low=low, high=high)
        yield Whole(figure, float(np.maximum(sign * steps, 0).sum()))
    for direction, sign in (("with", 1.0), ("against", -1.0)):
        way = Climbs(s - a, sign * z, nodes - a, sign * draws.elevation)
        for length in train_lengths:
            own, theirs = steepest(way.along, way.climb, length), steepest(line[0] - a, sign * line[1], length)
            if own is None or theirs is None:
                continue
            low, high = steepest_interval(way, length, own[1])
            figure = Figure(
                key="ruling_grade",
                unit="%",
                direction=direction,
                train_length=length,
                value=own[1] / PERCENT,
                low=low,
                high=high,
                at=a + own[0] + length / 2,
            )
            yield Whole(figure, theirs[1] / PERCENT)


def _within(places: FloatArray, start: float, end: float) -> FloatArray:
    """Both ends and the places between them. [m]"""
    return np.r_[start, places[(places > start) & (places < end)], end]
