"""The direction of travel, by the end that a train is bound for."""

from __future__ import annotations

from profiler.errors import InputError
from profiler.route import Route
from profiler.wording import end_name


def direction_towards(route: Route, to: str | None, *, source: str = "to") -> str:
    """Whether a train goes "with" or "against" chainage to reach an end of a line.

    Parameters
    ----------
    route : Route
    to : str or None
        The end as the line or the console names it; None is with chainage.
    source : str
        What asked for it, for the error.

    Raises
    ------
    InputError
        If the line has no such end.
    """
    if to is None:
        return "with"
    ends = [end_name(route, which) for which in (0, 1)]
    found = [which for which, end in enumerate(ends) if to.strip().casefold() == end.casefold()]
    if len(found) != 1:
        raise InputError(source, f"{to!r} is no end of the line", f"write {ends[1]!r} or {ends[0]!r}")
    return ("against", "with")[found[0]]
