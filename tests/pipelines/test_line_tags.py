"""Speeds, posts and names of OpenStreetMap's tags."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipelines.lines.line_tags import (
    Post,
    Speed,
    agreeing_posts,
    commonest,
    limit_of,
    limits_along,
    plain,
    post_of,
    slug_of,
    speed_of,
    turned,
    unique,
)


@pytest.mark.parametrize(
    ("value", "speed"),
    [
        ("160", Speed(160, "km/h")),
        ("60 mph", Speed(60, "mph")),
        ("60mph", Speed(60, "mph")),
        ("80 km/h", Speed(80, "km/h")),
        ("none", None),
        ("signals", None),
        ("80;100", None),
        ("RO:urban", None),
        ("0", None),
        ("900", None),
        ("-5", None),
        ("", None),
    ],
)
def test_speeds(value: str, speed: Speed | None):
    """Outside: OpenStreetMap wiki, Key:maxspeed (from memory): km/h without a unit, mph where it is written, and
    values that are words."""
    assert speed_of(value) == speed


def test_limits_by_direction():
    """Law: of two directions the lower counts, in whatever units; what is no speed, or not of all trains at all
    times, is told."""
    assert limit_of({"maxspeed": "100"}) == (Speed(100, "km/h"), (), False)
    assert limit_of({"maxspeed:forward": "60 mph", "maxspeed:backward": "90"}) == (Speed(90, "km/h"), (), True)
    assert limit_of({"maxspeed": "100", "maxspeed:backward": "80"}) == (Speed(80, "km/h"), (), True)
    assert limit_of({"maxspeed": "signals", "maxspeed:forward": "70"}) == (Speed(70, "km/h"), ("signals",), False)
    assert limit_of({"maxspeed": "none"}) == (None, ("none",), False)
    assert limit_of({}) == (None, (), False)
    some = {"maxspeed:freight": "60", "maxspeed:backward:conditional": "50 @ wet", "maxspeed:type": "sign"}
    told = ("maxspeed:backward:conditional=50 @ wet", "maxspeed:freight=60")
    assert limit_of({"maxspeed": "100", **some}) == (Speed(100, "km/h"), told, False)


def test_a_way_run_against_its_drawing():
    """Law: forward is backward then, and turned twice all is as before."""
    tags = {"maxspeed:forward": "100", "maxspeed:backward:conditional": "80 @ wet", "ref": "71"}
    assert turned(tags) == {"maxspeed:backward": "100", "maxspeed:forward:conditional": "80 @ wet", "ref": "71"}
    assert turned(turned(tags)) == tags


def test_stretches_of_one_limit():
    """Worked: three pieces of 100 are one stretch; 5 m of 40 are of the piece before; no limit leaves a gap."""
    fast, slow = Speed(100, "km/h"), Speed(40, "km/h")
    found = limits_along([500, 900, 905, 1500, 2000, 2600], [fast, fast, slow, fast, None, slow])
    assert found == [(0.0, 1500, fast), (2000, 2600, slow)]


@pytest.mark.parametrize(
    ("tags", "post"),
    [
        ({"railway:position": "12.4"}, Post(12.4, "km")),
        ({"railway:position": "12,4"}, Post(12.4, "km")),
        ({"railway:position": "12.4", "railway:position:exact": "12.398"}, Post(12.398, "km")),
        ({"railway:position": "mi:7.25"}, Post(7.25, "mi")),
        ({"railway:position": "mi: 7.25"}, Post(7.25, "mi")),
        ({"railway:position": "7.25 mi"}, Post(7.25, "mi")),
        ({"railway:position": "133+100"}, Post(133.1, "km")),
        ({"railway:position": "-0.2"}, Post(-0.2, "km")),
        ({"railway:position": "1.2;3.4"}, None),
        ({"railway:position": "mi:7 km"}, None),
        ({"railway:position": "-3+100"}, None),
        ({"railway:position": "old wall"}, None),
        ({}, None),
    ],
)
def test_posts(tags: dict[str, str], post: Post | None):
    """Outside: OpenStreetMap wiki, Key:railway:position (from memory): kilometres, miles after mi:, the exact
    position beside the one shown."""
    read = post_of(tags)
    assert (read and read.unit) == (post and post.unit)
    if post is not None and read is not None:
        assert read.value == pytest.approx(post.value)


def test_posts_that_disagree():
    """Law: the most that agree are taken, falling posts too; one alone says nothing."""
    along = [0.0, 1000, 2000, 3000, 4000]
    assert agreeing_posts(along, [10_000, 11_040, 3_000, 13_000, 13_960]) == [0, 1, 3, 4]
    assert agreeing_posts(along, [14_000, 13_000, 12_000, 11_000, 10_000]) == [0, 1, 2, 3, 4]
    assert agreeing_posts([5.0], [1000.0]) == []
    assert agreeing_posts([], []) == []
    assert agreeing_posts([0.0, 1000.0], [0.0, 9000.0]) == []
    assert agreeing_posts([0.0, 0.5, 1000.0], [0.0, 0.0, 1000.0]) in ([0, 2], [1, 2])


NAMES = [
    "../../etc/passwd",
    "C:\\evil",
    "a\x00b",
    "CON",
    "nul",
    "🚂🚃",
    "שדה",
    "ß" * 400,
    "..",
    ".",
    " ",
    "-rf",
    "Ärö/Øst",
]


@pytest.mark.parametrize("name", NAMES)
def test_slugs_are_safe(name: str):
    """Law: small letters, digits and single hyphens, short, and no device of Windows."""
    check_slug(slug_of(name, "way 12"))


@given(st.text(max_size=200))
def test_any_slug_is_safe(name: str):
    """Law: the same for any text."""
    check_slug(slug_of(name, "way 12"))
    check_slug(slug_of(name, name))


def check_slug(slug: str) -> None:
    assert 0 < len(slug) <= 90
    assert set(slug) <= set(string.ascii_lowercase + string.digits + "-")
    assert slug[0] != "-" != slug[-1]
    assert slug not in {"con", "prn", "aux", "nul", *(f"{d}{i}" for d in ("com", "lpt") for i in range(10))}


def test_names_on_one_line():
    """Law: no control and no direction mark, no line break, at most 120 characters."""
    assert plain("a\x00b\nc\u202ed \u200f") == "ab cd"
    assert len(plain("x" * 500)) == 120


def test_equal_names_are_numbered():
    """Law: unique without regard to case, also where a numbered name is there already."""
    assert unique(["A", "a", "A 2", "B"], " ") == ["A", "a 2", "A 2 2", "B"]


def test_commonest_by_length():
    """Law: over the greatest length; what is not stated does not count; of equals the first in order."""
    assert commonest(["71", "72", "72", ""], [100, 60, 50, 900]) == "72"
    assert commonest(["b", "a"], [10, 10]) == "a"
    assert commonest(["", ""], [1, 2]) == ""
