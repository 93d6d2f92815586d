"""What a pull in the couplers does in a curve: it draws cars to the inside, a push drives them out."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from profiler.units import GRAVITY, FloatArray


def lateral_force(force: npt.ArrayLike, length: npt.ArrayLike, curvature: npt.ArrayLike) -> FloatArray:
    """Lateral force [N] of the couplers on a vehicle in a curve, + inward, of draft (+) or buff (-) [N].

    F·L/R, the angles of both couplers together; ``length`` [m] of the vehicle over its couplers, ``curvature`` [1/m].
    Statics, both neighbours alike and in the same curve; half of it is on each truck.
    """
    return np.asarray(np.asarray(force, dtype=float) * length * np.abs(curvature))


def lateral_over_vertical(
    force: npt.ArrayLike, length: npt.ArrayLike, curvature: npt.ArrayLike, mass: npt.ArrayLike
) -> FloatArray:
    """Lateral over vertical force [-] of a truck by the couplers alone, both trucks loaded alike; mass [kg]."""
    return np.abs(lateral_force(force, length, curvature)) / (GRAVITY * np.asarray(mass, dtype=float))
