"""What a given effort hauls, and how fast: masses in kg, efforts in N, grades and resistances over weight."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from profiler.errors import InputError
from profiler.units import GRAVITY, FloatArray


def hauled_mass(effort: float, *, grade: float, resistance: float) -> float:
    """Mass [kg], locomotives included, that an effort [N] balances on a compensated grade [m/m].

    T = TE/(g·(G + r)), r the running resistance over weight [-]; 20 lbf per short ton is 0.01.

    Raises
    ------
    InputError
        If the train would run by itself: G + r is not above zero.
    """
    if grade + resistance <= 0:
        raise InputError("grade", f"{grade:g} with {resistance:g} of resistance needs no effort", "give a steeper one")
    return effort / (GRAVITY * (grade + resistance))


def balanced_grade(effort: float, *, mass: float, resistance: float) -> float:
    """Compensated grade [m/m] on which an effort [N] balances a mass [kg], r the resistance over weight [-]."""
    return effort / (GRAVITY * mass) - resistance


def units_needed(need: float, *, effort: float, own_need: float = 0.0) -> float:
    """Units, whole or not, whose effort [N], less what each takes for itself [N], meets a need [N]; inf if none do."""
    return need / (effort - own_need) if effort > own_need else math.inf


def balancing_speed(
    effort: Callable[[FloatArray], npt.ArrayLike],
    need: Callable[[FloatArray], npt.ArrayLike],
    *,
    fastest: npt.ArrayLike,
) -> FloatArray:
    """Speed [m/s] at which an effort [N] over speed no longer exceeds the need [N]; any shape, as they give it;
    ``fastest`` [m/s] broadcasts to it.

    The lowest crossing: effort that falls and need that rises with speed have one. 0 where the train does
    not start, `fastest` where the effort exceeds the need up to there.
    """

    def gains(speed: FloatArray) -> FloatArray:
        return np.asarray(np.asarray(effort(speed)) > np.asarray(need(speed)))

    starts = gains(np.zeros(()))
    low, high = np.zeros(starts.shape), np.full(starts.shape, fastest)
    runs = gains(high)
    while (high - low).max() > 1e-6:
        middle = (low + high) / 2
        gaining = gains(middle)
        low, high = np.where(gaining, middle, low), np.where(gaining, high, middle)
    return np.where(starts, np.where(runs, fastest, (low + high) / 2), 0.0)
