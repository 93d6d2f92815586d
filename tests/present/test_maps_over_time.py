"""What the map of a line and the view of a network keep while they are used: focus, place on the screen, windows that
change, paper."""

from __future__ import annotations

import html
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from profiler.present.map import draw_map
from profiler.present.network import network_page
from tests.benchmarks.network_view import invented_network
from tests.browser import Browser, Tab, in_browser
from tests.invented import invented_landmarks, invented_profile

pytestmark = in_browser
LINE = 30
DARK = [{"name": "forced-colors", "value": "active"}, {"name": "prefers-color-scheme", "value": "dark"}]
OVERLAP = """
const key = document.querySelector(".key, #key").getBoundingClientRect();
return [...document.querySelectorAll(".leaflet-control")].filter((e) => {
  const b = e.getBoundingClientRect();
  return b.width && b.left < key.right && key.left < b.right && b.top < key.bottom && key.top < b.bottom;
}).map((e) => e.className);
"""


@pytest.fixture(scope="module")
def network() -> str:
    return network_page(invented_network(60, 5.0), name="Invented")


@pytest.fixture
def map_at(browser: Browser, tmp_path: Path) -> Iterator[Callable[[int, int], Tab]]:
    """Open the map of the invented line at a size; in the end it has complained of nothing."""
    path = tmp_path / "map.html"
    draw_map(invented_profile(), invented_landmarks(), None, path)
    tabs: list[Tab] = []

    def open_(width: int, height: int) -> Tab:
        tabs.append(browser.tab(path.as_uri(), width, height))
        return tabs[-1]

    yield open_
    for tab in tabs:
        assert tab.complaints == []
        tab.close()


@pytest.mark.parametrize("size", [(820, 900), (390, 844)])
def test_a_line_chosen_on_the_map_leaves_the_page_where_it_is(network: str, opened, size: tuple[int, int]):
    """Law: where the table is as long as the page, a line chosen on the map scrolls nothing, and closed again the focus
    is on the map; one chosen in the table is come back to."""
    tab = opened(network, *size)
    tab.do(f"gradewright.network.choose({LINE}, false)")
    tab.settled()
    assert tab.do("return scrollY") == 0
    close = "const close = document.querySelector('#chosen .close'); close.focus(); close.click()"
    tab.do(close)
    assert tab.do("return document.activeElement.id") == "map"
    tab.do(f"document.querySelectorAll('#lines tbody button')[{LINE}].focus()")
    tab.key("Enter")
    tab.until("document.getElementById('map').getBoundingClientRect().top >= -1")  # it is scrolled to, smoothly
    tab.settled()
    tab.do(close)
    tab.settled()
    top, bottom = tab.do("const b = document.activeElement.getBoundingClientRect(); return [b.top, b.bottom]")
    assert tab.do(f"return document.activeElement.closest('tr').line === {LINE}")
    assert 0 <= top < bottom <= size[1]


def test_a_row_stays_under_the_hand(network: str, opened):
    """Law: beside the map the words of a line come over the table, and the row that was pressed does not move; a row
    chosen on the map comes into view, clear of the head of the table."""
    tab = opened(network)
    place = f"return document.querySelectorAll('#lines tbody tr')[{LINE}].getBoundingClientRect().top"
    tab.do(f"document.querySelectorAll('#lines tbody tr')[{LINE}].scrollIntoView({{ block: 'center' }})")
    tab.settled()
    before = tab.do(place)
    tab.do(f"document.querySelectorAll('#lines tbody button')[{LINE}].focus({{ preventScroll: true }})")
    for _ in range(2):
        tab.key("Enter")
        assert tab.do(place) == pytest.approx(before, abs=1)
    tab.do(f"gradewright.network.choose({LINE - 20}, false)")
    row, head = tab.do(
        "const top = (what) => document.querySelector(what).getBoundingClientRect();"
        "return [top('tr[aria-current]').top, top('#lines thead').bottom]"
    )
    assert row >= head - 1


def test_an_address_typed_into_an_open_network(network: str, opened):
    """Law: another address is followed without loading anew; one that names nothing changes nothing."""
    tab = opened(network, address="#line=toString&units=constructor")
    key = tab.do(f"return gradewright.network.data.lines[{LINE}].key")
    tab.do(f"location.hash = '#units=us&line={key}'")
    tab.until(f"gradewright.network.chosen === {LINE}")
    assert tab.do("return document.getElementById('units').value") == "us"
    tab.do("location.hash = '#failed'")
    tab.settled()
    assert tab.do("return gradewright.network.chosen") == LINE


def test_windows_that_change(network: str, opened, map_at: Callable[[int, int], Tab]):
    """Law: the key folds where it would cover the map, and is open again where there is room; nothing lies over it, and
    the line is seen. A key that the reader has folded stays so."""
    for tab in (opened(network), map_at(1440, 900)):
        key = "document.querySelector('#key, .key > details')"
        tab.resize(390, 844)
        tab.until(f"!{key}.open")
        tab.settled()
        assert tab.do(OVERLAP) == []
        tab.resize(1440, 900)
        tab.until(f"{key}.open")
        tab.settled()
        assert tab.do(OVERLAP) == []
        tab.do(f"{key}.firstElementChild.click()")
        tab.resize(390, 844)
        tab.resize(1440, 900)
        assert not tab.do(f"return {key}.open")


def test_the_line_is_clear_of_the_key_on_a_phone(map_at: Callable[[int, int], Tab]):
    """Law: a window that becomes narrow shows the whole line under the folded key."""
    tab = map_at(1440, 900)
    tab.resize(390, 844)
    tab.until("!document.querySelector('.key > details').open")
    tab.settled()
    line, key = tab.do(
        "const b = (what) => document.querySelector(what).getBoundingClientRect();"
        "const l = b('path.leaflet-interactive'); return [[l.left, l.top, l.right, l.bottom], b('.key').bottom]"
    )
    assert line[0] >= 0
    assert line[1] >= key
    assert line[2] <= 390
    assert line[3] <= 844


def test_a_map_that_is_not_shown_at_first(browser: Browser, tmp_path: Path):
    """Law: in a frame that has no size while it loads the map is whole once the frame is shown."""
    draw_map(invented_profile(), invented_landmarks(), None, tmp_path / "map.html")
    page = html.escape((tmp_path / "map.html").read_text(encoding="utf-8"))
    frame = f'<iframe id="f" style="display:none;width:1400px;height:900px" srcdoc="{page}"></iframe>'
    (tmp_path / "frame.html").write_text(f"<!doctype html><body>{frame}", encoding="utf-8")
    tab = browser.tab((tmp_path / "frame.html").as_uri())
    tab.do(
        "globalThis.inner = document.getElementById('f').contentWindow;"
        "await until(() => inner.document.querySelector('.key summary'))"
    )
    tab.do("document.getElementById('f').style.display = 'block'")
    tab.until("inner.document.querySelectorAll('.drawing text').length > 10")
    width = "inner.document.querySelector('path.leaflet-interactive').getBoundingClientRect().width"
    assert tab.do(f"return {width}") > 300
    assert tab.complaints == []
    tab.close()


@pytest.mark.parametrize("size", [(1440, 900), (390, 844)])
def test_closed_words_give_the_focus_back(map_at: Callable[[int, int], Tab], size: tuple[int, int]):
    """Law: words of a place opened by key close by Escape wherever the focus is on the map, and by their button; the
    focus is then on what opened them, or on the folded key, never lost."""
    tab = map_at(*size)
    tab.do(
        "document.querySelector('.key > details').open = true; document.querySelector('.places').open = true;"
        "document.querySelectorAll('.places button')[2].focus()"
    )
    tab.settled()
    tab.key("Enter")
    tab.until("document.querySelector('.leaflet-popup')")
    assert tab.do("return document.activeElement.tagName") == ("BUTTON" if size[0] > 600 else "SUMMARY")
    tab.key("Escape")
    tab.until("!document.querySelector('.leaflet-popup')")
    assert tab.do("return document.activeElement.tagName") == ("BUTTON" if size[0] > 600 else "SUMMARY")
    tab.do("document.querySelector('.sign').focus()")
    tab.settled()
    tab.key("Enter")
    tab.until("document.querySelector('.leaflet-popup-close-button')")
    tab.do("const close = document.querySelector('.leaflet-popup-close-button'); close.focus(); close.click()")
    tab.until("!document.querySelector('.leaflet-popup')")
    assert tab.do("return document.activeElement.classList.contains('sign')")


def test_the_map_on_paper(map_at: Callable[[int, int], Tab]):
    """Law: on paper the whole line is within the paper's width, the key stands under the map and open; afterwards the
    map is as it was."""
    tab = map_at(390, 844)
    state = """
    const box = (r) => [r.left, r.top, r.right, r.bottom];
    const b = (what) => box(document.querySelector(what).getBoundingClientRect());
    return [b("path.leaflet-interactive"), b(".folium-map"), b(".key"), document.querySelector(".key > details").open];
    """
    tab.settled()
    before = tab.do(state)
    tab.do("dispatchEvent(new Event('beforeprint'))")
    line, home, key, open_ = tab.do(state)
    assert home[2] - home[0] == 700
    assert home[0] < line[0] < line[2] < home[2]
    assert home[1] < line[1] < line[3] < home[3]
    assert key[1] >= home[3]
    assert open_
    tab.do("dispatchEvent(new Event('afterprint'))")
    tab.settled()
    after = tab.do(state)
    assert after[1:] == before[1:]
    assert after[0] == pytest.approx(before[0], abs=1)


def test_forced_colours_of_maps(network: str, opened, map_at: Callable[[int, int], Tab]):
    """Law: where the system gives the colours, the ink of the maps and of their keys stays on paper."""
    for tab, what in ((opened(network), ("#map", "#samples svg")), (map_at(1440, 900), (".folium-map", ".key svg"))):
        tab._ask("Emulation.setEmulatedMedia", media="", features=DARK)
        for one in what:
            colour = tab.do(f"return getComputedStyle(document.querySelector('{one}')).backgroundColor")
            assert colour in ("rgb(255, 255, 255)", "rgb(236, 234, 226)")
