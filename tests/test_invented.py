"""The tests' own small line must be what its name says."""

from __future__ import annotations

import numpy as np

from profiler.profile import reversed_profile
from tests.invented import GRADES, PVI_M, invented_landmarks, invented_profile


def test_profile_follows_its_points_of_intersection():
    """Worked: between two points of intersection the rise is grade times distance."""
    profile = invented_profile()
    rise = np.interp(PVI_M[1:], profile.chainage, profile.elevation) - np.interp(
        PVI_M[:-1], profile.chainage, profile.elevation
    )
    np.testing.assert_allclose(rise, np.diff(PVI_M) * GRADES, atol=1e-9)
    assert len(invented_landmarks().grade_runs) == GRADES.size


def test_reversed_twice_is_the_same():
    """Law: turning the profile around twice gives it back."""
    profile = invented_profile()
    twice = reversed_profile(reversed_profile(profile))
    for name in ("elevation", "grade", "ground_source"):
        np.testing.assert_array_equal(getattr(twice, name), getattr(profile, name))
    np.testing.assert_allclose(twice.chainage, profile.chainage)
    np.testing.assert_allclose(twice.route.heading, profile.route.heading)
    assert twice.route.structures == profile.route.structures
    assert twice.route.ends == profile.route.ends
