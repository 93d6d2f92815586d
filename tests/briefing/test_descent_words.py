"""Marks of descents and slow orders in words."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace
from functools import cache

import pytest

from profiler.briefing.descent_words import DESCENT_KINDS, OVERSPEED_RULE, descent_words
from profiler.briefing.words import mark_name, mark_short, mark_title, mark_words
from profiler.handling.descent_marks import descent_marks
from profiler.handling.descent_plan import plan_descents
from profiler.mark import Mark
from profiler.mechanics.air import charged_after, farthest_feed
from profiler.train import Train
from profiler.train_words import pressure_text, speed_text
from profiler.units import MPH
from tests.briefed import briefed
from tests.planned import posted
from tests.trial import ORE, UNIT, hill, train_of

NAMES, UNITS = "abdef", {"f": "metric"}
EVERY = [(name, direction) for name in NAMES for direction in ("with", "against")]


def marks_of(name: str, direction: str, *kinds: str) -> list[Mark]:
    """Marks of some kinds on the invented line."""
    found = briefed(name, direction, UNITS.get(name, "us")).marks
    return [mark for mark in found if mark.kind in (kinds or (*DESCENT_KINDS, "slow_order"))]


@cache
def too_heavy() -> tuple[Train, tuple[Mark, ...]]:
    """84 ore cars behind one unit, at 25 mph on the trial's hill: nothing holds them."""
    train = train_of((1, UNIT), (84, ORE))
    plan = plan_descents(train, hill(), posted(train, hill(), 25 * MPH))
    return train, descent_marks(plan, hill())


@pytest.mark.parametrize(("name", "direction"), EVERY)
def test_every_mark_is_one_line_of_words(name: str, direction: str):
    """Law: no mark has a line end, an order, a NaN, infinity or empty figure in its words, in either unit, with and
    without posts; its title has its number and name, and a picture's words are few."""
    briefing = briefed(name, direction, UNITS.get(name, "us"))
    marks = marks_of(name, direction)
    assert {mark.kind for mark in marks} >= {"power_off", "dynamic_brake"}
    for mark, units, posts in itertools.product(marks, ("us", "metric"), (None, briefing.profile.route.posts)):
        words = mark_words(mark, briefing.train, units, posts)
        assert len(words) > 60
        assert not re.search(r"\n|\bnan\b|\binf\b|None|;;|; ;| {2}|\b(must|never|always)\b", words), words
        places = re.search(r"\d (ft|m) (past|before) (the crest|its start)", words)
        assert bool(posts) != bool(places) or mark.kind == "dynamic_brake"
        assert posts is not None or "post" not in words
        assert (
            ("km/h" in words or "bar" in words or "dynamic brake" in words) if units == "metric" else "bar" not in words
        )
        assert mark_title(mark) == f"{mark.number} · {mark_name(mark)}"
        assert 0 < len(mark_short(mark, briefing.train, units)) <= 28


@pytest.mark.parametrize(("name", "direction"), EVERY)
def test_a_window_is_told_from_end_to_end_or_why_there_is_none(name: str, direction: str):
    """Law: of a power-off or an application the last place is told if there is one, "no latest" if there is none to be
    found, and "no window" with what would open it if it is empty."""
    briefing = briefed(name, direction, UNITS.get(name, "us"))
    for mark in marks_of(name, direction, "power_off", "air_step"):
        words = mark_words(mark, briefing.train, "us", briefing.profile.route.posts)
        if mark.figure("empty"):
            assert "no window: " in words
            assert re.search("would open one|would do without", words)
            assert mark_short(mark, briefing.train, "us") == "no window"
            continue
        latest = mark.figure("latest")
        assert ("no latest" in words) == math.isinf(latest)
        if math.isfinite(latest):
            post = float(briefing.profile.route.posts.at(latest))
            assert f"later than post {post:.2f} it would pass {speed_text(mark.figure('limit'), 'us')}" in words


def test_power_off_tells_what_it_is_reckoned_from():
    """Law: notch, seconds, balance point, speed over the crest, the twin of a slow hand, the share of the draws that
    pass the limit and with the customary reaction, all as among its figures."""
    briefing = briefed("a")
    (mark,) = [m for m in marks_of("a", "with", "power_off") if abs(m.figure("crest") - 26_000) < 1]
    words = mark_words(mark, briefing.train, "us", briefing.profile.route.posts)
    balance = float(briefing.profile.route.posts.at(mark.figure("balance")))
    assert f"notch {mark.figure('notch'):.0f} to idle in {mark.figure('idle_time'):.0f} s" in words
    assert f"idles by the balance point, post {balance:.2f}, having passed the crest at" in words
    assert speed_text(mark.value, "us") in words
    assert "a hand half as quick begins" in words
    assert "with shoes × 0.7 and little resistance" in words
    assert "none of the draws pass the limit, none with the customary reaction" in words
    past = descent_words(mark, briefing.train, "us")
    assert "past the crest, having passed" in past


def test_a_train_held_to_less_than_the_limit_is_told_so():
    """Law: where the speed that holds is lower than what the limit leaves, both stand in the words."""
    briefing = briefed("b")
    told = [m for m in marks_of("b", "with", "power_off") if m.figure("top") < m.figure("allowed") - 0.01]
    assert told
    for mark in told:
        top, allowed = (speed_text(mark.figure(x), "us") for x in ("top", "allowed"))
        assert f"planned at {top}, not at the {allowed} that the limit leaves" in mark_words(mark, briefing.train, "us")


def test_release_and_recharge_have_their_twin():
    """Law: what stands on a choice of ours never stands alone: charging is told normally and cold, twice as long."""
    briefing = briefed("b")
    minutes = charged_after(farthest_feed(briefing.train), 0.95) / 60
    releases = marks_of("b", "with", "release")
    assert releases
    for mark in releases:
        words = mark_words(mark, briefing.train, "us")
        assert f"charged again {minutes:.1f} min later, cold or leaky {2 * minutes:.1f} min (our choice" in words
        assert "many rules forbid a running release when slow" in words
        if mark.reason == "cycle_or_stop":
            assert mark_name(mark) == "cycle or stop"
            assert "no window: " in words
            assert "otherwise a stop" in words
            assert "local rules" in words


def test_air_is_told_with_what_it_changes():
    """Law: reduction before and after, when half and nearly all of it is there; an application before the pipe is
    charged says so first."""
    briefing = briefed("b")
    for mark in marks_of("b", "with", "air_step"):
        words = mark_words(mark, briefing.train, "us")
        assert pressure_text(mark.value, "us") in words
        assert re.search(r"half built up in \d+ s, 95 % in \d+ s", words)
        if mark.figure("before"):
            assert f"{mark.figure('before') / 6894.757:.0f} to {pressure_text(mark.value, 'us')} from here" in words
        assert ("before the pipe is charged" in words) == (mark.reason == "uncharged")


def test_a_train_that_nothing_holds():
    """Law: it is said for which speeds, with the force needed and what full service could, the customary rule on grades
    with its source, and local rules first. Published: the rule, 49 CFR 232.109 (from memory)."""
    train, marks = too_heavy()
    (mark,) = [m for m in marks if m.kind == "not_held"][:1]
    words = mark_words(mark, train, "us")
    assert words.startswith("not held at any speed from 23 mph down to 5.0 mph")
    assert f"{mark.value / 4448.2216:.0f} kips are needed" in words
    assert words.endswith(OVERSPEED_RULE)
    for part in ("1 % and steeper", "more than 5 mph over", "49 CFR 232.109", "local rules come first"):
        assert part in OVERSPEED_RULE
    assert mark_name(mark) == "not held"
    assert mark_short(mark, train, "us").endswith("kips to hold it")


def test_slow_orders_tell_speeds_and_where_the_tail_is_out():
    """Law: from and to which speed, by where, under which limit, and the place of the head with the tail out."""
    briefing = briefed("a")
    posts = briefing.profile.route.posts
    slow = [m for m in marks_of("a", "with", "slow_order") if m.figure("ordered")]
    assert slow
    for mark in slow:
        words = mark_words(mark, briefing.train, "us", posts)
        assert words.startswith(
            f"from {speed_text(mark.figure('approach'), 'us')} down to {speed_text(mark.value, 'us')}"
        )
        assert f"the slow order of {speed_text(15 * MPH, 'us')}" in words
        assert mark.clear is not None
        assert f"the tail is out with the head at post {float(posts.at(mark.clear)):.2f}" in words
        assert mark_name(mark) == "slow order"


@pytest.mark.parametrize(
    ("kind", "usual", "strong", "words"),
    [
        ("power_off", 300.0, 400.0, "with shoes × 1.3 and much resistance not before 400 m past the crest"),
        ("air_step", 300.0, math.inf, "with shoes × 1.3 and much resistance no place would do: it is stopped"),
        ("release", 5000.0, 4000.0, "with shoes × 1.3 and much resistance no later than 4\u202f000 m past the crest"),
        ("release", 5000.0, math.nan, "with shoes × 1.3 and much resistance it is too slow at any place"),
        ("power_off", 300.0, 305.0, ""),
    ],
)
def test_strong_shoes(kind: str, usual: float, strong: float, words: str):
    """Law: the other side of a window, with strong shoes and much resistance, is told where it is narrower."""
    mark = marks_of("a", "with", kind)[0]
    crest, side = mark.figure("crest"), "latest" if kind == "release" else "earliest"
    own = {side: crest + usual, "strong": crest + strong}
    figures = tuple(replace(f, value=own.get(f.name, f.value)) for f in mark.figures)
    told = descent_words(replace(mark, figures=figures), briefed("a").train, "metric")
    assert [x for x in told.split("; ") if "shoes × 1.3" in x] == ([words] if words else [])
