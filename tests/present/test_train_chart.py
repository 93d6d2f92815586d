"""The chart, the starts and the map layer of one train."""

from __future__ import annotations

import dataclasses
import itertools
from pathlib import Path

import pytest

from profiler.present.chart import Chart
from profiler.present.start_chart import compose_starts, draw_starts
from profiler.present.train_chart import compose_train_chart, draw_train_chart
from profiler.present.train_map import draw_train_map, train_layer
from profiler.present.train_marks import lanes_of
from profiler.present.train_signs import SLACK
from profiler.units import KIP
from tests.briefed import briefed

EVERY = list(itertools.product("abdf", ("with", "against"), ("us", "metric")))


def words_of(chart: Chart) -> list[str]:
    """Every word on the sheet."""
    return [item.text for item in chart.sheet.words]


@pytest.mark.parametrize(("train", "direction", "units"), EVERY)
def test_no_two_labels_meet(train: str, direction: str, units: str):
    """Law of the look: labels never overlap, in either direction and unit."""
    chart = compose_train_chart(briefed(train, direction, units))
    boxes = [chosen.box for _, chosen in chart.placed]
    assert len(boxes) > 40
    assert not [(a, b) for a, b in itertools.combinations(boxes, 2) if a.meets(b)]


@pytest.mark.parametrize("direction", ["with", "against"])
def test_a_marks_number_never_drops(direction: str):
    """Law of the look: every mark that reaches the line has its number on the chart, whatever its words do."""
    briefing = briefed("b", direction)
    words = words_of(compose_train_chart(briefing))
    numbers = [item.mark.number for item in lanes_of(briefing, 0.02).laid]
    assert len(numbers) > 5
    assert all(words.count(str(number)) >= 1 for number in numbers)


def test_boxes_of_one_lane_lie_apart():
    """Law: a train twice as long as its landmarks lie apart has its boxes in several lanes, each free of the others."""
    briefing = briefed("d")
    crest = next(mark for mark in briefing.marks if mark.kind == "straddle")
    doubled = [
        dataclasses.replace(crest, earliest=x, latest=x + 2000, number=n) for n, x in enumerate((5000, 6000, 7900), 1)
    ]
    lanes = lanes_of(dataclasses.replace(briefing, marks_by_case={"plan": tuple(doubled)}), 0.02)
    assert lanes.groups == (("astride", 2),)
    assert [item.lane for item in lanes.laid] == [0, 1, 0]


def test_the_excess_is_named_where_it_is():
    """Law: the chart names by how much and behind which vehicle the draft is over its limit, and where in words."""
    briefing = briefed("b")
    chart = compose_train_chart(briefing)
    most = float(briefing.everywhere.draft.max())
    over = f"{(most - briefing.train.limits.draft) / KIP:.0f}"
    assert any(f"to start {most / KIP:.0f}, unit 5, {over} over" in text for text in words_of(chart))
    assert f"{over} over the limit of 250 kips" in chart.description
    assert "common practice, no source" in chart.description
    assert any("typical knuckle breaks" in text for text in words_of(chart))


def test_screw_couplings_have_no_knuckles():
    """Law: where all couplings are screws, nothing is said of knuckles, and the draft limit is that of the train."""
    text = " ".join(words_of(compose_train_chart(briefed("f", "with", "metric"))))
    assert "knuckle" not in text
    assert "450" in text


@pytest.mark.parametrize(
    ("train", "lane", "other"), [("b", "do not stop", "start hard"), ("d", "start hard", "do not stop")]
)
def test_the_lane_of_stopping_is_named_by_what_lies_in_it(train: str, lane: str, other: str):
    """Law: a train that starts anywhere on the line is told nowhere not to stop, only where a start is hardest."""
    words = words_of(compose_train_chart(briefed(train)))
    assert lane in words
    assert other not in words


def test_against_is_drawn_as_travelled():
    """Law: against chainage the line is turned: the other end first, climbs where falls were, posts falling."""
    chart = compose_train_chart(briefed("a", "against"))
    profile = chart.frame.profile
    assert profile.route.ends == ("Thistle Quay", "Farrow")
    assert "Drawn as travelled from Thistle Quay to Farrow" in " ".join(words_of(chart))
    with_chainage = compose_train_chart(briefed("a")).frame.profile
    assert profile.elevation == pytest.approx(with_chainage.elevation[::-1])
    assert profile.grade.max() == pytest.approx(-with_chainage.grade.min())


def test_same_briefing_same_bytes(tmp_path: Path):
    """Law: drawn twice, chart, starts and map are the same to the byte; a missing folder is said."""
    briefing = briefed("a")
    for name in ("one", "two"):
        folder = tmp_path / name
        folder.mkdir()
        draw_train_chart(briefing, svg=folder / "chart.svg", png=folder / "chart.png")
        draw_starts(briefing, svg=folder / "starting.svg", png=folder / "starting.png")
        draw_train_map(briefing, None, folder / "map.html")
    files = sorted(path.name for path in (tmp_path / "one").iterdir())
    assert len(files) == 5
    for name in files:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


@pytest.mark.parametrize("train", ["a", "b", "f"])
def test_starts_name_every_act(train: str):
    """Law: no act of a start loses its words; what is said of it stands in the description too."""
    briefing = briefed(train)
    _, description, dropped = compose_starts(briefing)
    assert dropped == ()
    assert description.count("Hardest place of a climb") + description.count("Stop, ") == len(briefing.sequences)
    assert ("no notch starts it" in description) == any(not s.starts for _, s in briefing.sequences)


def test_the_map_has_the_marks():
    """Law: each mark that reaches the line is a chip with its number, at its recommended place, with its reason."""
    briefing = briefed("b", "against")
    layer = train_layer(briefing)
    assert [mark.get("number") for mark in layer["marks"]] == [
        None if mark.kind in SLACK else mark.number for mark in briefing.marks
    ]
    length = briefing.terrain.length
    for shown, mark in zip(layer["marks"], briefing.marks, strict=True):
        assert shown["at"] == pytest.approx(min(max(length - mark.recommended, 0), length), abs=0.06)
        assert shown["start"] <= shown["at"] <= shown["end"] or mark.kind == "straddle"
    assert "never an instruction to operate" in " ".join(layer["rules"])
