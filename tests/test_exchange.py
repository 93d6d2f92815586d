"""What formats carry besides the plan: gradients, mileages, limits, against hand figures."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from profiler.exchange import Gradient, VerticalPoint, about, gradients, mileages, speed_steps, vertical_points
from profiler.route import Posts, SpeedLimit
from profiler.vertical_curve import line_of
from tests.invented import invented_landmarks, invented_profile, seen_profile


def height(piece: Gradient, along: float) -> float:
    return piece.elevation + piece.before * along + (piece.after - piece.before) * along**2 / (2 * piece.length)


def test_a_parabola():
    """Published (IFC 4.3, IfcAlignmentVerticalSegment PARABOLICARC: z0 + g0·d + (g1 − g0)·d²/(2L)), by hand: 52 m at
    +2 % to −3 % over 200 m: 52.6875 after 50 m, 52.75 in the middle, 51.00 at the end; radius 200/0.05 on a hill."""
    points = (VerticalPoint(0, 52), VerticalPoint(100, 54, 200), VerticalPoint(200, 51))
    (curve,) = gradients(points)
    assert (curve.start, curve.end, curve.radius) == (0, 200, pytest.approx(4000))
    assert (curve.before, curve.after) == (pytest.approx(0.02), pytest.approx(-0.03))
    assert [height(curve, d) for d in (0, 50, 100, 200)] == pytest.approx([52, 52.6875, 52.75, 51])


def test_gradients_are_the_line_of_pvis():
    """Law: pieces follow each other without gap and give the elevations of the profile's own line; a sag's radius is
    negative."""
    profile = seen_profile()
    pieces = gradients(vertical_points(profile, invented_landmarks()))
    assert [p.end for p in pieces[:-1]] == pytest.approx([p.start for p in pieces[1:]])
    for piece in pieces:
        along = np.linspace(0, piece.length, 5)
        assert height(piece, along) == pytest.approx(line_of(profile.pvis, piece.start + along)[0], abs=1e-6)
    signs = [np.sign(p.radius) for p in pieces if p.radius]
    assert signs == [-np.sign(p.change) for p in profile.pvis]


def test_mileages_by_hand():
    """Worked: from 10 km, a kilometre of 1,020 m to post 11, then an equation at 2,520 m where 12.5 becomes 20.
    Post 11 stands 20 m late: coming on, the ground says 11.02. At 2,520 m, 1,500 m after it, it says 12.5."""
    posts = Posts(np.array([0.0, 1020, 2520, 2520, 3520]), np.array([10, 11, 12.5, 20, 21]), "km")
    assert [(m.chainage, m.back, m.ahead) for m in mileages(posts, 0, 5000)] == [
        (0, 10_000, 10_000),
        (1020, 11_020, 11_000),
        (2520, 12_500, 20_000),
    ]


def test_falling_mileages():
    """Worked: from 10 km falling, 1,020 m to post 9: coming on, the ground says 8.98."""
    posts = Posts(np.array([0.0, 1020]), np.array([10.0, 9.0]), "km")
    assert [(m.chainage, m.back, m.ahead) for m in mileages(posts, 0, 5000)][1:] == [(1020, 8980, 9000)]


def test_limits_as_travelled():
    """Worked: 20 m/s to 1 km, 10 to 2 km, nothing to 3 km, 30 beyond; one class of train has its own and is no step.
    Towards the start each limit begins at its far end."""
    limits = (
        SpeedLimit(0, 1000, 20),
        SpeedLimit(1000, 2000, 10),
        SpeedLimit(3000, 4000, 30),
        SpeedLimit(0, 4000, 5, train_class="freight"),
    )
    route = dataclasses.replace(invented_profile().route, limits=limits)
    assert [(s.chainage, s.speed) for s in speed_steps(route, "with")] == [
        (0, 20), (1000, 10), (2000, None), (3000, 30), (4000, None)
    ]  # fmt: skip
    assert [(s.chainage, s.speed) for s in speed_steps(route, "against")] == [
        (0, None), (1000, 20), (2000, 10), (3000, None), (4000, 30)
    ]  # fmt: skip
    assert speed_steps(dataclasses.replace(route, limits=limits[3:]), "with") == ()


def test_what_is_said():
    """Law: an invented line says so, and where the vertical line comes from."""
    words = about(invented_profile(), invented_landmarks())
    assert words.startswith("Invented line")
    assert "grade runs" in words
    assert "8 vertical points of intersection" in about(seen_profile(), invented_landmarks())
