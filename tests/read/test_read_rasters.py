"""Rasters: good ones give the cells written, damaged ones one clear sentence."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import warnings
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
import rasterio.shutil
from rasterio.crs import CRS
from rasterio.transform import Affine

from profiler.errors import InputError, MissingCRSError
from profiler.ground import Bounds, Ground, GroundSource
from profiler.read import rasters
from profiler.read.rasters import assumptions_of, open_ground, open_sources
from profiler.read.relief import read_relief
from profiler.units import FOOT, US_SURVEY_FOOT

ROOT = Path(__file__).parents[2]
DEGREES = Affine(0.001, 0, 11.0, 0, -0.001, 50.0)
HEIGHTS = (400 + np.arange(20 * 30).reshape(20, 30)).astype("int16")


def write(path: Path, array: np.ndarray = HEIGHTS, *, tags: dict | None = None, **profile) -> Path:
    """A GeoTIFF of one array; anything of its profile can be set otherwise."""
    bands = array if array.ndim == 3 else array[None]
    settings = {
        "driver": "GTiff",
        "height": bands.shape[1],
        "width": bands.shape[2],
        "count": bands.shape[0],
        "dtype": bands.dtype,
        "crs": "EPSG:4326",
        "transform": DEGREES,
    } | profile
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with rasterio.open(path, "w", **settings) as dataset:
            dataset.write(bands)
            for name, value in (tags or {}).items():
                setattr(dataset, name, value)
    return path


def whole(ground: Ground) -> np.ndarray:
    """Every cell, as read through the protocol."""
    return ground.read(0, 0, *ground.shape)


def test_cells_are_those_written(tmp_path):
    """Law: what is read is what was written, and a cell's centre has whole cell coordinates."""
    ground = open_ground(write(tmp_path / "a.tif"))
    assert isinstance(ground, Ground)
    assert (ground.name, ground.crs, ground.shape) == ("a.tif", "EPSG:4326", (20, 30))
    np.testing.assert_array_equal(whole(ground), HEIGHTS)
    np.testing.assert_array_equal(ground.read(3, 4, 2, 5), HEIGHTS[3:5, 4:9])
    row, column = ground.cells(np.array([11.0005, 11.0295]), np.array([49.9995, 49.9805]))
    np.testing.assert_allclose([row, column], [[0, 19], [0, 29]], atol=1e-8)


def test_cell_side_is_the_longer_one(tmp_path):
    """Worked: 0.001 degree of the meridian at 50 degrees north is 111.229 m on WGS 84 (a(1 − e²)/
    (1 − e² sin² φ)^1.5 · π/180000); along the parallel it is shorter."""
    assert open_ground(write(tmp_path / "a.tif")).cell_m == pytest.approx(111.229, abs=0.01)


@pytest.mark.parametrize(
    "affine",
    [
        Affine(9.0, 3.0, 500000.0, 2.5, -11.0, 5540000.0),
        Affine(10.0, 0, 500000.0, 0, 10.0, 5540000.0),
        Affine(-10.0, 0, 500000.0, 0, -10.0, 5540000.0),
    ],
    ids=["rotated", "south up", "mirrored"],
)
def test_any_affine_frame(tmp_path, affine):
    """Law: cell centres, brought to degrees by pyproj, come back as whole cell coordinates."""
    ground = open_ground(write(tmp_path / "a.tif", transform=affine, crs="EPSG:32632"))
    rows, columns = np.mgrid[0:20:6, 0:30:7].astype(float).reshape(2, -1)
    x, y = affine @ (columns + 0.5, rows + 0.5)
    degrees = pyproj.Transformer.from_crs(32632, 4326, always_xy=True).transform(x, y)
    np.testing.assert_allclose(ground.cells(*degrees), [rows, columns], atol=1e-5)
    box = ground.bounds
    assert ((degrees[0] > box.west) & (degrees[0] < box.east)).all()
    assert ((degrees[1] > box.south) & (degrees[1] < box.north)).all()


def test_places_beyond_the_projection_are_nan(tmp_path):
    """Law of the contract: NaN, never infinity and never a wrong cell."""
    grid = Affine(10.0, 0, 500000.0, 0, -10.0, 5540000.0)
    ground = open_ground(write(tmp_path / "a.tif", transform=grid, crs="EPSG:32632"))
    row, column = ground.cells(np.array([9.0, 9.0]), np.array([np.nan, 100.0]))
    assert np.isnan(row).all()
    assert np.isnan(column).all()


def test_a_raster_across_the_antimeridian(tmp_path):
    """Worked: the raster starts at 179.99° east; −179.9995° is 10.5 cells of 0.001° further."""
    ground = open_ground(write(tmp_path / "a.tif", transform=Affine(0.001, 0, 179.99, 0, -0.001, 50)))
    row, column = ground.cells(np.array([179.9905, -179.9995]), np.array([49.9995, 49.9995]))
    np.testing.assert_allclose(column, [0, 10], atol=1e-6)
    np.testing.assert_allclose(row, 0, atol=1e-6)


@pytest.mark.parametrize(
    ("word", "metres"),
    [("m", 1.0), ("Meters", 1.0), ("ft", FOOT), ("feet", FOOT), ("US survey foot", US_SURVEY_FOOT)],
)
def test_declared_units(tmp_path, word, metres):
    """Published: NIST SP 811, appendix B: the foot is 0.3048 m, the survey foot 1200/3937 m."""
    ground = open_ground(write(tmp_path / "a.tif", tags={"units": (word,)}))
    np.testing.assert_allclose(whole(ground), HEIGHTS * metres, rtol=1e-6)
    assert not any("unit" in text for text in ground.assumptions)


def test_scale_offset_unit_and_shift(tmp_path):
    """Worked: (500·0.1 + 1000) ft = 1050 ft = 320.04 m, and 2 m stated by the user make 322.04 m."""
    tags = {"scales": (0.1,), "offsets": (1000.0,), "units": ("ft",)}
    path = write(tmp_path / "a.tif", np.full((4, 4), 500, "int16"), tags=tags)
    np.testing.assert_allclose(whole(open_ground(path, offset_m=2.0)), 322.04, rtol=1e-6)


def test_silent_unit_and_datum_are_said(tmp_path):
    """Law: nothing is guessed in silence."""
    said = open_ground(write(tmp_path / "a.tif")).assumptions
    assert said == ("vertical unit not declared, metres assumed", "vertical datum not declared")


def test_stated_unit_and_datum_count(tmp_path):
    """Law: the user's statement goes before the file's, and the conflict is said."""
    path = write(tmp_path / "a.tif", crs="EPSG:6318+6360")
    declared = open_ground(path)
    assert declared.vertical_datum == "NAVD88 height (ftUS)"
    np.testing.assert_allclose(whole(declared), HEIGHTS * US_SURVEY_FOOT, rtol=1e-6)
    assert declared.assumptions == ()
    assert declared.crs == "EPSG:6318"
    stated = open_ground(path, vertical_unit="m", vertical_datum="NGVD 29")
    np.testing.assert_array_equal(whole(stated), HEIGHTS)
    assert stated.vertical_datum == "NGVD 29"
    assert len([text for text in stated.assumptions if "the statement counts" in text]) == 2


def test_ellipsoidal_heights_are_named(tmp_path):
    """Law: a three-dimensional reference system declares heights above its ellipsoid."""
    assert open_ground(write(tmp_path / "a.tif", crs="EPSG:4979")).vertical_datum == "ellipsoid of WGS 84"


@pytest.mark.parametrize("dtype", ["int16", "uint16", "int32", "float32", "float64"])
def test_declared_voids(tmp_path, dtype):
    """Law: declared voids are NaN in every type of number, and nothing need be said."""
    array = HEIGHTS.astype(dtype)
    array[2, 3] = 0
    ground = open_ground(write(tmp_path / "a.tif", array, nodata=0))
    expected = np.where(array == 0, np.nan, array)
    np.testing.assert_array_equal(whole(ground), expected)
    assert not any("no data" in text for text in ground.assumptions)


def test_voids_by_mask_band(tmp_path):
    """Law: cells a mask band marks are NaN, in blocks and in the overview."""
    path = write(tmp_path / "a.tif")
    mask = np.full(HEIGHTS.shape, 255, "uint8")
    mask[4:9, 5:20] = 0
    with rasterio.open(path, "r+") as dataset:
        dataset.write_mask(mask)
    ground = open_ground(path)
    np.testing.assert_array_equal(np.isnan(whole(ground)), mask == 0)
    picture = ground.overview(Bounds(11.0, 49.98, 11.03, 50.0), 20, 30)
    assert np.isnan(picture[6, 8:17]).all()
    assert np.isfinite(picture[12:, :]).all()


@pytest.mark.parametrize(
    ("value", "dtype"),
    [(-32768, "int16"), (-32767, "int16"), (-9999, "int16"), (-9999, "float32"), (-3.4028235e38, "float64")],
)
def test_undeclared_voids_are_taken_and_said(tmp_path, value, dtype):
    """Law: a usual void value far below any ground is no elevation; it is said."""
    array = HEIGHTS.astype(dtype)
    array[0, 0] = value
    ground = open_ground(write(tmp_path / "a.tif", array))
    assert np.isnan(whole(ground)).sum() == 1
    assert "taken as no data" in ground.assumptions[-1]


def test_a_void_value_that_can_be_ground_stays(tmp_path):
    """Worked: −9999 in centimetres is −99.99 m, which is ground in more than one valley."""
    path = write(tmp_path / "a.tif", np.full((3, 3), -9999, "int16"), tags={"scales": (0.01,)})
    np.testing.assert_allclose(whole(open_ground(path)), -99.99, rtol=1e-6)


def test_hgt_cell_centres(tmp_path):
    """Published: an .hgt tile's first row lies on its northern whole degree, its first column on the
    western one, the last ones on the opposite degrees (SRTM User's Guide, section 2.1.2)."""
    path = tmp_path / "N49E011.hgt"
    cells = np.arange(1201 * 1201).reshape(1201, 1201) % 3000
    cells[0, 1] = -32768
    cells.astype(">i2").tofile(path)
    ground = open_ground(path)
    row, column = ground.cells(np.array([11.0, 12.0, 11.5]), np.array([50.0, 49.0, 49.5]))
    np.testing.assert_allclose([row, column], [[0, 1200, 600], [0, 1200, 600]], atol=1e-7)
    expected = np.where(cells == -32768, np.nan, cells)
    np.testing.assert_array_equal(whole(ground), expected)


def test_other_formats(tmp_path):
    """Law: a raster reads the same whatever accepted format holds it."""
    source = write(tmp_path / "a.tif", HEIGHTS)
    for name, driver in (("b.img", "HFA"), ("c.bil", "ENVI"), ("d.asc", "AAIGrid")):
        rasterio.shutil.copy(source, tmp_path / name, driver=driver)
        ground = open_ground(tmp_path / name)
        np.testing.assert_array_equal(whole(ground), HEIGHTS)


def test_thin_strips_are_taken_together(tmp_path):
    """Law: strips of one row are read many at a time, whole blocks stay as they are."""
    strips = open_ground(write(tmp_path / "a.tif", np.full((900, 1000), 7, "int16"), blockysize=1))
    assert strips.block_shape == (65, 1000)
    tiled = {"tiled": True, "blockxsize": 128, "blockysize": 128}
    tiles = open_ground(write(tmp_path / "b.tif", np.full((900, 1000), 7, "int16"), **tiled))
    assert tiles.block_shape == (128, 128)


def test_pickle_close_and_reopen(tmp_path):
    """Law: a ground goes to another process by its path, and a closed one opens again."""
    ground = open_ground(write(tmp_path / "a.tif"))
    first = whole(ground)
    twin = pickle.loads(pickle.dumps(ground))
    ground.close()
    ground.close()
    np.testing.assert_array_equal(whole(twin), first)
    np.testing.assert_array_equal(whole(ground), first)


def test_few_files_stay_open(tmp_path, monkeypatch):
    """Law: thousands of tiles never use up the process's file handles."""
    monkeypatch.setattr(rasters, "_MOST_OPEN", 3)
    grounds = [open_ground(write(tmp_path / f"{i}.tif")) for i in range(6)]
    for ground in grounds:
        whole(ground)
    assert sum(ground._dataset is not None for ground in grounds) <= 3


# --- files that are not what they claim -------------------------------------------------------


def text_file(folder: Path) -> Path:
    (folder / "a.tif").write_text("hello")
    return folder / "a.tif"


def empty_file(folder: Path) -> Path:
    (folder / "a.tif").touch()
    return folder / "a.tif"


def cut_header(folder: Path) -> Path:
    path = write(folder / "a.tif")
    path.write_bytes(path.read_bytes()[:100])
    return path


def virtual(folder: Path) -> Path:
    (folder / "a.vrt").write_text('<VRTDataset rasterXSize="2" rasterYSize="2"></VRTDataset>')
    return folder / "a.vrt"


def virtual_in_disguise(folder: Path) -> Path:
    return virtual(folder).rename(folder / "a.tif")


def short_hgt(folder: Path) -> Path:
    np.zeros(1201 * 1201 - 50, ">i2").tofile(folder / "N49E011.hgt")
    return folder / "N49E011.hgt"


def nameless_hgt(folder: Path) -> Path:
    np.zeros(1201 * 1201, ">i2").tofile(folder / "tile.hgt")
    return folder / "tile.hgt"


def gzipped_hgt(folder: Path) -> Path:
    (folder / "N49E011.hgt.gz").write_bytes(b"\x1f\x8b")
    return folder / "N49E011.hgt.gz"


def no_transform(folder: Path) -> Path:
    return write(folder / "a.tif", transform=None)


def local_crs(folder: Path) -> Path:
    return write(folder / "a.tif", crs=CRS.from_wkt('LOCAL_CS["works grid",UNIT["m",1]]'))


def sparse(folder: Path, side: int, block: int) -> Path:
    path = folder / "a.tif"
    settings = {"driver": "GTiff", "width": side, "height": side, "count": 1, "dtype": "uint8"}
    layout = {"tiled": True, "blockxsize": block, "blockysize": block, "sparse_ok": True, "bigtiff": "YES"}
    grid = Affine(1e-5, 0, 11, 0, -1e-5, 50)
    with rasterio.open(path, "w", crs="EPSG:4326", transform=grid, **settings, **layout):
        pass
    return path


def colour_picture(folder: Path) -> Path:
    return write(folder / "a.tif", np.zeros((3, 4, 4), "uint8"), photometric="RGB")


def complex_numbers(folder: Path) -> Path:
    return write(folder / "a.tif", np.zeros((4, 4), "complex64"))


def unknown_unit(folder: Path) -> Path:
    return write(folder / "a.tif", tags={"units": ("fathom",)})


def zero_scale(folder: Path) -> Path:
    return write(folder / "a.tif", tags={"scales": (0.0,)})


@pytest.mark.parametrize(
    ("make", "sentence"),
    [
        (lambda folder: folder / "absent.tif", "there is no such file"),
        (lambda folder: folder, "is a folder"),
        (lambda _: Path("https://example.org/a.tif"), "is a remote address"),
        (lambda _: Path("/vsicurl/https://example.org/a.tif"), "is a remote address"),
        (text_file, "is not a raster"),
        (empty_file, "is empty"),
        (cut_header, "is damaged or not what its name says"),
        (virtual, "is a virtual raster"),
        (virtual_in_disguise, "is a virtual raster"),
        (short_hgt, "has 2,884,702 bytes"),
        (nameless_hgt, "has its place in its name only"),
        (gzipped_hgt, "is compressed with gzip"),
        (no_transform, "does not say where on the ground"),
        (local_crs, "cannot be brought to longitude and latitude"),
        (lambda folder: sparse(folder, 1_000_000, 4096), "too many to be true"),
        (lambda folder: sparse(folder, 20_000, 16_384), "too large to read"),
        (colour_picture, "is a picture"),
        (complex_numbers, "holds complex64 values"),
        (unknown_unit, 'vertical unit “fathom” is not known; state vertical_unit = "m", "ft"'),
        (zero_scale, "declares scale 0.0"),
    ],
)
def test_bad_files_are_refused_in_one_sentence(tmp_path, make, sentence):
    """Law: one clear sentence that names the file."""
    path = make(tmp_path)
    with pytest.raises(InputError) as caught:
        open_ground(path)
    assert sentence in str(caught.value)
    assert path.name in str(caught.value)
    assert "\n" not in str(caught.value)


def test_no_reference_system(tmp_path):
    """Law: coordinates without a reference system have an error of their own."""
    with pytest.raises(MissingCRSError, match="has no reference system"):
        open_ground(write(tmp_path / "a.tif", crs=None))


def test_a_cut_file_opens_and_fails_where_it_is_cut(tmp_path):
    """Law: half a GeoTIFF opens; the sentence comes when the missing part is read."""
    noise = np.random.default_rng(1).normal(500, 50, (512, 512)).astype("float32")
    layout = {"tiled": True, "blockxsize": 128, "blockysize": 128}
    path = write(tmp_path / "a.tif", noise, compress="deflate", **layout)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    ground = open_ground(path)
    np.testing.assert_array_equal(ground.read(0, 0, 128, 128), noise[:128, :128])
    with pytest.raises(InputError, match=r"row 384, column 384, it is damaged or cut short"):
        ground.read(384, 384, 128, 128)


def test_several_bands_are_said(tmp_path):
    """Law: the first band is used, and that is said."""
    ground = open_ground(write(tmp_path / "a.tif", np.stack([HEIGHTS, HEIGHTS + 5])))
    np.testing.assert_array_equal(whole(ground), HEIGHTS)
    assert "2 bands, the first one used" in ground.assumptions


@pytest.mark.parametrize("dtype", ["int16", "uint16", "float32"])
def test_alpha_band_marks_voids(tmp_path, dtype):
    """Law: where the alpha band is zero there is no elevation, in blocks and in the overview."""
    opaque = 255 if dtype == "float32" else np.iinfo(dtype).max
    alpha = np.full(HEIGHTS.shape, opaque)
    alpha[:8] = 0
    bands = np.stack([HEIGHTS, alpha]).astype(dtype)
    ground = open_ground(write(tmp_path / "a.tif", bands, alpha="yes"))
    np.testing.assert_array_equal(whole(ground), np.where(alpha == 0, np.nan, HEIGHTS))
    picture = ground.overview(Bounds(11.0, 49.98, 11.03, 50.0), 20, 30)
    assert np.isnan(picture[:7]).all()
    assert np.isfinite(picture[10:]).all()


@pytest.mark.parametrize("name", ["PROJ_DATA", "PROJ_LIB"])
def test_a_foreign_coordinate_database_is_named(tmp_path, name):
    """Law: a PROJ variable of another installation is the reader's fault to say, not to suffer."""
    path = write(tmp_path / "a.tif")
    code = (
        "import sys\nfrom profiler.errors import InputError\nfrom profiler.read.rasters import open_ground\n"
        "try:\n    open_ground(sys.argv[1])\nexcept InputError as error:\n    print(error)\n"
    )
    environment = {k: v for k, v in os.environ.items() if k not in ("PROJ_DATA", "PROJ_LIB")}
    run = subprocess.run(
        [sys.executable, "-c", code, str(path)],
        env=environment | {name: str(tmp_path)},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert "belongs to another installation" in run.stdout
    assert f"unset {name}" in run.stdout


def test_bad_files_print_nothing_else(tmp_path):
    """Law: a damaged file gives a sentence, not a page of a library's messages."""
    path = cut_header(tmp_path)
    code = (
        "import sys\nfrom profiler.errors import InputError\nfrom profiler.read.rasters import open_ground\n"
        "try:\n    open_ground(sys.argv[1])\nexcept InputError as error:\n    pass\n"
    )
    command = [sys.executable, "-c", code, str(path)]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert (run.stdout, run.stderr, run.returncode) == ("", "", 0)


# --- entries of a territory -------------------------------------------------------------------


def test_one_entry_is_one_source(tmp_path):
    """Law: order of entries is preference; tiles of a pattern are sorted by name; side files and
    files of an earlier entry are left out."""
    (tmp_path / "dem [old]").mkdir()
    for name in ("b", "a", "c"):
        write(tmp_path / "dem [old]" / f"{name}.tif")
    (tmp_path / "dem [old]" / "a.tif.aux.xml").write_text("<x/>")
    folder = tmp_path / "dem [old]"
    sources = open_sources(["c.tif", "*"], folder, vertical_datum="EGM2008", vertical_unit="m")
    assert [source.name for source in sources] == ["c.tif", "*"]
    assert [tile.name for tile in sources[1].tiles] == ["a.tif", "b.tif"]
    assert {source.vertical_datum for source in sources} == {"EGM2008"}
    assert assumptions_of(sources) == ()
    assert open_sources([str(tmp_path / "dem ?old?" / "*.tif")], folder)[0].name == "dem ?old?/*.tif"


@pytest.mark.parametrize(
    ("entries", "sentence"),
    [
        (["x*.tif"], "matches"),
        (["x.tif"], "there is no such file"),
        (["a.tif", "a.tif"], "belong to an earlier entry"),
        (["https://example.org/*.tif"], "is a remote address"),
    ],
)
def test_bad_entries(tmp_path, entries, sentence):
    """Law: an entry that gives nothing is refused by name."""
    write(tmp_path / "a.tif")
    with pytest.raises(InputError, match=sentence):
        open_sources(entries, tmp_path)


def test_assumptions_count_the_files(tmp_path):
    """Worked: one of two tiles has bands to spare; both are silent about unit and datum."""
    write(tmp_path / "a.tif")
    write(tmp_path / "b.tif", np.stack([HEIGHTS, HEIGHTS]))
    said = assumptions_of(open_sources(["*.tif"], tmp_path))
    assert said == (
        "*.tif: vertical unit not declared, metres assumed",
        "*.tif: vertical datum not declared",
        "*.tif: 2 bands, the first one used (1 of 2 files)",
    )


# --- the picture ------------------------------------------------------------------------------


def plane_tile(path: Path, west: float, north: float, crs: str = "EPSG:4326") -> Path:
    """0.1 degree of a tilted plane, 1,000 m at (11, 50), 1 m per 0.001 degree east and 2 m north."""
    rows, columns = np.mgrid[:100, :100] + 0.5
    longitude, latitude = west + columns / 1000, north - rows / 1000
    plane = 1000 + (longitude - 11) * 1000 + (latitude - 50) * 2000
    grid = Affine(0.001, 0, west, 0, -0.001, north)
    return write(path, plane.astype("float32"), transform=grid, crs=crs)


def test_relief_is_a_mosaic_in_order(tmp_path):
    """Worked: a tilted plane over two tiles is its own formula at the grid's centres; a coarse flat
    source counts only where the first one ends."""
    plane_tile(tmp_path / "a.tif", 11.0, 50.0)
    plane_tile(tmp_path / "b.tif", 11.1, 50.0)
    flat = Affine(0.01, 0, 10.9, 0, -0.01, 50.1)
    write(tmp_path / "flat.tif", np.full((40, 60), 77.0, "float32"), transform=flat)
    sources = open_sources(["[ab].tif", "flat.tif"], tmp_path)
    bounds = Bounds(11.05, 49.92, 11.25, 49.98)
    relief = read_relief(sources, bounds, max_cells=3_000)
    rows, columns = relief.elevation.shape
    assert rows * columns <= 3_000
    assert relief.name == "[ab].tif, flat.tif"
    longitude = 11.05 + (np.arange(columns) + 0.5) / columns * 0.2
    latitude = 49.98 - (np.arange(rows) + 0.5) / rows * 0.06
    plane = 1000 + (longitude - 11) * 1000 + (latitude[:, None] - 50) * 2000
    left, right = longitude < 11.198, longitude > 11.202
    np.testing.assert_allclose(relief.elevation[:, left], plane[:, left], atol=1.5)
    np.testing.assert_allclose(relief.elevation[:, right], 77.0)


def test_relief_is_never_finer_than_the_ground(tmp_path):
    """Worked: 0.02 × 0.03 degrees of 0.001-degree cells are 20 rows; columns are square on the ground,
    30·cos 49.95° = 19."""
    source = GroundSource("x", (open_ground(plane_tile(tmp_path / "a.tif", 11.0, 50.0)),))
    relief = read_relief([source], Bounds(11.02, 49.94, 11.05, 49.96))
    assert relief.elevation.shape in {(19, 19), (20, 19)}
    assert relief.cell_m == pytest.approx(111.2, rel=0.06)


def test_relief_without_ground_is_blank():
    """Law: no data is NaN."""
    assert np.isnan(read_relief([], Bounds(0, 0, 1, 1), max_cells=100).elevation).all()
    with pytest.raises(InputError, match="hold no area"):
        read_relief([], Bounds(1, 0, 1, 1))


def test_a_large_file_without_overviews_is_left_out_of_the_picture(tmp_path, monkeypatch):
    """Law: a picture is not worth decoding billions of cells; it is said."""
    monkeypatch.setattr(rasters, "MOST_DECODED", 100)
    ground = open_ground(write(tmp_path / "a.tif"))
    assert np.isnan(ground.overview(ground.bounds, 5, 5)).all()
    assert "left out of the hillshade" in ground.assumptions[-1]
