"""Every format written by a library and read back; every way a file can fail to be one."""

from __future__ import annotations

import gzip
import json
import warnings
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyproj
import pytest
from shapely.geometry import LineString, MultiLineString, Point, Polygon

from profiler.errors import InputError, MissingCRSError
from profiler.read.centreline import read_centreline
from profiler.read.points import read_points

LINE = [(-31.40, -38.10), (-31.39, -38.11), (-31.37, -38.12)]
SECOND = [(-31.37, -38.12), (-31.36, -38.14)]
OSM_NODES = "".join(
    f'<node id="{i}" lat="{lat}" lon="{lon}"/>' for i, (lon, lat) in enumerate([*LINE, (-31.36, -38.14)], 1)
)


def frame(crs=4326, **columns) -> gpd.GeoDataFrame:
    columns = columns or {"track": ["one", None]}
    return gpd.GeoDataFrame(columns, geometry=[LineString(LINE), LineString(SECOND)], crs=4326).to_crs(crs)


def written(path: Path, data: gpd.GeoDataFrame, **options) -> Path:
    with warnings.catch_warnings(action="ignore"):
        data.to_file(path, engine="pyogrio", **options)
    return path


def geojson(path: Path, *features: dict, **members) -> Path:
    whole = {"type": "FeatureCollection", **members, "features": list(features)}
    path.write_text(json.dumps(whole), encoding="utf-8")
    return path


def feature(coordinates, kind="LineString", **properties) -> dict:
    geometry = {"type": kind, "coordinates": coordinates}
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def way(number: int, nodes: list[int], **tags: str) -> str:
    inside = "".join(f'<nd ref="{n}"/>' for n in nodes)
    return f'<way id="{number}">{inside}{"".join(f"<tag k={k!r} v={v!r}/>" for k, v in tags.items())}</way>'


def osm(*parts: str) -> str:
    return f'<?xml version="1.0"?><osm version="0.6">{OSM_NODES}{"".join(parts)}</osm>'


def assert_line(centreline, tolerance=1e-7):
    first, second = sorted(centreline.pieces, key=lambda piece: -piece.longitude.size)  # .fgb sorts by place
    np.testing.assert_allclose(np.column_stack((first.longitude, first.latitude)), LINE, atol=tolerance)
    np.testing.assert_allclose(np.column_stack((second.longitude, second.latitude)), SECOND, atol=tolerance)


def refused(path, *words: str, error=InputError, **options):
    """The one sentence names the file and says these words."""
    with pytest.raises(error) as caught:
        read_centreline(path, **options)
    text = str(caught.value)
    assert Path(path).name in text
    assert "\n" not in text
    for word in words:
        assert word in text, text


@pytest.mark.parametrize("suffix", [".geojson", ".json", ".gpkg", ".shp", ".fgb", ".kml", ".gpkg.gz", ".geojson.gz"])
def test_formats_give_the_line_that_was_written(tmp_path, suffix):
    """Law: what a library wrote is read back, to its decimals, attributes without the missing ones."""
    plain = written(tmp_path / f"line{suffix.removesuffix('.gz')}", frame(), **_driver(suffix))
    path = plain
    if suffix.endswith(".gz"):
        path = tmp_path / f"line{suffix}"
        path.write_bytes(gzip.compress(plain.read_bytes()))
    centreline = read_centreline(path)
    assert_line(centreline)
    assert centreline.crs == ("OGC:CRS84" if "json" in suffix else "EPSG:4326")
    assert centreline.source == path.name
    if suffix != ".kml":  # its driver adds fields of its own
        assert [dict(p.attributes) for p in centreline.pieces if p.longitude.size == 3] == [{"track": "one"}]
        assert [dict(p.attributes) for p in centreline.pieces if p.longitude.size == 2] == [{}]
    assert [piece.row for piece in centreline.pieces] == [1, 2]


def _driver(suffix: str) -> dict[str, str]:
    name = {".json": "GeoJSON", ".kml": "LIBKML"}.get(suffix.removesuffix(".gz"))
    return {"driver": name} if name else {}


@pytest.mark.parametrize("crs", [32725, 3857, 4258, 2056])
@pytest.mark.parametrize("suffix", [".gpkg", ".shp", ".fgb"])
def test_declared_systems_are_carried_to_longitude_and_latitude(tmp_path, crs, suffix):
    """Outside: pyproj's own inverse from the same system, done by geopandas when writing."""
    if crs == 2056:
        line = LineString([(2_600_000, 1_200_000), (2_610_000, 1_205_000)])
        path = written(tmp_path / f"x{suffix}", gpd.GeoDataFrame(geometry=[line], crs=crs))
        piece = read_centreline(path).pieces[0]
        # Published: swisstopo, the origin of LV95 is the old observatory of Bern.
        assert piece.longitude[0] == pytest.approx(7.43864, abs=2e-5)
        assert piece.latitude[0] == pytest.approx(46.95108, abs=2e-5)
        return
    centreline = read_centreline(written(tmp_path / f"x{suffix}", frame(crs)))
    assert_line(centreline)
    assert centreline.crs == f"EPSG:{crs}"


def test_heights_are_kept_where_all_vertices_have_one(tmp_path):
    """Worked: three heights written, three read; heights all 0 are a filler and said so."""
    path = geojson(tmp_path / "a.geojson", feature([(*p, h) for p, h in zip(LINE, (10, 11, 12), strict=True)]))
    centreline = read_centreline(path)
    np.testing.assert_array_equal(centreline.pieces[0].height, [10, 11, 12])
    assert centreline.crs == "EPSG:4326"
    flat = read_centreline(geojson(tmp_path / "b.geojson", feature([(*p, 0) for p in LINE])))
    assert flat.pieces[0].height is None
    assert any("heights" in said for said in flat.assumptions)


def test_multilines_split_and_repeated_vertices_drop(tmp_path):
    """Worked: two parts and one repeated vertex in one feature; a second feature of no length."""
    whole = MultiLineString([[LINE[0], LINE[0], *LINE[1:]], SECOND])
    data = gpd.GeoDataFrame(geometry=[whole, LineString([LINE[0], LINE[0]])], crs=4326)
    centreline = read_centreline(written(tmp_path / "m.gpkg", data))
    assert_line(centreline)
    assert [piece.row for piece in centreline.pieces] == [1, 1]
    assert centreline.left_out == {"line without length": 1, "vertex drawn twice": 2}
    assert "1 × line without length" in centreline.assumptions[0]


def test_points_of_the_same_layer_come_along(tmp_path):
    """Worked: with a field `railway` only stations, halts and mileposts; without it all points."""
    stop, switch = feature(LINE[0], "Point", railway="halt"), feature(LINE[1], "Point", railway="switch")
    ring = feature([[*LINE, LINE[0]]], "Polygon")
    path = geojson(tmp_path / "p.geojson", feature(LINE, railway="rail"), stop, switch, ring)
    centreline = read_centreline(path)
    assert [(p.longitude, p.latitude) for p in centreline.points] == [LINE[0]]
    assert centreline.left_out == {"not a line": 1}
    plain = geojson(tmp_path / "q.geojson", feature(LINE), feature(LINE[0], "Point", name="Farrow"))
    assert read_centreline(plain).points[0].attributes == {"name": "Farrow"}


def test_service_tracks_and_lines_out_of_use_drop_by_default(tmp_path):
    """Worked: five tagged lines, of which one is a running line; reasons are counted and said."""
    lines = [
        feature(LINE, railway="rail"),
        feature(LINE, railway="rail", service="siding"),
        feature(LINE, railway="abandoned"),
        feature(LINE, railway="rail", disused="yes"),
        feature(LINE, railway="narrow_gauge"),
    ]
    centreline = read_centreline(geojson(tmp_path / "a.geojson", *lines))
    assert [piece.row for piece in centreline.pieces] == [1]
    assert centreline.left_out == {"abandoned": 1, "disused": 1, "narrow gauge": 1, "service track": 1}
    assert "1 × service track" in centreline.assumptions[0]


@pytest.mark.parametrize(
    ("keep", "rows"),
    [
        ({"railway": ["narrow_gauge"]}, [3]),
        ({"ref": ["5051"]}, [1]),
        ({"ref": ["5051"], "service": ["", "siding"]}, [1, 2]),
        ({"railway": ["rail", "narrow_gauge"], "ref": ["", "5051"]}, [1, 3]),
    ],
)
def test_keep_chooses_by_value(tmp_path, keep, rows):
    """Worked: by hand on three lines; "" is no value, a number of a column with gaps is its text."""
    data = gpd.GeoDataFrame(
        {"railway": ["rail", "rail", "narrow_gauge"], "ref": [5051.0, 5051.0, None], "service": [None, "siding", None]},
        geometry=[LineString(LINE)] * 3,
        crs=4326,
    )
    centreline = read_centreline(written(tmp_path / "a.gpkg", data), keep=keep)
    assert [piece.row for piece in centreline.pieces] == rows


def test_keep_of_an_unknown_field_or_of_nothing_is_refused(tmp_path):
    """Law: a filter never passes in silence."""
    path = geojson(tmp_path / "a.geojson", feature(LINE, railway="tram", name="x"))
    refused(path, "railwy", "did you mean railway", keep={"railwy": ["rail"]})
    refused(path, "none of its lines is left", "1 × tram", "keep")


def test_layers_by_name_or_the_only_one_with_lines(tmp_path):
    """Law: of several layers with lines none is guessed; points and tables do not count."""
    path = tmp_path / "a.gpkg"
    written(path, gpd.GeoDataFrame(geometry=[Point(LINE[0])], crs=4326), layer="posts")
    written(path, frame(), layer="tracks")
    assert_line(read_centreline(path))
    assert read_points(path)[0].longitude == LINE[0][0]
    written(path, frame(), layer="other")
    refused(path, "several layers", '"tracks"', '"other"')
    assert_line(read_centreline(path, layer="other"))
    refused(path, "layer trakcs", "there is no such layer", '"tracks"', layer="trakcs")
    refused(path, "holds no lines", layer="posts")
    area = gpd.GeoDataFrame(geometry=[Polygon([*LINE, LINE[0]])], crs=4326)
    refused(written(tmp_path / "area.gpkg", area), "no layer holds lines")


def test_openstreetmap_ways_and_nodes(tmp_path):
    """Worked: four ways of which two are running line; a halt and a milepost of three nodes."""
    halt = '<node id="11" lat="-38.1" lon="-31.4"><tag k="railway" v="halt"/><tag k="name" v="A &quot;B&quot;"/></node>'
    tags = '<tag k="railway" v="milestone"/><tag k="railway:position" v="1.2"/>'
    post = f'<node id="12" lat="-38.1" lon="-31.4">{tags}</node>'
    switch = '<node id="13" lat="-38.1" lon="-31.4"><tag k="railway" v="switch"/></node>'
    ways = [
        way(1, [1, 2, 3], railway="rail", usage="main", tunnel="yes"),
        way(2, [3, 4], railway="rail"),
        way(3, [1, 2], highway="track"),
        way(4, [1, 2], railway="rail", service="yard"),
    ]
    path = tmp_path / "area.osm.gz"
    path.write_bytes(gzip.compress(osm(halt, post, switch, *ways).encode()))
    centreline = read_centreline(path)
    assert_line(centreline)
    assert centreline.pieces[0].attributes == {"osm_id": "1", "railway": "rail", "usage": "main", "tunnel": "yes"}
    assert centreline.left_out == {"service track": 1}
    assert [p.attributes["railway"] for p in centreline.points] == ["halt", "milestone"]
    assert centreline.points[0].attributes["name"] == 'A "B"'
    assert [p.attributes.get("railway:position") for p in read_points(path)] == [None, "1.2"]
    refused(path, "layer multipolygons", layer="multipolygons")


def gpx(body: str) -> str:
    return f'<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">{body}</gpx>'


def gpx_points(name: str, places, inside: str = "") -> str:
    return "".join(f'<{name} lat="{lat}" lon="{lon}">{inside}</{name}>' for lon, lat in places)


def test_gpx_tracks_before_routes(tmp_path):
    """Worked: two segments of a track, one of a single point; the route only when asked for."""
    track = (
        f"<trk><name>Line</name><trkseg>{gpx_points('trkpt', LINE, '<ele>7</ele>')}</trkseg>"
        f"<trkseg>{gpx_points('trkpt', LINE[:1])}</trkseg><trkseg>{gpx_points('trkpt', SECOND)}</trkseg></trk>"
    )
    route = f"<rte>{gpx_points('rtept', SECOND)}</rte>"
    waypoint = gpx_points("wpt", LINE[:1], "<name>Farrow</name>")
    path = tmp_path / "a.gpx"
    path.write_text(gpx(waypoint + route + track))
    centreline = read_centreline(path)
    assert_line(centreline)
    np.testing.assert_array_equal(centreline.pieces[0].height, [7, 7, 7])
    assert centreline.pieces[1].height is None
    assert centreline.pieces[0].attributes == {"name": "Line"}
    assert centreline.points[0].attributes == read_points(path)[0].attributes == {"name": "Farrow"}
    assert centreline.left_out == {"segment of a single point": 1}
    assert len(read_centreline(path, layer="routes").pieces) == 1
    path.write_text(gpx(route))
    assert read_centreline(path).pieces[0].longitude.tolist() == [-31.37, -31.36]
    refused(path, "there is no such layer", layer="waypoints")


@pytest.mark.parametrize(
    ("attributes", "words"),
    [('lat="abc" lon="2"', 'lat="abc"'), ('lon="2"', 'lat=""'), ('lat="nan" lon="2"', "not a number")],
)
def test_gpx_positions_that_are_none(tmp_path, attributes, words):
    """Outside: GDAL reads the first of these as latitude 0; here it is refused with its place."""
    path = tmp_path / "a.gpx"
    path.write_text(gpx(f"<trk><trkseg>{gpx_points('trkpt', LINE)}<trkpt {attributes}/></trkseg></trk>"))
    refused(path, words)


BOMB = '<!DOCTYPE x [<!ENTITY a "lol"><!ENTITY b "&a;&a;&a;">]>'

CONTENT = {
    "empty.geojson": ("", "is empty"),
    "words.geojson": ("hello", "does not begin like GeoJSON"),
    "virtual.geojson": ("<OGRVRTDataSource/>", "does not begin like GeoJSON"),
    "cut.geojson": ('{"type": "FeatureCollection", "features": [{"type": "Feat', "damaged"),
    "nothing.geojson": ('{"type": "FeatureCollection", "features": []}', "holds no lines"),
    "bad.gpkg": ("SQLite format 3\0" + "abc" * 100, "damaged"),
    "text.gpkg": ("hello", "does not begin like GeoPackage"),
    "text.shp": ("hello" * 30, "does not begin like Shapefile"),
    "bad.fgb": ("fgb\x03fgb\x00" + "abc" * 100, "damaged"),
    "none.kml": ('<kml xmlns="http://www.opengis.net/kml/2.2"><Document/></kml>', "holds no layer"),
    "bomb.kml": (f"{BOMB}<kml>&b;</kml>", "entities"),
    "cut.kml": ("<kml><Document>", "is not sound XML"),
    "other.kml": ("<gpx/>", "not KML"),
    "letters.kml": ("<kml><Placemark><Point><coordinates>a,b</coordinates></Point></Placemark></kml>", "'a,b'"),
    "bomb.gpx": (f"{BOMB}<gpx>&b;</gpx>", "entities"),
    "other.gpx": ("<kml/>", "not GPX"),
    "none.gpx": ("<gpx/>", "holds no lines"),
    "bomb.osm": (f'{BOMB}<osm version="0.6"/>', "does not begin like OpenStreetMap XML"),
    "none.osm": ('<osm version="0.6"/>', "holds no lines"),
    "cut.osm": (osm(way(1, [1, 2], railway="rail"))[:-20], "damaged"),
    "text.osm.pbf": ("hello" * 9, "does not begin like OpenStreetMap PBF"),
    "line.txt": ("hello", ".txt"),
    "line": ("hello", "no line is read"),
}  # fmt: skip


@pytest.mark.parametrize("name", CONTENT)
def test_files_that_are_not_what_they_claim(tmp_path, name):
    """Law: one sentence, naming the file and what is wrong with it."""
    content, words = CONTENT[name]
    path = tmp_path / name
    path.write_text(content, encoding="latin-1")
    refused(path, words)


def test_osm_node_without_a_position(tmp_path):
    """Outside: GDAL reads lat="abc" as 0; a real place on the equator passes."""
    path = tmp_path / "a.osm"
    odd = '<node id="9" lat="abc" lon="-31.3"/>'
    path.write_text(osm(odd, way(1, [1, 9], railway="rail")))
    refused(path, 'lat="abc"')
    path.write_text(osm(odd.replace("abc", "0.0"), way(1, [1, 9], railway="rail")))
    assert read_centreline(path).pieces[0].latitude[1] == 0


def test_missing_files_folders_and_companions(tmp_path):
    """Law: each with its own words."""
    refused(tmp_path / "no.gpkg", "there is no such file")
    (tmp_path / "folder.gpkg").mkdir()
    refused(tmp_path / "folder.gpkg", "is a folder")
    for suffix, error, words in ((".prj", MissingCRSError, ".prj"), (".dbf", InputError, "line.dbf is missing")):
        path = written(tmp_path / "line.shp", frame())
        path.with_suffix(suffix).unlink()
        refused(path, words, error=error)
    path = written(tmp_path / "line.shp", frame())
    path.with_suffix(".shx").unlink()
    refused(path, "line.shx is missing")


def test_cut_binary_and_packed_files(tmp_path):
    """Law: a file cut anywhere is damaged, not shorter."""
    whole = written(tmp_path / "a.fgb", frame()).read_bytes()
    (tmp_path / "b.fgb").write_bytes(whole[:-30])
    refused(tmp_path / "b.fgb", "damaged")
    (tmp_path / "c.fgb").write_bytes(whole[:150])
    refused(tmp_path / "c.fgb", "damaged")
    packed = gzip.compress(json.dumps({"type": "FeatureCollection", "features": []}).encode() * 100)
    (tmp_path / "d.geojson.gz").write_bytes(packed[:-20])
    refused(tmp_path / "d.geojson.gz", "cut short")
    (tmp_path / "e.geojson.gz").write_bytes(b"hello, this is plain text")
    refused(tmp_path / "e.geojson.gz", "not gzip")


def test_a_file_that_unpacks_without_end_is_stopped(tmp_path, monkeypatch):
    """Law: unpacking is bounded; the bound is lowered here to keep the test small."""
    monkeypatch.setattr("profiler.read.opening._UNPACK_FREELY", 1000)
    (tmp_path / "z.geojson.gz").write_bytes(gzip.compress(b"0" * 3_000_000))
    refused(tmp_path / "z.geojson.gz", "unpacks to more than")


def test_reference_systems_missing_unknown_or_unsuited(tmp_path):
    """Outside: GDAL takes an unknown crs member for EPSG:4326 and metres for degrees, both in silence."""
    refused(written(tmp_path / "a.gpkg", frame().set_crs(None, allow_override=True)), "CRS", error=MissingCRSError)
    unknown = {"type": "name", "properties": {"name": "EPSG:99999"}}
    refused(geojson(tmp_path / "b.geojson", feature(LINE), crs=unknown), "EPSG:99999", "not known")
    refused(geojson(tmp_path / "c.geojson", feature(LINE), crs={"type": "link"}), "crs member")
    french = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::2154"}}
    refused(geojson(tmp_path / "d.geojson", feature(LINE), crs=french), "looks like degrees", "EPSG:2154")
    metres = feature([(700_000, 6_600_000), (701_000, 6_600_000)])
    refused(geojson(tmp_path / "e.geojson", feature(LINE), metres), "feature 2", "700000", "does not suit degrees")
    there = pyproj.Transformer.from_crs(2154, 4326, always_xy=True).transform(700_000, 6_600_000)
    piece = read_centreline(geojson(tmp_path / "f.geojson", metres, crs=french)).pieces[0]
    assert (piece.longitude[0], piece.latitude[0]) == pytest.approx(there, abs=1e-9)


@pytest.mark.parametrize(
    ("coordinates", "words"),
    [
        ([(1, 2)], "single point"),
        ([("a", "b"), (1, 2)], "not numbers"),
        ([(1, 2), (float("nan"), 3)], "not a number"),
        ([(1, 83), (1, 85)], "84°"),
        ([(400, 2), (401, 2)], "(400, 2) does not suit degrees"),
        ([(3, 95), (3, 96)], "(3, 95) does not suit degrees"),
        ([(-38, 131), (-38, 132)], "exchange the two if latitude stands first"),
    ],
)
def test_coordinates_that_make_no_line_name_their_feature(tmp_path, coordinates, words):
    """Law: the feature is named by its number in the file, from 1."""
    path = geojson(tmp_path / "a.geojson", feature(LINE), feature(coordinates))
    refused(path, "feature 2", words)


def test_features_without_geometry_are_counted(tmp_path):
    """Worked: one of two features has none."""
    empty = {"type": "Feature", "properties": {}, "geometry": None}
    centreline = read_centreline(geojson(tmp_path / "a.geojson", empty, feature(LINE)))
    assert centreline.left_out == {"no geometry": 1}
    assert centreline.pieces[0].row == 2


def test_points_of_every_kind(tmp_path):
    """Law: single and multiple points in order of the file; a file of lines has none."""
    path = geojson(
        tmp_path / "a.geojson", feature(LINE, "MultiPoint", km="1"), feature(SECOND[1], "Point", km="2"), feature(LINE)
    )
    points = read_points(path)
    assert [(p.longitude, p.latitude) for p in points] == [*LINE, SECOND[1]]
    assert [(p.row, p.attributes["km"]) for p in points] == [(1, "1")] * 3 + [(2, "2")]
    with pytest.raises(InputError, match=r"b\.geojson: no layer holds points"):
        read_points(geojson(tmp_path / "b.geojson", feature(LINE)))
    kml = written(tmp_path / "c.kml", gpd.GeoDataFrame(geometry=[Point(LINE[0])], crs=4326), driver="LIBKML")
    assert read_points(kml)[0].longitude == pytest.approx(LINE[0][0])
