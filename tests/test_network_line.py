"""One line of a network."""

from __future__ import annotations

import dataclasses

import numpy as np

from profiler.network_line import NetworkLine
from tests.invented import invented_landmarks, invented_profile

LINE = NetworkLine.of("a", invented_profile(), invented_landmarks())


def test_figures_are_the_greatest_of_their_kind():
    """Law: nothing among the landmarks goes beyond what stands in the row; the ruling grade is that of the longest
    train."""
    items = invented_landmarks().items
    sustained = [x.value for x in items if x.kind == "sustained_grade"]
    curves = [abs(x.value) for x in items if x.kind == "sharpest_curve"]
    assert (LINE.sustained.value if LINE.sustained else None) == max(sustained, default=None)
    assert (abs(LINE.sharpest.value) if LINE.sharpest else None) == max(curves, default=None)
    for direction in ("with", "against"):
        lengths = [x.train_length for x in items if x.kind == "ruling_grade" and x.direction == direction]
        found = LINE.ruling(direction)
        assert (found.train_length if found else None) == max((x for x in lengths if x), default=None)


def test_the_summit_is_a_crest_and_the_highest_place_may_be_an_end():
    """Worked: a line that only rises has its highest place at its end, 50 km, and crests are as before."""
    rising = dataclasses.replace(LINE, elevation=LINE.chainage / 100, landmarks=())
    assert rising.highest == LINE.chainage[-1] == 50_000
    assert rising.summit is None
    assert LINE.summit is not None
    assert LINE.summit.kind == "crest"


def test_a_line_without_names_is_called_by_its_posts():
    """Worked: the invented line has mile posts from 38; it is 50 km long."""
    nameless = dataclasses.replace(LINE, name="", ends=("", ""))
    first, last = nameless.title.split(" to ")
    assert first == "mi 38.0"
    assert last == f"mi {float(LINE.posts.at(50_000)):.1f}"


def test_a_track_begins_between_the_meridians():
    """Worked: 200° is −160°, and what comes after goes on from there; a line on no map has no track."""
    turned = dataclasses.replace(LINE, longitude=LINE.longitude - LINE.longitude[0] + 200)
    assert np.allclose(turned.track[0] - turned.track[0][0], LINE.longitude - LINE.longitude[0])
    assert turned.track[0][0] == -160
    assert dataclasses.replace(LINE, longitude=LINE.longitude * np.nan).track[0].size == 0
