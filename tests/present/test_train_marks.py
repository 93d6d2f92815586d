"""Signs of acts, of slack and of the run by plan on the chart of a train."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest

from profiler.briefing.plan import Briefing
from profiler.handling.journey import Journey
from profiler.mark import Figure, Mark
from profiler.present import train_marks, train_signs
from profiler.present.chart import Chart
from profiler.present.ink import Areas, Lines
from profiler.present.labels import Box
from profiler.present.palette import INK
from profiler.present.run_rows import steps_of
from profiler.present.sheet import Sheet
from profiler.present.train_chart import compose_train_chart
from profiler.present.train_marks import lanes_of, window_of
from profiler.present.train_slack import SLACK_LANE, slack_of
from tests.briefed import briefed

EVERY = list(itertools.product("abdf", ("with", "against")))
WALL = 2.2


def begins(briefing: Briefing, *places: tuple[float, float, float], **figures: float) -> tuple[Mark, ...]:
    """Acts with windows at head positions by distance travelled [m], numbered from 1."""
    way = briefing.terrain.chainage
    return tuple(
        Mark(
            number=n,
            kind="air_step",
            direction=briefing.direction,
            earliest=float(way(a)),
            recommended=float(way(b)),
            latest=float(way(c)),
            value=48e3,
            unit="Pa",
            reason="first",
            figures=(Figure("before", 0.0, "Pa"), *(Figure(name, value, "") for name, value in figures.items())),
        )
        for n, (a, b, c) in enumerate(places, 1)
    )


def with_marks(briefing: Briefing, *marks: Mark) -> Briefing:
    return dataclasses.replace(briefing, marks_by_case={"plan": marks})


def words_of(chart: Chart) -> list[str]:
    return [item.text for item in chart.sheet.words]


def widths(sheet: Sheet) -> list[float]:
    return [item.width for item in sheet.drawn if isinstance(item, Lines)]


@pytest.mark.parametrize("direction", ["with", "against"])
@pytest.mark.parametrize(
    ("figures", "expected"),
    [
        ({}, (True, True, False)),
        ({"latest": math.inf}, (True, False, False)),
        ({"latest": math.nan, "earliest": math.nan}, (False, False, False)),
        ({"empty": 1.0}, (True, True, True)),
        ({"earliest": 26_900.0}, (True, True, True)),
    ],
)
def test_what_there_is_of_a_window(direction: str, figures: dict[str, float], expected: tuple[bool, bool, bool]):
    """Law: places never found, or found in the wrong order, are told, whichever way the train goes."""
    briefing = briefed("a", direction)
    way = briefing.terrain.chainage
    told = {name: float(way(value)) if name != "empty" else value for name, value in figures.items()}
    (mark,) = begins(briefing, (26_000.0, 26_400.0, 26_800.0), **told)
    window = window_of(mark, briefing.terrain)
    assert (window.opens, window.ends, window.empty) == expected


def test_a_wall_stands_where_there_is_a_latest():
    """Law of the look: a window ends at a wall, one without a latest has none, one shorter than 6 pt has nothing else,
    and an empty one neither wall nor wedge."""
    whole, endless, short, empty = (Sheet(100, 30) for _ in range(4))
    box = train_signs.begin(whole, 20, 40, 60, 15)
    train_signs.begin(endless, 20, 40, 40, 15, ends=False)
    train_signs.begin(short, 20, 22, 25, 15)
    train_signs.no_window(empty, 20, 40, 60, 15)
    assert [sum(w == WALL for w in widths(sheet)) for sheet in (whole, endless, short, empty)] == [1, 0, 1, 0]
    assert len(short.drawn) == 1
    assert any(isinstance(item, Lines) and item.dash for item in endless.drawn)
    assert not any(isinstance(item, Lines) and item.dash for item in whole.drawn)
    assert (box.left, round(box.right, 1)) == (20, 61.1)
    wedge = next(item for item in whole.drawn if isinstance(item, Areas)).shapes[0]
    assert wedge[:, 0].tolist() == [20, 40, 40]


def test_not_held_is_solid_and_no_other_mark_is():
    """Law of the look: in grey too, the stretch where nothing holds the train is the one solid bar."""
    fills = {}
    for name in ("do_not_stop", "start_hard", "not_held", "astride"):
        sheet = Sheet(100, 30)
        getattr(train_signs, name)(sheet, 20, 60, 15)
        fills[name] = next(item for item in sheet.drawn if isinstance(item, Areas)).fills[0]
    assert [name for name, fill in fills.items() if fill == INK] == ["not_held"]


@pytest.mark.parametrize(("train", "direction"), EVERY)
def test_signs_of_acts_never_meet(train: str, direction: str, monkeypatch: pytest.MonkeyPatch):
    """Law of the look: signs and chips of different acts lie apart, in as many lanes as it takes, no number missing."""
    boxes: list[tuple[int, Box]] = []
    drawn, chip = train_marks._sign, train_signs.chip

    def sign(sheet, panel, terrain, item, y):
        box = drawn(sheet, panel, terrain, item, y)
        if item.mark.kind in train_signs.BEGIN:
            boxes.append((item.mark.number, box))
        return box

    def numbered(sheet, x, y, number, kind):
        box = chip(sheet, x, y, number, kind)
        if kind in train_signs.BEGIN:
            boxes.append((number, box))
        return box

    monkeypatch.setattr(train_marks, "_sign", sign)
    monkeypatch.setattr(train_signs, "chip", numbered)
    briefing = briefed(train, direction)
    chart = compose_train_chart(briefing)
    laid = [item for item in lanes_of(briefing, chart.frame.scale).laid if item.mark.kind in train_signs.BEGIN]
    assert len(laid) > 3
    assert {number for number, _ in boxes} == {item.mark.number for item in laid}
    assert not [(a, b) for (a, p), (b, q) in itertools.combinations(boxes, 2) if a != b and p.meets(q)]


def test_acts_close_together_take_more_lanes():
    """Law: three acts within a chip's width lie in three lanes, a fourth well after them in the first."""
    briefing = briefed("a")
    marks = begins(briefing, *((x, x + 100.0, x + 200.0) for x in (5000.0, 5050.0, 5100.0, 9000.0)))
    lanes = lanes_of(with_marks(briefing, *marks), 0.02)
    assert lanes.groups == (("begin", 3),)
    assert [item.lane for item in lanes.laid] == [0, 1, 2, 0]


def test_an_act_as_the_line_begins_is_there():
    """Law: what must be done with the head at the very start of the line has its number; what lies before has not."""
    briefing = briefed("a")
    marks = begins(briefing, (0.0, 0.0, 0.0), (-900.0, -800.0, -700.0))
    assert [item.mark.number for item in lanes_of(with_marks(briefing, *marks), 0.02).laid] == [1]


@pytest.mark.parametrize(("train", "direction"), EVERY)
def test_the_key_names_what_is_drawn(train: str, direction: str):
    """Law: the key has a sign exactly where the chart uses it."""
    briefing = briefed(train, direction)
    chart = compose_train_chart(briefing)
    kinds = {mark.kind for mark in briefing.marks}
    windows = [window_of(m, briefing.terrain) for m in briefing.marks if m.kind in train_signs.BEGIN]
    named = {kind for kind, _ in chart.words.signs}
    expected = {
        "not_held": "not_held" in kinds,
        "begin": any(not w.empty for w in windows),
        "no_window": any(w.empty for w in windows),
        "no_latest": any(not w.empty and not w.ends for w in windows),
        "slack_in": "slack_in" in kinds,
        "slack_out": "slack_out" in kinds,
        "stall": bool(briefing.journey.stalls),
        "air": bool(briefing.journey.reduction.max()),
    }
    assert {kind for kind in expected if kind in named} == {kind for kind, there in expected.items() if there}
    assert {"by_plan", "under"} <= named


def test_slack_has_a_lane_and_no_number():
    """Law of the look: signs of slack lie in a lane above the pulls; without any the row is so much lower, and none
    of them takes a number of the Marks row."""
    briefing = briefed("a")
    slack = slack_of(briefing)
    assert len(slack) > 3
    without = with_marks(briefing, *(m for m in briefing.marks if m.kind not in train_signs.SLACK))
    high, low = compose_train_chart(briefing), compose_train_chart(without)
    assert high.sheet.height - low.sheet.height == pytest.approx(SLACK_LANE)
    laid = lanes_of(briefing, high.frame.scale).laid
    assert not {m.number for m in slack} & {item.mark.number for item in laid}
    assert sum(words.startswith("slack runs") for words in words_of(high)) > 2


@pytest.mark.parametrize(("train", "direction"), [("a", "with"), ("b", "against")])
def test_the_speed_by_plan_is_drawn_as_run(train: str, direction: str):
    """Law: the thin line stands at the run's speed by the scale of the row, each run by itself, a dot at each stall."""
    briefing = briefed(train, direction)
    journey = briefing.journey
    chart = compose_train_chart(briefing)
    style = train_signs.LINES["by_plan"]["width"]
    lines = [i for i in chart.sheet.drawn if isinstance(i, Lines) and i.width == style and i.z == 4.5]
    pieces = [piece for item in lines for piece in item.pieces]
    assert len(pieces) == len(journey.runs)
    bottom, tall = _scale_of_speed(pieces, journey)
    for piece, run in zip(pieces, journey.runs, strict=True):
        x = np.interp(run.head, [run.head[0], run.head[-1]], [piece[0, 0], piece[-1, 0]])
        assert np.interp(x, piece[:, 0], piece[:, 1]) == pytest.approx(bottom + tall * run.speed, abs=0.6)
    assert words_of(chart).count("by plan") == len(chart.frame.panels_m)
    assert words_of(chart).count("stalls") == len(journey.stalls) + bool(journey.stalls)


def _scale_of_speed(pieces: list[np.ndarray], journey: Journey) -> tuple[float, float]:
    """Where speed nought is, and points for a metre a second, by the highest and the lowest place of the line."""
    heights = np.concatenate([piece[:, 1] for piece in pieces])
    speeds = journey.speed
    tall = float(np.ptp(heights) / np.ptp(speeds))
    return float(heights.min() - tall * speeds.min()), tall


def test_no_air_is_drawn_where_nothing_ran():
    """Law: a reduction set as one run ends is not drawn over the gap to the next."""
    briefing = briefed("b", "against")
    journey = briefing.journey
    assert len(journey.runs) > 1
    everywhere = dataclasses.replace(journey, reduction=np.full(journey.head.size, 50e3))
    steps = steps_of(everywhere)
    assert [(s.start, s.end) for s in steps] == [
        (r.head[0], r.head[-1]) for r in journey.runs if r.head[-1] > r.head[0]
    ]
