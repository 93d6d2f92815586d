"""What is drawn of an event that couplers feel: forces in time since its act began, and how far wear takes them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from profiler.briefing.felt_words import Handled
from profiler.briefing.sudden import after_place
from profiler.handling.felt import Felt
from profiler.units import FloatArray

_BEFORE = 10.0
"""Shown before the act begins. [s]"""


@dataclass(frozen=True, eq=False)
class Shown:
    """An event as drawn: ``time`` (t,) since its place [s], force (t, v - 1) [N], and the largest pull and push of any
    state of wear (t,) [N]."""

    of: Handled
    time: FloatArray
    force: FloatArray
    most_pull: FloatArray
    most_push: FloatArray

    @property
    def felt(self) -> Felt:
        """In the state of wear that stands for all."""
        return self.of.shown

    @property
    def lasts(self) -> float:
        """[s]"""
        return float(self.time[-1] - self.time[0])


def shown_of(one: Handled) -> Shown:
    """An event in which the train comes to its place."""
    felt = one.shown
    time = _since(felt)
    on = time >= -_BEFORE
    time, force = time[on], felt.forces.force[on]
    pulls, pushes = [], []
    for each in one.by_wear:
        its = _since(each)
        if np.isfinite(its[0]):  # else it parted before
            pull, push = largest_of(each.forces.force)
            pulls.append(np.interp(time, its, pull, right=0.0))
            pushes.append(np.interp(time, its, push, right=0.0))
    return Shown(one, time, force, np.max(pulls, axis=0), np.max(pushes, axis=0))


def _since(felt: Felt) -> FloatArray:
    """Time since the act began. [s]"""
    return felt.forces.time + after_place(felt, 0.0)


def largest_of(force: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The largest pull and push (t,) of forces (t, n). [N]"""
    return np.maximum(force.max(axis=1), 0.0), np.maximum(-force.min(axis=1), 0.0)


def some_couplings(count: int, most: int) -> list[int]:
    """Some couplings evenly along the train, counted from 0."""
    return sorted({int((i + 0.5) / most * count) for i in range(most)})
