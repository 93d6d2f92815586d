"""Names that are markup: in the files people open they are text, and nothing runs."""

from __future__ import annotations

import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner

from profiler.cli.main import main
from tests import country

BROWSER = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
HOSTILE = "<script>alert(1)</script>"


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The output of a territory whose line, ends, station and tunnel are called after a script element."""
    folder = tmp_path_factory.mktemp("hostile")
    text = re.sub("Marram to Sallow|Sedge Tunnel|Marram|Sallow", HOSTILE, country.TERRITORY)
    assert text.count(HOSTILE) == 5
    path = country.write_territory(folder, text)
    result = CliRunner().invoke(main, ["profile", str(path), "--out", str(folder / "out")])
    assert result.exit_code == 0, result.output
    return folder / "out"


class Elements(HTMLParser):
    """The text of every script element, and of everything else."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.scripts: list[str] = []
        self.inside = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert not [name for name, _ in attrs if name.startswith("on")]
        self.inside = tag == "script"
        if self.inside:
            self.scripts.append("")

    def handle_endtag(self, tag: str) -> None:
        self.inside = self.inside and tag != "script"

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.scripts[-1] += data


def test_chart(results: Path):
    """Law: the drawing is XML without any script; the names stand in it as text."""
    elements = list(ET.fromstring((results / "chart.svg").read_text(encoding="utf-8")).iter())
    assert not [e for e in elements if e.tag.endswith("script")]
    assert not [name for e in elements for name in e.attrib if name.startswith("on")]
    assert [e for e in elements if HOSTILE in (e.text or "")]


def test_page(results: Path):
    """Law: no script element of the page is the name's; the name ends none either."""
    page = (results / "map.html").read_text(encoding="utf-8")
    scripts = Elements(page).scripts
    assert scripts
    assert not [s for s in scripts if s.strip() == "alert(1)"]
    assert HOSTILE not in page
    assert "alert(1)" in page


@pytest.mark.skipif(BROWSER is None, reason="no Chromium is installed")
def test_page_in_a_browser(results: Path, tmp_path: Path):
    """Outside: a browser makes text of the names, and no element; an alert would have stopped it."""
    run = subprocess.run(
        [
            *(BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--enable-logging=stderr"),
            "--disable-dev-shm-usage",
            *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
            *("--host-resolver-rules=MAP * ~NOTFOUND", f"--user-data-dir={tmp_path}"),
            *("--virtual-time-budget=3000", "--dump-dom", (results / "map.html").resolve().as_uri()),
        ],
        capture_output=True,
        text=True,
        timeout=300,
        check=True,
    )
    assert "CONSOLE" not in run.stderr
    assert not [s for s in Elements(run.stdout).scripts if s.strip() == "alert(1)"]
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in run.stdout
