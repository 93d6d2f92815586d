"""What people call the curves of a line, and how each lies to its neighbours."""

from __future__ import annotations

import dataclasses
import io

import numpy as np
import pandas as pd
import pytest

from profiler.alignment.numbering import BROKEN_BACK_TANGENT, LETTERS, REVERSE_TANGENT, numbered
from profiler.alignment.route import part_of_route
from profiler.profile import reversed_profile
from profiler.route import CurveElement, Posts
from tests.invented import invented_profile

KM = Posts(np.array([0.0]), np.array([0.0]), "km")


def curve(
    start: float, end: float, curvature: float, spiral_in: float = 40.0, spiral_out: float = 40.0
) -> CurveElement:
    return CurveElement("", "", start, end, spiral_in, spiral_out, curvature, 1e-5)


def names(curves: list[CurveElement], posts: Posts = KM) -> list[tuple[str, str]]:
    return [(c.number, c.kind) for c in numbered(curves, posts)]


def turned(curves: list[CurveElement], total: float) -> list[CurveElement]:
    return [curve(total - c.end, total - c.start, -c.curvature, c.spiral_out, c.spiral_in) for c in reversed(curves)]


def line_of_every_kind() -> list[CurveElement]:
    """A compound curve of two, a reverse pair that shares its spiral, a broken back, one alone."""
    return [
        curve(100, 500, 0.002),
        curve(460, 900, 0.004),
        curve(1300, 1600, -0.003),
        curve(1560, 1900, 0.003),
        curve(2400, 2700, 0.002),
        curve(2760, 2950, 0.003),
        curve(4200, 4400, -0.001),
    ]


def test_numbers_and_kinds():
    """Worked: middles at km 0.50, 1.45, 1.73, 2.55, 2.86, 4.30; arcs 1 and 2 overlap, so do 3 and 4 of
    opposite hands, and 60 m of tangent lie between the next two of one hand."""
    assert names(line_of_every_kind()) == [
        ("0A.1", "compound"),
        ("0A.2", "compound"),
        ("1A", "reverse"),
        ("1B", "reverse"),
        ("2A", "broken_back"),
        ("2B", "broken_back"),
        ("4A", "simple"),
    ]


def test_the_same_names_whichever_way_the_line_was_drawn():
    """Law: numbers follow the posts, not the chainage; kinds have no direction."""
    curves, total = line_of_every_kind(), 5000.0
    falling = Posts(np.array([0.0, total]), np.array([5.0, 0.0]), "km")
    assert names(turned(curves, total), falling) == names(curves)[::-1]


def test_posts_below_zero():
    """Worked: posts begin at −0.8, so middles at 500 m and 700 m are −0.3 and −0.1, whole post −1 below both."""
    posts = Posts(np.array([0.0]), np.array([-0.8]), "km")
    found = names([curve(400, 600, 0.002), curve(650, 750, -0.002, 20, 20), curve(2000, 2200, 0.002)], posts)
    assert [number for number, _ in found] == ["-1A", "-1B", "1A"]


def test_a_middle_at_a_whole_post_belongs_to_it():
    """Worked: 0.1 + 0.2 + … does not give whole posts to the last bit; the curve at post 3 is still 3A."""
    posts = Posts(np.array([0.0]), np.array([0.1 + 0.2 - 0.3 - 1e-9]), "km")
    assert names([curve(2900, 3100, 0.002)], posts) == [("3A", "simple")]


def test_more_curves_than_letters():
    """Worked: after the last letter come two; every number is there once."""
    curves = [curve(10 * i, 10 * i + 5, 0.01 * (-1) ** i, 0, 0) for i in range(2 * len(LETTERS) + 1)]
    found = [number for number, _ in names(curves)]
    assert len(set(found)) == len(found)
    assert found[len(LETTERS) - 1 : len(LETTERS) + 1] == [f"0{LETTERS[-1]}", "0AA"]
    assert found[-1] == "0BA"


def test_numbers_at_an_equation_that_repeats_a_post():
    """Worked: at 2 km the post falls back from 2.0 to 1.0; curves at 1.5 km and 2.5 km both lie past post 1."""
    posts = Posts(np.array([0.0, 2000.0, 2000.0, 4000.0]), np.array([0.0, 2.0, 1.0, 3.0]), "km")
    found = names([curve(1400, 1600, 0.002), curve(2400, 2600, 0.002)], posts)
    assert [number for number, _ in found] == ["1A", "1B"]


@pytest.mark.parametrize("number", [f"62{letter}" for letter in LETTERS])
def test_a_number_is_text_to_a_reader_of_tables(number: str):
    """Outside: pandas takes none for a figure, alone in its column, with or without an arc."""
    for text in (number, f"{number}.1", f"{number}1"):
        column = pd.read_csv(io.StringIO(f"number\n{text}\n"))["number"]
        assert column[0] == text


def test_how_short_a_tangent_counts():
    """Law: a hair under the limits makes reverse and broken-back curves, at the limits they are simple."""
    for hand, limit, kind in ((-1, REVERSE_TANGENT, "reverse"), (1, BROKEN_BACK_TANGENT, "broken_back")):
        for tangent, expected in ((limit - 0.1, kind), (limit, "simple")):
            pair = [curve(100, 300, 0.002), curve(300 + tangent, 600, hand * 0.002)]
            assert [k for _, k in names(pair)] == [expected] * 2


def test_arcs_that_meet_without_a_spiral_are_compound():
    """Law: curvature that does not come back to zero makes one curve; where spirals end at one place it
    does come back, and the two are broken-back."""
    abrupt = [curve(100, 300, 0.002, 40, 0), curve(300, 500, 0.004, 0, 40)]
    assert names(abrupt) == [("0A.1", "compound"), ("0A.2", "compound")]
    assert [k for _, k in names([curve(100, 300, 0.002), curve(300, 500, 0.004)])] == ["broken_back"] * 2


def test_compound_wins_over_reverse_and_reverse_over_broken_back():
    """Law: the order stated where kinds are set."""
    before_compound = [curve(100, 300, -0.002), curve(310, 500, 0.002), curve(460, 700, 0.004)]
    assert [k for _, k in names(before_compound)] == ["reverse", "compound", "compound"]
    both = [curve(100, 300, 0.002), curve(350, 500, 0.002), curve(510, 700, -0.004)]
    assert [k for _, k in names(both)] == ["broken_back", "reverse", "reverse"]


def test_what_is_cut_out_or_turned_round_keeps_its_numbers():
    """Law: the number is the curve's, by its post, on any part of the line and in either direction."""
    profile = invented_profile()
    route = dataclasses.replace(profile.route, curves=numbered(profile.route.curves, profile.route.posts))
    part = part_of_route(route, 1400, 3400)
    kept = [c for c in route.curves if c.start > 14_000 and c.end < 34_000]
    assert [c.number for c in part.curves] == [c.number for c in kept]
    assert len(kept) > 3
    assert [c.number for c in part.curves] == [c.number for c in numbered(part.curves, part.posts)]
    back = reversed_profile(dataclasses.replace(profile, route=route)).route
    assert [c.number for c in back.curves] == [c.number for c in reversed(route.curves)]
    assert back.curves == numbered(back.curves, back.posts)


def test_no_curves():
    """Law: a straight line has nothing to name."""
    assert numbered([], KM) == ()
