"""The page with the train that moves, opened in a real browser with no network."""

from __future__ import annotations

import dataclasses
import re
from typing import Any

import numpy as np
import pytest

from profiler.briefing.plan import Briefing
from profiler.mark import SLACK_KINDS
from profiler.present.page import page_of
from profiler.present.page_train import forces_at, heads, marks_data
from profiler.units import KIP, KMH, MILE, MPH
from tests.browser import Tab, in_browser
from tests.pages import briefings


@pytest.fixture(scope="module")
def page() -> str:
    return page_of(briefings())


def figure(text: str) -> float:
    """ "↘ ≈1.5 %" as a number."""
    sign = -1 if "↘" in text else 1
    return sign * float(re.search(r"\d[\d,]*\.?\d*", text.replace("\N{NARROW NO-BREAK SPACE}", ""))[0].replace(",", ""))


@in_browser
@pytest.mark.parametrize("address", ["", "#to=against&units=metric&case=slower"])
def test_keys_and_hand_move_the_train(page: str, opened, address: str):
    """Law: figures shown after every move are those of the briefing at the place of the head, in both directions,
    units and another case."""
    tab = opened(page, address=address)
    direction, case = ("against", "slower") if address else ("with", "plan")
    briefing = next(b for b in briefings()["ore"] if b.direction == direction).as_case(case)
    metric = bool(address)

    def shown() -> dict[str, Any]:
        seen: dict[str, Any] = tab.do("return state()")
        _equals(seen, briefing, metric=metric)
        return seen

    tab.do("document.getElementById('slider').focus()")
    heads_seen = []
    for name, shift in (("ArrowRight", False), ("ArrowRight", True), ("ArrowLeft", False)):
        tab.key(name, shift=shift)
        heads_seen.append(shown()["head"])
    assert np.diff(heads_seen) == pytest.approx([MILE, -0.1 * MILE])
    tab.key("PageDown")
    best = shown()["head"]
    acts = [m for m in briefing.marks if m.kind not in SLACK_KINDS]
    assert min(abs(float(briefing.terrain.way_at(m.recommended)) - best) for m in acts) < 0.1
    assert best > heads_seen[-1]
    tab.key("End")
    assert tab.do("return state()")["head"] == pytest.approx(briefing.terrain.length)
    tab.key("Home")
    assert tab.do("return state()")["head"] == 0
    tab.do("document.getElementById('post').value = '60.25'; document.getElementById('go').requestSubmit()")
    assert float(briefing.terrain.chainage(shown()["head"])) == pytest.approx(22.25 * MILE, abs=0.1)
    for touch in (False, True):
        x, y = tab.do("const b = document.getElementById('section').getBoundingClientRect(); return [b.left, b.top]")
        tab.hand((x + 300, y + 60), (x + 500, y + 60), (x + 640, y + 60), touch=touch)
        dragged = shown()["head"]
        place = tab.do(f"return document.querySelector('#section .head').getBoundingClientRect().left - {x}")
        assert place == pytest.approx(640, abs=2)
        x, y = tab.do("const b = document.getElementById('whole').getBoundingClientRect(); return [b.left, b.top]")
        tab.hand((x + 800, y + 10), touch=touch)
        assert shown()["head"] != pytest.approx(dragged, abs=100)
    x, y = tab.do("const b = document.querySelector('.head-dot').getBoundingClientRect(); return [b.x + 8, b.y + 8]")
    tab.do("gradewright.move(0)")
    before = tab.do("return state()")["head"]
    tab.hand((x, y))
    assert shown()["head"] > before + 5000


def _equals(state: dict[str, Any], briefing: Briefing, *, metric: bool) -> None:
    head, run = state["head"], briefing.running
    posts = briefing.profile.route.posts
    first, rear, _, under, _, needed = state["figures"]

    def at(values: Any) -> float:
        return float(np.interp(head, run.pull.head, values))

    assert figure(first) == pytest.approx(float(posts.at(float(briefing.terrain.chainage(head)))), abs=0.006)
    behind = float(posts.at(float(briefing.terrain.chainage(head - briefing.train.length))))
    assert figure(rear) == pytest.approx(behind, abs=0.006)
    grade = at(run.under.grade)
    assert figure(under) == pytest.approx(grade * (1000 if metric else 100), abs=0.56 if metric else 0.056)
    force = abs(at(run.needed))
    coarse = force * 0.01 + 2000  # between places 100 m apart a value is told by its neighbours
    assert figure(needed) * (1000 if metric else KIP) == pytest.approx(force, abs=coarse)
    force, known = forces_at(briefing.forces, heads(briefing))
    pull = next((t for t in state["forces"] if t.startswith("pull")), None)
    if known.all() and pull:
        told = figure(pull.partition(",")[0]) * (1000 if metric else KIP)
        assert told == pytest.approx(np.interp(head, heads(briefing), force.max(axis=1)), abs=0.6 * KIP)
    if "mph" in state["plan"] or "km/h" in state["plan"]:
        place, i = np.unique(briefing.journey.head, return_index=True)
        speed = float(np.interp(head, place, briefing.journey.speed[i]))
        shown = figure(state["plan"].partition(":")[2]) * (KMH if metric else MPH)
        assert shown == pytest.approx(speed, abs=0.03 * speed + 0.3)


@in_browser
def test_a_mark_opens(page: str, opened):
    """Law: a touch on a chip opens the mark in the list: places, reason, how sure; moving into it is spoken."""
    tab = opened(page)
    x, y, mark = tab.do(
        "const chip = document.querySelector('#section .chip'), b = chip.getBoundingClientRect();"
        "return [b.x + b.width / 2, b.y + b.height / 2, chip.getAttribute('data-mark')]"
    )
    tab.hand((x, y))
    row = "document.querySelector('#marks button[aria-expanded=\"true\"]')"
    assert tab.do(f"return {row}.getAttribute('data-mark')") == mark
    lines = tab.do(f"return [...{row}.parentNode.querySelectorAll('li')].map((e) => e.textContent)")
    told = next(m for m in marks_data(briefings()["ore"][0]) if m["number"] and str(m["number"]) == _number(tab, mark))
    assert lines == list(told["us"]["lines"])
    assert tab.do("return document.querySelector('#ground-plan .opened').getAttribute('d')").startswith("M")
    tab.key("Enter")
    assert not tab.do("return document.querySelector('#ground-plan .opened').getAttribute('d')")
    assert tab.do("return document.querySelectorAll('#marks button[aria-expanded=\"true\"]').length") == 0
    wide = next(m for m in marks_data(briefings()["ore"][0]) if m["number"] and m["end"] - m["start"] > 500)
    tab.do(f"gradewright.move({wide['start'] - 30})")
    tab.do(f"gradewright.move({(wide['start'] + wide['end']) / 2})")
    words = "".join(wide["inside"])
    assert words in tab.do("return texts('#marks li.inside .where')")
    assert words in tab.do("return document.getElementById('told').textContent")
    assert "Head at post" in tab.do("return slider.getAttribute('aria-valuetext')")


def _number(tab: Tab, mark: str) -> str:
    return str(tab.do(f"return gradewright.page.marks[{mark}].number"))


@in_browser
def test_play_follows_the_run(page: str, opened):
    """Law: played at sixty times the train is, after so much of the run's time, where the run has it."""
    tab = opened(page)
    began, ended, seconds = tab.do(
        """
        gradewright.move(30000);
        choose("rate", "60");
        const play = document.getElementById("play"), frame = () => new Promise(requestAnimationFrame);
        play.click();
        await frame();
        let last = await frame(), seconds = 0;
        const began = gradewright.page.head;
        while (seconds < 1) {
          const stamp = await frame();
          seconds += Math.min(stamp - last, 200) / 1000; // as the page counts: what was not seen is not run
          last = stamp;
        }
        const ended = gradewright.page.head;
        play.click();
        await frame(); await frame();
        return [began, ended, gradewright.page.head === ended ? seconds : 0];
        """
    )
    trip = briefings()["ore"][0].journey
    place, i = np.unique(trip.head, return_index=True)
    took = float(np.diff(np.interp([began, ended], place, trip.time[i]))[0])
    assert took == pytest.approx(60 * seconds, abs=0.5)


@in_browser
def test_choices(page: str, opened):
    """Law: another train, units, direction and case change what is shown; layers come and go; no text under 11 px."""
    tab = opened(page)
    first = tab.do("return state()")
    metric = tab.do("choose('units', 'metric'); return state()")
    assert first["figures"][5].endswith("kips")
    assert metric["figures"][5].endswith("kN")
    assert figure(metric["figures"][5]) == pytest.approx(figure(first["figures"][5]) * KIP / 1000, rel=0.1)
    slower = tab.do("choose('case', 'slower'); return state()")
    assert "10 % lower" in tab.do("return document.getElementById('case-words').textContent")
    turned = tab.do("document.getElementById('turn').click(); return state()")
    assert tab.do("return gradewright.page.chosen.direction") == "against"
    ore, other = briefings()["ore"][0], briefings()["other"][0]
    assert turned["head"] == pytest.approx(ore.terrain.length - slower["head"] + ore.train.length)
    assert tab.do("choose('train', '1'); return gradewright.page.train.name") == other.train.name
    tab.do("document.getElementById('slider').focus()")
    span = tab.do("return gradewright.page.view.span")
    tab.key("+")
    assert tab.do("return gradewright.page.view.span") == pytest.approx(0.7 * span)
    tab.key("u")
    assert tab.do("return state().figures[5]").endswith("kips")
    tab.do("for (const box of document.querySelectorAll('#layers input')) box.click()")
    layers = tab.do("return gradewright.page.layers")
    assert layers["curves"]
    assert not layers["posts"]
    assert tab.do("return document.querySelectorAll('#section .curve').length") > 0
    sizes = tab.do(
        """
        const every = [...document.querySelectorAll("body *")];
        const shown = every.filter((e) => e.textContent && e.getClientRects().length);
        return shown.map((e) => parseFloat(getComputedStyle(e).fontSize));
        """
    )
    assert min(sizes) >= 11


@in_browser
@pytest.mark.parametrize("size", [(1440, 1030), (800, 900), (390, 844), (320, 700)])
def test_no_two_names_meet(page: str, opened, size: tuple[int, int]):
    """Law of the look: at four widths no two names on Section meet, and nothing scrolls sideways."""
    tab = opened(page, *size)
    assert tab.do("return document.documentElement.scrollWidth <= innerWidth")
    meets = tab.do(
        """
        const meets = [];
        for (const place of [3000, 26000, 30000, 36000, 49000]) {
          gradewright.move(place);
          const named = [...document.querySelectorAll("#section .name, #section .post, #section .grade")];
          const boxes = named.map((t) => [t.textContent, t.getBoundingClientRect()]);
          boxes.forEach(([a, p], i) => boxes.slice(i + 1).forEach(([b, q]) => {
            const across = p.left < q.right && q.left < p.right;
            if (across && p.top + 3 < q.bottom - 3 && q.top + 3 < p.bottom - 3) meets.push(a + "/" + b);
          }));
        }
        return meets;
        """
    )
    assert meets == []


@in_browser
def test_hostile_names_stay_text(opened):
    """Law: a name that is markup is text wherever it stands, and nothing runs: its script would rename the page."""
    hostile = "</script><script>document.title='taken'</script><img src=x onerror=\"document.title='taken'\">"
    briefing = briefings()["other"][0]
    route = briefing.profile.route
    stations = tuple(dataclasses.replace(s, name=hostile) for s in route.stations)
    route = dataclasses.replace(route, name=hostile, stations=stations, ends=(hostile, hostile))
    profile = dataclasses.replace(briefing.profile, route=route)
    train = dataclasses.replace(briefing.train, name=hostile)
    tab = opened(page_of({"x": [dataclasses.replace(briefing, profile=profile, train=train)]}))
    tab.do("gradewright.move(700)")
    assert tab.do("return document.title") == hostile
    named = tab.do("return texts('svg text, #towards, #train-words, h1').filter((text) => text.includes('<img'))")
    assert len(named) >= 3
    assert tab.do("return document.querySelectorAll('img').length") == 0


@in_browser
def test_time_per_move(page: str, opened, capsys: pytest.CaptureFixture[str]):
    """Measured and printed, no wall-clock bound: script time of a move (asked for: 8 ms), first paint, frames."""
    tab = opened(page)
    middle, most = tab.do(
        """
        const times = [];
        gradewright.move(0);
        for (let i = 0; i < 300; i++) {
          const began = performance.now();
          slider.dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowRight", bubbles: true }));
          times.push(performance.now() - began);
        }
        times.sort((a, b) => a - b);
        return [times[150], times[299]];
        """
    )
    paint = tab.do("return (performance.getEntriesByType('paint')[0] || { startTime: 0 }).startTime")
    with capsys.disabled():
        print(f"\nscript time of a move: median {middle:.1f} ms, most {most:.1f} ms; first paint after {paint:.0f} ms")
    assert tab.do("return state()")["head"] == pytest.approx(300 * 0.1 * MILE)
