"""Pieces in any order and direction make the one line they were cut from."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from profiler.alignment.join import join
from profiler.centreline import Centreline, Piece
from profiler.errors import RouteError

GEOD = Geod(ellps="WGS84")
WEST, SOUTH = -31.40, -38.10
EAST_DEGREE = 111_320 * np.cos(np.radians(SOUTH))
NORTH_DEGREE = 110_990.0


def piece(*metres: tuple[float, float], **attributes: object) -> Piece:
    """A piece through (east, north) [m] of a corner of the South Atlantic."""
    east, north = np.array(metres, dtype=float).T
    return Piece(WEST + east / EAST_DEGREE, SOUTH + north / NORTH_DEGREE, attributes)


def place(east: float, north: float) -> tuple[float, float]:
    return WEST + east / EAST_DEGREE, SOUTH + north / NORTH_DEGREE


def metres(joined) -> np.ndarray:
    return np.column_stack(((joined.longitude - WEST) * EAST_DEGREE, (joined.latitude - SOUTH) * NORTH_DEGREE))


def joined_line(*pieces: Piece, **options):
    return join(Centreline("line.geojson", tuple(pieces), "EPSG:4326"), **options)


def straight(a: float, b: float, north: float = 0.0, step: float = 100.0, **attributes: object) -> Piece:
    count = max(round(abs(b - a) / step), 1) + 1
    return piece(*((x, north) for x in np.linspace(a, b, count)), **attributes)


def assert_runs(joined, *corners: tuple[float, float]):
    np.testing.assert_allclose(metres(joined), corners, atol=0.01)


def refused(*pieces: Piece, words: tuple[str, ...], **options):
    with pytest.raises(RouteError) as caught:
        joined_line(*pieces, **options)
    for word in words:
        assert word in str(caught.value), str(caught.value)


def words_of(east: float, north: float) -> str:
    longitude, latitude = place(east, north)
    return f"{longitude:.5f}, {latitude:.5f}"


WANDER = st.lists(st.floats(-0.4, 0.4), min_size=6, max_size=40)


@settings(max_examples=60, deadline=None)
@given(turns=WANDER, data=st.data(), gap=st.sampled_from([0.0, 8.0]))
def test_shuffled_and_reversed_pieces_give_the_line_they_were_cut_from(turns, data, gap):
    """Law: cutting, shuffling and reversing change nothing but the direction."""
    # away north: the bearings stay within a quadrant, so that the line never meets itself
    bearing = np.clip(np.cumsum(turns), -1.0, 1.0)
    step = np.column_stack((np.sin(bearing), np.cos(bearing))) * 120.0
    line = np.vstack(([0, 0], np.cumsum(step, axis=0)))
    cuts = sorted(data.draw(st.sets(st.integers(1, len(line) - 2), max_size=5)))
    parts = [line[a : b + 1].copy() for a, b in zip([0, *cuts], [*cuts, len(line) - 1], strict=True)]
    for part in parts[1:]:  # a gap along the track, ahead of the cut
        part[0] += (part[1] - part[0]) / 120.0 * gap
    turned = data.draw(st.lists(st.booleans(), min_size=len(parts), max_size=len(parts)))
    order = data.draw(st.permutations(range(len(parts))))
    result = joined_line(*(piece(*(parts[i][::-1] if turned[i] else parts[i])) for i in order))
    got = metres(result)
    if np.linalg.norm(got[0] - line[0]) > 1:
        got = got[::-1]
    expected = np.vstack([part if gap or i == 0 else part[1:] for i, part in enumerate(parts)])
    np.testing.assert_allclose(got, expected, atol=0.01)
    drawn_along = sum(len(p) - 1 for p, back in zip(parts, turned, strict=True) if not back)
    drawn_back = sum(len(p) - 1 for p, back in zip(parts, turned, strict=True) if back)
    if gap == 0 and abs(drawn_along - drawn_back) > 1:
        forwards = np.linalg.norm(metres(result)[0] - line[0]) < 1
        assert forwards == (drawn_along > drawn_back)


def test_spans_tell_which_piece_lies_where():
    """Worked: three pieces of 200, 100 and 300 m, the middle one drawn against the rest."""
    result = joined_line(straight(300, 600), straight(300, 200), straight(0, 200))
    assert_runs(result, (0, 0), (100, 0), (200, 0), (300, 0), (400, 0), (500, 0), (600, 0))
    found = [(s.piece, s.first, s.last, s.start, s.end, s.reversed) for s in result.spans]
    assert found == [(2, 0, 2, 0, 1, False), (1, 2, 3, 1, 0, True), (0, 3, 6, 0, 1, False)]
    assert result.piece.tolist() == [2, 2, 1, 0, 0, 0, 0]
    assert not result.longitude.flags.writeable


def test_ends_within_tolerance_are_joined_and_said():
    """Worked: gaps of 12 m and 25 m ahead are bridged; one of 40 m is a gap."""
    result = joined_line(straight(0, 1000), straight(1012, 2000), straight(2025, 3000))
    assert metres(result)[-1] == pytest.approx((3000, 0), abs=0.01)
    assert "2 joints" in result.assumptions[0]
    assert "25.0 m" in result.assumptions[0]
    refused(
        straight(0, 1000),
        straight(1040, 2000),
        words=("line.geojson", "gap of 40 m", words_of(1000, 0), words_of(1040, 0)),
    )
    assert joined_line(straight(0, 1000), straight(1040, 2000), tolerance_m=50).longitude.size == 11 + 11


def test_an_overlap_leaves_no_zigzag():
    """Worked: the second piece begins 15 m behind the end of the first; both meet half-way at 992.5."""
    result = joined_line(straight(0, 1000), piece((985, 0), (998, 0), (1300, 0)))
    east = metres(result)[:, 0]
    assert (np.diff(east) > 5).all()
    assert np.abs(east - 992.5).min() < 0.01
    assert GEOD.line_length(result.longitude, result.latitude) == pytest.approx(1300, rel=2e-3)


def test_ends_a_step_apart_meet_half_way():
    """Worked: ends 2 m apart sideways would make a corner of 45° in 2 m; the middle is taken."""
    result = joined_line(straight(0, 1000), piece((1001, 1), (1100, 1)))
    assert metres(result)[10] == pytest.approx((1000.5, 0.5), abs=0.01)
    assert result.longitude.size == 12


def test_a_short_bridge_between_loose_ends_is_kept():
    """Worked: a bridge of 10 m, shorter than the tolerance, stands 1 m from its neighbours."""
    result = joined_line(straight(0, 1000), piece((1001, 0), (1011, 0)), straight(1012, 2000))
    assert [span.piece for span in result.spans] == [0, 1, 2]
    assert (np.diff(metres(result)[:, 0]) > 1).all()


def test_a_line_may_cross_itself():
    """Worked: a spiral of one full turn crosses its own way where no vertex is shared."""
    t = np.linspace(0, 2.4 * np.pi, 60)
    spiral = np.column_stack((np.cos(t) * (400 + 30 * t), np.sin(t) * (400 + 30 * t)))
    lead_out = spiral[-1] + np.outer(np.linspace(0, 3000, 16)[1:], (-1, 0.2))
    whole = np.vstack((spiral, lead_out))
    result = joined_line(piece(*whole[40:]), piece(*whole[:41]))
    np.testing.assert_allclose(metres(result), whole, atol=0.01)


BRANCH = piece((5000, 0), (6000, 300), (8000, 3000))


def test_a_long_branch_is_refused_by_its_place():
    """Worked: two ways of 5 and 4.4 km leave at 5 km; given ends decide, and trim the line."""
    pieces = (straight(0, 10_000), BRANCH)
    refused(*pieces, words=("forks at", words_of(5000, 0), "a branch of 4.4 km", "give start and end"))
    assert_runs(
        joined_line(*pieces, start=place(8000, 3000), end=place(4900, 10)),
        (8000, 3000),
        (6000, 300),
        (5000, 0),
        (4900, 0),
    )
    result = joined_line(*pieces, start=place(8950.5, 40), end=place(9250, -30))
    assert_runs(result, (8950.5, 0), (9000, 0), (9100, 0), (9200, 0), (9250, 0))
    assert result.spans[0].start == pytest.approx(0.89505, abs=1e-5)
    assert result.spans[0].end == pytest.approx(0.925, abs=1e-5)


def test_a_short_branch_is_left_out_and_said():
    """Worked: 500 m of 10 km are a side track; of 2 km of line they would be a fork."""
    branch = piece((1500, 0), (1990, 100))
    result = joined_line(straight(0, 10_000), branch)
    assert metres(result)[-1] == pytest.approx((10_000, 0), abs=0.05)
    assert result.assumptions == ("0.5 km of side tracks and branches left out",)
    refused(straight(0, 2000), piece((1000, 0), (1490, 100)), words=("forks at", words_of(1000, 0)))


def test_usage_main_decides():
    """Worked: a longer branch without usage=main is no fork of a main line."""
    pieces = (straight(0, 5000, usage="main"), straight(5000, 10_000, usage="main"), BRANCH, straight(10_000, 30_000))
    result = joined_line(*pieces)
    assert metres(result)[[0, -1], 0] == pytest.approx((0, 10_000), abs=0.05)
    refused(
        straight(0, 5000, usage="main"),
        straight(5000, 10_000, usage="main"),
        piece((5000, 0), (8000, 3000), usage="main"),
        words=("forks at",),
    )


def test_parallel_track_is_no_fork():
    """Worked: a second track 4 m beside, joined by turnouts, and one without any joint."""
    loop = piece((2000, 0), (2100, 4), (7900, 4), (8000, 0))
    result = joined_line(straight(0, 10_000), loop)
    np.testing.assert_allclose(metres(result)[:, 1], 0, atol=0.01)
    assert "6.0 km of parallel track" in result.assumptions[0]
    alone = joined_line(straight(0, 10_000), straight(100, 9900, north=4))
    assert metres(alone)[[0, -1], 0] == pytest.approx((0, 10_000), abs=0.05)
    assert "9.8 km of parallel track" in alone.assumptions[0]


def test_a_train_does_not_turn_back_where_tracks_join():
    """Worked: two tracks of 6 km that merge into 2 km of one: 8 km are the line, not 12 km there and back."""
    north = piece((0, 8), (5900, 8), (6000, 0))
    result = joined_line(straight(0, 6000), north, straight(6000, 8000))
    line = metres(result)
    assert (np.diff(line[:, 0]) > 0).all() or (np.diff(line[:, 0]) < 0).all()
    assert np.ptp(line[:, 0]) == pytest.approx(8000, abs=0.1)


def test_two_ways_of_equal_standing_are_refused_or_said():
    """Worked: a way round of 8 km beside one of 6 km; with both ends given the shorter is taken."""
    round_about = piece((2000, 0), (3500, 2500), (6500, 2500), (8000, 0))
    pieces = (straight(0, 10_000), round_about)
    refused(*pieces, words=("forks at", words_of(2000, 0), "another way"))
    result = joined_line(*pieces, start=place(0, 0), end=place(10_000, 0))
    np.testing.assert_allclose(metres(result)[:, 1], 0, atol=0.01)
    assert any(words_of(2000, 0) in said and "shorter" in said for said in result.assumptions)


def test_switchbacks_need_given_ends():
    """Worked: two legs meet in a point from which the train runs back."""
    apex = (piece((0, 0), (3000, 0)), piece((3000, 0), (0, 400)))
    refused(*apex, words=("forks at", words_of(3000, 0)))
    result = joined_line(*apex, start=place(0, 0), end=place(0, 400))
    assert_runs(result, (0, 0), (3000, 0), (0, 400))
    assert any("turns back" in said for said in result.assumptions)


def test_separate_lines_name_their_gap():
    """Worked: 312 m between the nearest ends; given ends on one line leave the other alone."""
    pieces = (straight(0, 5000), straight(5312, 9000))
    refused(*pieces, words=("gap of 312 m", words_of(5000, 0), words_of(5312, 0)))
    result = joined_line(*pieces, start=place(8000, 0), end=place(6000, 0))
    assert metres(result)[[0, -1], 0] == pytest.approx((8000, 6000), abs=0.05)
    refused(*pieces, words=("gap of 312 m",), start=place(0, 0), end=place(9000, 0))


def test_one_given_end_is_enough():
    """Worked: from the given start to the far end; a given end reverses the line."""
    assert metres(joined_line(straight(0, 5000), start=place(1000, 0)))[[0, -1], 0] == pytest.approx(
        (1000, 5000), abs=0.05
    )
    assert metres(joined_line(straight(0, 5000), end=place(0, 0)))[[0, -1], 0] == pytest.approx((5000, 0), abs=0.05)


def test_given_ends_off_the_line_or_on_one_spot_are_refused():
    """Law: the key, its place and the distance are named."""
    refused(
        straight(0, 5000), words=("the start at", words_of(0, 800), "800 m"), start=place(0, 800), end=place(5000, 0)
    )
    refused(straight(0, 5000), words=("the same place",), start=place(100, 5), end=place(100, 9))


def test_closed_lines_need_given_ends():
    """Worked: a ring has no ends; between two places the shorter arc is taken."""
    t = np.linspace(0, 2 * np.pi, 73)
    ring = piece(*(2000 * np.column_stack((np.cos(t), np.sin(t)))))
    refused(ring, words=("closed upon itself", "give start and end"))
    result = joined_line(ring, start=place(0, 2000), end=place(-2000, 0))
    assert GEOD.line_length(result.longitude, result.latitude) == pytest.approx(np.pi / 2 * 2000, rel=5e-3)


def test_pieces_drawn_twice_count_once():
    """Worked: the same geometry again, once reversed; the vertices of the line do not change."""
    once = joined_line(straight(0, 500), straight(500, 900))
    twice = joined_line(straight(0, 500), straight(500, 0), straight(500, 900), straight(500, 900))
    np.testing.assert_array_equal(once.longitude, twice.longitude)
    assert twice.assumptions == ("2 pieces drawn twice were taken once",)


def test_many_pieces_take_linear_time():
    """Law: 20,000 pieces in some seconds at most; anything that grows with the square takes minutes."""
    x = np.linspace(0, 200_000, 20_001)
    pieces = [piece((a, 0), (b, 0)) for a, b in pairwise(x)]
    rng = np.random.default_rng(3)
    rng.shuffle(pieces)
    assert joined_line(*pieces).longitude.size == 20_001
