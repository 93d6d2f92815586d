"""Known elevations and rasters of a territory above one datum."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest

from profiler import InputError, RouteError, Territory, build_profile, build_route, landmarks_of
from profiler.cli.summary import summary
from profiler.elevation.sampling import GroundSamples
from profiler.heights import datum_of, in_one_datum, known_between, known_elevations, side_by_side
from profiler.profile import KnownElevation
from profiler.read.territory import check_territory
from profiler.route import Route
from profiler.units import FOOT
from tests.country import CELL, COLUMNS, NORTH, ROWS, WEST, degrees, write_ground, write_lines

ALPS = np.linspace(8.0, 8.1, 5), np.linspace(47.0, 47.1, 5)


def samples(*data: str, values: np.ndarray | None = None) -> GroundSamples:
    """Sources a, b, … at five stations, 100 m high, with shoulders as high."""
    names = tuple("abc"[: len(data)])
    ground = np.full((len(data), 5), 100.0) if values is None else values
    return GroundSamples(ground, names, (30.0,) * len(data), data, np.full((len(data), 2, 5), 100.0))


def territory(folder: Path, *known: dict[str, Any], ground: np.ndarray | None = None, **tables: Any) -> Territory:
    """Nine kilometres straight east over ground that climbs 1 % from 300 m, posts as miles from 10."""
    s = np.arange(0, 9001, 30.0)
    write_lines(folder / "line.geojson", degrees(WEST + 1500 + s, np.full(s.size, NORTH - 1500)))
    rise = 300 + 0.01 * ((np.arange(COLUMNS) + 0.5) * CELL - 1500)
    write_ground(folder / "ground.tif", np.tile(rise, (ROWS, 1)).astype("float32") if ground is None else ground)
    base = {
        "centreline": {"path": "line.geojson"},
        "elevation": {"rasters": ["ground.tif"], "vertical_datum": "EGM2008", "vertical_unit": "m"},
        "posts": {"unit": "mi", "at": [{"post": "10.0", "chainage_m": 0}]},
        "known_elevations": list(known),
    }
    return check_territory(base | tables, source="route.toml", folder=folder)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("heights")


@pytest.fixture(scope="module")
def route(folder: Path) -> Route:
    return build_route(territory(folder))


def test_places_of_known_elevations(folder: Path, route: Route):
    """Worked: post 12 is two miles on, 3,218.688 m; a point 50 m beside the line at 6,000 m; 1,000 ft are 304.8 m;
    one without a standard error gets 0.5 m, and that and the datum are said."""
    lon, lat = degrees(np.array([WEST + 1500 + 6000.0]), np.array([NORTH - 1450.0]))[0]
    t = territory(
        folder,
        {"at": {"post": 12}, "elevation_ft": 1000, "se_ft": 1},
        {"at": {"longitude": lon, "latitude": lat}, "elevation_m": 360, "vertical_datum": "EGM08"},
        {"at": {"chainage_m": 8000}, "elevation_m": 380, "offset_m": -1.5},
    )
    found, said = known_elevations(t, route, "EGM2008")
    assert [k.chainage for k in found] == pytest.approx([3218.688, 6000, 8000], abs=3)
    assert [k.elevation for k in found] == pytest.approx([304.8, 360, 378.5])
    assert [k.se for k in found] == pytest.approx([FOOT, 0.5, 0.5])
    assert found[0].words == "post 12"
    assert found[2].words == "chainage 8000 m"
    assert said == (
        "1 of 3 known elevations: offset_m added as stated",
        "1 of 3 known elevations: vertical datum not stated, taken to be EGM2008",
        "2 of 3 known elevations: no standard error stated, 0.5 m assumed",
    )


@pytest.mark.parametrize(
    ("place", "error", "words"),
    [
        ({"post": "9.5"}, InputError, "post mi 9.5 lies outside the line, which runs from mi 10.00 to 15.59"),
        ({"post": "x"}, InputError, "'x' is no post"),
        ({"chainage_m": 9500}, InputError, "chainage 9500 m is not on the line"),
        ({"longitude": -31.0, "latitude": -38.0}, RouteError, "km from the line"),
    ],
)
def test_known_elevations_off_the_line(
    folder: Path, route: Route, place: dict[str, Any], error: type[InputError], words: str
):
    """Law: a place that is not on the line is named with its key, and where the line runs."""
    good, wrong = {"at": {"post": 12}, "elevation_m": 320}, {"at": place, "elevation_m": 320}
    with pytest.raises(error) as caught:
        known_elevations(territory(folder, good, wrong), route, "EGM2008")
    assert caught.value.source == "route.toml: known_elevations[2].at"
    assert words in str(caught.value)


def test_a_known_elevation_beside_the_line(folder: Path, route: Route):
    """Law: 90 m to the side is still the line's, 110 m is not: benchmarks stand beside the track, not in town."""
    for aside, refused in ((90.0, False), (110.0, True)):
        lon, lat = degrees(np.array([WEST + 6000.0]), np.array([NORTH - 1500.0 + aside]))[0]
        t = territory(folder, {"at": {"longitude": lon, "latitude": lat}, "elevation_m": 340})
        if refused:
            with pytest.raises(RouteError, match=r"is 1[01]\d m from the line"):
                known_elevations(t, route, "EGM2008")
        else:
            assert known_elevations(t, route, "EGM2008")[0][0].chainage == pytest.approx(4500, abs=3)


def test_known_elevation_where_the_line_crosses_itself(tmp_path: Path):
    """Law: on a helix a coordinate alone does not say on which level, a chainage does."""
    s = np.arange(0, 7001, 20.0)
    angle = np.clip((s - 2000) / 300, 0, 2 * np.pi)
    east = np.minimum(s, 2000) + 300 * np.sin(angle) + np.maximum(s - 2000 - 600 * np.pi, 0)
    north = 300 * (1 - np.cos(angle))
    crossing = degrees(WEST + np.array([3500.0]), NORTH - np.array([1500.0]))[0]
    at = {"longitude": crossing[0], "latitude": crossing[1]}
    t = territory(tmp_path, {"at": at, "elevation_m": 320})
    write_lines(tmp_path / "line.geojson", degrees(WEST + 1500 + east, NORTH - 1500 + north))
    route = build_route(t)
    with pytest.raises(RouteError, match=r"twice, at 1\d\.\d\d and 1\d\.\d\d; give a post or chainage_m"):
        known_elevations(t, route, "EGM2008")
    t = territory(tmp_path, {"at": {"chainage_m": 2000}, "elevation_m": 320})
    assert known_elevations(t, route, "EGM2008")[0][0].chainage == 2000


def test_another_datum_needs_a_grid_or_a_statement(folder: Path, route: Route):
    """Law: refused by name where nothing converts it, accepted with offset_m, be it nought."""
    entry = {"at": {"post": 12}, "elevation_m": 320, "se_m": 0.2, "vertical_datum": "Trough gauge"}
    with pytest.raises(InputError) as caught:
        known_elevations(territory(folder, entry), route, "EGM2008")
    assert caught.value.source == "route.toml: known_elevations[1], post 12"
    assert caught.value.remedy.startswith("state offset_m, what to add to bring it to EGM2008")
    found, said = known_elevations(territory(folder, entry | {"offset_m": 0.0}), route, "EGM2008")
    assert (found[0].elevation, said) == (320, ("the known elevation: offset_m added as stated",))


def test_a_datum_that_cannot_be_compared_is_assumed_the_same(folder: Path, route: Route):
    """Law: nothing is guessed in silence."""
    entry = {"at": {"post": 12}, "elevation_m": 320, "se_m": 0.2}
    _, said = known_elevations(territory(folder, entry), route, "unknown")
    assert said == ("the known elevation: vertical datum not stated, taken to be the same as the rasters'",)
    _, said = known_elevations(territory(folder, entry | {"vertical_datum": "EGM96"}), route, "unknown")
    assert said == ("the known elevation: above EGM96, the rasters' vertical datum taken to be the same",)
    assert known_elevations(territory(folder, entry | {"vertical_datum": "EGM96"}), route, "EGM 96")[1] == ()
    assert known_elevations(territory(folder), route, "EGM96") == ((), ())


def test_what_trimming_leaves():
    """Worked: between 1,000 and 2,000 m, chainage from there; what is off that part is counted."""
    known = [KnownElevation(float(x), 100.0, 0.5, f"post {x}") for x in (500, 1200, 2000)]
    kept, said = known_between(known, 1000, 2000)
    assert [(k.chainage, k.words) for k in kept] == [(200, "post 1200"), (1000, "post 2000")]
    assert said == ("1 of 3 known elevations: off the part of the line that is kept",)
    assert known_between(known, 0, 3000) == (tuple(known), ())


def test_rasters_of_one_datum_stay_as_they_are():
    """Law: nothing to do, nothing said; two spellings of one name are one datum."""
    got, said = in_one_datum(samples("NAVD88", "NAVD88 height (ftUS)"), *ALPS)
    assert (said, datum_of(got)) == ((), "NAVD88")
    np.testing.assert_array_equal(got.values, 100.0)
    assert datum_of(in_one_datum(samples("unknown", "unknown"), *ALPS)[0]) == "unknown"


def test_tiles_given_one_by_one_are_told():
    """Law: sources of one cell size that are nowhere over each other may be tiles of one product; where two share a
    station, or one says nothing, or cells differ, nothing is said."""
    nothing = math.nan
    apart = np.array([[100.0, 100, nothing, nothing, nothing], [nothing, nothing, 100, 100, 100]])
    over, silent = apart.copy(), apart.copy()
    over[0, 2], silent[1] = 100.0, nothing
    (said,) = side_by_side(samples("EGM96", "EGM96", values=apart))
    assert said.startswith("a and b: taken for products of their own")
    assert said.endswith("one entry, as in dem/*.tif")
    assert side_by_side(samples("EGM96", "EGM96", values=over)) == ()
    assert side_by_side(samples("EGM96", "EGM96", values=silent)) == ()
    two = dataclasses.replace(samples("EGM96", "EGM96", values=apart), cell_m=(30.0, 10.0))
    assert side_by_side(two) == ()


def test_rasters_of_two_datums_are_brought_to_the_first():
    """Outside: pyproj's LN02 to EVRF2007 is −0.23…−0.25 m here; ground and shoulders move alike, and it is said."""
    got, said = in_one_datum(samples("EVRF2007", "LN02"), *ALPS)
    np.testing.assert_array_equal(got.values[0], 100.0)
    assert ((got.values[1] > 99.7) & (got.values[1] < 99.8)).all()
    np.testing.assert_array_equal(got.shoulders[1], np.broadcast_to(got.values[1], (2, 5)))
    np.testing.assert_array_equal(got.shoulders[0], 100.0)
    assert datum_of(got) == "EVRF2007"
    assert len(said) == 1
    assert said[0].startswith("b: brought from LN02 to EVRF2007, -0.2")


def test_rasters_that_cannot_be_brought_together_are_refused():
    """Law: one sentence with both names and what can be done."""
    with pytest.raises(InputError) as caught:
        in_one_datum(samples("EGM2008", "Trough gauge"), *ALPS)
    assert str(caught.value).startswith("b: heights above Trough gauge cannot be brought to EGM2008")
    assert "leave one of a and b out, or convert one of them beforehand" in caught.value.remedy


def test_a_raster_of_unknown_datum_is_taken_for_the_others():
    """Law: said aloud, whichever comes first; one that says nothing on this line does not matter."""
    got, said = in_one_datum(samples("unknown", "EGM2008"), *ALPS)
    assert said == ("a: vertical datum not known, taken to be EGM2008 like that of b",)
    assert datum_of(got) == "EGM2008"
    silent = np.array([[100.0] * 5, [np.nan] * 5])
    got, said = in_one_datum(samples("EGM2008", "EGM96", values=silent), *ALPS)
    assert (said, datum_of(got)) == ((), "EGM2008")


def test_a_converted_known_elevation(folder: Path):
    """Outside: pyproj's own LN02 to EVRF2007 where the line would lie in the Alps; what was added is said."""
    entry = {"elevation_m": 320, "se_m": 1, "vertical_datum": "LN02"}
    t = territory(folder, *(entry | {"at": {"post": post}} for post in (12, 13)))
    route = build_route(t)
    moved = dataclasses.replace(
        route, longitude=np.linspace(8, 8.1, route.chainage.size), latitude=np.full(route.chainage.size, 47.0)
    )
    way = pyproj.Transformer.from_crs("EPSG:4326+5728", "EPSG:4326+5621", always_xy=True)
    found, said = known_elevations(t, moved, "EVRF2007")
    expected = [way.transform(8 + 0.1 * k.chainage / route.length, 47.0, 320)[2] for k in found]
    assert [k.elevation for k in found] == pytest.approx(expected, abs=0.01)
    assert said[0].startswith("all 2 known elevations: brought from LN02 to EVRF2007, -0.2")


def hilly() -> np.ndarray:
    """The ramp with correlated error of 0.8 m, and 3 m above its datum. [m]"""
    x = (np.arange(COLUMNS) + 0.5) * CELL - 1500
    error = np.convolve(np.random.default_rng(5).normal(0, 1.4, COLUMNS), np.ones(3) / 3, "same")
    return np.tile(303 + 0.01 * x + error, (ROWS, 1)).astype("float32")


def test_a_typing_error_is_named(tmp_path: Path):
    """Worked: of four heights on a ramp of 1 % from 300 m one is typed as 370 for 340; it alone is named with its
    post, in the table and on the console, and the others take the rasters' 3 m off."""
    right = [(11, 16.09), (12, 32.19), (14, 64.37)]
    known = [{"at": {"post": post}, "elevation_m": 300 + rise, "se_m": 0.2} for post, rise in right]
    wrong = {"at": {"chainage_m": 4000}, "elevation_m": 370, "se_m": 0.2}
    t = territory(tmp_path, *known, wrong, ground=hilly())
    profile = build_profile(t)
    assert [(k.place, k.used) for k in profile.known] == [
        ("post 11", True),
        ("post 12", True),
        ("post 14", True),
        ("chainage 4000 m", False),
    ]
    odd = profile.known[3]
    assert odd.fitted == pytest.approx(340, abs=3)
    assert odd.standard_errors > 8
    truth = 300 + 90 * profile.chainage / profile.route.length
    error = profile.elevation - truth
    assert np.sqrt(np.mean(error**2)) < 1.2
    assert (np.abs(error) < 1.96 * profile.elevation_se).mean() > 0.9
    said = summary(profile, landmarks_of(profile, t), tmp_path)
    assert "known elevations: 3 of 4 used" in said
    assert "not used: 370.0 m at chainage 4000 m, disagrees by" in said
    without = build_profile(territory(tmp_path, ground=hilly()))
    assert np.mean(without.elevation - truth) == pytest.approx(3, abs=0.7)
    assert "known elevations" not in summary(without, landmarks_of(without, t), tmp_path)
