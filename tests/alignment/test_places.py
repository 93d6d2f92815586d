"""Places and structures on a line, also where it crosses itself."""

from __future__ import annotations

import dataclasses
import functools
import re

import numpy as np
import pytest
from pyproj import Geod

from profiler.alignment.places import (
    LineIndex,
    chainage_of_post,
    merged_structures,
    place_on_line,
    structure_by_geometry,
    structures_from_lines,
    structures_from_tags,
)
from profiler.alignment.spans import PieceSpan
from profiler.centreline import Piece
from profiler.errors import InputError, RouteError
from profiler.route import Posts, Structure
from profiler.units import KILOMETRE

GEOD = Geod(ellps="WGS84")


def degrees(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places x east and y north [m] of a point next to the antimeridian."""
    x, y = np.atleast_1d(np.asarray(x, float)), np.atleast_1d(np.asarray(y, float))
    start = np.full(x.size, 179.99), np.full(x.size, -41.0)
    lon, lat, _ = GEOD.fwd(*start, np.degrees(np.arctan2(x, y)), np.hypot(x, y))
    return lon, lat


def straight(step: float = 10.0) -> LineIndex:
    s = np.arange(0, 10_001, step)
    return LineIndex(s, *degrees(s, 0 * s))


def helix() -> tuple[LineIndex, np.ndarray, np.ndarray]:
    """A line that comes from the west, turns once around on 300 m and leaves to the east over itself."""
    s = np.arange(0, 2000 + 2 * np.pi * 300 + 2000, 10.0)
    angle = np.clip((s - 2000) / 300, 0, 2 * np.pi)
    x = np.minimum(s, 2000) + 300 * np.sin(angle) + np.maximum(s - 2000 - 2 * np.pi * 300, 0)
    y = 300 * (1 - np.cos(angle))
    return LineIndex(s, *degrees(x, y)), x, y


def test_the_nearest_place():
    """Worked: 37 m aside of 1,234 m; beyond the end the end itself."""
    index = straight(100.0)
    lon, lat = degrees(1234, 37)
    at, off = index.nearest(lon[0], lat[0])
    assert (at, off) == (pytest.approx(1234, abs=0.05), pytest.approx(37, abs=0.05))
    lon, lat = degrees(10_300, 400)
    assert index.nearest(lon[0], lat[0]) == (10_000, pytest.approx(500, abs=0.1))


def test_every_passage_of_a_helix():
    """Worked: at the place where the line crosses itself it passes twice, at 2,000 m and a circle later."""
    index, _, _ = helix()
    lon, lat = degrees(2000, 0)
    found = index.candidates(lon[0], lat[0], 100.0)
    assert [at for at, _ in found] == pytest.approx([2000, 2000 + 600 * np.pi], abs=1)
    lon, lat = degrees(2000, 600)
    ((at, off),) = index.candidates(lon[0], lat[0], 100.0)
    assert at == pytest.approx(2000 + 300 * np.pi, abs=1)
    assert off < 1


def test_a_tunnel_in_the_helix_takes_the_right_passage():
    """Law: a tunnel drawn around the whole circle, from 50 m before the crossing to 50 m after it, is
    as long as its drawing, not the 100 m straight on; and one of 100 m straight on is not the circle."""
    index, x, y = helix()
    s = index.chainage
    inside = (s >= 1950) & (s <= 2050 + 600 * np.pi)
    start, end = structure_by_geometry(index, *degrees(x[inside], y[inside]))
    assert (start, end) == (pytest.approx(1950, abs=5), pytest.approx(2050 + 600 * np.pi, abs=10))
    start, end = structure_by_geometry(index, *degrees(x[inside][::-1], y[inside][::-1]))
    assert start < end
    assert end - start == pytest.approx(100 + 600 * np.pi, abs=15)
    short = (s >= 1900) & (s <= 1990)
    assert structure_by_geometry(index, *degrees(x[short], y[short])) == pytest.approx((1900, 1990), abs=5)


@pytest.mark.parametrize("step", [5.0, 10.0, 100.0])
def test_short_and_long_structures(step: float):
    """Law: a structure drawn 8 m beside the line comes to lie where it is drawn, whatever the step."""
    index = straight(step)
    for start, end in ((1203.0, 1225.0), (3333.0, 3690.0), (4000.0, 8500.0)):
        lon, lat = degrees(np.array([start, end]), np.array([8.0, 8.0]))
        assert structure_by_geometry(index, lon, lat) == pytest.approx((start, end), abs=0.5)


@pytest.mark.parametrize("half", [10.0, 30.0, 60.0, 95.0])
def test_what_crosses_the_line_is_no_part_of_it(half: float):
    """Law: the bridge of a road or of another line across this one is not a structure of it."""
    lon, lat = degrees(np.array([5000.0, 5000.0]), np.array([-half, half]))
    assert structure_by_geometry(straight(), lon, lat) is None


def test_what_lies_elsewhere():
    """Law: 150 m aside, or with one end only on the line, it is not on it."""
    for x, y in (([3000, 4000], [150, 150]), ([3000, 3700], [0, 700]), ([9800, 11_000], [0, 0])):
        assert structure_by_geometry(straight(), *degrees(np.array(x), np.array(y))) is None


def from_lines(pieces, posts: Posts, **more):
    settings = {"name_field": "name", "start_field": "pk", "length_field": "m", "end_field": None}
    settings |= {"kind": "tunnel", "post_unit_m": KILOMETRE, "source": "tunnels.geojson"} | more
    return structures_from_lines(pieces, straight(), posts, **settings)


POSTS = Posts(np.array([0.0]), np.array([20.0]), "km")


def drawn(start: float, end: float, aside: float = 0.0, row: int = 1, **attributes: object):
    return (*degrees(np.array([start, end]), np.array([aside, aside])), attributes, row)


def test_structures_of_a_file():
    """Law: by the drawing first, by posts where it is drawn elsewhere, and a conflict is said."""
    pieces = [
        drawn(6000, 6500, name="Ridge Tunnel", pk=26.4, m=500),  # drawn 400 m before its post
        drawn(1000, 1300, 5000, name="Hidden Tunnel", pk=22.0, m=300),
        drawn(3000, 3200, 5000, name="Elsewhere", pk=99.0, m=200),
        drawn(8000, 8100, row=4, pk=28.02, m=100),
    ]
    found, said = from_lines(pieces, POSTS)
    assert [(s.name, round(s.start), round(s.end)) for s in found] == [
        ("Hidden Tunnel", 2000, 2300),
        ("Ridge Tunnel", 6000, 6500),
        ("", 8000, 8100),
    ]
    assert said == ("tunnels.geojson: tunnel Ridge Tunnel is drawn 400 m away from its post: the drawing counts",)
    by_end, _ = from_lines([drawn(0, 10, 5000, pk=22.0, pkf=22.4)], POSTS, length_field=None, end_field="pkf")
    assert (by_end[0].start, by_end[0].end) == (pytest.approx(2000), pytest.approx(2400))


def test_structures_on_falling_posts():
    """Worked: posts fall from 30: a tunnel at 28.0, 300 m long with the posts, lies from 1,700 to 2,000 m."""
    falling = Posts(np.array([0.0, 10_000.0]), np.array([30.0, 20.0]), "km")
    (found,), _ = from_lines([drawn(0, 10, 5000, pk=28.0, m=300)], falling)
    assert (found.start, found.end) == (pytest.approx(1700), pytest.approx(2000))


@pytest.mark.parametrize(
    ("attributes", "words"),
    [
        ({"pk": "Farrow", "m": 5}, r"tunnels.geojson, row 3, field pk: 'Farrow' is no post"),
        ({"pk": 22.0, "m": "long"}, r"tunnels.geojson, row 3, field m: 'long' is no length in metres"),
        ({"pk": 22.0, "m": -4}, r"field m: -4 is no length"),
    ],
)
def test_rubbish_in_a_structure(attributes: dict[str, object], words: str):
    """Law: bad figures are refused with file, row and field."""
    with pytest.raises(InputError, match=words):
        from_lines([drawn(0, 10, 5000, row=3, **attributes)], POSTS)


def test_tags_of_the_pieces():
    """Law: neighbours of one kind and name are one structure; "no" and culverts are none."""

    def span(start: float, end: float, **attributes: object) -> PieceSpan:
        return PieceSpan(Piece(np.zeros(2), np.zeros(2), attributes), start, end, 0, 1)

    found = structures_from_tags(
        [
            span(0, 100, tunnel="no", bridge="no"),
            span(100, 400, tunnel="yes", **{"tunnel:name": "Ridge"}),
            span(400, 700, tunnel="yes", **{"tunnel:name": "Ridge"}),
            span(700, 800, bridge="viaduct", name="Sallow"),
            span(800, 820, tunnel="culvert"),
        ]
    )
    assert found == (Structure("tunnel", 100, 700, "Ridge", "tags"), Structure("bridge", 700, 800, "Sallow", "tags"))


def test_told_twice_is_one():
    """Law: a tunnel of the tags and of a file is one, with the name and the widest extent; a bridge that
    lies between them in the list, or in the tunnel, stays its own; neighbours stay two."""
    tags, file = Structure("tunnel", 1000, 2000, "", "tags"), Structure("tunnel", 1015, 2030, "Ridge", "file")
    bridge, second = Structure("bridge", 1005, 1012, "", "tags"), Structure("tunnel", 2040, 2500, "Second", "file")
    assert merged_structures([second, file, bridge, tags]) == (
        Structure("tunnel", 1000, 2030, "Ridge", "file"),
        bridge,
        second,
    )


def test_a_post_off_the_line():
    """Law: the refusal names both ends of the line by their posts, as the territory writes them, and their names."""
    for posts, ends, words in (
        (POSTS, ("", ""), "post km 54.3 lies outside the line, which runs from km 20.00 to 30.00"),
        (
            POSTS,
            ("Farrow", "Quay"),
            "post km 54.3 lies outside the line, which runs from km 20.00 (Farrow) to 30.00 (Quay)",
        ),
        (
            dataclasses.replace(POSTS, prefix="", plus=True),
            ("", "Quay"),
            "post km 54+300 lies outside the line, which runs from km 20+000 to 30+000 (Quay)",
        ),
    ):
        with pytest.raises(InputError, match=re.escape(f"stops[1]: {words}; correct the post")):
            chainage_of_post(posts, 54.3, 10_000, "stops[1]", ends)
    assert chainage_of_post(POSTS, 30.0005, 10_000, "x") == 10_000


LONG_MILE = Posts(np.array([0.0, 5200.0, 5200.0]), np.array([20.0, 25.2, 25.0]), "km")


def test_a_post_that_stands_twice():
    """Worked: 25.1 stands 100 m before the equation 25.2 = 25.0 at 5,200 m, and 100 m beyond it."""
    words = (
        "x: post km 25.1 stands twice on the line, at chainage_m 5100 and 5300, "
        "on both sides of km 25.20 = km 25.00; give chainage_m instead"
    )
    with pytest.raises(InputError, match=re.escape(words)):
        chainage_of_post(LONG_MILE, 25.1, 10_000, "x")
    thrice = Posts(np.array([0.0, 2000, 2000, 4000, 4000]), np.array([10.0, 12, 10, 12, 10]))
    words = (
        "stands 3 times on the line, at chainage_m 1500 and 3500 and 5500, "
        "on both sides of km 12.00 = km 10.00 and km 12.00 = km 10.00"
    )
    with pytest.raises(InputError, match=re.escape(words)):
        chainage_of_post(thrice, 11.5, 10_000, "x")
    assert chainage_of_post(thrice, 11.5, 3000, "x") == 1500


def test_a_structure_whose_post_stands_twice():
    """Law: its drawing tells which of the two is meant; without one on the line it is refused like any post.

    Worked: 25.1 is 5,100 m and 5,300 m; drawn from 5,300 to 5,500 m it is the second, and nothing is said.
    """
    index = straight()
    fields = {"name_field": "n", "start_field": "p", "length_field": "l", "end_field": None, "post_unit_m": 1000.0}
    read = functools.partial(structures_from_lines, kind="tunnel", source="t.geojson", **fields)
    tags = {"n": "Ridge", "p": 25.1, "l": 200.0}
    found, said = read([(*degrees([5300, 5500], [0, 0]), tags, 1)], index, LONG_MILE)
    assert [(round(s.start), round(s.end)) for s in found] == [(5300, 5500)]
    assert said == ()
    words = r"t.geojson, row 1, field p: post km 25\.1 stands twice.*; draw it within 100 m of the line"
    with pytest.raises(InputError, match=words):
        read([(*degrees([5300, 5500], [900, 900]), tags, 1)], index, LONG_MILE)


def test_places_given_in_three_ways():
    """Worked: post 23.5, coordinates beside 3,500 m and chainage 3,500 m are one place; off the line is refused."""
    index = straight()
    lon, lat = degrees(3500, 200)
    ways = ({"post": 23.5}, {"longitude": lon[0], "latitude": lat[0]}, {"chainage": 3500.0})
    empty = {"post": None, "longitude": None, "latitude": None, "chainage": None, "source": "x"}
    for way in ways:
        assert place_on_line(index, POSTS, **(empty | way)) == pytest.approx(3500, abs=0.1)
    with pytest.raises(InputError, match="chainage 12000 m is not on the line; the line is 10000 m long"):
        place_on_line(index, POSTS, **(empty | {"chainage": 12_000.0}))
    lon, lat = degrees(3500, 2300)
    with pytest.raises(RouteError, match=r"is 2\.3 km from the line"):
        place_on_line(index, POSTS, **(empty | {"longitude": lon[0], "latitude": lat[0]}))
