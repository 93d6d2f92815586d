"""Where data are missing, and what may be kept."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiler.elevation.coverage import Gap, gaps, longest_covered, runs_of

S = np.arange(0.0, 10_001, 100.0)
OPEN = np.zeros(S.size, bool)


def holes(*spans: tuple[int, int]) -> np.ndarray:
    ground = np.full(S.size, 50.0)
    for a, b in spans:
        ground[a : b + 1] = np.nan
    return ground


def test_a_gap_is_as_long_as_the_way_between_data():
    """Worked: stations 20 to 38 without data leave 2,000 m between 19 and 39: bridged; one more is too many."""
    assert gaps(S, holes((20, 38)), OPEN, 2000.0) == ()
    assert gaps(S, holes((20, 39)), OPEN, 2000.0) == (Gap(20, 39),)


def test_a_tunnel_needs_no_ground():
    """Law: stations on a known structure are no gap; what remains open on both sides is judged by itself."""
    tunnel = (S >= 2000) & (S <= 5000)
    assert gaps(S, holes((20, 50)), tunnel, 500.0) == ()
    assert gaps(S, holes((10, 60)), tunnel, 950.0) == (Gap(10, 19), Gap(51, 60))


def test_the_longest_stretch_kept():
    """Worked: gaps at 20–50 and 80–90: 0–19 is 1,900 m, 51–79 is 2,800 m, 91–100 is 900 m."""
    ground = holes((20, 50), (80, 90))
    found = gaps(S, ground, OPEN, 500.0)
    assert found == (Gap(20, 50), Gap(80, 90))
    assert longest_covered(S, ground, found) == (51, 79)


def test_nothing_covered():
    """Law: without two stations of data nothing can be kept; the kept stretch begins and ends on data."""
    ground = np.full(S.size, np.nan)
    found = gaps(S, ground, OPEN, 500.0)
    assert found == (Gap(0, 100),)
    assert longest_covered(S, ground, found) is None
    ground[40] = 5
    assert longest_covered(S, ground, gaps(S, ground, OPEN, 500.0)) is None
    assert longest_covered(S, holes((0, 3), (99, 100)), ()) == (4, 98)


@given(st.lists(st.booleans(), max_size=40))
def test_runs_tell_the_flags_again(flags: list[bool]):
    """Law: runs are apart, in order, and cover just what is true."""
    found = runs_of(np.array(flags, bool))
    again = np.zeros(len(flags), bool)
    for a, b in found:
        assert a <= b
        assert not again[max(a - 1, 0) : b + 1].any()
        again[a : b + 1] = True
    assert again.tolist() == flags


@pytest.mark.parametrize("ends", [(0, 30), (70, 100)])
def test_a_gap_at_an_end(ends: tuple[int, int]):
    """Worked: 3,000 m without data at an end are a gap, and the rest is kept."""
    ground = holes(ends)
    found = gaps(S, ground, OPEN, 2000.0)
    assert found == (Gap(*ends),)
    assert longest_covered(S, ground, found) == ((31, 100) if ends[0] == 0 else (0, 69))
