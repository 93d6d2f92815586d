"""The compiled loop of in-train forces: every vehicle by itself, one degree of freedom each, couplings between them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from profiler.compiling import compiled
from profiler.mechanics.motion import (
    AIR,
    begin_over,
    begin_passed,
    between,
    forces_at,
    hold_back_at,
    over_groups,
    pull_at,
    told_to_hold,
)
from profiler.units import FloatArray

LOOKS = 4
"""The step is set anew after so many."""
STEADY = 1.0
"""Part of the longest steady step that is taken. [-]"""
NEAR = 0.4
"""A step is no more than this over the fastest swing that the stiffest coupling gives its lighter neighbour. [-]"""
WILD = 100.0
"""A vehicle faster than this is no train any more: steps were too long. [m/s]"""
WORKS = 6
"""Of effort, weight, rolling, curves, dynamic brake, air brake."""


class Couplings(NamedTuple):
    """Behind every vehicle but the last; arrays (v - 1,), as in `draft_gear.DraftGear`."""

    half: FloatArray
    """Half of the free slack. [m]"""
    travel: FloatArray
    """[m]"""
    first: FloatArray
    """[N/m]"""
    rising: FloatArray
    """[N/m²]"""
    locked: FloatArray
    """[N/m]"""
    mean: FloatArray
    """Midway between loading and unloading, over loading. [-]"""
    rubs: FloatArray
    """Half of what lies between loading and unloading, over loading. [-]"""
    turning: FloatArray
    """[m/s]"""
    breaks: FloatArray
    """[N]"""
    jerky: FloatArray
    """Over the force of loading: what the step may not be longer than the inverse of. [1/(N·s)]"""
    longest: float
    """Step that the stiffest of them bears. [s]"""


class Bodies(NamedTuple):
    """The vehicles on their line, tabled; places evenly from ``first`` on, of each by where the head end would be."""

    first: float
    """[m]"""
    step: float
    """[m]"""
    weight: FloatArray
    """Along the track, + holding back. [N], shape (p, v)"""
    bend: FloatArray
    """Curve resistance of a moving vehicle. [N], shape (p, v)"""
    rolling: FloatArray
    """A, B, C of A + B·v + C·v². shape (3, v)"""
    breakaway: FloatArray
    """[N], shape (v,)"""
    inertia: FloatArray
    """[kg], shape (v,)"""
    group: FloatArray
    """Which group of power it is of, -1 for none. shape (v,)"""
    pulls: FloatArray
    """Part of its group's effort over speed. [-], shape (k, v)"""
    holds: FloatArray
    """The same of its dynamic brake. [-], shape (k, v)"""
    cars: FloatArray
    """What an air act does to every vehicle at each step, by table. shape (tables, n, v)"""
    table: FloatArray
    """Which table an act has. shape (acts,)"""
    gain: FloatArray
    """And times what. [N], shape (acts,)"""


class State(NamedTuple):
    """Of all vehicles and couplings while they are followed; nothing is allocated in the loop."""

    x: FloatArray
    """Where the head end would be by this vehicle. [m], shape (v,)"""
    v: FloatArray
    """[m/s], shape (v,)"""
    pull: FloatArray
    """In front of each vehicle, 0 first and last, + draft. [N], shape (v + 1,)"""
    load: FloatArray
    """Of loading at the same travel. [N], shape (v - 1,)"""
    rub: FloatArray
    """Friction in it. [N], shape (v - 1,)"""
    rubbed: FloatArray
    """Work of friction. [J], shape (v - 1,)"""
    most: FloatArray
    """Largest and least force [N], greatest speed apart and together [m/s] since last looked at. shape (4, v - 1)"""
    drive: FloatArray
    """What acts on each whatever its speed: effort less weight. [N], shape (v,)"""
    hold: FloatArray
    """What acts against its motion. [N], shape (v,)"""
    parts: FloatArray
    """Effort, weight, rolling, curves, dynamic, air of each. [N], shape (WORKS, v)"""
    groups: FloatArray
    """Effort and dynamic brake of groups. [N], shape (2, groups)"""
    crew: FloatArray
    """Effort and dynamic brake as the crew has set them, NaN before the first instant. [N], shape (2,)"""


@compiled
def _couple(c, s, dt):
    """Forces in all couplings, and what friction took since the last step of ``dt`` [s]."""
    x, v, pull, load, rub, rubbed = s.x, s.v, s.pull, s.load, s.rub, s.rubbed
    high, low, apart, together = s.most[0], s.most[1], s.most[2], s.most[3]
    for i in range(load.size):
        rate = v[i] - v[i + 1]
        rubbed[i] += rub[i] * rate * dt
        gap = x[i] - x[i + 1]
        side = 1.0 if gap > 0 else -1.0
        pressed = max(side * gap - c.half[i], 0.0)
        within = min(pressed, c.travel[i])
        full = within * (c.first[i] + c.rising[i] * within) + c.locked[i] * (pressed - within)
        slip = min(max(rate / c.turning[i], -1.0), 1.0)
        load[i] = full
        rub[i] = full * c.rubs[i] * slip
        force = side * full * c.mean[i] + rub[i]
        pull[i + 1] = force
        high[i] = max(high[i], force)
        low[i] = min(low[i], force)
        apart[i] = max(apart[i], rate)
        together[i] = min(together[i], rate)


@compiled
def _longest(c, s, fineness):
    """The step that the forces of this instant bear. [s]"""
    worst = 1.0 / c.longest
    for i in range(s.load.size):
        worst = max(worst, s.load[i] * c.jerky[i] / STEADY)
    return 1.0 / (worst * fineness)


@compiled
def _move(s, inertia, dt):
    """Speeds by the forces, then places by the speeds; what acts against motion stops it and no more."""
    x, v, pull, drive, hold = s.x, s.v, s.pull, s.drive, s.hold
    for i in range(x.size):
        per = dt / inertia[i]
        free = v[i] + (drive[i] + pull[i] - pull[i + 1]) * per
        most = hold[i] * per
        v[i] = free - min(max(free, -most), most)
        x[i] += v[i] * dt


@compiled
def advance(c, s, inertia, lasts, fineness):
    """So long [s] under the same outer forces, in steps as the couplings bear them; the shortest step, and how many."""
    done, shortest, count, dt, before = 0.0, lasts, 0, 0.0, 0.0
    while done < lasts - 1e-12:
        _couple(c, s, before)
        if count % LOOKS == 0:
            dt = _longest(c, s, fineness)
            shortest = min(shortest, dt)
        before = min(dt, lasts - done)
        _move(s, inertia, before)
        done += before
        count += 1
    for i in range(s.load.size):
        s.rubbed[i] += s.rub[i] * (s.v[i] - s.v[i + 1]) * before
    return shortest, count


@compiled
def _by_hand(was, wanted, all_of_it, rate, dt):
    """What a hand has set that so long ago [s] had ``was``: no more of all of it per second than ``rate`` [1/s]."""
    if was != was:
        return wanted
    most = rate * all_of_it * dt
    return min(was + min(max(wanted - was, -most), most), all_of_it)


@compiled
def _act(course, acts, bodies, begun, latest, hand, t, tick, s):
    """Outer forces on every vehicle as the crew has it, by the place of the head and the train's mean speed, which is
    returned [m/s]. While a speed is held they follow it no faster than the hand."""
    speed, mass = 0.0, 0.0
    for i in range(s.v.size):
        speed += s.v[i] * bodies.inertia[i]
        mass += bodies.inertia[i]
    speed /= mass
    _, effort, dynamic, _, _, _, _ = forces_at(course, acts, begun, latest, t, s.x[0], speed)
    hold = told_to_hold(acts, latest, begun, t)
    if hold == hold:
        most = pull_at(course, course.effort.shape[1] - 1, s.x[0], abs(speed))
        effort = _by_hand(s.crew[0], effort, most, hand[0], tick)
        dynamic = _by_hand(s.crew[1], dynamic, hold_back_at(course, s.x[0], abs(speed)), hand[1], tick)
    s.crew[0], s.crew[1] = effort, dynamic
    over_groups(course, effort, dynamic, s.x[0], abs(speed), s.groups[0], s.groups[1])
    _outer(course, acts, bodies, begun, t, s)
    return speed


@compiled
def _outer(course, acts, bodies, begun, t, s):
    """The forces themselves, groups of power having theirs."""
    speeds, places = bodies.pulls.shape[0], bodies.weight.shape[0]
    for i in range(s.v.size):
        fast, rests = abs(s.v[i]), s.v[i] == 0.0
        at = min(max((s.x[i] - bodies.first) / bodies.step, 0.0), places - 1.0)
        p = min(int(at), places - 2)
        on = at - p
        s.parts[1, i] = bodies.weight[p, i] + on * (bodies.weight[p + 1, i] - bodies.weight[p, i])
        bend = bodies.bend[p, i] + on * (bodies.bend[p + 1, i] - bodies.bend[p, i])
        s.parts[3, i] = bend * (course.bend_start if rests else 1.0)
        moving = bodies.rolling[0, i] + fast * (bodies.rolling[1, i] + fast * bodies.rolling[2, i])
        s.parts[2, i] = bodies.breakaway[i] if rests else moving
        s.parts[0, i], s.parts[4, i], s.parts[5, i] = 0.0, 0.0, 0.0
        g = bodies.group[i]
        if g >= 0:
            k = min(int(fast / course.speed_step + 0.5), speeds - 1)
            s.parts[0, i] = s.groups[0, g] * bodies.pulls[k, i]
            s.parts[4, i] = s.groups[1, g] * bodies.holds[k, i]
    for a in range(acts.kind.size):
        if acts.kind[a] == AIR and begun[a] == begun[a]:
            cars = bodies.cars[bodies.table[a]]
            at = min(max((t - begun[a]) / acts.step[a], 0.0), cars.shape[0] - 1.0)
            p = min(int(at), cars.shape[0] - 2)
            on, gain = at - p, bodies.gain[a]
            for i in range(s.v.size):
                s.parts[5, i] += gain * (cars[p, i] + on * (cars[p + 1, i] - cars[p, i]))
    for i in range(s.v.size):
        s.parts[5, i] *= between(course.friction, 0.0, course.speed_step, abs(s.v[i]))
        s.drive[i] = s.parts[0, i] - s.parts[1, i]
        s.hold[i] = max(s.parts[2, i] + s.parts[3, i] + s.parts[4, i] + s.parts[5, i], 0.0)


@compiled
def outer_forces(course, acts, bodies, begun, latest, hand, s):
    """The outer forces of the first instant, into the state."""
    passed = 0
    while passed < acts.kind.size and begun[passed] == begun[passed]:
        passed += 1
    passed = begin_passed(acts, passed, begun, latest, 0.0, s.x[0])
    _act(course, acts, bodies, begun, latest, hand, 0.0, 0.0, s)


@compiled
def _look(s, kept, peaks, counts, t, speed):
    """What the last step of the crew brought: into the history, and into the peaks if it counts."""
    high, low, apart, together = s.most[0], s.most[1], s.most[2], s.most[3]
    for i in range(high.size):
        felt = high[i] if high[i] > -low[i] else low[i]
        if abs(felt) > abs(kept[i]):
            kept[i] = felt
        for k, size in ((0, high[i]), (1, -low[i]), (2, apart[i]), (3, -together[i])):
            if counts and size > peaks[k, 0]:
                peaks[k, 0], peaks[k, 1], peaks[k, 2], peaks[k, 3], peaks[k, 4] = size, i, t, s.x[0], speed
        high[i], low[i], apart[i], together[i] = s.pull[i + 1], s.pull[i + 1], 0.0, 0.0


@compiled
def _worked(s, before, works):
    """Work of the outer forces since places (v,). [J]"""
    for i in range(s.x.size):
        way = s.x[i] - before[i]
        for k in range(WORKS):
            works[k] += s.parts[k, i] * (way if k < 2 else abs(way))
        before[i] = s.x[i]


@compiled
def follow(course, acts, bodies, c, s, begun, latest, hand, lasts, until, counted, tick, every, fineness):
    """Vehicles followed one by one for so long [s], or until the head is at a place [m] or a coupling breaks.

    Outer forces are set anew each ``tick`` [s], those that hold a speed changing by no more than ``hand`` (2,) of all
    the effort and of all the dynamic brake per second [1/s], and of ``every`` so many the history is kept: (3, t) time
    [s], place of the head [m] and mean speed [m/s] at its end; (t, v - 1) the force of largest size within [N]. Then
    (4, 5), once the head is past the place ``counted`` [m], or a coupling has broken: the largest draft, buff [N],
    speed apart and together [m/s], each with its coupling, time, place of the head and speed; (WORKS,) work [J]; the
    shortest step [s], how many; and the coupling that broke, -1 for none, -2 where steps were too long for anything
    to be told.
    """
    rows = int(np.ceil(lasts / tick / every)) + 2
    found, force = np.zeros((3, rows)), np.zeros((rows, s.load.size))
    peaks, works, before = np.zeros((4, 5)), np.zeros(WORKS), s.x.copy()
    t, row, ticks, shortest, steps, broken, passed = 0.0, 0, 0, tick, 0, -1, 0
    while passed < acts.kind.size and begun[passed] == begun[passed]:
        passed += 1
    waits = np.isfinite(acts.over).any()
    s.most[:] = 0.0
    while True:
        passed = begin_passed(acts, passed, begun, latest, t, s.x[0])
        speed = _act(course, acts, bodies, begun, latest, hand, t, tick, s)
        if waits:
            begin_over(course, acts, begun, latest, t, s.x[0], speed)
        least, count = advance(c, s, bodies.inertia, tick, fineness)
        t, ticks, shortest, steps = t + tick, ticks + 1, min(shortest, least), steps + count
        for i in range(s.v.size):
            if not abs(s.v[i]) < WILD:
                return found, force, peaks, works, shortest, steps, -2
        for i in range(s.load.size):
            if s.most[0, i] >= c.breaks[i] and (broken < 0 or s.most[0, i] > s.most[0, broken]):
                broken = i
        _worked(s, before, works)
        _look(s, force[row], peaks, s.x[0] >= counted or broken >= 0, t, speed)
        over = broken >= 0 or t >= lasts - 1e-9 or s.x[0] >= until
        if over or ticks % every == 0:
            found[0, row], found[1, row], found[2, row] = t, s.x[0], speed
            row += 1
        if over:
            return found[:, :row], force[:row], peaks, works, shortest, steps, broken


@compiled
def settle(bodies, c, s, lasts, tick, calm):
    """Vehicles under forces that stay, until none moves faster against the others than ``calm`` [m/s]; how long [s]."""
    t, quiet = 0.0, 0.0
    while t < lasts and quiet < 5.0:
        advance(c, s, bodies.inertia, tick, 1.0)
        t += tick
        fastest = 0.0
        for i in range(s.v.size):
            fastest = max(fastest, abs(s.v[i]))
        quiet = quiet + tick if fastest <= calm else 0.0
    return t
