"""What lies between two vehicles: free slack, the draft gears of both, and where a coupling breaks.

The force in a coupling goes by how far it is drawn out or pushed in beyond its free slack. A friction draft gear gives
back less than it takes: unloading is a share of loading, and between the two the force goes evenly with speed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from profiler.cited import Cited
from profiler.errors import InputError
from profiler.mechanics.pull import KNUCKLE_BREAKS
from profiler.train import Train
from profiler.units import FloatArray

Wear = Literal["tight", "usual", "worn"]
SLACK: dict[Wear, Cited] = {
    "tight": Cited(2, "in", "S57"),
    "usual": Cited(6, "in", "S57"),
    "worn": Cited(12, "in", "S57"),
}
"""Free slack of one coupling with automatic couplers: new about 1 in for each car end, worn to 6 in. [m]"""
SCREW_SLACK: dict[Wear, Cited] = {
    "tight": Cited(5, "mm", "choice"),
    "usual": Cited(20, "mm", "choice"),
    "worn": Cited(50, "mm", "choice"),
}
"""The same of a screw coupling, by how far it is screwed up. [m]"""
MOST_SLACK = Cited(0.5, "m", "choice")
"""More is no slack but a mistake. [m]"""


@dataclass(frozen=True, kw_only=True)
class DraftGear:
    """Both gears of one coupling together, alike in draft and in buff.

    Loading: first·x + rising·x², `force` at full `travel`; beyond it `locked`.

    Raises
    ------
    InputError
        If a stiffness is negative, there is no travel, the slack is half a metre and more, or unloading gives more
        than loading.
    """

    slack: Cited
    """All of it, from buff to draft. [m]"""
    travel: Cited
    """Of both gears. [m]"""
    force: Cited
    """Loading, at full travel. [N]"""
    first: Cited = Cited(300, "n_per_mm", "choice")
    """Stiffness as the gear is first touched. [N/m]"""
    locked: Cited = Cited(80_000, "n_per_mm", "mem")
    """Stiffness beyond full travel. [N/m]"""
    unloading: Cited = Cited(0.3, "", "mem")
    """Force of unloading over that of loading: 20 to 40 %. [-]"""
    turning: Cited = Cited(0.02, "m_s", "choice")
    """Speed of the gear from which all of its friction acts. [m/s]"""
    breaks: Cited = KNUCKLE_BREAKS
    """Draft at which the coupling parts. [N]"""

    def __post_init__(self) -> None:
        where = "draft gear"
        for name in ("force", "locked", "travel", "turning", "breaks"):
            if not getattr(self, name) > 0:
                raise InputError(where, f"its {name} is {getattr(self, name):g}", "give one above zero")
        if not 0 <= self.slack < MOST_SLACK:
            raise InputError(where, f"the slack is {self.slack:g} m", f"give 0 to {MOST_SLACK:g} m")
        if not 0 <= self.first <= self.force / self.travel * (1 + 1e-9):
            problem = f"a first stiffness of {self.first:g} N/m makes another one negative"
            raise InputError(where, problem, "give 0 to force over travel")
        if not 0 < self.unloading <= 1:
            raise InputError(where, f"unloading is {self.unloading:g} of loading", "give a share above 0, up to 1")

    @property
    def rising(self) -> float:
        """What the square of the travel is multiplied with. [N/m²]"""
        return max(float((self.force - self.first * self.travel) / self.travel**2), 0.0)

    @property
    def mean(self) -> float:
        """Force of a gear at rest over that of loading: midway between loading and unloading. [-]"""
        return (1 + float(self.unloading)) / 2

    @property
    def stiffest(self) -> float:
        """[N/m]"""
        return max(float(self.locked), float(self.first) + 2 * self.rising * float(self.travel))

    def loading(self, pressed: npt.ArrayLike) -> FloatArray:
        """Force [N] of a gear being loaded, pressed so far beyond the free slack [m]."""
        x = np.maximum(np.asarray(pressed, dtype=float), 0.0)
        within = np.minimum(x, self.travel)
        return np.asarray(within * (self.first + self.rising * within) + self.locked * (x - within))

    def pressed(self, force: npt.ArrayLike) -> FloatArray:
        """How far a gear is pressed [m] by a force at rest [N], of either sign."""
        full = np.abs(np.asarray(force, dtype=float)) / self.mean
        below = np.minimum(full, self.force)
        within = 2 * below / np.maximum(self.first + np.sqrt(self.first**2 + 4 * self.rising * below), 1e-9)
        return np.asarray(within + (full - below) / self.locked)

    def stored(self, pressed: npt.ArrayLike) -> FloatArray:
        """Energy [J] that a gear would give back by its force at rest, pressed so far [m]."""
        x = np.maximum(np.asarray(pressed, dtype=float), 0.0)
        within = np.minimum(x, self.travel)
        beyond = x - within
        inner = within**2 * (self.first / 2 + self.rising * within / 3)
        return np.asarray(self.mean * (inner + beyond * (self.force + self.locked * beyond / 2)))


FRICTION = DraftGear(slack=SLACK["usual"], travel=Cited(2 * 2.93, "in", "S84"), force=Cited(566, "kips", "S84"))
"""Friction draft gears of class M-901E, two of them: the maker's rating travel and reaction; 45,520 ft·lbf each are
0.329 of the product, so that the force rises about as the square of the travel."""
RATED_ENERGY = Cited(45_520, "ft_lbf", "S84")
"""Of one of them. [J]"""
CUSHIONED = replace(
    FRICTION, travel=Cited(2 * 12, "in", "mem"), force=Cited(566, "kips", "choice"), unloading=Cited(0.1, "", "choice")
)
"""End-of-car cushioning at both cars, travel 10 to 15 in each. What goes by its oil and its speed is left out."""
SCREW = DraftGear(
    slack=SCREW_SLACK["usual"],
    travel=Cited(2 * 55, "mm", "choice"),
    force=Cited(850, "kn", "choice"),
    breaks=Cited(850, "kn", "mem"),
)
"""Screw coupling. Side buffers are left out: in buff it is taken to be as it is in draft."""
SIDE_BUFFERS = "Side buffers are left out: a screw coupling is taken to be pushed as it is pulled."


def gears_of(train: Train, wear: Wear = "usual", *, cushioned: bool = False) -> tuple[DraftGear, ...]:
    """What lies behind every vehicle of a train but the last, all in one state of wear.

    Screw couplings where either neighbour has them; ``cushioned``: end-of-car cushioning between cars.
    """
    each = [block.vehicle for block in train.blocks for _ in range(block.count)]
    automatic, screw = replace(FRICTION, slack=SLACK[wear]), replace(SCREW, slack=SCREW_SLACK[wear])
    cars = replace(CUSHIONED, slack=SLACK[wear]) if cushioned else automatic
    return tuple(
        screw if "screw" in (a.coupler, b.coupler) else cars if a.kind == b.kind == "car" else automatic
        for a, b in pairwise(each)
    )
