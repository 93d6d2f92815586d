"""Charts of a briefing on sheets of paper: one scale, nothing over an edge, no label over another."""

from __future__ import annotations

import itertools

import pytest

from profiler.present.chart import Chart
from profiler.present.paper_map import paper_map
from profiler.present.strips import overview_chart, strip_charts, strips_of
from tests.briefed import briefed

WIDTHS = {"us": 525.6, "metric": 510.24}
EVERY = list(itertools.product("bdf", ("with", "against"), ("us", "metric"), (360.0, 600.0)))


def charts_of(train: str, direction: str, units: str, room: float) -> list[Chart]:
    """The whole line, then its strips, with so much room for those that hold a table [pt]."""
    briefing = briefed(train, direction, units)
    strips = strips_of(briefing)
    whole = overview_chart(briefing, strips, WIDTHS[units], None)[0]
    return [whole, *strip_charts(briefing, strips, WIDTHS[units], (room,) * len(strips), 655.0, None)]


@pytest.mark.parametrize(("train", "direction", "units", "room"), EVERY)
def test_words_stay_on_the_sheet_and_apart(train: str, direction: str, units: str, room: float):
    """Law of the look: labels never overlap, and none is cut by an edge of the paper; no sheet is wider than it."""
    for chart in charts_of(train, direction, units, room):
        sheet = chart.sheet
        assert sheet.width <= WIDTHS[units] + 0.01
        assert len(sheet.words) > 20
        for words in sheet.words:
            assert words.left >= 0, words.text
            assert words.right <= sheet.width, words.text
            assert 0 <= words.y <= sheet.height - 0.7 * words.style.size, words.text
        boxes = [chosen.box for _, chosen in chart.placed]
        assert not [(a, b) for a, b in itertools.combinations(boxes, 2) if a.meets(b)]


@pytest.mark.parametrize("units", ["us", "metric"])
def test_all_strips_have_one_scale(units: str):
    """Law of the look: lengths, heights and grades can be held against each other from sheet to sheet."""
    frames = [chart.frame for chart in charts_of("b", "with", units, 600.0)[1:]]
    assert len({(frame.scale, frame.height) for frame in frames}) == 1


def test_rows_of_the_train_go_first():
    """Law of the look: where there is room for all rows, Under and Couplers are there; the less room the table beside
    leaves, the fewer of them, and the line and the marks stay."""

    def strip(room: float) -> tuple[set[str], float]:
        sheet = charts_of("d", "with", "us", room)[1].sheet
        return {words.text for words in sheet.words}, sheet.height

    full, highest = strip(2000.0)
    assert {"Under", "Couplers", "Marks"} <= full
    held = [(room, *strip(room)) for room in range(int(highest), 300, -25)]
    bare = [words for room, words, height in held if height <= room][-1]
    assert not {"Under", "Couplers"} & bare
    assert {"Posts", "Rail", "Steps", "Curves", "Speed", "Marks"} <= bare


@pytest.mark.parametrize("direction", ["with", "against"])
def test_the_printed_map_has_every_mark(direction: str):
    """Law: each mark that reaches the line has its number on the map, and nothing stands over the frame."""
    briefing = briefed("b", direction)
    sheet = paper_map(briefing, None, 525.6, 138.0).sheet
    way, length = briefing.terrain.way_at, briefing.terrain.length
    numbers = {str(m.number) for m in briefing.marks if m.number and 0 <= way(m.recommended) <= length}
    assert len(numbers) > 10
    assert numbers <= {words.text for words in sheet.words}
    assert all(words.left > 0 and words.right < sheet.width for words in sheet.words)
