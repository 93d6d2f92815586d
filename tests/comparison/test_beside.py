"""Lines side by side: their figures, their differences, and the axis they share."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from profiler.comparison.beside import compare_beside, interval_of_difference, told_apart
from profiler.comparison.figures import Figure, figures_of
from profiler.errors import InputError
from profiler.landmarks.find import LandmarkSettings, find_landmarks
from profiler.profile import Draws, Profile, reversed_profile
from profiler.route import Posts
from profiler.units import MILE, curvature_of_degree
from tests.invented import invented_profile

LENGTHS = LandmarkSettings().train_lengths


def of_route(profile: Profile, **changes: object) -> Profile:
    return dataclasses.replace(profile, route=dataclasses.replace(profile.route, **changes))


def lifted(profile: Profile, by: float) -> Profile:
    """The whole line higher. [m]"""
    draws = Draws(profile.draws.chainage, profile.draws.elevation + by)
    return dataclasses.replace(profile, elevation=profile.elevation + by, draws=draws)


def figures(profile: Profile) -> dict[tuple[str, str], Figure]:
    found = figures_of(profile, find_landmarks(profile), LENGTHS)
    return {(f.key, f.direction): f for f in found if f.train_length in (None, LENGTHS[0])}


def test_rise_and_fall_between_the_turning_points():
    """Worked: 6000 × 0.0025 + 6000 × 0.0085 + 12500 × 0.0135 + 3000 × 0.0065 = 254.25 m up, and 1500 × 0.004 +
    5000 × 0.015 + 6500 × 0.0245 + 5500 × 0.011 + 4000 × 0.007 = 328.75 m down; the other way they change places."""
    found = figures(invented_profile())
    assert found["rise", "with"].value == found["fall", "against"].value == pytest.approx(254.25)
    assert found["fall", "with"].value == found["rise", "against"].value == pytest.approx(328.75)
    assert found["rise", "with"].low < 254.25 < found["rise", "with"].high


def test_rise_is_as_sure_as_its_turning_points():
    """Worked: one climb whose ends have independent errors of 1.5 m in the draws is sure to 1.96 × 1.5 × √2 m; draws
    rough in between say nothing of it."""
    rng = np.random.default_rng(1)
    plain = invented_profile()
    z = 100 + 0.005 * plain.chainage
    nodes = plain.draws.chainage
    rough = rng.normal(scale=1.5, size=(4000, nodes.size))
    profile = dataclasses.replace(
        plain, elevation=z, grade=np.full(z.size, 0.005), draws=Draws(nodes, 100 + 0.005 * nodes + rough)
    )
    rise = next(f for f in figures_of(profile, find_landmarks(plain), LENGTHS) if f.key == "rise")
    assert rise.value == pytest.approx(250)
    assert (rise.high - rise.low) / 2 == pytest.approx(1.96 * 1.5 * np.sqrt(2), rel=0.05)


def test_curves_and_structures():
    """Worked: nine curves of 600 m on 50 km are 10.8 %, turning |k| × (600 − 90) each; tunnels of 2100 and 350 m,
    a bridge of 400 m; the sharpest has 8 degrees."""
    found = figures(invented_profile())
    turned = sum(float(curvature_of_degree(d)) * 510 for d in (1, 3, 5, 4, 3, 8, 6, 7, 2))
    assert found["total_curvature", "both"].value == pytest.approx(np.degrees(turned))
    assert found["total_curvature", "both"].low is None
    assert found["in_curves", "both"].value == pytest.approx(10.8)
    assert found["tunnels", "both"].value == pytest.approx(2450)
    assert found["bridges", "both"].value == pytest.approx(400)
    assert found["sharpest_curve", "both"].value == pytest.approx(8)
    assert found["curves", "both"].value == 9


def test_arcs_of_a_compound_curve_are_one_curve():
    """Worked: two arcs numbered 44A.1 and 44A.2 that overlap by 100 m, the first of 600 m, cover 1,100 m; with the
    errors of their angles, 3 and 4 mrad, the sum is sure to 1.96 × 5 mrad."""
    profile = invented_profile()
    first = profile.route.curves[4]
    arcs = (
        dataclasses.replace(first, number="44A.1", kind="compound", deflection_se=0.003),
        dataclasses.replace(
            first, number="44A.2", kind="compound", start=first.end - 100, end=first.end + 500, deflection_se=0.004
        ),
    )
    found = figures(of_route(profile, curves=arcs))
    assert found["curves", "both"].value == 1
    assert found["in_curves", "both"].value == pytest.approx(100 * 1100 / 50_000)
    half = found["total_curvature", "both"].high - found["total_curvature", "both"].value
    assert half == pytest.approx(np.degrees(1.96 * 0.005))


def test_interval_of_a_difference():
    """Worked (Zou and Donner 2008, eq. 3): 10 (8 to 13) from 15 (14 to 17) leaves 5, √(1² + 3²) down and
    √(2² + 2²) up; without an interval of one there is none."""
    a = Figure(key="rise", unit="m", value=10, low=8, high=13)
    b = Figure(key="rise", unit="m", value=15, low=14, high=17)
    assert interval_of_difference(a, b) == pytest.approx((5 - np.sqrt(10), 5 + np.sqrt(8)))
    low, high = interval_of_difference(b, a)
    assert (low, high) == pytest.approx((-5 - np.sqrt(8), -5 + np.sqrt(10)))
    assert interval_of_difference(a, dataclasses.replace(b, low=None)) == (None, None)


def test_a_line_beside_itself():
    """Law: every difference is nought, and none is clear."""
    profile = invented_profile()
    found = compare_beside([profile, profile]).differences
    assert {d.figure.key for d in found} >= {"length", "rise", "summit", "ruling_grade", "curves", "tunnels"}
    assert all(d.value == 0 for d in found)
    assert {d.verdict for d in found} == {"within the uncertainty", ""}


def test_only_the_summit_knows_of_a_lifted_line():
    """Law: 40 m higher everywhere, and nothing else differs; with errors of 1.5 m that is clear."""
    profile = invented_profile()
    found = compare_beside([profile, lifted(profile, 40.0)]).differences
    apart = [d for d in found if abs(d.value) > 1e-6]
    assert [d.figure.key for d in apart] == ["summit"]
    assert apart[0].value == pytest.approx(40)
    assert apart[0].verdict == "clear"
    assert apart[0].high - apart[0].low == pytest.approx(2 * np.hypot(1.96 * 1.5, 1.96 * 1.5), rel=0.01)


@pytest.mark.parametrize("stated", [True, False])
def test_a_line_drawn_the_other_way_is_turned(stated: bool):
    """Law: the reverse of a line is the same line; by its posts, or where it has none by where its ends lie. Places
    are given in its own chainage: the sharpest curve, 28,000 m from one end, is 22,000 m from the other."""
    profile = invented_profile()
    back = reversed_profile(profile)
    if not stated:
        profile, back = (of_route(p, posts=dataclasses.replace(p.route.posts, stated=False)) for p in (profile, back))
    beside = compare_beside([profile, back])
    side = beside.sides[1]
    assert side.turned
    assert beside.by_posts == stated
    assert all(abs(d.value) < 1e-6 for d in beside.differences)
    assert side.own(side.figure("sharpest_curve").at) == pytest.approx(22_000)
    assert any("turned" in said for said in beside.remarks)


def test_common_posts_make_one_axis():
    """Worked: a second line of the same posts that is 2 % shorter stands, over posts, where the first does; over
    distance it ends 1,000 m before it."""
    profile = invented_profile()
    shorter = of_route(
        profile,
        chainage=profile.chainage * 0.98,
        posts=Posts(np.array([0.0, 49_000.0]), np.array([38.0, 38 + 50_000 / MILE]), "mi"),
        **dict.fromkeys(("curves", "structures", "stations", "limits", "slow_orders"), ()),
    )
    beside = compare_beside([profile, shorter])
    assert beside.by_posts
    np.testing.assert_allclose(beside.sides[1].places, beside.sides[0].places, atol=1e-6)
    assert (beside.start, beside.end) == pytest.approx((0.0, 50_000.0))
    assert float(beside.axis.at(0.0)) == 38.0
    unstated = of_route(shorter, posts=dataclasses.replace(shorter.route.posts, stated=False))
    beside = compare_beside([profile, unstated])
    assert not beside.by_posts
    assert beside.sides[1].places[-1] == pytest.approx(49_000)
    length = next(d for d in beside.differences if d.figure.key == "length")
    assert (length.value, length.verdict) == (pytest.approx(-1000), "")


def test_posts_that_do_not_meet_are_no_axis():
    """Law: lines of other posts are set side by side from their starts, and it is said."""
    profile = invented_profile()
    far = of_route(profile, posts=Posts(np.array([0.0]), np.array([400.0]), "mi"))
    beside = compare_beside([profile, far])
    assert not beside.by_posts
    assert any("hardly any posts" in said for said in beside.remarks)


def test_datums_and_units_are_said():
    """Law: heights of two datums are not subtracted; people read the first line's units."""
    other = dataclasses.replace(invented_profile("metric"), vertical_datum="EGM96")
    beside = compare_beside([invented_profile(), other])
    assert beside.units == "us"
    assert {side.profile.units for side in beside.sides} == {"us"}
    assert "summit" not in {d.figure.key for d in beside.differences}
    said = " ".join(beside.remarks)
    assert "EGM2008, EGM96" in said
    assert "US, as A" in said


def test_curves_are_compensated_alike():
    """Law: the first line's compensation holds for all, so that a line differs from itself in nothing; it is said."""
    profile = invented_profile()
    other = dataclasses.replace(profile, curve_compensation=2 * profile.curve_compensation)
    beside = compare_beside([profile, other])
    assert all(d.value == 0 for d in beside.differences)
    assert any("compensate curves differently: 0.04 % a degree" in said for said in beside.remarks)


def test_a_train_longer_than_the_line_has_no_ruling_grade():
    """Law: no figure where there is none, and no difference of it."""
    profile = invented_profile()
    beside = compare_beside([profile, profile], settings=LandmarkSettings(train_lengths=(60_000.0,)))
    assert beside.sides[0].figure("ruling_grade", "with", 60_000.0).value is None
    assert "ruling_grade" not in {d.figure.key for d in beside.differences}


def test_names():
    """Law: the one name of a line is kept; of equal names, and for none, the source's own is said."""
    assert told_apart(["Low", "High"], ["a", "b"]) == ("Low", "High")
    assert told_apart(["Low", "Low", ""], ["a", "b", "c"]) == ("Low (a)", "Low (b)", "c")
    assert told_apart([""]) == ("line without a name",)


@pytest.mark.parametrize(("count", "words"), [(1, "only one line"), (7, "7 lines cannot be told apart")])
def test_too_few_and_too_many(count: int, words: str):
    """Law: two to six, everything else is refused in a sentence."""
    with pytest.raises(InputError, match=words):
        compare_beside([invented_profile(step=100.0)] * count)
