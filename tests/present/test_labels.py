"""The rule that labels never overlap, as pure geometry."""

from __future__ import annotations

import itertools

from hypothesis import given, settings
from hypothesis import strategies as st

from profiler.present.labels import PAD, Box, Candidate, Label, Room, place

PAPER = Box(0, 0, 400, 100)


def words(x: float, y: float, width: float = 40, stem: Box | None = None, over: str = "") -> Candidate:
    """A candidate 8 high with its lower left corner at (x, y)."""
    owners = frozenset(filter(None, [over]))
    return Candidate("plain", "words", x, y, "left", Box(x, y, x + width, y + 8), stem, owners)


def test_boxes_that_touch_do_not_meet():
    """Worked: two unit squares side by side share an edge but no area."""
    assert not Box(0, 0, 1, 1).meets(Box(1, 0, 2, 1))
    assert Box(0, 0, 1.01, 1).meets(Box(1, 0, 2, 1))


def test_first_free_candidate_is_taken():
    """Worked: the first place is taken by the more important label, the second is free."""
    labels = [
        Label("late", 2, (words(10, 10), words(10, 50))),
        Label("early", 1, (words(20, 12),)),
    ]
    placed, dropped = place(labels, Room(PAPER))
    assert [(label.name, chosen.y) for label, chosen in placed] == [("early", 12), ("late", 50)]
    assert dropped == ()


def test_what_finds_no_room_is_dropped_and_listed():
    """Worked: both want the same place and have no other; the lower rank number keeps it."""
    labels = [Label("b", 2, (words(10, 10),)), Label("a", 1, (words(10, 10),))]
    placed, dropped = place(labels, Room(PAPER))
    assert [label.name for label, _ in placed] == ["a"]
    assert dropped == ("b",)


def test_labels_keep_their_distance():
    """Law: boxes stay PAD apart: a hair closer is refused, a hair farther accepted."""
    for gap, expected in ((PAD - 0.01, 1), (PAD + 0.01, 2)):
        labels = [Label("a", 1, (words(0, 10),)), Label("b", 2, (words(40 + gap, 10),))]
        assert len(place(labels, Room(PAPER))[0]) == expected


def test_no_stem_crosses_a_name():
    """Worked: a stem at x = 30 runs from y = 10 to 60 through a name at 10…50, 30…38."""
    name = Label("name", 1, (words(10, 30),))
    stem = Box(29.5, 10, 30.5, 60)
    other = Label("other", 2, (words(20, 62, stem=stem),))
    assert place([name, other], Room(PAPER))[1] == ("other",)
    assert place([other, Label("late", 3, (words(10, 30),))], Room(PAPER))[1] == ("late",)


def test_words_may_lie_over_what_is_theirs():
    """Worked: a block is taken by its owner; only the owner's figure goes inside."""
    room = Room(PAPER)
    room.take(Box(0, 0, 100, 60), "block")
    labels = [Label("own", 1, (words(10, 20, over="block"),)), Label("foreign", 2, (words(60, 20),))]
    placed, dropped = place(labels, room)
    assert [label.name for label, _ in placed] == ["own"]
    assert dropped == ("foreign",)


def test_nothing_is_set_outside_the_paper():
    """Worked: a label that sticks out by one point is not placed; one that touches the edge is."""
    labels = [Label("out", 1, (words(361, 10),)), Label("edge", 2, (words(360, 40),))]
    assert place(labels, Room(PAPER))[1] == ("out",)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(-20, 420), st.floats(-5, 100), st.floats(1, 150)), max_size=60))
def test_no_two_placed_labels_ever_meet(spots):
    """Law: whatever is asked for, placed labels stand apart and inside, and nobody is forgotten."""
    labels = [
        Label(str(i), i % 3, (words(x, y, width), words(x, y - 10, width))) for i, (x, y, width) in enumerate(spots)
    ]
    placed, dropped = place(labels, Room(PAPER))
    boxes = [chosen.box for _, chosen in placed]
    assert not any(a.meets(b) for a, b in itertools.combinations(boxes, 2))
    assert all(box.within(PAPER) for box in boxes)
    assert sorted([*dropped, *(label.name for label, _ in placed)]) == sorted(x.name for x in labels)
