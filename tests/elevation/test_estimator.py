"""The estimator on railways whose truth is known: tangents, with correlated error over them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.signal import lfilter

from profiler.elevation.estimator import Estimate, estimate
from profiler.errors import CoverageError

STEP = 10.0


@dataclass(frozen=True, eq=False)
class Truth:
    chainage: np.ndarray
    elevation: np.ndarray
    grade: np.ndarray

    @property
    def open(self) -> np.ndarray:
        return np.zeros(self.chainage.size, bool)


def railway(seed: int, length: float = 40_000.0, spread: float = 0.008, steepest: float = 0.02) -> Truth:
    """Tangents of 0.5 to 4 km between points of intersection."""
    rng = np.random.default_rng(seed)
    place = np.r_[0.0, np.cumsum(np.exp(rng.uniform(np.log(500), np.log(4000), 200)).round(-1))]
    grades = np.clip(rng.normal(0, spread, 200), -steepest, steepest)
    s = np.arange(0.0, length + STEP / 2, STEP)
    z = np.interp(s, place, 400 + np.r_[0.0, np.cumsum(np.diff(place) * grades)])
    return Truth(s, z, grades[np.searchsorted(place, s, side="right") - 1])


def error(size: int, sigma: float, length: float, seed: int) -> np.ndarray:
    """Exponentially correlated error (n,) [m], by a first-order recursion."""
    a = np.exp(-STEP / length)
    drive = np.random.default_rng(seed).normal(size=size) * sigma * np.sqrt(1 - a * a)
    drive[0] /= np.sqrt(1 - a * a)
    return lfilter([1.0], [1.0, -a], drive)


def fit(truth: Truth, *rows: np.ndarray, masked: np.ndarray | None = None, **more) -> Estimate:
    settings = {"max_grade": 0.045, "draws": 30} | more
    return estimate(truth.chainage, np.array(rows), truth.open if masked is None else masked, **settings)


@pytest.fixture(scope="module")
def plain() -> tuple[Truth, np.ndarray, Estimate]:
    """A railway over a good terrain model, and its estimate."""
    truth = railway(1)
    ground = truth.elevation + error(truth.chainage.size, 0.8, 60.0, 1)
    return truth, ground, fit(truth, ground)


def test_grade_times_distance_is_rise(plain: tuple[Truth, np.ndarray, Estimate]):
    """Law: between nodes the mean grade is the difference of mean elevations over their distance, and
    every draw has a height at the first and the last station."""
    truth, _, found = plain
    np.testing.assert_allclose(found.grade[:-1] * STEP, np.diff(found.elevation), atol=1e-9)
    nodes = found.draw_chainage
    assert (nodes[0], nodes[-1]) == (truth.chainage[0], truth.chainage[-1])
    assert found.draw_elevation.shape == (30, nodes.size)


def test_it_beats_the_ground(plain: tuple[Truth, np.ndarray, Estimate]):
    """Law: with the right model the rail is nearer to the truth than the ground is, by far in grade."""
    truth, ground, found = plain
    assert np.std(found.elevation - truth.elevation) < 0.6 * np.std(ground - truth.elevation)
    assert np.abs(found.grade - truth.grade).mean() < 0.0015
    assert found.noise[0].sigma == pytest.approx(0.8, rel=0.2)


def test_intervals_cover_the_truth():
    """Law: over pooled routes and kinds of ground 88 to 100 % of stations lie within 1.96 s.e., both
    of grade and of elevation (stations are correlated: five routes are no more than a hundred places)."""
    held = []
    for seed, (sigma, length) in enumerate([(0.2, 20), (0.8, 60), (0.8, 60), (1.5, 90), (2.0, 120)]):
        truth = railway(10 + seed)
        found = fit(truth, truth.elevation + error(truth.chainage.size, sigma, length, seed))
        held.append(
            [
                (np.abs(found.grade - truth.grade) < 1.96 * found.grade_se).mean(),
                (np.abs(found.elevation - truth.elevation) < 1.96 * found.elevation_se).mean(),
            ]
        )
    grade, elevation = np.mean(held, axis=0)
    assert 0.88 <= grade <= 1.0
    assert 0.88 <= elevation <= 1.0


def test_inside_a_known_tunnel():
    """Law: 80 m of mountain over a tunnel of 3 km that is known leave no trace; s.e. grow inside."""
    truth = railway(2)
    s = truth.chainage
    tunnel = (s >= 15_000) & (s <= 18_000)
    ground = truth.elevation + error(s.size, 0.8, 60.0, 2)
    hidden = np.where(tunnel, ground + 80 * np.sin(np.pi * (s - 15_000) / 3000), ground)
    found, without = fit(truth, hidden, masked=tunnel), fit(truth, np.where(tunnel, np.nan, ground))
    np.testing.assert_array_equal(found.elevation, without.elevation)
    middle, outside = np.abs(s - 16_500) < 300, np.abs(s - 16_500) > 3000
    assert found.elevation_se[middle].min() > 3 * np.median(found.elevation_se[outside])
    assert found.grade_se[middle].min() > 1.5 * np.median(found.grade_se[outside])
    np.testing.assert_array_equal(found.structure_probability, tunnel)


def test_a_gap_is_bridged():
    """Law: 2 km without data are bridged with larger s.e., and the truth lies within three of them."""
    truth = railway(3)
    s = truth.chainage
    gap = (s > 20_000) & (s < 22_000)
    ground = np.where(gap, np.nan, truth.elevation + error(s.size, 0.8, 60.0, 3))
    found = fit(truth, ground)
    assert np.median(found.elevation_se[gap]) > 2 * np.median(found.elevation_se[~gap])
    assert (np.abs(found.elevation - truth.elevation)[gap] < 3 * found.elevation_se[gap]).all()
    assert np.isfinite(found.elevation).all()


def test_wild_values_move_it_by_less_than_half():
    """Law: patches of 10 m of canopy over 300 m pull the rail by less than half of their height."""
    truth = railway(4)
    s = truth.chainage
    ground = truth.elevation + error(s.size, 0.5, 40.0, 4)
    patches = np.zeros(s.size, bool)
    for start in (6000, 14_500, 23_000, 31_000):
        patches |= (s >= start) & (s < start + 300)
    clean, wild = fit(truth, ground), fit(truth, ground + 10 * patches)
    moved = np.abs(wild.elevation - clean.elevation)
    assert moved[patches].max() < 5
    away = np.ones(s.size, bool)
    for start in (6000, 14_500, 23_000, 31_000):
        away &= (s < start - 1000) | (s > start + 1300)
    assert moved[away].max() < 0.5


def test_the_bound_holds_over_a_hill():
    """Law: over hills that nobody says are tunnels, 6 to 20 % steep, grades stay within 0.4 % of the
    bound, and it is told."""
    truth = railway(1)
    ground = truth.elevation + error(truth.chainage.size, 0.8, 60.0, 1)
    for height, width in ((120, 2000), (300, 3000)):
        hill = height * np.clip(1 - np.abs(truth.chainage - 20_000) / (width / 2), 0, 1)
        found = fit(truth, ground + hill, max_grade=0.03)
        assert np.abs(found.grade).max() <= 0.034
        assert found.at_bound > 0.02


def test_a_bound_that_is_too_tight_says_so():
    """Law: where good ground climbs 3 % for 6 km, a bound of 2 % yields to it and is told; a bound
    above the truth holds nothing back."""
    s = np.arange(0.0, 20_001, STEP)
    z = 300 + np.interp(s, [0, 6000, 12_000, 20_000], [0, 30, 30 + 180, 210])
    truth = Truth(s, z, np.gradient(z, s))
    ground = z + error(s.size, 0.3, 30.0, 5)
    tight, wide = fit(truth, ground, max_grade=0.02), fit(truth, ground, max_grade=0.045)
    assert tight.at_bound == pytest.approx(0.3, abs=0.05)
    assert wide.at_bound < 0.001
    for found in (tight, wide):
        assert np.median(found.grade[800:1000]) == pytest.approx(0.03, abs=0.001)


def test_two_sources_each_have_their_noise():
    """Law: where the first source ends the second counts, with an error of its own: larger s.e. there."""
    truth = railway(6)
    s = truth.chainage
    fine = np.where(s < 20_000, truth.elevation + error(s.size, 0.3, 30.0, 6), np.nan)
    coarse = truth.elevation + error(s.size, 2.0, 100.0, 7)
    found = fit(truth, fine, coarse)
    assert found.noise[0].sigma == pytest.approx(0.3, rel=0.3)
    assert found.noise[1].sigma == pytest.approx(2.0, rel=0.3)
    assert np.median(found.elevation_se[s > 21_000]) > 2 * np.median(found.elevation_se[s < 19_000])
    np.testing.assert_array_equal(found.elevation, fit(truth, fine, np.where(s < 20_000, np.nan, coarse)).elevation)


def test_a_source_of_few_stations_shares_the_noise():
    """Law: 2 km of a second source are too little to judge it by: it has the noise of both together."""
    truth = railway(7)
    s = truth.chainage
    ground = truth.elevation + error(s.size, 0.8, 60.0, 8)
    short = (s > 10_000) & (s < 12_000)
    found = fit(truth, np.where(short, np.nan, ground), np.where(short, ground, np.nan))
    assert found.noise[1].sigma == pytest.approx(found.noise[0].sigma, rel=0.15)
    assert found.noise[1] != found.noise[0]


def test_the_same_seed_gives_the_same_bytes():
    """Law: same seed, same bytes in every array; with another the chance of sampling is a small part of
    the standard error at most places, and less than it at 99 places in 100."""
    truth = railway(1)
    ground = truth.elevation + error(truth.chainage.size, 0.8, 60.0, 1)
    found, again, other = (fit(truth, ground, draws=100, seed=seed) for seed in (0, 0, 1))
    for name in ("elevation", "elevation_se", "grade", "grade_se", "draw_elevation"):
        assert getattr(again, name).tobytes() == getattr(found, name).tobytes()
    for name in ("elevation", "grade"):
        apart = np.abs(getattr(other, name) - getattr(found, name)) / getattr(found, f"{name}_se")
        assert 0 < np.median(apart) < 0.2
        assert np.quantile(apart, 0.99) < 1


def test_a_constant_offset_is_only_an_offset(plain: tuple[Truth, np.ndarray, Estimate]):
    """Law: 1,000 m more of ground are 1,000 m more of rail, and nothing else."""
    truth, ground, found = plain
    raised = fit(truth, ground + 1000)
    np.testing.assert_allclose(raised.elevation - 1000, found.elevation, atol=1e-3)
    np.testing.assert_allclose(raised.grade, found.grade, atol=1e-5)
    np.testing.assert_allclose(raised.elevation_se, found.elevation_se, atol=1e-3)


def test_half_a_plain_and_half_a_mountain():
    """Law: 18 km without any error do not take the weight from the ground of the rest: it stays nearer
    to the truth than the ground is, with s.e. under a metre."""
    truth = railway(8, length=30_000.0)
    s = truth.chainage
    flat = s < 18_000
    z = np.where(flat, truth.elevation[1800], truth.elevation)
    ground = z + np.where(flat, 0, error(s.size, 1.0, 60.0, 9))
    found = fit(truth, ground)
    assert np.std((found.elevation - z)[~flat]) < np.std((ground - z)[~flat])
    assert np.median(found.elevation_se[~flat]) < 1


@pytest.mark.parametrize("size", [3, 4, 11, 12, 21, 22, 101, 105])
def test_short_lines(size: int):
    """Worked: 2 % of climb without error: on any line of three stations or more the rail is within
    0.1 m of it, and within its interval to the last station."""
    s = np.arange(size) * STEP
    found = estimate(s, (100 + 0.02 * s)[None], np.zeros(size, bool), max_grade=0.045, draws=10)
    assert found.elevation.shape == (size,)
    np.testing.assert_allclose(found.elevation, 100 + 0.02 * s, atol=0.1)
    assert (np.abs(found.grade - 0.02) < 1.96 * found.grade_se).all()
    assert found.draw_chainage[-1] == s[-1]


@pytest.mark.parametrize("step", [1.0, 25.0, 60.0, 100.0])
def test_any_step(step: float):
    """Law: nodes stand about every 100 m whatever the step, and the mean grade comes out the same."""
    s = np.arange(0, 10_001, step)
    z = 100 + np.interp(s, [0, 5000, 10_000], [0, 60, 30])
    ground = z + np.random.default_rng(0).normal(0, 0.2, s.size)
    found = estimate(s, ground[None], np.zeros(s.size, bool), max_grade=0.045, draws=10)
    assert np.median(np.diff(found.draw_chainage)) == pytest.approx(100, rel=0.25)
    np.testing.assert_allclose(found.elevation, z, atol=0.4)
    np.testing.assert_allclose(found.grade[:-1] * step, np.diff(found.elevation), atol=1e-9)


def test_no_ground_at_all():
    """Law: nothing but voids, or nothing on open track, is refused in one sentence."""
    truth = railway(9, length=5000.0)
    with pytest.raises(CoverageError, match="no raster has data on the open track"):
        fit(truth, np.full(truth.chainage.size, np.nan))
    with pytest.raises(CoverageError, match="no raster has data on the open track"):
        fit(truth, truth.elevation, masked=np.ones(truth.chainage.size, bool))
