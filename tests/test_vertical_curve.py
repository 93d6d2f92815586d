"""Points of vertical intersection and their parabolas."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiler.errors import InputError
from profiler.units import FOOT
from profiler.vertical_curve import Pvi, holds, length_by_rate, length_by_speed, line_of, pvis_of

RAIL_CREST = Pvi(15_000.0, 1000.0, 0.015, -0.010, 2500.0)  # example 4-C with its feet read as metres


@st.composite
def lines(draw: st.DrawFn) -> tuple[Pvi, ...]:
    count = draw(st.integers(1, 5))
    number = st.floats(0, 1)
    gaps = np.array([300 + 3000 * draw(number) for _ in range(count + 1)])
    grades = np.array([0.06 * draw(number) - 0.03 for _ in range(count + 1)])
    place = 1000 + np.r_[0, np.cumsum(gaps)]
    height = 200 + np.r_[0, np.cumsum(gaps * grades)]
    lengths = np.array([0.0, *(draw(number) * min(a, b) for a, b in pairwise(gaps)), 0.0])
    return pvis_of(place.tolist(), height.tolist(), lengths.tolist())


def test_crest_in_metres():
    """Published: worked crest +3 % / −4 %, L 2170 m, PVI 345+60 at 250 m (course sheet on vertical curves):
    BVC 334+75 at 217.45 m, EVC 356+45 at 206.60 m, summit 930 m on at 231.40 m, three places between."""
    pvi = Pvi(34_560.0, 250.0, 0.03, -0.04, 2170.0)
    assert (pvi.begin, pvi.end) == (33_475.0, 35_645.0)
    places = pvi.begin + np.array([0, 125, 525, 930, 1525, 2170])
    np.testing.assert_allclose(line_of([pvi], places)[0], [217.45, 220.95, 228.75, 231.40, 225.69, 206.60], atol=0.006)
    assert pvi.turning_point == pytest.approx((pvi.begin + 930, 231.40))


def test_crest_in_feet():
    """Published: BVC 0+00 at 1067.29, PVI 2+50 at 1070.64, EVC 5+00 at 1066.215 ft (surveyor's worked
    curve); stations between and the summit at 2+15.43, 1068.733."""
    pvi = pvis_of([0, 250, 500], [1067.29, 1070.64, 1066.215], [0, 500, 0])[0]
    heights = line_of([pvi], np.array([100.0, 200, 250, 300, 400]))[0]
    np.testing.assert_allclose(heights, [1068.32, 1068.726, 1068.696, 1068.511, 1067.674], atol=0.001)
    assert pvi.turning_point == pytest.approx((215.43, 1068.733), abs=0.005)


def test_rail_crest():
    """Worked: +1.5 % / −1.0 % over 2,500 ft at 150+00, 1000 ft: M = 0.025·2500/8 = 7.8125, radius 100,000,
    y(x) = 981.25 + 0.015 x − 0.000005 x²."""
    places = np.array([13_750, 14_000, 14_500, 15_000, 15_250, 15_750, 16_250])
    expected = [981.25, 984.6875, 989.6875, 992.1875, 992.5, 991.25, 987.5]
    np.testing.assert_allclose(line_of([RAIL_CREST], places)[0], expected, atol=1e-9)
    assert RAIL_CREST.middle_offset == pytest.approx(-7.8125)
    assert RAIL_CREST.radius == pytest.approx(100_000.0)
    assert RAIL_CREST.turning_point == pytest.approx((15_250.0, 992.5))


@pytest.mark.parametrize(
    ("change", "mph", "acceleration", "feet"),
    [(0.015, 60, 0.10, 1161), (0.01, 50, 0.10, 537.5), (0.02, 40, 0.10, 688), (0.01, 79, 0.60, 223.6)],
)
def test_length_by_speed(change: float, mph: float, acceleration: float, feet: float):
    """Worked: L = D·V²·0.0215/A_v, for instance 1.5·3600·0.0215/0.10 = 1161 ft."""
    assert length_by_speed(-change, mph, acceleration) / FOOT == pytest.approx(feet, abs=0.05)


def test_length_rules():
    """Worked: 1.5 % at 0.10 % a station is 15 stations, at 0.05 % 30; the rule by speed gives 100 ft at least."""
    assert length_by_rate(-0.015, 0.001) / FOOT == pytest.approx(1500)
    assert length_by_rate(0.015, 0.0005) / FOOT == pytest.approx(3000)
    assert length_by_speed(0.001, 10) / FOOT == pytest.approx(100)


@given(lines(), st.floats(0, 1))
def test_grade_is_the_derivative(pvis: tuple[Pvi, ...], share: float):
    """Law: the grade is the derivative of the elevation, and both are continuous."""
    x = np.linspace(500, pvis[-1].chainage + 2000, 400) + share
    (high, _), (low, _) = line_of(pvis, x + 0.01), line_of(pvis, x - 0.01)
    steepest = max(abs(p.change) / max(p.curve_length, 0.02) for p in pvis) * 0.02
    np.testing.assert_allclose((high - low) / 0.02, line_of(pvis, x)[1], atol=steepest + 1e-8)
    assert np.abs(high - low).max() < 0.02 * 0.04


@given(lines())
def test_offset_in_the_middle_and_ends_on_tangents(pvis: tuple[Pvi, ...]):
    """Law: at the PVI the curve is M = A·L/8 off it; at BVC and EVC the grades are the tangents'."""
    at, _ = line_of(pvis, np.array([p.chainage for p in pvis]))
    np.testing.assert_allclose(at, [p.elevation + p.middle_offset for p in pvis], atol=1e-9)
    for pvi in pvis:
        grades = line_of(pvis, np.array([pvi.begin - 1e-6, pvi.end + 1e-6]))[1]
        np.testing.assert_allclose(grades, [pvi.grade_in, pvi.grade_out], atol=1e-8)


@given(lines())
def test_turning_point_is_where_the_grade_is_nought(pvis: tuple[Pvi, ...]):
    """Law: the grade vanishes at a turning point, which lies inside its curve; none without a change of sense."""
    for pvi in pvis:
        turn = pvi.turning_point
        assert (turn is None) == (pvi.grade_in * pvi.grade_out > 0 or pvi.change == 0)
        if turn is not None:
            assert pvi.begin - 1e-6 <= turn[0] <= pvi.end + 1e-6
            z, grade = line_of(pvis, np.array([turn[0]]))
            assert z[0] == pytest.approx(turn[1], abs=1e-6)
            if pvi.curve_length > 1:
                assert abs(grade[0]) < 1e-9


@given(lines())
def test_turned_line_is_the_same_line(pvis: tuple[Pvi, ...]):
    """Law: met from the other side the elevations are the same and the grades have the other sign."""
    turned = [p.turned for p in reversed(pvis)]
    x = np.linspace(500, pvis[-1].chainage + 2000, 100)
    (z, grade), (back, turned_grade) = line_of(pvis, x), line_of(turned, -x)
    np.testing.assert_allclose(back, z, atol=1e-9)
    smooth = np.array([all(p.curve_length > 0 or abs(a - p.chainage) > 1e-6 for p in pvis) for a in x])
    np.testing.assert_allclose(turned_grade[smooth], -grade[smooth], atol=1e-9)


def test_holds_within_two_standard_errors():
    """Worked: the rail crest moved by 1.9 m agrees with a standard error of 1 m, by 2.1 m it does not."""
    x = np.linspace(12_000, 18_000, 50)
    z = line_of([RAIL_CREST], x)[0]
    assert holds([RAIL_CREST], x, z + 1.9, np.ones(50)).all()
    assert not holds([RAIL_CREST], x, z + 2.1, np.ones(50)).any()
    assert not holds([], x, z, np.ones(50)).any()


@pytest.mark.parametrize(
    ("place", "length"), [([0, 500], [0, 0]), ([0, 500, 400], [0, 10, 0]), ([0, 500, 1000], [0, 1001, 0])]
)
def test_no_line_of_nonsense(place: list[float], length: list[float]):
    """Law: two points, points out of order, and curves longer than their tangents are refused by name."""
    with pytest.raises(InputError, match="PVIs"):
        pvis_of(place, [0.0] * len(place), length)


def test_no_line_of_nothing():
    """Law: no PVI, no line."""
    with pytest.raises(InputError, match="PVIs"):
        line_of([], np.zeros(3))
