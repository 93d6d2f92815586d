"""Sampling along a line: blocks, voids, seams, and the arithmetic of the two methods."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pyproj
import pytest
import rasterio
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from profiler.elevation.sampling import GroundSamples, sample
from profiler.errors import InputError
from profiler.ground import Bounds, Ground, GroundSource
from profiler.read.rasters import open_ground

CELL = 0.001


@dataclass
class ArrayGround:
    """An array as ground, its first centre at ``west``, ``north``; it counts the blocks read."""

    array: np.ndarray
    block_shape: tuple[int, int] = (4, 4)
    west: float = 0.0
    north: float = 0.0
    cell: float = CELL
    epsg: int = 4326
    around: int = 0
    name: str = "array"
    path: Path = Path("array")
    vertical_datum: str = "unknown"
    reads: list[tuple[int, int, int, int]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.array = np.asarray(self.array, dtype=np.float32)
        self.crs, self.shape, self.cell_m = f"EPSG:{self.epsg}", self.array.shape, self.cell
        self._way = pyproj.Transformer.from_crs(4326, self.epsg, always_xy=True)

    @property
    def bounds(self) -> Bounds:
        rows, columns = self.shape
        x = self.west + self.cell * np.array([-1.5, columns + 0.5])
        y = self.north - self.cell * np.array([rows + 0.5, -1.5])
        return Bounds(*self._way.transform_bounds(x[0], y[0], x[1], y[1], direction="INVERSE"))

    def cells(self, longitude, latitude):
        x, y = self._way.transform(longitude, latitude)
        return (self.north - y) / self.cell, (x - self.west) / self.cell

    def read(self, row, column, rows, columns):
        assert 0 <= row < row + rows <= self.shape[0]
        assert 0 <= column < column + columns <= self.shape[1]
        self.reads.append((row, column, rows, columns))
        return self.array[row : row + rows, column : column + columns]

    def overview(self, bounds, rows, columns):
        raise NotImplementedError


def at(ground: ArrayGround, row, column, **options) -> np.ndarray:
    """Samples of one raster in degrees at fractional cells."""
    longitude = ground.west + np.asarray(column, dtype=float) * CELL
    latitude = ground.north - np.asarray(row, dtype=float) * CELL
    return sample([GroundSource("x", (ground,))], longitude, latitude, **options).values[0]


def obvious(array: np.ndarray, row: float, column: float) -> float:
    """Bilinear, one station at a time, the whole array at hand; see `sample` for voids and edges."""
    rows, columns = array.shape
    if not (-0.5 <= row <= rows - 0.5 and -0.5 <= column <= columns - 0.5):
        return np.nan
    total = weight = inside = 0.0
    for i in (int(np.floor(row)), int(np.floor(row)) + 1):
        for j in (int(np.floor(column)), int(np.floor(column)) + 1):
            if 0 <= i < rows and 0 <= j < columns:
                share = (1 - abs(row - i)) * (1 - abs(column - j))
                inside += share
                if np.isfinite(array[i, j]):
                    total, weight = total + share * array[i, j], weight + share
    return total / weight if weight > 0 and weight >= inside / 2 else np.nan


SIZES = st.tuples(st.integers(1, 23), st.integers(1, 23))


@settings(max_examples=150, deadline=None)
@given(SIZES, SIZES, st.integers(0, 2**32 - 1), st.sampled_from([0.0, 0.1, 0.5]))
def test_blocks_make_no_difference(shape, block, seed, voids):
    """Law: whatever the blocks, the samples are those of the whole array, sampled the slow way;
    every block is read at most once, in the order of the file."""
    random = np.random.default_rng(seed)
    array = random.uniform(0, 900, shape).astype(np.float32)
    array[random.random(shape) < voids] = np.nan
    ground = ArrayGround(array, block_shape=block)
    walk = np.cumsum(random.normal(0, 0.4, (2, 120)), axis=1)
    row = (walk[0] + random.uniform(0, shape[0])) % (shape[0] + 1) - 1
    column = (walk[1] + random.uniform(0, shape[1])) % (shape[1] + 1) - 1
    expected = [obvious(array.astype(float), *place) for place in zip(row, column, strict=True)]
    np.testing.assert_allclose(at(ground, row, column), expected, rtol=1e-6, atol=1e-4)
    assert ground.reads == sorted(set(ground.reads))


@pytest.mark.parametrize("method", ["bilinear", "cubic"])
def test_only_touched_blocks_are_read_and_once(method):
    """Worked: cells 9 to 55 of rows 9 to 12 (bilinear: fewer), in blocks of 8: block row 1 with block
    columns 1 to 6; a line there and back again reads nothing twice."""
    ground = ArrayGround(np.full((64, 64), 5.0), block_shape=(8, 8))
    column = np.r_[np.linspace(10.5, 53.5, 300), np.linspace(53.5, 10.5, 300)]
    np.testing.assert_allclose(at(ground, np.full(600, 10.5), column, method=method), 5)
    assert ground.reads == [(8, 8 * k, 8, 8) for k in range(1, 7)]


def test_progress_rises_to_one():
    """Law: the share done never falls and ends at 1."""
    ground, told = ArrayGround(np.zeros((40, 40))), []
    at(ground, np.linspace(0, 39, 50), np.linspace(0, 39, 50), progress=told.append)
    assert told == sorted(told)
    assert told[-1] == pytest.approx(1)


def test_bilinear_agrees_with_a_reference_library():
    """Outside: scipy.ndimage.map_coordinates, order 1."""
    random = np.random.default_rng(3)
    array = random.uniform(0, 2000, (90, 70))
    row, column = random.uniform(0, 89, 500), random.uniform(0, 69, 500)
    expected = ndimage.map_coordinates(array, [row, column], order=1)
    np.testing.assert_allclose(at(ArrayGround(array), row, column), expected, atol=2e-3)


def test_cubic_of_a_smooth_surface():
    """Outside: scipy.ndimage.map_coordinates, order 3, on waves of 40 cells. Keys' convolution and the
    spline differ by their error terms, both below (2π/40)³·A·0.1; bilinear is ten times further off."""
    rows, columns = np.mgrid[:80, :90]
    array = 500 + 100 * np.sin(2 * np.pi * rows / 40) * np.cos(2 * np.pi * columns / 40)
    random = np.random.default_rng(5)
    row, column = random.uniform(10, 69, 400), random.uniform(10, 79, 400)
    spline = ndimage.map_coordinates(array, [row, column], order=3)
    bound = (2 * np.pi / 40) ** 3 * 100 * 0.1
    ground = ArrayGround(array)
    assert np.abs(at(ground, row, column, method="cubic") - spline).max() < bound
    assert np.abs(at(ground, row, column) - spline).max() > 5 * bound


def test_cubic_reproduces_quadratics():
    """Published: Keys 1981: with a = −1/2 the interpolation agrees with every quadratic exactly."""
    rows, columns = np.mgrid[:30, :30].astype(float)

    def surface(y, x):
        return 300 + 0.5 * y**2 - 0.25 * x**2 + 0.125 * x * y + 2 * x

    random = np.random.default_rng(6)
    row, column = random.uniform(1, 28, 200), random.uniform(1, 28, 200)
    got = at(ArrayGround(surface(rows, columns)), row, column, method="cubic")
    np.testing.assert_allclose(got, surface(row, column), atol=1e-3)


def test_cubic_beside_voids_and_edges_is_bilinear():
    """Law: where one of the sixteen cells is missing the four inner ones decide."""
    random = np.random.default_rng(7)
    array = random.uniform(0, 100, (12, 12)).astype(np.float32)
    array[6, 6] = np.nan
    row, column = np.array([4.3, 0.4, 10.6, 5.5]), np.array([4.6, 0.2, 10.7, 4.5])
    ground = ArrayGround(array)
    np.testing.assert_allclose(at(ground, row, column, method="cubic"), at(ground, row, column), rtol=1e-6)


def test_centres_are_exact_and_read_nothing_beside():
    """Law: on a cell's centre the sample is the cell; its void neighbours do not matter."""
    array = np.full((9, 9), np.nan, dtype=np.float32)
    array[4, 4] = 123.25
    for method in ("bilinear", "cubic"):
        assert at(ArrayGround(array), [4.0], [4.0], method=method) == 123.25


def test_void_weights_drop_out():
    """Worked: columns 100, void: at a quarter of the way the valid cells carry 3/4, so 100; at three
    quarters they carry 1/4: nothing."""
    array = np.array([[100, np.nan], [100, np.nan]])
    got = at(ArrayGround(array), [0.5, 0.5], [0.25, 0.75])
    np.testing.assert_array_equal(got, [100, np.nan])


def test_the_outer_half_cell_has_the_edge_cells():
    """Worked: between the outermost centre and the edge there is the edge cell; beyond it nothing."""
    array = np.arange(12.0).reshape(3, 4)
    row = np.array([-0.5, -0.3, -0.51, 2.5, 2.4, 1.0, 1.0])
    column = np.array([-0.5, 1.0, 1.0, 3.5, 1.5, 3.49, 3.52])
    np.testing.assert_allclose(at(ArrayGround(array), row, column), [0, 1, np.nan, 11, 9.5, 7, np.nan])


@pytest.mark.parametrize("method", ["bilinear", "cubic"])
@pytest.mark.parametrize("overlap", [0, 1, 5])
def test_a_seam_of_one_lattice_is_invisible(method, overlap):
    """Law: a raster cut into tiles, with or without overlap, samples like the raster in one piece
    (cubic: up to the stations beside the seam, where the four inner cells decide)."""
    random = np.random.default_rng(8)
    array = random.uniform(0, 500, (16, 40)).astype(np.float32)
    right = array[:, 20 - overlap :]
    tiles = (ArrayGround(array[:, :20]), ArrayGround(right, west=(20 - overlap) * CELL))
    column = np.linspace(-0.4, 39.4, 700)
    row = 7.5 + 6 * np.sin(column / 5)
    source = GroundSource("x", tiles)
    got = sample([source], column * CELL, -row * CELL, method=method).values[0]
    whole = at(ArrayGround(array), row, column, method=method)
    beside = (column > 17) & (column < 21) if method == "cubic" and overlap < 3 else column < -1
    assert np.isfinite(got).all()
    np.testing.assert_allclose(got[~beside], whole[~beside], atol=2e-3)
    linear = at(ArrayGround(array), row, column)
    np.testing.assert_allclose(np.minimum(abs(got - whole), abs(got - linear))[beside], 0, atol=2e-3)


def test_four_tiles_meet_in_a_corner():
    """Law: also the corner of four tiles is interpolated as if the raster were whole."""
    array = np.random.default_rng(9).uniform(0, 500, (20, 20)).astype(np.float32)
    tiles = tuple(
        ArrayGround(array[i : i + 10, j : j + 10], west=j * CELL, north=-i * CELL) for i in (0, 10) for j in (0, 10)
    )
    row, column = np.linspace(8, 11, 61), np.linspace(7.5, 11.5, 61)
    got = sample([GroundSource("x", tiles)], column * CELL, -row * CELL).values[0]
    np.testing.assert_allclose(got, at(ArrayGround(array), row, column), atol=2e-3)


def surface(longitude, latitude):
    """A tilted plane over degrees."""
    return 500 + 2000 * (longitude - 9) + 3000 * (latitude - 50)


def test_tiles_of_different_systems_and_resolution_leave_no_hole():
    """Law: a plane over a coarse tile in degrees and a fine one in UTM metres that meet is still that
    plane: nowhere a hole, nowhere further off than half of a coarse cell."""
    coarse_lon, coarse_lat = 8.9 + np.arange(100) * 0.001, 50.05 - np.arange(100) * 0.001
    coarse = ArrayGround(surface(coarse_lon, coarse_lat[:, None]), west=8.9, north=50.05, block_shape=(32, 32))
    way = pyproj.Transformer.from_crs(32632, 4326, always_xy=True)
    x, y = 499_964.2 + 25 * np.arange(300) + 12.5, 5_541_000 - 25 * np.arange(200)
    fine = ArrayGround(surface(*way.transform(*np.meshgrid(x, y))), west=x[0], north=y[0], cell=25, epsg=32632)
    longitude = np.linspace(8.95, 9.05, 3000)
    latitude = 50.0 + 0.004 * np.sin((longitude - 9) * 200)
    got = sample([GroundSource("x", (coarse, fine))], longitude, latitude)
    assert np.isfinite(got.values).all()
    off = np.abs(got.values[0] - surface(longitude, latitude))
    assert off.max() < 0.0005 * (2000 + 3000)
    seam = np.abs(longitude - 8.9995) < 0.002
    assert off[~seam].max() < 0.02
    assert got.cell_m == (25,)


def test_a_void_is_filled_by_the_next_tile():
    """Law: where tiles of one source overlap, the first that has a value counts."""
    first = np.full((10, 10), 100.0)
    first[:, 5:] = np.nan
    source = GroundSource("x", (ArrayGround(first), ArrayGround(np.full((10, 10), 200.0))))
    got = sample([source], np.array([3.0, 7.0]) * CELL, np.array([-4.0, -4.0]) * CELL).values[0]
    np.testing.assert_array_equal(got, [100, 200])


def test_tiles_apart_are_neither_placed_nor_read():
    """Law: of two thousand tiles only those the line touches are looked at."""
    tiles = [ArrayGround(np.full((4, 4), float(k % 7)), west=k * 4 * CELL) for k in range(2000)]
    placed: list[str] = []
    for k, tile in enumerate(tiles):
        tile.name = str(k)
        tile.cells = lambda *a, tile=tile, own=tile.cells: (placed.append(tile.name), own(*a))[1]
    longitude = (4 * 1000 + np.linspace(0, 11, 200)) * CELL
    got = sample([GroundSource("x", tuple(tiles))], longitude, np.full(200, -1.5 * CELL)).values[0]
    assert np.isfinite(got).all()
    assert set(placed) <= {"999", "1000", "1001", "1002", "1003"}
    assert [tile.name for tile in tiles if tile.reads] == ["1000", "1001", "1002"]


def test_preferred_takes_the_first_that_has_ground():
    """Worked: by hand, three stations and two sources."""
    nan = np.nan
    samples = GroundSamples(
        np.array([[1.0, nan, nan], [5.0, 6.0, nan]]), ("a", "b"), (10.0, 30.0), ("unknown", "unknown")
    )
    ground, source = samples.preferred()
    np.testing.assert_array_equal(ground, [1, 6, nan])
    np.testing.assert_array_equal(source, [0, 1, -1])
    assert source.dtype == np.int16


def test_sources_keep_their_own_values():
    """Law: every source says what it says, whatever stands before it."""
    near, far = ArrayGround(np.full((5, 5), 10.0)), ArrayGround(np.full((50, 50), 30.0))
    sources = [GroundSource("near", (near,), "EGM2008"), GroundSource("far", (far,))]
    got = sample(sources, np.array([2, 20]) * CELL, np.array([-2, -20]) * CELL)
    np.testing.assert_array_equal(got.values, [[10, np.nan], [30, 30]])
    assert (got.names, got.vertical_datum) == (("near", "far"), ("EGM2008", "unknown"))


@pytest.mark.parametrize("value", [-501.0, 9001.0, 20000.0])
def test_no_ground_is_refused(value):
    """Law: what cannot be ground is a wrong unit or a damaged file, said with its place."""
    array = np.full((10, 10), 100.0)
    array[4, 4] = value
    with pytest.raises(InputError, match=r"array: says .* longitude 0\.00400, latitude -0\.00400; state the unit"):
        at(ArrayGround(array), [1.0, 4.0], [1.0, 4.0])
    assert at(ArrayGround(array), [1.0], [1.0]) == 100


@pytest.mark.parametrize(("value", "words"), [(3e38, r"3e\+38"), (-3.4028235e38, r"-3\.40282e\+38"), (np.inf, "inf")])
def test_a_void_that_nobody_declared(value, words):
    """Law: what no unit can explain is a void value, told in a few digits and with what to do about it."""
    array = np.full((10, 10), 100.0)
    array[4, 4] = value
    with pytest.raises(
        InputError, match=f"says {words} m beside the line, .*; declare that value as its no-data value"
    ):
        at(ArrayGround(array), [1.0, 4.0], [1.0, 4.0])


def test_nothing_to_sample():
    """Law: no station, no source, a place that is no number: empty or NaN, never an error."""
    ground = ArrayGround(np.zeros((4, 4)))
    assert isinstance(ground, Ground)
    assert at(ground, [], []).shape == (0,)
    assert sample([], np.zeros(3), np.zeros(3)).values.shape == (0, 3)
    np.testing.assert_array_equal(at(ground, [1.0, np.nan], [1.0, 1.0]), [0, np.nan])
    with pytest.raises(InputError, match="“nearest” is not known"):
        at(ground, [1.0], [1.0], method="nearest")


def test_shoulders_are_what_rasterio_reads_beside_the_line(tmp_path):
    """Outside: the file read by rasterio, interpolated by scipy at the places that pyproj's geodesics
    give 30 and 50 m left and right of the line; heading north-east across a UTM raster of 10 m."""
    random = np.random.default_rng(10)
    cells = np.cumsum(random.normal(0, 2, (120, 120)), axis=0).astype(np.float32) + 800
    grid = rasterio.Affine(10, 0, 500_000, 0, -10, 5_001_200)
    path = tmp_path / "ground.tif"
    layout = {"driver": "GTiff", "height": 120, "width": 120, "count": 1, "dtype": "float32"}
    with rasterio.open(path, "w", crs="EPSG:32632", transform=grid, **layout) as file:
        file.write(cells, 1)
    along = np.linspace(150, 1000, 31)  # every 40 m: no station is left out
    way = pyproj.Transformer.from_crs(32632, 4326, always_xy=True)
    longitude, latitude = way.transform(500_000 + along, 5_000_000 + along)
    azimuth = pyproj.Geod(ellps="WGS84").inv(longitude[0], latitude[0], longitude[-1], latitude[-1])[0]
    got = sample(
        [GroundSource("x", (open_ground(path),))], longitude, latitude, heading=np.full(31, np.radians(azimuth))
    )
    with rasterio.open(path) as file:
        whole = file.read(1)
        for number, distance in enumerate((30.0, 50.0)):
            sides = []
            for turn in (-90, 90):
                place = pyproj.Geod(ellps="WGS84").fwd(
                    longitude, latitude, np.full(31, azimuth + turn), np.full(31, distance)
                )
                column, row = ~file.transform @ np.array(way.transform(*place[:2], direction="INVERSE"))
                sides.append(ndimage.map_coordinates(whole, [row - 0.5, column - 0.5], order=1))
            np.testing.assert_allclose(got.shoulders[0, number], np.mean(sides, axis=0), atol=0.02)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(["bilinear", "cubic"]))
def test_shoulders_change_nothing_on_the_line_and_read_nothing_twice(seed, method):
    """Law: with a heading the values on the line are the same (up to the order of a sum), and every block
    is still read once, in the order of the file."""
    random = np.random.default_rng(seed)
    array = random.uniform(0, 900, (40, 40))
    array[random.random((40, 40)) < 0.05] = np.nan
    turn = np.cumsum(random.normal(0, 0.2, 200))
    longitude = 0.02 + np.cumsum(np.sin(turn)) * 1e-4
    latitude = -0.02 + np.cumsum(np.cos(turn)) * 1e-4
    plain, beside = ArrayGround(array), ArrayGround(array)
    bare = sample([GroundSource("x", (plain,))], longitude, latitude, method=method)
    full = sample([GroundSource("x", (beside,))], longitude, latitude, heading=turn, method=method)
    np.testing.assert_allclose(bare.values, full.values, rtol=1e-12)
    assert beside.reads == sorted(set(beside.reads))
    assert set(plain.reads) <= set(beside.reads)
    assert bare.shoulders is None
    assert full.shoulders.shape == (1, 2, 200)


def test_shoulders_of_a_ramp_and_beyond_the_edge():
    """Worked: on a plane the mean of both sides is the line itself; 0.2 cells outside the outermost
    centres, the far side (0.45 cells of 111 m further) lies off the raster and its mean is missing,
    the near side (0.27 cells) still is on the edge cell. A value that cannot be ground beside the line
    counts as void and does not refuse it."""
    array = np.arange(12.0) * np.ones((60, 1))
    array[40:, 10] = 20_000.0

    def along(column: float) -> GroundSamples:
        latitude = -np.linspace(1, 58, 200) * CELL
        source = GroundSource("x", (ArrayGround(array),))
        return sample([source], np.full(200, column * CELL), latitude, heading=np.full(200, np.pi))

    np.testing.assert_allclose(along(5.0).shoulders[0], 5.0, atol=1e-5)
    near, far = along(-0.2).shoulders[0]
    np.testing.assert_allclose(near, 0.07 / 2, atol=0.002)
    assert np.isnan(far).all()
    far = along(8.9).shoulders[0, 1]
    np.testing.assert_allclose(far[:100], 8.9, atol=1e-4)
    np.testing.assert_allclose(far[160:], (8.9 - 50 / 111.32 + 9) / 2, atol=0.01)


def test_a_part_keeps_its_shoulders():
    """Law: stations and what lies beside them are cut together."""
    values = np.arange(10.0)[None]
    shoulders = np.stack([values, values + 1], axis=1)
    samples = GroundSamples(values, ("a",), (10.0,), ("unknown",), shoulders)
    part = samples.part(2, 5)
    np.testing.assert_array_equal(part.values, [[2, 3, 4, 5]])
    np.testing.assert_array_equal(part.shoulders, [[[2, 3, 4, 5], [3, 4, 5, 6]]])
    bare = GroundSamples(values, ("a",), (10.0,), ("unknown",)).part(0, 0)
    assert (bare.values.shape, bare.shoulders) == ((1, 1), None)
