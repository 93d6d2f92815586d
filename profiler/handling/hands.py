"""How many couplings a plan breaks, by how fast its crew goes from notch to notch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from profiler.cited import Cited
from profiler.handling.felt import Felt
from profiler.mechanics.draft_gear import SLACK, Wear

SLOWER_HANDS = Cited(2, "", "choice"), Cited(3, "", "choice")
"""Plans are made again with so many times the time from notch to notch. [-]"""


@dataclass(frozen=True, kw_only=True)
class Hand:
    """A plan made for a crew that takes ``notch_time`` [s] from notch to notch.

    ``places`` are its marked places, starts left out; ``breaks`` in how many of them a coupling breaks, by state of
    wear; ``stalls`` at how many places it stalls.
    """

    notch_time: float
    places: int
    breaks: dict[Wear, int]
    stalls: int

    @property
    def whole(self) -> bool:
        """Whether no coupling breaks in any state of wear."""
        return not any(self.breaks.values())


def hand_of(notch_time: float, felt: Sequence[Felt], stalls: int) -> Hand:
    """What is felt in the planned events of a plan, counted; other ways of handling are passed over, and starts, which
    go by what the train does and not by a clock."""
    its = [one for one in felt if one.event.way == "planned" and one.event.kind != "start"]
    return Hand(
        notch_time=notch_time,
        places=len({id(one.event) for one in its}),
        breaks={wear: sum(one.breaks for one in its if one.wear == wear) for wear in SLACK},
        stalls=stalls,
    )
