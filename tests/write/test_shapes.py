"""Lines cut where they cross the 180° meridian."""

from __future__ import annotations

import hypothesis
import numpy as np
import pytest
from hypothesis import strategies as st

from profiler.write.shapes import along, cut_at_meridian, position
from tests.invented import invented_profile


def test_the_example_of_the_standard():
    """Published: RFC 7946, section 3.1.9: from 170, 45 to −170, 45 in two parts that meet at 180."""
    parts = cut_at_meridian(np.array([[170.0, 45.0], [190.0, 45.0]]))
    assert [part.tolist() for part in parts] == [[[170, 45], [180, 45]], [[-180, 45], [-170, 45]]]


def test_westwards_and_what_else_changes():
    """Worked: from −179 to −181 the meridian is half way, and so is the elevation, 15 of 10 to 20."""
    first, second = cut_at_meridian(np.array([[-179.0, 0.0, 10.0], [-181.0, 2.0, 20.0]]))
    assert first.tolist() == [[-179, 0, 10], [-180, 1, 15]]
    assert second.tolist() == [[180, 1, 15], [179, 2, 20]]


def test_a_line_that_only_touches_stays_in_the_world():
    """Worked: three ways to touch the meridian with a vertex leave no part without length and nothing outside."""
    assert [p.tolist() for p in cut_at_meridian(np.array([[180.0, 0.0], [181.0, 0.0]]))] == [[[-180, 0], [-179, 0]]]
    assert len(cut_at_meridian(np.array([[179.0, 0.0], [180.0, 1.0]]))) == 1
    parts = cut_at_meridian(np.array([[179.0, 0.0], [180.0, 1.0], [179.0, 2.0]]))
    assert [p.tolist() for p in parts] == [[[179, 0], [180, 1]], [[180, 1], [179, 2]]]


@hypothesis.given(
    st.lists(st.floats(-5, 5), min_size=2, max_size=30), st.sampled_from([-540.0, -180.0, 0.0, 180.0, 540.0])
)
def test_length_is_kept(steps: list[float], start: float):
    """Law: whatever the line, its parts lie within ±180 and have its length between them."""
    points = np.column_stack([start + np.cumsum(steps), np.arange(len(steps))])
    parts = cut_at_meridian(points)
    assert all((np.abs(part[:, 0]) <= 180 + 1e-9).all() for part in parts)
    length = sum(np.abs(np.diff(part[:, 0])).sum() for part in parts)
    assert length == pytest.approx(np.abs(np.diff(points[:, 0])).sum(), abs=1e-6)


def test_a_stretch_begins_and_ends_between_stations():
    """Worked: stations every 10 m, so 1,234 to 1,266 m passes 1,240, 1,250 and 1,260."""
    route = invented_profile().route
    assert along(route, 1234.0, 1266.0).tolist() == [1234, 1240, 1250, 1260, 1266]
    x, y = position(route, [1240.0])
    assert (x[0], y[0]) == (route.longitude[124], route.latitude[124])
