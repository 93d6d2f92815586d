"""What the map shows of the plan when asked."""

from __future__ import annotations

import dataclasses

from profiler.grade_classes import DEFAULT_LIMITS
from profiler.landmark import Landmarks, PracticeNote
from profiler.practice_words import PRACTICE_CAUTION
from profiler.present.map import map_data
from profiler.present.map_curves import curve_marks, heading
from profiler.route import Corner
from profiler.units import MPH
from tests.invented import invented_landmarks, invented_profile


def note(kind: str, of: str, start: float, end: float, **more: object) -> PracticeNote:
    figures = {"value": 30.0, "practice": 60.0, "unit": "m"}
    return PracticeNote(kind=kind, start=start, end=end, of=of, **{**figures, **more})


def with_notes(*notes: PracticeNote) -> Landmarks:
    return Landmarks((), (), (), notes)


def test_a_curve_in_words():
    """Worked: 8° to the right at posts 38 + 27.7/1.609 to 38 + 28.3/1.609; the radius 218.5 m is 717 ft, ±2·2e-5
    is ±0.07°; spirals of 90 m are 295 ft; 510 m by 218.5 turn 133.7°. A right-hand curve bulges to the left."""
    marks = curve_marks(invented_profile(), with_notes())
    assert len(marks) == 9
    (sharp,) = (m for m in marks if m["label"].startswith("45A"))
    assert (sharp["label"], sharp["side"], sharp["title"]) == ("45A 8.0°", "left", "Curve 45A")
    assert (sharp["start"], sharp["end"], sharp["where"]) == (27700.0, 28300.0, "posts 55.21 to 55.58")
    assert sharp["lines"] == [
        "8.0° (radius 717 ft), to the right",
        "sure to ±0.07°",
        "spirals 295 ft in, 295 ft out",
        "turns 133.7° over 1,969 ft",
    ]


def test_metric_labels_are_radii():
    """Worked: 8° is 218 m."""
    labels = [m["label"] for m in curve_marks(invented_profile("metric"), with_notes())]
    assert "45A 218 m" in labels


def test_corners():
    """Worked: 0.05 rad is 2.9°, at 12 km, post 45.46."""
    profile = invented_profile()
    route = dataclasses.replace(profile.route, corners=(Corner(12_000.0, 0.05, -0.3048),))
    marks = curve_marks(dataclasses.replace(profile, route=route), with_notes())
    (corner,) = (m for m in marks if m["sign"] == "corner")
    assert corner["lines"][0] == "2.9° to the left, set 1.0 ft to the right"
    assert (corner["label"], corner["where"]) == (f"corner {corner['lines'][0]}", "post 45.46")
    assert heading(marks) == "Curves (9), corners (1)"


def test_notes_of_practice():
    """Law: what practice says stands in the curve's words, what departs from it has one sign for all trains and
    the caution; a plain figure has neither sign nor caution, and no note wanders to another curve."""
    notes = (
        note("short_spiral", "spiral into curve 45A", 27700, 27790, speed=25 * MPH, train_class="freight"),
        note("short_spiral", "spiral into curve 45A", 27700, 27790, speed=35 * MPH, train_class="passenger"),
        note("balanced_cant", "curve 46A", 31700, 32300, unit="mm", speed=25 * MPH),
    )
    marks = curve_marks(invented_profile(), with_notes(*notes))
    (sign,) = (m for m in marks if m["sign"] == "practice")
    assert (sign["title"], sign["at"]) == ("Design practice: spiral into curve 45A", 27745.0)
    assert len(sign["lines"]) == 3
    assert sign["lines"][-1] == PRACTICE_CAUTION
    lines = {m["label"].split()[0]: m["lines"] for m in marks if m["sign"] == "bend"}
    assert lines["45A"][4:] == sign["lines"]
    assert len(lines["46A"]) == 5
    assert lines["46A"][4].startswith("curve 46A: balanced by")
    assert all(len(found) == 4 for name, found in lines.items() if name not in ("45A", "46A"))
    assert heading(marks) == "Curves (9), notes of practice (1)"


def test_the_sharpest_curve_has_its_number():
    """Worked: the invented landmark is the curve of 8°, number 45A."""
    data = map_data(invented_profile(), invented_landmarks(), DEFAULT_LIMITS, None)
    (sharpest,) = (m for m in data["marks"] if m["sign"] == "curve")
    assert sharpest["title"] == "Sharpest curve, 45A"
    assert sharpest["lines"][0] == "8.0° (radius 717 ft), to the right"
    assert data["plan_words"] == "Curves (9)"


def test_a_straight_line_has_no_such_layer():
    """Law: nothing to show, nothing offered."""
    profile = invented_profile()
    bare = dataclasses.replace(profile, route=dataclasses.replace(profile.route, curves=()))
    data = map_data(bare, with_notes(), DEFAULT_LIMITS, None)
    assert (data["plan"], data["plan_words"]) == ([], "")
