"""Posts there and back, and what a route refuses."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiler.errors import InputError
from profiler.route import CurveElement, Posts, Structure
from profiler.units import MILE
from tests.invented import invented_profile


def test_one_post_goes_on_at_the_length_of_its_unit():
    """Worked: ten miles past post 38 stands 48, two miles before it 36."""
    posts = Posts(np.array([5000.0]), np.array([38.0]), "mi")
    np.testing.assert_allclose(posts.at(5000 + MILE * np.array([10, -2])), [48, 36], atol=1e-6)
    assert posts.chainages(48.0) == pytest.approx((5000 + 10 * MILE,), abs=1e-4)


def test_between_posts_the_map_is_linear():
    """Worked: 1,700 m carry one mile of posts, halfway stands a half."""
    posts = Posts(np.array([0.0, 1700.0]), np.array([10.0, 11.0]), "mi")
    assert float(posts.at(850.0)) == pytest.approx(10.5)
    assert posts.chainages(10.25) == pytest.approx((425.0,))
    assert float(posts.at(1700 + MILE)) == pytest.approx(12.0, abs=1e-6)


def test_falling_posts():
    """Worked: posts that fall from km 120 to 119 go on falling beyond both ends."""
    posts = Posts(np.array([0.0, 1000.0]), np.array([120.0, 119.0]), "km")
    assert not posts.rising
    np.testing.assert_allclose(posts.at(np.array([-500.0, 250.0, 3000.0])), [120.5, 119.75, 117], atol=1e-6)
    assert posts.chainages(117.0) == pytest.approx((3000.0,), abs=1e-4)


def test_short_mile():
    """Worked: 51.36 back = 51.50 ahead at 21,500 m: no place carries 51.40, ahead counts at the place."""
    posts = Posts(np.array([0.0, 21500.0, 21500.0]), np.array([38.0, 51.36, 51.50]), "mi")
    assert float(posts.at(21500.0)) == pytest.approx(51.50)
    assert float(posts.at(21499.99)) == pytest.approx(51.36, abs=1e-4)
    assert posts.chainages(51.40) == ()
    assert posts.chainages(51.36) == posts.chainages(51.50) == pytest.approx((21500.0,), abs=1e-4)


def test_long_mile():
    """Worked: 51.50 back = 51.36 ahead: 51.40 stands before the equation and 0.04 mi after it."""
    posts = Posts(np.array([0.0, 21500.0, 21500.0]), np.array([38.0, 51.50, 51.36]), "mi")
    before, after = posts.chainages(51.40)
    assert before == pytest.approx(21500 * 13.4 / 13.5)
    assert after == pytest.approx(21500 + 0.04 * MILE, abs=1e-4)


def test_equation_on_falling_posts():
    """Worked: km 80.2 back = 80.0 ahead on falling posts leaves out what lies between."""
    posts = Posts(np.array([0.0, 800.0, 800.0, 1800.0]), np.array([81.0, 80.2, 80.0, 79.0]), "km")
    assert not posts.rising
    assert posts.chainages(80.1) == ()
    assert posts.chainages(79.5) == pytest.approx((1300.0,))


@st.composite
def lines_of_posts(draw: st.DrawFn) -> Posts:
    """Posts that rise or fall at 0.8 to 1.2 of their unit, with equations among them."""
    sign, unit_m = draw(st.sampled_from([1, -1])), draw(st.sampled_from([1000.0, MILE]))
    chainage, value = [0.0], [draw(st.floats(-50, 500))]
    for _ in range(draw(st.integers(0, 6))):
        if draw(st.booleans()):
            chainage.append(chainage[-1])
            value.append(value[-1] + draw(st.floats(-2, 2)))
        step = draw(st.floats(50, 5000))
        chainage.append(chainage[-1] + step)
        value.append(value[-1] + sign * step / unit_m * draw(st.floats(0.8, 1.2)))
    return Posts(np.array(chainage), np.array(value), "km" if unit_m == 1000 else "mi")


@given(lines_of_posts(), st.lists(st.floats(-3000, 40_000), min_size=1, max_size=8))
def test_every_place_is_among_those_that_carry_its_post(posts: Posts, places: list[float]):
    """Law: `chainages` is the inverse of `at`, and whatever it gives does carry the post."""
    for place, post in zip(places, posts.at(np.array(places)).tolist(), strict=True):
        found = posts.chainages(post)
        assert min(abs(place - x) for x in found) < 1e-3
        assert list(found) == sorted(found)
        for x in found:
            either_side = posts.at(np.array([x - 1e-3, x, x + 1e-3]))  # an equation jumps here
            assert np.abs(either_side - post).min() < 1e-5


@pytest.mark.parametrize(
    ("chainage", "value", "unit", "words"),
    [
        ([0.0], [1.0], "ft", "unit 'ft' is not known; write km or mi"),
        ([], [], "km", "no post is tied to a place"),
        ([0.0, 1.0], [1.0], "km", "no post is tied to a place"),
        ([1000.0, 0.0], [1.0, 2.0], "km", "places do not follow the line"),
        ([0.0, 1000.0, 2000.0], [1.0, 2.0, 1.5], "km", "post 1.5 repeats or turns back"),
        ([0.0, 1000.0, 2000.0, 3000.0], [9.0, 1.0, 2.0, 3.0], "km", "post 1 repeats or turns back"),
        ([0.0, 1000.0], [1.0, 1.0], "km", "post 1 repeats or turns back"),
        ([0.0, math.nan], [1.0, 2.0], "km", "no figure or no place"),
        ([0.0, 1000.0], [1.0, math.inf], "km", "no figure or no place"),
    ],
)
def test_posts_that_make_no_map(chainage: list[float], value: list[float], unit: str, words: str):
    """Law: a map of posts is monotone between equations; each refusal says why."""
    with pytest.raises(InputError, match=words):
        Posts(np.array(chainage), np.array(value), unit)


def test_route_refuses_stations_that_do_not_advance():
    """Law: chainage increases strictly; NaN and unequal lengths are refused too."""
    route = invented_profile(step=1000.0).route
    for bad in (route.chainage[3], math.nan):
        chainage = np.r_[route.chainage[:4], bad, route.chainage[5:]]
        with pytest.raises(InputError, match="chainage does not increase at station 4"):
            dataclasses.replace(route, chainage=chainage)
    with pytest.raises(InputError, match="one value a station"):
        dataclasses.replace(route, heading=route.heading[1:])
    one = {n: np.zeros(1) for n in ("chainage", "longitude", "latitude", "heading", "curvature")}
    with pytest.raises(InputError, match="n >= 2"):
        dataclasses.replace(route, **one)


def test_arrays_are_our_own():
    """Law: a route keeps its own copy, and nobody writes into it."""
    chainage = np.array([0.0, 1000.0])
    posts = Posts(chainage, np.array([1.0, 2.0]))
    chainage[0] = 500.0
    assert posts.chainage[0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        posts.value[0] = 7.0


def test_structures_at_stations():
    """Worked: in a tunnel 1, on a bridge 2, both ends counted in; elsewhere 0."""
    route = dataclasses.replace(
        invented_profile(step=1000.0).route,
        structures=(Structure("tunnel", 1000, 2000), Structure("bridge", 3000, 3500)),
    )
    at = route.structure_at(np.array([999.9, 1000, 2000, 2000.1, 3200]))
    np.testing.assert_array_equal(at, [0, 1, 1, 0, 2])
    assert route.length == 50_000


def test_curve_element_by_hand():
    """Worked: R 500 m to the right, 600 m with spirals of 100 and 60 m: −(600 − 80)/500 = −1.04 rad."""
    curve = CurveElement("1A", "simple", 1000, 1600, 100, 60, -1 / 500, 1e-5)
    assert curve.hand == "right"
    assert curve.radius == pytest.approx(500)
    assert curve.deflection == pytest.approx(-1.04)
