"""Questions of a lesson with their answers."""

from __future__ import annotations

import re

import numpy as np
import pytest

from profiler.briefing.descent_words import charging_words
from profiler.briefing.lesson import NOBODY, QUESTIONS, lesson
from profiler.briefing.words import HEAD_RULE, NO_ORDER
from profiler.train_words import force_text, pressure_text, speed_text
from tests.briefed import briefed
from tests.trains import TRIAL

EVERY = [(name, direction) for name in TRIAL for direction in ("with", "against")]


def answers(name: str, direction: str = "with") -> dict[str, str]:
    """Answers by their questions."""
    asked = lesson(briefed(name, direction, "metric" if name == "f" else "us"))
    found = {one.text: one.answer for one in asked}
    assert len(found) == len(asked), "no question is asked twice"
    return found


def answer(name: str, begins: str, direction: str = "with") -> str:
    """The answer to the one question that begins so."""
    (found,) = [said for text, said in answers(name, direction).items() if text.startswith(begins)]
    return found


@pytest.mark.parametrize(("name", "direction"), EVERY)
def test_a_lesson_of_every_train(name: str, direction: str):
    """Law: 6 to 12 different questions, sentences all, none with a NaN, none in the other system of units, none in the
    words of the data; the last asks what may not be concluded."""
    asked = answers(name, direction)
    assert 6 <= len(asked) <= QUESTIONS
    assert list(asked)[-1] == NOBODY.text
    foreign = r"\b(kips|mph|psi|ft|mi)\b" if name == "f" else r"\b(kN|km/h|bar|km)\b"
    for text, said in asked.items():
        assert text.endswith("?")
        assert re.fullmatch(r"[A-Z0-9].*\.", said)
        assert not re.search(r"\bnan\b|\binf\b|\bbuff\b|\bstraddle\b|\brecommended\b", said)
        assert not re.search(foreign, f"{text} {said}")
    assert HEAD_RULE in NOBODY.answer
    assert NO_ORDER in NOBODY.answer


def test_units_that_may_pull():
    """Law: as many as the briefing has for full throttle, with the force that one more would bring, and the limit."""
    use = briefed("b").units[0]
    said = answer("b", "How many of the head units")
    assert use.most is not None
    assert said.startswith(f"{use.most} with full throttle, not all 5")
    first_over = next(p for p in use.pulling if p.excess > 0)
    assert force_text(first_over.full_draft, "us") in said
    assert force_text(use.limit, "us") in said


def test_balance_is_where_grade_takes_over():
    """Law: with the head at the place told, grade and curves under the train give what its resistance takes at the
    speed told, to a percent of its weight in half a percent of grade."""
    briefing = briefed("a")
    plan = max(briefing.line.descents, key=lambda one: one.descent.force)
    said = answer("a", "Where does this train stop needing power")
    post = re.search(r"head at post ([\d.]+)", said)
    assert post is not None
    (way,) = briefing.profile.route.posts.chainages(float(post[1]))
    run, speed = briefing.running, plan.approach.crest_speed
    held = np.interp(way, run.under.head, run.under.grade_force + run.under.curve_force)
    a, b, c = briefing.line.course.resistance
    assert held + a + b * speed + c * speed**2 == pytest.approx(0, abs=0.0005 * briefing.train.mass * 9.8)


def test_what_holds_and_what_if_it_is_lost():
    """Law: force, speed, air and share of the what-ifs, distances with and without weak shoes; a choice is told as
    one."""
    briefing = briefed("a")
    plan, what_if = max(
        zip(briefing.line.descents, briefing.what_ifs, strict=True), key=lambda one: one[0].descent.force
    )
    said = answer("a", "What holds this train on the steepest part")
    now = what_if.outcome("as_planned")
    for words in (
        force_text(plan.descent.force, "us"),
        speed_text(what_if.speed, "us"),
        f"{pressure_text(now.reduction, 'us')} of air and {100 * now.share:.0f} % of the dynamic brake hold it",
        "(our choice)",
    ):
        assert words in said
    lost = answer("a", "What if all of the dynamic brake is lost")
    assert what_if.lost is not None
    assert lost.count("with shoes × 0.7") >= 2
    assert "10 s later (our choice)" in lost
    assert f"emergency stops it in {what_if.lost.emergency / 0.3048:,.0f} ft" in lost


def test_slowing_for_the_slow_order():
    """Law: where the mildest way begins that is in time, the speeds, and where the tail is out."""
    briefing = briefed("a")
    (one,) = [x for x in briefing.slowings if x.kind == "slow_order"]
    mild = next(way for way in one.ways if not way.cannot)
    posts = briefing.profile.route.posts
    said = answer("a", "Where must slowing down for the slow order")
    assert said.startswith(f"By post {float(posts.at(mild.begins)):.2f} ")
    assert f"down to {speed_text(one.slow, 'us')}" in said
    assert f"head at post {float(posts.at(one.clear)):.2f}, not before" in said


def test_charging_is_asked_of_a_direct_brake_only():
    """Law: told normally and cold; a graduated brake is fed while it holds and is not asked about."""
    question = "How long after a release is the pipe charged again"
    assert charging_words(TRIAL["a"]) in answer("a", question)
    assert not [text for text in answers("f") if text.startswith(question)]


def test_a_descent_that_nothing_holds_is_asked_about():
    """Law: where the plan holds a train at no speed, a question says so, and only there."""
    for name, direction in EVERY:
        plans = briefed(name, direction, "metric" if name == "f" else "us").line.descents
        asked = any(text.startswith("At which speed is this train held") for text in answers(name, direction))
        assert asked == any(not plan.held and plan.descent.force > 0 for plan in plans)
