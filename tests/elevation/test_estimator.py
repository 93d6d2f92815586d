"""The estimator on railways whose truth is known: tangents, with correlated error over them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from scipy.signal import lfilter

from profiler.elevation.estimator import Estimate, estimate
from profiler.errors import CoverageError
from profiler.profile import KnownElevation

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
    """Law: the grade changes evenly from station to station, so that the mean of two times their distance
    is the difference of elevation; every draw has a height at the first and the last station."""
    truth, _, found = plain
    middle = (found.grade[:-1] + found.grade[1:]) / 2
    np.testing.assert_allclose(middle * STEP, np.diff(found.elevation), atol=1e-6)
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
    assert (found.structure_probability[tunnel] == 1).all()
    assert found.structure_probability[~tunnel].max() < 0.1


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


def test_a_hill_is_suspected_and_not_climbed():
    """Law: hills that nobody says are tunnels, 12 and 20 % steep, are suspected and not climbed: no grade
    is over the bound, and the rail within four s.e. of the truth."""
    truth = railway(1)
    ground = truth.elevation + error(truth.chainage.size, 0.8, 60.0, 1)
    for height, width in ((120, 2000), (300, 3000)):
        hill = height * np.clip(1 - np.abs(truth.chainage - 20_000) / (width / 2), 0, 1)
        found = fit(truth, ground + hill, max_grade=0.03)
        assert np.abs(found.grade).max() <= 0.03 + 1e-6
        inside = hill > 0.1 * height
        assert found.structure_probability[inside].min() > 0.9
        assert (np.abs(found.elevation - truth.elevation)[inside] < 4 * found.elevation_se[inside]).all()
        assert found.structure_probability[np.abs(truth.chainage - 20_000) > width].max() < 0.2


def test_a_tunnel_out_of_which_the_line_never_comes():
    """Law: where the line ends 3 km inside a mountain of 1,500 m nobody told of, the run is suspected to
    the end, s.e. grow towards it, and the rail does not climb after the ground."""
    truth = railway(2)
    s = truth.chainage
    ground = truth.elevation + error(s.size, 0.8, 60.0, 2) + np.maximum(s - 37_000, 0) * 0.5
    found = fit(truth, ground)
    assert found.structure_probability[s > 37_300].min() > 0.95
    assert (np.diff(found.elevation_se[s > 37_500][::50]) > 0).all()
    assert abs(found.elevation[-1] - truth.elevation[-1]) < 3 * found.elevation_se[-1]
    assert found.elevation_se[-1] < 80


def test_an_untold_bridge():
    """Law: a gorge of 40 m under 300 m of bridge is suspected, and the rail stays up."""
    truth = railway(3)
    s = truth.chainage
    bridge = (s >= 12_000) & (s <= 12_300)
    ground = truth.elevation + error(s.size, 0.8, 60.0, 3) - 40 * bridge
    found = fit(truth, ground)
    assert found.structure_probability[(s > 12_050) & (s < 12_250)].min() > 0.9
    assert np.abs(found.elevation - truth.elevation)[bridge].max() < 2


def test_known_elevations_take_the_offset_away():
    """Law: ground that stands 3 m too high everywhere is brought down by three known elevations, and of
    these the one with a typing error of 40 m is named and moves nothing."""
    truth = railway(4)
    s = truth.chainage
    ground = truth.elevation + error(s.size, 0.8, 60.0, 4) + 3.0
    true = [KnownElevation(x, float(np.interp(x, s, truth.elevation)), 0.3, f"{x} m") for x in (5e3, 2e4, 3.2e4)]
    wrong = KnownElevation(26_000.0, float(np.interp(26_000, s, truth.elevation)) + 40, 0.3, "the wrong one")
    found = fit(truth, ground, known=[*true, wrong])
    assert abs(np.mean(found.elevation - truth.elevation)) < 0.5
    assert [k.place for k in found.known if not k.used] == ["the wrong one"]
    assert found.known[3].residual == pytest.approx(40, abs=2)
    without = fit(truth, ground, known=true)
    np.testing.assert_allclose(found.elevation, without.elevation, atol=1e-9)


def test_two_sources_are_better_than_one():
    """Law: errors that know nothing of each other average out: two sources beat the better one; sources
    that repeat each other's error bring no more certainty than one."""
    truth = railway(5)
    s = truth.chainage
    one, two = (truth.elevation + error(s.size, 2.0, 100.0, seed) for seed in (50, 51))
    alone, both, twice = fit(truth, one), fit(truth, one, two - 7.0), fit(truth, one, one + error(s.size, 0.1, 10.0, 9))
    rms = [float(np.std(f.elevation - truth.elevation)) for f in (alone, both)]
    assert rms[1] < 0.9 * rms[0]
    assert np.median(both.elevation_se) < 0.85 * np.median(alone.elevation_se)
    assert np.median(twice.elevation_se) > 0.9 * np.median(alone.elevation_se)
    np.testing.assert_allclose(both.weight.sum(axis=0) + both.structure_probability, 1, atol=1e-9)


def test_a_bound_that_is_too_tight_says_so():
    """Law: where good ground climbs 3 % for 6 km, a bound of 2 % holds and is told; a bound
    above the truth holds nothing back."""
    s = np.arange(0.0, 20_001, STEP)
    z = 300 + np.interp(s, [0, 6000, 12_000, 20_000], [0, 30, 30 + 180, 210])
    truth = Truth(s, z, np.gradient(z, s))
    ground = z + error(s.size, 0.3, 30.0, 5)
    tight, wide = fit(truth, ground, max_grade=0.02), fit(truth, ground, max_grade=0.045)
    assert tight.at_bound > 0.1
    assert wide.at_bound < 0.001
    assert np.median(wide.grade[800:1000]) == pytest.approx(0.03, abs=0.001)
    assert np.abs(tight.grade).max() <= 0.024 + 1e-6


def test_two_sources_each_have_their_noise():
    """Law: where the first source ends the second alone counts, with an error of its own: larger s.e. there."""
    truth = railway(6)
    s = truth.chainage
    fine = np.where(s < 20_000, truth.elevation + error(s.size, 0.3, 30.0, 6), np.nan)
    coarse = truth.elevation + error(s.size, 2.0, 100.0, 7)
    found = fit(truth, fine, coarse)
    assert found.noise[0].sigma == pytest.approx(0.3, rel=0.3)
    assert found.noise[1].sigma == pytest.approx(2.0, rel=0.3)
    assert np.median(found.elevation_se[s > 21_000]) > 2 * np.median(found.elevation_se[s < 19_000])
    assert found.weight[0][s < 19_000].min() > 0.9
    assert found.weight[1][s > 21_000].min() > 0.9


def test_a_source_of_few_stations_shares_the_noise():
    """Law: 2 km of a second source are too little to judge it by: it has the noise of both together."""
    truth = railway(7)
    s = truth.chainage
    ground = truth.elevation + error(s.size, 0.8, 60.0, 8)
    short = (s > 10_000) & (s < 12_000)
    found = fit(truth, np.where(short, np.nan, ground), np.where(short, ground, np.nan))
    assert found.noise[1].sigma == pytest.approx(found.noise[0].sigma, rel=0.15)


def test_the_same_seed_gives_the_same_bytes():
    """Law: same seed, same bytes in every array; with another only the draws change, and their mean is
    the elevation within what a hundred draws can tell, at 99 places in 100."""
    truth = railway(1)
    ground = truth.elevation + error(truth.chainage.size, 0.8, 60.0, 1)
    found, again, other = (fit(truth, ground, draws=100, seed=seed) for seed in (0, 0, 1))
    for name in ("elevation", "elevation_se", "grade", "grade_se", "draw_elevation"):
        assert getattr(again, name).tobytes() == getattr(found, name).tobytes()
    np.testing.assert_array_equal(other.elevation, found.elevation)
    assert (other.draw_elevation != found.draw_elevation).any()
    at_nodes = np.interp(found.draw_chainage, truth.chainage, found.elevation_se)
    middle = found.draw_elevation.mean(axis=0) - other.draw_elevation.mean(axis=0)
    assert np.quantile(np.abs(middle) / at_nodes, 0.99) < 3 * np.sqrt(2 / 100)


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
    """Law: nodes stand every 50 to 120 m whatever the step, and the rail within 0.5 m of a sharp summit,
    as rounded as a step of that length makes it."""
    s = np.arange(0, 10_001, step)
    z = 100 + np.interp(s, [0, 5000, 10_000], [0, 60, 30])
    ground = z + np.random.default_rng(0).normal(0, 0.2, s.size)
    found = estimate(s, ground[None], np.zeros(s.size, bool), max_grade=0.045, draws=10)
    assert 50 <= np.median(np.diff(found.draw_chainage)) <= 120
    np.testing.assert_allclose(found.elevation, z, atol=0.5)


def test_no_ground_at_all():
    """Law: nothing but voids, or nothing on open track, is refused in one sentence."""
    truth = railway(9, length=5000.0)
    with pytest.raises(CoverageError, match="no raster has data on the open track"):
        fit(truth, np.full(truth.chainage.size, np.nan))
    with pytest.raises(CoverageError, match="no raster has data on the open track"):
        fit(truth, truth.elevation, masked=np.ones(truth.chainage.size, bool))
