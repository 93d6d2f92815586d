"""What a territory accepts and refuses; reading the file itself is tested with the reader."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from profiler.territory import KnownElevationTable, Place, PostAt, PostsFrom, ProfileTable, SpeedLimitTable, Territory
from profiler.units import KMH, MPH

LINE = {"centreline": {"path": "line.geojson"}}
POSTS = {"unit": "mi", "at": [{"post": "38.0", "chainage_m": 0}]}
FROM_TO = {"from": {"post": "38.0"}, "to": {"post": "45.0"}}


def test_smallest_territory():
    """Law: a path to a line is enough; the defaults are those of the design."""
    territory = Territory.model_validate(LINE)
    settings = territory.settings
    assert territory.route.units == "metric"
    assert (settings.step_m, settings.max_grade_pct, settings.max_gap_km) == (10, 4.5, 2)
    assert (settings.train_lengths_m, settings.prominence_m) == ([1000, 2000], 5)


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ({"post": "54.3"}, "post 54.3"),
        ({"post": 54.3}, "post 54.3"),
        ({"post": 54}, "post 54"),
        ({"chainage_m": 0}, "chainage 0 m"),
        ({"longitude": -31.1, "latitude": -38.22}, "longitude -31.10000, latitude -38.22000"),
    ],
)
def test_place_one_way(place: dict[str, Any], words: str):
    """Law: a place is a post (a number will do), a pair of coordinates or a chainage, said as stated."""
    assert Place.model_validate(place).words() == words


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ({}, "give one of them"),
        ({"post": "1", "chainage_m": 5}, "give one of them"),
        ({"post": "1", "longitude": 1, "latitude": 2}, "give one of them"),
        ({"longitude": 1, "latitude": 2, "chainage_m": 3}, "give one of them"),
        ({"longitude": 1}, "longitude and latitude belong together"),
        ({"latitude": 1, "post": "1"}, "longitude and latitude belong together"),
        ({"longitude": 181, "latitude": 0}, "less than or equal to 180"),
        ({"longitude": 0, "latitude": -91}, "greater than or equal to -90"),
        ({"chainage_m": float("nan")}, "finite"),
        ({"chainage_m": float("inf")}, "finite"),
        ({"mile": 5}, "Extra inputs"),
    ],
)
def test_place_refused(place: dict[str, Any], words: str):
    """Law: nothing between two ways, half a pair, or off the globe."""
    with pytest.raises(ValidationError, match=words):
        Place.model_validate(place)


@pytest.mark.parametrize("where", [{}, {"longitude": 1}, {"longitude": 1, "latitude": 2, "chainage_m": 3}])
def test_post_tied_to_no_place(where: dict[str, float]):
    """Law: a post of [posts] is a label and exactly one place."""
    with pytest.raises(ValidationError, match="a post is tied to"):
        PostAt.model_validate({"post": "38.0", **where})


def test_posts_stand_once():
    """Law: posts come from [posts] or from the pieces, never from both."""
    carried = {"start": "pkd", "end": "pkf", "unit": "km"}
    both = {"centreline": {"path": "line.geojson", "posts_from": carried}, "posts": POSTS}
    with pytest.raises(ValidationError, match="posts stand twice"):
        Territory.model_validate(both)
    assert Territory.model_validate({**LINE, "posts": POSTS}).posts is not None


@pytest.mark.parametrize(
    "keys",
    [
        {},
        {"start": "pkd"},
        {"points": "posts.geojson"},
        {"start": "pkd", "end": "pkf", "points": "posts.geojson", "post": "name"},
        {"start": "pkd", "end": "pkf", "post": "name"},
    ],
)
def test_posts_from_one_way(keys: dict[str, str]):
    """Law: posts are carried by pieces or by points, whole and not mixed."""
    with pytest.raises(ValidationError, match="give start and end"):
        PostsFrom.model_validate({"unit": "km", **keys})


@pytest.mark.parametrize(("unit", "metres"), [("m", 1.0), ("km", 1000.0), ("mi", 1609.344)])
def test_unit_of_carried_posts(unit: str, metres: float):
    """Published: the mile is 1,609.344 m (NIST SP 811)."""
    assert PostsFrom(unit=unit, start="a", end="b").unit_m == pytest.approx(metres)


@pytest.mark.parametrize(
    ("table", "key"),
    [
        ({"route": {"units": "imperial"}}, "units"),
        ({"posts": {**POSTS, "unit": "ft"}}, "unit"),
        ({"posts": {**POSTS, "at": []}}, "at"),
        ({"elevation": {"rasters": ["a.tif"], "vertical_unit": "feet"}}, "vertical_unit"),
        ({"elevation": {"rasters": []}}, "rasters"),
        ({"structures": [{"kind": "ferry", "path": "a.geojson"}]}, "kind"),
        ({"settings": {"step_m": 0.5}}, "step_m"),
        ({"settings": {"interpolation": "nearest"}}, "interpolation"),
        ({"settings": {"train_lengths_m": []}}, "train_lengths_m"),
        ({"settings": {"grade_classes_pct": [1, 0.5, 2, 3]}}, "settings"),
        ({"settings": {"curve_compensation_pct_per_degree": 0.5}}, "curve_compensation_pct_per_degree"),
        ({"settings": {"step": 10}}, "step"),
        ({"speed_limits": [{**FROM_TO, "speed_mph": 0}]}, "speed_mph"),
        ({"speed_limits": [{**FROM_TO, "speed_kmh": 0.0}]}, "speed_kmh"),
        ({"slow_orders": [{**FROM_TO, "speed_mph": -15}]}, "speed_mph"),
        ({"slow_orders": [{**FROM_TO, "speed_kmh": float("inf")}]}, "speed_kmh"),
    ],
)
def test_wrong_value_names_its_key(table: dict[str, Any], key: str):
    """Law: a unit or figure that means nothing here is refused at its key."""
    with pytest.raises(ValidationError) as caught:
        Territory.model_validate({**LINE, **table})
    assert [error["loc"][-1] for error in caught.value.errors()] == [key]


@pytest.mark.parametrize("speeds", [{}, {"speed_mph": 45, "speed_kmh": 72}])
def test_one_speed(speeds: dict[str, float]):
    """Law: a limit has one speed, in one unit."""
    with pytest.raises(ValidationError, match="give speed_mph or speed_kmh, one of them"):
        SpeedLimitTable.model_validate({**FROM_TO, **speeds})


def test_speed_in_either_unit():
    """Worked: 45 mph is 20.1168 m/s, 72 km/h is 20 m/s."""
    assert SpeedLimitTable.model_validate({**FROM_TO, "speed_mph": 45}).speed == pytest.approx(45 * MPH)
    assert SpeedLimitTable.model_validate({**FROM_TO, "speed_kmh": 72}).speed == pytest.approx(20.0)
    assert pytest.approx(20.1168) == 45 * MPH
    assert pytest.approx(20.0) == 72 * KMH


@pytest.mark.parametrize(
    "structure",
    [
        {"kind": "tunnel"},
        {"kind": "tunnel", "from": {"post": "1"}},
        {"kind": "tunnel", "path": "a.geojson", **FROM_TO},
    ],
)
def test_structure_one_way(structure: dict[str, Any]):
    """Law: a structure comes from a file or lies between two places."""
    with pytest.raises(ValidationError, match="give path"):
        Territory.model_validate({**LINE, "structures": [structure]})


def test_no_line():
    """Law: without a line, or a table of a known profile, there is nothing to do."""
    with pytest.raises(ValidationError, match=r"there is no \[centreline\]"):
        Territory.model_validate({})
    assert Territory.model_validate({"profile": {"table": "chart.csv"}}).centreline is None


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        ({"elevation": {"rasters": ["ground.tif"]}}, r"\[profile\] and \[elevation\] both tell the elevation"),
        ({"known_elevations": [{"at": {"post": "1"}, "elevation_m": 5}]}, "make each a row of its table"),
        ({"profile": {"table": "chart.csv", "se_m": 1, "se_ft": 1}}, "give se_m or se_ft"),
        ({"profile": {"table": "chart.csv", "se_m": 0}}, "greater than 0"),
    ],
)
def test_a_known_profile_stands_alone(tables: dict[str, Any], words: str):
    """Law: elevations are known or estimated, and how unsure a chart is stands there once."""
    with pytest.raises(ValidationError, match=words):
        Territory.model_validate({**LINE, "profile": {"table": "chart.csv"}, **tables})


def test_how_sure_a_chart_is():
    """Worked: 1 ft is 0.3048 m; 0.3 m where nothing is stated; heights are those of the chart."""
    charts = [ProfileTable.model_validate({"table": "chart.csv", **more}) for more in ({}, {"se_m": 2}, {"se_ft": 1})]
    assert [chart.se for chart in charts] == pytest.approx([0.3, 2.0, 0.3048])
    assert charts[0].vertical_datum == "as on the chart"


def test_a_known_elevation_in_either_unit():
    """Worked: 1,000 ft are 304.8 m, 1.5 ft 0.4572 m; no standard error given is none, and so is no offset."""
    feet = KnownElevationTable.model_validate({"at": {"post": "1"}, "elevation_ft": 1000, "se_ft": 1.5})
    assert (feet.elevation, feet.se) == (pytest.approx(304.8), pytest.approx(0.4572))
    metres = KnownElevationTable.model_validate({"at": {"post": "1"}, "elevation_m": 0})
    assert (metres.elevation, metres.se, metres.offset_m, metres.vertical_datum) == (0, None, None, "unknown")


@pytest.mark.parametrize(
    "height",
    [
        {},
        {"elevation_m": 1, "elevation_ft": 3},
        {"elevation_m": 1, "se_m": 1, "se_ft": 3},
        {"elevation_m": 1, "se_m": 0},
        {"elevation_m": 1, "se_m": float("nan")},
        {"elevation_m": float("nan")},
        {"elevation_m": 30_000},
        {"elevation_ft": -2000},
        {"elevation_m": 1, "offset_m": float("inf")},
        {"elevation_m": 1, "datum": "EGM96"},
    ],
)
def test_known_elevation_one_way(height: dict[str, Any]):
    """Law: one height that ground can have, at most one standard error, above nought, all finite."""
    with pytest.raises(ValidationError, match=r"one of them|than or equal|greater than 0|finite|Extra inputs"):
        Territory.model_validate({**LINE, "known_elevations": [{"at": {"post": "1"}, **height}]})


def test_a_checked_territory_stays_as_it_is():
    """Law: nouns are frozen."""
    with pytest.raises(ValidationError, match="frozen"):
        Territory.model_validate(LINE).route.name = "other"
