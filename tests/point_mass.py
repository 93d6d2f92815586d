"""A single mass on a line: the course of a train without length, for laws and worked examples of motion."""

from __future__ import annotations

import numpy as np

from profiler.mechanics.motion import FREE, Course
from profiler.units import FloatArray


def point_mass(
    weight: float | FloatArray,
    mass: float,
    *,
    first: float = 0.0,
    step: float = 1.0,
    resistance: float = 0.0,
    breakaway: float = 0.0,
    bend_start: float = 1.0,
    pull: float = 0.0,
) -> Course:
    """A mass [kg] held back by its weight along the track [N], one, or one at each place; one notch, no brakes."""
    table = np.atleast_1d(np.asarray(weight, dtype=float)) * np.ones(2 if np.ndim(weight) == 0 else 1)
    no, free = np.zeros(table.size), np.full(table.size, FREE)
    return Course(
        first=first,
        step=step,
        weight=table,
        bend=no,
        resistance=np.array([resistance, 0.0, 0.0]),
        breakaway=breakaway,
        bend_start=bend_start,
        mass=mass,
        speed_step=1.0,
        effort=np.array([[[0.0, 0.0], [pull, pull]]]),
        room=free[None],
        dynamic=np.zeros((1, 2)),
        push=free[None],
        friction=np.ones(2),
        hold=free,
        limit=free,
        floor=no,
    )
