"""What design practice gives for curves: cants and spirals."""

from __future__ import annotations

import pytest

from profiler.landmarks.design_rules import (
    LARGEST_CANT,
    LARGEST_UNBALANCE,
    balanced_cant,
    shortest_spiral,
    spiral_length,
)
from profiler.units import FOOT, INCH, KMH, MPH, curvature_of_degree


@pytest.mark.parametrize(
    ("cant", "unbalance", "mph", "feet"),
    [
        (2, 0, 40, 124),  # 62·2, for 1.22·2·40 is 97.6
        (2, 0, 60, 146.4),  # 1.22·2·60
        (1, 3, 60, 293.4),  # 1.63·3·60
        (0, 0, 60, 0),
    ],
)
def test_spiral_is_the_longest_of_three(cant: float, unbalance: float, mph: float, feet: float):
    """Worked: the greatest of 62·E_a, 1.22·E_a·V and 1.63·E_u·V feet."""
    assert spiral_length(cant * INCH, unbalance * INCH, mph * MPH) / FOOT == pytest.approx(feet)


@pytest.mark.parametrize(
    ("degree", "mph", "feet"),
    [
        (2, 50, 123.24),  # E 3.5 in: 62·E_a = 1.63·50·(3.5 − E_a) where E_a = 81.5·3.5/143.5 = 1.9878
        (6, 40, 230.64),  # E 6.72 in: at least 3.72 in of cant, 62·3.72; unbalance 3 asks 195.6 only
        (8, 60, 439.2),  # E 20.16 in: beyond practice, 6 in of cant, 1.22·6·60; unbalance 3 asks 293.4
        (1, 10, 0.9035),  # E 0.07 in: E_a = 16.3·0.07/78.3 = 0.014572
    ],
)
def test_shortest_spiral_for_any_customary_cant(degree: float, mph: float, feet: float):
    """Worked: beside each."""
    found = shortest_spiral(balanced_cant(float(curvature_of_degree(degree)), mph * MPH), mph * MPH) / FOOT
    assert found == pytest.approx(feet, rel=1e-4)


@pytest.mark.parametrize("balanced", [0.0, 0.01, 0.05, 0.1, 0.15, 0.2])
@pytest.mark.parametrize("mph", [10, 45, 60, 90])
def test_no_customary_cant_asks_for_less(balanced: float, mph: float):
    """Law: by trying every cant from 3 in under balance to balance, at most 6 in, none has a shorter spiral."""
    low, high = max(balanced - LARGEST_UNBALANCE, 0.0), min(balanced, LARGEST_CANT)
    tried = [low + (high - low) * k / 500 for k in range(501)]
    least = min(spiral_length(cant, balanced - cant, mph * MPH) for cant in tried)
    found = shortest_spiral(balanced, mph * MPH)
    assert found <= least + 1e-9
    assert found == pytest.approx(least, rel=0.01)


def test_cant_grows_with_the_square_of_the_speed():
    """Law: twice the speed, four times the cant; the hand of the curve does not matter."""
    k = float(curvature_of_degree(4))
    assert balanced_cant(-k, 2 * 30 * MPH) == pytest.approx(4 * balanced_cant(k, 30 * MPH))
    assert balanced_cant(k, 80 * KMH) == pytest.approx(11.8e-3 * 80**2 * k, rel=0.02)
