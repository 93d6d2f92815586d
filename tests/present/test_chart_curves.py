"""The Curves row of the strip chart."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from profiler.alignment.numbering import numbered
from profiler.plan_elements import elements_of
from profiler.present.chart import Chart, compose_chart
from profiler.present.chart_curves import outlines
from profiler.present.ink import Areas, Lines
from profiler.present.palette import CURVE_FILL
from profiler.route import Corner, CurveElement
from profiler.units import curvature_of_degree
from tests.invented import invented_landmarks, invented_profile


def curve(start: float, end: float, degree: float, spirals: tuple[float, float], se: float = 1e-5) -> CurveElement:
    return CurveElement("", "", start, end, *spirals, float(curvature_of_degree(degree)), se)


COMPOUND = (curve(2500, 3200, 2, (90, 60)), curve(3140, 4000, 5, (60, 90)))
REVERSE = (curve(6000, 6700, -6, (120, 200)), curve(6500, 7300, 4, (200, 90)))


def chart(curves: tuple[CurveElement, ...] = COMPOUND + REVERSE, corners: tuple[Corner, ...] = ()) -> Chart:
    profile = invented_profile()
    route = dataclasses.replace(profile.route, curves=numbered(curves, profile.route.posts), corners=corners)
    return compose_chart(dataclasses.replace(profile, route=route), invented_landmarks())


def words(drawn: Chart) -> list[str]:
    return [item.text for item in drawn.sheet.words]


def area(line: np.ndarray) -> float:
    x, y = np.asarray(line, dtype=float).T
    return float(np.sum((y[1:] + y[:-1]) / 2 * np.diff(x)))


def test_a_compound_curve_is_one_outline():
    """Worked: curvature rises to 2°, over the shared spiral to 5°, and falls: ten points, the area under them
    the turn of both arcs."""
    ((left, line),) = outlines(elements_of(COMPOUND, 0, 50_000))
    two, five = (float(curvature_of_degree(d)) for d in (2, 5))
    assert left
    corners = [(2590, two), (3140, two), (3200, five), (3910, five), (4000, 0)]
    assert all(any(p == pytest.approx(c) for p in line) for c in corners)
    assert (line[0], line[-1]) == ((2500, 0), (4000, 0))
    assert area(line) == pytest.approx(sum(c.deflection for c in COMPOUND))


def test_reverse_curves_adjoin():
    """Worked: the shared spiral of 200 m from 6° right to 4° left is straight where 6/10 of it are past, at
    6,620 m to within the difference of chord and arc; each hand has its own outline up to there."""
    (first, right), (second, left) = outlines(elements_of(REVERSE, 0, 50_000))
    assert (first, second) == (False, True)
    assert right[-1][0] == left[0][0] == pytest.approx(6620, abs=0.5)
    assert area(right) + area(left) == pytest.approx(sum(c.deflection for c in REVERSE))


def test_figures_and_numbers():
    """Worked: one figure an arc, one number a curve; the middle of the compound, 3,250 m, is 2 miles past post 38."""
    found = words(chart())
    assert {"2°", "5°", "6°", "4°", "40A"} <= set(found)
    assert found.count("40A") == 1
    assert not [w for w in found if "." in w and w.endswith("A")]


def test_left_is_grey_and_right_is_white_in_one_shape_each():
    """Law: two grey outlines (the compound, the left of the pair), drawn over the line; each tells its hand by side."""
    areas = [item for item in chart().sheet.drawn if isinstance(item, Areas) and len(item.shapes) == 2]
    assert any(set(item.fills) == {CURVE_FILL} for item in areas)


@pytest.mark.parametrize(("se", "seen"), [(1e-5, False), (3e-4, True)])
def test_a_whisker_where_it_can_be_seen(se: float, seen: bool):
    """Worked: half the row less 10 pt is 17.1 pt, and 6° is 3.43e-3; 1.96 times 1e-5 is then 0.1 pt, 3e-4 2.9 pt."""
    drawn = chart((*COMPOUND, curve(6000, 6700, -6, (90, 90), se)))
    assert ("curvature may lie in here" in words(drawn)) is seen
    lines = [item for item in drawn.sheet.drawn if isinstance(item, Lines) and item.width == 0.6]
    bars = [np.ptp(item.pieces[0], axis=0) for item in lines if len(item.pieces) == 3]
    tall = [high for wide, high in bars if wide == 0]
    # one on the curve, one in the key
    assert sorted(tall)[:1] == ([pytest.approx(2 * 2.93, abs=0.1)] if seen else [])


def test_corners_have_a_sign_and_a_word_in_the_key():
    """Law: a corner is shown as such, also on a line without any curve; a line without corners says nothing of them."""
    corners = (Corner(12_000.0, 0.05), Corner(40_000.0, -0.03))
    assert "corner of the drawn line" in words(chart(corners=corners))
    alone = chart((), corners)
    assert {"Curves", "corner of the drawn line"} <= set(words(alone))
    assert "corner of the drawn line" not in words(chart())
