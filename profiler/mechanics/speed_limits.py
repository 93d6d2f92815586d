"""Speed limits as the head end meets them: each holds until the last vehicle is out of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from profiler.mechanics.terrain import Terrain
from profiler.route import SpeedLimit
from profiler.units import FloatArray


@dataclass(frozen=True, eq=False)
class HeadLimit:
    """The limit by head position: ``speed`` (n + 1,) [m/s] before, between and after ``edge`` (n,) [m], inf for none.

    Where two limits meet the lower one holds.
    """

    edge: FloatArray
    speed: FloatArray

    def at(self, head: FloatArray | float) -> FloatArray:
        """The limit for head positions [m]. [m/s]"""
        left, right = (self.speed[np.searchsorted(self.edge, head, side=side)] for side in ("left", "right"))
        return np.asarray(np.minimum(left, right))


def head_limit(limits: Iterable[SpeedLimit], terrain: Terrain, length: float, train_class: str = "") -> HeadLimit:
    """The lowest limit that binds a train, by its head position.

    Parameters
    ----------
    limits : iterable of SpeedLimit
        Slow orders among them, by chainage.
    terrain : Terrain
        The way of travel.
    length : float
        Of the train: a limit holds until its rear end is out of it. [m]
    train_class : str
        Limits of this class bind the train, and those of none.
    """
    binding = [limit for limit in limits if limit.train_class in ("", train_class)]
    ends = np.array([sorted(float(terrain.way_at(x)) for x in (limit.start, limit.end)) for limit in binding])
    ends = ends.reshape(-1, 2) + np.array([0.0, length])
    edge = np.unique(ends)
    if not edge.size:
        return HeadLimit(edge, np.array([np.inf]))
    middle = np.r_[edge[0] - 1, (edge[:-1] + edge[1:]) / 2, edge[-1] + 1]
    inside = (ends[:, 0] <= middle[:, None]) & (middle[:, None] <= ends[:, 1])
    speed = np.array([limit.speed for limit in binding])
    return HeadLimit(edge, np.where(inside, speed, np.inf).min(axis=1))
