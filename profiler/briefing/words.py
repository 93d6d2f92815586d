"""A briefing in words: vehicles, marks, starts and what would help, in the units that people read."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from profiler import wording
from profiler.briefing.descent_words import DESCENT_KINDS, descent_name, descent_short, descent_words
from profiler.briefing.plan import Briefing
from profiler.briefing.slow_words import slow_name, slow_short, slow_words
from profiler.handling.relief import Relief
from profiler.handling.starting import NO_NOTCH, Starting
from profiler.mark import Mark
from profiler.mechanics.power_needed import ClimbSpeed
from profiler.mechanics.pull import KNUCKLE_BREAKS
from profiler.mechanics.tonnage import Ruled
from profiler.route import Posts
from profiler.train import Train
from profiler.train_words import force_text, mass_text
from profiler.units import UNITS

MARK_NAMES = {
    "straddle": "astride",
    "start_hard": "start hard",
    "do_not_stop": "do not stop",
    "slack_in": "slack runs in",
    "slack_out": "slack runs out",
}
STRADDLE_NAMES = {
    "crest": "crest",
    "sag": "sag",
    "grade_break": "break",
    "two_sags": "two sags",
    "two_crests": "two crests",
    "crest_and_sag": "crest and sag",
    "sag_and_crest": "sag and crest",
}
_SLACK = {
    "power_on": "as power comes on",
    "power_off": "as power goes off",
    "dynamic_brake": "as the dynamic brake comes in",
    "dynamic_off": "as the dynamic brake goes off",
    "air_step": "as air is set",
    "release": "as air is released",
    "crest": "astride a crest",
    "sag": "astride a sag",
    "grade_break": "astride a break of the grade",
    "line": "as the grade changes under the train",
}
"""Why slack runs in or out."""
_SHORT_OF = {
    "adhesion": "adhesion gives out",
    "starting_effort": "the units have no more effort",
    "knuckle": "a coupler would carry too much",
}
_RULES = {
    "haul": "hauled at minimum continuous speed",
    "draft": "draft limit on the climb",
    "start": "effort at a start",
    "draft at start": "draft limit at a start",
}
HEAD_RULE = "Every mark is the place of the head end."
NO_ORDER = "A mark is never an instruction to operate."


def vehicle_words(train: Train, vehicle: int) -> str:
    """ "unit 3", "car 84": a vehicle, counted from 0 at the head, by its count among its like from the head."""
    kind = [train.blocks[b].vehicle.kind for b in train.vehicle_block[: vehicle + 1]]
    return f"{'unit' if kind[-1] == 'locomotive' else 'car'} {kind.count(kind[-1])}"


def figure_of(force: float, units: str) -> str:
    """A force [N] without its unit, beside another that has it."""
    return force_text(force, units).rpartition(" ")[0]


def knuckle_words(units: str) -> str:
    """The fact beside every draft limit."""
    force = f"{KNUCKLE_BREAKS.stated * 1000:,.0f} lb" if units == "us" else force_text(KNUCKLE_BREAKS, units)
    return f"a typical knuckle breaks at about {force} ({KNUCKLE_BREAKS.words})"


def has_knuckles(train: Train) -> bool:
    """Whether a draft in it can break a knuckle: not where all couplings are screws."""
    return any(block.vehicle.coupler == "automatic" for block in train.blocks)


def notch_words(notch: int) -> str:
    """ "notch 4", "no notch", "rolls off by itself"."""
    return {NO_NOTCH: "no notch", 0: "rolls off by itself"}.get(notch, f"notch {notch}")


def start_words(train: Train, found: Starting, i: int, units: str) -> str:
    """What a start needs at one place and whether it succeeds: "starts in notch 4: needs 405 of 624 kips, …"."""
    need, available = figure_of(max(found.need[i], 0.0), units), force_text(found.available, units)
    behind = f"draft {force_text(found.draft[i], units)} behind {vehicle_words(train, int(found.draft_at[i]))}"
    if found.starts[i]:
        if not found.notch[i]:
            return "rolls off by itself"
        words = f"starts in {notch_words(int(found.notch[i]))}"
        sure = f", in {wording.percent_text(found.probability[i])} of the draws" if found.probability[i] < 0.995 else ""
        return f"{words}{sure}: needs {need} of {available}, {behind}"
    if found.margin[i] < 0:
        return f"does not start: needs {need} of {available} ({_SHORT_OF[found.short_of]}); {behind}"
    excess = force_text(found.draft[i] - found.draft_limit, units)
    alike = ", all units pulling alike" if len(train.groups) > 1 else ""
    return f"does not start within the draft limit{alike}: {behind}, {excess} over"


def relief_words(relief: Relief, units: str) -> str:
    """What would help, and what it would bring."""
    name = {
        "fewer_units": f"{relief.count} of the head units pulling",
        "rear_power": f"{relief.count} of the head units moved to the rear",
        "dry_rail": "dry rail, or sand",
        "doubling": f"doubling, {relief.count} cars first",
    }[relief.kind]
    return f"{name}: {'starts' if relief.starts else 'does not start yet'}, draft {force_text(relief.draft, units)}"


def reliefs_words(reliefs: Sequence[Relief], units: str) -> str:
    """All that would help, in one line."""
    return "; ".join(relief_words(relief, units) for relief in reliefs)


def mark_name(mark: Mark) -> str:
    """ "crest", "start hard", "do not stop": a mark in as few words as there are."""
    if mark.kind in DESCENT_KINDS:
        return descent_name(mark)
    if mark.kind == "slow_order":
        return slow_name(mark)
    return STRADDLE_NAMES[mark.reason] if mark.kind == "straddle" else MARK_NAMES[mark.kind]


def mark_title(mark: Mark) -> str:
    """ "3 · astride a crest", "4 · do not stop"."""
    name = mark_name(mark)
    article = "" if name.startswith("two") else "a "
    title = f"astride {article}{name}" if mark.kind == "straddle" else name
    return f"{mark.number} · {title}" if mark.number else title


def mark_words(mark: Mark, train: Train, units: str, posts: Posts | None = None) -> str:
    """Why a mark is there, in one line; without posts, places of an act are told from its crest or start."""
    if mark.kind in DESCENT_KINDS:
        return descent_words(mark, train, units, posts)
    if mark.kind == "slow_order":
        return slow_words(mark, units, posts)
    if mark.kind == "straddle":
        change = wording.grade_text(abs(mark.value), units)
        if mark.quarter is None:
            return f"{mark_name(mark)} under one train, the grade changes by {change} in all"
        sense = "steeper up" if mark.value > 0 else "steeper down"
        return f"{mark_name(mark)}: the front half feels {change} {sense} than the rear half"
    if mark.kind in ("slack_in", "slack_out"):
        return slack_words(mark, train, units)
    need, available = figure_of(max(mark.figure("need"), 0.0), units), force_text(mark.figure("available"), units)
    draft, behind = mark.figure("draft"), vehicle_words(train, round(mark.figure("draft_behind")) - 1)
    carried = f"draft {force_text(draft, units)} behind {behind}"
    before = ", part of the train still before the line" if mark.figure("continued") else ""
    limits = train.limits
    if draft > limits.draft and mark.reason == "knuckle":
        return f"a start takes {carried}, {force_text(draft - limits.draft, units)} over the limit{before}"
    if mark.value < 0:
        return f"a start needs {need} of {available}: {_SHORT_OF[mark.reason]}{before}"
    if mark.reason == "draft_caution":
        return f"a start takes {carried}, over the caution of {force_text(limits.draft_caution, units)}{before}"
    if mark.reason == "uncertain":
        share = wording.percent_text(mark.figure("share_starting"))
        return f"starts in only {share} of equally likely profiles, {carried}{before}"
    return f"starts in {notch_words(round(mark.figure('notch')))}: needs {need} of {available}, {carried}{before}"


def _slack_forces(mark: Mark, units: str) -> str:
    """ "pull 72 to push 58 kips": what slack that runs does to a coupler."""
    before, after = (mark.figure(name) for name in ("before", "after"))
    sides = ["pull" if force >= 0 else "push" for force in (before, after)]
    return f"{sides[0]} {figure_of(abs(before), units)} to {sides[1]} {force_text(abs(after), units)}"


def slack_words(mark: Mark, train: Train, units: str) -> str:
    """Why slack runs in or out, in which part of the train, and which way it is customarily kept."""
    behind, first, last = (vehicle_words(train, round(mark.figure(x)) - 1) for x in ("behind", "node_from", "node_to"))
    if mark.reason == "undulation":
        words = f"slack runs in and out {mark.figure('changes'):.0f} times on undulating grades"
    else:
        words = f"{mark_name(mark)} {_SLACK[mark.reason]}, from {first} to {last}"
    words += f": {_slack_forces(mark, units)} behind {behind}"
    if mark.reason not in ("air_step", "release"):
        way = "stretched" if mark.figure("keep_stretched") else "bunched"
        words += f"; customarily kept {way} {'throughout' if mark.figure('returns') else 'from there on'}"
    if any(figure.name == "finish_by" for figure in mark.figures):
        words += ", power changes finished before the head is in the sag"
    return words


def mark_short(mark: Mark, train: Train, units: str) -> str:
    """What a mark is about in a few words, for a picture."""
    if mark.kind in DESCENT_KINDS:
        return descent_short(mark, units)
    if mark.kind == "slow_order":
        return slow_short(mark, units)
    if mark.kind == "straddle":
        return mark_name(mark)
    if mark.kind in ("slack_in", "slack_out"):
        return _slack_forces(mark, units)
    draft = mark.figure("draft")
    carried = f"pull {force_text(draft, units)}"
    if draft > train.limits.draft and mark.reason == "knuckle":
        return f"{carried}, {figure_of(draft - train.limits.draft, units)} over"
    if mark.value < 0:
        return f"{force_text(-mark.value, units)} short, {mark.reason.replace('_', ' ')}"
    if mark.reason == "uncertain":
        return f"starts in {wording.percent_text(mark.figure('share_starting'))} of the draws"
    if mark.reason == "draft_caution":
        return carried
    return f"{notch_words(round(mark.figure('notch')))}, {carried}"


def curve_words(briefing: Briefing) -> str:
    """ "0.04 % per degree": the law of curve resistance that is counted with."""
    profile = briefing.profile
    return wording.compensation_figure(profile.curve_compensation, profile.units, profile.curve_resistance)


def train_sentence(briefing: Briefing) -> str:
    """ "3,730 ft long, 13,052 short tons, rail dry, curves at 0.04 % per degree"; and if it is longer than the line."""
    train, units = briefing.train, briefing.profile.units
    words = f"{wording.short_length_text(train.length, units)} long, {mass_text(train.mass, units)}, rail {train.rail}"
    words += f", curves at {curve_words(briefing)}"
    if briefing.fits:
        return words
    line = wording.short_length_text(briefing.terrain.length, units)
    return f"{words}; longer than the line ({line}): nowhere all of it lies on it, its first and last grade go on"


def draft_sentences(briefing: Briefing) -> list[str]:
    """Largest draft under way and at a start, behind which vehicle, where, and by how much over the limit."""
    train, units, limit = briefing.train, briefing.profile.units, float(briefing.train.limits.draft)
    said = []
    for name, found in (("under way", briefing.running.pull.needed), ("to start", briefing.everywhere)):
        i = int(np.argmax(found.draft))
        words = f"Largest draft {name}: {force_text(found.draft[i], units)} behind "
        words += (
            f"{vehicle_words(train, int(found.draft_at[i]))}, head at {place_words(briefing, float(found.head[i]))}, "
        )
        if found.draft[i] > limit:
            words += f"{figure_of(found.draft[i] - limit, units)} over the limit of {force_text(limit, units)}"
        elif found.draft[i] > train.limits.draft_caution:
            words += f"over the caution of {force_text(train.limits.draft_caution, units)}, within the limit"
        else:
            words += f"within the limit of {force_text(limit, units)}"
        said.append(words)
    push, behind_of = briefing.push
    i = int(np.argmax(push))
    if push[i] > train.limits.buff:
        over, behind = push[i] - train.limits.buff, vehicle_words(train, int(behind_of[i]))
        said.append(
            f"Largest push under way: {force_text(push[i], units)} behind {behind}, head at "
            f"{place_words(briefing, float(briefing.running.pull.head[i]))}, {figure_of(over, units)} over the buff "
            f"limit of {force_text(train.limits.buff, units)}"
        )
    return said


def place_words(briefing: Briefing, start: float, end: float | None = None, decimals: int = 1) -> str:
    """A place or a stretch by posts, distances travelled [m]."""
    a, b = (float(briefing.terrain.chainage(x)) for x in (start, start if end is None else end))
    return wording.stretch_words(briefing.profile.route.posts, a, b, decimals)


def post_words(briefing: Briefing, way: float) -> str:
    """ "54.32", "km 150.12": the post at a distance travelled [m]."""
    return wording.post_text(briefing.profile.route.posts, float(briefing.terrain.chainage(way)), 2)


def short_time_words(speed: ClimbSpeed) -> str:
    """ "12 min": how long the units work below their continuous speed on a climb."""
    return f"{speed.short_time / UNITS['minutes']:.0f} min"


def rule_words(ruled: Ruled) -> str:
    """What rules a rating."""
    return _RULES[ruled.rule]
