"""Which elements follow each other: a switching Kalman filter with a beam of hypotheses.

The kind of element is a hidden state. Every hypothesis about the past is one sequence of elements, and
given the sequence the geometry is linear and Gaussian: the state (offset, heading, curvature, rate of
curvature) against a pilot line of curvature κ0 obeys δ' = ψ, ψ' = κ − κ0 − κ0²·δ, κ' = ρ, and a vertex
shows δ. So a Kalman filter scores every hypothesis exactly, and the best of them is traced back.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from profiler.alignment.beam import AGAIN, KINK, Prior, empty_beam, walk
from profiler.alignment.elements import CELL, SPIRAL_BASE, SPIRAL_RATE
from profiler.units import FloatArray


@dataclass(frozen=True)
class Habits:
    """How railways are laid out: prior of the sequence of elements.

    ``tangent`` and ``circle`` are mean lengths [m]; spirals are about ``spiral`` × (60 + 14 m a degree)
    long, log-normal with s.d. ``spread``; a share ``direct`` of curves has no spirals and a share
    ``compound`` of circles goes on into another. Once in ``kink`` [m] the drawn line has a corner.
    """

    tangent: float = 900.0
    circle: float = 250.0
    spiral: float = 1.0
    spread: float = 0.4
    direct: float = 0.04
    compound: float = 0.08
    kink: float = 25_000.0


class Search(NamedTuple):
    """How widely the sequence of elements is looked for.

    So many hypotheses are kept at a node (``beam``), and none less likely than the best by e to ``cut``.
    """

    beam: int
    cut: float


def element_sequence(
    curvature: FloatArray,
    place: FloatArray,
    offset: FloatArray,
    noise: float,
    drift_rate: float,
    habits: Habits,
    search: Search,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The likeliest kinds of element along a line.

    Parameters
    ----------
    curvature : ndarray, shape (k + 1,)
        Of the pilot line at nodes every `CELL`. [1/m]
    place, offset : ndarray, shape (v,)
        Vertices by distance along the pilot, increasing, and how far left of it. [m]
    noise : float
        S.d. of a vertex. [m]
    drift_rate : float
        Growth of the variance of slow drift. [m²/m]
    habits : Habits
        Prior.
    search : Search

    Returns
    -------
    kind : ndarray of int8, shape (k,)
    kink : ndarray of bool, shape (k,)
        Cells at whose beginning the drawn line has a corner.
    again : ndarray of bool, shape (k,)
        Cells that are read as if the line began there: what came before had lost it.
    """
    cells = curvature.size - 1
    cell = np.clip((place / CELL).astype(np.int64), 0, cells - 1)
    first = np.searchsorted(cell, np.arange(cells + 1))
    prior = Prior(
        habits.tangent,
        habits.circle,
        SPIRAL_BASE * habits.spiral,
        SPIRAL_RATE * habits.spiral,
        habits.spiral,
        habits.spread,
        habits.direct,
        habits.compound,
        math.log(CELL / habits.kink),
        320.0 * max(habits.spiral, 1.0),
        search.cut,
    )
    ahead = place - cell * CELL
    beams = empty_beam(search.beam), empty_beam(search.beam * 5 + 16)
    path = walk(*beams, curvature, first, ahead, offset, noise**2, drift_rate, prior)
    return path % KINK, (path & KINK) > 0, np.r_[False, path[:-1] >= AGAIN]
