"""Bad input from the command line: one sentence that names the file and the place, exit code 1, nothing written."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from click.testing import CliRunner, Result

from profiler.cli.main import main
from tests import country

LINE, GROUND = "line.geojson", "ground.tif"
VECTOR = ("profile", LINE, "--dem", GROUND)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to stand in, with a sound line and ground, and an earlier output of the same name."""
    monkeypatch.chdir(tmp_path)
    country.write_territory(tmp_path)
    for name in ("line-profile", "route-profile"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "profile.csv").write_text("of an earlier run\n")
    return tmp_path


def contents(folder: Path) -> dict[str, str]:
    """Every file and folder with a hash of its bytes."""
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() if p.is_file() else "folder"
        for p in folder.rglob("*")
    }


def refused(here: Path, *args: str) -> str:
    """The one sentence with which a command refuses; nothing may have changed on disk."""
    before = contents(here)
    result = CliRunner().invoke(main, list(args))
    assert contents(here) == before
    return sentence(result, here)


def sentence(result: Result, here: Path) -> str:
    """The sentence of a run that failed, checked for its form: where, what is wrong; what to do."""
    assert result.exit_code == 1, result.output
    assert isinstance(result.exception, SystemExit)
    assert result.stdout == ""
    said = result.stderr.removesuffix("\n")
    assert "\n" not in said
    assert re.fullmatch(r"gradewright: [^;]+?: .+; .+[^.]", said)
    assert str(here) not in said, "a path that nobody typed"
    assert not re.search(r"\.\.|,,|;;|::|: :|\. ?;|\(\)|Traceback|Error|sqlite|pyogrio|rasterio|pydantic", said), said
    return said.removeprefix("gradewright: ")


# What is wrong with a file: a name, how to make it, and what must be said of it.


def text(path: Path) -> None:
    path.write_text("These are notes, not data.\n")


def cut_short(path: Path) -> None:
    whole = country.write_ground(path.with_name("whole.tif"), compress=None).read_bytes()
    path.write_bytes(whole[: len(whole) // 4])


def absurd(path: Path) -> None:
    grid = rasterio.Affine(1, 0, country.WEST, 0, -1, country.NORTH)
    size = {"height": 10**6, "width": 10**6, "count": 1, "dtype": "float32"}
    layout = {"tiled": True, "blockxsize": 8192, "blockysize": 7168, "sparse_ok": True, "bigtiff": "YES"}
    with rasterio.open(path, "w", "GTiff", crs=country.PLANE, transform=grid, **size, **layout):
        pass
    assert path.stat().st_size < 1e6


def nothing_but_void(path: Path) -> None:
    country.write_ground(path, np.full((country.ROWS, country.COLUMNS), -9999, "float32"))


def too_high(path: Path) -> None:
    country.write_ground(path, country.hills() * 100)


def spike(path: Path) -> None:
    """A void nobody declared, in cells that the line passes 3.9 km from its start."""
    values = country.hills()
    values[45:52, 180:183] = 3e38
    country.write_ground(path, values)


RASTERS: dict[str, tuple[Callable[[Path], object], str]] = {
    "missing.tif": (lambda _: None, "missing.tif: there is no such file"),
    "text.tif": (text, "text.tif: is not a raster"),
    "empty.tif": (lambda p: p.write_bytes(b""), "empty.tif: is empty"),
    "short.tif": (cut_short, "short.tif: cannot be read at row 0, column 192, it is damaged or cut short"),
    "stub.tif": (lambda p: p.write_bytes(Path(GROUND).read_bytes()[:60]), "stub.tif: cannot be opened"),
    "placeless.tif": (lambda p: country.write_ground(p, crs=None), "placeless.tif: has no reference system (CRS)"),
    "absurd.tif": (absurd, "absurd.tif: declares 1,000,000 × 1,000,000 cells"),
    "elsewhere.tif": (
        lambda p: country.write_ground(p, west=200_000),
        "elsewhere.tif: no elevation on the line, which lies within longitude -31.387 to -31.284",
    ),
    "void.tif": (nothing_but_void, "void.tif: no elevation on the line"),
    "feet.tif": (too_high, "feet.tif: says "),
    "spike.tif": (spike, "spike.tif: says 3e+38 m beside the line, at longitude -31.34"),
    "dem/*.tif": (lambda _: None, "dem/*.tif: no raster matches"),
}


@pytest.mark.parametrize("name", RASTERS)
def test_rasters(here: Path, name: str):
    """Law: a raster that is no raster, or not here, is named with what is wrong; never a traceback."""
    make, words = RASTERS[name]
    make(here / name)
    assert refused(here, "profile", LINE, "--dem", name).startswith(words)
    assert words in refused(here, "profile", "route.toml", "--dem", name)


def lines(*pieces: np.ndarray) -> Callable[[Path], object]:
    return lambda path: country.write_lines(path, *pieces)


def table(crs: int | None, *places: np.ndarray) -> Callable[[Path], object]:
    """A file in whatever format its name says."""

    def make(path: Path) -> None:
        with np.errstate(invalid="ignore"):
            shapes = [shapely.LineString(p) for p in places]
        geopandas.GeoDataFrame(geometry=shapes, crs=crs).to_file(path)

    return make


def with_nan(value: float = np.nan) -> np.ndarray:
    places = country.line()
    places[5, 1] = value
    return places


METRES = np.array([[640_000.0, 5_780_000], [650_000, 5_780_000]])
ASIDE = country.line()
ASIDE[5:295:9, 1] += 0.004
BRANCH = country.line(3000, 9000) + np.linspace([0, 0], [0, 0.02], 201)

VECTORS: dict[str, tuple[Callable[[Path], object], str]] = {
    "missing.geojson": (lambda _: None, "missing.geojson: there is no such file"),
    "folder": (Path.mkdir, "folder: is a folder"),
    "text.gpkg": (text, "text.gpkg: does not begin like GeoPackage, though its name says so"),
    "text.geojson": (text, "text.geojson: does not begin like GeoJSON"),
    "text.shp": (text, "text.shp: does not begin like Shapefile"),
    "line.tif": (text, "line.tif: no line is read from files ending in .tif"),
    "half.gpkg": (lambda p: p.write_bytes(b"SQLite format 3\0" + bytes(300)), "half.gpkg: holds no layer, or is cut"),
    "half.geojson": (lambda p: p.write_bytes(Path(LINE).read_bytes()[:999]), "half.geojson: holds no layer, or is"),
    "crsless.shp": (table(None, country.line()), "crsless.shp: the coordinates come without a reference system (CRS)"),
    "metres.geojson": (lines(METRES), "metres.geojson, feature 1: (640000, 5780000) does not suit degrees"),
    "metres.gpkg": (table(4326, METRES), "metres.gpkg, feature 1: (640000, 5780000) does not suit degrees"),
    "degrees.gpkg": (table(2154, country.line()), "degrees.gpkg, feature 1: (-31.38651606, -38.08522394) looks like"),
    "point.geojson": (lines(country.line()[:1]), "point.geojson, feature 1: its geometry cannot be read"),
    "still.geojson": (lines(country.line()[[0, 0]]), "still.geojson: none of its lines is left"),
    "nan.geojson": (lines(with_nan()), "nan.geojson, feature 1: (-31.38480925, nan) a coordinate is not a number"),
    "nan.gpkg": (table(4326, with_nan()), "nan.gpkg, feature 1: (-31.38480925, nan) a coordinate is not a number"),
    "latitude.geojson": (lines(country.line() - [0, 60]), "latitude.geojson, feature 1: (-31.38651606, -98.08522394)"),
    "longitude.geojson": (
        lines(country.line() + np.array([431, 0])),
        "longitude.geojson, feature 1: (399.6134839, -38.0852239",
    ),
    "exchanged.geojson": (
        lines(country.line()[:, ::-1] + [0, -65]),
        "exchanged.geojson, feature 1: (-38.08522394, -96.38651606) does not suit degrees",
    ),
    "polar.geojson": (
        lines(country.line() - [0, 47]),
        "polar.geojson, feature 1: (-31.38651606, -85.08522394) lies beyond 84° of latitude, too near the pole",
    ),
    "endless.gpkg": (table(4326, with_nan(np.inf)), "endless.gpkg, feature 1: (-31.38480925, inf) a coordinate is not"),
    "far.gpkg": (table(32725, METRES * [1e7, 1]), "far.gpkg, feature 1: (6.4e+12, 5780000) cannot be carried from"),
    "aside.geojson": (
        lines(ASIDE),
        "aside.geojson, feature 1: 33 of 301 vertices of the line lie far aside of their neighbours, that at -31.",
    ),
    "two.geojson": (
        lines(country.line(0, 4000), country.line(6000, 9000)),
        "two.geojson: the pieces make separate lines: gap of 2019 m between -31.34105, -38.08396 and",
    ),
    "fork.geojson": (
        lines(country.line(0, 3000), country.line(3000, 9000), BRANCH),
        "fork.geojson: the line forks at -31.35235, -38.08352",
    ),
}


@pytest.mark.filterwarnings("ignore:'crs' was not provided", "ignore:invalid value encountered")
@pytest.mark.parametrize("name", VECTORS)
def test_lines(here: Path, name: str):
    """Law: a file without one sound line is named with the feature or the place; checking says the same."""
    make, words = VECTORS[name]
    make(here / name)
    said = refused(here, "profile", name, "--dem", GROUND)
    assert said.startswith(words)
    assert refused(here, "check", name, "--dem", GROUND) == said


def test_no_elevation(here: Path):
    """Law: a line without ground is no profile."""
    assert "name one with --dem" in refused(here, "profile", LINE)


TABLES: dict[str, tuple[str, str, str]] = {
    "unknown key": ('units = "us"', 'unit = "us"', "route.unit: no such key; did you mean units?"),
    "unknown table": ("[route]", "[rout]", "rout: no such key; did you mean route?"),
    "wrong unit": (
        'vertical_unit = "m"',
        'vertical_unit = "yd"',
        "elevation.vertical_unit: 'yd' is not possible; it should be 'm', 'ft' or 'us-ft'",
    ),
    "unit of posts": ('unit = "mi"', 'unit = "ft"', "posts.unit: 'ft' is not possible; it should be 'mi' or 'km'"),
    "negative step": (
        "[route]",
        "[settings]\nstep_m = -1\n[route]",
        "settings.step_m: -1 is not possible; it should be greater than or equal to 1",
    ),
    "no grade allowed": (
        "[route]",
        "[settings]\nmax_grade_pct = 0\n[route]",
        "settings.max_grade_pct: 0 is not possible; it should be greater than 0",
    ),
    "word for a number": (
        "[route]",
        '[settings]\nstep_m = "ten"\n[route]',
        "settings.step_m: 'ten' is not possible; it should be a number",
    ),
    "no list": (
        '["ground.tif"]',
        '"ground.tif"',
        "elevation.rasters: 'ground.tif' is not possible; it should be a list in square brackets",
    ),
    "no pair": (
        'ends = ["Marram", "Sallow"]',
        'ends = "Marram"',
        "route.ends: 'Marram' is not possible; it should be a list in square brackets",
    ),
    "two speeds": (
        "[[stations]]",
        '[[speed_limits]]\nfrom={post="11"}\nto={post="12"}\nspeed_mph=40\nspeed_kmh=60\n[[stations]]',
        "speed_limits[1] is given in no way, or in more than one; give speed_mph or speed_kmh, one of them",
    ),
    "no end": (
        "[[stations]]",
        '[[slow_orders]]\nfrom={post="11"}\nspeed_mph=10\n[[stations]]',
        "slow_orders[1].to is missing; add it",
    ),
    "post off the line": (
        "[[stations]]",
        '[[slow_orders]]\nfrom={post="90"}\nto={post="91"}\nspeed_mph=10\n[[stations]]',
        "slow_orders[1].from: post mi 90 lies outside the line, which runs from mi 10.00 (Marram) to 15.61 (Sallow)",
    ),
    "station off the line": (
        "at = { chainage_m = 200 }",
        "at = { longitude = 3.0, latitude = 50.0 }",
        "stations[1].at: longitude 3.00000, latitude 50.00000 is 9221.2 km from the line; correct the coordinates",
    ),
    "off the globe": (
        "at = { chainage_m = 200 }",
        "at = { longitude = 3.0, latitude = 95.0 }",
        "stations[1].at.latitude: 95.0 is not possible; it should be less than or equal to 90",
    ),
    "bracket": (
        'ends = ["Marram", "Sallow"]',
        'ends = ["Marram"',
        "is no valid TOML, unclosed array (at line 6, column 1); correct that place",
    ),
    "no line": ('[centreline]\npath = "line.geojson"', "", "there is no [centreline]; say where the line is"),
}


@pytest.mark.parametrize("name", TABLES)
def test_territory(here: Path, name: str):
    """Law: a key or value that cannot be meant is named with the one that may have been."""
    old, new, words = TABLES[name]
    assert old in country.TERRITORY
    (here / "other.toml").write_text(country.TERRITORY.replace(old, new))
    assert refused(here, "profile", "other.toml").startswith(f"other.toml: {words}")


def test_paths_of_a_territory_start_at_its_folder(here: Path):
    """Law: files named in a territory are said with its folder as it was typed, those of --dem as typed."""
    country.write_territory(here / "sub", country.TERRITORY.replace("ground.tif", "ground-2.tif"))
    assert refused(here, "profile", "sub/route.toml").startswith("sub/ground-2.tif: there is no such file")
    assert refused(here, "profile", "sub/route.toml", "--dem", "no.tif").startswith("no.tif: there is no such file")


def test_step_longer_than_the_line(here: Path):
    """Law: a line of 60 m has no stations every 100 m."""
    country.write_lines(here / "short.geojson", country.line(0, 60))
    said = refused(here, "profile", "short.geojson", "--dem", GROUND, "--step", "100")
    assert said.endswith("the line is only 60 m long; give a longer line or a shorter step_m")


def test_ground_that_is_flat(here: Path):
    """Worked: over 412 m everywhere the rail lies level at 412 m, and its standard error is above zero."""
    country.write_ground(here / "flat.tif", np.full((country.ROWS, country.COLUMNS), 412, "float32"))
    result = CliRunner().invoke(main, ["profile", LINE, "--dem", "flat.tif", "--tables-only"])
    assert result.exit_code == 0, result.output
    rows = pd.read_csv(here / "line-profile/profile.csv")
    assert (rows["elevation_m"] == 412).all()
    assert (rows["grade_pct"] == 0).all()
    assert rows["elevation_se_m"].min() > 0


def test_known_elevations_that_contradict_each_other(here: Path):
    """Law: of two heights 40 m apart at places 10 m apart, neither of which the ground bears out, both are
    named and neither is used: the profile is the one without them."""
    known = "\n[[known_elevations]]\nat = {{ chainage_m = {} }}\nelevation_m = {}\nse_m = 0.3\n"
    both = known.format(3000, 300) + known.format(3010, 340)
    (here / "route.toml").write_text(country.TERRITORY)
    (here / "two.toml").write_text(country.TERRITORY + both)
    for name in ("route.toml", "two.toml"):
        result = CliRunner().invoke(main, ["profile", name, "--tables-only", "--units", "metric"])
        assert result.exit_code == 0, result.output
    assert "known elevations: 0 of 2 used" in result.stdout
    assert "not used: 300.0 m at chainage 3000 m, contradicts the one at chainage 3010 m" in result.stdout
    assert "not used: 340.0 m at chainage 3010 m, contradicts the one at chainage 3000 m" in result.stdout
    one, two = (pd.read_csv(here / f"{name}-profile/profile.csv") for name in ("route", "two"))
    pd.testing.assert_frame_equal(one, two)


@pytest.fixture
def with_gap(here: Path) -> Path:
    """Ground without data over 3 km of the line."""
    values = country.hills()
    values[:, 150:250] = -9999
    country.write_ground(here / "gap.tif", values)
    return here


def test_gap_refused_by_its_posts(with_gap: Path):
    """Worked: cells 150 to 249 of 30 m lie 4,500 m to 7,500 m from the raster's edge, and the line begins
    at 1,500 m: 3.0 km to 6.0 km of it, a little more along the curves. From post 10.0 at the start that is
        10 + 3.01/1.609 = 11.87 to 10 + 6.014/1.609 = 13.74 miles."""
    assert refused(with_gap, "profile", LINE, "--dem", "gap.tif").startswith(
        "gap.tif: no elevation over km 3.01 to km 6.01 (3.0 km); give rasters that cover it, or use --trim"
    )
    assert "no elevation over 11.87 to 13.74" in refused(with_gap, "profile", "route.toml", "--dem", "gap.tif")


@pytest.mark.usefixtures("with_gap")
def test_gap_seen_by_check():
    """Law: check says what profile would refuse, and fails as it would."""
    result = CliRunner().invoke(main, ["check", LINE, "--dem", "gap.tif"])
    assert result.exit_code == 1
    assert result.stdout.startswith(f"{LINE}: the line can be used, the elevation data do not reach all of it\n")
    assert "66.7% of the line has elevation; none over km 3.01 to km 6.01 (3.0 km)" in result.stdout


def test_gap_trimmed(with_gap: Path):
    """Law: with --trim the longest covered stretch is kept, and said: here the two are equally long."""
    result = CliRunner().invoke(main, ["profile", LINE, "--dem", "gap.tif", "--trim", "--tables-only"])
    assert result.exit_code == 0
    kept = r"trimmed to km (0\.00 … km 3\.00|6\.0\d … km 9\.0\d): no elevation over km 3\.01 to km 6\.01"
    assert re.search(kept, result.stdout)
    assert json.loads((with_gap / "line-profile/provenance.json").read_text())["route"]["length_m"] < 3020


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("profile", LINE, "--step", "0"), "0.0 is not in the range 1<=x<=100"),
        (("profile", LINE, "--step", "101"), "is not in the range"),
        (("profile", LINE, "--step", "ten"), "'ten' is not a valid"),
        (("profile", LINE, "--units", "imperial"), "'imperial' is not one of 'us', 'metric'"),
        (("profile", LINE, "--train-length", "0"), "is not in the range"),
        (("profile", LINE, "--demm", GROUND), "--dem"),
        (("profile",), "Missing argument 'SOURCE'"),
        (("profil", LINE), "There is no command 'profil'; did you mean profile?"),
        (("netwrok",), "did you mean network?"),
        (("x",), "the commands are profile, brief, beside, compare, export, check, demo, fetch, network"),
        (("network", ".", "--workers", "0"), "is not in the range"),
    ],
)
def test_usage(here: Path, args: tuple[str, ...], words: str):
    """Law: a wrong use of the command is told from bad input by exit code 2."""
    before = contents(here)
    result = CliRunner().invoke(main, list(args))
    assert result.exit_code == 2
    assert words in result.stderr
    assert contents(here) == before
