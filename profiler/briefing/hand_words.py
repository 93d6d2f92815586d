"""Whether a slower hand, planned for from the beginning, keeps couplings whole, in words."""

from __future__ import annotations

from profiler.briefing.plan import Briefing
from profiler.handling.hands import Hand


def hand_words(briefing: Briefing) -> list[str]:
    """One sentence where the plan breaks couplings: how many, and how many if it is made for a slower hand."""
    if not briefing.hands:
        return []
    own, *slower = briefing.hands
    said = [f"{own.notch_time:g} s from notch to notch, as here, breaks a coupling {_where(own)}"]
    said += [f"{hand.notch_time:g} s {_where(hand)}{_stalls(hand, own)}" for hand in slower]
    return [f"planned for a slower hand (notch_seconds in the train file): {'; '.join(said)}"]


def _where(hand: Hand) -> str:
    """ "at 1 of 9 places with usual slack, at 3 with worn slack"."""
    found = [(wear, count) for wear, count in hand.breaks.items() if count]
    if not found:
        return "nowhere"
    (wear, count), *others = found
    said = [f"at {count} of {hand.places} places with {wear} slack"]
    return ", ".join([*said, *(f"at {count} with {wear}" for wear, count in others)])


def _stalls(hand: Hand, own: Hand) -> str:
    """ ", but stalls at 1 place more": what a slower hand may cost."""
    more = hand.stalls - own.stalls
    if more <= 0:
        return ""
    return f", but stalls at {more} place{'s' if more > 1 else ''} more"
