"""Posts: read from text, from pieces, from stated places."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiler.alignment.posts import (
    chainage_only,
    field_texts,
    parse_post,
    post_of_field,
    posts_from_anchors,
    posts_from_pieces,
    with_equations,
    written_style,
)
from profiler.alignment.spans import PieceSpan
from profiler.centreline import Piece
from profiler.errors import InputError
from profiler.units import KILOMETRE, MILE

LINE = np.array([0.0, 1.0])


def span(start: float, end: float, shares: tuple[float, float] = (0, 1), row: int = 1, **attributes: object):
    return PieceSpan(Piece(LINE, LINE, attributes, row), start, end, *shares)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("54.3", "mi", 54.3),
        ("MP 54.3", "mi", 54.3),
        ("post 7", "mi", 7),
        ("12+2112", "mi", 12.4),
        ("0+528", "mi", 0.1),
        ("km 133.1", "km", 133.1),
        ("PK 133+100", "km", 133.1),
        ("133+100", "km", 133.1),
        (" 133 + 100.5 ", "km", 133.1005),
        ("133,1", "km", 133.1),
        ("-0.25", "km", -0.25),
    ],
)
def test_posts_as_people_write_them(text: str, unit: str, value: float):
    """Worked: after a plus stand metres in kilometres, feet in miles: 2,112 ft are 0.4 of 5,280."""
    assert parse_post(text, unit) == pytest.approx(value)


@pytest.mark.parametrize(
    "text", ["", "here", "12+", "+12", "1.2.3", "12 13", "km", "1e5", "inf", "nan", "12+-5", "12;4"]
)
def test_what_is_no_post(text: str):
    """Law: rubbish is refused in one sentence that shows it."""
    with pytest.raises(InputError, match=r"stations\[1\]: '.*' is no post; write it like 12.40, km 133.1 or 12\+2112"):
        parse_post(text, "km", "stations[1]")


@pytest.mark.parametrize(("text", "unit"), [("km 133.1", "mi"), ("MP 54.3", "km"), ("pk 5", "mi"), ("mile 3", "km")])
def test_another_unit_is_refused(text: str, unit: str):
    """Law: a unit is never guessed: a post that names another one is an error."""
    with pytest.raises(InputError, match=f"is no post in {unit}"):
        parse_post(text, unit)


def test_below_zero_with_a_plus():
    """Law: whether "-1+250" lies before or beyond -1 nobody can tell: refused with what to write instead."""
    with pytest.raises(InputError, match=r"can be read in two ways; write a post below 0 like -0\.25"):
        parse_post("-1+250", "km")


@pytest.mark.parametrize(
    ("groups", "style"),
    [
        ([["12.40", "54.3"]], ("", False)),
        ([["38", "12+2112"]], ("", True)),
        ([["km 133.1", "pk 4", "km 5"]], ("km", False)),
        ([["PK 133+100"]], ("PK", True)),
        ([["mp 7"]], ("MP", False)),
        ([["mile 7.5"]], ("mi", False)),
        ([["post 7"]], ("", False)),
        ([["12.4", "13+000", "14+000"]], ("", True)),
        ([["38", "39"], ["km 5"]], ("km", False)),
        ([["12.4"], ["km 5", "km 6"]], ("", False)),
        ([["38"], ["here"]], (None, False)),
        ([], (None, False)),
    ],
)
def test_how_posts_are_written(groups: list[list[str]], style: tuple[str | None, bool]):
    """Law: most of the first group that tells decide; a bare whole number goes with any style."""
    assert written_style(*groups) == style


def test_figures_of_fields_do_not_tell():
    """Law: a column of figures, as numbers or as text, says nothing of how people write posts."""
    assert field_texts([133.1, "133.1", None, "133+100", "km 5", 7]) == ("133+100", "km 5")


def test_posts_of_fields():
    """Worked: metres into kilometres; text that says its unit keeps it; nothing is nothing."""
    assert post_of_field(133_100, "km", 1.0, "row 1") == pytest.approx(133.1)
    assert post_of_field("133100", "km", 1.0, "row 1") == pytest.approx(133.1)
    assert post_of_field("133+100", "km", 1.0, "row 1") == pytest.approx(133.1)
    assert post_of_field(5e-05, "km", KILOMETRE, "row 1") == 5e-05
    assert post_of_field(None, "km", 1.0, "row 1") is None


@given(st.floats(0, 900).map(lambda x: round(x, 3)), st.sampled_from(["km", "mi"]))
def test_there_and_back(value: float, unit: str):
    """Law: whole and rest, written with a plus, are the same post."""
    whole, part = divmod(value, 1.0)
    rest = part * (1000 if unit == "km" else 5280)
    assert parse_post(f"{whole:.0f}+{rest:.4f}", unit) == pytest.approx(value, abs=1e-6)


def test_pieces_carry_posts():
    """Worked: pieces of 10–12 and 12–15 km over 2,010 and 2,990 m: posts are linear inside each."""
    posts = posts_from_pieces([span(0, 2010, a=10, b=12), span(2010, 5000, a=12, b=15)], "a", "b", KILOMETRE, "km")
    np.testing.assert_allclose(posts.at(np.array([0, 1005, 2010, 5000, 5500])), [10, 11, 12, 15, 15.5], atol=1e-6)
    assert posts.chainage.size == 3


def test_a_piece_turned_round_and_one_cut():
    """Worked: a piece drawn against the line falls from 12 to 10 along it; of one cut to its last two
    thirds (9 to 12) the line begins at 10."""
    turned = posts_from_pieces([span(0, 2000, (1, 0), a=10, b=12)], "a", "b", KILOMETRE, "km")
    np.testing.assert_allclose(turned.at(np.array([0.0, 2000.0])), [12, 10])
    cut = posts_from_pieces([span(0, 2000, (1 / 3, 1), a=9, b=12)], "a", "b", KILOMETRE, "km")
    np.testing.assert_allclose(cut.at(np.array([0.0, 2000.0])), [10, 12])


def test_a_joint_where_posts_jump():
    """Worked: 12.0 back and 12.3 ahead at 2,000 m is an equation; 12.01 ahead (10 m) is the same post."""
    posts = posts_from_pieces([span(0, 2000, a=10, b=12), span(2000, 4000, a=12.3, b=14.3)], "a", "b", KILOMETRE, "km")
    assert posts.chainages(12.15) == ()
    assert float(posts.at(2000.0)) == pytest.approx(12.3)
    assert float(posts.at(1999.999)) == pytest.approx(12, abs=1e-5)
    same = posts_from_pieces([span(0, 2000, a=10, b=12), span(2000, 4000, a=12.01, b=14)], "a", "b", KILOMETRE, "km")
    assert same.chainages(12.005) != ()


def test_fields_in_metres_and_miles():
    """Worked: fields in metres for posts in km; a piece of 1.5 miles from mile 3."""
    metres = posts_from_pieces([span(0, 500, a="2000", b="2500")], "a", "b", 1.0, "km")
    np.testing.assert_allclose(metres.at(np.array([0.0, 500.0])), [2, 2.5])
    miles = posts_from_pieces([span(0, 1.5 * MILE, a=3, b=4.5)], "a", "b", MILE, "mi")
    assert float(miles.at(MILE)) == pytest.approx(4)


def test_pieces_without_posts():
    """Law: pieces without both are passed over; if none is left it is an error that names the fields,
    and a field that holds rubbish names its row."""
    posts = posts_from_pieces([span(0, 1000, a=1), span(1000, 3000, a=2, b=4)], "a", "b", KILOMETRE, "km")
    assert float(posts.at(0.0)) == pytest.approx(1)
    with pytest.raises(InputError, match="no piece carries both 'a' and 'b'"):
        posts_from_pieces([span(0, 1000, a=1)], "a", "b", KILOMETRE, "km")
    with pytest.raises(InputError, match="row 7, field b: 'Farrow' is no post"):
        posts_from_pieces([span(0, 1000, row=7, a=1, b="Farrow")], "a", "b", KILOMETRE, "km")


def test_anchors_in_any_order():
    """Law: stated posts need not be in order; chainage alone counts from the start, unstated."""
    posts = posts_from_anchors([(8000.0, 46.0), (0.0, 41.0)], "mi")
    np.testing.assert_allclose(posts.at(np.array([0.0, 4000.0])), [41, 43.5])
    bare = chainage_only("km")
    assert not bare.stated
    assert float(bare.at(2500.0)) == pytest.approx(2.5, abs=1e-6)


def test_equations_set_in():
    """Worked: at 21,500 m 51.36 back is 51.50 ahead; a second one further on, given first."""
    posts = with_equations(
        posts_from_anchors([(0.0, 38.0), (60_000.0, 76.0)], "mi"), [(40_000, 63.0, 62.5), (21_500, 51.36, 51.50)]
    )
    np.testing.assert_allclose(posts.chainage, [0, 21_500, 21_500, 40_000, 40_000, 60_000])
    np.testing.assert_allclose(posts.value, [38, 51.36, 51.5, 63, 62.5, 76])
    assert posts.chainages(51.4) == ()
    assert len(posts.chainages(62.7)) == 2
