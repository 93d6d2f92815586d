"""The cross-section of the ground: its arithmetic, what is learned from it, and that it does no harm."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter

from profiler.elevation.cross_section import corrected, features, learned
from profiler.elevation.shoulders import beside, chosen, mean_of_sides, offsets
from tests.truth import DSM, DSM_WILD, DTM, LIDAR, Kind, corridor, railway

SIZE, STEP = 6000, 10.0
ALL = np.ones(SIZE, dtype=bool)


def slow(random: np.random.Generator, rows: int, length: float = 200.0) -> np.ndarray:
    """Correlated rows (rows, SIZE) of unit variance."""
    keep = np.exp(-STEP / length)
    return lfilter([np.sqrt(1 - keep**2)], [1.0, -keep], random.normal(size=(rows, SIZE)), axis=1)


def slow_variance(residual: np.ndarray) -> float:
    """Variance of means over 500 m, stations without a figure left out. [m²]"""
    pieces = residual[: residual.size // 50 * 50].reshape(-1, 50)
    pieces = pieces[np.isfinite(pieces).sum(axis=1) > 25]
    return float(np.nanmean(pieces, axis=1).var())


def test_a_ramp_across_is_nothing_and_a_ridge_its_height():
    """Law: the mean of both sides of a slope is its middle; a ridge of 3 m stands 3 m above its sides."""
    ramp = {offset: 500 + 0.2 * offset for offset in (-50, -30, 0, 30, 50)}
    sides = np.array([[(ramp[-30] + ramp[30]) / 2], [(ramp[-50] + ramp[50]) / 2]])
    np.testing.assert_allclose(features(np.array([ramp[0]]), sides), 0)
    np.testing.assert_allclose(features(np.array([ramp[0] + 3]), sides), 3)
    np.testing.assert_array_equal(np.isnan(features(np.array([1.0, np.nan]), np.array([[np.nan, 1], [1, 1]]))[0]), True)


def test_a_known_share_is_found_and_taken_off():
    """Worked: ground errs by 0.6 of the near feature and nothing else, which is then taken off but for
    the ridge (0.3 %) and the cut at four s.d."""
    random = np.random.default_rng(1)
    shape = slow(random, 2)
    error = 0.6 * shape[0]
    weights = learned(shape, error, ALL, STEP)
    np.testing.assert_allclose(weights, [0.6, 0.0], atol=0.01)
    left = corrected(500 + error, shape, weights) - 500
    assert left.std() < 0.05 * error.std()


def test_offsets_of_the_features_do_not_matter():
    """Law: a feature counts from its median, so that a canal along the whole line moves nothing on the mean."""
    random = np.random.default_rng(2)
    shape, error = slow(random, 2), slow(random, 1)[0]
    error += shape[1]
    weights = learned(shape, error, ALL, STEP)
    shifted = shape + np.array([[-7.0], [20.0]])
    np.testing.assert_allclose(learned(shifted, error + 3, ALL, STEP), weights, rtol=1e-6)
    np.testing.assert_allclose(corrected(error, shifted, weights), corrected(error, shape, weights), rtol=1e-6)


def test_a_wild_feature_is_cut():
    """Worked: of a feature of 1,000 m only four robust s.d. count, so a gorge does not throw the line."""
    shape = slow(np.random.default_rng(3), 2)
    shape[:, 3000] = 1000.0
    ground = np.full(SIZE, 500.0)
    spread = 1.4826 * np.median(np.abs(shape[0] - np.median(shape[0])))
    got = corrected(ground, shape, np.array([0.5, 0.0]))
    assert got[3000] == pytest.approx(500 - 0.5 * 4 * spread, rel=1e-3)


def test_missing_sides_leave_the_ground_as_it_is():
    """Law: NaN features correct nothing, NaN ground stays NaN, and neither disturbs what is learned."""
    random = np.random.default_rng(4)
    shape, ground = slow(random, 2), np.full(SIZE, 500.0)
    error = 2 * shape[0]
    whole = learned(shape, error, ALL, STEP)
    shape[:, 100:400], error[2000:2200] = np.nan, np.nan
    weights = learned(shape, error, ALL, STEP)
    np.testing.assert_allclose(weights, whole, atol=0.02)
    ground[50] = np.nan
    got = corrected(ground, shape, weights)
    np.testing.assert_array_equal(got[100:400], 500)
    assert np.flatnonzero(np.isnan(got)).tolist() == [50]
    nothing = np.full((2, SIZE), np.nan)
    np.testing.assert_array_equal(learned(nothing, error, ALL, STEP), 0)
    np.testing.assert_array_equal(corrected(ground, nothing, np.ones(2)), ground)


@pytest.mark.parametrize("case", ["few stations", "one half", "flat sides", "small error", "no residual"])
def test_nothing_is_learned_from_too_little(case):
    """Law: fewer than 1,500 stations, stations on one half of the blocks only, sides that do not vary, a
    residual smaller than the estimate's own error or none at all: weights of zero."""
    shape = slow(np.random.default_rng(5), 2)
    error, counts = shape[0] * 1.0, ALL.copy()
    if case == "few stations":
        counts[1400:] = False
    elif case == "one half":
        counts = np.arange(SIZE) // 500 % 2 == 0
    elif case == "flat sides":
        shape = np.zeros((2, SIZE))
    elif case == "small error":
        error = error * 0.1
    else:
        error = np.full(SIZE, np.nan)
    np.testing.assert_array_equal(learned(shape, error, counts, STEP), 0)


def test_features_that_say_nothing_do_no_harm():
    """Law: where error and cross-section have nothing in common and the estimate errs as much as the
    ground, nine routes of ten learn nothing at all, and pooled the slow error grows by less than 1 %."""
    grown, used = [], 0
    for seed in range(60):
        random = np.random.default_rng(seed)
        shape, (error, wrong) = slow(random, 2), slow(random, 2)
        weights = learned(shape, error - wrong, ALL, STEP)
        used += weights.any()
        grown.append(slow_variance(corrected(error, shape, weights)) / slow_variance(error) - 1)
    assert used <= 6
    assert np.mean(grown) < 0.01


def against_truth(kind: Kind, seeds: range) -> tuple[float, float]:
    """Change of the variance of the slow error on open track, pooled and of the worst route."""
    before, after = [], []
    for seed in seeds:
        line = railway(seed, style="mixed" if seed % 2 else "mountain")
        raster = corridor(line, kind, np.random.default_rng(seed))
        heading = np.arctan2(np.gradient(line.east), np.gradient(line.north))
        axis = raster.at(line.east, line.north)
        shoulders = np.array(
            [
                sum(raster.at(line.east + d * np.cos(heading), line.north - d * np.sin(heading)) for d in (-off, off))
                for off in offsets(kind.cell)
            ]
        )
        shape = features(axis, shoulders / 2)
        open_track = np.isfinite(axis) & ~line.inside(line.works, margin=kind.cell)
        weights = learned(shape, axis - line.elevation, open_track, STEP)
        for values, found in ((axis, before), (corrected(axis, shape, weights), after)):
            found.append(slow_variance(np.where(open_track, values - line.elevation, np.nan)))
    return sum(after) / sum(before) - 1, max(np.divide(after, before)) - 1


@pytest.mark.parametrize(
    ("kind", "seeds", "at_least"),
    [(DTM, range(3), 0.08), (DSM, range(10), 0.02), (DSM_WILD, range(10), 0.04)],
    ids=lambda value: getattr(value, "name", None),
)
def test_error_falls_where_the_truth_is_known(kind, seeds, at_least):
    """Law: on synthetic rasters whose error is as long across the line as along it the sides tell of it;
    the residual is the true one. Measured: 21, 4.5 and 9 %; asserted is half of it or less."""
    pooled, worst = against_truth(kind, seeds)
    assert pooled < -at_least
    assert worst < 0.02


def test_good_ground_is_left_alone():
    """Law: lidar errs by less than an estimate does: nothing is learned from it."""
    assert against_truth(LIDAR, range(1)) == (0.0, 0.0)


def test_offsets_follow_large_cells():
    """Worked: 30 and 50 m up to cells of 30 m; then 1 and 5/3 cells, 90 and 150 m of 90 m."""
    assert offsets(10.0) == (30.0, 50.0)
    assert offsets(90.0) == pytest.approx((90.0, 150.0))


def test_places_beside_the_line():
    """Outside: geodesics of pyproj, at right angles to the heading, left first."""
    from pyproj import Geod

    random = np.random.default_rng(6)
    longitude, latitude = random.uniform(-180, 180, 50), random.uniform(-75, 75, 50)
    heading = random.uniform(0, 2 * np.pi, 50)
    x, y = beside(longitude, latitude, heading, (30.0, 154.0))
    for row, (side, distance) in enumerate([(-90, 30), (90, 30), (-90, 154), (90, 154)]):
        ends = Geod(ellps="WGS84").fwd(longitude, latitude, np.degrees(heading) + side, np.full(50, float(distance)))
        off = Geod(ellps="WGS84").inv(x[row], y[row], ends[0], ends[1])[2]
        assert np.abs(off).max() < 0.01


def test_sides_are_looked_at_now_and_then():
    """Worked: stations 10 m apart are taken by threes, with the last; between them lies the mean of the
    sides, and nothing beside a side that is missing."""
    at = chosen(7 + np.arange(12) * 10 / 78_846.8, np.full(12, 45.0))
    assert at.tolist() == [0, 3, 6, 9, 11]
    rows = np.array([[0, 0, 30, np.nan, 0], [0, 6, 60, 6, 6]], dtype=float)
    got = mean_of_sides(rows, at, 12)
    np.testing.assert_allclose(got[0, :7], [0, 1, 2, 3, 17, 31, 45])
    assert np.isnan(got[0, 7:11]).all()
    assert got[0, 11] == 3
