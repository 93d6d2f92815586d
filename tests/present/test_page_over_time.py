"""What the page keeps while it is used: focus, place on the screen, what was opened and chosen; windows that change."""

from __future__ import annotations

import html
from pathlib import Path

import pytest

from profiler.present.page import page_of
from tests.browser import Browser, in_browser
from tests.pages import briefings
from tests.present.test_page_felt import OPEN, crest_of, felt_page

pytestmark = in_browser
FOCUS = "return [document.activeElement.dataset.mark, document.activeElement.id]"
OPENED = """
const row = document.querySelector("#marks [aria-expanded=true]"), ways = [...document.querySelectorAll(".ways input")];
return [row && row.dataset.mark, ways.findIndex((e) => e.checked), document.querySelector(".list").className,
  document.querySelector("#ground-plan .opened").getAttribute("d").length > 0];
"""


@pytest.fixture(scope="module")
def page() -> str:
    return page_of(briefings())


def test_the_focus_stays_in_the_list(page: str, opened):
    """Law: units by key, a page that turns and another window size leave the focus on the button of the same mark; a
    mark that is gone leaves it on the list."""
    tab = opened(page)
    tab.do("gradewright.move(20000); document.querySelectorAll('#marks button')[1].focus()")
    mark = tab.do(FOCUS)[0]
    tab.key("u")
    assert tab.do(FOCUS)[0] == mark
    tab.resize(820, 900)
    tab.resize(1440, 1030)
    assert tab.do(FOCUS)[0] == mark
    tab.do("gradewright.page.view.a = 0; gradewright.move(gradewright.page.view.span * 0.95)")  # the page turns
    assert tab.do(FOCUS) in ([mark, ""], [None, "marks"])
    tab.key("d")
    assert tab.do(FOCUS) == [None, "marks"]


@pytest.mark.parametrize("size", [(1440, 1030), (390, 844)])
def test_what_is_opened_and_chosen_is_kept(opened, size: tuple[int, int]):
    """Law: an opened mark, and the way chosen beside its plan, stay in other units, and are there again when another
    train was taken in between; so are they when the page has turned away and back, with its stretch on Plan."""
    index, felt = crest_of()
    tab = opened(felt_page(), *size)
    tab.do(OPEN % index)
    other = (felt["first"] + 1) % (len(felt["ways"]) - 1)
    tab.do(f"document.querySelectorAll('.ways input')[{other}].click()")
    tab.do("document.querySelector('.felt details').open = true")
    tab.settled()
    expected = [str(index), other, "list deep", True]
    assert tab.do(OPENED) == expected
    tab.do("choose('units', 'metric')")
    assert tab.do(OPENED) == expected
    assert tab.do("return document.querySelector('.felt details').open")
    tab.do("choose('train', '1')")
    assert tab.do(OPENED)[0] is None
    assert tab.do(OPENED)[2] == "list"
    tab.do("choose('train', '0')")
    assert tab.do(OPENED) == expected
    tab.do("gradewright.page.view.span = 3000; gradewright.page.view.zoomed = true; gradewright.move(0)")
    tab.do(f"gradewright.move({felt['ways'] and 1} * gradewright.page.line.length)")
    assert tab.do(OPENED)[0] is None
    assert tab.do(OPENED)[3]
    tab.do(f"gradewright.move(gradewright.page.marks[{index}].at)")
    assert tab.do(OPENED) == expected
    tab.do(f"document.querySelector('#marks [data-mark=\"{index}\"]').focus()")
    tab.key("Enter")
    assert tab.do(OPENED)[::3] == [None, False]
    assert tab.do(FOCUS)[0] == str(index)


def test_a_way_that_has_the_focus_keeps_it(opened):
    """Law: while the reader compares ways of handling, a move of the train or other units take no focus from them."""
    index, _ = crest_of()
    tab = opened(felt_page(), 820, 900)
    tab.do(OPEN % index)
    tab.do("document.querySelectorAll('.ways input')[1].focus()")
    for act in ("choose('units', 'metric')", "document.querySelector('#layers input[name=slack]').click()"):
        tab.do(act)
        at = "[...document.querySelectorAll('.ways input')].indexOf(document.activeElement)"
        assert tab.do(f"return {at}") == 1


@pytest.mark.parametrize("size", [(820, 900), (390, 844), (320, 700)])
def test_nothing_jumps_at_the_end_of_the_page(opened, size: tuple[int, int]):
    """Law: at the end of the page, with a mark open, what makes the list anew leaves the scroll where it is."""
    index, _ = crest_of()
    tab = opened(felt_page(), *size)
    tab.do(OPEN % index)
    for name in ("slack", "curves"):
        tab.do("scrollTo(0, 1e6)")
        tab.settled()
        before = tab.do("return scrollY")
        tab.do(f"document.querySelector('#layers input[name={name}]').click()")
        tab.settled()
        assert tab.do("return scrollY") == before > 300


@pytest.mark.parametrize("size", [(820, 900), (390, 844), (320, 700)])
def test_nothing_that_is_gone_to_hides_under_the_strip(page: str, opened, size: tuple[int, int]):
    """Law: every button that Tab leads to, and the row of a chip that is pressed, stand clear of the pinned strip."""
    seen = """
    const a = document.activeElement.getBoundingClientRect();
    return [document.activeElement.dataset.mark, a.top >= 0 && a.bottom <= strip.getBoundingClientRect().top];
    """
    tab = opened(page, *size)
    tab.do("document.getElementById('marks').focus()")
    count = tab.do("return document.querySelectorAll('#marks button').length")
    for _ in range(count):
        tab.key("Tab")
        mark, clear = tab.do(seen)
        assert mark is not None
        assert clear, mark
    tab.do("scrollTo(0, 0)")
    marks = tab.do("return [...document.querySelectorAll('#section .chip')].map((e) => e.dataset.mark)")
    tab.hand(tab.centre(f"document.querySelector('#section .chip[data-mark=\"{marks[-1]}\"]')"))
    assert tab.do(seen) == [marks[-1], True]


@pytest.mark.parametrize("size", [(844, 390), (720, 515)])
def test_a_low_window_is_not_filled_by_the_strip(page: str, opened, size: tuple[int, int]):
    """Law: where the strip would leave too little for the rest it scrolls with it; upright it is pinned."""
    tab = opened(page, *size)
    assert tab.do("return getComputedStyle(strip).position") == "static"
    tab.resize(*size[::-1])
    assert tab.do("return getComputedStyle(strip).position") == "fixed"
    assert tab.do("return strip.offsetHeight") < 0.65 * size[0]


@pytest.mark.parametrize("size", [(1440, 1030), (820, 900), (390, 844), (320, 700)])
def test_what_may_be_shown_stands_within_the_window(page: str, opened, size: tuple[int, int]):
    """Law: the choice of what is shown makes no page wider than its window."""
    tab = opened(page, *size)
    tab.do("document.getElementById('layers').open = true")
    box = tab.do("const b = document.querySelector('#layers div').getBoundingClientRect(); return [b.left, b.right]")
    assert box[0] >= 0
    assert box[1] <= size[0]
    assert tab.do("return document.documentElement.scrollWidth <= innerWidth")


def test_a_post_that_is_not_there_is_told_and_forgotten(page: str, opened):
    """Law: a wrong post says so where it was typed and moves nothing; the next letter or move takes that away."""
    tab = opened(page)
    before = tab.do("return state().head")
    ask = "const post = document.getElementById('post'); post.focus(); post.value = '999'; post.form.requestSubmit();"
    state = "return [document.getElementById('no-post').innerText, post.getAttribute('aria-invalid'), post.value]"
    tab.do(ask)
    words, invalid, _ = tab.do(state)
    assert "no such post" in words
    assert invalid == "true"
    assert tab.do("return state().head") == before
    tab.key("4")
    assert tab.do(state)[:2] == ["", "false"]
    tab.do(ask)
    tab.do("slider.focus()")
    tab.key("ArrowRight")
    words, invalid, value = tab.do(state)
    assert (words, invalid) == ("", "false")
    assert value != "999"


def test_an_address_typed_into_an_open_page(page: str, opened):
    """Law: another address is followed without loading anew; words that name nothing choose nothing."""
    tab = opened(page, address="#to=toString&case=constructor&train=length&head=1e9&units=valueOf")
    chosen = (
        "const { page } = gradewright; return [page.chosen.train, page.chosen.direction, page.chosen.case, page.units]"
    )
    assert tab.do(chosen) == [0, "with", "plan", "us"]
    tab.do("location.hash = '#head=60.00&to=against&case=slower&units=metric'")
    tab.until("gradewright.page.units === 'metric'")
    assert tab.do(chosen) == [0, "against", "slower", "metric"]
    assert tab.do("return document.getElementById('post').value") == "60.00"


def test_another_train_leaves_no_mark_behind(opened):
    """Law: only a move into or out of a mark is spoken, not what another train or case would be in."""
    index, _ = crest_of()
    tab = opened(felt_page())
    tab.do(f"gradewright.move(gradewright.page.marks[{index}].at); told.textContent = ''")
    for choice in ("'train', '1'", "'train', '0'", "'units', 'metric'"):
        tab.do(f"choose({choice})")
        assert tab.do("return told.textContent") == ""
    tab.do("gradewright.move(gradewright.page.line.length)")
    assert tab.do("return told.textContent") != ""


def test_a_window_that_becomes_a_phone_and_a_desk_again(page: str, opened):
    """Law: what Section shows goes with the width until the reader has chosen it, and the key folds where it would
    cover Plan; a stretch chosen by hand stays."""
    span, folded = "return gradewright.page.view.span", "return !document.getElementById('key').open"
    wide, small = opened(page), opened(page, 390, 844)
    desk, phone = wide.do(span), small.do(span)
    wide.resize(390, 844)
    small.resize(1440, 1030)
    assert [wide.do(span), small.do(span)] == pytest.approx([phone, desk])
    assert [wide.do(folded), small.do(folded)] == [True, False]
    assert wide.do("return document.documentElement.scrollWidth <= innerWidth")
    wide.do("document.getElementById('slider').focus({ preventScroll: true })")
    wide.key("+")
    chosen = wide.do(span)
    wide.resize(1440, 1030)
    assert wide.do(span) == chosen != desk


def test_a_page_that_is_not_shown_at_first(page: str, browser: Browser, tmp_path: Path):
    """Law: in a frame that has no size while it loads everything has its full size once the frame is shown."""
    path = tmp_path / "frame.html"
    frame = f'<iframe id="f" style="display:none;width:1400px;height:1000px" srcdoc="{html.escape(page)}"></iframe>'
    path.write_text(f"<!doctype html><body>{frame}", encoding="utf-8")
    tab = browser.tab(path.as_uri())
    tab.do("globalThis.inner = document.getElementById('f').contentWindow; await until(() => inner.gradewright)")
    tab.do("document.getElementById('f').style.display = 'block'")
    tab.do("await until(() => inner.gradewright.page.width > 1000)")
    assert tab.do("return inner.gradewright.page.view.span") > 20_000
    tab.do("await until(() => inner.document.querySelector('#ground-plan .on-plan.under'))")
    tab.do("await until(() => inner.document.getElementById('key').open)")
    assert tab.complaints == []
    tab.close()


def test_wheel_and_two_fingers_on_plan(page: str, opened):
    """Law: a wheel that turns sideways brings Plan no nearer, upwards it does; two fingers that part bring it as much
    nearer as they part, about the place between them, and move no train."""
    tab = opened(page, 390, 844)
    size = (
        "const n = document.querySelector('#ground-plan image, #ground-plan .on-plan.under').getBBox(); return n.width"
    )
    head = tab.do("return state().head")
    x, y = tab.centre("document.getElementById('ground-plan')")
    before = tab.do(size)
    for dx, dy in ((100, 0), (0, -100)):
        tab._ask("Input.dispatchMouseEvent", type="mouseWheel", x=x, y=y + 60, deltaX=dx, deltaY=dy)
        tab.settled()
        if dx:
            assert tab.do(size) == before
    nearer = tab.do(size)
    assert nearer == pytest.approx(1.2 * before, rel=0.03)

    def fingers(kind: str, *apart: float) -> None:
        points = [{"x": x - 60 + side * far / 2, "y": y + 70, "id": side} for far in apart for side in (-1, 1)]
        tab._ask("Input.dispatchTouchEvent", type=kind, touchPoints=points)

    for kind, apart in (("touchStart", [60.0]), ("touchMove", [90.0]), ("touchMove", [120.0]), ("touchEnd", [])):
        fingers(kind, *apart)
    tab.settled()
    assert tab.do(size) == pytest.approx(2 * nearer, rel=0.03)
    assert tab.do("return state().head") == head


def test_a_drag_that_the_page_takes_for_a_scroll(page: str, opened):
    """Law: a finger that scrolls the page over Section leaves the train where it was."""
    tab = opened(page, 390, 844)
    head = tab.do("return state().head")
    tab.do(
        """
        const section = document.getElementById("section"), b = section.getBoundingClientRect();
        section.setPointerCapture = () => {};
        const at = { pointerId: 7, isPrimary: true, clientX: b.left + 300, clientY: b.top + 40, bubbles: true };
        section.dispatchEvent(new PointerEvent("pointerdown", at));
        globalThis.held = gradewright.page.head;
        section.dispatchEvent(new PointerEvent("pointercancel", at));
        """
    )
    assert tab.do("return held") != head
    assert tab.do("return state().head") == head


def test_the_address_goes_along_while_it_is_played(page: str, opened):
    """Law: the address has the place of the head while the train runs: a page loaded anew goes on from there."""
    tab = opened(page)
    tab.do("gradewright.move(20000)")
    tab.until("location.hash")
    before = tab.do("return location.hash")
    tab.do("document.getElementById('play').click()")
    tab.until(f"location.hash !== '{before}'")
    assert tab.do("return document.getElementById('play').textContent") == "Stop"
    tab.do("document.getElementById('play').click()")


@pytest.mark.parametrize("size", [(820, 900), (600, 900)])
def test_section_comes_nearer_without_keys(page: str, opened, size: tuple[int, int]):
    """Law: on a tablet too Section comes nearer by hand."""
    tab = opened(page, *size)
    span = tab.do("return gradewright.page.view.span")
    tab.hand(tab.centre("document.getElementById('nearer')"))
    assert tab.do("return gradewright.page.view.span") == pytest.approx(0.7 * span)


def test_played_again_from_the_end(page: str, opened):
    """Law: at the end of the line it plays from its start."""
    tab = opened(page)
    tab.do("gradewright.move(gradewright.page.line.length); document.getElementById('play').click()")
    tab.until("gradewright.page.head > 0 && gradewright.page.head < gradewright.page.line.length / 2")
    tab.do("slider.focus()")
    tab.key("d")
    assert tab.do("return document.getElementById('play').textContent") == "Play"


def test_on_paper(opened):
    """Law: on paper all is drawn at the paper's width, so that no letter is under the floor; train and plan are named,
    what is assumed is there; afterwards the page is as it was."""
    tab = opened(felt_page())
    index, _ = crest_of()
    tab.do(OPEN % index)
    tab.settled()
    state = """
    const width = (e) => [e.getBoundingClientRect().width, e.viewBox.baseVal.width];
    const pictures = ["section", "whole", "ground-plan", "couplers"].map((id) => width(document.getElementById(id)));
    return [...pictures, gradewright.page.view.span, notes.open, key.open];
    """
    before = tab.do(state)
    tab._ask("Emulation.setEmulatedMedia", media="print")
    tab.do("dispatchEvent(new Event('beforeprint'))")
    *pictures, span, notes, key = tab.do(state)
    for seen, drawn in pictures:
        assert seen == pytest.approx(drawn, rel=0.01)
        assert 600 < seen < 720
    assert (span, notes, key) == (before[-3], True, True)
    said = tab.do("return document.querySelector('header p').innerText")
    assert tab.do("return gradewright.page.train.name") in said
    assert "run as planned" in said
    tab._ask("Emulation.setEmulatedMedia", media="")
    tab.do("dispatchEvent(new Event('afterprint'))")
    tab.settled()
    assert tab.do(state) == before


def test_forced_colours(opened):
    """Law: where the system gives the colours, pictures keep their paper under their ink, and the chosen way of
    handling is told from the others."""
    index, _ = crest_of()
    tab = opened(felt_page())
    features = [{"name": "forced-colors", "value": "active"}, {"name": "prefers-color-scheme", "value": "dark"}]
    tab._ask("Emulation.setEmulatedMedia", media="", features=features)
    tab.do(OPEN % index)
    style = "getComputedStyle(document.querySelector('%s')).%s"
    for picture in ("#section", "#whole", "#couplers", "#marks svg", ".felt svg"):
        assert tab.do("return " + style % (picture, "backgroundColor")) == "rgb(255, 255, 255)"
    assert tab.do("return " + style % ("#section .row", "fill")) == "rgb(30, 35, 41)"
    chosen, other = (
        tab.do("return " + style % (f".ways input{which} + span", "backgroundColor")) for which in (":checked", "")
    )
    if tab.do("return document.querySelector('.ways input').checked"):
        other = tab.do("return " + style % (".ways label:last-child span", "backgroundColor"))
    assert chosen != other


def test_no_power_in_notch_nought(page: str, opened):
    """Law: between a place in power and one at idle the plan tells the force, and no notch that has none."""
    tab = opened(page)
    told = tab.do(
        "const told = new Set(); for (let x = 0; x < gradewright.page.line.length; x += 30) {"
        "gradewright.move(x); told.add(document.querySelector('.by-plan').textContent); } return [...told]"
    )
    assert any("notch 8" in one for one in told)
    assert any("power" in one for one in told)
    assert not [one for one in told if "notch 0" in one]


@pytest.mark.parametrize("size", [(390, 844), (320, 700)])
def test_fingers_find_everything(page: str, opened, size: tuple[int, int]):
    """Law of the look: where a finger points, whatever is pressed is 44 px or more in height and width."""
    tab = opened(page, *size)
    tab._ask("Emulation.setTouchEmulationEnabled", enabled=True, maxTouchPoints=5)
    tab.until("matchMedia('(pointer: coarse)').matches")
    tab.do("document.getElementById('layers').open = true")
    small = tab.do(
        """
        const every = [...document.querySelectorAll("button, select, #post, summary, #layers label")];
        const small = (b) => b.width < 44 || b.height < 44, seen = every.filter((e) => e.getClientRects().length);
        return seen.filter((e) => small(e.getBoundingClientRect())).map((e) => e.outerHTML.slice(0, 60));
        """
    )
    assert small == []
