"""The first line: near the rail, whatever stands over it."""

from __future__ import annotations

import numpy as np

from profiler.elevation.first_line import first_line


def test_it_follows_a_ramp_and_bridges_a_gap():
    """Law: on a ramp of 1 % with a void of 3 km the line is the ramp, to half a metre."""
    s = np.arange(200) * 100.0 + 50
    valid = (s < 8000) | (s > 11_000)
    line = first_line(np.where(valid, 300 + 0.01 * s, 0.0), valid, 100.0, 0.045)
    np.testing.assert_allclose(line, 300 + 0.01 * np.arange(201) * 100.0, atol=0.5)


def test_it_does_not_climb_a_mountain():
    """Law: a mountain of 800 m over 5 km lifts the line by no more than the climb that the bound allows
    from its feet and the 80 m by which the ground is followed over the lower cone."""
    s = np.arange(300) * 100.0 + 50
    mountain = 800 * np.clip(1 - np.abs(s - 15_000) / 2500, 0, 1)
    line = first_line(400 + mountain, np.ones(300, bool), 100.0, 0.03)
    assert line.max() < 400 + 2500 * 0.03 + 80
    assert np.abs(line[[20, 280]] - 400).max() < 20


def test_wild_values_move_it_little():
    """Law: a tenth of all intervals 40 m too high, far apart, moves it by less than 5 m."""
    ground = np.full(300, 500.0)
    ground[5::10] += 40
    assert np.abs(first_line(ground, np.ones(300, bool), 100.0, 0.045) - 500).max() < 5
