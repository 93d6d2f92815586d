"""Means over a length of line, against laws and a fine grid."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiler.landmarks.grades import ruling_grades
from profiler.landmarks.windows import reaching, steepest, union, window_means, window_starts
from profiler.profile import reversed_profile
from tests.tangents import of_pvis, profile_of


@st.composite
def tangents(draw: st.DrawFn) -> tuple[list[float], list[float]]:
    """Points of intersection [m] and grades [m/m] of a line of 3 to 30 km."""
    steps = draw(st.lists(st.integers(3, 40), min_size=10, max_size=25))
    grades = draw(st.lists(st.integers(-400, 400), min_size=len(steps), max_size=len(steps)))
    place = np.r_[0, np.cumsum(steps)] * 73.0
    return place.tolist(), [g / 1e4 for g in grades]


def line(pvis: tuple[list[float], list[float]]) -> tuple[np.ndarray, np.ndarray]:
    profile = of_pvis(*pvis, step=50.0)
    return profile.chainage, profile.elevation


@given(tangents(), st.floats(60, 3000))
def test_no_window_of_a_fine_grid_is_steeper(pvis: tuple[list[float], list[float]], length: float):
    """Law: the mean is linear in the window's place between stations, so no other place beats it."""
    s, z = line(pvis)
    found = steepest(s, z, length)
    if found is None:
        assert s[-1] < length
        return
    start, mean = found
    grid = np.linspace(0, s[-1] - length, 4001)
    brute = (np.interp(grid + length, s, z) - np.interp(grid, s, z)) / length
    assert mean >= brute.max() - 1e-12
    assert mean - brute.max() <= 0.08 * (grid[1] - grid[0]) / length + 1e-12
    assert (np.interp(start + length, s, z) - np.interp(start, s, z)) / length == pytest.approx(mean, abs=1e-12)


@given(tangents(), st.floats(100, 2900))
def test_against_is_with_of_the_turned_line(pvis: tuple[list[float], list[float]], length: float):
    """Law: what rules one way rules the other way on the profile turned around, at the same place."""
    profile = of_pvis(*pvis, step=50.0)
    turned = reversed_profile(profile)
    if profile.chainage[-1] < length:
        assert ruling_grades(profile, (length,)) == []
        return
    there = [r for r in ruling_grades(profile, (length,)) if r.direction == "against"]
    back = [r for r in ruling_grades(turned, (length,)) if r.direction == "with"]
    for a, b in zip(there, back, strict=True):
        assert a.kind == b.kind
        assert a.value == pytest.approx(b.value, abs=1e-7)
        assert (a.low, a.high) == pytest.approx((b.low, b.high), abs=1e-6)


@given(tangents(), st.floats(50, 700), st.integers(2, 4))
def test_a_train_times_as_long_never_has_a_steeper_mean(
    pvis: tuple[list[float], list[float]], length: float, times: int
):
    """Law: a mean over several lengths is a mean of means. (For lengths that are no multiples it is none.)"""
    s, z = line(pvis)
    short, long = steepest(s, z, length), steepest(s, z, length * times)
    if short is not None and long is not None:
        assert long[1] <= short[1] + 1e-12


def test_a_longer_train_can_have_a_steeper_mean():
    """Worked: ramps of 250 m of 4 % at 0 and 1,250 m, level between: 1 % over 1,000 m, 1.33 % over 1,500 m."""
    profile = of_pvis([0, 250, 1250, 1500], [0.04, 0, 0.04])
    assert steepest(profile.chainage, profile.elevation, 1000.0)[1] == pytest.approx(0.01)
    assert steepest(profile.chainage, profile.elevation, 1500.0)[1] == pytest.approx(0.04 / 3)


@given(tangents(), st.floats(-400, 4000))
def test_the_datum_does_not_matter(pvis: tuple[list[float], list[float]], offset: float):
    """Law: a constant added to all elevations changes no grade."""
    s, z = line(pvis)
    a, b = steepest(s, z, 700.0), steepest(s, z + offset, 700.0)
    assert (a is None) == (b is None)
    if a is not None:
        assert b[1] == pytest.approx(a[1], abs=1e-11)


def test_a_line_just_as_long_as_the_window():
    """Worked: one window, the whole line; 1 m more has none."""
    s = np.array([0.0, 400.0, 1000.0])
    z = np.array([0.0, 8.0, 5.0])
    assert steepest(s, z, 1000.0) == pytest.approx((0.0, 0.005))
    np.testing.assert_array_equal(window_starts(s, 1000.0), [0.0])
    assert steepest(s, z, 1001.0) is None


def test_where_the_mean_just_reaches():
    """Worked: 2 % over 3 km between level: a window of 2 km has 1 % while half of it is on the ramp,
    so from 1 km before the ramp to 1 km after it."""
    profile = profile_of(np.array([0.0, 5000.0, 8000.0, 13_000.0]), np.array([0.0, 0.0, 60.0, 60.0]))
    s, z = profile.chainage, profile.elevation
    starts = window_starts(s, 2000.0)
    found = union(reaching(starts, window_means(s, z, starts, 2000.0), 0.01), 2000.0)
    assert found == [pytest.approx((4000.0, 9000.0))]


def test_stretches_apart_stay_apart():
    """Worked: windows at 0, 50 and 300 of 100 m make 0–150 and 300–400."""
    assert union(np.array([0.0, 50.0, 300.0]), 100.0) == [(0.0, 150.0), (300.0, 400.0)]
