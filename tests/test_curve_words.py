"""Curves and corners in words."""

from __future__ import annotations

import dataclasses

import pytest

from profiler import curve_words
from profiler.alignment.numbering import numbered
from profiler.route import Corner, CurveElement
from profiler.units import FOOT, MILE, curvature_of_degree
from tests.invented import invented_profile

FIVE = float(curvature_of_degree(5.2))


def curve(number: str = "62C", kind: str = "simple", **changes: float) -> CurveElement:
    return dataclasses.replace(CurveElement(number, kind, 100.0, 700.0, 60.96, 64.0, FIVE, 2e-5), **changes)


def test_sizes_in_both_units():
    """Worked: 5.2° is a radius of 50/sin 2.6° = 1,102 ft = 336 m; 0.4° is 14,324 ft = 4,366 m, in tens."""
    assert curve_words.size_text(FIVE, "us") == "5.2° (radius 1,102 ft)"
    assert curve_words.size_text(-FIVE, "metric") == "radius 336 m (5.2°)"
    wide = float(curvature_of_degree(0.4))
    assert curve_words.size_text(wide, "us") == "0.4° (radius 14,320 ft)"
    assert curve_words.radius_figure(wide, "metric") == "4\N{NARROW NO-BREAK SPACE}370"


def test_how_sure_a_curve_is():
    """Worked: 1/336 ± 1.96·1e-4 is 1/315 to 1/360; in degrees 2·0.000196·1746.4 wide, ±0.3°;
    an error as large as the curve leaves the flatter side open."""
    assert curve_words.size_sure_text(1 / 336, 1e-4, "metric") == "radius 315–360 m (95 %)"
    assert curve_words.size_sure_text(-1 / 336, 1e-4, "us") == "sure to ±0.3°"
    assert curve_words.size_sure_text(1 / 336, 1e-5, "us") == "sure to ±0.03°"
    assert curve_words.size_sure_text(1 / 1000, 1e-3, "metric") == "radius 338 m or more (95 %)"


def test_spirals():
    """Worked: 60.96 m and 64 m are 200 and 210 ft; twice 6.1 m by 1.96 is 39 ft."""
    assert curve_words.spirals_text(curve(), "us") == "spirals 200 ft in, 210 ft out"
    unsure = curve(spiral_in_se=3.0, spiral_out_se=6.1)
    assert curve_words.spirals_text(unsure, "us") == "spirals 200 ft in, 210 ft out, sure to ±39 ft"
    assert curve_words.spirals_text(curve(spiral_out=0.0), "metric") == "spiral 61 m in"
    assert curve_words.spirals_text(curve(spiral_in=0.0, spiral_out=0.0), "metric") == "no spirals"


@pytest.mark.parametrize(
    ("number", "kind", "title"),
    [
        ("62C", "simple", "Curve 62C"),
        ("62C.1", "compound", "Curve 62C.1, arc of compound curve 62C"),
        ("-1A", "reverse", "Reverse curve -1A"),
        ("62C", "broken_back", "Broken-back curve 62C"),
    ],
)
def test_titles(number: str, kind: str, title: str):
    """Law: kinds are said in the words of the trade, a simple curve is just a curve."""
    assert curve_words.curve_title(curve(number, kind)) == title


def test_everything_about_a_curve():
    """Worked: 600 m less half of 124.96 m of spirals by 1/336 turn 91.7°; 600 m are 1,969 ft."""
    assert curve_words.curve_lines(curve(curvature=-FIVE), "us") == [
        "5.2° (radius 1,102 ft), to the right",
        "sure to ±0.07°",
        "spirals 200 ft in, 210 ft out",
        "turns 91.7° over 1,969 ft",
    ]
    assert curve_words.curve_line(curve(), "metric") == "curve 62C: radius 336 m (5.2°), to the left"


def test_corners():
    """Worked: 0.1 rad are 5.7°, 0.3048 m are 1 ft; a step alone has no angle. Law: many are only counted."""
    assert curve_words.corner_text(Corner(0, 0.1, -FOOT), "us") == "5.7° to the left, set 1.0 ft to the right"
    assert curve_words.corner_text(Corner(0, 0.0, 0.5), "metric") == "set 0.5 m to the left"
    route = invented_profile("metric").route
    corners = tuple(Corner(MILE * i, -0.1) for i in range(7))
    _, words = curve_words.curve_sentences(dataclasses.replace(route, corners=corners), "metric")
    assert words.startswith("corners in the drawn line: 7 (post 38.00, 5.7° to the right; post 39.00, ")
    assert words.endswith("; and 2 more)")


def test_curves_of_a_line_in_one_sentence():
    """Worked: nine curves and an arc more on the second, which makes it compound; the sharpest of 8° at 28 km
    is the first past post 55, its radius 717 ft."""
    route = invented_profile().route
    second = route.curves[1]
    arc = dataclasses.replace(second, start=second.end - 90, end=second.end + 300, curvature=second.curvature / 2)
    named = numbered((*route.curves[:2], arc, *route.curves[2:]), route.posts)
    bent = dataclasses.replace(route, curves=named)
    assert curve_words.curve_sentences(bent, "us") == [
        "curves: 9 (1 compound), sharpest 8.0° (radius 717 ft), curve 55A, post 55.4"
    ]
    plain = dataclasses.replace(route, curves=numbered(route.curves, route.posts))
    (words,) = curve_words.curve_sentences(plain, "metric")
    assert words.startswith("curves: 9, sharpest radius 218 m (8.0°), curve 55A")
    assert curve_words.curve_sentences(dataclasses.replace(route, curves=()), "us") == ["curves: none"]
