"""Forces in a train run by plan, in words: the largest pull and push, what they do in curves, make-up to look at.

Steady forces of gradual handling, by statics: where to look in a train and on a line, not whether a wheel climbs.
"""

from __future__ import annotations

from collections.abc import Iterator

from profiler import wording
from profiler.briefing.plan import Briefing
from profiler.briefing.words import place_words, vehicle_words
from profiler.cited import SOURCES, TAGS, Cited
from profiler.mechanics.curving import ROLLOVER, ROLLOVER_ONSET, WHEEL_CLIMB, Side, Worst
from profiler.mechanics.in_train import Extreme
from profiler.mechanics.make_up import MakeUpWarning
from profiler.train_words import force_text, mass_text

STEADY = "steady forces of gradual handling; slack that runs and sudden acts come on top"
TELLING = 0.1
"""Lateral over vertical force below which, all on one rail, a curve is not told. [-]"""
_MAKE_UP = {
    "long_beside_short": ("a long car beside a short one in the head part", SOURCES["S60"]),
    "empties_behind_power": ("an empty car next behind the head power with loads behind", TAGS["prac"]),
}
"""What stands badly, and who says so."""
SIDES: tuple[Side, ...] = ("inward", "outward")


def force_lines(briefing: Briefing) -> list[str]:
    """The largest pull and push of the run by plan, the worst in curves, and the order of the cars."""
    return [*_largest(briefing), *_in_curves(briefing), *make_up_lines(briefing)]


def largest_forces(briefing: Briefing) -> list[tuple[str, Extreme, Cited]]:
    """The largest pull and push of the run by plan where there is any, each with the train's limit [N]."""
    forces, limits = briefing.forces, briefing.train.limits
    if not forces.force.size:
        return []
    both = (("pull", forces.draft, limits.draft), ("push", forces.buff, limits.buff))
    return [(name, most, limit) for name, most, limit in both if most.force > 0]


def over_words(most: Extreme, limit: float, units: str) -> str:
    """ ", 23 kips over its limit": nothing within it [N]."""
    if most.force <= limit:
        return ""
    over = force_text(most.force - limit, units)
    return ", just over its limit" if over.startswith("0 ") else f", {over} over its limit"


def _largest(briefing: Briefing) -> Iterator[str]:
    train, units = briefing.train, briefing.profile.units
    said = []
    for name, most, limit in largest_forces(briefing):
        where = f"behind {vehicle_words(train, most.vehicle)}, head at {place_words(briefing, most.head)}"
        said.append(f"largest {name} {force_text(most.force, units)} {where}{over_words(most, limit, units)}")
    if said:
        yield f"run by plan: {'; '.join(said)} ({STEADY})"


def curves_told(briefing: Briefing) -> list[Worst]:
    """The worst vehicle of both sides, drawn in and driven out, where that is worth telling."""
    found = [briefing.in_curves.worst(side) for side in SIDES]
    return [one for one in found if one is not None and one.one_rail >= TELLING]


def _in_curves(briefing: Briefing) -> Iterator[str]:
    """`yardstick_words` says what others hold against it."""
    if told := curves_told(briefing):
        yield f"in curves, by couplers alone: {'; '.join(_worst(briefing, one) for one in told)}"


def _worst(briefing: Briefing, one: Worst) -> str:
    units = briefing.profile.units
    force, does = ("pull", "draws it to the inside") if one.force > 0 else ("push", "drives it to the outside")
    vehicle = f"{vehicle_words(briefing.train, one.vehicle)} at {place_words(briefing, one.place)}"
    curve = f"{'radius ' if units == 'metric' else ''}{wording.curve_text(one.curvature, units)}"
    ratio = f"lateral over vertical {one.ratio:.2f}, {one.one_rail:.2f} if all is on one rail"
    return f"{force} {force_text(abs(one.force), units)} {does}, {vehicle} ({curve}): {ratio}"


def yardstick_words() -> str:
    """What a lateral over vertical force is held against, with the sources."""
    turns = f"rails may begin to turn over from {float(ROLLOVER_ONSET):g}, {float(ROLLOVER):g} is used"
    climbs = f"a curve is looked into where a wheel has {float(WHEEL_CLIMB):g} ({WHEEL_CLIMB.words})"
    return f"lateral over vertical: {turns} ({ROLLOVER.words}); {climbs}"


def make_up_lines(briefing: Briefing) -> list[str]:
    """Where the order of the cars asks for care, with what the worst of them carries by plan."""
    return [f"make-up: {_make_up(briefing, one)}" for one in briefing.make_up]


def _make_up(briefing: Briefing, one: MakeUpWarning) -> str:
    train, units = briefing.train, briefing.profile.units
    count, source = _MAKE_UP[one.code]
    carries = f"pull up to {force_text(one.draft, units)}, push up to {force_text(one.buff, units)}"
    worst = f"worst is {vehicle_words(train, one.vehicle)}, {mass_text(one.behind, units)} behind it: {carries}"
    return f"{one.count} × {count}; {worst}, lateral over vertical {one.ratio:.2f} ({source})"
