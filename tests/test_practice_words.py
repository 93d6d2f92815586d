"""Notes of design practice as people read them."""

from __future__ import annotations

import pytest

from profiler.landmark import PracticeNote
from profiler.practice_words import PRACTICE_CAUTION, practice_summary, practice_words
from profiler.units import MPH


def note(kind: str, value: float, practice: float, unit: str, **other: object) -> PracticeNote:
    facts = {"start": 0.0, "end": 1.0, "of": "curve 62C", **other}
    return PracticeNote(kind=kind, value=value, practice=practice, unit=unit, **facts)


@pytest.mark.parametrize(
    ("item", "us", "metric"),
    [
        (
            note("tight_curve", 16.2, 15.0, "degree", value_se=0.2),
            "curve 62C: 16.2° ±0.4°, tighter than the 15.0° customary on main lines",
            "curve 62C: radius 108 m ±3 m, tighter than the radius 117 m customary on main lines",
        ),
        (
            note("short_spiral", 60.0, 70.3, "m", value_se=4.0, speed=40 * MPH, of="spiral into curve 62C"),
            "spiral into curve 62C: 197 ft ±26 ft long, practice asks for 231 ft or more at 40 mph, whatever the cant",
            "spiral into curve 62C: 60 m ±8 m long, practice asks for 70 m or more at 64 km/h, whatever the cant",
        ),
        (
            note("sharp_vertical_curve", 100.0, 200.0, "m", of="vertical curve at post 54.30"),
            "vertical curve at post 54.30: 328 ft long, practice makes it 656 ft or longer on secondary lines",
            "vertical curve at post 54.30: 100 m long, practice makes it 200 m or longer on secondary lines",
        ),
        (
            note("cant", 254.0, 228.6, "mm", speed=60 * MPH, train_class="freight"),
            "curve 62C: balanced by 10.0 in of cant at 60 mph (freight), over the 9.0 in that cant and unbalance "
            "customarily make",
            "curve 62C: balanced by 254 mm of cant at 97 km/h (freight), over the 229 mm that cant and unbalance "
            "customarily make",
        ),
        (
            note("balanced_cant", 64.0, 228.6, "mm", speed=30 * MPH),
            "curve 62C: balanced by 2.5 in of cant at 30 mph",
            "curve 62C: balanced by 64 mm of cant at 48 km/h",
        ),
    ],
)
def test_design_practice_in_words(item: PracticeNote, us: str, metric: str):
    """Worked: 1.96 standard errors are given; 16.2° has a radius of 108.2 m, 15.8 and 16.6° of 110.9 and 105.6."""
    assert practice_words(item, "us") == us
    assert practice_words(item, "metric") == metric


def test_departures_are_counted_once_a_thing():
    """Law: two classes of train over one spiral are one spiral; a balanced cant is no departure; nothing is
    said of nothing; whoever reads it is told that it is no finding."""
    tight = [note("tight_curve", 16.0, 15.0, "degree", of=f"curve {k}") for k in range(3)]
    spiral = [note("short_spiral", 20.0, 30.0, "m", train_class=name) for name in ("freight", "passenger")]
    plain = note("balanced_cant", 60.0, 229.0, "mm")
    assert practice_summary([*tight, *spiral, plain]) == (
        "3 curves tighter than 15°, 1 spiral shorter than practice for the speed"
    )
    assert practice_summary([plain]) == ""
    assert "no finding about the track" in PRACTICE_CAUTION
