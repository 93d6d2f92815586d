"""Windows of acts over a crest and down, against figures of the trial and what can be said of runs."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from profiler.handling.approach import TOLERANCE, extremes_of, first_place, last_place
from profiler.handling.descent_plan import DescentPlan
from profiler.handling.windows import Window
from profiler.mechanics.course import acts_of, places_of
from profiler.units import KMH, MPH, PSI
from tests.handling.scenes import of_trial
from tests.planned import DSM, DTM, NAMES, TRAINS, planned
from tests.trial import CREST, STEEP_CREST

WHOLE = tuple(name for name in NAMES if name != "b")
"""(b) is held to 16 mph here, for the heat of its wheels; in the trial to 23."""


def main_descent(name: str, errors: tuple[float, float] | None = None) -> DescentPlan:
    """The plan of the descent from the trial's crest."""
    return planned(name, errors).descents[0]


def past_crest(name: str, place: float) -> float:
    """[m]"""
    return place - (STEEP_CREST if name == "f" else CREST)


def power_off(name: str, errors: tuple[float, float] | None = None) -> Window:
    """Its first window."""
    window = main_descent(name, errors).power_off
    assert window is not None
    return window


MARKS = {
    "a": (8, 85, 495, 445, 480),
    "c": (8, -10, 470, 420, 470),
    "d": (8, 210, 955, 1070, 1155),
    "e": (8, -70, 340, 305, 360),
    "e, empties ahead": (8, 355, 920, 840, 880),
    "f": (5, -127, 57, -66, -57),
}
"""Notch on the approach; earliest, custom, latest for half the margin, latest, metres past the crest."""


@pytest.mark.parametrize("name", WHOLE)
def test_marks_of_the_trial(name: str):
    """Worked: handling trial: where the first notch goes off, to 12 m, (d) to 22; (d) and (f) come with a notch less
    here, 7 and 4, so that custom and latest are 2 s later."""
    notch, earliest, custom, cautious, latest = MARKS[name]
    plan, window = main_descent(name), power_off(name)
    later = plan.approach.crest_speed * 2.0 * (notch - plan.approach.notch)
    found = [past_crest(name, x) for x in (window.earliest, window.custom, window.spread[0], window.latest)]
    expected = [earliest, custom + later, cautious + later, latest + later]
    assert found == pytest.approx(expected, abs=22 if name == "d" else 12)


@pytest.mark.parametrize(
    ("name", "speed", "balance"),
    [
        ("a", 18.8, 630),
        ("c", 22.2, 625),
        ("d", 23, 1120),
        ("e", 21.7, 495),
        ("e, empties ahead", 21.4, 1070),
        ("f", 26, 173),
    ],
)
def test_crest_speeds_and_balance_of_the_trial(name: str, speed: float, balance: float):
    """Worked: handling trial: speed at the crest, and where it needs no effort any more."""
    come = main_descent(name).approach
    assert come.crest_speed / MPH == pytest.approx(speed, abs=0.15)
    assert past_crest(name, come.balance) == pytest.approx(balance, abs=12)


def test_notch_by_notch_of_the_trial():
    """Worked: handling trial 5.7: (a) needs a notch less from so many metres past the crest on: 7 at 50, then 240, 340,
    420, 490, 570, 610, idle 630."""
    cut = main_descent("a").cut
    assert [notch for _, notch in cut] == [7, 6, 5, 4, 3, 2, 1, 0]
    places = [past_crest("a", place) for place, _ in cut]
    assert places == pytest.approx([50, 240, 340, 420, 490, 570, 610, 630], abs=10)


def test_air_windows_of_the_trial():
    """Worked: handling trial 5.8: (a) 7 psi planned 4.55 km past the crest, no later than 5.1, latest 8.5; (c) latest
    8.9; (a) 10 psi without a latest: with the whole dynamic brake 8 psi would do."""
    a, *_, last, release = main_descent("a").windows
    assert past_crest("a", a.custom) == pytest.approx(4550, abs=100)
    assert past_crest("a", a.spread[0]) == pytest.approx(5100, abs=100)
    assert past_crest("a", a.latest) == pytest.approx(8500, abs=100)
    assert math.isinf(last.latest)
    c = main_descent("c").windows[0]
    assert past_crest("c", c.latest) == pytest.approx(8900, abs=100)
    assert (release.earliest / 1000, release.latest / 1000) == pytest.approx((38.45, 42.25), abs=0.1)


@pytest.mark.parametrize("name", ["a", "c", "e"])
def test_releases_of_the_trial(name: str):
    """Worked: handling trial 5.9: where the dynamic brake alone holds the easing grade the window is wide."""
    window = main_descent(name).windows[-1]
    assert not window.empty
    assert window.latest - window.earliest > 3000


@pytest.mark.parametrize(("name", "dtm", "dsm"), [("a", 415, 318), ("c", 391, 313), ("e", 270, 202), ("f", -82, -104)])
def test_quantiles_of_the_trial(name: str, dtm: float, dsm: float):
    """Worked: handling trial 7: 5 % quantile of the latest mark for half the margin on draws of a terrain and of a
    surface model, to 25 m: the standard error of the trial's own is 3 to 21 m; (f) 2 s later for its notch."""
    plan = main_descent(name)
    later = plan.approach.crest_speed * 2.0 * (MARKS[name][0] - plan.approach.notch)
    for errors, metres in ((DTM, dtm), (DSM, dsm)):
        found = past_crest(name, power_off(name, errors).spread[0])
        assert found == pytest.approx(metres + later, abs=25)


@pytest.mark.parametrize("errors", [None, DTM, DSM])
@pytest.mark.parametrize("name", NAMES)
def test_what_a_window_says(name: str, errors: tuple[float, float] | None):
    """Law: in every window the recommended place is the custom or a safer one, within the window unless that is empty;
    quantiles are in order; shares are shares; weaker shoes and less resistance allow no later power off,
    stronger ones and more resistance no earlier one."""
    for plan in planned(name, errors).descents:
        off = plan.power_off
        assert off is not None
        assert off.recommended <= off.custom + 1e-9
        assert off.recommended <= off.spread[0] + 1e-9 or off.fails > 0.95
        assert not off.weak > off.latest + TOLERANCE
        assert not off.strong < off.earliest - TOLERANCE
        for step, window in zip(plan.steps, plan.windows, strict=True):
            assert 0 <= window.fails <= 1
            assert window.spread[0] <= window.spread[1]
            if step.kind == "air_step" and not window.empty:
                assert window.earliest - 1e-9 <= window.recommended <= window.latest
            if step.kind == "release":
                assert window.recommended >= window.custom - 1e-9
            if math.isfinite(window.recommended):
                assert step.at == pytest.approx(window.recommended)
        if not off.empty and plan.dynamic is not None:
            earliest, recommended, latest = plan.dynamic
            assert earliest <= recommended
            assert not latest < recommended
            assert recommended > off.recommended


@pytest.mark.parametrize("name", WHOLE)
def test_windows_are_true(name: str):
    """Law: driven with power off at the latest place the limit is not passed, and a little later it is; at the earliest
    the train keeps three fifths of its speed, and a little sooner it does not."""
    scene, window = of_trial(name), power_off(name)
    until = scene.descent.start + 6000

    def driven(place: float, end: float):
        acts = acts_of(scene.acts(place))
        come = scene.approach
        return extremes_of(scene.courses[0], acts, head=come.head, speed=come.speed, until=end)

    assert driven(window.latest, until).over <= 1e-6
    assert driven(window.latest + 3 * TOLERANCE, until).over > 0
    early = min(scene.descent.start + scene.train.length, until)
    floor = 0.6 * scene.approach.crest_speed
    assert driven(window.earliest, early).least >= floor - 1e-6
    assert driven(window.earliest - 3 * TOLERANCE, early).least < floor
    assert driven(window.spread[0], until).over <= -scene.margin + 1e-6


def test_a_short_train_over_a_sharp_break():
    """Worked: handling trial, pitfalls: it runs away in the 60 s of its set-up: what custom has is too late, the latest
    lies before the crest, the sooner the faster it goes; custom is not recommended then."""
    window = power_off("f")
    assert window.latest < STEEP_CREST < window.custom
    assert window.recommended < window.latest
    latest = [of_trial("f", limit=speed * KMH).power_off().latest for speed in (45, 55, 70)]
    assert latest == sorted(latest, reverse=True)


def test_empty():
    """Law: a window is empty unless the recommended place lies between the earliest and the latest; a figure that is
    not a number makes it so."""
    whole = Window(
        earliest=1.0,
        recommended=2.0,
        latest=3.0,
        custom=2.0,
        spread=(2.5, 3.5),
        surest=2.4,
        weak=2.2,
        strong=1.1,
        fails=0.0,
    )
    assert not whole.empty
    assert not replace(whole, latest=math.inf).empty
    for other in ({"earliest": 2.5}, {"latest": 1.5}, {"latest": math.nan}, {"earliest": math.inf}):
        assert replace(whole, **other).empty


def test_searches_for_places():
    """Law: the last place at which something holds to the tolerance; not a number if not even at the first, infinite if
    still at the last; likewise the first."""
    for edge in (12.0, 500.0, 987.0):
        assert last_place(lambda x: x <= edge, 0.0, 1000.0) == pytest.approx(edge, abs=TOLERANCE)  # noqa: B023
        assert last_place(lambda x: x <= edge, 0.0, 1000.0) <= edge  # noqa: B023
        found = first_place(lambda x: x >= edge, 0.0, 1000.0)  # noqa: B023
        assert edge <= found <= edge + TOLERANCE
    assert math.isnan(last_place(lambda _: False, 0.0, 1.0))
    assert last_place(lambda _: True, 0.0, 1.0) == math.inf
    assert first_place(lambda _: False, 0.0, 1.0) == math.inf
    assert first_place(lambda _: True, 0.0, 1.0) == 0.0


def test_speeds_of_the_line_are_those_of_the_plan():
    """Law: the plan runs the speeds it tells: (b) is held to what its wheels stand from before the crest to the foot,
    and to what is posted elsewhere."""
    plan = planned("b", None)
    places, hold = places_of(plan.course), plan.speeds.hold
    first = plan.descents[0]
    assert first.top.bound == "heat"
    on = (places >= first.descent.crest) & (places < first.descent.end)
    assert hold[on] == pytest.approx(first.top.speed)
    assert hold[places < 10_000] == pytest.approx(23 * MPH)
    assert first.top.speed < 17 * MPH
    assert TRAINS["b"].handling.reductions[-1] == pytest.approx(15 * PSI)
    assert np.isfinite(hold).all()
