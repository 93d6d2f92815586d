"""Least squares on a grid with linear interpolation: matrices as bands."""

from __future__ import annotations

import numpy as np

from profiler.compiling import compiled
from profiler.units import FloatArray


def normal_matrix(index: FloatArray, share: FloatArray, size: int, above: int, weight: float = 1.0) -> FloatArray:
    """Upper banded form (above + 1, size) of w·BᵀB, B the linear interpolation on the grid.

    B takes ``share`` (v,) of the way from grid point ``index`` (v,) to the next one.
    """
    band = np.zeros((above + 1, size))
    np.add.at(band[above], index, weight * (1 - share) ** 2)
    np.add.at(band[above], index + 1, weight * share**2)
    np.add.at(band[above - 1], index + 1, weight * (share * (1 - share)))
    return band


@compiled
def inverse_diagonal(factor: FloatArray) -> FloatArray:
    """Diagonal (n,) of the inverse of UᵀU, U upper banded (3, n) (Takahashi, Fagan and Chin 1973)."""
    n = factor.shape[1]
    out = np.zeros(n)
    next_0, next_1, after_0 = 0.0, 0.0, 0.0  # Z[i+1,i+1], Z[i+1,i+2], Z[i+2,i+2]
    for i in range(n - 1, -1, -1):
        d = factor[2, i]
        u = factor[1, i + 1] / d if i + 1 < n else 0.0
        v = factor[0, i + 2] / d if i + 2 < n else 0.0
        z1 = -u * next_0 - v * next_1
        z2 = -u * next_1 - v * after_0
        z0 = 1 / (d * d) - u * z1 - v * z2
        out[i] = z0
        after_0, next_1, next_0 = next_0, z1, z0
    return out
