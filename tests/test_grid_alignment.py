"""The plan on a grid: zones, and spirals cut where they are straight."""

from __future__ import annotations

import pytest

from profiler.grid_alignment import one_handed, utm_zone
from profiler.plan_elements import PlanElement


@pytest.mark.parametrize(
    ("longitude", "latitude", "code"),
    [(1.5, 42.6, 32631), (-31.0, -38.1, 32725), (179.9, 1.0, 32660), (180.1, 1.0, 32601), (-0.01, 51.0, 32630)],
)
def test_zones(longitude: float, latitude: float, code: int):
    """Published (NGA.SIG.0012, zones of 6° from 180° W; EPSG 326xx north, 327xx south); across 180° as west of it."""
    assert utm_zone(longitude, latitude) == code


def test_a_spiral_between_two_hands_is_cut():
    """Worked: from −3/1000 to +2/1000 over 60 m curvature is zero after 36 m; the turns stay."""
    whole = PlanElement("spiral", 1140, 1200, -0.003, 0.002, "1A/1B")
    first, second = one_handed([whole])
    assert (first.end, second.start) == (1176, 1176)
    assert (first.curvature_end, second.curvature_start) == (0, 0)
    assert (first.curve, second.curve) == ("1A", "1B")
    assert first.turn + second.turn == pytest.approx(whole.turn)
