"""How handling as planned and suddenly is drawn side by side."""

from __future__ import annotations

import dataclasses
import itertools
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from profiler.briefing.felt_words import WAYS, feels, handled, peak_words, places
from profiler.briefing.plan import Briefing
from profiler.briefing.sudden import with_felt
from profiler.present.felt_chart import MOST, compose_felt, draw_felt, largest_places
from profiler.present.ink import Areas
from profiler.present.palette import INK
from profiler.present.sheet import Sheet
from profiler.present.train_chart import compose_train_chart
from profiler.present.train_rows import felt_as_planned
from profiler.present.typeface import text_box
from tests.briefed import briefed


@cache
def felt_by(name: str, units: str) -> Briefing:
    return with_felt(briefed(name, units=units))


@cache
def composed(name: str, units: str) -> tuple[Sheet, str, tuple[str, ...]]:
    return compose_felt(felt_by(name, units))


def test_the_same_briefing_gives_the_same_bytes(tmp_path: Path):
    """Law: drawn twice, both files are equal."""
    for name in ("first", "second"):
        draw_felt(felt_by("b", "us"), svg=tmp_path / f"{name}.svg", png=tmp_path / f"{name}.png")
    for kind in ("svg", "png"):
        assert (tmp_path / f"first.{kind}").read_bytes() == (tmp_path / f"second.{kind}").read_bytes()


@pytest.mark.parametrize(("name", "units"), [("a", "us"), ("b", "us"), ("f", "metric")])
def test_no_two_words_meet(name: str, units: str):
    """Law: every word lies on the sheet, no two boxes meet, and no peak goes without its name."""
    sheet, _, dropped = composed(name, units)
    boxes = [text_box(words.text, words.style, words.left, words.y) for words in sheet.words]
    assert not [pair for pair in itertools.combinations(boxes, 2) if pair[0].meets(pair[1])]
    assert all(box.left > 0 and box.right < sheet.width and box.bottom > 0 for box in boxes)
    assert dropped == ()


@pytest.mark.parametrize("name", ["a", "b"])
def test_places_stand_as_planned_and_in_their_worst_way(name: str):
    """Law: a pair is of one kind of place, no sudden way at it is felt more, and its words are on the sheet."""
    briefing = felt_by(name, "us")
    pairs = largest_places(briefing)
    assert 0 < len(pairs) <= MOST
    sheet, said, _ = composed(name, "us")
    said = said.replace("\N{NO-BREAK SPACE}", " ")
    for pair in pairs:
        plan, sudden = (one.shown for one in pair)
        assert plan.event.way == "planned" != sudden.event.way
        assert {plan.event.kind, sudden.event.kind} in ({"crest"}, {"start"}, {"release"}, {"release", "air_step"})
        same = [
            one
            for one in handled(briefing.felt)
            if (one.shown.event.kind, one.shown.event.place) == (sudden.event.kind, sudden.event.place)
            and one.shown.event.way != "planned"
        ]
        assert pair[1].severity == max(one.severity for one in same)
        assert feels(briefing, pair[1]) in said
        on_sheet = " ".join(words.text for words in sheet.words)
        assert WAYS[sudden.event.way].split(",")[0].split(" ")[0] in on_sheet
        assert peak_words(briefing, "push", sudden.forces.buff, sudden.buff_limit) in on_sheet


def test_both_panels_have_one_scale():
    """Law: solid shapes under the zero lines are as deep as their pushes, by one scale for the whole sheet."""
    briefing = felt_by("b", "us")
    sheet, _, _ = composed("b", "us")
    solid = [s for a in sheet.drawn if isinstance(a, Areas) and a.fills == (INK,) and a.edge == INK for s in a.shapes]
    deep = sorted((float(np.ptp(shape[:, 1])) for shape in solid), reverse=True)
    pushes = []
    for pair in largest_places(briefing):
        for one in (each.shown for each in pair):
            on = one.forces.time >= one.forces.time[np.argmax(one.forces.head >= one.event.place)] - 10
            pushes.append(-min(float(one.forces.force[on].min()), 0.0))
    pushes.sort(reverse=True)
    assert deep[0] / deep[1] == pytest.approx(pushes[0] / pushes[1], rel=0.02)


def test_without_sudden_ways_nothing_stands_side_by_side():
    """Law: events as planned alone make no pair, nor does a briefing in which nothing is followed."""
    briefing = felt_by("b", "us")
    planned = tuple(one for one in briefing.felt if one.event.way == "planned")
    alone = places(planned)
    assert [one.planned.shown.event.way for one in alone] == ["planned"] * (len(planned) // 3)
    assert {(one.others, one.worst) for one in alone} == {((), None)}
    assert largest_places(dataclasses.replace(briefing, felt=())) == []


def test_the_couplers_row_marks_what_is_felt_as_planned():
    """Law: a peak for every pull and push of a planned event, none suddenly; nothing where nothing is followed."""
    briefing = felt_by("b", "us")
    usual = [one.forces for one in briefing.felt if one.wear == "usual" and one.event.way == "planned"]
    peaks = [(most.force, push) for one in usual for most, push in ((one.draft, False), (one.buff, True))]
    assert [(most.force, push) for most, push in felt_as_planned(briefing)] == [peak for peak in peaks if peak[0] > 0]
    words = " ".join(item.text for item in compose_train_chart(briefing).sheet.words)
    assert "felt at a marked place" in words
    assert felt_as_planned(dataclasses.replace(briefing, felt=())) == []
