"""Known posts beside what their neighbours say."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiler.alignment.known_posts import known_posts, said_of_known
from profiler.alignment.places import chainage_of_post
from profiler.errors import InputError
from profiler.route import Posts
from profiler.units import MILE, POST_UNITS


def test_residual_by_hand():
    """Worked: post 2 at 2,040 m stands between 1 at 1,000 m and 3 at 3,020 m, whose middle is 2,010 m: 30 m
    further on; post 1 is 1,000 m before post 2 by the length of a kilometre, and lies 40 m before that."""
    found = known_posts(Posts(np.array([1000.0, 2040.0, 3020.0]), np.array([1.0, 2.0, 3.0])))
    assert [k.post for k in found] == [1, 2, 3]
    assert found[1].residual == pytest.approx(30)
    assert found[0].residual == pytest.approx(-40)
    assert found[2].residual == pytest.approx(-20)


def test_falling_posts():
    """Worked: the same places with posts 9, 8, 7: the same residuals."""
    found = known_posts(Posts(np.array([1000.0, 2040.0, 3020.0]), np.array([9.0, 8.0, 7.0])))
    assert [k.residual for k in found] == pytest.approx([-40, 30, -20])


def test_an_equation_parts_the_line():
    """Law: posts before an equation say nothing of those behind it; one alone in its run has no residual."""
    found = known_posts(Posts(np.array([0.0, 1000.0, 1000.0, 1990.0]), np.array([1.0, 2.0, 5.0, 6.0])))
    assert [k.residual for k in found] == pytest.approx([0, 0, 10, -10])
    alone = known_posts(Posts(np.array([0.0]), np.array([1.0])))
    assert alone[0].residual is None


LINES = [("km", 1), ("km", -1), ("mi", 1), ("mi", -1)]
"""Unit of the posts, and whether they rise or fall along the line."""


def line_of_posts(unit: str, sign: int, moved: dict[int, float], count: int = 11, rough: float = 1.0) -> Posts:
    """Posts one unit apart, every other one ``rough`` [m] too far, some ``moved`` [m] besides."""
    place = np.arange(count) * POST_UNITS[unit] + rough * (np.arange(count) % 2)
    for i, metres in moved.items():
        place[i] += metres
    return Posts(place, 40.0 + sign * np.arange(count), unit)


def accused(posts: Posts) -> set[float]:
    """The posts named in the sentences, by their figures."""
    said = said_of_known(posts, "metric")
    assert all(" lies " in sentence for sentence in said)
    return {float(sentence.split()[2]) for sentence in said}


@pytest.mark.parametrize(("unit", "sign"), LINES)
def test_nothing_is_said_of_true_posts(unit: str, sign: int):
    """Law: posts a few metres off accuse nobody."""
    assert said_of_known(line_of_posts(unit, sign, {}), "metric") == ()


@pytest.mark.parametrize("metres", [100.0, -100.0, 400.0])
@pytest.mark.parametrize("which", range(11))
@pytest.mark.parametrize(("unit", "sign"), LINES)
def test_one_astray_is_said_alone(unit: str, sign: int, which: int, metres: float):
    """Law: of eleven posts the one that lies elsewhere is named, the first and the last too, and no other.

    Worked: every other post is 1 m too far, so its residual is what it was moved by to 2 m, and every other
    post's is at most 2 m, as if it were not there.
    """
    posts = line_of_posts(unit, sign, {which: metres})
    assert accused(posts) == {40.0 + sign * which}
    residuals = [k.residual for k in known_posts(posts)]
    assert residuals[which] == pytest.approx(metres, abs=2.1)
    assert max(abs(r) for i, r in enumerate(residuals) if i != which) < 2.1


@pytest.mark.parametrize(
    "moved",
    [
        {4: 100.0, 5: 100.0},
        {4: 100.0, 5: -80.0},
        {0: 100.0, 1: 100.0},
        {9: -90.0, 10: -90.0},
        {1: 100.0, 8: 100.0},
        {2: 60.0, 4: -70.0},
        {0: 100.0, 10: 100.0},
        {0: 80.0, 5: -100.0, 9: 60.0},
    ],
)
@pytest.mark.parametrize(("unit", "sign"), LINES)
def test_several_astray(unit: str, sign: int, moved: dict[int, float]):
    """Law: neighbours moved alike or apart, at an end, and posts far from each other: exactly those are named."""
    posts = line_of_posts(unit, sign, moved)
    assert accused(posts) == {40.0 + sign * i for i in moved}
    residuals = [k.residual for k in known_posts(posts)]
    assert [residuals[i] for i in moved] == pytest.approx(list(moved.values()), abs=2.1)
    assert max(abs(r) for i, r in enumerate(residuals) if i not in moved) < 2.1


def with_run_between(moved: float, count: int = 3) -> Posts:
    """Kilometres 0 to 6, a run of ``count`` posts from 10 on with the second ``moved`` [m], 5 posts from 20 on."""
    middle = 6000 + np.arange(count) * 1000.0
    middle[1] += moved
    last = middle[-1] + np.arange(5) * 1000.0
    return Posts(
        np.r_[np.arange(7) * 1000.0, middle, last],
        np.r_[np.arange(7.0), 10.0 + np.arange(count), 20.0 + np.arange(5)],
    )


def test_a_run_between_two_equations():
    """Law: its only post that is no equation is named alone, 100 m from the middle of the two; the equations
    themselves are no fault."""
    assert said_of_known(with_run_between(0.0), "metric") == ()
    posts = with_run_between(100.0)
    assert accused(posts) == {11.0}
    assert [round(k.residual) for k in known_posts(posts)] == [0] * 8 + [100] + [0] * 6


def test_two_posts_between_equations_cannot_be_told_apart():
    """Law: where two posts of a run contradict each other and there is no third, neither is called astray:
    the way between them is."""
    (said,) = said_of_known(with_run_between(150.0, count=2), "metric")
    assert said == (
        "from post km 10 to km 11 the line is 150 m longer than they say: check their places, or state an equation"
    )


def test_an_equation_that_nobody_stated():
    """Law: where all posts from one on are moved alike, in the middle of the line, none of them is astray.

    Worked: 200 m are 656 ft.
    """
    posts = line_of_posts("mi", 1, dict.fromkeys(range(5, 11), 200.0), rough=0.0)
    (said,) = said_of_known(posts, "us")
    assert said.startswith("from post mi 44 to mi 45 the line is 656 ft longer than they say")
    assert max(abs(k.residual) for k in known_posts(posts)) < 2.1


def test_long_miles_throughout_are_no_fault():
    """Law: a line whose every mile is 1 % long, its posts 2 to 12 miles apart, has nothing astray, and says where
    its one wrong post lies."""
    value = np.array([0.0, 3.0, 5.0, 17.0, 20.0, 24.0, 26.0])
    place = value * 1.01 * MILE
    assert said_of_known(Posts(place, value, "mi"), "us") == ()
    place[6] += 150
    assert accused(Posts(place, value, "mi")) == {26.0}


def test_kilometres_that_drift_accuse_nobody():
    """Published: posts at the ends of the pieces of SNCF Réseau's line 672000 (open data, fr-puymorens), beside their
    chainage on the track: 5 to 70 km apart, up to 3 in a thousand off, and none of them stands elsewhere."""
    place = np.array([-70_059.9, 0.0, 15_792.3, 26_324.4, 41_159.4, 62_469.7, 67_896.7, 82_552.8])
    value = np.array([12.070, 82.183, 97.982, 108.520, 123.329, 144.612, 150.036, 164.724])
    assert said_of_known(Posts(place, value, "km"), "metric") == ()
    for i in range(1, 8):
        moved = place.copy()
        moved[i] += 400
        assert accused(Posts(moved, value, "km")) == {value[i]}


@given(st.lists(st.floats(-60, 60), min_size=3, max_size=12), st.sampled_from([1.0, 5.0]))
def test_who_is_accused_lies_far_off(moved: list[float], apart: float):
    """Law: whatever the posts, each one that is called astray has a residual of more than 30 m, and fewer than half
    of them are."""
    value = np.arange(len(moved)) * apart
    posts = Posts(value * 1000 + np.array(moved), value, "km")
    named = [float(s.split()[2]) for s in said_of_known(posts, "metric") if " put it" in s]
    residual = {k.post: k.residual for k in known_posts(posts)}
    assert all(abs(residual[post]) > 30 for post in named)
    assert 2 * len(named) < len(moved)


@pytest.mark.parametrize("spread", [5.0, 15.0])
def test_rough_posts_seldom_accused(spread: float):
    """Law: posts that all stand badly, Gaussian, are rough, not astray: at most one in a hundred is named."""
    rng = np.random.default_rng(3)
    named = sum(
        len(said_of_known(Posts(np.arange(20) * 1000.0 + rng.normal(0, spread, 20), np.arange(20.0)), "metric"))
        for _ in range(50)
    )
    assert named <= 10


def test_many_astray_are_counted():
    """Worked: of six moved posts three are said and three counted."""
    said = said_of_known(line_of_posts("km", 1, dict.fromkeys(range(2, 22, 4), 90.0) | {22: 90.0}, 25), "metric")
    assert len(said) == 4
    assert said[-1] == "3 more of the known posts lie as far off, see posts.csv"


def test_post_in_the_gap_of_an_equation():
    """Law: a post that an equation leaves out is refused by naming the equation."""
    posts = Posts(np.array([0.0, 1000.0, 1000.0, 2000.0]), np.array([1.0, 2.0, 5.0, 6.0]))
    with pytest.raises(InputError, match=r"post km 3\.5 is left out by km 2\.00 = km 5\.00; correct the post"):
        chainage_of_post(posts, 3.5, 2000.0, "route.toml: stations[1]")
