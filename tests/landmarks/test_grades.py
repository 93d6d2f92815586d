"""Ruling, sustained and heavy grades, rise and fall."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from profiler.landmarks.grades import heavy_grades, ruling_grades, sustained_grades, totals
from profiler.landmarks.turning import turning_points
from profiler.units import MILE, curvature_of_degree
from tests.tangents import of_pvis, profile_of


def kinds(profile) -> set[tuple[str, str]]:
    return {(x.kind, x.direction) for x in heavy_grades(profile)}


def test_three_miles_at_one_percent_are_heavy():
    """Published: 49 CFR 232.407(a)(1), over 4,000 trailing tons an average of 1 % over 3 continuous miles."""
    profile = of_pvis([0, 5000, 5000 + 3 * MILE, 15_000], [0, 0.01, 0])
    assert kinds(profile) == {("heavy_grade_over_4000", "with")}
    (found,) = heavy_grades(profile)
    assert (found.start, found.end) == pytest.approx((5000, 5000 + 3 * MILE), abs=0.01)
    assert found.value == pytest.approx(1.0)
    assert found.probability == 1.0


def test_a_metre_less_is_not_heavy():
    """Published: 49 CFR 232.407(a)(1), "over": 3 miles less a metre, and 2 miles less a metre, do not count."""
    assert kinds(of_pvis([0, 5000, 4999 + 3 * MILE, 15_000], [0, 0.01, 0])) == set()
    short = of_pvis([0, 5000, 4999 + 2 * MILE, 15_000], [0, 0.02, 0])
    assert "heavy_grade_4000_or_less" not in {kind for kind, _ in kinds(short)}


def test_two_miles_at_two_percent_are_heavy():
    """Published: 49 CFR 232.407(a)(1), 4,000 trailing tons or less: 2 % over 2 miles. The same 64.4 m of
    rise are 1.33 % over 3 miles, so heavier trains have it too, from the place where 48.3 m remain."""
    profile = of_pvis([0, 8000, 8000 + 2 * MILE, 20_000], [0, -0.02, 0])
    assert kinds(profile) == {("heavy_grade_4000_or_less", "against"), ("heavy_grade_over_4000", "against")}
    light, heavy = sorted(heavy_grades(profile), key=lambda x: x.kind)
    assert (light.start, light.end) == pytest.approx((8000, 8000 + 2 * MILE), abs=0.01)
    # 3 miles of train path at 1 % need 1.5 miles of the ramp: 1.5 miles of level beyond it on either side
    assert (heavy.start, heavy.end) == pytest.approx((8000 - 1.5 * MILE, 8000 + 3.5 * MILE), abs=0.01)


def test_a_line_of_just_three_miles():
    """Published: 49 CFR 232.407(a)(1), "at least": the whole line may be the stretch, in either direction."""
    for grade, direction in ((0.01, "with"), (-0.01, "against")):
        profile = of_pvis([0, 3 * MILE], [grade], step=17.3)
        assert kinds(profile) == {("heavy_grade_over_4000", direction)}


def test_compensated_by_curves():
    """Published: AREMA, 0.04 % a degree: a 6° curve on 1.6 % is worth 1.84 %; downhill −1.6 + 0.24 = −1.36 %."""
    s = np.arange(0, 5001, 10.0)
    profile = profile_of(s, 100 + 0.016 * s, curvature=-float(curvature_of_degree(6)))
    np.testing.assert_allclose(profile.compensated_grade("with"), 0.0184, atol=1e-12)
    np.testing.assert_allclose(profile.compensated_grade("against"), -0.0136, atol=1e-12)
    found = {(r.kind, r.direction): r.value for r in ruling_grades(profile, (2000.0,))}
    assert found["ruling_grade", "with"] == pytest.approx(1.6)
    assert found["ruling_grade_compensated", "with"] == pytest.approx(1.84)
    assert found["ruling_grade_compensated", "against"] == pytest.approx(-1.36)


def test_the_error_of_the_curvature_widens_the_compensated_interval():
    """Worked: 0.5° of standard error at 0.04 % a degree is 1.96·0.02 = 0.0392 %; the elevations are sure.
    Law: the plain figure does not care; the note names the model."""
    s = np.arange(0, 5001, 10.0)
    profile = profile_of(s, 100 + 0.016 * s, curvature=float(curvature_of_degree(6)))
    unsure = np.full(s.size, float(curvature_of_degree(0.5)))
    profile = dataclasses.replace(profile, route=dataclasses.replace(profile.route, curvature_se=unsure))
    found = {r.kind: r for r in ruling_grades(profile, (2000.0,)) if r.direction == "with"}
    bent, plain = found["ruling_grade_compensated"], found["ruling_grade"]
    assert (bent.low, bent.high) == pytest.approx((1.84 - 0.0392, 1.84 + 0.0392), abs=1e-4)
    assert (plain.low, plain.high) == pytest.approx((1.6, 1.6), abs=1e-6)
    assert bent.note == "with 0.04 % of grade per degree of curve (0.8 lb per short ton and degree, AREMA)"


def test_ruling_grade_of_a_short_ramp():
    """Worked: 500 m of 2 % between level rule a train of 1,000 m with 1 %, one of 400 m with 2 %."""
    profile = of_pvis([0, 3000, 3500, 8000], [0, 0.02, 0])
    found = {(r.direction, r.train_length): r for r in ruling_grades(profile, (400.0, 1000.0)) if "comp" not in r.kind}
    assert found["with", 400.0].value == pytest.approx(2.0)
    assert found["with", 1000.0].value == pytest.approx(1.0)
    assert found["against", 400.0].value == pytest.approx(0.0)
    assert 2500 <= found["with", 1000.0].start <= 3000
    assert found["with", 1000.0].end - found["with", 1000.0].start == pytest.approx(1000)


def test_interval_of_the_ruling_grade_holds_the_truth():
    """Law: 40 times a line and its draws about one truth; the 95 % interval holds the true figure at
    least 36 times (fewer by chance once in 50)."""
    truth = of_pvis([0, 4000, 9000, 15_000], [0.004, 0.012, -0.002])
    nodes = np.arange(0, 15_001, 100.0)
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(40):
        wander = np.cumsum(rng.normal(0, 0.15, (61, nodes.size)), axis=1)
        told = np.interp(nodes, truth.chainage, truth.elevation) + wander[0]
        profile = profile_of(nodes, told, draws=told + wander[1:], nodes=nodes)
        (found,) = (r for r in ruling_grades(profile, (2000.0,)) if (r.kind, r.direction) == ("ruling_grade", "with"))
        assert found.low <= found.value <= found.high
        held += found.low <= 1.2 <= found.high
    assert held >= 36


def test_sustained_grade():
    """Worked: 1 % over 5 km; a window of 2 km has 0.8 % up to 400 m beyond either end of it."""
    profile = of_pvis([0, 5000, 10_000, 16_000], [0, 0.01, 0])
    (found,) = sustained_grades(profile, 0.008, 2000.0)
    assert (found.start, found.end, found.direction) == (pytest.approx(4600), pytest.approx(10_400), "with")
    assert found.value == pytest.approx(100 * 50 / 5800)


def test_doubtful_heavy_grade():
    """Law: half of the draws climb 2.05 % over the 2 miles, half 1.95 %: probability one half."""
    truth = of_pvis([0, 2 * MILE], [0.02], step=100)
    factor = np.repeat([0.975, 1.025], 20)[:, None]
    rise = truth.elevation - truth.elevation[0]
    profile = profile_of(truth.chainage, truth.elevation, draws=rise * factor)
    (found,) = (x for x in heavy_grades(profile) if x.kind == "heavy_grade_4000_or_less")
    assert found.probability == pytest.approx(0.5)
    assert (found.low, found.high) == pytest.approx((1.95, 2.05), abs=1e-4)


def test_total_rise_and_fall():
    """Worked: up 40, down 30, up 20 m; half a metre of undulation does not count. Law: rise less fall
    is the difference of the ends, and turns with the direction."""
    profile = of_pvis([0, 4000, 7000, 8000, 8100, 9000], [0.01, -0.01, 0.0105, -0.005, 10 / 900])
    found = {(x.kind, x.direction): x.value for x in totals(profile, turning_points(profile.elevation, 1.0))}
    up = 40 + 10.5 - 0.5 + 10
    assert found == pytest.approx(
        {
            ("total_rise", "with"): up,
            ("total_fall", "with"): 30,
            ("total_rise", "against"): 30,
            ("total_fall", "against"): up,
        }
    )
    assert up - 30 == pytest.approx(profile.elevation[-1] - profile.elevation[0])
