"""Marks of slow orders and of limits that fall, in words."""

from __future__ import annotations

from profiler import wording
from profiler.mark import Mark
from profiler.route import Posts
from profiler.train_words import pressure_text, speed_text


def slow_name(mark: Mark) -> str:
    """ "slow order", "lower limit"."""
    return "slow order" if mark.figure("ordered") else "lower limit"


def slow_short(mark: Mark, units: str) -> str:
    """ "to 15 mph": for a picture."""
    return f"to {speed_text(mark.figure('limit'), units)}"


def slow_words(mark: Mark, units: str, posts: Posts | None = None) -> str:
    """How slow by where, by what, and where the tail is out, in one line; without posts, places are told from there."""
    start = mark.figure("start")

    def place(chainage: float) -> str:
        if posts is not None:
            return wording.stretch_words(posts, chainage, chainage, 2)
        sign = 1 if mark.direction == "with" else -1
        way = sign * (chainage - start)
        return f"{wording.short_length_text(abs(way), units)} {'past' if way > 0 else 'before'} its start"

    limit, slow, came = (speed_text(x, units) for x in (mark.figure("limit"), mark.value, mark.figure("approach")))
    by = "as the head gets there" if posts is None else f"by {place(start)}"
    parts = [f"from {came} down to {slow} {by}, under the {slow_name(mark)} of {limit}"]
    if mark.reason == "cannot":
        parts.append("nothing that the train has slows it in time; a lower speed before, or more brake, would")
    else:
        reduction = pressure_text(mark.figure("reduction"), units) if mark.reason == "air" else ""
        parts.append({
            "coasting": "coasting from here is enough",
            "dynamic": "power off from here, then the dynamic brake as far as it counts as usable",
            "air": f"power off from here, then the dynamic brake and {reduction} of air: without air it is not enough",
        }[mark.reason])  # fmt: skip
    known = {figure.name: figure.value for figure in mark.figures}
    for name, words in (("dynamic_begins", "with the dynamic brake alone"), ("air_begins", "with the least air too")):
        if name in known and abs(known[name] - mark.recommended) > 1.0:
            parts.append(f"{words} from {place(known[name])}")
    if mark.clear is not None:
        parts.append(f"the tail is out with the head at {place(mark.clear)}")
    return "; ".join(parts)
