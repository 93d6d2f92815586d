"""A written profile read back: the same objects, and a sentence for every file that is not whole."""

from __future__ import annotations

import contextlib
import dataclasses
import json
import sqlite3
import tempfile
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from profiler.errors import InputError
from profiler.landmark import KINDS, GradeRun, Landmark, Landmarks, PracticeNote, Straddle
from profiler.profile import Draws, KnownResidual, Profile
from profiler.read import layout
from profiler.read.profile import read_landmarks, read_profile
from profiler.route import Corner, CurveElement, KnownPost, Posts, Route, SpeedLimit, Station, Structure
from profiler.vertical_curve import Pvi
from profiler.write.geopackage import write_geopackage
from tests.invented import invented_known, invented_landmarks, invented_profile, seen_profile


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("whole") / "profile.gpkg"
    write_geopackage(invented_profile(step=100.0), invented_landmarks(), path)
    return path


@pytest.fixture
def copy(whole: Path, tmp_path: Path) -> Path:
    path = tmp_path / "profile.gpkg"
    path.write_bytes(whole.read_bytes())
    return path


def assert_same(one: Any, two: Any) -> None:
    """Two nouns, field by field and bit for bit."""
    assert type(one) is type(two)
    for field in dataclasses.fields(one):
        a, b = getattr(one, field.name), getattr(two, field.name)
        if dataclasses.is_dataclass(a):
            assert_same(a, b)
        elif isinstance(a, np.ndarray):
            assert a.dtype == b.dtype
            np.testing.assert_array_equal(a, b, err_msg=field.name)
        else:
            assert a == b, field.name
            assert type(a) is type(b), field.name


def test_the_same_profile(tmp_path: Path):
    """Law: every field of profile, route, posts and draws comes back bit for bit, from folder or file."""
    profile, landmarks = dataclasses.replace(seen_profile(), known=invented_known()), invented_landmarks()
    write_geopackage(profile, landmarks, tmp_path / "profile.gpkg")
    assert_same(read_profile(tmp_path), profile)
    assert_same(read_profile(str(tmp_path / "profile.gpkg")), profile)
    assert read_landmarks(tmp_path) == landmarks


def test_written_again_the_same_bytes(whole: Path, tmp_path: Path):
    """Law: reading and writing again gives the same bytes."""
    write_geopackage(read_profile(whole), read_landmarks(whole), tmp_path / "again.gpkg")
    assert (tmp_path / "again.gpkg").read_bytes() == whole.read_bytes()


figures = st.floats(-1e6, 1e6)
words = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12)
maybe = st.none() | figures


@st.composite
def results(draw: st.DrawFn) -> tuple[Profile, Landmarks]:
    """Any three to six stations with anything along them."""
    n = draw(st.integers(3, 6))
    place = st.floats(0, 500)

    def array(values: st.SearchStrategy[float]) -> np.ndarray:
        return np.array(draw(st.lists(values, min_size=n, max_size=n)))

    def some(noun: type, **fields: st.SearchStrategy[Any]) -> tuple[Any, ...]:
        return tuple(draw(st.lists(st.builds(noun, **fields), max_size=3)))

    limit = {"start": place, "end": place, "speed": figures, "train_class": words, "reason": words}
    route = Route(
        chainage=np.cumsum(array(st.floats(0.5, 100))),
        longitude=array(st.floats(-180, 180)),
        latitude=array(st.floats(-90, 90)),
        heading=array(figures),
        curvature=array(st.floats(-0.01, 0.01)),
        curvature_se=array(st.floats(0, 0.01)),
        lateral_se=array(st.floats(0, 100)),
        posts=Posts(
            np.array([draw(place)]),
            np.array([draw(st.floats(-9, 9))]),
            draw(st.sampled_from(["km", "mi"])),
            prefix=draw(st.none() | words),
            plus=draw(st.booleans()),
        ),
        name=draw(words),
        ends=(draw(words), draw(words)),
        source=draw(words),
        scale=draw(figures),
        curves=some(
            CurveElement,
            number=words,
            kind=words,
            **dict.fromkeys(("start", "end"), place),
            **dict.fromkeys(("spiral_in", "spiral_out", "curvature", "curvature_se"), figures),
            **dict.fromkeys(("start_se", "end_se", "spiral_in_se", "spiral_out_se", "deflection_se"), figures),
        ),
        corners=some(Corner, chainage=place, turn=figures, step=figures),
        known_posts=some(KnownPost, post=figures, chainage=place, residual=st.none() | figures),
        structures=some(
            Structure, kind=st.sampled_from(["tunnel", "bridge"]), start=place, end=place, name=words, origin=words
        ),
        stations=some(Station, name=words, chainage=place),
        stops=some(Station, name=words, chainage=place),
        limits=some(SpeedLimit, **limit),
        slow_orders=some(SpeedLimit, **limit),
        assumptions=tuple(draw(st.lists(words, max_size=2))),
    )
    sources = tuple(draw(st.lists(words, max_size=2)))
    profile = Profile(
        route=route,
        ground=array(figures | st.just(np.nan)),
        elevation=array(figures),
        elevation_se=array(figures),
        grade=array(st.floats(-1, 1)),
        grade_se=array(st.floats(0, 1)),
        structure_probability=array(st.floats(0, 1)),
        ground_source=array(st.integers(-1, len(sources) - 1)),
        ground_weight=array(st.floats(0, 1)),
        draws=Draws(
            np.arange(4.0), np.array(draw(st.lists(st.lists(figures, min_size=4, max_size=4), min_size=1, max_size=3)))
        ),
        source_names=sources,
        vertical_datum=draw(words),
        units=draw(st.sampled_from(["us", "metric"])),
        pvi_visible=draw(st.booleans()),
        curve_compensation=draw(st.floats(0, 0.002)),
        pvis=some(
            Pvi,
            **dict.fromkeys(("chainage", "elevation", "grade_in", "grade_out", "curve_length"), figures),
            **dict.fromkeys(("chainage_se", "elevation_se", "probability"), st.floats(0, 1)),
        ),
        known=some(
            KnownResidual,
            **dict.fromkeys(("chainage", "known", "fitted"), figures),
            **dict.fromkeys(("se", "residual_se"), st.floats(0.01, 9)),
            **dict.fromkeys(("place", "reason", "rival"), words),
        ),
        invented=draw(st.booleans()),
        assumptions=tuple(draw(st.lists(words, max_size=2))),
    )
    landmarks = Landmarks(
        some(
            Landmark,
            kind=st.sampled_from(KINDS),
            direction=words,
            start=place,
            end=place,
            at=place,
            value=figures,
            unit=st.sampled_from(["m", "%", "degree"]),
            low=maybe,
            high=maybe,
            probability=st.floats(0, 1),
            train_length=maybe,
            place_low=maybe,
            place_high=maybe,
            note=words,
        ),
        some(GradeRun, start=place, end=place, grade=figures, grade_se=figures, rise=figures, end_se=figures),
        some(
            Straddle,
            landmark=st.integers(0, 99),
            kind=words,
            direction=words,
            **dict.fromkeys(("train_length", "head", "quarter", "half", "three_quarter", "clear"), figures),
        ),
        some(
            PracticeNote,
            **dict.fromkeys(("kind", "unit", "train_class", "of", "source"), words),
            **dict.fromkeys(("start", "end"), place),
            **dict.fromkeys(("value", "value_se", "practice"), figures),
            speed=maybe,
        ),
    )
    return profile, landmarks


@settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(results())
def test_anything_comes_back(result: tuple[Profile, Landmarks]):
    """Law: whatever a profile holds, empty texts, odd letters and missing figures too, is read as written."""
    with tempfile.TemporaryDirectory() as folder:
        write_geopackage(*result, Path(folder) / "profile.gpkg")
        assert_same(read_profile(folder), result[0])
        assert read_landmarks(folder) == result[1]


@pytest.mark.parametrize(
    ("noun", "fields"),
    [(record.noun, {column.field for column in record.columns}) for record in layout.RECORDS.values()]
    + [
        (Route, {*layout.ROUTE_ARRAYS.values(), *layout.ROUTE_FACTS.values(), "longitude", "latitude", "posts",
                 "curves", "corners", "known_posts", "structures", "stations", "stops", "limits", "slow_orders"}),
        (Profile, {*layout.PROFILE_ARRAYS.values(), *layout.PROFILE_FACTS.values(), "route", "draws", "pvis", "known"}),
        (Posts, {*layout.POSTS_MAP.values(), *layout.POSTS_FACTS.values()}),
        (Draws, {"chainage", "elevation"}),
        (Landmarks, {"items", "grade_runs", "straddles", "practice"}),
    ],
)  # fmt: skip
def test_no_field_is_forgotten(noun: type, fields: set[str]):
    """Law: a field added to a noun is lost in the file until the layout holds it too."""
    assert {field.name for field in dataclasses.fields(noun)} == fields


def refused(path: Path) -> str:
    """The sentence; both readers say the same."""
    with pytest.raises(InputError) as caught:
        read_profile(path)
    with pytest.raises(InputError) as again:
        read_landmarks(path)
    assert str(again.value) == str(caught.value)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def change(path: Path, *statements: str) -> None:
    with contextlib.closing(sqlite3.connect(path)) as database:
        for statement in statements:
            database.execute(statement)
        database.commit()


def test_nothing_there(tmp_path: Path):
    """Law: a folder without a result, and a name that is no file, say what to give."""
    for path, named in ((tmp_path, tmp_path / "profile.gpkg"), (tmp_path / "a.gpkg",) * 2):
        assert refused(path) == f"{named}: there is no such file; give an output folder of gradewright profile"


@pytest.mark.parametrize("content", [b"", b"chainage_m,post\n0,1\n", b"PK\3\4" + bytes(100)])
def test_no_geopackage(tmp_path: Path, content: bytes):
    """Law: empty files, tables and archives are called by what they are not."""
    (tmp_path / "profile.gpkg").write_bytes(content)
    assert "is no GeoPackage; give" in refused(tmp_path)


def test_geopackage_from_elsewhere(tmp_path: Path):
    """Law: a good GeoPackage of somebody else's is not called damaged."""
    points = geopandas.GeoDataFrame({"a": [1]}, geometry=geopandas.points_from_xy([0], [0]), crs=4326)
    points.to_file(tmp_path / "a.gpkg", layer="profile")
    assert "was not written by gradewright" in refused(tmp_path / "a.gpkg")


def test_about_of_another_program(copy: Path):
    """Law: a table of the same name does not make it ours."""
    change(copy, "UPDATE about SET value = '\"another\"' WHERE key = 'written_by'")
    assert "was not written by gradewright" in refused(copy)
    change(copy, "ALTER TABLE about RENAME COLUMN value TO text")
    assert "was not written by gradewright" in refused(copy)


@pytest.mark.parametrize(("version", "age"), [("99", "a newer"), ("0", "another"), ('"x"', "another")])
def test_another_layout(copy: Path, version: str, age: str):
    """Law: a layout this version does not know is refused whole."""
    change(copy, f"UPDATE about SET value = '{version}' WHERE key = 'layout'")
    said = json.loads(version)
    assert (
        f"has layout {said} of {age} gradewright, this one reads {layout.VERSION}; write the profile again"
        in refused(copy)
    )


@pytest.mark.parametrize("name", [name for name in layout.LAYERS if name != "about"])
def test_missing_layer(copy: Path, name: str):
    """Law: the missing layer is named."""
    change(
        copy,
        f'DROP TABLE "{name}"',
        f"DELETE FROM gpkg_geometry_columns WHERE table_name = '{name}'",
        f"DELETE FROM gpkg_contents WHERE table_name = '{name}'",
    )
    assert f"layer {name} is missing; write the profile again" in refused(copy)


def test_missing_rows(copy: Path):
    """Worked: 501 stations less one are 500."""
    change(copy, "DELETE FROM profile WHERE fid = 7")
    assert "layer profile: has 500 rows and should have 501" in refused(copy)


def test_missing_column(copy: Path):
    """Law: the missing column and its layer are named."""
    change(copy, "ALTER TABLE profile DROP COLUMN heading_rad")
    with pytest.raises(InputError, match="layer profile: column heading_rad is missing"):
        read_profile(copy)


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("DELETE FROM about WHERE key = 'scale'", "table about, key scale is missing"),
        ("UPDATE about SET value = '{' WHERE key = 'scale'", "a value is no JSON"),
        ("UPDATE about SET value = '3' WHERE key = 'rows'", "cut short or damaged"),
        ("UPDATE profile SET chainage_m = 0 WHERE fid = 9", "chainage does not increase at station 8"),
        ("UPDATE profile SET elevation_m = NULL WHERE fid = 9", "elevation has holes"),
        ("UPDATE posts_map SET post = NULL", "a post has no figure or no place"),
        ("UPDATE profile SET source_index = 9 WHERE fid = 9", "a source_index names no source"),
    ],
)
def test_changed_by_hand(copy: Path, statement: str, words: str):
    """Law: what an editor of the file broke is said, with the file's name."""
    change(copy, statement)
    with pytest.raises(InputError, match=words) as caught:
        read_profile(copy)
    assert str(copy) in str(caught.value)


@pytest.mark.parametrize("share", [0.001, 0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99])
def test_cut_short(copy: Path, share: float):
    """Law: a copy that broke off is never read as if it were whole."""
    data = copy.read_bytes()
    copy.write_bytes(data[: int(share * len(data))])
    assert "cut short or damaged" in refused(copy)


def test_page_wiped(copy: Path):
    """Law: a page of zeros in the midst of the draws is found."""
    data = bytearray(copy.read_bytes())
    middle = len(data) // 2 // 4096 * 4096
    data[middle : middle + 4096] = bytes(4096)
    copy.write_bytes(bytes(data))
    with pytest.raises(InputError, match=r"cut short or damaged|rows and should have"):
        read_profile(copy)
