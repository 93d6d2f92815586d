"""The view of a network as a file: whole, small, told without script, and safe from what names hold."""

from __future__ import annotations

import dataclasses
import html
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from profiler import wording
from profiler.errors import OutputError
from profiler.grade_classes import DOWN, UP
from profiler.network_line import NetworkLine
from profiler.present import network_rows
from profiler.present.network import draw_network, network_page
from profiler.present.offline import NAMES_NOT_FETCHED
from tests.benchmarks.network_view import invented_network
from tests.invented import invented_landmarks, invented_profile
from tests.pages import array_of, numbers_of

LINE = NetworkLine.of("farrow", invented_profile(), invented_landmarks())
HOSTILE = '</script><img src=x onerror="alert(1)"> & {{ title }} ]]>\u2028'


class Rows(HTMLParser):
    """Texts of all cells of a page's tables."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.cells: list[str] = []
        self._open = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: object) -> None:  # noqa: ARG002 (its base names it)
        self.tags.add(tag)
        if tag in ("td", "th"):
            self._open = True
            self.cells.append("")

    def handle_endtag(self, tag: str) -> None:
        self._open &= tag not in ("td", "th")

    def handle_data(self, data: str) -> None:
        if self._open:
            self.cells[-1] += data


@pytest.mark.parametrize("units", ["us", "metric"])
def test_the_table_stands_without_script(units: str):
    """Law: every figure of a row is in the file as text, as `wording` has it."""
    cells = Rows(network_page([LINE], units=units)).cells
    for cell in network_rows.cells_of(LINE, units):
        assert cell.figure + cell.small in cells
    with_chainage = LINE.ruling("with")
    assert with_chainage is not None
    whole = wording.interval_text(with_chainage.value, "%", units, with_chainage.low, with_chainage.high)
    assert any(whole in cell.replace("(", " (") for cell in cells)


def test_rows_are_sorted_by_what_they_say():
    """Law: packed figures are those of the lines, to their steps; what is not there is not known."""
    bare = dataclasses.replace(LINE, landmarks=())
    data, buffer = numbers_of(network_page([LINE, bare]))
    for i, column in enumerate(network_rows.COLUMNS[1:]):
        found = array_of(data["figures"][column.key], buffer)
        for line, value in zip((LINE, bare), found, strict=True):
            assert value == pytest.approx(network_rows.figures_of(line)[i], abs=column.step / 2 + 1e-9, nan_ok=True)


def test_names_are_never_markup():
    """Law: whatever a name, a failure or an address holds, the page has the elements it has without."""
    hostile = dataclasses.replace(
        LINE, name=HOSTILE, ends=(HOSTILE, HOSTILE), places=(HOSTILE,), attribution=HOSTILE, assumptions=(HOSTILE,)
    )
    page = network_page([hostile], failures=[(HOSTILE, HOSTILE, HOSTILE)], name=HOSTILE)
    calm = network_page([LINE], failures=[("a", "b", "c")], name="d")
    assert Rows(page).tags == Rows(calm).tags
    assert page.count("<script") == calm.count("<script")
    assert "<img" not in page
    assert html.escape(HOSTILE, quote=False) in page.replace("&#34;", '"')


def test_the_file_is_whole_and_asks_for_nothing():
    """Law: no address but names of formats, and a policy that forbids every request."""
    page = network_page([LINE])
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)
    assert policy is not None
    assert policy[1].startswith("default-src 'none'; img-src data:")
    assert policy[1].count("'sha256-") == page.count("<script>") == 2
    assert set(re.findall(r'(?:src|href)="(?!data:|#)([^"]*)"', page)) <= set(NAMES_NOT_FETCHED)


def test_same_lines_same_bytes():
    """Law: nothing of the day or the machine is in it."""
    assert network_page([LINE, LINE]) == network_page([LINE, LINE])


def test_all_is_told_of_failures_credits_units_and_invention():
    """Law: each failure with its sentence, whose the data are and of how many lines, whose units, what is invented."""
    real = dataclasses.replace(
        LINE, key="b", invented=False, units="metric", attribution="Survey of Nowhere", licence="L"
    )
    page = html.unescape(network_page([LINE, real], failures=[("c", "c.toml", "c.toml: has no line; give one")]))
    assert "c.toml: has no line; give one" in page
    assert "Elevation data: Survey of Nowhere; licence: L. (1 of 2 lines)" in page
    assert "1 of the lines are reckoned in US units by their own railways, 1 in metric ones" in page
    assert "1 of the lines are invented" in page
    assert wording.CAUTION in page
    assert "; 1 failed" in page


def test_no_line_at_all_is_a_page_too():
    """Law: where everything failed, the failures are there."""
    page = network_page([], failures=[("a", "a.toml", "a.toml: no")])
    assert "No line was profiled." in page
    assert "a.toml: no" in page


def test_units_are_those_of_most_lines_unless_asked_for():
    """Worked: two metric lines and one in US units are metric; what is asked for is taken."""
    metric = dataclasses.replace(LINE, units="metric")
    assert numbers_of(network_page([metric, LINE, metric]))[0]["units"] == "metric"
    assert numbers_of(network_page([metric, LINE, metric], units="us"))[0]["units"] == "us"


def test_colours_are_those_of_the_line_map():
    """Law: fills in order of the classes −4 to 4, the same as everywhere."""
    fills = numbers_of(network_page([LINE]))[0]["fills"]
    assert fills == [DOWN[4], DOWN[3], DOWN[2], DOWN[1], UP[0], UP[1], UP[2], UP[3], UP[4]]


def test_a_large_network_is_small():
    """Law: 80 bytes a kilometre and two hundred kilobytes of library, half of the 8 MB that 100,000 km may have
    (`python -m tests.benchmarks.network_view` writes all of it: 3.7 MB)."""
    empty = len(network_page([]).encode())
    whole = len(network_page(invented_network(40, 50.0)).encode())
    assert empty < 300_000
    assert (whole - empty) / (40 * 50.0) < 80


def test_an_earlier_view_stays_until_the_new_one_is_whole(tmp_path: Path):
    """Law: what fails leaves the file as it was."""
    path = tmp_path / "network.html"
    draw_network([LINE], path)
    before = path.read_bytes()

    def failing():
        yield LINE
        raise ValueError

    with pytest.raises(ValueError):
        draw_network(failing(), path)
    assert path.read_bytes() == before
    with pytest.raises(OutputError):
        draw_network([LINE], tmp_path / "missing" / "network.html")


def test_very_long_lines_can_be_sorted():
    """Law: 9,000 km are packed as they are."""
    long = dataclasses.replace(LINE, chainage=np.linspace(0, 9e6, LINE.chainage.size), grade_runs=(), landmarks=())
    data, buffer = numbers_of(network_page([long]))
    assert array_of(data["figures"]["length"], buffer)[0] == pytest.approx(9e6)
