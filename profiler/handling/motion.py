"""The compiled loop of a start: the train's motion in time, friction that holds it included."""

from __future__ import annotations

import numpy as np

from profiler.compiling import compiled


@compiled
def _between(table, first, step, at):
    """A value of an evenly spaced table, its ends going on level."""
    place = min(max((at - first) / step, 0.0), table.size - 1.0)
    i = min(int(place), table.size - 2)
    return table[i] + (place - i) * (table[i + 1] - table[i])


@compiled
def _acceleration(x, v, effort, speed_step, brake, weight, bend, first, step, resistance, breakaway, bend_start, mass):
    """Acceleration [m/s²] at a place x [m] and speed v [m/s]; at rest, friction holds what it can."""
    drive = _between(effort, 0.0, speed_step, abs(v)) - _between(weight, first, step, x)
    curve = _between(bend, first, step, x)
    rolling = resistance[0] + abs(v) * (resistance[1] + abs(v) * resistance[2])
    if v > 0:
        return (drive - rolling - curve - brake) / mass
    if v < 0:
        return (drive + rolling + curve + brake) / mass
    held = breakaway + bend_start * curve + brake
    return (drive - held) / mass if drive > held else (drive + held) / mass if -drive > held else 0.0


@compiled
def integrate(dt, notch, brake, effort, speed_step, weight, bend, first, step, resistance, breakaway, bend_start, mass):
    """Place (t,) [m] from where the train stood and speed (t,) [m/s], + ahead, by Heun's method.

    ``notch`` (t,) and ``brake`` (t,) [N] at every step of ``dt`` [s]; ``effort`` (notches, k) [N] over speeds
    ``speed_step`` apart; ``weight``, ``bend`` (p,) [N] over places from ``first`` on, ``step`` apart;
    ``resistance`` (3,) of the moving train; at rest ``breakaway`` [N], and curves count ``bend_start`` times.
    """
    x, v = np.zeros(notch.size), np.zeros(notch.size)
    for i in range(notch.size - 1):
        a = _acceleration(
            x[i], v[i], effort[notch[i]], speed_step, brake[i], weight, bend, first, step, resistance, breakaway,
            bend_start, mass,
        )  # fmt: skip
        guess = v[i] + a * dt
        if guess * v[i] < 0:
            guess = 0.0
        b = _acceleration(
            x[i] + v[i] * dt, guess, effort[notch[i + 1]], speed_step, brake[i + 1], weight, bend, first, step,
            resistance, breakaway, bend_start, mass,
        )  # fmt: skip
        v[i + 1] = v[i] + (a + b) / 2 * dt
        moving = 1.0
        if v[i] * v[i + 1] < 0:  # it comes to rest within the step
            moving = v[i] / (v[i] - v[i + 1])
            v[i + 1] = 0.0
        x[i + 1] = x[i] + (v[i] + v[i + 1]) / 2 * moving * dt
    return x, v
