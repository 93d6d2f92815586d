"""Grade runs: few, contiguous, and true to the line; breaks between them."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiler.landmarks.runs import _bounds, _sweep, grade_breaks, grade_runs
from tests.tangents import of_pvis, profile_of


def fewest(low: np.ndarray, high: np.ndarray) -> int:
    """Fewest runs in which one grade lies within all bounds, by trying every division."""
    best = [0]
    for end in range(1, low.size + 1):
        options = [best[a] + 1 for a in range(end) if low[a:end].max() <= high[a:end].min()]
        best.append(min(options))
    return best[-1]


@given(st.lists(st.tuples(st.integers(-20, 20), st.integers(0, 12)), min_size=1, max_size=24))
def test_no_division_has_fewer(stations: list[tuple[int, int]]):
    """Outside: a dynamic programme over every division of short lines finds none with fewer runs."""
    low = np.array([a - b for a, b in stations], float)
    high = np.array([a + b for a, b in stations], float)
    edges = _sweep(low, high)
    assert edges.size + 1 == fewest(low, high) == _sweep(low[::-1], high[::-1]).size + 1
    for part in np.split(np.arange(low.size), edges):
        assert low[part].max() <= high[part].min()


def test_tangents_are_found_exactly():
    """Law: a profile of tangents without error has just these as runs."""
    place = [0, 1500, 4200, 5000, 9000, 11_000]
    grades = [0.004, 0.012, -0.003, -0.009, 0.0]
    runs = grade_runs(of_pvis(place, grades))
    assert [r.start for r in runs] == pytest.approx(place[:-1])
    assert [r.end for r in runs] == pytest.approx(place[1:])
    assert [r.grade for r in runs] == pytest.approx(grades, abs=1e-12)
    assert [r.end_se for r in runs] == [0.0] * 5
    assert [r.grade_se for r in runs] == pytest.approx([0.0] * 5, abs=1e-6)


@given(
    st.lists(st.integers(-250, 250), min_size=2, max_size=20),
    st.integers(0, 1000),
    st.sampled_from([0.0, 0.0004, 0.002]),
)
def test_they_cover_the_line(grades: list[int], seed: int, tremble: float):
    """Law: runs follow one another from end to end, and their rises add up to that of the line."""
    base = of_pvis((np.arange(len(grades) + 1) * 400.0).tolist(), [g / 1e4 for g in grades], step=50.0)
    shake = np.cumsum(np.random.default_rng(seed).normal(0, tremble * 50, base.chainage.size))
    profile = profile_of(base.chainage, base.elevation + shake, grade_se=max(tremble, 0.0003))
    runs = grade_runs(profile)
    assert (runs[0].start, runs[-1].end) == (profile.chainage[0], profile.chainage[-1])
    for a, b in itertools.pairwise(runs):
        assert a.end == b.start
        assert a.start < a.end
    assert sum(r.rise for r in runs) == pytest.approx(profile.elevation[-1] - profile.elevation[0], abs=1e-9)
    for r in runs:
        assert r.grade * (r.end - r.start) == pytest.approx(r.rise, abs=1e-9)
    low, high = _bounds(profile)
    assert len(runs) <= _sweep(low, high).size + 1


def test_a_vertical_curve_is_no_grade():
    """Law: tangents of 1 % and 0.2 % joined by a curve of 300 m are two runs that meet in its middle."""
    s = np.arange(0, 8001, 10.0)
    x = np.clip(s - 3850, 0, 300)
    z = 0.01 * np.minimum(s, 3850) + 0.01 * x - 0.008 / 600 * x**2 + 0.002 * np.maximum(s - 4150, 0)
    runs = grade_runs(profile_of(s, z))
    assert len(runs) == 2
    assert runs[0].end == pytest.approx(4000, abs=60)
    assert [r.grade for r in runs] == pytest.approx([0.01, 0.002], abs=2e-4)


def test_a_break_of_grade():
    """Worked: 0.4 % to 1.2 % is a break of 0.8 %, 1.2 % to 0.9 % is none, 0.9 % to −0.3 % is a crest."""
    profile = of_pvis([0, 3000, 6000, 9000, 12_000], [0.004, 0.012, 0.009, -0.003])
    (found,) = grade_breaks(profile, grade_runs(profile), 0.005, (9000.0,))
    assert (found.at, found.value) == (pytest.approx(3000), pytest.approx(0.8))
    assert found.probability == 1.0
    assert "from 0.40 % to 1.20 %" in found.note
    assert grade_breaks(profile, grade_runs(profile), 0.005, (3100.0,)) == []


def test_a_doubtful_break():
    """Law: draws in which the change is 0.6 % or 0.2 %, half of them each: one half of them has half of 0.5 %."""
    profile = of_pvis([0, 3000, 6000], [0.004, 0.009])
    bend = np.maximum(profile.chainage - 3000, 0)
    draws = profile.elevation + np.repeat([-0.003, 0.001], 20)[:, None] * bend
    profile = dataclasses.replace(profile, draws=dataclasses.replace(profile.draws, elevation=draws))
    (found,) = grade_breaks(profile, grade_runs(profile), 0.005 - 1e-9, ())
    assert found.probability == pytest.approx(0.5)
    assert (found.low, found.high) == pytest.approx((0.2, 0.6), abs=1e-3)


def test_a_break_that_may_be_elsewhere():
    """Law: draws that change their grade a kilometre farther, a quarter of them, do not have it here."""
    profile = of_pvis([0, 3000, 6000], [0.004, 0.009])
    places = np.repeat([3000.0, 4000.0], [30, 10])[:, None]
    draws = 100 + 0.004 * profile.chainage + 0.005 * np.maximum(profile.chainage - places, 0)
    profile = dataclasses.replace(profile, draws=dataclasses.replace(profile.draws, elevation=draws))
    (found,) = grade_breaks(profile, grade_runs(profile), 0.005 - 1e-9, ())
    assert found.probability == pytest.approx(0.75)


def test_an_edge_is_no_surer_than_the_draws():
    """Law: draws whose change of grade lies up to 400 m to either side give the edge a s.e. of their root
    mean square distance from it, which is 237 m, and the break an interval of 1.96 times that."""
    profile = of_pvis([0, 3000, 6000], [0.004, 0.012])
    places = 3000 + np.linspace(-400, 400, 41)
    draws = np.array([np.interp(profile.chainage, [0, p, 6000], [100, 100 + 0.004 * p, 136]) for p in places])
    profile = dataclasses.replace(profile, draws=dataclasses.replace(profile.draws, elevation=draws))
    runs = grade_runs(profile)
    assert runs[0].end_se == pytest.approx(236.6, abs=3)
    (found,) = grade_breaks(profile, runs, 0.005, ())
    assert found.place_high - found.place_low == pytest.approx(2 * 1.96 * 236.6, rel=0.02)
