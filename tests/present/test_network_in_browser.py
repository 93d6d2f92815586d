"""The view of a network in a real browser, with the network cut."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from profiler.network_line import NetworkLine
from profiler.present.network import network_page
from profiler.present.network_rows import cells_of
from tests.benchmarks.network_view import invented_network
from tests.browser import Browser, Tab, in_browser
from tests.invented import invented_landmarks, invented_profile

pytestmark = in_browser
FARROW = NetworkLine.of("farrow", invented_profile(), invented_landmarks(), [("Map of this line", "farrow/map.html")])
NORTH = dataclasses.replace(
    FARROW, key="north", name="Ärmel branch", latitude=FARROW.latitude + 0.4, places=("Long Garth",)
)
NOWHERE = dataclasses.replace(FARROW, key="nowhere", name="Charted", longitude=FARROW.longitude * np.nan, landmarks=())
PAGE = network_page([FARROW, NORTH, NOWHERE], failures=[("x", "x.toml", "x.toml: no line")], name="Invented")
GLOBAL = """
globalThis.net = gradewright.network;
globalThis.el = (id) => document.getElementById(id);
globalThis.rows = () => [...document.querySelectorAll("#lines tbody tr")].filter((r) => !r.hidden)
  .map((r) => r.querySelector("button").textContent);
globalThis.ask = (id, value, act) => { el(id).value = value; el(id).dispatchEvent(new Event(act)); };
globalThis.pixels = () => { // how many pixels of the map have a colour, and where in the window one has
  const canvas = el("drawing"), [view, pad] = net.viewNow(), home = el("map").getBoundingClientRect(), found = {};
  const all = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
  for (let i = 0; i < all.length; i += 4) {
    if (all[i + 3] < 255) continue;
    const name = "#" + [0, 1, 2].map((n) => all[i + n].toString(16).padStart(2, "0")).join("").toUpperCase();
    const seen = found[name] ||= { n: 0, x: 0, y: 0 };
    seen.n++;
    const x = (i / 4) % canvas.width, y = Math.floor(i / 4 / canvas.width);
    if (seen.n === 200) Object.assign(seen, { x: home.left - pad.x + x, y: home.top - pad.y + y });
  }
  return found;
};
"""

Open = Callable[..., Tab]


def shown(opened: Open, page: str = PAGE, width: int = 1440, height: int = 900, address: str = "") -> Tab:
    """The view with a few words to ask it by."""
    tab = opened(page, width, height, address)
    tab.do(GLOBAL)
    return tab


def test_all_lines_are_drawn_in_their_colours(opened: Open):
    """Law: every class that the lines have is on the map in its colour, and in the middle of the view."""
    tab = shown(opened)
    found = tab.do("return pixels()")
    levels = tab.do("return [...new Set(net.levelAt(net.map.getZoom()).kind)]")
    fills = tab.do("return net.data.fills")
    assert len(levels) >= 4
    for kind in levels:
        assert found[fills[kind + 4]]["n"] > 20


def test_no_line_lies_under_the_key(opened: Open):
    """Law: as the view opens, all lines are drawn above the key of grades, in a window and on paper's scale; a long
    list is no way to what failed: the heading leads there."""
    south = dataclasses.replace(FARROW, key="south", latitude=FARROW.latitude - 1.2)
    tab = shown(opened, network_page([FARROW, south], failures=[("x", "x.toml", "x.toml: no line")]))
    found = tab.do("""
const [view, pad] = net.viewNow(), level = levelAt(net.data, view.zoom), home = el("map").getBoundingClientRect();
return [Math.max(...level.y) * view.scale - view.top - pad.y + home.top, el("key").getBoundingClientRect().top,
  document.querySelector("header a").hash, !!el("failed")];""")
    assert found[0] < found[1]
    assert found[2:] == ["#failed", True]


def test_a_line_is_chosen_on_the_map_and_in_the_table(opened: Open):
    """Law: a press on a line marks its row, opens its words and goes into the address; a press beside it ends that; a
    row's button does the same."""
    tab = shown(opened)
    x, y = tab.do("const p = pixels()[net.data.fills[7]]; return [p.x, p.y]")
    tab.hand((x, y))
    assert tab.do("return document.querySelector('[aria-current] button').textContent") in (FARROW.title, NORTH.title)
    assert tab.do("return el('chosen').hidden") is False
    assert tab.do("return location.hash").startswith("#line=")
    bottom = tab.do("const r = el('map').getBoundingClientRect(); return r.bottom - 20")
    tab.hand((450, bottom))
    assert tab.do("return [net.chosen, document.querySelectorAll('[aria-current]').length, location.hash]") == [
        -1,
        0,
        "",
    ]
    tab.do("document.querySelectorAll('#lines tbody button')[1].focus()")
    tab.key("Enter")
    assert tab.do("return net.chosen") == 1
    inside = "const b = net.levelAt(8).box.slice(4, 8), [v] = net.viewNow();"
    inside += "return [b[0] * v.scale - v.left, b[2] * v.scale - v.left, v.width]"
    left, right, width = tab.do(inside)
    assert 0 < left < right < width
    assert tab.do("return document.querySelector('#chosen a').getAttribute('href')") == "farrow/map.html"


def test_a_line_on_no_map_can_be_chosen(opened: Open):
    """Law: its words open, and the map stays where it is."""
    tab = shown(opened)
    before = tab.do("return [net.map.getCenter().lat, net.map.getZoom()]")
    tab.do("document.querySelectorAll('#lines tbody button')[2].click()")
    assert tab.do("return [net.map.getCenter().lat, net.map.getZoom()]") == before
    assert "on no map" in tab.do("return el('chosen').textContent")


def test_rows_are_sorted_and_what_is_not_there_stands_last(opened: Open):
    """Law: greatest first, then least first; a line without a figure last both ways; the head says which."""
    tab = shown(opened, network_page([*invented_network(12, 5.0), NOWHERE]))
    for way in ("descending", "ascending"):
        tab.do("document.querySelectorAll('#lines thead button')[2].click()")
        figures = tab.do(
            "return [...document.querySelectorAll('#lines tbody tr')].map((r) => net.data.figures.with.at(r.line))"
            ".map((x) => Number.isNaN(x) ? null : x)"
        )
        assert figures[-1] is None
        assert figures[:-1] == sorted(figures[:-1], reverse=way == "descending")
        assert tab.do("return document.querySelector('[aria-sort]').getAttribute('aria-sort')") == way
    tab.do("ask('sort', 'line', 'change')")
    names = tab.do("return rows()")
    assert names == sorted(names, key=str.casefold)


def test_search_finds_names_and_stations_whatever_their_accents(opened: Open):
    """Law: all words asked for stand in what is found; the other lines lose their colours; how many is said."""
    tab = shown(opened)
    tab.do("ask('find', 'armel', 'input')")
    assert tab.do("return rows()") == [NORTH.title]
    assert tab.do("return el('count').textContent") == "1 of 3 lines; the others are drawn grey."
    assert tab.do("return pixels()['#A8A297'].n") > 20
    tab.do("ask('find', 'garth long', 'input')")
    assert tab.do("return rows()").count(NORTH.title) == 1
    tab.do("ask('find', 'nothing like it', 'input')")
    assert tab.do("return rows()") == []
    tab.do("ask('find', '', 'input')")
    assert len(tab.do("return rows()")) == 3


@pytest.mark.parametrize("units", ["us", "metric"])
def test_units_are_the_readers_choice(opened: Open, units: str):
    """Law: every cell has the words of the chosen units, and the scale and the key follow."""
    tab = shown(opened, address=f"#units={units}")
    cells = tab.do("return [...document.querySelectorAll('#lines tbody tr')][0].innerText.replace(/\\s+/g, ' ')")
    for cell in cells_of(FARROW, units)[1:]:
        assert " ".join(cell.figure.split()) in cells
        assert " ".join(cell.small.split()) in cells
    assert tab.do("return el('grade-unit').textContent") == {"us": "%", "metric": "‰"}[units]
    scale = tab.do("return document.querySelector('.leaflet-control-scale').textContent")
    assert scale.endswith({"us": ("mi", "ft"), "metric": ("km", "m")}[units])


def test_an_address_opens_a_line(opened: Open):
    """Law: what the address names is chosen; a name that is not there is nothing."""
    assert shown(opened, address="#line=north").do("return net.chosen") == 1
    assert shown(opened, address="#line=%3Cscript%3E").do("return net.chosen") == -1


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (820, 1100), (390, 844), (320, 640)])
def test_nothing_is_wider_than_the_window(opened: Open, width: int, height: int):
    """Law: no sideways scroll, no letter under 11 px, and every button of a row can be reached."""
    tab = shown(opened, width=width, height=height, address="#line=farrow")
    assert tab.do("return document.documentElement.scrollWidth <= innerWidth")
    read = "[...document.querySelectorAll('body *')].filter((e) => e.getClientRects().length && e.textContent)"
    assert min(tab.do(f"return {read}.map((e) => parseFloat(getComputedStyle(e).fontSize))")) >= 11
    assert tab.do("return el('lines').getBoundingClientRect().right <= innerWidth")


def test_names_and_signs_never_overlap(opened: Open):
    """Law: of all boxes that were taken by asking, no two meet, though a hundred names want the same room."""
    lines = [
        dataclasses.replace(
            FARROW, key=f"{i}", ends=(f"North end {i}", f"South end {i}"), latitude=FARROW.latitude + i / 90
        )
        for i in range(50)
    ]
    tab = shown(opened, network_page(lines))
    meeting = """
    const taken = takenBoxes(), own = [];
    const take = taken.take;
    taken.take = (box) => { const free = take(box); if (free) own.push(box); return free; };
    const pen = document.createElement("canvas").getContext("2d"), [view] = net.viewNow();
    names(pen, net.data, net.levelAt(view.zoom), view, new Uint8Array(net.data.lines.length).fill(1), 3, "us", taken);
    let met = 0;
    const meet = (a, b) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
    own.forEach((a, i) => own.slice(i + 1).forEach((b) => { met += meet(a, b); }));
    return [own.length, met];
    """
    many, met = tab.do(meeting)
    assert 10 < many < 100
    assert met == 0


def test_lines_across_the_meridian_are_one_view(opened: Open):
    """Law: of two lines on both sides of 180° and one across it, none is the world's width away from another."""
    west, east = (float(FARROW.longitude.min()), float(FARROW.longitude.max()))
    places = [179.9 - east, -179.8 - west, 180 - (west + east) / 2]
    lines = [dataclasses.replace(FARROW, key=str(i), longitude=FARROW.longitude + to) for i, to in enumerate(places)]
    tab = shown(opened, network_page(lines))
    assert tab.do("return net.map.getZoom()") > 6
    assert tab.do("return pixels()[net.data.fills[7]].n") > 100
    degrees = tab.do("const v = net.viewNow()[0]; return net.map.getBounds().toBBoxString()")
    west_edge, _, east_edge, _ = map(float, degrees.split(","))
    assert east_edge - west_edge < 10


def test_printed_rows_are_all_there(opened: Open):
    """Law: on paper no row is left out for being out of sight, and what cannot be pressed is gone."""
    tab = shown(opened, network_page(invented_network(40, 5.0)))
    tab._ask("Emulation.setEmulatedMedia", media="print")
    assert tab.do("return getComputedStyle(el('asked')).display") == "none"
    high = "return [...document.querySelectorAll('#lines tbody tr')].map((r) => getComputedStyle(r).contentVisibility)"
    assert set(tab.do(high)) == {"visible"}


def test_a_page_that_cannot_be_unpacked_keeps_its_table(browser: Browser, tmp_path: Path):
    """Law: broken numbers leave a sentence and the table."""
    path = tmp_path / "broken.html"
    path.write_text(PAGE.replace('id="numbers">', 'id="numbers">AAAA'), encoding="utf-8")
    tab = browser.tab(path.as_uri())
    tab.until("document.documentElement.className")
    assert tab.do("return document.documentElement.className") == "failed"
    assert tab.do("return getComputedStyle(document.querySelector('.broken')).display") == "block"
    assert tab.do("return document.querySelector('#lines tbody').innerText").count("invented") >= 3
    tab.close()
