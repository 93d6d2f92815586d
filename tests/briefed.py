"""Briefings of the invented line, worked out once for everything that draws or writes them."""

from __future__ import annotations

import dataclasses
from functools import cache

from profiler.briefing.plan import Briefing, plan_handling
from profiler.briefing.sudden import with_felt
from profiler.route import Station
from tests.invented import invented_landmarks, invented_profile
from tests.trains import TRIAL


@cache
def briefed(
    name: str = "b", direction: str = "with", units: str = "us", cases: tuple[str, ...] = ("plan",)
) -> Briefing:
    """A train of the trial on the invented line, with a planned stop on its steepest climb."""
    profile = invented_profile(units)
    route = dataclasses.replace(profile.route, stops=(Station("post 51", 20_900.0),))
    return plan_handling(dataclasses.replace(profile, route=route), invented_landmarks(), TRIAL[name], direction, cases)


@cache
def felt_briefed(name: str = "b", direction: str = "with", units: str = "us") -> Briefing:
    """The same, and what its couplers feel at marked places."""
    return with_felt(briefed(name, direction, units))
