"""The wiring, with a line and rasters written on the spot."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pyproj
import pytest

from profiler import CoverageError, InputError, Territory, TerritoryError, build_profile, build_route, landmarks_of
from profiler.build import coverage, input_files, open_ground, relief_around, sample_ground
from profiler.drawn_line import draw_line, route_of
from profiler.read.territory import check_territory, read_territory
from profiler.units import EARTH_RADIUS
from tests.country import (
    CELL,
    COLUMNS,
    NORTH,
    PLANE,
    ROWS,
    WEST,
    degrees,
    line,
    write_ground,
    write_lines,
    write_territory,
)

GEOD = pyproj.Geod(ellps="WGS84")


def ramp() -> np.ndarray:
    """Ground (ROWS, COLUMNS) that climbs 1 % eastwards from 300 m and is flat from north to south. [m]"""
    x = (np.arange(COLUMNS) + 0.5) * CELL - 1500  # distance from the west end of the line
    return np.tile(300 + 0.01 * x, (ROWS, 1)).astype("float32")


def territory(folder: Path, **tables: object) -> Territory:
    """A line of 9 km, straight east, over a ramp."""
    folder.mkdir(parents=True, exist_ok=True)
    if not (folder / "line.geojson").exists():
        s = np.arange(0, 9001, 30.0)
        write_lines(folder / "line.geojson", degrees(WEST + 1500 + s, np.full(s.size, NORTH - 1500)))
    if not (folder / "ground.tif").exists():
        write_ground(folder / "ground.tif", ramp())
    base = {
        "centreline": {"path": "line.geojson"},
        "elevation": {"rasters": ["ground.tif"], "vertical_datum": "EGM2008", "vertical_unit": "m"},
    }
    return check_territory(base | tables, source="route.toml", folder=folder)


def test_a_ramp_end_to_end(tmp_path: Path):
    """Outside: pyproj.Geod: the line's length times 1 + h/R; Law: 1 % of ramp on the plane is the grade,
    to the plane's own scale (0.04 %); the profile names its datum and its source."""
    profile = build_profile(territory(tmp_path))
    route = profile.route
    length = GEOD.line_length(
        *np.array(json.loads((tmp_path / "line.geojson").read_text())["features"][0]["geometry"]["coordinates"]).T
    )
    height = profile.ground.mean()
    assert height == pytest.approx(345, abs=0.5)
    assert route.scale == pytest.approx(1 + height / EARTH_RADIUS, abs=1e-9)
    assert route.length == pytest.approx(length * route.scale, abs=0.01)
    np.testing.assert_allclose(profile.ground, 300 + 90 * route.chainage / route.length, atol=0.01)
    np.testing.assert_allclose(profile.elevation, profile.ground, atol=0.1)
    np.testing.assert_allclose(profile.grade, 0.01, atol=2e-4)
    assert np.abs(profile.elevation - profile.ground).max() < 1.96 * profile.elevation_se.max()
    assert profile.vertical_datum == "EGM2008"
    assert profile.source_names == ("ground.tif",)
    assert profile.draws.elevation.shape[0] == 100
    assert (profile.draws.chainage[0], profile.draws.chainage[-1]) == (route.chainage[0], route.chainage[-1])


def test_landmarks_by_the_territorys_definitions(tmp_path: Path):
    """Worked: on the ramp every train rules with 1 %, and 1 % over 2 km is sustained from 0.8 % on, not
    from 1.2 %."""
    profile = build_profile(territory(tmp_path))
    found = landmarks_of(profile, territory(tmp_path, settings={"train_lengths_m": [700, 1500]}))
    rule = found.of_kind("ruling_grade", direction="with")
    assert sorted(r.train_length for r in rule) == [700, 1500]  # in order of place, which is open on an even ramp
    assert [r.value for r in rule] == pytest.approx([1.0, 1.0], abs=0.02)
    (sustained,) = found.of_kind("sustained_grade")
    assert sustained.direction == "with"
    assert sustained.end - sustained.start == pytest.approx(profile.route.length, abs=1)
    steeper = landmarks_of(profile, territory(tmp_path, settings={"sustained_grade_pct": 1.2}))
    assert steeper.of_kind("sustained_grade") == ()


def test_the_same_twice(tmp_path: Path):
    """Law: same inputs, same bytes."""
    path = write_territory(tmp_path)
    a, b = (build_profile(read_territory(path)) for _ in range(2))
    for name in ("ground", "elevation", "elevation_se", "grade", "grade_se"):
        assert getattr(a, name).tobytes() == getattr(b, name).tobytes()
    assert a.draws.elevation.tobytes() == b.draws.elevation.tobytes()


def test_route_without_ground(tmp_path: Path):
    """Law: a route can be had without rasters; its chainage is the ellipsoid's length."""
    path = write_territory(tmp_path)
    (tmp_path / "ground.tif").unlink()
    route = build_route(read_territory(path))
    assert route.scale == 1.0
    assert route.length == pytest.approx(GEOD.line_length(*line().T), abs=0.05)
    assert route.ends == ("Marram", "Sallow")
    assert route.structures[0].name == "Sedge Tunnel"


def test_a_hill_over_a_known_tunnel_leaves_no_trace(tmp_path: Path):
    """Law: 60 m of hill over a tunnel that the territory knows do not move the rail; the ground keeps it,
    counts nowhere inside or within a cell (30 m) of it."""
    along = np.tile((np.arange(COLUMNS) + 0.5) * CELL - 1500, (ROWS, 1))
    hill = 60 * np.clip(1 - np.abs(along - 5000) / 700, 0, 1)
    write_ground(tmp_path / "ground.tif", ramp() + hill.astype("float32"))
    tunnel = {"kind": "tunnel", "from": {"chainage_m": 4200}, "to": {"chainage_m": 5800}}
    profile = build_profile(territory(tmp_path, structures=[tunnel]))
    inside = (profile.chainage >= 4200) & (profile.chainage <= 5800)
    assert profile.ground[inside].max() > 405
    line_of_ramp = 300 + 90 * profile.chainage / profile.route.length
    np.testing.assert_allclose(profile.elevation, line_of_ramp, atol=1.0)
    np.testing.assert_array_equal(profile.structure_probability == 1, inside)
    beside = (profile.chainage >= 4200 - CELL) & (profile.chainage <= 5800 + CELL)
    np.testing.assert_array_equal(profile.ground_source == -1, beside)


def holed(folder: Path, start: float, end: float) -> Path:
    """A ramp without data between two distances [m]."""
    values = ramp()
    x = (np.arange(COLUMNS) + 0.5) * CELL - 1500
    values[:, (x > start) & (x < end)] = -9999
    return write_ground(folder / "ground.tif", values)


def test_a_short_gap_is_bridged_and_said(tmp_path: Path):
    """Law: 1.2 km without data are bridged with more doubt, and said."""
    holed(tmp_path, 4000, 5200)
    profile = build_profile(territory(tmp_path))
    missing = np.isnan(profile.ground)
    assert f"elevation data are missing at {missing.sum()} stations and bridged" in profile.assumptions
    assert 100 < missing.sum() < 130
    np.testing.assert_allclose(profile.elevation, 300 + 90 * profile.chainage / profile.route.length, atol=0.5)
    assert (profile.ground_source[missing] == -1).all()


def test_a_long_gap_is_refused_or_trimmed(tmp_path: Path):
    """Law: more than max_gap_km is refused by posts and length; with trim the longest covered stretch is
    kept, chainage from its start, posts as they were."""
    holed(tmp_path, 2000, 5000)
    posts = {"unit": "km", "at": [{"post": "40", "chainage_m": 0}]}
    given = territory(tmp_path, posts=posts)
    with pytest.raises(
        CoverageError, match=r"ground.tif: no elevation over km 4[12]\.\d\d to km 4[45]\.\d\d \(3\.0 km\)"
    ):
        build_profile(given)
    profile = build_profile(given, trim=True)
    assert profile.route.length == pytest.approx(4000, abs=40)
    assert float(profile.route.posts.at(0.0)) == pytest.approx(45.0, abs=0.04)
    assert any(a.startswith("trimmed to km 45.0") for a in profile.assumptions)
    assert np.isfinite(profile.ground).all()
    drawn = draw_line(given)
    words, refused = coverage(given, route_of(given, drawn), sample_ground(given, open_ground(given), drawn))
    assert refused
    assert words.startswith("66.")
    wide = territory(tmp_path, posts=posts, settings={"max_gap_km": 3.5})
    assert build_profile(wide).route.length == pytest.approx(9001, abs=5)


def test_no_ground_on_the_line(tmp_path: Path):
    """Law: a raster elsewhere is refused, and the message says where the line lies."""
    write_ground(tmp_path / "ground.tif", ramp(), west=WEST + 100_000)
    with pytest.raises(CoverageError, match=r"no elevation on the line, which lies within longitude -31\.3\d\d to"):
        build_profile(territory(tmp_path), trim=True)


def test_second_raster_fills_the_first(tmp_path: Path):
    """Law: where the first raster ends the second counts, and ground_source says which."""
    holed(tmp_path, 4000, 20_000)
    write_ground(tmp_path / "second.tif", ramp() + np.float32(0.2))
    both = {"rasters": ["ground.tif", "second.tif"], "vertical_datum": "EGM2008", "vertical_unit": "m"}
    profile = build_profile(territory(tmp_path, elevation=both))
    assert profile.source_names == ("ground.tif", "second.tif")
    source = profile.ground_source
    assert set(source[profile.chainage < 3900].tolist()) == {0}
    assert set(source[profile.chainage > 4100].tolist()) == {1}


def test_a_bound_that_is_too_tight_is_widened_and_said(tmp_path: Path):
    """Law: 1 % of ramp under a bound of 0.5 % comes out as 1 %, and an assumption names the setting."""
    profile = build_profile(territory(tmp_path, settings={"max_grade_pct": 0.5}))
    (said,) = (a for a in profile.assumptions if "max_grade_pct" in a)
    assert re.fullmatch(r"the estimate leaned on max_grade_pct = 0\.5 over \d+% .*: widened to \d\.?\d*", said), said
    assert np.median(profile.grade) == pytest.approx(90 / profile.route.length, abs=2e-4)
    assert not any("leaned" in a for a in build_profile(territory(tmp_path)).assumptions)


def pieces_with_posts(folder: Path) -> Path:
    """Three pieces that carry posts from 12 to 21, the middle one drawn the other way, with a tunnel."""
    s = np.arange(0, 9001, 30.0)
    places = degrees(WEST + 1500 + s, np.full(s.size, NORTH - 1500))
    cuts = [(0, 100, 12, 15, "no"), (100, 200, 15, 18, "yes"), (200, 300, 18, 21, "no")]
    features = []
    for a, b, first, last, tunnel in cuts:
        piece = places[a : b + 1]
        if a == 100:
            piece, first, last = piece[::-1], last, first
        features.append(
            {
                "type": "Feature",
                "properties": {"pkd": first, "pkf": last, "tunnel": tunnel},
                "geometry": {"type": "LineString", "coordinates": piece.tolist()},
            }
        )
    folder.mkdir(exist_ok=True)
    path = folder / "line.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


@pytest.mark.parametrize(("start", "end"), [("14", "20.5"), ("20.5", "14")])
def test_a_line_between_two_posts(tmp_path: Path, start: str, end: str):
    """Worked: of posts 12 to 21 the line between 14 and 20.5 is 6.5 km either way, with the tunnel of
    15 to 18 on it, 1 km from 14 and 2.5 km from 20.5; what lies outside is gone."""
    pieces_with_posts(tmp_path)
    table = {"path": "line.geojson", "posts_from": {"unit": "km", "start": "pkd", "end": "pkf"}}
    ends = {"start": {"post": start}, "end": {"post": end}}
    profile = build_profile(territory(tmp_path, centreline=table | ends))
    route = profile.route
    assert route.length == pytest.approx(6500, abs=5)
    np.testing.assert_allclose(route.posts.at(route.chainage[[0, -1]]), [float(start), float(end)], atol=0.001)
    (tunnel,) = route.structures
    a = 1000 if start == "14" else 2500
    assert (tunnel.start, tunnel.end) == (pytest.approx(a, abs=4), pytest.approx(a + 3000, abs=4))
    beyond = build_route(territory(tmp_path, centreline=table | {"start": {"post": "18.5"}}))
    assert beyond.structures == ()
    with pytest.raises(
        InputError, match=r"centreline.end: post km 22 lies outside the line, which runs from km 12.00 to 21.00"
    ):
        build_route(territory(tmp_path, centreline=table | {"end": {"post": "22"}}))


def test_what_is_missing_is_named(tmp_path: Path):
    """Law: a territory without line or rasters, or with a file that is not there, says which."""
    with pytest.raises(TerritoryError, match=r"route.toml: no elevation raster is given"):
        build_profile(territory(tmp_path, elevation=None))
    with pytest.raises(InputError, match=r"gone\.tif"):
        build_profile(territory(tmp_path, elevation={"rasters": ["gone.tif"]}))
    with pytest.raises(InputError, match=r"gone\.geojson"):
        build_route(territory(tmp_path, centreline={"path": "gone.geojson"}))


def test_inputs_and_relief(tmp_path: Path):
    """Law: every file the result rests on is listed with its role, tiles the line does not meet are not;
    the relief reaches 5 km around the line."""
    path = write_territory(tmp_path)
    write_ground(tmp_path / "far.tif", ramp(), west=WEST + 100_000)
    path.write_text(path.read_text().replace('["ground.tif"]', '["*.tif"]'))
    given = read_territory(path)
    profile = build_profile(given)
    files = [(file.name, role) for file, role in input_files(given, profile.route)]
    assert files == [("route.toml", "territory"), ("line.geojson", "centreline"), ("ground.tif", "elevation")]
    relief = relief_around(profile, given)
    box = relief.bounds
    assert GEOD.inv(box.west, -38, float(profile.route.longitude.min()), -38)[2] == pytest.approx(5000, rel=0.1)
    assert GEOD.inv(0, box.north, 0, float(profile.route.latitude.max()))[2] == pytest.approx(5000, rel=0.01)
    assert np.nanmax(relief.elevation) > 300


def test_progress_is_told(tmp_path: Path):
    """Law: shares between 0 and 1, steps in the order of the work."""
    told: list[tuple[str, float]] = []
    build_profile(territory(tmp_path), progress=lambda step, share: told.append((step, share)))
    steps = list(dict.fromkeys(step for step, _ in told))
    assert steps == ["reading the line", "sampling the ground", "estimating the rail"]
    assert all(0 <= share <= 1 for _, share in told)


def test_plane_of_the_tests():
    """Outside: pyproj: the plane's scale on the line is within 0.05 % of 1, so grades on it are grades."""
    factors = pyproj.Proj(PLANE).get_factors(*degrees(np.array([WEST + 6000]), np.array([NORTH - 1500]))[0])
    assert factors.meridional_scale == pytest.approx(1, abs=5e-4)
