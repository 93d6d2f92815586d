"""Head positions for which a train lies on both sides of a landmark."""

from __future__ import annotations

import numpy as np
import pytest

from profiler.landmark import Landmark
from profiler.landmarks.find import LandmarkSettings, find_landmarks
from profiler.landmarks.straddles import length_quarters, straddles
from profiler.units import FOOT
from tests.tangents import of_pvis


def crest(at: float, kind: str = "crest") -> Landmark:
    return Landmark(kind=kind, direction="both", start=at, end=at, at=at, value=20, unit="m")


def test_quarters_of_a_train():
    """Worked: a train of 6,676 ft stands half over a crest with its head 3,338 ft past it, three
    quarters at 5,007 ft, clear at 6,676 ft."""
    with_, against = straddles([crest(10_000)], [length_quarters(6676 * FOOT)])
    heads = [with_.head, with_.quarter, with_.half, with_.three_quarter, with_.clear]
    np.testing.assert_allclose((np.array(heads) - 10_000) / FOOT, [0, 1669, 3338, 5007, 6676])
    heads = [against.head, against.quarter, against.half, against.three_quarter, against.clear]
    np.testing.assert_allclose((10_000 - np.array(heads)) / FOOT, [0, 1669, 3338, 5007, 6676])
    assert (with_.direction, against.direction) == ("with", "against")


def test_mean_grade_under_a_train_at_its_quarters():
    """Worked: +1.0 % before and −2.2 % after a crest, train of 6,676 ft: mean grade under it
    +1.000, 0, −0.600, −1.400, −2.200 % with the head 0, 2,086.25, 3,338, 5,007 and 6,676 ft past it."""
    profile = of_pvis([0, 10_000, 20_000], [0.01, -0.022])
    length = 6676 * FOOT
    straddle = straddles([crest(10_000)], [length_quarters(length)])[0]
    heads = [straddle.head, 10_000 + 2086.25 * FOOT, straddle.half, straddle.three_quarter, straddle.clear]
    z = np.interp([heads, np.array(heads) - length], profile.chainage, profile.elevation)
    np.testing.assert_allclose((z[0] - z[1]) / length * 100, [1.0, 0.0, -0.6, -1.4, -2.2], atol=1e-9)


def test_what_is_straddled():
    """Law: crests, sags and breaks, each length and direction, pointing at their landmark."""
    settings = LandmarkSettings(train_lengths=(500.0, 1500.0))
    found = find_landmarks(of_pvis([0, 4000, 8000, 12_000, 16_000], [0.01, -0.01, -0.02, 0.01]), settings)
    numbers = [i for i, x in enumerate(found.items) if x.kind in ("crest", "sag", "grade_break")]
    assert [found.items[i].kind for i in numbers] == ["crest", "grade_break", "sag"]
    assert [s.landmark for s in found.straddles] == np.repeat(numbers, 4).tolist()
    for s in found.straddles:
        item = found.items[s.landmark]
        assert (s.kind, s.head) == (item.kind, item.at)
        assert abs(s.clear - s.head) == pytest.approx(s.train_length)
    assert {(s.direction, s.train_length) for s in found.straddles} == {
        (d, length) for d in ("with", "against") for length in (500.0, 1500.0)
    }
    assert straddles([crest(0, "ruling_grade")], [length_quarters(500.0)]) == ()
