"""What couplers feel where a plan has its crew act: as planned, and handled suddenly in ways that have a name.

Only the marked places are followed vehicle by vehicle; between them forces are the steady ones.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from profiler.cited import Cited
from profiler.handling.descent_plan import DescentPlan, LinePlan
from profiler.handling.journey import Journey, acts_from, descent_acts, line_acts
from profiler.handling.start import StartSequence
from profiler.handling.start_sequence import EASING, NOTCH_PAUSE, TIME_STEP
from profiler.handling.timeline import after_acts, air_acts, power_off_acts, slower, unhurried
from profiler.mechanics.air import independent_force
from profiler.mechanics.air_acts import brake_force, ease_time, lead_time, moved
from profiler.mechanics.air_applied import car_forces
from profiler.mechanics.conditions import NOMINAL
from profiler.mechanics.course import Act, course_of, places_of
from profiler.mechanics.motion import FREE, Course
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.transient import FREE_HAND, SlackAtFirst
from profiler.train import Train
from profiler.units import FloatArray

Kind = Literal["crest", "air_step", "release", "sag", "start"]
Way = Literal[
    "planned",
    "gentler",
    "no_pause",
    "dynamic_at_once",
    "throttle_at_once",
    "release_at_once",
    "bunched_full_notch",
]
BEFORE = 30.0
"""An event is followed from so long before [s]."""
AFTER = 60.0
"""And so long after all is done. [s]"""
CUT, AT_ONCE = Cited(4, "seconds", "choice"), Cited(1, "seconds", "choice")
"""A sudden hand: from full power to idle in a hurry, and as fast as it goes. [s]"""
GENTLER_NOTCHES, GENTLER_BRAKE = Cited(3, "", "choice"), Cited(2, "", "choice")
"""A gentler hand: so many times the time from notch to notch, and to set the dynamic brake up. [-]"""
SUDDEN = Cited(3, "seconds", "choice")
"""And all of the dynamic brake that is used, or none of it. [s]"""
NOTCH_SUDDEN = Cited(1, "seconds", "choice")
"""From notch to notch. [s]"""
REACH = 2000.0
"""A start is tabled so far ahead and behind. [m]"""
SAG_LASTS = 400.0
"""A sag is followed no longer. [s]"""


@dataclass(frozen=True, eq=False, kw_only=True)
class Event:
    """One place and one way of handling it: acts of a run from ``head`` [m] at ``speed`` [m/s], vehicles followed one
    by one from ``since`` [m] for ``lasts`` [s], slack as ``slack`` says. ``place`` is where the act begins [m]: what is
    felt from there on counts."""

    kind: Kind
    way: Way
    place: float
    course: Course
    acts: tuple[Act, ...]
    head: float
    speed: float
    since: float
    lasts: float
    slack: SlackAtFirst = "steady"
    hand: tuple[float, float] = FREE_HAND
    """As in `transient`: how fast what holds a speed is changed. [1/s]"""

    @property
    def sudden(self) -> bool:
        """Whether it is neither as planned nor gentler."""
        return self.way not in ("planned", "gentler")


def planned_events(
    train: Train, plan: LinePlan, trip: Journey, sags: Sequence[tuple[float, float]] = ()
) -> tuple[Event, ...]:
    """The marked places of a plan, handled as planned.

    Parameters
    ----------
    train : Train
    plan : LinePlan
    trip : Journey
        That plan run.
    sags : sequence of (float, float)
        Head positions from and to which the train lies astride of a sag. [m]

    Notes
    -----
    In order of travel: each crest with its power going off, each movement of the brake valve, each sag. A place that
    the run does not get to is left out. The run holds speeds without delay; here the crew's hand is `unhurried`.
    """
    acts, hand = line_acts(train, plan), unhurried(train)
    found: list[Event | None] = []
    for one in plan.descents:
        if one.power_off is not None:
            at = one.power_off.recommended
            found.append(_event("crest", "planned", at, plan.course, acts, trip, one.timeline.full + AFTER, hand))
        for step in one.steps:
            lasts = _let_go_in(train) if step.kind == "release" else lead_time(train) + AFTER
            kind: Kind = "release" if step.kind == "release" else "air_step"
            found.append(_event(kind, "planned", step.at, plan.course, acts, trip, lasts, hand))
    for first, last in sags:
        found.append(_event("sag", "planned", first, plan.course, acts, trip, SAG_LASTS, hand, until=last))
    return tuple(sorted((e for e in found if e is not None), key=lambda e: e.place))


def gentler_events(train: Train, plan: LinePlan, trip: Journey) -> tuple[Event, ...]:
    """The same crests with power going off in `GENTLER_NOTCHES` times the time, begun as much sooner as the train then
    still gets over them, and the dynamic brake set up in `GENTLER_BRAKE` times; in order of travel."""
    top = plan.course.effort.shape[1] - 1
    power, brake = unhurried(train)
    hand = power / float(GENTLER_NOTCHES), brake / float(GENTLER_BRAKE)
    found: list[Event | None] = []
    for i, one in enumerate(plan.descents):
        off, line = one.power_off, one.timeline
        if off is None or not line.notches or not off.earliest <= off.recommended:
            continue
        slow = slower(line, float(GENTLER_NOTCHES), float(GENTLER_BRAKE))
        speed = float(np.interp(off.recommended, trip.head, trip.speed))
        at = max(off.earliest, off.recommended - (slow.idle - line.idle) * speed)
        gentle = replace(one, timeline=slow, power_off=replace(off, recommended=at))
        whole = line_acts(train, plan, {i: descent_acts(train, gentle, top)})
        found.append(_event("crest", "gentler", at, plan.course, whole, trip, slow.full + AFTER, hand))
    return tuple(event for event in found if event is not None)


def sudden_events(train: Train, plan: LinePlan, trip: Journey) -> tuple[Event, ...]:
    """The same crests and brakes handled suddenly, in every way that has a name; in order of travel.

    ``no_pause``: throttle closed in `CUT`, all of the dynamic brake in `SUDDEN` at once after it. ``dynamic_at_once``:
    throttle and pause as planned, then all of it in `SUDDEN`, slack not bunched before. ``throttle_at_once``: power
    shut off in `AT_ONCE` with the head at the crest, the rest as planned. ``release_at_once``: all air released while
    running, the dynamic brake thrown off with it. A dynamic brake set at once does not follow the speed; what is not
    sudden is done by an `unhurried` hand.
    """
    power, brake = unhurried(train)
    found: list[Event | None] = []
    for i, one in enumerate(plan.descents):
        for way, place, acts, lasts in _suddenly(train, plan, one):
            kind: Kind = "release" if way == "release_at_once" else "crest"
            whole = line_acts(train, plan, {i: acts})
            hand = (
                FREE_HAND[0] if way in ("no_pause", "throttle_at_once") else power,
                FREE_HAND[1] if way == "release_at_once" else brake,
            )
            found.append(_event(kind, way, place, plan.course, whole, trip, lasts, hand))
    return tuple(event for event in found if event is not None)


def _event(
    kind: Kind,
    way: Way,
    place: float,
    course: Course,
    acts: Sequence[Act],
    trip: Journey,
    lasts: float,
    hand: tuple[float, float],
    *,
    until: float | None = None,
) -> Event | None:
    """An event at a place of a journey, None where it does not get there. What differs from the journey comes later."""
    its = next((r for r in trip.runs if r.head[0] <= place < r.head[-1]), None)
    if its is None:
        return None
    time = its.at(place)[0]
    since = float(np.interp(time - BEFORE, its.time, its.head))
    if until is not None:
        passed = its.at(until)[0]
        lasts = min(passed - time, lasts) if math.isfinite(passed) else lasts
    return Event(
        kind=kind,
        way=way,
        place=float(place),
        course=course,
        acts=tuple(acts_from(acts, float(its.head[0]))),
        head=float(its.head[0]),
        speed=float(its.speed[0]),
        since=since,
        lasts=float(lasts) + BEFORE,
        hand=hand,
    )


def _suddenly(train: Train, plan: LinePlan, one: DescentPlan) -> list[tuple[Way, float, list[Act], float]]:
    """Ways to handle a descent suddenly: its name, where, acts of the descent, how long they take [s]."""
    top, share, line = plan.course.effort.shape[1] - 1, float(train.handling.usable_dynamic), one.timeline
    rest = [*air_acts(train, one.steps), *after_acts(train, one.descent, top)]
    found: list[tuple[Way, float, list[Act], float]] = []
    if one.power_off is not None and math.isfinite(one.power_off.recommended):
        at, notches = one.power_off.recommended, line.notches
        quiet = Act("dynamic", 0.0, at=one.approach.quiet)
        if line.full > line.idle:
            cut = Act("notch", np.linspace(notches, 0, 5), at=at, step=float(CUT) / 4)
            slow = Act("notch", line.throttle if notches else 0.0, at=at, step=line.notch_time)
            found += [
                ("no_pause", at, [quiet, *_at_once(cut, share, float(CUT)), *rest], CUT + SUDDEN + AFTER),
                (
                    "dynamic_at_once",
                    at,
                    [quiet, *_at_once(slow, share, line.dynamic), *rest],
                    line.dynamic + SUDDEN + AFTER,
                ),
            ]
        crest = one.descent.crest
        if notches and one.approach.head < crest:
            fast = replace(
                line,
                notch_time=AT_ONCE / notches,
                **{name: getattr(line, name) - line.idle + AT_ONCE for name in ("idle", "dynamic", "bunched", "full")},
            )
            acts = [quiet, *power_off_acts(fast, share, crest), *rest]
            found.append(("throttle_at_once", crest, acts, fast.full + AFTER))
    if one.steps:
        last = next((s for s in one.steps if s.kind == "release"), None)
        before = [s for s in one.steps if last is None or s.at < last.at]
        at = last.at if last is not None else _built(train, plan, one)
        planned = [act for act in descent_acts(train, one, top) if act.kind != "air" and act.at < at]
        off = [
            Act("notch", 0.0, at=at),
            Act("dynamic", [share, 0.0], at=at, step=float(SUDDEN)),
            moved(train, before[-1].after, 0.0, at=at, conditions=NOMINAL),
        ]
        found.append(("release_at_once", at, [*planned, *air_acts(train, before), *off], _let_go_in(train)))
    return found


def _let_go_in(train: Train) -> float:
    """How long a release is followed: until the rear lets go, but no train runs on unbraked for minutes. [s]"""
    return min(ease_time(train), AFTER) + AFTER / 2


def _built(train: Train, plan: LinePlan, one: DescentPlan) -> float:
    """Where the last reduction of a descent is built up and has been felt. [m]"""
    at = one.steps[-1].at
    speed = float(np.interp(at, places_of(plan.course), plan.speeds.hold))
    return at + (lead_time(train) + BEFORE) * speed


def _at_once(throttle: Act, share: float, begins: float) -> list[Act]:
    """The throttle, and all of the dynamic brake so long after it began to close [s], whatever the speed."""
    time = np.arange(0.0, begins + float(SUDDEN) + 1.0, 0.5)
    set_up = np.interp(time, [begins, begins + SUDDEN], [0.0, share])
    held = np.r_[np.full(round(begins / 0.5) + 1, FREE), np.nan]  # till then the throttle is used as far as needed
    return [
        Act("hold", held, at=throttle.at, step=0.5),
        throttle,
        Act("dynamic", set_up, at=throttle.at, step=0.5),
    ]


def start_events(train: Train, terrain: Terrain, start: StartSequence) -> tuple[Event, ...]:
    """A start on a grade as it should be, slack stretched; and with slack bunched, a full notch at once, no limit kept.

    The air is let go by every car in its time, the independent brake of the head group eased as planned.
    """
    if not start.starts or not math.isfinite(start.reduction):
        return ()
    near, far = start.head - REACH, start.head + REACH
    capped, free = (
        course_of(train, terrain, start=near, end=far, draft_limit=limit, dynamic=0.0)
        for limit in (start.limit, math.inf)
    )
    top = capped.effort.shape[1] - 1
    full = np.arange(0, top + 1.0)
    lasts = min(start.run.under_way + AFTER, float(start.run.time[-1]))
    ways: list[tuple[Way, Course, Act, FloatArray, SlackAtFirst]] = [
        ("planned", capped, Act("notch", start.run.notch, step=TIME_STEP), start.run.independent, "stretched"),
        (
            "bunched_full_notch",
            free,
            Act("notch", full, step=float(NOTCH_SUDDEN)),
            np.interp(np.arange(0, EASING + NOTCH_PAUSE, TIME_STEP), [0, EASING], [start.run.independent[0], 0]),
            "bunched",
        ),
    ]
    return tuple(
        Event(
            kind="start",
            way=way,
            place=start.head,
            course=course,
            acts=(notch, *_let_go(train, start.reduction, independent)),
            head=start.head,
            speed=0.0,
            since=start.head,
            lasts=lasts,
            slack=slack,
        )
        for way, course, notch, independent, slack in ways
    )


def _let_go(train: Train, reduction: float, independent: FloatArray) -> list[Act]:
    """A reduction [Pa] that is on and let go at once, and an independent brake (t,) [N] each `TIME_STEP`."""
    force = float(brake_force(train, reduction))
    part = car_forces(train) / (car_forces(train).sum() or 1.0)
    acts = [Act("air", force, cars=np.vstack([part, part])), moved(train, reduction, 0.0, conditions=NOMINAL)]
    head = train.groups[0]
    own = np.zeros(train.vehicles)
    block = train.vehicle_block
    units = (block >= head.first) & (block <= head.last)
    own[units] = [float(train.blocks[b].vehicle.mass) for b in block[units]]
    if independent[0] > 0 and independent_force(train) > 0:
        own /= own.sum()
        eased = 1 - independent / independent[0]
        acts += [
            Act("air", float(independent[0]), cars=np.vstack([own, own])),
            Act(
                "air",
                -independent[0] * np.append(eased, 1.0),
                step=TIME_STEP,
                cars=np.outer(np.append(eased, 1.0), own),
            ),
        ]
    return acts
