"""What holds a train, in words."""

from __future__ import annotations

import math

import numpy as np
import pytest

from profiler.briefing.holding_words import (
    HOLDS,
    NOT_IN_HAND,
    TOO_HOT,
    TOO_LITTLE,
    TOO_MUCH,
    alone_verdict,
    descent_lines,
    run_lines,
    verdicts,
    with_weak_shoes,
)
from profiler.handling.holding import AirAlone, Holding
from profiler.units import HORSEPOWER, PSI
from tests.briefed import briefed
from tests.planned import planned
from tests.trains import A, F


def table(share: list[float], heat: list[float]) -> Holding:
    """One speed; the first reduction is none."""
    row = np.array([share])
    return Holding(np.array([10.0]), 1000.0 * np.arange(len(share)), row, row + 0.15, np.array([heat]), 0.85, 20_000.0)


def test_every_verdict():
    """Worked: 120 %, 90 %, 80 % of the dynamic brake, 80 % with wheels too hot, less than none; without air less than
    none is no over-braking. With shoes × 0.7 shares are 0.15 more here, and wheels of the last get 21 of
    20 kW."""
    found = table([1.2, 0.9, 0.8, 0.8, -0.1], [0, 1e4, 1e4, 2.5e4, 3e4])
    assert verdicts(found, A)[0].tolist() == [TOO_LITTLE, NOT_IN_HAND, HOLDS, TOO_HOT, "over-brakes: the train stops"]
    assert verdicts(table([-0.1, -0.1], [0, 0]), A)[0].tolist() == [HOLDS, TOO_MUCH["direct release"]]
    assert verdicts(found, F)[0, -1] == "over-brakes: a step less would do"
    weak = [TOO_LITTLE, TOO_LITTLE, NOT_IN_HAND, NOT_IN_HAND, TOO_HOT]
    assert verdicts(with_weak_shoes(found), A)[0].tolist() == weak


def test_verdicts_of_the_trial():
    """Worked: handling trial, (a) on 2.5 % at 23 mph: 146 %, 96 %, 75 %, 60 %, 39 % at 0, 7, 10, 12, 15 psi, and
    10 psi brings wheels to 28 of 30 hp: it alone holds."""
    (plan,) = planned("a").descents[:1]
    at = dict(zip(np.round(plan.holding.reduction / PSI).astype(int), verdicts(plan.holding, A)[0], strict=True))
    assert [at[r] for r in (0, 7, 10, 12, 15)] == [TOO_LITTLE, NOT_IN_HAND, HOLDS, TOO_HOT, TOO_HOT]


@pytest.mark.parametrize(
    ("share", "weak", "hp", "plain", "with_weak"),
    [
        (0.5, 0.72, 25, HOLDS, HOLDS),
        (0.79, 1.13, 57, TOO_HOT, TOO_LITTLE),
        (1.2, 1.7, 57, TOO_LITTLE, TOO_LITTLE),
        (0.1, 0.14, 20, TOO_MUCH["direct release"], TOO_MUCH["direct release"]),
    ],
)
def test_air_alone(share: float, weak: float, hp: float, plain: str, with_weak: str):
    """Worked: handling trial, (a) alone takes 0.79 of full service, 1.13 with weak shoes, 57 hp a wheel of 30: stop.
    The least reduction, 7 psi of 25.7, is 0.27 of full service: where less is needed it is too much."""
    reduction = math.nan if share > 1 else 10 * PSI
    alone = AirAlone(reduction=reduction, share=share, heat=hp * HORSEPOWER, weak=weak)
    assert alone_verdict(A, alone, 30 * HORSEPOWER) == plain
    assert alone_verdict(A, alone, 30 * HORSEPOWER, weak=True) == with_weak


@pytest.mark.parametrize("direction", ["with", "against"])
@pytest.mark.parametrize("name", ["a", "b", "d", "f"])
def test_a_descent_in_a_few_lines(name: str, direction: str):
    """Law: of every descent place, speed and what binds it, the first act, the air, what is left without the dynamic
    brake; no line holds a NaN; what only slows down takes one line."""
    briefing = briefed(name, direction, "metric" if name == "f" else "us")
    for plan in briefing.line.descents:
        lines = descent_lines(briefing, plan)
        assert len(lines) == (4 if plan.descent.force > 0 else 1)
        assert not any("nan" in line or "inf" in line.split() for line in lines)
        if plan.descent.force > 0:
            assert lines[0].startswith("descent, post")
            assert ("not held at" in lines[0]) == (plan.top.speed < plan.holding.speed[0] - 0.01)
            assert lines[1].startswith("power off by post")
            assert ("no air" in lines[2]) == (not plan.steps)
            assert lines[3].startswith("without the dynamic brake")


def test_stalls_of_the_run_are_told():
    """Law: where the run stalls is said, and only there."""
    for direction in ("with", "against"):
        briefing = briefed("a", direction)
        told = [line for line in run_lines(briefing) if line.startswith("it stalls")]
        assert bool(told) == bool(briefing.journey.stalls)
