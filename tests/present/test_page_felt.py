"""What the page shows of what couplers feel: what is packed, and how a mark opens in a real browser."""

from __future__ import annotations

import dataclasses
import re
from functools import cache
from typing import Any

import numpy as np
import pytest

from profiler.briefing.felt_words import breaks_words, places
from profiler.briefing.sudden_words import sudden_lines
from profiler.present import page_words
from profiler.present.page import page_of
from profiler.present.page_felt import COLUMNS
from profiler.units import KIP
from tests.briefed import felt_briefed
from tests.browser import in_browser
from tests.pages import array_of, numbers_of

OPEN = """
const open = async (index) => {
  gradewright.move(gradewright.page.marks[index].at);
  await settled(); // the list of a turned page moves to its first mark in the next frame
  const button = document.querySelector(`#marks [data-mark="${index}"]`);
  if (button.getAttribute("aria-expanded") === "false") button.click();
  return document.querySelector(".felt");
};
const felt = await open(%d);
"""


TITLES = {
    "crest": "Over the crest",
    "air_step": "Air set",
    "release": "Air released",
    "sag": "Through the sag",
    "start": "Start",
}


@cache
def felt_page() -> str:
    return page_of({"ore": [felt_briefed("b")], "metric": [felt_briefed("f")]})


def marks_of(page: str, train: int) -> list[dict[str, Any]]:
    trip = numbers_of(page)[0]["trains"][train]["trips"]["with"]
    marks: list[dict[str, Any]] = trip["cases"]["plan"]["marks"]
    return marks


def crest_of() -> tuple[int, dict[str, Any]]:
    """Index of the first mark on the page at which a crest may be handled in several ways, and what is felt there."""
    every = enumerate(marks_of(felt_page(), 0))
    return next((i, m["felt"]) for i, m in every if len(m.get("felt", {}).get("ways", ())) > 2)


@pytest.mark.parametrize(("train", "name"), [(0, "b"), (1, "f")])
def test_every_place_is_at_one_mark(train: int, name: str):
    """Law: every planned event stands at one mark whose place is its own, with all its ways, or is one by itself."""
    briefing = felt_briefed(name)
    marks = marks_of(felt_page(), train)
    told = [mark for mark in marks if "felt" in mark]
    every = places(briefing.felt)
    assert len(told) == len(every)
    alone = [mark for mark in marks if mark["sign"] == "felt"]
    assert {mark["felt"]["title"].split(",")[0] for mark in alone} <= {"Start"}  # everything else has a mark of its own
    assert [mark["start"] for mark in alone] == sorted(mark["start"] for mark in alone)
    for place in every:
        event = place.planned.shown.event
        (its,) = (
            mark
            for mark in told
            if abs(mark["start" if event.kind == "sag" else "at"] - event.place) < 1.0
            and mark["felt"]["ways"][0]["breaks"] == breaks_words(briefing, place.planned)
            and {way["way"] for way in mark["felt"]["ways"]} == {"planned", *(o.shown.event.way for o in place.others)}
            and mark["felt"]["title"].split(",")[0] == TITLES[event.kind]
        )
        assert bool(its["felt"]["broken"]) == bool(place.planned.broken)


def test_what_is_packed_is_what_is_felt():
    """Law: largest pulls and pushes, their range over the states of wear, steady ones and every drawn row are those of
    the events, to half a step of a hundred and twenty-seventh."""
    briefing = felt_briefed("b")
    _, buffer = numbers_of(felt_page())
    found = {
        (round(place.planned.shown.event.place), one.shown.event.way): one
        for place in places(briefing.felt)
        for one in (place.planned, *place.others)
    }
    seen = 0
    for mark in marks_of(felt_page(), 0):
        for way in mark.get("felt", {}).get("ways", ()):
            at = mark["start"] if "sag" in mark["felt"]["title"] else mark["at"]
            one = next((o for (place, name), o in found.items() if abs(place - at) <= 1 and name == way["way"]), None)
            if one is None or way["drawn"] is None or one.shown.event.kind not in ("crest", "sag"):
                continue
            seen += 1
            for key, name in (("pull", "draft"), ("push", "buff")):
                every = [getattr(f.forces, name).force for f in one.by_wear]
                peak = getattr(one.shown.forces, name)
                told = (way[key]["force"], way[key]["low"], way[key]["high"], way[key]["steady"])
                steady = getattr(one.shown, name).force
                assert told == pytest.approx((peak.force, min(every), max(every), steady), abs=0.51)
                assert peak.force == 0 or way[key]["vehicle"] == peak.vehicle
            drawn, force = way["drawn"], one.shown.forces.force
            rows = array_of(drawn["force"], buffer).reshape(-1, drawn["count"])
            assert drawn["count"] <= COLUMNS
            half = drawn["force"]["step"] / 2 + 1
            assert rows[1].max() <= max(-force.min(), 0) + half
            assert (rows[2] >= rows[0] - 2 * half).all()
            assert (rows[3] >= rows[1] - 2 * half).all()
            for coupling, row, cars in zip(mark["felt"]["couplings"], rows[4:], drawn["cars"], strict=True):
                assert np.abs(row).max() <= np.abs(force[:, coupling]).max() + half
                assert max(row.max(), -row.min()) <= max(cars) + half
                assert np.abs(row).max() == pytest.approx(max(cars), abs=half)
    assert seen > 3


def test_only_what_was_asked_for_and_what_breaks_without_script():
    """Law: without it no mark has anything of it, and a note says how to ask; with it every line of the console stands
    in the page without script, and a planned result that breaks a coupling says so."""
    briefing = felt_briefed("b")
    plain = page_of({"ore": [dataclasses.replace(briefing, felt=())]})
    assert not any("felt" in mark for mark in marks_of(plain, 0))
    assert page_words.NOT_FELT in plain
    assert page_words.NOT_FELT not in felt_page()
    static = re.search(r"<noscript>(.*?)</noscript>", felt_page(), re.DOTALL)[1]
    said = sudden_lines(briefing)
    assert static.count("<p>") >= len(said)
    assert all(line.strip() in static for line in said)
    assert any(mark["felt"]["broken"] for mark in marks_of(felt_page(), 0) if "felt" in mark)


def test_size():
    """Law: what is felt adds no more than 6 kB a way of handling to a page."""
    briefings = [felt_briefed("b"), felt_briefed("f")]
    plain = page_of({one.train.name: [dataclasses.replace(one, felt=())] for one in briefings})
    ways = sum(len(one.felt) for one in briefings) / 3
    assert 0 < len(felt_page()) - len(plain) < 6000 * ways


@in_browser
@pytest.mark.parametrize("touch", [False, True])
def test_a_way_is_chosen_beside_the_plan(opened, touch: bool):
    """Law: an opened crest shows its largest forces as planned and in the way that is felt most; another is chosen by
    key and by touch, and table and picture are then of it; the plan's half stays as it was."""
    index, felt = crest_of()
    tab = opened(felt_page(), 390, 900)

    def shown() -> tuple[list[str], list[str]]:
        tab.do(OPEN % index)
        cells = tab.do("return texts('.felt > div > table tbody tr:nth-child(2) td')")
        paths = tab.do("return [...document.querySelectorAll('.felt svg .push')].map((e) => e.getAttribute('d'))")
        return cells, paths

    def expected(way: dict[str, Any]) -> str:
        return f"{way['push']['force'] / KIP:,.0f}" if way["push"]["high"] >= 500 else "none"

    planned, others = felt["ways"][0], felt["ways"][1:]
    cells, before = shown()
    assert cells[0].startswith(expected(planned))
    assert cells[1].startswith(expected(others[felt["first"]]))
    other = (felt["first"] + 1) % len(others)
    if touch:
        label = f"document.querySelectorAll('.ways label')[{other}]"
        tab.do(f"{label}.scrollIntoView({{ block: 'center' }})")
        tab.hand(tab.centre(label), touch=True)
        tab.until(f"document.querySelectorAll('.ways input')[{other}].checked")  # a tap may turn out to be two
        tab.settled()
    else:
        tab.do("document.querySelector('.ways input:checked').focus()")
        tab.key("ArrowRight")
    assert tab.do("return [...document.querySelectorAll('.ways input')].findIndex((e) => e.checked)") == other
    cells, after = shown()
    assert cells[1].startswith(expected(others[other]))
    half = len(before) // 2
    assert after[:half] == before[:half]
    assert after[half:] != before[half:]
    assert others[other]["says"] in tab.do("return document.querySelector('.felt').textContent")
    assert tab.do("return document.querySelectorAll('.felt [role=img] title').length") == 1


@in_browser
@pytest.mark.parametrize("size", [(1440, 1030), (820, 900), (390, 844)])
def test_what_is_opened_stays_in_view(opened, size: tuple[int, int]):
    """Law: a mark that makes the page longer as it opens stays where the reader looks, and has the focus: the list is
    not made anew under them."""
    index, _ = crest_of()
    tab = opened(felt_page(), *size)
    tops = tab.do(
        f"""{OPEN % index}
        const row = felt.parentNode, tops = [];
        while (tops.length < 20) {{
          await new Promise(requestAnimationFrame);
          tops.push(row.isConnected ? row.getBoundingClientRect().top : null);
        }}
        return tops;"""
    )
    assert None not in tops
    assert max(tops) - min(tops) < 1
    assert -1 < tops[0] < size[1] / 2
    assert tab.do("return document.activeElement.dataset.mark") == str(index)


@in_browser
def test_what_breaks_as_planned_is_said_before_it_is_opened(opened):
    """Law: a place where a coupling breaks as planned says so in its row, and again over its figures."""
    every = marks_of(felt_page(), 0)
    index = next(i for i, mark in enumerate(every) if mark.get("felt", {}).get("broken"))
    tab = opened(felt_page(), 820, 1000)
    said = tab.do(
        f"{OPEN % index} const row = felt.parentNode; return [row.querySelector('.words').textContent, "
        "felt.querySelector('.breaks').textContent]"
    )
    assert "as planned a coupling breaks with " in said[0]
    assert said[1] == f"As planned: {every[index]['felt']['ways'][0]['breaks']}."


@in_browser
@pytest.mark.parametrize("size", [(1440, 1030), (820, 900), (390, 844), (320, 700)])
def test_every_open_place_fits(opened, size: tuple[int, int]):
    """Law of the look: at four widths nothing of an opened place is wider than the page or under 11 px, no word of its
    picture lies outside it, and at a desk what is opened comes into view."""
    tab = opened(felt_page(), *size)
    indices = [i for i, mark in enumerate(marks_of(felt_page(), 0)) if "felt" in mark]
    for index in indices:
        wide, small, outside, seen = tab.do(
            f"""{OPEN % index}
            const list = document.querySelector("aside").getBoundingClientRect();
            const box = felt.querySelector("svg"), edge = box.getBoundingClientRect();
            const every = [...felt.querySelectorAll("*")].filter((e) => e.textContent && e.getClientRects().length);
            const outside = [...box.querySelectorAll("text")].filter((t) => {{
              const b = t.getBoundingClientRect();
              return b.left < edge.left - 1 || b.right > edge.right + 1 || b.top < edge.top - 1
                || b.bottom > edge.bottom + 1;
            }});
            const row = felt.parentNode.getBoundingClientRect();
            return [document.documentElement.scrollWidth <= innerWidth && felt.scrollWidth <= felt.clientWidth,
              Math.min(...every.map((e) => parseFloat(getComputedStyle(e).fontSize))),
              outside.map((t) => t.textContent),
              row.top >= list.top - 2 && row.top < list.bottom - 300];
            """
        )
        assert wide
        assert small >= 11
        assert outside == []
        assert seen or size[0] < 1000


@in_browser
def test_a_page_without_it_shows_none(opened):
    """Law: where nothing was followed an opened mark has neither picture nor table."""
    tab = opened(page_of({"ore": [dataclasses.replace(felt_briefed("b"), felt=())]}))
    index = next(i for i, mark in enumerate(marks_of(felt_page(), 0)) if "felt" in mark and mark["number"])
    assert tab.do(f"{OPEN % index} return felt") is None
