"""A place where the crew of one train does something, or should not: always the place of the head end."""

from __future__ import annotations

from dataclasses import dataclass

MARK_KINDS = (
    "straddle",
    "start_hard",
    "do_not_stop",
    "power_off",
    "dynamic_brake",
    "air_step",
    "release",
    "slow_order",
    "slack_in",
    "slack_out",
    "not_held",
)
SLACK_KINDS = ("slack_in", "slack_out")
"""Kinds that tell what happens, no act: they have no number."""


@dataclass(frozen=True)
class Figure:
    """A figure behind a mark: ``name``, ``value`` in SI and its ``unit`` ("N", "m", "m/m", "s", "m/s", "Pa", "")."""

    name: str
    value: float
    unit: str


@dataclass(frozen=True, kw_only=True)
class Mark:
    """One mark for one train and one ``direction`` of travel ("with" or "against" chainage).

    All places are of the head end, by chainage of the route [m], and fall where travel is against chainage.
    ``kind`` is one of `MARK_KINDS`; ``number`` counts in order of travel, from 1, and is 0 for none. ``earliest`` to
    ``latest`` is the window of an act, or the stretch of head positions it is about; ``recommended`` the one place
    within.
    ``quarter``, ``half``, ``three_quarter`` and ``clear`` are the head positions with so much, and all, of the train's
    mass past a landmark, None where there is none. ``value`` in ``unit`` (SI) is the figure to know, ``probability``
    that the mark holds as stated, ``reason`` a code, ``figures`` what else belongs to it.
    """

    number: int
    kind: str
    direction: str
    earliest: float
    recommended: float
    latest: float
    quarter: float | None = None
    half: float | None = None
    three_quarter: float | None = None
    clear: float | None = None
    value: float
    unit: str
    probability: float = 1.0
    reason: str
    figures: tuple[Figure, ...] = ()

    def figure(self, name: str) -> float:
        """The figure of a name; KeyError where there is none."""
        for figure in self.figures:
            if figure.name == name:
                return figure.value
        raise KeyError(name)
