"""Lines that are hard to read but sound: across 180°, in every quarter of the globe, odd geometry, odd spacing."""

from __future__ import annotations

import json
import sqlite3
import struct
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pyproj
import pytest
import rasterio
import shapely
from click.testing import CliRunner
from rasterio.transform import Affine

from profiler.build import build_route
from profiler.cli.main import main
from profiler.read.territory import territory_of_line
from profiler.route import Route
from tests import country

GEOD = pyproj.Geod(ellps="WGS84")
CELL = 1 / 1200
TERRITORY = """
[centreline]
path = "line.geojson"
start = { longitude = 179.97, latitude = -17.0 }
end = { longitude = -179.97, latitude = -17.0 }
[elevation]
rasters = ["*.tif"]
[posts]
unit = "km"
at = [
  { post = "10.0", longitude = 180.0, latitude = -17.0 },
  { post = "12.0", longitude = -179.9812, latitude = -17.0 },
]
[[stations]]
name = "Marram"
at = { longitude = -180.0, latitude = -17.0 }
"""


def straight(azimuth: float, at: np.ndarray, longitude: float = 10.0, latitude: float = 47.0) -> np.ndarray:
    """Places (n, 2) on a geodesic by distance [m] from a point, longitudes −180 to 180. [degree]"""
    start = (np.full(at.size, x) for x in (longitude, latitude, azimuth))
    return np.column_stack(GEOD.fwd(*start, at)[:2])


def route_of(path: Path) -> Route:
    """The route of a vector file."""
    return build_route(territory_of_line(path, ()))


def write_tile(path: Path, west: float) -> None:
    """A tile of a tenth of a degree at 17° south, rising 1 m in 0.001° eastwards from 400 m at 179.9°."""
    x = west + CELL * (np.arange(120) + 0.5)
    values = np.tile(400 + 1000 * (np.mod(x, 360) - 179.9), (60, 1)).astype("float32")
    grid = Affine(CELL, 0, west, 0, -CELL, -16.975)
    with rasterio.open(
        path, "w", "GTiff", crs=4326, transform=grid, count=1, dtype="float32", height=60, width=120, nodata=-9999
    ) as dataset:
        dataset.write(values, 1)


@pytest.fixture
def pacific(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a line of 10 km across 180° at 17° south and the two tiles under it."""
    monkeypatch.chdir(tmp_path)
    write_tile(tmp_path / "e.tif", 179.9)
    write_tile(tmp_path / "w.tif", -180.0)
    x = np.linspace(179.953, 180.047, 335)
    country.write_lines(
        tmp_path / "line.geojson", np.column_stack((np.where(x > 180, x - 360, x), np.full(335, -17.0)))
    )
    return tmp_path


def test_a_line_across_180_degrees_from_file_to_tables(pacific: Path):
    """Worked: ends, posts and a station given on either side; the ground is a plane, 400 m at 179.9° east,
    and the rail on it rises 1 m in 0.001°, by the geodesic 106.44 m: 9.395 ‰.
    """
    (pacific / "route.toml").write_text(TERRITORY)
    result = CliRunner().invoke(main, ["profile", "route.toml"])
    assert result.exit_code == 0, result.output
    rows = pd.read_csv(pacific / "route-profile/profile.csv")
    assert rows["longitude"].abs().max() <= 180
    assert (rows["longitude"].iloc[0], rows["longitude"].iloc[-1]) == pytest.approx((179.97, -179.97), abs=1e-6)
    np.testing.assert_allclose(rows["ground_m"], 400 + 1000 * (rows["longitude"] % 360 - 179.9), atol=0.02)
    assert rows["grade_pct"].median() == pytest.approx(
        0.1 / GEOD.line_length([180, 180.001], [-17, -17]) * 1000, rel=2e-3
    )
    middle = rows.iloc[(rows["longitude"].abs() - 180).abs().argmin()]
    assert float(middle["post"]) == pytest.approx(10, abs=0.01)
    told = json.loads((pacific / "route-profile/provenance.json").read_text())
    assert {"e.tif", "w.tif"} <= {item["path"] for item in told["inputs"]}
    assert "Marram" in (pacific / "route-profile/map.html").read_text()
    checked = CliRunner().invoke(main, ["check", "route.toml"])
    assert "start at 179.97000, -17.00000; end at -179.97000, -17.00000" in checked.output
    assert "coverage: 100.0% of the line has elevation" in checked.output


def test_ways_to_draw_a_line_across_180_degrees(pacific: Path):
    """Law: jumping at 180°, counted on beyond it (said), or cut there (RFC 7946, 3.1.9), it is the same line."""
    jumping = np.array(json.loads((pacific / "line.geojson").read_text())["features"][0]["geometry"]["coordinates"])
    on = jumping.copy()
    on[:, 0] %= 360
    at = int(np.flatnonzero(on[:, 0] > 180)[0])
    cut = np.vstack((on[:at], [180, -17])), np.vstack(([-180, -17], jumping[at:]))
    whole = route_of(pacific / "line.geojson")
    counted = route_of(country.write_lines(pacific / "on.geojson", on))
    assert "longitudes beyond 180° taken as counted on round the globe" in counted.assumptions
    np.testing.assert_allclose(counted.longitude, whole.longitude, atol=1e-12)
    for pieces in (cut, cut[::-1], (cut[0], cut[1][::-1])):
        route = route_of(country.write_lines(pacific / "cut.geojson", *pieces))
        assert route.length == pytest.approx(whole.length, abs=0.01)
        assert np.abs(np.diff(route.longitude)).max() < 0.001


@pytest.mark.parametrize("azimuth", [0.0, 90.0, 180.0, 217.0])
@pytest.mark.parametrize(
    "place", [(150, -33), (-70, -23), (-110, 40), (20, 0), (0, 0.02), (0, 51), (180, -17), (-180, 65), (31, 83.5)]
)
def test_every_quarter_of_the_globe(tmp_path: Path, place: tuple[float, float], azimuth: float):
    """Outside: pyproj.Geod: 4 km along meridians, the equator and askew are 4 km, and straight."""
    route = route_of(country.write_lines(tmp_path / "line.geojson", straight(azimuth, np.arange(0, 4001, 40), *place)))
    assert route.length == pytest.approx(4000, abs=0.02)
    assert not route.curves
    off = np.mod(route.heading[0] - np.radians(azimuth) + np.pi, 2 * np.pi) - np.pi
    assert off == pytest.approx(0, abs=1e-3)


@pytest.mark.parametrize(
    "at",
    [[0, 6000], [0, 20, 6000], [0, 10, 25], [0, 15], np.arange(0, 1500.1, 0.5), np.arange(0, 8001, 2000)],
    ids=["two vertices", "three", "25 m", "15 m", "every half metre", "every 2 km"],
)
def test_spacing_of_vertices(tmp_path: Path, at: list[float] | np.ndarray):
    """Outside: pyproj.Geod: however the vertices are spaced a straight line keeps its length, and is straight."""
    place = straight(60.0, np.asarray(at, dtype=float))
    route = route_of(country.write_lines(tmp_path / "line.geojson", place))
    assert route.length == pytest.approx(at[-1], abs=0.02)
    assert not route.curves


@pytest.mark.parametrize("apart", [0.0, 1e-10, 1e-8])
def test_vertices_drawn_twice(tmp_path: Path, apart: float):
    """Law: doubled vertices, the same or up to a millimetre apart, change nothing; the same ones are counted."""
    place = np.repeat(straight(60.0, np.arange(0, 3001, 20.0)), 2, axis=0)
    place[1::2] += apart
    route = route_of(country.write_lines(tmp_path / "line.geojson", place, place[:1].repeat(3, axis=0)))
    assert route.length == pytest.approx(3000, abs=0.02)
    assert not route.curves
    said = "left out: 1 × line without length, 153 × vertex drawn twice" if apart == 0 else "1 × line without length"
    assert any(said in text for text in route.assumptions)


def test_a_stray_vertex_is_said_by_every_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Worked: the 101st vertex moved 0.0045° north, 500 m; the line is as long as without it."""
    monkeypatch.chdir(tmp_path)
    place = straight(90.0, np.arange(0, 4001, 20.0))
    place[100, 1] += 0.0045
    country.write_lines(Path("line.geojson"), place)
    result = CliRunner().invoke(main, ["check", "line.geojson"])
    assert result.exit_code == 0
    said = f"feature 1: the vertex at {place[100, 0]:.5f}, {place[100, 1]:.5f} lies 500 m aside of its neighbours"
    assert said in result.output
    assert "joined to 4.000 km" in result.output


def test_feet_and_mixed_layers(tmp_path: Path):
    """Outside: pyproj: a line in US survey feet is as long as in degrees; points and areas are no lines."""
    place = straight(60.0, np.arange(0, 4001, 40.0), -74.0, 40.7)
    feet = np.column_stack(pyproj.Transformer.from_crs(4326, 2263, always_xy=True).transform(*place.T))
    shapes = [
        shapely.MultiLineString([feet[:51], feet[50:]]),
        shapely.Point(feet[0]),
        shapely.Point(feet[9]).buffer(500),
    ]
    geopandas.GeoDataFrame(geometry=shapes, crs=2263).to_file(tmp_path / "feet.gpkg")
    route = route_of(tmp_path / "feet.gpkg")
    assert route.length == pytest.approx(4000, abs=0.02)
    assert "left out: 1 × not a line" in route.assumptions


@pytest.mark.parametrize("height", [False, True], ids=["M", "ZM"])
def test_measured_coordinates(tmp_path: Path, height: bool):
    """Published: ISO WKB types 2002 and 3002 (OGC 06-103r4, table 7): measures are passed over."""
    place = straight(60.0, np.arange(0, 3001, 30.0))
    path = tmp_path / "measured.gpkg"
    geopandas.GeoDataFrame(geometry=[shapely.LineString(place)], crs=4326).to_file(path)
    rest = [5.0, 1.0] if height else [1.0]
    body = b"".join(struct.pack(f"<{2 + len(rest)}d", *xy, *rest) for xy in place)
    head = b"GP\0\1" + struct.pack("<iBII", 4326, 1, 3002 if height else 2002, len(place))
    with sqlite3.connect(path) as table:
        for (name,) in table.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            table.execute(f'DROP TRIGGER "{name}"')
        table.execute("UPDATE measured SET geom = ?", (head + body,))
        table.execute("UPDATE gpkg_geometry_columns SET m = 1, z = ?", (int(height),))
    table.close()
    assert route_of(path).length == pytest.approx(3000, abs=0.02)
