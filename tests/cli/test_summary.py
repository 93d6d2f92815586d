"""The few lines a reader sees first."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from profiler.cli.summary import summary
from profiler.landmark import Landmark, Landmarks, PracticeNote
from profiler.profile import Profile
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


def lines_with(word: str, profile: Profile, landmarks: Landmarks) -> list[str]:
    return [line.strip() for line in summary(profile, landmarks, Path("nowhere")).splitlines() if word in line]


def test_compensated_where_curves_make_a_difference():
    """Worked: to the quay 1.35 and 1.55 % differ by 0.2 %; to Farrow nothing is compensated; 1.36 for 1.35 % is
    not worth a word. Law: the model is named once."""
    items = invented_landmarks()
    found = lines_with("compensated", invented_profile(), items)
    assert found == [
        "to Thistle Quay: ruling grade 1.35 % (1.32–1.38), compensated 1.55 % (1.51–1.59) near 47.9, train of 6,562 ft",
        "compensated for curves: 0.04 % of grade per degree of curve (0.8 lb per short ton and degree, AREMA)",
    ]
    near = tuple(dataclasses.replace(x, value=1.36) if x.kind == "ruling_grade_compensated" else x for x in items.items)
    assert lines_with("compensated", invented_profile(), dataclasses.replace(items, items=near)) == []


def test_design_practice_in_one_line():
    """Law: what surely departs is counted; without speed limits it is said what was not looked at; a line
    without curves has nothing to say."""
    profile, route = invented_profile(), invented_profile().route
    note = PracticeNote(
        kind="tight_curve", start=0, end=1, value=16, practice=15, unit="degree", of="curve 55A", source="practice"
    )
    with_note = Landmarks((), (), (), (note,))
    (line,) = lines_with("design practice", profile, with_note)
    assert line == (
        "design practice: 1 curve tighter than 15°; see practice.csv (information, no finding about the track)"
    )
    unlimited = dataclasses.replace(profile, route=dataclasses.replace(route, limits=()))
    (line,) = lines_with("design practice", unlimited, suspects())
    assert line == (
        "design practice: nothing surely departs from it; no speed limits given: spirals and cants not looked at"
    )
    straight = dataclasses.replace(profile, route=dataclasses.replace(route, curves=()))
    assert lines_with("design practice", straight, suspects()) == []
