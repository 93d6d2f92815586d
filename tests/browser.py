"""A real Chromium for tests, driven over its own pipe (Chrome DevTools Protocol): no network, no other library."""

from __future__ import annotations

import json
import os
import select
import shutil
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.waiting import PATIENCE

PROGRAM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
in_browser = pytest.mark.skipif(PROGRAM is None, reason="no Chromium is installed")
_KEYS = {
    "ArrowRight": 39,
    "ArrowLeft": 37,
    "PageDown": 34,
    "PageUp": 33,
    "Home": 36,
    "End": 35,
    "Enter": 13,
    "Tab": 9,
    "Escape": 27,
}
_SHIFT = 8
_HELP = """
globalThis.until = async (found) => { // what is found, once it is there
  const limit = performance.now() + 60000;
  for (;;) {
    const value = await found();
    if (value) return value;
    if (performance.now() > limit) throw new Error("never: " + found);
    await new Promise((done) => setTimeout(done, 20));
  }
};
globalThis.drawn = async (frames = 3) => { // what waits for the next frame, and for what that changes, is done
  for (; frames; frames--) await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
};
globalThis.settled = async () => { // three frames follow each other in which nothing changes, scrolls or moves
  const limit = performance.now() + 60000, note = () => { still = -1; }, seen = new MutationObserver(note);
  let still = 0;
  seen.observe(document, { subtree: true, childList: true, attributes: true, characterData: true });
  addEventListener("scroll", note, true);
  for (; still < 3; still++) {
    if (performance.now() > limit) throw new Error("the page does not come to rest");
    await drawn(1);
    if (document.getAnimations().some((one) => one.playState === "running")) note();
  }
  seen.disconnect();
  removeEventListener("scroll", note, true);
};
"""


class Browser:
    """One running browser; `tab` opens a file in it."""

    def __init__(self, folder: Path) -> None:
        down, self._write = os.pipe()
        self._read, up = os.pipe()
        flags = "--headless=new --no-sandbox --disable-gpu --disable-dev-shm-usage --no-first-run --disable-sync"
        quiet = "--disable-component-update --disable-background-networking --host-resolver-rules='MAP * ~NOTFOUND'"
        pipe = "--remote-debugging-pipe about:blank"
        command = f"exec {PROGRAM} {flags} {quiet} --user-data-dir={folder} {pipe} 3<&{down} 4>&{up}"
        self._run = subprocess.Popen(["/bin/bash", "-c", command], pass_fds=(down, up), stderr=subprocess.DEVNULL)
        os.close(down)
        os.close(up)
        self._number, self._rest = 0, b""
        self.events: list[dict[str, Any]] = []
        self.before: Tab | None = None
        """The tab that stands before the others."""

    def ask(self, method: str, session: str | None = None, **params: Any) -> dict[str, Any]:
        """What the browser answers; events on the way are kept."""
        self._number += 1
        message = {"id": self._number, "method": method, "params": params}
        message |= {"sessionId": session} if session else {}
        os.write(self._write, json.dumps(message).encode() + b"\0")
        for told in self._messages(f"an answer to {method}"):
            if told.get("id") == self._number:
                assert "error" not in told, told
                result: dict[str, Any] = told["result"]
                return result
            self.events.append(told)
        raise AssertionError("the browser is gone")

    def hear(self, session: str, method: str, **params: Any) -> None:
        """Wait until the browser tells of such an event."""

        def such(told: dict[str, Any]) -> bool:
            of_it = told.get("sessionId") == session and told.get("method") == method
            return of_it and params.items() <= told["params"].items()

        if any(map(such, self.events)):
            return
        for told in self._messages(f"{method} {params}"):
            self.events.append(told)
            if such(told):
                return
        raise AssertionError("the browser is gone")

    def _messages(self, awaited: str) -> Iterator[dict[str, Any]]:
        limit = time.monotonic() + PATIENCE
        while True:
            while b"\0" not in self._rest:
                ready, _, _ = select.select([self._read], [], [], max(limit - time.monotonic(), 0.0))
                assert ready, f"{awaited} did not come within {PATIENCE:g} s"
                more = os.read(self._read, 1 << 16)
                if not more:
                    return
                self._rest += more
            one, _, self._rest = self._rest.partition(b"\0")
            yield json.loads(one)

    def tab(self, address: str, width: int = 1440, height: int = 1030) -> Tab:
        """Open an address and wait until it is loaded and at rest."""
        return Tab(self, address, width, height)

    def close(self) -> None:
        """End it."""
        self._run.terminate()
        self._run.wait(PATIENCE)
        os.close(self._write)
        os.close(self._read)


class Tab:
    """A page: its script can be asked, and it can be moved by keys and by hand as a reader does, who looks first: what
    they do at once is drawn when they return. Scripts may await ``until(() => …)``, ``drawn()`` and ``settled()``."""

    def __init__(self, browser: Browser, address: str, width: int, height: int) -> None:
        self._browser = browser
        made = browser.ask("Target.createTarget", url="about:blank")
        self._target = made["targetId"]
        self._session = browser.ask("Target.attachToTarget", targetId=self._target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self._ask(f"{domain}.enable")
        cut = {"offline": True, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
        self._ask("Network.emulateNetworkConditions", **cut)
        self._ask("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        self._ask("Emulation.setFocusEmulationEnabled", enabled=True)
        self._ask("Page.addScriptToEvaluateOnNewDocument", source=_HELP)
        self._ask("Page.setLifecycleEventsEnabled", enabled=True)
        loader = self._ask("Page.navigate", url=address)["loaderId"]
        browser.hear(self._session, "Page.lifecycleEvent", name="load", loaderId=loader)
        self.settled()

    def _ask(self, method: str, **params: Any) -> dict[str, Any]:
        if self._browser.before is not self:  # one behind another is drawn now and then, or never
            self._browser.before = self
            self._browser.ask("Page.bringToFront", self._session)
        return self._browser.ask(method, self._session, **params)

    def do(self, script: str) -> Any:
        """Run the body of an asynchronous function in the page, and what it returns."""
        answer = self._ask(
            "Runtime.evaluate", expression=f"(async () => {{ {script} }})()", awaitPromise=True, returnByValue=True
        )
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def until(self, script: str) -> None:
        """Wait until an expression is true."""
        self.do(f"await until(() => {script})")

    def settled(self) -> None:
        """Wait until the page is at rest."""
        self.do("await settled()")

    def centre(self, what: str) -> tuple[float, float]:
        """Where an element, given as an expression, is in the window. [px]"""
        x, y = self.do(f"const b = {what}.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]")
        return x, y

    def resize(self, width: int, height: int) -> None:
        """Give the window another size, and wait until the page has taken it. [px]"""
        self._ask("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False)
        self.until(f"innerWidth === {width}")
        self.settled()

    def key(self, name: str, *, shift: bool = False) -> None:
        """Press and let go a key."""
        code: dict[str, Any] = {"windowsVirtualKeyCode": _KEYS[name]} if name in _KEYS else {"text": name}
        code |= {"text": "\r"} if name == "Enter" else {}
        for kind in ("keyDown", "keyUp"):
            self._ask("Input.dispatchKeyEvent", type=kind, key=name, modifiers=_SHIFT if shift else 0, **code)
        self.do("await drawn()")

    def hand(self, *places: tuple[float, float], touch: bool = False) -> None:
        """Press at the first place, go over the others, let go at the last. [px]"""
        if touch:
            points = [[{"x": x, "y": y}] for x, y in places]
            for kind, at in zip(["touchStart", *["touchMove"] * len(points)], points, strict=False):
                self._ask("Input.dispatchTouchEvent", type=kind, touchPoints=at)
            self._ask("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])
            self.do("await drawn()")
            return
        kinds = ["mousePressed", *["mouseMoved"] * (len(places) - 1), "mouseReleased"]
        for kind, (x, y) in zip(kinds, [*places, places[-1]], strict=True):
            self._ask("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", buttons=1, clickCount=1)
        self.do("await drawn()")

    def picture(self) -> str:
        """What is seen, as PNG in base64."""
        data: str = self._ask("Page.captureScreenshot", format="png")["data"]
        return data

    @property
    def complaints(self) -> list[Any]:
        """Messages of the console, exceptions and refusals."""
        kinds = ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded")
        return [told["params"] for told in self._told() if told["method"] in kinds]

    @property
    def requests(self) -> list[str]:
        """Addresses asked for beside the page itself."""
        asked = [e["params"]["request"]["url"] for e in self._told() if e["method"] == "Network.requestWillBeSent"]
        return [url for url in asked[1:] if not url.startswith("data:")]

    def _told(self) -> list[dict[str, Any]]:
        self.do("")
        return [told for told in self._browser.events if told.get("sessionId") == self._session]

    def close(self) -> None:
        """Close the page."""
        self._browser.ask("Target.closeTarget", targetId=self._target)
