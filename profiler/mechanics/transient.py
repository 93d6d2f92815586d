"""What couplers feel in time: a train followed vehicle by vehicle, slack and draft gears between them.

One degree of freedom each, along the track. Grade, curves, rolling, effort, dynamic and air brake are those of the run
and of the steady forces, by the same functions; only what lies between vehicles is added.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from profiler.cited import Cited
from profiler.errors import InputError
from profiler.mechanics.conditions import NOMINAL, Conditions
from profiler.mechanics.couplers import balanced, vehicles_of
from profiler.mechanics.course import Act, acts_of, place_of
from profiler.mechanics.draft_gear import DraftGear
from profiler.mechanics.in_train import Extreme
from profiler.mechanics.motion import Acts, Course
from profiler.mechanics.run import run
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.transient_loop import Bodies, Couplings, State, follow, outer_forces, settle
from profiler.mechanics.transient_tables import bodies_of, couplings_of, state_of
from profiler.train import Train
from profiler.units import FloatArray

TICK = 0.05
"""Outer forces are set anew so often. [s]"""
KEPT = 0.5
"""The history has the largest force of so long. [s]"""
SAME = Cited(0.02, "", "choice")
"""Halving the step may change no peak by more. [-]"""
UNFELT = Cited(20, "kn", "choice")
"""Peaks below this are not compared. [N]"""
HALVINGS = 3
"""The step becomes no finer than the rule's, halved so often."""
CALM, SETTLES = Cited(0.005, "m_s", "choice"), Cited(300, "seconds", "choice")
"""Slack has settled when no vehicle moves faster against the train [m/s]; it is waited for no longer [s]."""

FREE_HAND = (1e6, 1e6)
"""A hand that nothing holds back. [1/s]"""

SlackAtFirst = Literal["steady", "bunched", "stretched"]


@dataclass(frozen=True, kw_only=True)
class TransientEnergy:
    """Where the work of a transient run went. [J]"""

    effort: float
    """Of the effort at the wheel rims."""
    kinetic: float
    """Gained, rotating parts included."""
    potential: float
    """Gained."""
    rolling: float
    curves: float
    dynamic: float
    air: float
    """Spent against each."""
    gears: float
    """Taken by friction in the draft gears."""
    stored: float
    """Gained in them."""

    @property
    def error(self) -> float:
        """What does not close, over all that was moved. [-]"""
        spent = (self.potential, self.rolling, self.curves, self.dynamic, self.air, self.gears, self.stored)
        moved = abs(self.effort) + abs(self.kinetic) + sum(map(abs, spent))
        return (self.effort - self.kinetic - sum(spent)) / moved if moved else 0.0


@dataclass(frozen=True, kw_only=True)
class Closing:
    """Neighbours that close up, or draw apart, at a ``speed`` [m/s]: ``vehicle``, from 0 at the head, and the next.

    With the head end at ``head`` by distance travelled [m], at ``time`` [s].
    """

    speed: float
    vehicle: int
    head: float
    time: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Transient:
    """Forces of a train followed vehicle by vehicle; arrays are (t,), ``force`` (t, v - 1).

    ``time`` [s], ``head`` by distance travelled [m], mean ``speed`` [m/s]. ``force`` behind each vehicle but the last,
    that of largest size since the instant before, + draft, - buff [N]. ``draft`` and ``buff`` are the largest that
    count, ``run_in`` and ``run_out`` the greatest speeds of neighbours that close up and draw apart. ``settled`` is how
    long the slack was waited for before [s]. ``step`` is the shortest one taken [s]; halving all of them changes a peak
    by ``changes`` [-]. ``parted``: a coupling broke there, and nothing was followed any farther.
    """

    time: FloatArray
    head: FloatArray
    speed: FloatArray
    force: FloatArray
    draft: Extreme
    buff: Extreme
    run_in: Closing
    run_out: Closing
    parted: Extreme | None
    energy: TransientEnergy
    settled: float
    step: float
    steps: int
    changes: float

    @property
    def sure(self) -> bool:
        """Whether halving the step changes no peak by more than `SAME`."""
        return self.changes <= SAME


def transient(
    train: Train,
    terrain: Terrain,
    course: Course,
    acts: Sequence[Act],
    gears: Sequence[DraftGear],
    *,
    head: float,
    speed: float,
    since: float | None = None,
    lasts: float = 200.0,
    until: float = math.inf,
    counted: float = -math.inf,
    slack: SlackAtFirst = "steady",
    hand: tuple[float, float] = FREE_HAND,
    conditions: Conditions = NOMINAL,
    fineness: float = 1.0,
) -> Transient:
    """A train followed vehicle by vehicle while its crew acts.

    Parameters
    ----------
    train : Train
    terrain : Terrain
        Its line.
    course : Course
        That train on that line.
    acts : sequence of Act
        As in `run`; air acts by vehicle where they tell it.
    gears : sequence of DraftGear
        Behind every vehicle but the last.
    head, speed : float
        Where its head end is [m] and how fast it goes [m/s] as the acts begin.
    since : float, optional
        From this head position on vehicles are followed one by one [m]; until then the train is one mass.
    lasts, until : float
        So long from there [s], or until the head is at a place [m].
    counted : float
        Peaks are those from this head position on, and that of a coupling that breaks. [m]
    slack : "steady", "bunched" or "stretched"
        As the first instant first goes on until slack has settled; or all of it in, or out, no force in it.
    hand : (float, float)
        While a speed is held by acts, the effort that holds it changes no faster than so much of all there is per
        second, and the dynamic brake than so much [1/s].
    conditions : Conditions
        Of the course.
    fineness : float
        Steps are first so many times shorter than the rule below has them. [-]

    Raises
    ------
    InputError
        If the train has one vehicle, there are not as many gears as couplings, or it does not get to ``since``.

    Notes
    -----
    Semi-implicit Euler, speeds first; what acts against motion holds a vehicle at rest. A step is at most
    m·v/((1 - u)·F) of the lighter neighbour, v the speed at which friction turns, u unloading, F the force. All is
    followed again in half the steps, and in finer ones, until no peak changes by more than `SAME`: the last is told.
    """
    if train.vehicles < 2 or len(gears) != train.vehicles - 1:
        problem = f"{len(gears)} gears for {train.vehicles} vehicles"
        raise InputError(train.name, problem, "give one behind every vehicle but the last, of two or more")
    if not lasts > 0 or speed < 0 or not fineness > 0:
        problem = f"{lasts:g} s at {speed:g} m/s, steps {fineness:g} times shorter"
        raise InputError("transient", problem, "give a time and a fineness above zero, and a speed ahead")
    table = acts_of(acts)
    begun, head, speed = _before(course, acts, head, speed, since)
    reach = min(until, head + lasts * (speed + 20.0))
    bodies = bodies_of(train, terrain, acts, conditions, head, reach)
    couplings = couplings_of(train, gears)
    x, settled = _at_first(train, course, table, bodies, couplings, gears, begun, head, speed, slack)

    def followed(fineness: float) -> Transient | None:
        state = state_of(x, np.full(x.size, speed), len(train.groups))
        found = follow(
            course, table, bodies, couplings, state, begun.copy(), _latest(table, begun), np.array(hand), float(lasts),
            float(until), float(counted), TICK, round(KEPT / TICK), fineness,
        )  # fmt: skip
        return None if found[-1] == -2 else _told(gears, state, x, speed, bodies.inertia, found, settled)

    done = followed(fineness)
    while fineness < 2**HALVINGS:
        fineness *= 2
        finer = followed(fineness)
        if finer is not None:
            finer = replace(finer, changes=_change(done, finer))
        done = finer
        if done is not None and done.sure:
            break
    if done is None:
        raise InputError("transient", "forces grow without end in steps so long", f"give a fineness above {fineness:g}")
    return done


def _change(coarse: Transient | None, fine: Transient) -> float:
    """How much the peaks change at most, over the larger one; nothing where both are small. [-]"""
    if coarse is None or (coarse.parted is None) != (fine.parted is None):
        return math.inf
    pairs = ((coarse.draft.force, fine.draft.force), (coarse.buff.force, fine.buff.force))
    return max(abs(a - b) / max(a, b) if max(a, b) > UNFELT else 0.0 for a, b in pairs)


def _before(
    course: Course, acts: Sequence[Act], head: float, speed: float, since: float | None
) -> tuple[FloatArray, float, float]:
    """When each act had begun in order of place, before then [s], where the head is then [m] and how fast [m/s]."""
    if since is None or since <= head:
        return np.full(len(acts), np.nan), float(head), float(speed)
    done = run(course, acts, head=head, speed=speed, until=since)
    if done.ended != "there":
        raise InputError("transient", f"the train does not get to {since:g} m", "begin where it does")
    order = sorted(range(len(acts)), key=lambda i: place_of(acts[i]))
    return done.begun[order] - done.time[-1], float(done.head[-1]), float(done.speed[-1])


def _latest(acts: Acts, begun: FloatArray) -> FloatArray:
    """The act in force of each kind but air, of those that have begun; -1 for none."""
    latest = np.full(3, -1)
    for i in np.flatnonzero(np.isfinite(begun)):
        kind = int(acts.kind[i])
        if kind < latest.size and (latest[kind] < 0 or begun[i] >= begun[latest[kind]]):
            latest[kind] = i
    return latest


def _at_first(
    train: Train,
    course: Course,
    table: Acts,
    bodies: Bodies,
    couplings: Couplings,
    gears: Sequence[DraftGear],
    begun: FloatArray,
    head: float,
    speed: float,
    slack: SlackAtFirst,
) -> tuple[FloatArray, float]:
    """Where the vehicles are to begin with, as places of the head end (v,) [m], and how long it took to settle [s]."""
    half = couplings.half
    if slack != "steady":
        gap = half if slack == "stretched" else -half
        return head - np.r_[0.0, np.cumsum(gap)], 0.0
    state = state_of(np.full(train.vehicles, head), np.full(train.vehicles, speed), len(train.groups))
    outer_forces(course, table, bodies, begun.copy(), _latest(table, begun), np.array(FREE_HAND), state)
    held = state.hold - state.drive
    force, _ = balanced(vehicles_of(train), held[None])
    pressed = np.array([float(g.pressed(f)) for g, f in zip(gears, force[0], strict=True)])
    gap = np.sign(force[0]) * (half + pressed)
    mass = bodies.inertia
    state = state_of(-np.r_[0.0, np.cumsum(gap)], np.zeros(train.vehicles), 0)
    state.drive[:] = mass * held.sum() / mass.sum() - held
    took = settle(bodies, couplings, state, float(SETTLES), TICK, float(CALM))
    return head + state.x - state.x[0], float(took)


def _told(
    gears: Sequence[DraftGear],
    state: State,
    x: FloatArray,
    speed: float,
    inertia: FloatArray,
    found: tuple[FloatArray, FloatArray, FloatArray, FloatArray, float, int, int],
    settled: float,
) -> Transient:
    """What the loop found, told."""
    line, force, peaks, works, shortest, steps, broken = found
    draft, buff = (_extreme(p) for p in peaks[:2])
    run_out, run_in = (
        Closing(speed=float(p[0]), vehicle=int(p[1]), head=float(p[3]), time=float(p[2])) for p in peaks[2:]
    )

    def stored(place: FloatArray) -> float:
        gap = np.abs(place[:-1] - place[1:])
        return float(sum(g.stored(d - g.slack / 2) for g, d in zip(gears, gap, strict=True)))

    effort, weight, rolling, curves, dynamic, air = map(float, works)
    kinetic = float((inertia * (state.v**2 - speed**2)).sum() / 2)
    return Transient(
        time=line[0],
        head=line[1],
        speed=line[2],
        force=force,
        draft=draft,
        buff=buff,
        run_in=run_in,
        run_out=run_out,
        parted=_parted(line[:, -1], broken, force[-1]) if broken >= 0 else None,
        energy=TransientEnergy(
            effort=effort,
            kinetic=kinetic,
            potential=weight,
            rolling=rolling,
            curves=curves,
            dynamic=dynamic,
            air=air,
            gears=float(state.rubbed.sum()),
            stored=stored(state.x) - stored(x),
        ),
        settled=settled,
        step=float(shortest),
        steps=int(steps),
        changes=math.nan,
    )


def _parted(last: FloatArray, broken: int, force: FloatArray) -> Extreme:
    time, head, speed = map(float, last)
    return Extreme(force=float(abs(force[broken])), vehicle=int(broken), head=head, time=time, speed=speed)


def _extreme(peak: FloatArray) -> Extreme:
    force, vehicle, time, head, speed = map(float, peak)
    return Extreme(force=force, vehicle=int(vehicle), head=head, time=time, speed=speed)
