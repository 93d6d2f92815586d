"""Known posts beside what their neighbours say."""

from __future__ import annotations

import numpy as np
import pytest

from profiler.alignment.places import chainage_of_post
from profiler.alignment.posts import known_posts, said_of_known
from profiler.errors import InputError
from profiler.route import Posts


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


def test_one_astray_is_said():
    """Law: a post 100 m off among ten others is named, and nothing is said of true ones."""
    place, value = np.arange(11.0) * 1000, np.arange(11.0)
    assert said_of_known(known_posts(Posts(place, value)), "km") == ()
    place[5] += 100
    (said, *_) = said_of_known(known_posts(Posts(place, value)), "km")
    assert any("post km 5 lies 100 m" in s for s in said_of_known(known_posts(Posts(place, value)), "km")), said


def test_post_in_the_gap_of_an_equation():
    """Law: a post that an equation leaves out is refused by naming the equation."""
    posts = Posts(np.array([0.0, 1000.0, 1000.0, 2000.0]), np.array([1.0, 2.0, 5.0, 6.0]))
    with pytest.raises(InputError, match="an equation goes from 2 to 5 there"):
        chainage_of_post(posts, 3.5, 2000.0, "route.toml: stations[1]")
