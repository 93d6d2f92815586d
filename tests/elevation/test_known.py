"""The rasters' offset out of known elevations, and the known elevations it does not believe."""

from __future__ import annotations

import numpy as np
import pytest

from profiler.elevation.known import CONSTANT, SLOW_LENGTH, RasterOffset, known_residuals, raster_offset
from profiler.errors import InputError
from profiler.profile import KnownElevation

AT = np.arange(0, 80_001, 100.0)
OWN = 0.5


def slow(s: np.ndarray, phase: float = 0.0) -> np.ndarray:
    """An offset of 3 m and a bias that swings by 1.5 m over 37 km. [m]"""
    return 3 + 1.5 * np.sin(2 * np.pi * s / 37_000 + phase)


def noisy(seed: int, fit: float, count: int = 9) -> tuple[RasterOffset, np.ndarray]:
    """What known elevations every 10 km say of that offset, the fit between them erring by ``fit`` [m]."""
    random = np.random.default_rng(seed)
    place = np.linspace(0, AT[-1], count)
    truth = slow(AT, seed)
    difference = slow(place, seed) + random.normal(0, np.hypot(OWN, fit), count)
    variance = np.full(count, OWN**2 + fit**2)
    return raster_offset(place, difference, variance, AT, own_variance=np.full(count, OWN**2)), truth


def plain(place: list[float], difference: list[float], se: float = 1.7) -> RasterOffset:
    """Differences whose fit errs by ``se`` [m], known elevations by 0.5 m."""
    own = np.full(len(place), OWN**2)
    return raster_offset(np.array(place), np.array(difference), own + se**2, AT, own_variance=own)


@pytest.mark.parametrize(("fit", "error"), [(0.4, 0.8), (1.7, 1.3)])
def test_a_slow_offset_is_found(fit: float, error: float):
    """Law: taking the offset found away leaves a third of it or little more, its standard errors cover
    the truth at 90 % of places at least, pooled over 60 seeds, and honest known elevations are believed."""
    found = [noisy(seed, fit) for seed in range(60)]
    left = np.array([offset.offset - truth for offset, truth in found])
    assert np.sqrt(np.mean([truth**2 for _, truth in found])) > 3.1
    assert np.sqrt(np.mean(left**2)) < error
    covered = np.abs(left) < 1.96 * np.sqrt([offset.variance for offset, _ in found])
    assert 0.9 <= covered.mean() < 0.985
    assert all(offset.used.all() for offset, _ in found)


def test_one_known_elevation():
    """Worked: mean y·c²/(c² + v) with c = 10 m, v = 0.25 m²; what it says of the slow part fades away from it."""
    offset = raster_offset(np.array([40_000.0]), np.array([5.0]), np.array([0.25]), AT)
    here = int(np.flatnonzero(AT == 40_000)[0])
    assert offset.offset[here] == pytest.approx(5 * CONSTANT**2 / (CONSTANT**2 + 0.25), rel=2e-4)
    assert offset.variance[here] == pytest.approx(0.25, rel=0.01)
    assert offset.variance[0] > offset.variance[here + 100] > offset.variance[here] + 0.1
    assert (offset.residual[0], offset.used[0]) == (5.0, True)
    assert offset.residual_se[0] > CONSTANT


def test_two_known_elevations_share_the_offset():
    """Worked: each predicts the other to 4 m · (1 − c²/(c² + t² + v)), 0.1 to 0.2 m for c = 10 m, v = 3.1 m² and
    t of 0 to 1.5 m; between them the offset is theirs, less half as much."""
    offset = plain([20_000.0, 60_000.0], [4.0, 4.0])
    np.testing.assert_allclose(offset.offset, 3.93, atol=0.05)
    np.testing.assert_allclose(offset.residual, 0.16, atol=0.05)
    assert (offset.residual_se < 4).all()


def test_none():
    """Law: without known elevations nothing is taken off and nothing is less sure."""
    offset = raster_offset(*[np.empty(0)] * 3, AT)
    assert not offset.offset.any()
    assert not offset.variance.any()
    assert offset.residual.size == offset.used.size == 0


def test_a_typing_error_does_not_take_its_neighbours_along():
    """Worked: 38 m too much at one of eight: it alone is not used, and the others find 2 m as without it."""
    place = [*range(5_000, 80_000, 10_000)]
    difference = [2.0, 2.4, 1.7, 40.0, 2.2, 1.9, 2.5, 1.6]
    offset = plain(place, difference, 0.6)
    assert offset.used.tolist() == [i != 3 for i in range(8)]
    assert offset.residual[3] == pytest.approx(38, abs=0.7)
    assert offset.residual[3] / offset.residual_se[3] > 20
    without = plain(place[:3] + place[4:], difference[:3] + difference[4:], 0.6)
    np.testing.assert_allclose(offset.offset, without.offset, atol=1e-6)
    np.testing.assert_allclose(offset.variance, without.variance, atol=1e-6)
    np.testing.assert_allclose(np.delete(offset.residual, 3), without.residual, atol=1e-9)
    assert (offset.rival == -1).all()


def test_two_typing_errors_beside_each_other():
    """Worked: +30 m and −12 m at neighbours; both are named, the greater does not excuse the smaller."""
    offset = plain([*range(5_000, 80_000, 10_000)], [2.0, 2.4, 1.7, 32.0, -10.0, 1.9, 2.5, 1.6], 0.6)
    assert np.flatnonzero(~offset.used).tolist() == [3, 4]


def test_a_contradiction_that_nothing_decides():
    """Law: of two at one place, equally far from what the others say, neither is used and each names the other;
    the answer does not depend on their order."""
    place, difference = [5_000.0, 30_000.0, 30_050.0, 55_000.0, 75_000.0], [3.2, -1.0, 7.0, 2.8, 3.0]
    offset = plain(place, difference)
    assert offset.used.tolist() == [True, False, False, True, True]
    assert offset.rival.tolist() == [-1, 2, 1, -1, -1]
    np.testing.assert_allclose(offset.offset, 3.0, atol=0.1)
    turned = plain(place[::-1], difference[::-1])
    np.testing.assert_allclose(turned.offset, offset.offset, atol=1e-9)
    assert turned.used.tolist() == offset.used.tolist()[::-1]


def test_a_contradiction_that_the_ground_decides():
    """Law: of two at one place the one 24 m from everything else is left out, and its neighbour named."""
    offset = plain([5_000.0, 30_000.0, 30_050.0, 55_000.0, 75_000.0], [3.2, 3.0, 27.0, 2.8, 3.0])
    assert offset.used.tolist() == [True, True, False, True, True]
    assert offset.rival.tolist() == [-1, -1, 1, -1, -1]


def test_two_alone_that_contradict_each_other():
    """Law: with nothing else to go by neither is used, and no offset claimed."""
    offset = plain([30_000.0, 30_050.0], [0.0, 12.0])
    assert not offset.used.any()
    assert offset.rival.tolist() == [1, 0]
    assert not offset.offset.any()
    assert not offset.variance.any()


def test_predictions_leave_one_out_are_those_of_a_fit_without_it():
    """Law: residual and standard error of one equal a fit to the others, asked at its place."""
    place, difference = np.array([5_000.0, 21_000.0, 38_000.0, 70_000.0]), np.array([2.0, 4.1, 3.3, 1.0])
    variance = np.array([0.5, 0.7, 1.1, 0.6])
    offset = raster_offset(place, difference, variance, place)
    for i in range(4):
        rest = np.arange(4) != i
        other = raster_offset(place[rest], difference[rest], variance[rest], place)
        assert offset.residual[i] == pytest.approx(difference[i] - other.offset[i], abs=1e-6)
        assert offset.residual_se[i] ** 2 == pytest.approx(other.variance[i] + variance[i], rel=1e-6)


def test_many():
    """Worked: 10 of 150 are 30 m off, all the others within 3 of their errors: exactly those are found."""
    random = np.random.default_rng(4)
    place = np.sort(random.uniform(0, 1e6, 150))
    difference = 3 + random.normal(0, 1.0, 150).clip(-3, 3)
    difference[::15] += 30
    offset = raster_offset(place, difference, np.ones(150), np.arange(0, 1e6, 1000.0))
    assert np.flatnonzero(~offset.used).tolist() == list(range(0, 150, 15))
    np.testing.assert_allclose(offset.offset, 3.0, atol=1.0)


@pytest.mark.parametrize(
    ("difference", "variance", "own"),
    [(np.nan, 1, 1), (np.inf, 1, 1), (1, 0, 0), (1, np.nan, 1), (1, -1, 1), (1, 1, 0)],
)
def test_figures_that_cannot_be_used(difference: float, variance: float, own: float):
    """Law: nothing undefined and nothing free of error enters."""
    figures = np.array([1000.0]), np.array([difference]), np.array([variance], float)
    with pytest.raises(InputError, match="not finite or has no error"):
        raster_offset(*figures, AT, own_variance=np.array([own], float))


def test_far_from_the_known_elevation_only_the_slow_part_is_in_doubt():
    """Law: beyond a few correlation lengths the variance no longer grows."""
    far = np.array([0.0, 8 * SLOW_LENGTH, 9 * SLOW_LENGTH])
    variance = raster_offset(np.zeros(1), np.zeros(1), np.full(1, 0.25), far).variance
    assert variance[2] == pytest.approx(variance[1], rel=1e-3)
    assert variance[2] < CONSTANT


def test_the_table_of_residuals():
    """Worked: fitted = known + residual of the offset; a misfit, a tie and one that is used are told apart."""
    known = [KnownElevation(float(i), 100.0 + i, 0.5, f"post {i}") for i in range(4)]
    offset = RasterOffset(
        offset=np.zeros(1),
        variance=np.zeros(1),
        slow_sd=0.0,
        residual=np.array([0.5, 9.0, 3.0, -3.0]),
        residual_se=np.array([1.0, 1.5, 1.0, 1.0]),
        used=np.array([True, False, False, False]),
        rival=np.array([-1, 0, 3, 2]),
    )
    rows = known_residuals(known, offset)
    assert [row.reason for row in rows] == ["", "misfit", "tie", "tie"]
    assert [row.rival for row in rows] == ["", "post 0", "post 3", "post 2"]
    assert [row.fitted for row in rows] == [100.5, 110.0, 105.0, 100.0]
    assert (rows[1].residual, rows[1].standard_errors) == (-9.0, 6.0)
