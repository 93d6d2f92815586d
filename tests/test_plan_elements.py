"""The plan of a line as the sequence it is built of."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from profiler.plan_elements import SHORTEST, elements_of
from profiler.route import CurveElement
from tests.invented import invented_profile


def curve(number: str, start: float, end: float, curvature: float, spirals: tuple[float, float]) -> CurveElement:
    return CurveElement(number, "simple", start, end, *spirals, curvature, 1e-5)


COMPOUND = (curve("0A.1", 100, 500, 0.002, (60, 40)), curve("0A.2", 460, 900, 0.004, (40, 50)))
REVERSE = (curve("1A", 920, 1200, -0.003, (30, 60)), curve("1B", 1140, 1500, 0.002, (60, 0)))


def test_a_compound_curve():
    """Worked: spiral to 1/500 over 60 m, arc, spiral to 1/250 over the shared 40 m, arc, spiral of 50 m."""
    found = [
        (e.kind, e.start, e.end, round(e.curvature_start, 12), round(e.curvature_end, 12), e.curve)
        for e in elements_of(COMPOUND, 0, 1000)
    ]
    assert found == [
        ("tangent", 0, 100, 0, 0, ""),
        ("spiral", 100, 160, 0, 0.002, "0A.1"),
        ("arc", 160, 460, 0.002, 0.002, "0A.1"),
        ("spiral", 460, 500, 0.002, 0.004, "0A.1/0A.2"),
        ("arc", 500, 850, 0.004, 0.004, "0A.2"),
        ("spiral", 850, 900, 0.004, 0, "0A.2"),
        ("tangent", 900, 1000, 0, 0, ""),
    ]


def test_reverse_curves_with_one_spiral_and_an_arc_without():
    """Worked: one spiral runs from −3/1000 to +2/1000; the last arc ends at once."""
    spiral, arc, tangent = elements_of(REVERSE, 900, 2000)[3:]
    assert (spiral.start, spiral.end, spiral.curve) == (1140, 1200, "1A/1B")
    assert (spiral.curvature_start, spiral.curvature_end) == pytest.approx((-0.003, 0.002))
    assert (arc.kind, arc.start, arc.end, tangent.kind) == ("arc", 1200, 1500, "tangent")


def test_straight_line_and_line_all_in_one_curve():
    """Law: without curves one tangent; a curve cut by both ends of the line leaves one arc."""
    (alone,) = elements_of((), 0, 100)
    assert (alone.kind, alone.start, alone.end, alone.turn) == ("tangent", 0, 100, 0)
    (arc,) = elements_of((curve("0A", 0, 100, -0.01, (0, 0)),), 0, 100)
    assert (arc.kind, arc.turn) == ("arc", pytest.approx(-1.0))


def test_rounding_leaves_no_sliver():
    """Law: what lies between two places closer than `SHORTEST`, as in a table of rounded figures, is nothing."""
    rounded = (curve("0A.1", 100, 500.1, 0.002, (60, 40)), curve("0A.2", 460.2, 900, 0.004, (40, 50)))
    found = elements_of(rounded, 99.9, 1000)
    assert min(e.length for e in found) > SHORTEST
    assert [e.kind for e in found] == ["spiral", "arc", "spiral", "arc", "spiral", "tangent"]
    assert all(a.curvature_end == pytest.approx(b.curvature_start, abs=1e-12) for a, b in pairwise(found))


@st.composite
def plans(draw: st.DrawFn) -> tuple[tuple[CurveElement, ...], float]:
    """Lines of curves with tangents between, or with shared transitions of either hand."""
    at, shared = draw(st.floats(1, 100)), 0.0
    curves = []
    for i in range(draw(st.integers(0, 6))):
        body, spiral_out = draw(st.floats(5, 500)), draw(st.floats(1, 100))
        spiral_in = shared or draw(st.floats(1, 100))
        end = at + spiral_in + body + spiral_out
        level = draw(st.floats(1e-4, 1e-2)) * draw(st.sampled_from((-1, 1)))
        if shared and abs(level - curves[-1].curvature) < 1e-6:
            level *= 2
        curves.append(curve(f"{i}A", at, end, level, (spiral_in, spiral_out)))
        shared = spiral_out if draw(st.booleans()) else 0.0
        at = end - shared if shared else end + draw(st.floats(1, 300))
    return tuple(curves), at + 200.0


@given(plans())
def test_laws_of_the_sequence(plan: tuple[tuple[CurveElement, ...], float]):
    """Law: no gap and no overlap; curvature is continuous where curves have spirals; what all elements
    turn is what all curves turn; elements of one kind with one curvature never follow each other."""
    curves, end = plan
    found = elements_of(curves, 0.0, end)
    assert found[0].start == 0.0
    assert found[-1].end == end
    assert all(a.end == b.start for a, b in pairwise(found))
    assert all(a.curvature_end == pytest.approx(b.curvature_start, abs=1e-9) for a, b in pairwise(found))
    assert sum(e.turn for e in found) == pytest.approx(sum(c.deflection for c in curves), abs=1e-9)
    assert not any(a.kind == b.kind != "spiral" for a, b in pairwise(found))
    assert all(bool(e.curve) == (e.kind != "tangent") for e in found)


def test_the_elements_are_the_curvature_of_the_stations():
    """Law: at every station of the invented line the element there has the route's curvature."""
    route = invented_profile().route
    found = elements_of(route.curves, 0.0, float(route.chainage[-1]))
    knots = np.array([(e.start, e.end) for e in found]).ravel()
    values = np.array([(e.curvature_start, e.curvature_end) for e in found]).ravel()
    assert np.interp(route.chainage, knots, values) == pytest.approx(route.curvature, abs=1e-12)
