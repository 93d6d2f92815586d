"""What tests of pictures and pages share."""

from __future__ import annotations

import base64
import os
import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.browser import Browser, Tab

GLOBAL = """
globalThis.texts = (what) => [...document.querySelectorAll(what)].map((e) => e.textContent);
globalThis.choose = (id, value) => {
  const node = document.getElementById(id);
  node.value = value;
  node.dispatchEvent(new Event("change"));
};
globalThis.state = () => ({
  head: gradewright.page.head, figures: texts("#now dd"), says: slider.getAttribute("aria-valuetext"),
  plan: document.querySelector(".by-plan").textContent, forces: texts("#couplers text"),
});
"""
ARTEFACTS = os.environ.get("GRADEWRIGHT_ARTEFACTS")
"""Folder for pictures of pages as tests leave them."""


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A running browser."""
    one = Browser(tmp_path_factory.mktemp("browser"))
    yield one
    one.close()


@pytest.fixture
def opened(browser: Browser, tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Callable[..., Tab]]:
    """Open a page with the network cut; in the end it has asked for nothing and complained of nothing, and its picture
    is kept where the environment asks for it."""
    tabs: list[Tab] = []

    def open_(page: str, width: int = 1440, height: int = 1030, address: str = "") -> Tab:
        path = tmp_path / "page.html"
        path.write_text(page, encoding="utf-8")
        tabs.append(browser.tab(path.as_uri() + address, width, height))
        tabs[-1].until("globalThis.gradewright")
        tabs[-1].settled()
        tabs[-1].do(GLOBAL)
        return tabs[-1]

    yield open_
    for number, tab in enumerate(tabs):
        if ARTEFACTS:
            Path(ARTEFACTS).mkdir(parents=True, exist_ok=True)
            name = re.sub(r"[^\w-]+", "-", f"{request.node.name}-{number}")
            Path(ARTEFACTS, f"{name}.png").write_bytes(base64.b64decode(tab.picture()))
        assert tab.complaints == []
        assert tab.requests == []
        tab.close()
