"""The few lines a reader sees first."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from profiler.cli.summary import summary
from profiler.landmark import Landmark, Landmarks
from tests.invented import invented_landmarks, invented_profile


def suspects(*stretches: tuple[float, float]) -> Landmarks:
    tunnel = next(i for i in invented_landmarks().items if i.kind == "suspected_tunnel")
    items: tuple[Landmark, ...] = tuple(dataclasses.replace(tunnel, start=a, end=b) for a, b in stretches)
    return Landmarks(items, (), ())


def said(landmarks: Landmarks) -> str:
    lines = summary(invented_profile("metric"), landmarks, Path("nowhere")).splitlines()
    return "".join(line for line in lines if "suspected" in line)


def test_suspected_structures_stand_in_one_line_the_longest_first():
    """Worked: chainages 10 and 12 km are posts 44.2 and 45.5, 30 and 30.5 km posts 56.6 and 57.0."""
    line = said(suspects((30000, 30500), (10000, 12000)))
    assert "tunnel posts 44.2 to 45.5 (83 % likely); tunnel posts 56.6 to 57.0" in line
    assert "more" not in line


def test_more_than_five_are_counted():
    """Law: five are named and the rest counted."""
    line = said(suspects(*((1000.0 * k, 1000.0 * k + 400 + k) for k in range(1, 8))))
    assert line.count("tunnel posts") == 5
    assert line.endswith("and 2 more, see landmarks.csv")


def test_one_that_never_comes_out_is_said_so():
    """Worked: s.e. 1.5 m at the line's end is ±3 m."""
    assert said(suspects((49000, 50000))).endswith("no end seen: elevation in it to ±3 m")


def test_nothing_suspected_nothing_said():
    """Law: no line for nothing."""
    assert said(suspects()) == ""
