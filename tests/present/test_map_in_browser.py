"""The map page opened in a real browser, with no network."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from profiler.landmark import Landmarks
from profiler.present.map import draw_map
from profiler.profile import Profile, reversed_profile
from profiler.route import Posts
from tests.browser import Browser, in_browser
from tests.invented import invented_landmarks, invented_profile

pytestmark = in_browser

PROBE = """
const seen = { title: document.title }, set = (name, value) => { seen[name] = String(value); };
const boxes = [...document.querySelectorAll(".drawing text")].map((t) => [t.textContent, t.getBoundingClientRect()]);
const overlaps = [];
boxes.forEach(([a, p], i) => boxes.slice(i + 1).forEach(([b, q]) => {
  const across = p.left < q.right && q.left < p.right;
  if (across && p.top + 2 < q.bottom - 2 && q.top + 2 < p.bottom - 2) overlaps.push(a + "/" + b);
}));
const sizes = [...document.querySelectorAll(".drawing text, .key *, .foot")]
  .map((e) => parseFloat(getComputedStyle(e).fontSize));
set("signs", document.querySelectorAll(".sign[tabindex='0'][role='button'][aria-label]").length);
set("places", document.querySelectorAll(".places:not(.plan) button").length);
set("samples", document.querySelectorAll(".samples li").length);
set("labels", boxes.map(([t]) => t).join("|"));
set("overlaps", overlaps.join("|"));
set("smallest", Math.min(...sizes));
document.querySelector("path.leaflet-interactive").dispatchEvent(
  new MouseEvent("click", { bubbles: true, clientX: 0, clientY: 0, view: window }));
set("popup", (document.querySelector(".leaflet-popup-content") || document.body).textContent);
const plan = document.querySelector("details.plan");
if (plan) {
  set("planned", plan.querySelectorAll("button").length);
  set("before", document.querySelectorAll(".sign-bend").length);
  const toggled = new Promise((done) => plan.addEventListener("toggle", done));
  plan.open = true;
  await toggled;
}
set("wide", document.documentElement.scrollWidth <= innerWidth);
if (plan) {
  set("after", document.querySelectorAll(".sign-bend").length);
  set("figures", [...document.querySelectorAll(".drawing text.figure")].map((t) => t.textContent).join("|"));
  plan.querySelector("button").click();
  const strong = () => [...document.querySelectorAll(".leaflet-popup-content strong")].pop();
  await until(() => strong() && strong().textContent.startsWith("Curve"));
  set("curve", strong().textContent);
}
return seen;
"""


@pytest.fixture
def opened(browser: Browser, tmp_path: Path) -> Callable[..., dict[str, str]]:
    """Write a map, open it at a size with the network cut, and give what the browser made of it."""

    def open_(profile: Profile, landmarks: Landmarks, size: tuple[int, int] = (1400, 900)) -> dict[str, str]:
        path = tmp_path / "map.html"
        draw_map(profile, landmarks, None, path)
        tab = browser.tab(path.as_uri(), *size)
        seen: dict[str, str] = tab.do(PROBE)
        assert tab.complaints == []
        assert tab.requests == []
        tab.close()
        return seen

    return open_


@pytest.mark.parametrize("size", [(1400, 900), (800, 600), (390, 800)])
def test_the_page_opens_and_no_two_labels_meet(opened, size):
    """Law: no console message, no request, every sign reached by keyboard, no overlap, text from 11 px on."""
    seen = opened(invented_profile(), invented_landmarks(), size)
    assert seen["title"] == "Farrow to Thistle Quay: grade map"
    assert seen["overlaps"] == ""
    assert seen["samples"] == "9"
    assert seen["places"] == "16"
    assert int(seen["signs"]) >= 12
    assert float(seen["smallest"]) >= 11
    assert seen["wide"] == "true"
    assert seen["popup"].count("±") == 3  # of the grade run, and of elevation and grade at the place
    assert "ruling 1.35 %" in seen["labels"]
    assert "ruling 2.45 %" in seen["labels"]


def test_the_other_way_and_metric(opened):
    """Law: turned round, in metric units, the same rules hold."""
    turned = dataclasses.replace(reversed_profile(invented_profile("metric")), invented=False)
    seen = opened(turned, Landmarks((), (), ()))
    assert seen["overlaps"] == ""
    assert seen["signs"] == seen["places"] == "6"


def test_post_equations_near_and_far(opened):
    """Law: an equation is a sign with its two posts, and another place in the list. On a line so long that only
    every fiftieth post is labelled it stays in the list and leaves the map."""
    profile = invented_profile()
    for dense, on_map in ((1, 1), (100, 0)):
        posts = Posts(np.array([0.0, 12_345, 12_345, 50_000]), np.array([38, 45.67, 46, 70]) * dense, "mi")
        route = dataclasses.replace(profile.route, posts=posts)
        seen = opened(dataclasses.replace(profile, route=route), Landmarks((), (), ()))
        assert seen["overlaps"] == ""
        assert seen["places"] == "7"
        assert seen["signs"] == str(6 + on_map)
        assert (" = mi " in seen["labels"]) == bool(on_map)


def test_curves_are_there_when_asked_for(opened):
    """Worked: nine curves, none on the map until their list is opened; then those in sight, with words that open."""
    seen = opened(invented_profile(), invented_landmarks())
    assert (seen["planned"], seen["before"]) == ("9", "0")
    assert 1 <= int(seen["after"]) <= 9
    assert "45A 8.0°" in seen["figures"]
    assert seen["curve"] == "Curve 40A"


def test_hostile_names_do_not_run(opened):
    """Law: a name that is markup is shown as text, and nothing runs: its script would rename the page."""
    profile = invented_profile()
    name = "<script>document.title='taken'</script><img src=x onerror=\"document.title='taken'\">"
    stations = tuple(dataclasses.replace(s, name=name) for s in profile.route.stations)
    route = dataclasses.replace(profile.route, stations=stations, ends=(name, name))
    seen = opened(dataclasses.replace(profile, route=route), invented_landmarks())
    assert seen["title"] == "Farrow to Thistle Quay: grade map"
    assert "&lt;script&gt;" in seen["labels"] or "<script>" in seen["labels"]
