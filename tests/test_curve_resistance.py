"""Laws of curve resistance, and that a train's own law is that of everything told of it."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from profiler.briefing.plan import plan_handling
from profiler.curve_resistance import curve_worth, per_degree, roeckl
from profiler.landmarks.find import LandmarkSettings, find_landmarks
from profiler.landmarks.grades import recompensated
from profiler.mechanics.resistance import CURVE_START_FACTOR
from profiler.mechanics.terrain import as_met_by, terrain_of
from profiler.mechanics.tonnage import ratings
from profiler.profile import Profile
from profiler.units import GRAVITY, PERCENT
from tests.tangents import profile_of
from tests.trains import D, F

RADIUS, UNSURE = 400.0, 2e-5


def bent(grade: float = 0.02) -> Profile:
    """6 km up one grade in one curve of `RADIUS`."""
    s = np.arange(0.0, 6001.0, 10.0)
    profile = profile_of(s, 100 + grade * s, curvature=1 / RADIUS)
    return dataclasses.replace(profile, route=dataclasses.replace(profile.route, curvature_se=np.full(s.size, UNSURE)))


def by_roeckl(train):
    return dataclasses.replace(train, curve_resistance="roeckl")


def test_curves_of_either_hand_and_none():
    """Law: left and right cost alike, a tangent nothing; tighter than 60 m Röckl goes no higher; a degree is worth what
    the line compensates, whatever Röckl says."""
    k = np.array([-0.004, 0.0, 0.004])
    for rule in (per_degree, roeckl):
        left, none, right = rule(k)
        assert left == right > 0
        assert none == 0
    assert float(roeckl(1 / 20)) == float(roeckl(1 / 60))
    assert curve_worth(k, "per degree", 0.0008) == pytest.approx(2 * per_degree(k))
    assert curve_worth(k, "roeckl", 0.0008) == pytest.approx(roeckl(k))


@pytest.mark.parametrize("direction", ["with", "against"])
def test_a_train_has_its_own_law_everywhere(direction: str):
    """Published: S8, Röckl 650/(R − 55) ‰, 1.884 ‰ at 400 m: under the whole train, doubled at its start, in the grade
    of its climb and its rating, and in the ruling grade of its chart with its interval; another train on the line keeps
    0.04 % a degree."""
    profile = bent(0.02 if direction == "with" else -0.02)
    landmarks = find_landmarks(profile, LandmarkSettings(train_lengths=(1000.0,)))
    worth = {"per degree": float(per_degree(1 / RADIUS)), "roeckl": 0.650 / (RADIUS - 55)}
    for train in (F, by_roeckl(F)):
        curve = worth[train.curve_resistance]
        found = plan_handling(profile, landmarks, train, direction)
        i = found.everywhere.head.size // 2
        weight = GRAVITY * train.mass
        assert found.running.under.curve_grade == pytest.approx(curve)
        assert found.everywhere.curve[i] == pytest.approx(CURVE_START_FACTOR * weight * curve)
        assert found.speeds[0].grade == pytest.approx(0.02 + curve)
        assert found.rating is not None
        assert found.rating.ruling.grade == pytest.approx(0.02 + curve, abs=1e-5)
        ruling = found.landmarks.of_kind("ruling_grade_compensated", direction=direction)
        assert [item.value * PERCENT for item in ruling] == pytest.approx([0.02 + curve])
        more = curve_worth(1 / RADIUS + UNSURE, train.curve_resistance) - curve
        assert (ruling[0].high - ruling[0].value) * PERCENT == pytest.approx(1.96 * float(more), rel=1e-3)
        assert ("Röckl" in ruling[0].note) == (train.curve_resistance == "roeckl")


def test_a_line_found_anew_is_the_line():
    """Law: compensated anew by the law they were found by, landmarks stay as they are; by another, only that changes,
    and each stays where straddles look for it."""
    profile = bent()
    landmarks = find_landmarks(profile)
    assert recompensated(profile, landmarks) == landmarks
    other = recompensated(as_met_by(profile, by_roeckl(D)), landmarks)
    changed = [a.kind for a, b in zip(landmarks.items, other.items, strict=True) if a != b]
    assert changed
    assert set(changed) == {"ruling_grade_compensated"}


def test_ratings_by_the_trains_law():
    """Law: where Röckl makes curves dearer, the same power hauls less in either direction; on straight line as much."""
    assert roeckl(1 / RADIUS) > per_degree(1 / RADIUS)
    for a, b in zip(ratings(bent(), F), ratings(bent(), by_roeckl(F)), strict=True):
        assert b.by_power.mass < a.by_power.mass or a.by_power.head is None
    straight = dataclasses.replace(bent(), route=profile_of(bent().chainage, bent().elevation).route)
    assert as_met_by(straight, by_roeckl(F)).curve_resistance == "roeckl"
    assert terrain_of(as_met_by(straight, by_roeckl(F))).curve_rise == pytest.approx(0.0)
