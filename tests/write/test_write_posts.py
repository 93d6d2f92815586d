"""posts.csv, row by row."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from profiler.alignment.known_posts import known_posts
from profiler.profile import reversed_profile
from profiler.route import Posts, Route
from profiler.write.post_tables import posts_table
from tests.invented import invented_profile

ROW = ("post", "chainage_m", "kind", "residual_m", "unit_length_m")


def route_with(posts: Posts) -> Route:
    """The invented line, 50 km, under other posts."""
    return dataclasses.replace(invented_profile().route, posts=posts, known_posts=known_posts(posts))


def rows_of(route: Route) -> list[tuple[str, ...]]:
    """The rows without their coordinates."""
    table = posts_table(route)
    return list(zip(*(table[name] for name in ROW), strict=True))


RISING = Posts(
    np.array([0.0, 10_000.0, 20_020.0, 30_000.0, 30_000.0, 40_000.0]), np.array([10.0, 20.0, 30.0, 40.0, 45.5, 55.5])
)


def test_rising_posts_with_an_equation():
    """Worked: kilometres of 1,000, 1,002 and 998 m up to post 40, which is 45.5 ahead, and of 1,000 m from there.

    Post 20 stands 10 m before 10,010 m, the middle of 10 and 30; post 30 stands 20 m beyond 20,000 m, the middle
    of 20 and 40; post 40 is 9,980 m from post 30 instead of ten times the usual 1,000 m. Post 46 stands half a
    kilometre beyond the equation. From 40 to 46, beyond it, there is no kilometre.
    """
    table = rows_of(route_with(RISING))
    known = [row[:4] for row in table if row[2] != "whole"]
    assert known == [
        ("10.000", "0.0", "known", "0.0"),
        ("20.000", "10000.0", "known", "-10.0"),
        ("30.000", "20020.0", "known", "20.0"),
        ("40.000", "30000.0", "equation", "-20.0"),
        ("45.500", "30000.0", "equation", "0.0"),
        ("55.500", "40000.0", "known", "0.0"),
    ]
    whole = [row for row in table if row[0].endswith(".000")]
    assert [row[0] for row in whole] == [f"{post}.000" for post in (*range(10, 41), *range(46, 66))]
    assert [row[2] for row in whole].count("whole") == 47
    lengths = {row[0]: row[4] for row in whole}
    assert set(list(lengths.values())[:10]) == {"1000.0"}
    assert set(list(lengths.values())[10:20]) == {"1002.0"}
    assert set(list(lengths.values())[20:30]) == {"998.0"}
    assert (lengths["40.000"], lengths["46.000"], lengths["65.000"]) == ("", "1000.0", "")
    assert [row[1] for row in table if row[0] in ("21.000", "46.000", "65.000")] == ["11002.0", "30500.0", "49500.0"]
    assert [row[3:] for row in table if row[0] in ("45.500", "55.500")] == [("0.0", ""), ("0.0", "")]


def test_falling_posts_are_the_same_rows_the_other_way():
    """Law: read from the other end the line has the same posts in the other order, back and ahead change places,
    and residuals change their sign.

    A whole post counts the way to the next one in its own direction.
    """
    profile = dataclasses.replace(invented_profile(), route=route_with(RISING))
    there, back = rows_of(profile.route), rows_of(reversed_profile(profile).route)
    assert [row[0] for row in back] == [row[0] for row in reversed(there)]
    assert [row[2] for row in back] == [row[2] for row in reversed(there)]
    assert [float(row[1]) for row in back] == pytest.approx([50_000 - float(row[1]) for row in reversed(there)])
    for mine, other in zip(back, reversed(there), strict=True):
        assert (mine[3] == "") == (other[3] == "")
        assert float(mine[3] or 0) == -float(other[3] or 0)
    assert next(row for row in back if row[0] == "30.000")[4] == "1002.0"


def test_a_post_astray_spoils_no_other_row():
    """Worked: post 42 lies 120 m too far; its row says so, and every other row says 0."""
    place = np.arange(6) * 5000.0
    place[2] += 120
    table = rows_of(route_with(Posts(place, np.arange(40.0, 46.0), "km")))
    assert [row[3] for row in table if row[2] == "known"] == ["0.0", "0.0", "120.0", "0.0", "0.0", "0.0"]


def test_coordinates_lie_on_the_line():
    """Law: every row stands where the stations put its chainage."""
    route = route_with(RISING)
    table = posts_table(route)
    assert set(table) == {*ROW, "longitude", "latitude"}
    place = np.array(table["chainage_m"], dtype=float)
    for name in ("longitude", "latitude"):
        expected = np.interp(place, route.chainage, getattr(route, name))
        np.testing.assert_allclose(np.array(table[name], dtype=float), expected, atol=6e-8)


def test_known_posts_beyond_the_line_are_left_out():
    """Worked: of posts at −1, 0, 50 and 51 km two lie on a line from 0 to 50 km; whole ones are every kilometre."""
    posts = Posts(np.array([-1000.0, 0.0, 50_000.0, 51_000.0]), np.array([9.0, 10.0, 60.0, 61.0]))
    table = rows_of(route_with(posts))
    assert [row[0] for row in table if row[2] == "known"] == ["10.000", "60.000"]
    assert len(table) == 51
    assert {row[4] for row in table[:-1]} == {"1000.0"}


def test_chainage_that_serves_as_posts():
    """Law: where no posts are stated there are whole ones of chainage only, none of them known."""
    route = dataclasses.replace(
        invented_profile().route, posts=Posts(np.array([0.0]), np.array([0.0]), "km", stated=False), known_posts=()
    )
    table = rows_of(route)
    assert {row[2] for row in table} == {"whole"}
    assert [row[0] for row in table] == [f"{post}.000" for post in range(51)]
