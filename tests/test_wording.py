"""Figures as people read them."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiler import wording
from profiler.alignment.posts import parse_post
from profiler.landmark import KINDS
from profiler.route import Posts
from profiler.units import FOOT, MILE, MPH, curvature_of_degree
from tests.invented import invented_profile

NARROW = "\u202f"


@pytest.mark.parametrize(
    ("value", "decimals", "units", "text"),
    [
        (1234567.0, 0, "us", "1,234,567"),
        (1234567.0, 0, "metric", f"1{NARROW}234{NARROW}567"),
        (-1234.5, 1, "us", "\u22121,234.5"),
        (-12.0, 0, "metric", "\u221212"),
        (-0.04, 1, "us", "0.0"),
        (999.96, 1, "us", "1,000.0"),
    ],
)
def test_number(value: float, decimals: int, units: str, text: str):
    """Law of the house: true minus, commas in US units, thin spaces in metric, no minus before zero."""
    assert wording.number(value, decimals, units=units) == text


def test_number_with_sign():
    """Law of the house: a sign is written on request, never on zero."""
    signs = [wording.number(x, 1, sign=True) for x in (1.2, -1.2, 0.0, -0.01, 0.01)]
    assert signs == ["+1.2", "\u22121.2", "0.0", "0.0", "0.0"]


@pytest.mark.parametrize(
    ("se_pct", "us", "metric"),
    [
        (0.0, "1.35 %", "13.5 ‰"),
        (0.05, "1.35 %", "13.5 ‰"),
        (0.06, "1.4 %", "14 ‰"),
        (0.25, "1.4 %", "14 ‰"),
        (0.26, "≈1.4 %", "≈14 ‰"),
    ],
)
def test_digits_follow_certainty(se_pct: float, us: str, metric: str):
    """Law of the house: standard error up to 0.05 % two decimals (‰: one), up to 0.25 % one (‰:
    none), beyond that "≈" before it. 1.352 % is 13.52 ‰."""
    assert wording.grade_text(0.01352, "us", se_pct / 100) == us
    assert wording.grade_text(0.01352, "metric", se_pct / 100) == metric


def test_falling_grade_has_a_true_minus():
    """Worked: -0.0245 m/m is −2.45 % or −24.5 ‰."""
    assert wording.grade_text(-0.0245, "us") == "\u22122.45 %"
    assert wording.grade_figure(0.0245, "metric", sign=True) == "+24.5"


def test_heights_lengths_and_speeds():
    """Worked: 1,040 ft, 16.3 miles and 25 mph said back in their own unit, and in the other."""
    assert wording.elevation_text(1040 * FOOT, "us") == "1,040 ft"
    assert wording.elevation_text(1040 * FOOT, "metric") == "317 m"
    assert wording.distance_text(16.3 * MILE, "us") == "16.3 mi"
    assert wording.distance_text(16.3 * MILE, "metric", 2) == "26.23 km"
    assert f"{wording.speed_figure(25 * MPH, 'us')} {wording.speed_unit('us')}" == "25 mph"
    assert f"{wording.speed_figure(25 * MPH, 'metric')} {wording.speed_unit('metric')}" == "40 km/h"


@pytest.mark.parametrize(
    ("degree", "us", "metric"), [(6, "6°", "290 m"), (-0.8, "0.8°", "2{}180 m"), (30, "30°", "59 m")]
)
def test_curves(degree: float, us: str, metric: str):
    """Worked: radius 291.20, 2182.97 and 58.88 m by the 100-ft chord; to 10 m above 100 m."""
    curvature = float(curvature_of_degree(degree))
    assert wording.curve_text(curvature, "us") == us
    assert wording.curve_text(curvature, "metric") == metric.format(NARROW)


def test_straight_track_has_no_radius():
    """Law: curvature nought is no number of metres."""
    assert "inf" in wording.curve_text(0.0, "metric")


def test_posts():
    """Worked: 16.3 miles past post 38 stands 54.3; a negative post has a true minus."""
    miles = Posts(np.array([0.0]), np.array([38.0]), "mi")
    assert wording.post_text(miles, 16.3 * MILE) == "54.3"
    km = Posts(np.array([0.0]), np.array([150.06]), "km")
    assert wording.post_text(km, 0.0) == "km 150.1"
    assert wording.post_text(km, -151_060.0, 2) == "km \u22121.00"


def written(unit: str, prefix: str | None, plus: bool = False) -> Posts:
    return Posts(np.array([0.0]), np.array([0.0]), unit, prefix=prefix, plus=plus)


@pytest.mark.parametrize(
    ("posts", "value", "decimals", "words"),
    [
        (written("mi", "", plus=True), 12.4, 3, "12+2112"),
        (written("mi", "", plus=True), 12.4, 2, "12+2100"),
        (written("mi", "", plus=True), 12.4, 1, "12+2000"),
        (written("mi", "", plus=True), 12.4, 0, "12"),
        (written("mi", "", plus=True), 12.6, 0, "13"),
        (written("mi", "", plus=True), 12.0, 2, "12+0000"),
        (written("mi", "", plus=True), 12.99, 1, "13+0000"),
        (written("mi", "", plus=True), 12.96, 1, "12+5000"),
        (written("km", "PK", plus=True), 133.1, 2, "PK 133+100"),
        (written("km", "", plus=True), 133.0504, 3, "133+050"),
        (written("km", "", plus=True), 133.9996, 2, "134+000"),
        (written("km", "", plus=True), -0.25, 2, "\u22120.25"),
        (written("km", ""), 12.4, 2, "12.40"),
        (written("km", None), 133.1, 1, "km 133.1"),
        (written("mi", None), 12.4, 2, "12.40"),
        (written("mi", "MP"), 12.4, 1, "MP 12.4"),
    ],
)
def test_posts_as_the_territory_writes_them(posts: Posts, value: float, decimals: int, words: str):
    """Worked: 0.4 mi is 2,112 ft, to the nearest 50 ft 2,100, to the nearest 500 ft 2,000; 0.99 mi is 5,227 ft,
    53 ft before the next post and 227 ft from 5,000; 0.96 mi is 5,069 ft."""
    assert wording.post_text(posts, value * posts.unit_m, decimals) == words


@given(st.floats(0, 900), st.sampled_from(["km", "mi"]), st.integers(1, 3))
def test_a_post_with_a_plus_is_read_as_it_was_meant(value: float, unit: str, decimals: int):
    """Law: written with a plus and read again a post is within half of what its decimals are worth."""
    again = parse_post(wording.post_value(written(unit, "", plus=True), value, decimals), unit)
    assert again == pytest.approx(value, abs=0.51 / 10**decimals)


def test_a_stretch_and_a_ruler_in_every_style():
    """Worked: from 12.4 to 13.5 units; ruler labels half a unit apart show every figure exactly."""
    a, b = 12.4 * MILE, 13.5 * MILE
    assert wording.stretch_words(written("mi", "", plus=True), a, b, 2) == "posts 12+2100 to 13+2650"
    assert wording.stretch_words(written("mi", "MP"), a, b) == "MP 12.4 to 13.5"
    assert wording.stretch_words(written("km", ""), 12_400, 12_400) == "post 12.4"
    assert wording.stretch_words(written("km", "km", plus=True), 12_400, 13_500) == "km 12+400 to 13+500"
    ticks = {
        style: [wording.post_tick(written(*style), value, 0.5) for value in (12.0, 12.5)]
        for style in (("mi", "", True), ("km", "", True), ("km", None, False))
    }
    assert list(ticks.values()) == [["12", "12+2640"], ["12", "12+500"], ["12.0", "12.5"]]
    assert wording.post_tick(written("mi", "", plus=True), 15.0, 5.0) == "15"


def test_post_equations():
    """Worked: 0.14 mi are 739 ft; on falling posts the ahead is lower where posts are left out."""
    miles = Posts(np.array([0.0, 21_500, 21_500]), np.array([38.0, 51.36, 51.5]), "mi")
    assert wording.equation_text(miles, 51.36, 51.5) == "mi 51.36 = mi 51.50"
    assert wording.equation_text(miles, 51.364, 51.5, bare=True) == "51.364 = 51.500"
    assert wording.equation_text(written("mi", "", plus=True), 51.5, 52.0) == "mi 51+2640 = mi 52+0000"
    assert wording.equation_words(miles, 51.36, 51.5, "us") == "739 ft of posts are left out here"
    assert wording.equation_words(miles, 51.5, 51.36, "us") == "739 ft of posts stand twice here"
    falling = Posts(np.array([0.0, 800, 800]), np.array([81.0, 80.2, 80.0]), "km")
    assert wording.equation_words(falling, 80.2, 80.0, "metric") == "200 m of posts are left out here"


def test_an_end_without_a_name_is_its_post():
    """Law: the start is the first post and the end the last, in the territory's own style."""
    route = dataclasses.replace(invented_profile().route, ends=("", ""))
    assert wording.travel_words(route) == "from post 38.0 to post 69.1"


def test_directions_are_names_of_ends():
    """Law of the house: people read where a train goes, not "against"."""
    route = invented_profile().route
    assert wording.towards(route, "with") == "to Thistle Quay"
    assert wording.towards(route, "against") == "to Farrow"


def test_every_kind_of_landmark_has_words():
    """Law: no code reaches a reader."""
    words = [wording.kind_words(kind) for kind in KINDS]
    assert all(words)
    assert not any("_" in text for text in words)


@pytest.mark.parametrize(
    ("arguments", "us", "metric"),
    [
        ((1.35, "%", 1.32, 1.38), "1.35 % (1.32–1.38)", "13.5 ‰ (13.2–13.8)"),
        ((1.36, "%", 1.07, 1.66), "1.4 % (1.1–1.7)", "14 ‰ (11–17)"),
        ((1.36, "%", 0.36, 2.36), "≈1.4 % (0.4–2.4)", "≈14 ‰ (4–24)"),
        ((-8.04, "degree", None, None), "8.0°", "8.0°"),
        ((100 * FOOT, "m", 90 * FOOT, 110 * FOOT), "100 ft (90–110)", "30 m (27–34)"),
    ],
)
def test_intervals(arguments: tuple, us: str, metric: str):
    """Worked: 95 % is ±1.96 standard errors: ±0.03 % is 0.015 %, ±0.3 % is 0.15 %, ±1 % is 0.51 %."""
    value, unit, low, high = arguments
    assert wording.interval_text(value, unit, "us", low, high) == us
    assert wording.interval_text(value, unit, "metric", low, high) == metric


def test_a_compensated_ruling_grade_alone():
    """Law: a bracket of the compensated figure alone has no empty figure before it."""
    names = wording.ruling_variants(invented_profile().route, "with", "", "1.55 % (1.51–1.59)", "6,562 ft")
    assert names[0] == "ruling to Thistle Quay: compensated 1.55 % (1.51–1.59), train of 6,562 ft"
    assert names[-1] == "ruling compensated 1.55 %"


def test_what_is_less_than_sure_is_a_question():
    """Law: below 80 % a crest, sag or break carries a question mark; from there on it does not."""
    assert wording.doubted_words("crest", 0.79) == "Crest?"
    assert wording.doubted_words("grade_break", 0.8) == "Break"


def test_suspected_structures_in_words():
    """Law: a suspected structure is a question with its probability, never 100 %, and says if it has no end."""
    assert wording.suspected_words("suspected_tunnel", 0.999) == "tunnel? 99 %"
    assert wording.suspected_words("suspected_bridge", 0.7, True) == "bridge? 70 %, no end seen"
    assert wording.suspected_sentence(2, 1).endswith("2 tunnels and 1 bridge.")
    assert wording.suspected_sentence(0, 0) == ""


def test_a_place_says_how_sure():
    """Worked: 1.96 × 3 m = 5.9 m, 1.96 × 0.1 % = 2.0 ‰; in US units 19 ft and 0.20 %. A standard error of
    0.1 % leaves whole per mille."""
    posts, figures = Posts(np.array([0.0]), np.array([10.0]), "km"), ((640.0, 3.0), (0.0131, 0.001))
    assert wording.place_sure_words(posts, 500.0, *figures, "metric") == "km 10.5: rail 640 m ±5.9 m, up 13 ‰ ±2.0 ‰"
    assert wording.place_sure_words(posts, 0.0, *figures, "us").endswith("rail 2,100 ft ±19 ft, up 1.3 % ±0.20 %")


@pytest.mark.parametrize(
    ("per_degree", "us", "metric"),
    [
        (
            0.0004,
            "0.04 % of grade per degree of curve (0.8 lb per short ton and degree, AREMA)",
            "0.4 ‰ of grade per degree of curve, 700/R ‰ with the radius R in metres (0.8 lb per short ton and "
            "degree, AREMA)",
        ),
        (
            0.0005,
            "0.05 % of grade per degree of curve (1 lb per short ton and degree, set by the territory)",
            "0.5 ‰ of grade per degree of curve, 870/R ‰ with the radius R in metres (1 lb per short ton and "
            "degree, set by the territory)",
        ),
    ],
)
def test_the_model_of_compensation_is_named(per_degree: float, us: str, metric: str):
    """Published: AREMA 0.8 lb per short ton and degree over 20 lb per short ton and percent. Worked: 1° is a
    radius of 1746.4 m: 0.4·1746.4 = 698.6, 0.5·1746.4 = 873.2, to the nearest ten."""
    assert wording.compensation_words(per_degree, "us") == us
    assert wording.compensation_words(per_degree, "metric") == metric


@pytest.mark.parametrize("units", ["us", "metric"])
def test_roeckl_is_named(units: str):
    """Published: S8, 650/(R − 55) ‰ from 300 m on, 500/(R − 30) below, whatever a degree is worth on the line."""
    words = wording.compensation_words(0.0005, units, "roeckl")
    assert words == "Röckl’s 650/(R − 55) ‰, 500/(R − 30) ‰ below 300 m, with the radius R in metres"
    assert words.startswith(wording.compensation_figure(0.0005, units, "roeckl"))
