"""Effort above the continuous one: how long a climb asks for what heat allows for minutes only."""

from __future__ import annotations

import numpy as np

from profiler.mechanics.places import balancing_speeds, holding_back
from profiler.mechanics.terrain import Terrain
from profiler.mechanics.traction import short_time
from profiler.train import Train
from profiler.units import FloatArray


def short_time_spent(terrain: Terrain, train: Train, head: FloatArray) -> FloatArray:
    """Time in short-time effort on the stretch in which each head position lies.

    Parameters
    ----------
    terrain : Terrain
    train : Train
    head : ndarray, shape (h,)
        Head positions by distance travelled, rising, from end to end of the line. [m]

    Returns
    -------
    ndarray, shape (h,)
        0 where no unit works below its continuous speed, infinite where the train stalls on the stretch. [s]

    Notes
    -----
    At the balancing speed of each place under full power: what a train brings along from the foot of a climb makes it
    less. Stretches closer together than the train is long are one, farther apart motors count as cooled.
    """
    spent = np.zeros(head.size)
    speed = balancing_speeds(train, holding_back(terrain, train, head))
    hot = np.flatnonzero(np.any([short_time(b.vehicle, speed) for b in train.blocks if b.working], axis=0))
    if hot.size == 0:
        return spent
    took = np.divide(np.gradient(head), speed, out=np.full(head.size, np.inf), where=speed > 0)
    apart = np.flatnonzero(np.diff(head[hot]) > train.length) + 1
    for stretch in np.split(hot, apart):
        spent[stretch] = took[stretch].sum()
    return spent


def allowed(train: Train, spent: FloatArray) -> FloatArray:
    """Where the train file allows a time [s] in short-time effort, and there is some. bool, shape of ``spent``"""
    return np.asarray((spent > 0) & (spent <= train.handling.short_time))
