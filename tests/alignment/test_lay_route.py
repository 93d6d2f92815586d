"""A route laid from a smoothed line and a territory's tables."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from pyproj import Geod

from profiler.alignment.route import Surroundings, cut_between, lay_route, line_posts, part_of_route
from profiler.alignment.smooth import smooth_line
from profiler.alignment.spans import PieceSpan
from profiler.alignment.stations import lay_stations
from profiler.centreline import Centreline, Piece, PointFeature
from profiler.errors import InputError, RouteError, TerritoryError
from profiler.route import Route, SpeedLimit, Station, Structure
from profiler.territory import Territory
from profiler.units import KMH, MILE, MPH
from profiler.wording import post_text
from tests.invented import invented_profile

GEOD = Geod(ellps="WGS84")
LENGTH = 10_000.0


def at(x: float, aside: float = 0.0) -> tuple[float, float]:
    """Longitude and latitude [degree] of a place beside the line, which runs to the north-east."""
    lon, lat, _ = GEOD.fwd(-31.0, -38.0, 45.0, x)
    lon, lat, _ = GEOD.fwd(lon, lat, 135.0, aside)
    return lon, lat


def vertices(start: float, end: float) -> tuple[np.ndarray, np.ndarray]:
    s = np.linspace(start, end, 2 + round((end - start) / 50))
    lon, lat, _ = GEOD.fwd(np.full(s.size, -31.0), np.full(s.size, -38.0), np.full(s.size, 45.0), s)
    return lon, lat


LINE = smooth_line(*vertices(0, LENGTH))
STATIONS = lay_stations(LINE, 10.0)


def span(start: float, end: float, **attributes: object) -> PieceSpan:
    return PieceSpan(Piece(*vertices(start, end), attributes, 1), start, end, 0, 1)


def territory(**tables: object) -> Territory:
    return Territory.model_validate({"centreline": {"path": "line.geojson"}, "source": "route.toml"} | tables)


def laid(spans=(), points=(), around=None, scale: float = 1.0, assumptions=(), **tables: object) -> Route:
    return lay_route(
        LINE,
        STATIONS,
        spans,
        Centreline("line.geojson", (), "EPSG:4326", tuple(points)),
        territory(**tables),
        around or Surroundings(),
        scale=scale,
        assumptions=assumptions,
    )


def test_chainage_is_geodesic_length_times_the_scale():
    """Outside: pyproj.Geod (Karney 2013): 10 km of geodesic; 1,000 m up they are 1 + 1000/R as long."""
    scale = 1 + 1000 / 6_371_008.8
    route = laid(scale=scale)
    assert route.length / scale == pytest.approx(GEOD.line_length(route.longitude, route.latitude), abs=1e-3)
    assert route.length == pytest.approx(10_001.57, abs=0.01)
    assert route.scale == scale
    assert not route.curves
    assert not route.curvature.any()


def test_without_posts_chainage_serves_and_is_said():
    """Law: no posts are guessed; miles or kilometres as the territory reads, and a sentence about it."""
    route = laid(assumptions=("one",), route={"units": "us"})
    assert route.posts.unit == "mi"
    assert float(route.posts.at(MILE)) == pytest.approx(1)
    assert route.assumptions == ("one", "no posts are given: chainage from the start serves")


def test_stated_posts_and_what_is_placed_by_them():
    """Worked: post 20 at the start, 26.2 beside 6,000 m (by coordinates); a bridge, a limit, a slow order
    and a station by posts come to lie between in proportion; places given from far to near are turned."""
    lon, lat = at(6000, 40)
    route = laid(
        posts={
            "unit": "km",
            "at": [{"post": "26.2", "longitude": lon, "latitude": lat}, {"post": "20", "chainage_m": 0}],
        },
        structures=[{"kind": "bridge", "name": "Sallow", "from": {"post": "23.1"}, "to": {"post": "22.79"}}],
        speed_limits=[{"from": {"post": "20"}, "to": {"post": "23.1"}, "speed_kmh": 60, "train_class": "freight"}],
        slow_orders=[{"from": {"chainage_m": 5000}, "to": {"chainage_m": 4000}, "speed_mph": 10, "reason": "Culvert"}],
        stations=[{"name": "Ombersley", "at": {"post": "23.1"}}],
    )
    assert float(route.posts.at(3000)) == pytest.approx(23.1, abs=1e-4)
    assert float(route.posts.at(7000)) == pytest.approx(27.2, abs=1e-4)
    (bridge,) = route.structures
    assert (bridge.start, bridge.end, bridge.name) == (
        pytest.approx(2700, abs=0.1),
        pytest.approx(3000, abs=0.1),
        "Sallow",
    )
    assert route.limits == (SpeedLimit(0, pytest.approx(3000, abs=0.1), 60 * KMH, train_class="freight"),)
    assert route.slow_orders == (SpeedLimit(4000, 5000, 10 * MPH, reason="Culvert"),)
    assert route.stations == (Station("Ombersley", pytest.approx(3000, abs=0.1)),)


@pytest.mark.parametrize(("other", "speed", "said"), [("", 40, True), ("", 60, False), ("freight", 40, False)])
def test_limits_that_overlap_are_told(other: str, speed: float, said: bool):
    """Law: of two different limits of one class that overlap the lower one is taken, and that is said."""

    def limit(start: float, end: float, kmh: float, train_class: str = "") -> dict:
        ends = {"from": {"chainage_m": start}, "to": {"chainage_m": end}}
        return {**ends, "speed_kmh": kmh, **({"train_class": train_class} if train_class else {})}

    route = laid(speed_limits=[limit(0, 3000, 60), limit(2000, 5000, speed, other)])
    words = "two speed limits overlap, km 2.0 to 3.0: the lower one is taken"
    assert (words in route.assumptions) == said
    assert not any("overlap" in sentence for sentence in route.assumptions if sentence != words)


def test_posts_of_points_and_of_pieces():
    """Worked: points beside the line carry metres; one 300 m aside is another line's. Pieces carry km."""
    points = tuple(
        PointFeature(*at(x, aside), {"pk": value}, i)
        for i, (x, aside, value) in enumerate([(1000, 20, "5000"), (9000, -30, 13_000), (4000, 300, "99000")])
    )
    table = {"path": "line.geojson", "posts_from": {"unit": "m", "points": "posts.geojson", "post": "pk"}}
    route = laid(around=Surroundings(points), centreline=table)
    np.testing.assert_allclose(route.posts.at(np.array([1000.0, 5000.0])), [5, 9], atol=1e-4)
    with pytest.raises(InputError, match=r"route.toml: posts.geojson: no point within 200 m of the line carries 'pk'"):
        laid(around=Surroundings(points[2:]), centreline=table)
    table = {"path": "line.geojson", "posts_from": {"unit": "km", "start": "a", "end": "b"}}
    route = laid([span(0, 4000, a=1, b=5), span(4000, LENGTH, a=5, b=11)], centreline=table, scale=1.001)
    np.testing.assert_allclose(route.posts.at(np.array([4004.0, 10_010.0])), [5, 11], atol=1e-6)


def test_structures_of_tags_file_and_posts_together():
    """Law: told twice is one; a file whose structures lie elsewhere is said; what a cut piece carries
    beyond the ends of the line is left out."""
    lines = Centreline("tunnels.geojson", (Piece(*vertices(3010, 3490), {"name": "Ridge"}, 1),), "EPSG:4326")
    far = Centreline("bridges.geojson", (Piece(*(v + 1 for v in vertices(0, 90)), {}, 1),), "EPSG:4326")
    files = [{"kind": "tunnel", "path": "t", "name_from": "name"}, {"kind": "bridge", "path": "b"}]
    tags = [span(-900, -500, tunnel="yes"), span(-500, 120, bridge="yes"), span(3000, 3500, tunnel="yes")]
    route = laid([*tags, span(9800, 10_400, tunnel="yes")], around=Surroundings((), (lines, far)), structures=files)
    shown = [(s.kind, round(s.start), round(s.end), s.name) for s in route.structures]
    assert shown == [("bridge", 0, 120, ""), ("tunnel", 3000, 3500, "Ridge"), ("tunnel", 9800, 10_000, "")]
    assert route.structures[-1].end == route.length
    assert "bridges.geojson: none of its bridges lies on the line" in route.assumptions


def test_stations_of_the_file_name_the_ends():
    """Law: stations within 150 m belong to the line, those within 1 km of an end name it; a territory's
    own stations and ends come first."""
    points = [
        PointFeature(*at(300, 20), {"railway": "station", "name": "Farrow"}),
        PointFeature(*at(5000, 140), {"railway": "halt", "name": "Gap"}),
        PointFeature(*at(6000, 160), {"railway": "station", "name": "Other line"}),
        PointFeature(*at(9500), {"railway": "station", "name": "Quay"}),
        PointFeature(*at(9600), {"railway": "signal", "name": "S1"}),
        PointFeature(*at(9700), {"railway": "station"}),
    ]
    route = laid(points=points)
    assert [(s.name, round(s.chainage)) for s in route.stations] == [("Farrow", 300), ("Gap", 5000), ("Quay", 9500)]
    assert route.ends == ("Farrow", "Quay")
    own = laid(points=points, stations=[{"name": "Mine", "at": {"chainage_m": 50}}], route={"ends": ["A", "B"]})
    assert [s.name for s in own.stations] == ["Mine"]
    assert own.ends == ("A", "B")
    assert laid(points=points[1:2]).ends == ("", "")


PLACES = [{"name": "Gap", "at": {"post": "km 11.5"}}]


@pytest.mark.parametrize(
    ("tables", "spans", "words"),
    [
        ({"posts": {"unit": "mi", "at": [{"post": "10+2640", "chainage_m": 0}]}}, [], "10+2650"),
        ({"posts": {"unit": "km", "at": [{"post": "10.50", "chainage_m": 0}]}}, [], "10.50"),
        ({"posts": {"unit": "km", "at": [{"post": "10", "chainage_m": 0}]}, "stations": PLACES}, [], "km 10.00"),
        ({"posts": {"unit": "km", "at": [{"post": "10.50", "chainage_m": 0}]}, "stations": PLACES}, [], "10.50"),
        ({}, [span(0, LENGTH, a="PK 10+000", b="PK 20+000")], "PK 10+000"),
        ({"stations": PLACES}, [span(0, LENGTH, a=10, b="20")], "km 10.00"),
    ],
)
def test_posts_keep_the_style_of_the_territory(tables: dict, spans: list, words: str):
    """Law: [posts] decides, then text in the fields of the pieces, then what other places write; figures in
    fields say nothing. Worked: 2,640 ft to the nearest 50 are 2,650."""
    if spans:
        tables = tables | {
            "centreline": {"path": "line.geojson", "posts_from": {"start": "a", "end": "b", "unit": "km"}}
        }
    route = laid(spans, **tables)
    assert post_text(route.posts, 0.0, 2) == words


def test_refusals_name_their_key():
    """Law: what is not on the line is refused with the key of the territory and, for posts, both ends."""
    posts = {"unit": "mi", "at": [{"post": "38", "chainage_m": 0}]}
    with pytest.raises(
        InputError,
        match=r"route.toml: stations\[1\].at: post mi 50 lies outside the line, which runs from mi 38.00 to 44.21;",
    ):
        laid(posts=posts, stations=[{"name": "Far", "at": {"post": "50"}}])
    bridge = {"kind": "bridge", "from": {"post": "38.5"}, "to": {"post": "50"}}
    named = [{"name": "Farrow", "at": {"post": "38.1"}}, {"name": "Quay", "at": {"post": "44"}}]
    with pytest.raises(
        InputError,
        match=r"route.toml: structures\[1\].to: post mi 50 lies .* from mi 38.00 \(Farrow\) to 44.21 \(Quay\);",
    ):
        laid(posts=posts, structures=[bridge], stations=named)
    with pytest.raises(InputError, match=r"post mi 50 lies .* from mi 38.00 \(A\) to 44.21 \(B\);"):
        laid(posts=posts, stations=[{"name": "Far", "at": {"post": "50"}}], route={"ends": ["A", "B"]})
    with pytest.raises(InputError, match=r"route.toml: structures\[1\].to: 'here' is no post"):
        laid(posts=posts, structures=[{"kind": "tunnel", "from": {"post": "39"}, "to": {"post": "here"}}])
    limit = {"from": {"post": "39"}, "to": {"post": "39"}, "speed_mph": 10}
    with pytest.raises(TerritoryError, match=r"speed_limits\[1\]: from and to are the same place"):
        laid(posts=posts, speed_limits=[limit])
    with pytest.raises(InputError, match=r"posts.at\[1\]: chainage 11000 m is not on the line"):
        laid(posts={"unit": "mi", "at": [{"post": "38", "chainage_m": 11_000}]})
    lon, lat = at(2000, 4000)
    with pytest.raises(RouteError, match=r"stations\[1\].at: .* is 4.0 km from the line"):
        laid(stations=[{"name": "Far", "at": {"longitude": lon, "latitude": lat}}])


def cut(**tables: object) -> tuple[float, float]:
    return cut_between(LINE, [span(0, LENGTH, a=10, b=20)], territory(**tables), Surroundings())


def test_where_the_line_is_cut():
    """Worked: posts of pieces from 10 to 20: start 12.5 and end 18 are 2,500 and 8,000 m, or turned;
    chainage may say it too; posts tied to chainage may not."""
    by_piece = {"path": "x", "posts_from": {"unit": "km", "start": "a", "end": "b"}}
    assert cut() == (0, LINE.distance[-1])
    assert cut(centreline=by_piece | {"start": {"post": "12.5"}, "end": {"post": "18"}}) == pytest.approx((2500, 8000))
    assert cut(centreline=by_piece | {"start": {"post": "18"}, "end": {"post": "12.5"}}) == pytest.approx((8000, 2500))
    assert cut(centreline={"path": "x", "end": {"chainage_m": 700}}) == (0, 700)
    with pytest.raises(RouteError, match="start and end are the same place"):
        cut(centreline={"path": "x", "start": {"chainage_m": 700}, "end": {"chainage_m": 700.5}})
    tied = {"unit": "km", "at": [{"post": "5", "chainage_m": 0}]}
    with pytest.raises(TerritoryError, match=r"centreline.start: a post that is tied to chainage cannot say"):
        cut(posts=tied, centreline={"path": "x", "start": {"post": "7"}})
    lon, lat = at(1000)
    placed = {"unit": "km", "at": [{"post": "5", "longitude": lon, "latitude": lat}]}
    found = cut(posts=placed, centreline={"path": "x", "start": {"post": "7"}})
    assert found[0] == pytest.approx(3000, abs=0.1)


def test_posts_with_an_equation():
    """Worked: 12.00 back is 12.30 ahead at 2,000 m."""
    table = {
        "unit": "km",
        "at": [{"post": "10", "chainage_m": 0}, {"post": "20.3", "chainage_m": 10_000}],
        "equations": [{"at_chainage_m": 2000, "back": "12.00", "ahead": "12.30"}],
    }
    posts = line_posts(LINE, [], territory(posts=table), Surroundings(), 1.0)
    np.testing.assert_allclose(posts.at(np.array([1000.0, 2000.0, 10_000.0])), [11, 12.3, 20.3])
    assert posts.chainages(12.1) == ()


def test_a_part_of_a_route():
    """Law: a part keeps posts, places and curves where they are on the ground, counted from its start;
    what lies outside is gone, what reaches in is cut."""
    whole = replace(invented_profile("us").route, stops=(Station("post 40", 3200.0), Station("post 54", 25_700.0)))
    part = part_of_route(whole, 2100, 3320)  # 21,000 to 33,200 m
    assert (part.chainage[0], part.length) == (0, 12_200)
    np.testing.assert_allclose(part.posts.at(np.array([500.0])), whole.posts.at(np.array([21_500.0])))
    assert part.structures == (
        Structure("tunnel", 0, 1600, "Ombersley Tunnel", "posts"),
        Structure("bridge", 8200, 8600, "Sallow Viaduct", "posts"),
        Structure("tunnel", 12_000, 12_200, "Tunnel 2", "tags"),
    )
    assert [s.name for s in part.stations] == ["Ombersley Gap"]
    assert part.stops == (Station("post 54", 4700.0),)
    assert [(limit.start, limit.end) for limit in part.limits] == [(0, 5000), (5000, 12_200)]
    assert part.slow_orders == ()
    assert part.curves == tuple(replace(c, start=c.start - 21_000, end=c.end - 21_000) for c in whole.curves[4:7])
    np.testing.assert_array_equal(part.curvature, whole.curvature[2100:3321])
