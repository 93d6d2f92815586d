"""The compiled loops of motion: a train followed in time, and traced back from where it must be slow."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from profiler.cited import Cited
from profiler.compiling import compiled
from profiler.units import FloatArray

NOTCH, HOLD, SHARE, AIR = range(4)
"""What an act sets: the throttle, the speed to be held [m/s], the share of the dynamic brake, air brake force [N]."""
FREE = 1e12
"""Stands for no bound, of a speed [m/s] or a force [N]: between tabled values infinity is not a number."""
CORRECTS = Cited(20, "seconds", "choice")
"""A speed held is approached as fast as if it were to be reached in this time. [s]"""
_CORRECTS = float(CORRECTS)


class Course(NamedTuple):
    """A train on a line, tabled for the loops: places evenly from ``first`` on, speeds evenly from 0 on."""

    first: float
    """[m]"""
    step: float
    """From place to place. [m]"""
    weight: FloatArray
    """Along the track, + holding back. [N], shape (p,)"""
    bend: FloatArray
    """Curve resistance of the moving train. [N], shape (p,)"""
    resistance: FloatArray
    """A, B, C of A + B·v + C·v². shape (3,)"""
    breakaway: float
    """What holds the train at rest on level straight track. [N]"""
    bend_start: float
    """How many times curves count at rest. [-]"""
    mass: float
    """Rotating parts included. [kg]"""
    speed_step: float
    """From speed to speed. [m/s]"""
    effort: FloatArray
    """Of each group of power in each notch, idle first. [N], shape (groups, notches, k)"""
    room: FloatArray
    """Most that each group may pull with for its coupler's sake. [N], shape (groups, p)"""
    dynamic: FloatArray
    """All of the dynamic brake of each group. [N], shape (groups, k)"""
    push: FloatArray
    """Most that each group may hold back with for its coupler's sake. [N], shape (groups, p)"""
    friction: FloatArray
    """Force of the air brake over what it is reckoned with. [-], shape (k,)"""
    hold: FloatArray
    """Highest speed that is held, where one is held; `FREE` for none. [m/s], shape (p,)"""
    limit: FloatArray
    """What `extremes` measures the highest speed by. [m/s], shape (p,)"""
    floor: FloatArray
    """What it measures the least speed by. [m/s], shape (p,)"""


class Acts(NamedTuple):
    """What the crew does, in order of place: each begins as the head passes it and runs by its own clock."""

    place: FloatArray
    """[m], shape (m,)"""
    kind: FloatArray
    """`NOTCH`, `HOLD`, `SHARE` or `AIR`. shape (m,)"""
    step: FloatArray
    """From value to value. [s], shape (m,)"""
    value: FloatArray
    """Over time since the place; the last one stays. shape (m, n)"""
    over: FloatArray
    """Instead of at its place an act begins when the speed is so far above the one held; infinite for by place.
    [m/s], shape (m,)"""


@compiled
def between(table, first, step, at):
    """A value of an evenly spaced table, its ends going on level."""
    place = min(max((at - first) / step, 0.0), table.size - 1.0)
    i = min(int(place), table.size - 2)
    return table[i] + (place - i) * (table[i + 1] - table[i])


@compiled
def pull_at(course, notch, x, v):
    """Effort of all groups in a notch, or between two. [N]"""
    lower = int(notch)
    more, total = notch - lower, 0.0
    for g in range(course.effort.shape[0]):
        effort = between(course.effort[g, lower], 0.0, course.speed_step, v)
        if more > 0:
            effort += more * (between(course.effort[g, lower + 1], 0.0, course.speed_step, v) - effort)
        total += min(effort, between(course.room[g], course.first, course.step, x))
    return total


@compiled
def _group_pull(course, g, notch, x, v):
    """Effort of one group in a whole notch. [N]"""
    effort = between(course.effort[g, notch], 0.0, course.speed_step, v)
    return min(effort, between(course.room[g], course.first, course.step, x))


@compiled
def _group_hold(course, g, x, v):
    """All of the dynamic brake of one group. [N]"""
    effort = between(course.dynamic[g], 0.0, course.speed_step, v)
    return min(effort, between(course.push[g], course.first, course.step, x))


@compiled
def over_groups(course, effort, dynamic, x, v, pulled, held):
    """The effort and the dynamic brake of a train [N] over its groups, written into (groups,) each.

    All groups are in one notch, or as far between two; of the dynamic brake each gives the same share of what it may.
    """
    groups, notches = course.effort.shape[0], course.effort.shape[1]
    above, low, high = 0, 0.0, 0.0
    while above < notches - 1 and (above == 0 or high < effort):
        above, low, high = above + 1, high, 0.0
        for g in range(groups):
            high += _group_pull(course, g, above, x, v)
    part = (effort - low) / (high - low) if high > low else 0.0
    whole = hold_back_at(course, x, v)
    share = dynamic / whole if whole > 0 else 0.0
    for g in range(groups):
        less = _group_pull(course, g, above - 1, x, v)
        pulled[g] = less + part * (_group_pull(course, g, above, x, v) - less)
        held[g] = share * _group_hold(course, g, x, v)


@compiled
def each_over_groups(course, effort, dynamic, x, v):
    """The same at instants (t,) each; two arrays (groups, t)."""
    groups = course.effort.shape[0]
    pulled, held = np.empty((effort.size, groups)), np.empty((effort.size, groups))
    for i in range(effort.size):
        over_groups(course, effort[i], dynamic[i], x[i], v[i], pulled[i], held[i])
    return pulled.T, held.T


@compiled
def hold_back_at(course, x, v):
    """All of the dynamic brake of all groups. [N]"""
    total = 0.0
    for g in range(course.dynamic.shape[0]):
        total += _group_hold(course, g, x, v)
    return total


@compiled
def _set(acts, i, begun, t):
    """What an act sets at a time."""
    return between(acts.value[i], begun[i], acts.step[i], t)


@compiled
def _held(course, hold, x, v):
    """Speed to be held at a place [m/s], and how fast it changes on the way [m/s²]."""
    here = between(course.hold, course.first, course.step, x)
    if here >= hold:
        return hold, 0.0
    ahead = between(course.hold, course.first, course.step, x + course.step)
    return here, (min(ahead, hold) - here) / course.step * v


@compiled
def told_to_hold(acts, latest, begun, t):
    """Speed that the act in force says to hold [m/s], NaN for none."""
    return _set(acts, latest[HOLD], begun, t) if latest[HOLD] >= 0 else np.nan


@compiled
def forces_at(course, acts, begun, latest, t, x, v):
    """Acceleration [m/s²], then effort, dynamic, air, rolling and curve resistance, weight [N], at an instant.

    ``latest``: the act in force of each kind but `AIR`, -1 for none.
    """
    weight = between(course.weight, course.first, course.step, x)
    bend = between(course.bend, course.first, course.step, x)
    fast = abs(v)
    rolling = course.resistance[0] + fast * (course.resistance[1] + fast * course.resistance[2])
    notch = _set(acts, latest[NOTCH], begun, t) if latest[NOTCH] >= 0 else 0.0
    hold = told_to_hold(acts, latest, begun, t)
    share = _set(acts, latest[SHARE], begun, t) if latest[SHARE] >= 0 else 0.0
    air = 0.0
    for i in range(acts.kind.size):
        if acts.kind[i] == AIR and begun[i] == begun[i]:
            air += _set(acts, i, begun, t)
    if air != 0.0:
        air *= between(course.friction, 0.0, course.speed_step, fast)
    effort = pull_at(course, notch, x, fast) if notch > 0 else 0.0
    dynamic = share * hold_back_at(course, x, fast) if share > 0 else 0.0
    if hold == hold:  # no speed to be held is not a number
        target, change = _held(course, hold, x, v)
        wanted = weight + bend + rolling + course.mass * (change + (target - v) / _CORRECTS)
        effort = min(max(wanted, 0.0), effort)
        dynamic = min(max(-wanted - air, 0.0), dynamic)
    drive, back = effort - weight, bend + dynamic + air
    if v > 0:
        a = (drive - rolling - back) / course.mass
    elif v < 0:
        a = (drive + rolling + back) / course.mass
    else:
        held = course.breakaway + course.bend_start * bend + dynamic + air
        a = (drive - held) / course.mass if drive > held else (drive + held) / course.mass if -drive > held else 0.0
    return a, effort, dynamic, air, rolling, bend, weight


@compiled
def _heun(course, acts, begun, latest, t, x, v, dt, now):
    """Place and speed a step later, how long it moved, and the forces met there."""
    guess = v + now[0] * dt
    if guess * v < 0:
        guess = 0.0
    then = forces_at(course, acts, begun, latest, t + dt, x + v * dt, guess)
    speed, moving = v + (now[0] + then[0]) / 2 * dt, dt
    if v * speed < 0:  # it comes to rest within the step
        moving = v / (v - speed) * dt
        speed = 0.0
    return x + (v + speed) / 2 * moving, speed, moving, then


@compiled
def begin(acts, i, begun, latest, t):
    """An act begins."""
    begun[i] = t
    if acts.kind[i] != AIR:
        latest[int(acts.kind[i])] = i


@compiled
def begin_passed(acts, passed, begun, latest, t, x):
    """Acts begin whose place is passed; of all, so many have then."""
    while passed < acts.place.size and acts.place[passed] <= x + 1e-9:
        begin(acts, passed, begun, latest, t)
        passed += 1
    return passed


@compiled
def begin_over(course, acts, begun, latest, t, x, v):
    """Acts begin that wait for the speed to be above the one held."""
    if latest[HOLD] < 0:
        return
    target, _ = _held(course, _set(acts, latest[HOLD], begun, t), x, v)
    for i in range(acts.kind.size):
        if begun[i] != begun[i] and v > target + acts.over[i]:
            begin(acts, i, begun, latest, t)


@compiled
def _step(course, acts, begun, latest, t, x, v, dt, target, now):
    """The same as `_heun`, no farther than ``target`` [m]; last the time the step takes [s]."""
    new, speed, moving, then = _heun(course, acts, begun, latest, t, x, v, dt, now)
    if new > target:  # the step again, as long as it takes to get there
        way, a = target - x, (speed - v) / dt
        dt = min(dt, 2 * way / (v + np.sqrt(max(v * v + 2 * a * way, 0.0))))
        _, speed, moving, then = _heun(course, acts, begun, latest, t, x, v, dt, now)
        new = target
    return new, speed, moving, then, dt


@compiled
def integrate(course, acts, x, v, dt, lasts, until, to_rest):
    """A train followed in time by Heun's method.

    From place ``x`` [m] and speed ``v`` [m/s], + ahead, in steps ``dt`` [s], for ``lasts`` [s] or until its head
    reaches ``until`` [m], or, if ``to_rest``, comes to rest after it moved, or would roll back. A step ends where an
    act begins by its place. Returns (6, t): time [s], place [m], speed [m/s], effort, dynamic brake, air brake [N];
    (5,): work of effort, dynamic, air, rolling and curves [J]; (m,): when each act began [s], NaN for never.
    """
    count = acts.place.size
    found = np.empty((6, int(np.ceil(lasts / dt)) + count + 2))
    spent, begun, latest = np.zeros(5), np.full(count, np.nan), np.full(3, -1)
    waits = np.isfinite(acts.over).any()
    start, t, i, passed = x, 0.0, 0, 0
    while True:
        passed = begin_passed(acts, passed, begun, latest, t, x)
        if waits:
            begin_over(course, acts, begun, latest, t, x, v)
        now = forces_at(course, acts, begun, latest, t, x, v)
        found[0, i], found[1, i], found[2, i] = t, x, v
        found[3, i], found[4, i], found[5, i] = now[1], now[2], now[3]
        if t >= lasts - 1e-9 or x >= until - 1e-9 or i + 1 == found.shape[1]:
            break
        if to_rest and v == 0 and (now[0] < 0 or (now[0] == 0 and x != start)):
            break
        step = min(dt, lasts - t)
        target = min(acts.place[passed], until) if passed < count else until
        new, speed, moving, then, step = _step(course, acts, begun, latest, t, x, v, step, target, now)
        for k in range(5):
            sign = 1.0 if k == 0 else np.sign(new - x)
            spent[k] += (now[k + 1] + then[k + 1]) / 2 * (new - x) * sign
        t += moving if to_rest and speed == 0 else step
        x, v, i = new, speed, i + 1
    return found[:, : i + 1], spent, begun


@compiled
def extremes(course, acts, since, x, v, dt, lasts, until, beyond):
    """The same train ahead only, of which nothing is kept but its extremes; ends too where it comes to rest.

    ``since`` (m,) is when each act began, before now [s], NaN for not yet; those that have, are the first. It ends as
    soon as the speed is more than ``beyond`` [m/s] above the limit of the course. Returns how far the speed was above
    the limit at most, negative for below, and above the floor at least [m/s]; where [m] it ended, and how fast [m/s];
    and (m,) when each act began, before then.
    """
    count = acts.place.size
    begun, latest = since.copy(), np.full(3, -1)
    passed = 0
    while passed < count and begun[passed] == begun[passed]:
        begin(acts, passed, begun, latest, begun[passed])
        passed += 1
    waits = np.isfinite(acts.over).any()
    t, over, least = 0.0, -np.inf, np.inf
    while True:
        passed = begin_passed(acts, passed, begun, latest, t, x)
        if waits:
            begin_over(course, acts, begun, latest, t, x, v)
        over = max(over, v - between(course.limit, course.first, course.step, x))
        least = min(least, v - between(course.floor, course.first, course.step, x))
        if over > beyond or v <= 0 or t >= lasts or x >= until - 1e-9:
            return over, least, x, v, begun - t
        now = forces_at(course, acts, begun, latest, t, x, v)
        target = min(acts.place[passed], until) if passed < count else until
        new, speed, _, _, step = _step(course, acts, begun, latest, t, x, v, dt, target, now)
        t, x, v = t + step, new, speed


@compiled
def trace_back(course, x, v, fastest, share, air, dt, farthest):
    """Place [m] and speed [m/s] (2, t) of a train that is at ``x`` with ``v``, back in time until it had ``fastest``.

    ``share`` of the dynamic brake is in use, and ``air`` (k,) [N] over speed. The trace ends before ``fastest`` where
    nothing slows the train, or at ``farthest`` [m] back.
    """
    found = [(x, v)]
    start = x
    while v < fastest and start - x < farthest:
        a = _retards(course, x, v, share, air)
        b = _retards(course, x - v * dt, v + a * dt, share, air)
        if a <= 0 or b <= 0:
            break
        gain = (a + b) / 2
        step = min(dt, (fastest - v) / gain)
        x -= v * step + gain / 2 * step * step
        v = fastest if step < dt else v + gain * step
        found.append((x, v))
    return np.array(found).T


@compiled
def _retards(course, x, v, share, air):
    """How fast a coasting train loses speed under its brakes. [m/s²]"""
    rolling = course.resistance[0] + v * (course.resistance[1] + v * course.resistance[2])
    force = rolling + between(course.weight, course.first, course.step, x)
    force += between(course.bend, course.first, course.step, x) + between(air, 0.0, course.speed_step, v)
    return (force + share * hold_back_at(course, x, v)) / course.mass
