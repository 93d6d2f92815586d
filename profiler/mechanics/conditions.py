"""What nobody knows well about a train on the day: how shoes grip, how it rolls, how far curves help."""

from __future__ import annotations

from dataclasses import dataclass

from profiler.cited import Cited

SHOES_LOW, SHOES_HIGH = Cited(0.7, "", "prac"), Cited(1.3, "", "prac")
"""Shoe friction over nominal, at worst and at best. [-]"""
ROLLING_LOW, ROLLING_HIGH = Cited(0.85, "", "choice"), Cited(1.15, "", "choice")
"""Running resistance over nominal. [-]"""


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """Factors on nominal figures."""

    shoes: float = 1.0
    """Shoe friction. [-]"""
    rolling: float = 1.0
    """Resistance on level straight track. [-]"""
    curves: float = 1.0
    """Curve resistance of the moving train. [-]"""
    low: bool = False
    """Whether a direct brake's cylinders have the low case of pressure, as in `air.cylinder_pressure`."""


NOMINAL = Conditions()
"""Every figure as it is."""
WEAK = Conditions(shoes=float(SHOES_LOW), rolling=float(ROLLING_LOW))
"""Weak shoes under a train that rolls well: the worst for a descent."""
STRONG = Conditions(shoes=float(SHOES_HIGH), rolling=float(ROLLING_HIGH))
"""Strong shoes under a train that rolls badly: the soonest to be stopped by its brakes."""
EVERY = (NOMINAL, WEAK, STRONG)
