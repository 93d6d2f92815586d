"""An OpenStreetMap extract to territory files that can be checked and profiled as they stand."""

from __future__ import annotations

import hashlib
import json
import tomllib
import unicodedata
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from pipelines.area import lines_of_area, survey, write_lines
from profiler import (
    Centreline,
    InputError,
    MissingCRSError,
    Piece,
    PointFeature,
    RouteError,
    build_profile,
    build_route,
    read_centreline,
    read_territory,
)
from profiler.cli.main import main
from tests import country
from tests.pipelines.mapped import Mapped, leaving, straight

ELEVATION = {"rasters": ["ground.tif"], "vertical_datum": "EGM2008", "vertical_unit": "m"}
MIDDLE = tuple(country.degrees(np.array([country.WEST + 6000.0]), np.array([country.NORTH - 1500.0]))[0].tolist())
"""Middle of the invented ground, 12 km by 3 km. [degree]"""


def farrow() -> Mapped:
    """Nine kilometres of two tracks with a bridge, a tunnel, limits, posts and three stations; a branch at 1 km."""
    m = Mapped(*MIDDLE)
    common = {"ref": "71", "name": "Marram and Sallow Railway"}
    for north in (0.0, 4.0):
        m.way(straight(-4500, -2000, north), maxspeed="100", **common)
        m.way(straight(-2000, -1800, north), maxspeed="100", bridge="yes", bridge__name="Reed Viaduct", **common)
        m.way(straight(-1800, 2000, north), maxspeed__forward="80", maxspeed__backward="90", **common)
        # drawn against the others
        m.way(straight(2000, 2600, north)[::-1], tunnel="yes", maxspeed="signals", **common)
        m.way(straight(2600, 4500, north), maxspeed="60 mph", **common)
    m.way(leaving(1000, 4, 1500, to=1), ref="72", usage="branch")
    for x, name in ((-4300, "Marram"), (0, "Sedge"), (4200, "Sallow")):
        m.node(x, 40, railway="station", name=name)
    m.node(30, -60, railway="halt", name="Sedge")
    m.node(500, 10, railway="station", name="Sedge Underground", station="subway")
    m.node(1980, 1000, railway="station", name="Fescue")
    for x in range(-4000, 4001, 1000):
        m.node(x, 8, railway="milestone", railway__position=f"{(24_500 - x) / 1000:.1f}")
    m.node(1500, 8, railway="milestone", railway__position="99.9")
    m.node(2500, 8, railway="milestone", railway__position="lost")
    return m


@pytest.fixture
def extract(tmp_path: Path) -> Path:
    return farrow().write(tmp_path / "farrow.osm.pbf")


def test_what_stands_along_a_line(extract: Path):
    """Law: pieces, stations once each in order, posts that agree, rising; limits by pieces, the lower direction."""
    area = lines_of_area(extract)
    assert [line.name for line in area.lines] == ["71 Sallow-Sedge", "71 Sedge-Marram", "72 Sedge-Fescue"]
    east, west, branch = area.lines
    assert [station.name for station in west.stations] == ["Sedge", "Marram"]
    assert [tied.post.value for tied in east.posts] == [20.5, 21.5, 22.5, 23.5]
    assert [tied.post.value for tied in west.posts] == [23.5, 24.5, 25.5, 26.5, 27.5, 28.5]
    assert "2 of 6 posts are left out: they do not agree with the others" in east.said
    # posts rise from east to west, so that is how the line runs, and forward is backward
    assert [(limit.speed.figure, limit.speed.unit) for limit in east.limits] == [(60, "mph"), (80, "km/h")]
    assert [limit.speed.figure for limit in west.limits] == [80, 100]
    assert "maxspeed passed over: signals (1 way)" in east.said
    assert "over 1.0 km the directions have different speed limits: the lower one is taken" in east.said
    assert west.line == "Marram and Sallow Railway"
    assert branch.posts == ()
    tags = [piece.attributes for piece in east.pieces if "maxspeed:forward" in piece.attributes]
    assert [(t["maxspeed:forward"], t["maxspeed:backward"]) for t in tags] == [("90", "80")]


def test_every_file_can_be_checked_and_profiled(extract: Path, tmp_path: Path):
    """Law: `check` takes every territory as it stands, and a profile knows its structures, limits and posts."""
    lines = lines_of_area(extract).lines
    paths = write_lines(lines, tmp_path / "out", elevation=ELEVATION, invented=True)
    country.write_ground(tmp_path / "out" / "ground.tif")
    for path, line in zip(paths, lines, strict=True):
        result = CliRunner().invoke(main, ["check", str(path)])
        assert result.exit_code == 0, result.output
        assert "can be used" in result.output
        route = build_route(read_territory(path))
        assert route.length == pytest.approx(line.length, abs=10)  # on the ground at 300 m
        assert route.name == line.name
        assert [station.name for station in route.stations] == [station.name for station in line.stations]
    east = build_profile(read_territory(paths[0]))
    assert east.invented
    (tunnel,) = east.route.structures
    assert (tunnel.kind, tunnel.name) == ("tunnel", "")
    # between 1.9 and 2.5 km from the east end
    assert (tunnel.start, tunnel.end) == (pytest.approx(1900, abs=3), pytest.approx(2500, abs=3))
    assert [round(limit.speed * 3.6, 1) for limit in east.route.limits] == [96.6, 80.0]
    assert float(east.route.posts.at(500.0)) == pytest.approx(20.5, abs=0.005)
    (viaduct,) = build_route(read_territory(paths[1])).structures
    assert (viaduct.kind, viaduct.name) == ("bridge", "Reed Viaduct")
    assert viaduct.end - viaduct.start == pytest.approx(200, abs=2)


def contents(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir()}


def test_same_input_same_bytes(extract: Path, tmp_path: Path):
    """Law: from .pbf or .osm the same lines; written twice the same bytes; what an earlier run left is gone."""
    lines = lines_of_area(extract).lines
    write_lines(lines, tmp_path / "a", elevation=ELEVATION)
    write_lines(lines[:1], tmp_path / "b")
    (tmp_path / "b" / "mine.toml").write_text("[route]\n")
    write_lines(lines, tmp_path / "b", elevation=ELEVATION)
    (tmp_path / "b" / "mine.toml").unlink()
    assert contents(tmp_path / "a") == contents(tmp_path / "b")
    write_lines(lines[1:], tmp_path / "b")
    assert f"{lines[0].slug}.toml" not in contents(tmp_path / "b")
    (tmp_path / "xml").mkdir()
    text = lines_of_area(farrow().write(tmp_path / "xml" / "farrow.osm.pbf")).lines
    assert [(x.name, x.length) for x in text] == [(x.name, x.length) for x in lines]
    xml = survey(read_centreline(farrow().write(tmp_path / "farrow.osm"))).lines
    assert [(x.name, round(x.length, 3)) for x in xml] == [(x.name, round(x.length, 3)) for x in lines]


def test_the_file_names_its_source(extract: Path, tmp_path: Path):
    """Law: OpenStreetMap is credited unless the line is invented; drawings are sound GeoJSON on the globe."""
    lines = lines_of_area(extract).lines
    real, invented = (
        write_lines(lines, tmp_path / str(i), invented=bool(i))[0].read_text(encoding="utf-8") for i in (0, 1)
    )
    said = "the line is as drawn by OpenStreetMap contributors; licence of the drawing: Open Database License 1.0"
    assert any(
        x.startswith(said) for x in build_route(read_territory(tmp_path / "0" / f"{lines[0].slug}.toml")).assumptions
    )
    assert "OpenStreetMap" not in invented
    assert "# maxspeed passed over: signals (1 way)" in real
    assert tomllib.loads(real)["route"]["units"] == "metric"
    drawing = json.loads((tmp_path / "0" / f"{lines[0].slug}.geojson").read_text(encoding="utf-8"))
    assert len(drawing["features"]) == len(lines[0].pieces)


def test_lines_of_miles(tmp_path: Path):
    """Law: where posts are in miles people read miles."""
    m = Mapped()
    m.way(straight(0, 8000), maxspeed="50 mph")
    for i in range(4):
        m.node(500 + 1609.344 * i, 10, railway="milestone", railway__position=f"mi:{7 + i}")
    (line,) = lines_of_area(m.write(tmp_path / "a.osm.pbf")).lines
    assert line.units == "us"
    (path,) = write_lines([line], tmp_path, invented=True)
    route = build_route(read_territory(path))
    assert float(route.posts.at(500.0)) == pytest.approx(7, abs=0.01)
    assert route.posts.unit == "mi"


def test_between_named_stations(extract: Path):
    """Law: from one station to the other, as asked, over junctions; its ends are at the stations."""
    area = lines_of_area(extract, between=[("Marram", "Sallow"), ("marram", "Fescue")])
    through, branch = sorted(area.lines, key=lambda line: -line.length)
    assert through.name == "71 Marram-Sallow"
    assert through.length == pytest.approx(8500, abs=1)
    assert [station.name for station in through.stations] == ["Marram", "Sedge", "Sallow"]
    assert [tied.post.value for tied in through.posts] == [28.5, 27.5, 26.5, 25.5, 24.5, 23.5, 22.5, 21.5, 20.5]
    assert branch.stations[0].name == "Marram"
    assert branch.length < through.length


def test_between_refuses(extract: Path, tmp_path: Path):
    """Law: no such station, two of one name, too far off, or no way without turning back, in one sentence."""
    with pytest.raises(InputError, match=r"there is no station Salow in it; did you mean Sallow\?"):
        lines_of_area(extract, between=[("Marram", "Salow")])
    with pytest.raises(RouteError, match="no train gets from Fescue to Sallow without turning back"):
        # the branch leaves to the east, but a train from it comes out to the west
        lines_of_area(extract, between=[("Fescue", "Sallow")])
    m = farrow()
    m.node(-4300, 60, railway="halt", name="Sedge")
    m.node(4000, 1400, railway="station", name="Far")
    m.node(4200, 80, railway="halt", name="Marram")
    path = m.write(tmp_path / "more.osm.pbf")
    with pytest.raises(InputError, match="2 stations in it are called Marram"):
        lines_of_area(path, between=[("Marram", "Sallow")])
    with pytest.raises(InputError, match=r"Far lies 1[0-9]{3} m from the nearest line"):
        lines_of_area(path, between=[("Far", "Sallow")])


def test_between_stations_of_more_than_one_track(tmp_path: Path):
    """Law: a station is where any of its tracks is: the nearest need not be the one that a train gets to. Letters
    are the same however they are composed; names are told as mapped."""
    m = Mapped()
    m.way(straight(0, 10_000), ref="7")
    m.way(straight(0, 10_000, 2000), ref="8")
    m.node(100, 10, railway="station", name=unicodedata.normalize("NFD", "Sandgräß"))
    m.node(9900, 10, railway="station", name="Dune")
    m.node(9900, 2002, railway="halt", name="Dune")
    path = m.write(tmp_path / "a.osm.pbf")
    (line,) = lines_of_area(path, between=[("SANDGRÄSS", "dune")]).lines
    assert line.name == "7 Sandgräß-Dune"
    assert unicodedata.is_normalized("NFC", line.name)
    assert line.length == pytest.approx(9800, abs=1)
    with pytest.raises(InputError, match="a way from Dune to itself is none; name two stations"):
        lines_of_area(path, between=[("dune", "Dune")])


def test_stations_drawn_as_outlines(tmp_path: Path):
    """Law: a station that is an outline only stands amid it; one that is a node too stands there once."""
    m = Mapped()
    m.way(straight(0, 12_000), ref="7")
    for x, name in ((6000, "Midway"), (9000, "Teasel")):
        corners = [(x, 10), (x + 100, 10), (x + 100, 60), (x, 60), (x, 10)]
        m.way(corners, usage="", railway="station", name=name)
    m.node(9020, 12, railway="station", name="Teasel")
    area = lines_of_area(m.write(tmp_path / "a.osm.pbf"), between=[("Midway", "Teasel")])
    (line,) = area.lines
    assert line.length == pytest.approx(9020 - 6050, abs=1)
    assert [station.name for station in line.stations] == ["Midway", "Teasel"]
    assert area.said == ()


def test_ways_without_the_tags_asked_for(tmp_path: Path):
    """Law: how much has no usage is told with what to keep for it; where nothing is left, tags that are there."""
    m = Mapped()
    m.way(straight(0, 5000))
    m.way(straight(5000, 25_000), usage="")
    path = m.write(tmp_path / "a.osm.pbf")
    area = lines_of_area(path)
    told = '1 way, 20.0 km, without usage: usage = ["main", "branch", ""] in keep takes them too'
    assert area.said[-2:] == ("ways not read: 1 × no usage", told)
    (line,) = lines_of_area(path, keep={"usage": ["main", "branch", ""]}).lines
    assert line.length == pytest.approx(25_000, abs=1)
    with pytest.raises(InputError, match=r"is usage=military; keep other tags: usage=main; 1 way, 20\.0 km, without"):
        lines_of_area(path, keep={"usage": ["military"]})
    with pytest.raises(InputError, match=r"is usge=main; no track has a tag usge; did you mean usage\?"):
        lines_of_area(path, keep={"usge": ["main"]})
    with pytest.raises(InputError, match='tracks: is both; give "one" or "all"'):
        lines_of_area(path, tracks="both")  # type: ignore[arg-type]
    with pytest.raises(InputError, match=r"none of its lines is 30000 m long \(1 shorter one\); ask for shorter lines"):
        lines_of_area(path, shortest_m=30_000)


TRICKS = ["../../../etc/passwd", "a\x00b", "CON", "🚂", "שדה\u202e", "..", "long " * 200, "$(reboot)", "x\n[elevation]"]


def test_names_with_tricks(tmp_path: Path):
    """Law: whatever lines and stations are called, files stay in the folder, have names of their own, and can be
    read back with the name cleaned."""
    m, pieces, points = Mapped(), [], []
    for i, name in enumerate([*TRICKS, "CON", "con"]):
        place = np.array([m.degrees(*point) for point in straight(0, 3000, i * 1000.0)])
        pieces.append(Piece(*place.T, {"railway": "rail", "usage": "main", "name": name}))
        for at, what in ((0, name), (-1, name + "!")):
            points.append(PointFeature(*place[at], {"railway": "station", "name": what}))
    lines = survey(Centreline("tricks.osm.pbf", tuple(pieces), "EPSG:4326", tuple(points))).lines
    assert len({line.name for line in lines}) == len({line.slug for line in lines}) == len(lines) == 11
    folder = tmp_path / "in" / "here"
    paths = write_lines(lines, folder, invented=True)
    assert {p.name for p in (tmp_path / "in").iterdir()} == {"here"}
    assert sorted(p.name for p in folder.iterdir()) == sorted(
        f"{x.slug}.{e}" for x in lines for e in ("toml", "geojson")
    )
    for path, line in zip(paths, lines, strict=True):
        assert build_route(read_territory(path)).name == line.name
        assert line.name.isprintable()


def test_what_is_kept(tmp_path: Path):
    """Law: main and branch lines unless other tags are wanted; what is not read is counted."""
    m = Mapped()
    m.way(straight(0, 3000))
    m.way(straight(0, 4000, 1000), usage="industrial")
    m.way(straight(0, 5000, 2000), railway="narrow_gauge")
    m.way(straight(0, 6000, 3000), railway="disused", usage="")
    path = m.write(tmp_path / "a.osm.pbf")
    area = lines_of_area(path)
    assert [round(line.length) for line in area.lines] == [3000]
    assert area.said[-1] == "ways not read: 1 × disused, 1 × narrow gauge, 1 × other usage"
    assert len(lines_of_area(path, keep={"usage": ["main", "industrial"]}).lines) == 2
    (narrow,) = lines_of_area(path, keep={"railway": ["narrow_gauge"], "usage": ["main"]}).lines
    (written,) = write_lines([narrow], tmp_path / "out", invented=True)
    assert build_route(read_territory(written)).length == pytest.approx(5000, abs=5)


def test_bad_extracts(extract: Path, tmp_path: Path):
    """Law: each is refused in one sentence that names the file."""
    m = Mapped()
    m.way(straight(0, 3000), railway="", highway="track", usage="")
    with pytest.raises(InputError, match=r"roads\.osm\.pbf: holds no lines"):
        lines_of_area(m.write(tmp_path / "roads.osm.pbf"))
    m = Mapped()
    m.way(straight(0, 3000), service="siding", usage="")
    with pytest.raises(InputError, match=r"sidings\.osm\.pbf: none of its lines is left \(1 × service track\)"):
        lines_of_area(m.write(tmp_path / "sidings.osm.pbf"))
    m = Mapped()
    m.way(straight(0, 3000), usage="industrial")
    with pytest.raises(InputError, match="none of its 1 railway tracks is usage=main or branch; keep other tags"):
        lines_of_area(m.write(tmp_path / "industry.osm.pbf"))
    whole = extract.read_bytes()
    (tmp_path / "cut.osm.pbf").write_bytes(whole[: len(whole) * 2 // 3])
    with pytest.raises(InputError, match=r"cut\.osm\.pbf"):
        lines_of_area(tmp_path / "cut.osm.pbf")
    for name in ("gone.osm.pbf", "empty.osm.pbf"):
        (tmp_path / "empty.osm.pbf").touch()
        with pytest.raises(InputError, match=name):
            lines_of_area(tmp_path / name)


@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_a_geopackage_from_elsewhere(tmp_path: Path):
    """Law: under the name of a .pbf it is not what its name says; under its own its lines are no railways."""
    import geopandas
    import shapely

    line = shapely.LineString(country.line())
    geopandas.GeoDataFrame({"usage": ["main"]}, geometry=[line], crs=4326).to_file(tmp_path / "pipes.gpkg")
    with pytest.raises(InputError, match="no line in it has a railway tag; give an extract of OpenStreetMap"):
        lines_of_area(tmp_path / "pipes.gpkg")
    (tmp_path / "pipes.osm.pbf").write_bytes((tmp_path / "pipes.gpkg").read_bytes())
    with pytest.raises(InputError, match="does not begin like OpenStreetMap PBF"):
        lines_of_area(tmp_path / "pipes.osm.pbf")
    nowhere = geopandas.GeoDataFrame({"railway": ["rail"]}, geometry=[line])
    nowhere.to_file(tmp_path / "nowhere.gpkg")
    with pytest.raises(MissingCRSError):
        lines_of_area(tmp_path / "nowhere.gpkg")


def test_a_disk_that_cannot_be_written(extract: Path, tmp_path: Path):
    """Law: where a file is in the way, nothing is written and the sentence says so."""
    (tmp_path / "out").write_text("mine")
    with pytest.raises(OSError, match="is in the way"):
        write_lines(lines_of_area(extract).lines, tmp_path / "out")
    assert (tmp_path / "out").read_text() == "mine"
