"""The profile itself: its draws, what it refuses, and what it is when travelled the other way."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from profiler.errors import InputError
from profiler.profile import Draws, reversed_profile
from profiler.route import Posts, Station
from profiler.vertical_curve import line_of
from tests.invented import invented_profile, seen_profile
from tests.tangents import of_pvis


def test_draws_between_and_beyond_nodes():
    """Worked: halfway between nodes at 10 and 20 m a draw is at 15 m; beyond the ends it stays level."""
    draws = Draws(np.array([0.0, 100.0, 160.0]), np.array([[10, 20, 14], [0, 0, 6]]))
    found = draws.at(np.array([-50.0, 0.0, 50.0, 100.0, 130.0, 160.0, 900.0]))
    np.testing.assert_allclose(found, [[10, 10, 15, 20, 17, 14, 14], [0, 0, 0, 0, 3, 6, 6]])


def test_draws_are_kept_from_change_and_must_fit():
    """Law: nobody writes into draws; one column a node."""
    draws = Draws(np.array([0.0, 1.0]), np.zeros((3, 2)))
    with pytest.raises(ValueError, match="read-only"):
        draws.elevation[0, 0] = 1
    with pytest.raises(InputError, match=r"draws: shape \(3, 2\); give \(d, 3\)"):
        Draws(np.array([0.0, 1.0, 2.0]), np.zeros((3, 2)))


def test_a_profile_has_no_holes():
    """Law: an elevation that is not a figure is refused; arrays have one value a station."""
    profile = of_pvis([0, 1000], [0.01])
    hole = profile.elevation.copy()
    hole[3] = math.nan
    with pytest.raises(InputError, match="elevation has holes"):
        dataclasses.replace(profile, elevation=hole)
    with pytest.raises(InputError, match=r"grade_se has shape \(2,\); give \(101,\)"):
        dataclasses.replace(profile, grade_se=np.zeros(2))


def test_travelled_the_other_way_by_hand():
    """Worked: climbs of 1 % over 300 m and 2 % over 200 m are falls of 2 %, then of 1 %."""
    turned = reversed_profile(of_pvis([0, 300, 500], [0.01, 0.02], step=100.0))
    np.testing.assert_allclose(turned.chainage, [0, 100, 200, 300, 400, 500])
    np.testing.assert_allclose(turned.elevation, [107, 105, 103, 102, 101, 100])
    np.testing.assert_allclose(turned.grade, -of_pvis([0, 300, 500], [0.01, 0.02], step=100.0).grade[::-1])
    np.testing.assert_allclose(turned.draws.at(turned.chainage)[0], turned.elevation)


def test_pvis_travelled_the_other_way():
    """Worked: the last PVI, from +0.65 % to −0.70 % 4 km before the end, is met first, from +0.70 % to −0.65 %.
    Law: both ways are one line, and twice is as before."""
    profile = seen_profile()
    turned = reversed_profile(profile)
    assert turned.pvis[0].chainage == 4000.0
    assert (turned.pvis[0].grade_in, turned.pvis[0].grade_out) == pytest.approx((0.007, -0.0065))
    z, grade = line_of(profile.pvis, profile.chainage)
    back, turned_grade = line_of(turned.pvis, turned.chainage)
    np.testing.assert_allclose(back[::-1], z, atol=1e-9)
    np.testing.assert_allclose(turned_grade[::-1], -grade, atol=1e-9)
    assert reversed_profile(turned).pvis == profile.pvis


def test_everything_along_the_line_turns():
    """Law: places are counted from the other end, hands change sides, order and labels stay right."""
    profile = invented_profile()
    turned = reversed_profile(profile)
    length = profile.route.length
    for there, back in zip(profile.route.curves, reversed(turned.route.curves), strict=True):
        assert back.start == pytest.approx(length - there.end)
        assert {back.hand, there.hand} == {"left", "right"}
        assert back.deflection == pytest.approx(-there.deflection)
        assert back.number == there.number
    assert turned.route.structures[-1].start == length - profile.route.structures[0].end
    assert turned.route.limits[0].speed == profile.route.limits[-1].speed
    assert turned.route.stations[0] == Station("Thistle Quay", length - 49_500.0)
    assert turned.route.ends == ("Thistle Quay", "Farrow")
    np.testing.assert_allclose(turned.degree, -profile.degree[::-1])
    heading = profile.route.heading[::-1]
    np.testing.assert_allclose(np.cos(turned.route.heading - heading), -1)
    np.testing.assert_array_equal(
        turned.route.structure_at(turned.chainage)[::-1], profile.route.structure_at(profile.chainage)
    )


@pytest.mark.parametrize(
    "posts",
    [
        Posts(np.array([0.0]), np.array([38.0]), "mi"),
        Posts(np.array([700.0, 700.0]), np.array([38.0, 40.0]), "mi"),
        Posts(np.array([0.0, 30_000.0]), np.array([120.0, 90.0]), "km", prefix="PK", plus=True),
        Posts(np.array([0.0, 21_500.0, 21_500.0, 40_000.0]), np.array([38.0, 51.36, 51.5, 63.0]), "mi"),
    ],
)
def test_posts_keep_their_labels(posts: Posts):
    """Law: the same place carries the same post whichever way one travels, a single post included."""
    profile = invented_profile()
    profile = dataclasses.replace(profile, route=dataclasses.replace(profile.route, posts=posts))
    turned = reversed_profile(profile)
    places = np.array([100.0, 699.0, 701.0, 12_345.0, 21_400.0, 21_600.0, 49_000.0])
    labels = posts.at(places)
    np.testing.assert_allclose(turned.route.posts.at(profile.route.length - places), labels, atol=1e-6)
    again = reversed_profile(turned)
    np.testing.assert_allclose(again.route.posts.at(places), labels, atol=1e-6)
    assert turned.route.posts.rising is not posts.rising
    assert (turned.route.posts.prefix, turned.route.posts.plus) == (posts.prefix, posts.plus)


def test_compensated_grade_by_hand():
    """Published: AREMA, 0.04 % a degree: 3° on 1 % is worth 1.12 % uphill, −0.88 % downhill."""
    profile = of_pvis([0, 1000], [0.01])
    k = np.full(profile.chainage.size, -math.sin(math.radians(1.5)) / 15.24)  # a chord of 100 ft
    profile = dataclasses.replace(profile, route=dataclasses.replace(profile.route, curvature=k))
    np.testing.assert_allclose(profile.degree, -3)
    np.testing.assert_allclose(profile.compensated_grade(), 0.0112, atol=1e-12)
    np.testing.assert_allclose(profile.compensated_grade("against"), -0.0088, atol=1e-12)


def test_compensation_is_the_profiles_own():
    """Published: 0.05 % a degree where trains may stop: 3° on 1 % is worth 1.15 %. Law: it turns with the profile."""
    profile = dataclasses.replace(of_pvis([0, 1000], [0.01]), curve_compensation=0.0005)
    k = np.full(profile.chainage.size, -math.sin(math.radians(1.5)) / 15.24)
    profile = dataclasses.replace(profile, route=dataclasses.replace(profile.route, curvature=k))
    np.testing.assert_allclose(profile.compensated_grade(), 0.0115, atol=1e-12)
    np.testing.assert_allclose(reversed_profile(profile).compensated_grade("against"), 0.0115, atol=1e-12)
