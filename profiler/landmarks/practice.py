"""The line beside customary design practice: information from an estimate, no finding about the track.

What is said is said only where the estimate is sure of it: the difference is greater than 1.96 of
its standard errors.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise

from profiler.landmark import SHOWN_FROM, PracticeNote
from profiler.landmarks.design_rules import (
    LARGEST_CANT,
    LARGEST_UNBALANCE,
    TIGHTEST_DEGREE,
    balanced_cant,
    shortest_spiral,
)
from profiler.profile import Profile
from profiler.route import CurveElement, Route, SpeedLimit
from profiler.units import MILLIMETRE, MPH, degree_of_curve
from profiler.vertical_curve import Pvi, length_by_rate, length_by_speed
from profiler.wording import stretch_words

SURE = 1.96
"""So many standard errors are 95 %."""

SECONDARY_RATES = (0.0020, 0.0010)
"""Rates of change of grade on crests and in sags that the AREA gave secondary lines [m/m per 100 ft]."""

FREIGHT, PASSENGER = 0.10, 0.60
"""Vertical accelerations of the rule of the AREMA. [ft/s²]"""

TIGHT_SOURCE = "common practice on main lines"
CANT_SOURCE = "0.0007·D·V² in: 49 CFR 213.57; 6 in of cant and 3 in of unbalance: common practice"
SPIRAL_SOURCE = "AREMA Manual, chapter 5: 62·Ea, 1.63·Eu·V, 1.22·Ea·V"
RATE_SOURCE = "AREA, secondary lines: 0.20 % per 100 ft on crests, 0.10 % in sags"
SPEED_SOURCE = "AREMA Manual, chapter 5 (2002): D·V²·0.0215/A, A {} ft/s²"

Speeds = dict[str, float]
"""Speed [m/s] by class of train, "" where the limit names none."""


def practice_notes(profile: Profile) -> tuple[PracticeNote, ...]:
    """What departs from practice, and the balanced cant of every curve under a speed limit, by chainage.

    Tight curves need no speed. Spirals and cants are looked at for every class of train that has a
    limit there. Vertical curves are looked at where PVIs are seen: by the speed where there is a
    limit, by the rate of change of grade of secondary lines elsewhere.
    """
    route = profile.route
    notes = [
        *tight_curves(route.curves),
        *cants(route),
        *short_spirals(route),
        *sharp_vertical_curves(profile),
    ]
    return tuple(sorted(notes, key=lambda note: (note.start, note.end, note.kind, note.train_class)))


def speeds_over(limits: Iterable[SpeedLimit], start: float, end: float) -> Speeds:
    """The highest speed allowed somewhere between two chainages [m], for every class of train limited there.

    Where limits of one class overlap, the lowest counts. A limit without a class is a class of its own.
    """
    found: Speeds = {}
    inside = [limit for limit in limits if limit.start <= end and limit.end >= start]
    edges = sorted({start, end, *(x for limit in inside for x in (limit.start, limit.end) if start < x < end)})
    middles = [(a + b) / 2 for a, b in pairwise(edges)] or [start]
    for name in {limit.train_class for limit in inside}:
        for place in middles:
            here = [x.speed for x in inside if x.train_class == name and x.start <= place <= x.end]
            if here:
                found[name] = max(found.get(name, 0.0), min(here))
    return found


def curve_speeds(route: Route, curve: CurveElement) -> Speeds:
    """Speeds in the middle half of a curve's circular body: its ends are not sure, and limits change there."""
    _, first, last, _ = curve.knots
    quarter = (last - first) / 4
    return speeds_over(route.limits, first + quarter, last - quarter)


def tight_curves(curves: Iterable[CurveElement]) -> Iterator[PracticeNote]:
    """Curves surely tighter than `TIGHTEST_DEGREE`."""
    for curve in curves:
        degree = abs(float(degree_of_curve(curve.curvature)))
        se = float(degree_of_curve(abs(curve.curvature) + curve.curvature_se)) - degree
        if degree - SURE * se > TIGHTEST_DEGREE:
            yield PracticeNote(
                kind="tight_curve",
                start=curve.start,
                end=curve.end,
                value=degree,
                value_se=se,
                practice=TIGHTEST_DEGREE,
                unit="degree",
                of=f"curve {curve.number}",
                source=TIGHT_SOURCE,
            )


def cants(route: Route) -> Iterator[PracticeNote]:
    """The balanced cant of every curve under a limit; "cant" where practice would surely not give it."""
    most = LARGEST_CANT + LARGEST_UNBALANCE
    for curve in route.curves:
        for train_class, speed in curve_speeds(route, curve).items():
            cant = balanced_cant(curve.curvature, speed)
            se = cant * curve.curvature_se / abs(curve.curvature)
            yield PracticeNote(
                kind="cant" if cant - SURE * se > most else "balanced_cant",
                start=curve.start,
                end=curve.end,
                value=cant / MILLIMETRE,
                value_se=se / MILLIMETRE,
                practice=most / MILLIMETRE,
                unit="mm",
                speed=speed,
                train_class=train_class,
                of=f"curve {curve.number}",
                source=CANT_SOURCE,
            )


def short_spirals(route: Route) -> Iterator[PracticeNote]:
    """Spirals surely shorter than any customary cant asks for at the speed of their curve."""
    for of, start, end, se, sides in _spirals(route):
        speeds = [curve_speeds(route, curve) for curve in sides]
        for train_class in sorted(set.intersection(*map(set, speeds))):
            at = [speed[train_class] for speed in speeds]
            cant = [balanced_cant(c.curvature, v) for c, v in zip(sides, at, strict=True)]
            # between two arcs of one hand only the difference has to be reached
            asked = shortest_spiral(abs(cant[0] - cant[1]) if len(cant) > 1 else cant[0], max(at))
            if end - start + SURE * se < asked:
                yield PracticeNote(
                    kind="short_spiral",
                    start=start,
                    end=end,
                    value=end - start,
                    value_se=se,
                    practice=asked,
                    unit="m",
                    speed=max(at),
                    train_class=train_class,
                    of=of,
                    source=SPIRAL_SOURCE,
                )


def _spirals(route: Route) -> Iterator[tuple[str, float, float, float, tuple[CurveElement, ...]]]:
    """Name, ends and standard error of the length [m] of every spiral, with the arcs that it joins."""
    curves = route.curves
    for i, curve in enumerate(curves):
        shared = i > 0 and _share(curves[i - 1], curve)
        if shared:
            before = curves[i - 1]
            name = f"spiral between curves {before.number} and {curve.number}"
            se = max(before.spiral_out_se, curve.spiral_in_se)
            yield name, curve.start, curve.start + curve.spiral_in, se, (before, curve)
        elif curve.start > route.chainage[0]:
            name = f"spiral into curve {curve.number}"
            yield name, curve.start, curve.start + curve.spiral_in, curve.spiral_in_se, (curve,)
        joined = i + 1 < len(curves) and _share(curve, curves[i + 1])
        if not joined and curve.end < route.chainage[-1]:
            name = f"spiral out of curve {curve.number}"
            yield name, curve.end - curve.spiral_out, curve.end, curve.spiral_out_se, (curve,)


def _share(before: CurveElement, after: CurveElement) -> bool:
    """Whether two arcs are of one compound curve: they share the transition between them."""
    return before.kind == after.kind == "compound" and before.hand == after.hand and after.start <= before.end


def sharp_vertical_curves(profile: Profile) -> Iterator[PracticeNote]:
    """Vertical curves surely shorter than practice makes them, among the PVIs that are seen."""
    route = profile.route
    for pvi in profile.pvis if profile.pvi_visible else ():
        if pvi.probability < SHOWN_FROM or not pvi.curve_length:  # none stated on a chart is none known
            continue
        speeds = speeds_over(route.limits, pvi.chainage, pvi.chainage)
        for train_class, speed, asked, source in _asked(pvi, speeds):
            se = _length_se(pvi)
            if pvi.curve_length + SURE * se < asked:
                yield PracticeNote(
                    kind="sharp_vertical_curve",
                    start=pvi.begin,
                    end=pvi.end,
                    value=pvi.curve_length,
                    value_se=se,
                    practice=asked,
                    unit="m",
                    speed=speed,
                    train_class=train_class,
                    of=f"vertical curve at {stretch_words(route.posts, pvi.chainage, pvi.chainage, 2)}",
                    source=source,
                )


def _asked(pvi: Pvi, speeds: Speeds) -> Iterator[tuple[str, float | None, float, str]]:
    """Class, speed [m/s], least length [m] and its source, for a vertical curve."""
    for train_class, speed in sorted(speeds.items()):
        acceleration = PASSENGER if "passenger" in train_class.lower() else FREIGHT
        length = length_by_speed(pvi.change, speed / MPH, acceleration)
        yield train_class, speed, length, SPEED_SOURCE.format(f"{acceleration:.2f}")
    if not speeds:
        rate = SECONDARY_RATES[0] if pvi.change < 0 else SECONDARY_RATES[1]
        yield "", None, length_by_rate(pvi.change, rate), RATE_SOURCE


def _length_se(pvi: Pvi) -> float:
    """Standard error of a vertical curve's length [m].

    The length shows by how far the curve lies off the PVI, M = A·L/8, and that is taken to be no
    surer than the height there. It is surer: 99 of 100 lengths under lidar lie within 1.96 of these.
    """
    return 8 * pvi.elevation_se / abs(pvi.change) if pvi.change else 0.0
