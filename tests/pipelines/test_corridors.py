"""One line for every corridor: tracks beside each other, junctions of every kind, lines closed upon themselves."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pipelines.area import Area, lines_of_area, write_lines
from pipelines.lines.corridors import BESIDE
from pipelines.lines.tracks import earth_centred
from profiler import build_route, read_territory
from tests.pipelines.mapped import Mapped, leaving, straight


def found(m: Mapped, tmp_path: Path, **settings: object) -> Area:
    return lines_of_area(m.write(tmp_path / "area.osm.pbf"), **settings)  # type: ignore[arg-type]


def lengths(area: Area) -> list[float]:
    """Lengths of the lines, rising. [km]"""
    return sorted(round(line.length / 1000, 2) for line in area.lines)


def double(m: Mapped, start: float, end: float, **tags: str) -> None:
    """Two tracks 4 m apart."""
    for north in (0.0, 4.0):
        m.way(straight(start, end, north), **tags)


def shape(area: Area) -> tuple[int, int, int]:
    """Junctions, open ends and networks, as the first sentence tells them."""
    words = area.said[0].split("; ")[1].replace(",", "").split()
    return int(words[0]), int(words[2]), int(words[5])


def test_double_track_is_one_line(tmp_path: Path):
    """Law: two tracks with a crossover each kilometre, tagged or not, and a loop are one line, from end to end."""
    m = Mapped()
    double(m, 0, 12_000, ref="71")
    for x in range(1000, 12_000, 1000):
        m.way([(x, 0), (x + 100, 4)], service="crossover" if x % 2000 else "")
    m.way([(4000, 4), (4100, 9), *straight(4200, 4800, 9), (4900, 4)])
    area = found(m, tmp_path)
    assert lengths(area) == [12.0]
    assert shape(area) == (0, 2, 1)
    assert "parallel track" in " ".join(area.said)


def test_all_tracks_if_asked(tmp_path: Path):
    """Law: with tracks = "all" both tracks are lines."""
    m = Mapped()
    double(m, 0, 12_000)
    assert lengths(found(m, tmp_path, tracks="all")) == [12.0, 12.0]


def test_one_track_after_the_other(tmp_path: Path):
    """Law: where two tracks become one and two again, the line goes on, its vertices in the drawing's order."""
    m = Mapped()
    m.way(straight(0, 4000))
    m.way([(0, 4), *straight(100, 3900, 4), (4000, 0)])
    m.way(straight(4000, 7000))
    m.way(straight(7000, 12_000))
    m.way([(7000, 0), *straight(7100, 12_000, 4)])
    (line,) = found(m, tmp_path).lines
    assert line.length == pytest.approx(12_000, abs=1)
    east = np.concatenate([piece.longitude for piece in line.pieces])
    assert (np.diff(east) >= 0).all()


def test_branch_from_one_track_of_two(tmp_path: Path):
    """Law: a branch that leaves the track that is left out begins at its own switch; the main line is cut there."""
    m = Mapped()
    double(m, 0, 12_000, ref="71")
    switch = m.degrees(6000, 4)
    m.way(leaving(6000, 4, 4000, to=1), ref="72", usage="branch")
    area = found(m, tmp_path)
    assert lengths(area) == [4.0, 6.0, 6.0]
    assert shape(area) == (1, 3, 1)
    (branch,) = (line for line in area.lines if line.ref == "72")
    assert np.allclose(branch.start, switch, atol=1e-6)


def test_branch_by_two_tracks_and_a_flyover(tmp_path: Path):
    """Law: the second track of a branch leaves later and keeps 84 m apart for a while: one line still."""
    m = Mapped()
    double(m, 0, 12_000, ref="71")
    first = np.array(leaving(6000, 4, 6000, to=1))
    second = np.array(leaving(6100, 0, 6000, to=1))
    way, across = np.arange(len(first)) * 50.0, np.array([np.sin(1.0), -np.cos(1.0)])
    nearer = np.clip((way - 1500) / 1000, 0, 1)  # from 1.5 to 2.5 km on it comes to 4 m beside the first
    second -= (nearer * ((second - first) @ across - 4.0))[:, None] * across
    m.way(first.tolist(), ref="72")
    m.way(second.tolist(), ref="72")
    assert lengths(found(m, tmp_path)) == [5.9, 6.0, 6.1]
    assert len(found(m, tmp_path, tracks="all").lines) == 6


def curve_to(branch: list[tuple[float, float]], at: int) -> tuple[list[tuple[float, float]], float]:
    """The third side of a triangle: from a vertex of a branch on its straight down to the main line, eastwards."""
    (east, north), turn = branch[at], 1.0
    radius = north / (1 - np.cos(np.pi - turn))
    begin = np.pi + turn
    angle = np.linspace(0, np.pi - turn, 20)
    points = [
        (
            east + radius * (np.sin(begin + a) - np.sin(begin)),
            north - radius * (np.cos(begin + a) - np.cos(begin)),
        )
        for a in angle
    ]
    foot = round(points[-1][0], 2)
    return [branch[at], *points[1:-1], (foot, 0.0)], foot


def test_triangle(tmp_path: Path):
    """Law: all three sides of a triangle are lines, for no train can go round two of them without turning back."""
    m = Mapped()
    branch = leaving(5000, 0, 6000, to=1)
    third, foot = curve_to(branch, 30)
    m.way(sorted({*straight(0, 12_000), (foot, 0.0)}), ref="71")
    m.way(branch, ref="72")
    m.way(third, ref="73")
    area = found(m, tmp_path)
    assert shape(area) == (3, 3, 1)
    assert len([line for line in area.lines if line.ref == "73"]) == 1
    assert sum(line.ref == "71" for line in area.lines) == 3


def test_tracks_that_cross_do_not_join(tmp_path: Path):
    """Law: two lines that share a vertex at a right angle are two lines of their own; over each other too."""
    m = Mapped()
    m.way(straight(-5000, 5000))
    m.way([(0.0, y) for y in range(-5000, 5001, 100)])
    m.way([(2050.0 + y / 4, y) for y in range(-5000, 5001, 100)], bridge="yes")
    area = found(m, tmp_path)
    assert len(area.lines) == 3
    assert shape(area) == (0, 6, 3)


@pytest.mark.parametrize("slope", [0.05, 0.1, 0.15, 0.25])
@pytest.mark.parametrize("back", [1, -1])
def test_lines_that_cross_at_a_sharp_angle(tmp_path: Path, slope: float, back: int):
    """Law: a line over another at 3 to 14 degrees is one line, not two with a gap, and no train gets from one to the
    other."""
    m = Mapped()
    m.way(straight(-5000, 5000), ref="1")
    m.way([(x + 50, round(x * slope, 2)) for x in range(-5000, 5001, 100)][::back], ref="2", bridge="yes")
    area = found(m, tmp_path)
    assert shape(area) == (0, 4, 2)
    assert [line.ref for line in area.lines] == ["1", "2"]


def test_a_track_over_to_the_other_side(tmp_path: Path):
    """Law: a second track that changes sides, near by or on a flyover, is of the same line still."""
    for off in (4.0, 60.0):
        m = Mapped()
        m.way(straight(-8000, 8000))
        x = np.arange(-8000, 8001, 100.0)
        y = np.interp(x, [-8000, -2500, -1500, 1500, 2500, 8000], [4, 4, off, -off, -4, -4])
        m.way(np.column_stack((x, y.round(2))).tolist())
        assert lengths(found(m, tmp_path)) == [pytest.approx(16.0, abs=0.02)]


def test_the_other_track_apart(tmp_path: Path):
    """Law: a track that keeps 150 m off for 8 km and comes back is of the same line; one of 600 m is a line."""
    for off, count in ((150, 1), (600, 2)):
        m = Mapped()
        m.way(straight(-2000, 12_000))
        m.way([(x, round(off * min(x, 10_000 - x, 2000) / 2000, 2)) for x in range(0, 10_001, 100)])
        assert (len(found(m, tmp_path).lines) > 1) == (count > 1)


def ring(radius: float) -> list[tuple[float, float]]:
    angle = np.linspace(-np.pi / 2, 1.5 * np.pi, 80)
    points = [(radius * np.cos(a), radius * (1 + np.sin(a))) for a in angle[:-1]]
    return [*points, points[0]]


def test_lines_closed_upon_themselves(tmp_path: Path):
    """Law: a ring is cut in two lines that a profile can take, and so is the loop at the end of a line; it is said."""
    m = Mapped()
    m.way(ring(1500), ref="8")
    area = found(m, tmp_path)
    assert sum(line.length for line in area.lines) == pytest.approx(2 * np.pi * 1500, rel=0.002)
    assert len(area.lines) == 2
    assert shape(area)[0] == 0
    assert "closed upon themselves" in area.said[1]
    m = Mapped()
    m.way([*straight(-6000, -100), *ring(1500)], ref="9")
    area = found(m, tmp_path)
    assert len(area.lines) == 3
    assert shape(area) == (1, 1, 1)


def test_a_train_that_turns_back(tmp_path: Path):
    """Law: a line does not go on where a train would have to turn back."""
    m = Mapped()
    m.way(straight(0, 5000))
    back = [(5000, 0), (4900, 8), (4700, 30), (4500, 60), (2500, 600)]
    m.way(back)
    drawn = float(np.hypot(*np.diff(back, axis=0).T).sum()) / 1000
    assert lengths(found(m, tmp_path)) == pytest.approx([drawn, 5.0], abs=0.006)


def test_short_dead_ends_are_no_junctions(tmp_path: Path):
    """Law: a stub of 600 m does not cut the line; asked for, it does."""
    m = Mapped()
    m.way(straight(0, 10_000))
    m.way(leaving(5000, 0, 600, to=1))
    area = found(m, tmp_path)
    assert lengths(area) == [10.0]
    assert "short dead end: 0.6 km left out" in area.said
    assert lengths(found(m, tmp_path, shortest_m=300)) == [0.6, 5.0, 5.0]


def test_junctions_close_together_cut_once(tmp_path: Path):
    """Law: two branches 300 m apart leave no line of 300 m between them, and nothing of the main line is lost."""
    m = Mapped()
    m.way(straight(0, 10_000), ref="71")
    m.way(leaving(5000, 0, 4000, to=1), ref="72")
    m.way(leaving(5300, 0, 4000, to=-1), ref="73")
    area = found(m, tmp_path)
    assert lengths(area) == [4.0, 4.0, 5.0, 5.0]
    assert shape(area)[0] == 2


def test_islands_and_short_lines_are_told(tmp_path: Path):
    """Law: a line by itself is a network by itself; one of 500 m is left out and counted."""
    m = Mapped()
    m.way(straight(0, 5000))
    m.way(straight(0, 5000, 3000))
    m.way(straight(0, 500, 6000))
    area = found(m, tmp_path)
    assert lengths(area) == [5.0, 5.0]
    assert shape(area)[2] == 3
    assert "lines shorter than 1000 m: 1 left out, 0.5 km" in area.said


def test_across_the_180th_meridian(tmp_path: Path):
    """Law: a line of two tracks across the meridian is as long as anywhere, its longitudes continuous."""
    m = Mapped(180.0, -16.0)
    double(m, -6000, 6000)
    (line,) = found(m, tmp_path).lines
    assert line.length == pytest.approx(12_000, abs=1)
    assert line.start[0] > 0 > line.end[0]


@pytest.mark.parametrize("order", [1, 2, 3])
def test_the_order_and_direction_of_ways_matter_little(tmp_path: Path, order: int):
    """Law: shuffled and turned, the same ways make lines of the same names between the same places."""
    m = Mapped()
    for x in range(0, 12_000, 2000):
        double(m, x, x + 2000, ref="71")
    m.way(leaving(6000, 4, 4000, to=1), ref="72")
    once = found(m, tmp_path)
    rng = np.random.default_rng(order)
    ways = [m.ways[i] for i in rng.permutation(len(m.ways))]
    m.ways = [(nodes[:: rng.choice((1, -1))], tags) for nodes, tags in ways]
    again = found(m, tmp_path)
    assert [line.name for line in again.lines] == [line.name for line in once.lines]
    assert [(line.start, line.end) for line in again.lines] == [(line.start, line.end) for line in once.lines]


def test_every_vertex_is_as_drawn(tmp_path: Path):
    """Law: no vertex is moved or lost, and all of the main line lies within reach of a line found."""
    m = Mapped()
    double(m, 0, 9000)
    m.way(leaving(3000, 4, 4000, to=1))
    drawn = {m.degrees(*point) for point in m.nodes}
    area = found(m, tmp_path)
    pieces = [piece for line in area.lines for piece in line.pieces]
    place = np.concatenate([np.column_stack((piece.longitude, piece.latitude)) for piece in pieces])
    known = np.array(sorted(drawn))
    nearest = np.abs(place[:, None] - known[None]).max(axis=2).min(axis=1)
    assert np.sort(nearest)[:-2].max() <= 1e-7  # but at the cut, which may lie between two vertices
    every = earth_centred(*known.T)
    line = earth_centred(*place.T)
    assert np.linalg.norm(every[:, None] - line[None], axis=2).min(axis=1).max() <= BESIDE


@pytest.mark.parametrize("service", ["", "crossover"])
def test_a_line_that_passes_to_the_other_track(tmp_path: Path, service: str):
    """Law: where one track ends beside another that has begun, the line goes on over it, and a profile can take it."""
    m = Mapped()
    m.way(straight(0, 10_000))
    m.way(straight(9800, 20_000, 4))
    m.way([(9850, 0), (9950, 4)], service=service)
    (line,) = found(m, tmp_path).lines
    (path,) = write_lines([line], tmp_path, invented=True)
    route = build_route(read_territory(path))
    assert route.length == pytest.approx(20_000, abs=5)
    assert float(np.abs(np.diff(route.heading)).max()) < 0.2  # no zigzag: 4 m aside over 25 m is 0.16


def test_a_station_of_many_tracks(tmp_path: Path):
    """Law: twelve loops beside the line, the widest 64 m off, tagged as main line all, are none of them a line."""
    m = Mapped()
    double(m, 0, 20_000)
    for k in range(1, 13):
        y, a, b = 4.0 + 5 * k, 6000.0 + 20 * k, 9000.0 - 20 * k
        out = [(a, 4.0), (a + 100, 6.0), (a + 100 + 80 * k, y)]
        back = [(b - x + a, north) for x, north in reversed(out)]
        m.way([*out, *back])
    area = found(m, tmp_path)
    assert lengths(area) == [20.0]
    assert shape(area) == (0, 2, 1)


def test_lines_beside_each_other_part(tmp_path: Path):
    """Law: a line that runs 10 km beside another and leaves it begins where it leaves."""
    m = Mapped()
    m.way(straight(0, 20_000), ref="71")
    m.way([*straight(2000, 12_000, 12), *leaving(12_000, 12, 8000, to=1)[1:]], ref="72")
    area = found(m, tmp_path)
    assert shape(area) == (1, 3, 1)
    (other,) = (line for line in area.lines if line.ref == "72")
    assert 7800 < other.length < 8000


def test_a_loop_near_the_end_of_a_line(tmp_path: Path):
    """Law: a line whose end comes back to it is cut there, however near its start: else a profile would run past
    the loop. What leads to it is too short for a line unless that is asked for."""
    m = Mapped()
    m.way([*straight(-500, -100), *ring(300)], ref="9")
    loop = 2 * np.pi * 300
    assert sum(line.length for line in found(m, tmp_path).lines) == pytest.approx(loop, rel=0.002)
    area = found(m, tmp_path, shortest_m=200)
    assert sum(line.length for line in area.lines) == pytest.approx(500 + loop, rel=0.002)
    for path, line in zip(write_lines(area.lines, tmp_path, invented=True), area.lines, strict=True):
        assert build_route(read_territory(path)).length == pytest.approx(line.length, rel=0.01)


def test_gauges_do_not_join(tmp_path: Path):
    """Law: a line of another gauge is no other track of the one beside it, and none goes on from one to the other;
    ways without a gauge have that of their neighbours, three rails the commoner one."""
    m = Mapped()
    m.way([(x - 20_000, -3000.0) for x, _ in straight(0, 30_000)], ref="70", gauge="1435")
    m.way(straight(0, 20_000), ref="71", gauge="1435")
    m.way(straight(500, 8000, 12), ref="99", gauge="1000")
    m.way(straight(8000, 9000, 12), ref="99")
    m.way(straight(9000, 19_500, 12), ref="99", gauge="1000")
    m.way(straight(20_000, 30_000), ref="99", gauge="1000")
    m.way(straight(-5000, 0), ref="71", gauge="1000;1435")
    area = found(m, tmp_path)
    assert sorted((line.ref, round(line.length)) for line in area.lines) == [
        ("70", 30_000),
        ("71", 25_000),
        ("99", 10_000),
        ("99", 19_000),
    ]
    assert shape(area) == (0, 8, 4)
    told = "gauges: 1435 mm (55.0 km of track), 1000 mm (29.0 km of track); no line goes on from one to another"
    assert told in area.said


def test_gauges_nearly_alike_join(tmp_path: Path):
    """Law: trains run through from 1524 to 1520 mm, so that the line goes on; a gauge in words says nothing."""
    m = Mapped()
    m.way(straight(0, 8000), gauge="1524")
    m.way(straight(8000, 12_000), gauge="standard")
    m.way(straight(12_000, 24_000), gauge="1520")
    assert lengths(found(m, tmp_path)) == [24.0]


def test_railways_without_a_line_are_named(tmp_path: Path):
    """Law: a railway that runs beside another all the way is told by name; with all tracks it is a line."""
    m = Mapped()
    m.way(straight(0, 20_000), ref="71")
    m.way(straight(500, 19_500, 12), name="Marram Railway")
    told = "no line is left of Marram Railway (19.0 km): beside others or in short pieces"
    assert any(said.startswith(told) for said in found(m, tmp_path).said)
    area = found(m, tmp_path, tracks="all")
    assert len(area.lines) == 2
    assert not any(said.startswith("no line is left") for said in area.said)
