"""White noise and slow drift whitened together by a scalar Kalman filter."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from profiler.compiling import compiled


@dataclass(frozen=True)
class Noise:
    """How vertices lie about the true line: ``white`` [m]; slow ``drift`` [m] of correlation ``length`` [m]."""

    white: float
    drift: float = 1.0
    length: float = 800.0


class Whitener(NamedTuple):
    """Constants (v,) of the filter; ``excess`` (v,) multiplies the variance of the white noise."""

    gain: Any
    fade: Any
    inverse: Any
    excess: Any


def whitener_for(vertices: int) -> Whitener:
    """Room for so many vertices, none of them far aside."""
    return Whitener(np.zeros(vertices), np.zeros(vertices), np.zeros(vertices), np.ones(vertices))


@compiled
def set_up(filter_, place, white, drift, length):
    """Constants for vertices at places (v,) [m]."""
    p = drift * drift
    for v in range(place.size):
        s = p + white * white * filter_.excess[v]
        filter_.gain[v] = p / s
        filter_.inverse[v] = 1 / math.sqrt(s)
        if v + 1 < place.size:
            f = math.exp(-(place[v + 1] - place[v]) / length)
            filter_.fade[v] = f
            p = f * f * p * (1 - filter_.gain[v]) + drift * drift * (1 - f * f)


@compiled
def whiten(values, filter_):
    """Make values (v,) independent and of variance 1, in place."""
    x = 0.0
    for v in range(values.size):
        e = values[v] - x
        values[v] = e * filter_.inverse[v]
        x = filter_.fade[v] * (x + filter_.gain[v] * e)


@compiled
def excuse(filter_, residual, white, drift):
    """Multiply the noise of vertices beyond 3.5 s.d. so that they are at 3.5."""
    for v in range(residual.size):
        beyond = residual[v] ** 2 / (12.25 * (white * white + drift * drift))
        filter_.excess[v] = max(1.0, beyond * (1 + drift * drift / (white * white)))
