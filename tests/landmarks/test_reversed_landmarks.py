"""Landmarks of a line travelled the other way."""

from __future__ import annotations

import dataclasses

import pytest

from profiler.landmark import reversed_landmarks
from profiler.landmarks.find import find_landmarks
from profiler.profile import reversed_profile
from tests.invented import invented_landmarks, invented_profile


def test_turned_twice_is_as_before():
    """Law: turning twice gives places, values, directions and straddles back."""
    marks = find_landmarks(invented_profile())
    back = reversed_landmarks(reversed_landmarks(marks, 50_000.0), 50_000.0)
    key = lambda item: (item.kind, item.direction, item.start, item.train_length or 0.0)  # noqa: E731
    for one, other in zip(sorted(marks.items, key=key), sorted(back.items, key=key), strict=True):
        assert dataclasses.astuple(other) == pytest.approx(dataclasses.astuple(one), nan_ok=True)
    assert [run.grade for run in back.grade_runs] == [run.grade for run in marks.grade_runs]
    places = {(back.items[s.landmark].at, s.direction, s.train_length): s.half for s in back.straddles}
    for straddle in marks.straddles:
        at = marks.items[straddle.landmark].at
        assert places[at, straddle.direction, straddle.train_length] == pytest.approx(straddle.half)


def test_as_found_on_the_turned_line():
    """Law: crests, sags and breaks of the turned profile, found anew, are those that were turned."""
    profile = invented_profile()
    anew = find_landmarks(reversed_profile(profile))
    turned = reversed_landmarks(find_landmarks(profile), profile.route.length)
    for kind in ("crest", "sag", "total_rise", "ruling_grade"):
        for direction in ("with", "against"):
            ours, theirs = (sorted(m.of_kind(kind, direction=direction), key=lambda x: x.at) for m in (turned, anew))
            assert [x.value for x in ours] == pytest.approx([x.value for x in theirs], rel=0.02)
            assert [x.at for x in ours] == pytest.approx([x.at for x in theirs], abs=30)


def test_what_has_a_hand_or_a_sense():
    """Worked: a break of -0.95 % at 31 km is +0.95 % at 19 km; a right-hand curve of 8° is left-hand."""
    turned = reversed_landmarks(invented_landmarks(), 50_000.0)
    (bend,), (curve,) = turned.of_kind("grade_break"), turned.of_kind("sharpest_curve")
    assert (bend.at, bend.value) == (19_000, 0.95)
    assert (curve.start, curve.value) == (21_700, 8.0)
    (straddle,) = turned.straddles
    assert turned.items[straddle.landmark].kind == "crest"
    assert (straddle.direction, straddle.head, straddle.clear) == ("against", 24_000, 22_000)
