"""PVIs from the ground: worked curves found again, true ones found, none made up."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
import pytest

from profiler.elevation.estimator import Estimate, estimate
from profiler.elevation.noise import Noise
from profiler.elevation.pvis import clearest, find_pvis, standing_out
from profiler.elevation.tangents import Polygon, heights
from profiler.units import FOOT
from profiler.vertical_curve import Pvi, holds, line_of, pvis_of
from tests.benchmarks.accuracy import run_case
from tests.benchmarks.pvis import Found, judged, pvis_of_case, row
from tests.truth import DSM, DTM, LIDAR


def found(truth: tuple[Pvi, ...], length: float, sigma: float, seed: int = 1, step: float = 10.0) -> tuple[Pvi, ...]:
    """PVIs found in the elevations of a line from 0 to ``length`` [m] with white error ``sigma`` [m]."""
    s, ground, fit = estimated(truth, length, sigma, seed, step)
    pvis = find_pvis(s, ground, np.zeros(s.size, dtype=int), fit)
    assert pvis is not None
    return pvis


def estimated(
    truth: tuple[Pvi, ...], length: float, sigma: float, seed: int, step: float
) -> tuple[np.ndarray, np.ndarray, Estimate]:
    s = np.arange(0, length + step / 2, step)
    ground = line_of(truth, s)[0] + sigma * np.random.default_rng(seed).normal(size=s.size)
    return s, ground, estimate(s, ground[None], np.zeros(s.size, dtype=bool), max_grade=0.06)


@pytest.mark.parametrize(
    ("truth", "length", "step"),
    [
        pytest.param(Pvi(3000.0, 250.0, 0.03, -0.04, 2170.0), 6000.0, 10.0, id="metres"),
        pytest.param(
            Pvi(10_000 * FOOT, 1070.64 * FOOT, 0.0134, -0.0177, 500 * FOOT), 20_000 * FOOT, 25 * FOOT, id="feet"
        ),
        pytest.param(Pvi(3048.0, 304.8, 0.015, -0.010, 762.0), 6096.0, 50 * FOOT, id="rail"),
    ],
)
def test_worked_curves_are_found_again(truth: Pvi, length: float, step: float):
    """Published: the three worked crests of tests/test_vertical_curve.py, from their own elevations with
    an error of 2 cm: one PVI, place, summit and length near; elevation within 2 cm + grade · place."""
    pvis = found((truth,), length, 0.02, step=step)
    assert len(pvis) == 1
    pvi = pvis[0]
    assert pvi.chainage == pytest.approx(truth.chainage, abs=5)
    assert pvi.elevation == pytest.approx(truth.elevation, abs=0.02 + 0.04 * 5)
    assert pvi.curve_length == pytest.approx(truth.curve_length, rel=0.1)
    assert (pvi.grade_in, pvi.grade_out) == pytest.approx((truth.grade_in, truth.grade_out), abs=0.0005)
    summit, expected = pvi.turning_point, truth.turning_point
    assert summit is not None
    assert expected is not None
    assert summit[0] == pytest.approx(expected[0], abs=10)
    assert summit[1] == pytest.approx(expected[1], abs=0.05)
    assert pvi.probability > 0.8


def test_line_of_the_fit_is_that_of_the_noun():
    """Law: the fit's line and `line_of` are one line."""
    place, height, length = np.array([0, 900, 1700, 3000.0]), np.array([0, 9, 5, 12.0]), np.array([0, 300, 500, 0.0])
    x = np.linspace(0, 3000, 301)
    fitted = heights(Polygon(place, height, np.log(np.maximum(length, 1))), x)
    np.testing.assert_allclose(fitted, line_of(pvis_of(place, height, length), x)[0], atol=1e-9)


def test_no_change_no_pvi():
    """Law: one grade of 25 km, and not one PVI is made up."""
    flat = (Pvi(10_000.0, 100.0, 0.008, 0.008),)
    for seed in range(3):
        assert found(flat, 25_000.0, 0.3, seed) == ()


def test_standing_out_by_hand():
    """Worked: sigma 0.8 m, 60 m: S0 = 76.8; √(24·76.8/1000³) = 0.00136, of which 0.5 % is 3.68 times."""
    assert standing_out(0.005, 1000.0, Noise(0.8, 60.0)) == pytest.approx(3.683, abs=0.001)


def test_which_ground_shows_pvis():
    """Worked: at 1 km 0.5 % is 25 times the error of lidar, 3.7 of the terrain model, 0.6 of the surface model."""
    shown = [standing_out(0.005, 1000.0, Noise(k.sigma, k.length)) for k in (LIDAR, DTM, DSM)]
    np.testing.assert_allclose(shown, [25.5, 3.7, 0.6], atol=0.06)


def test_clearest_ground():
    """Worked: 0.8² · 60 = 38 is less than 2.5² · 250 = 1562: the terrain model where it has data."""
    ground = np.array([[1.0, 2.0, np.nan], [5.0, np.nan, np.nan]])
    value, source = clearest(ground, [Noise(2.5, 250.0), Noise(0.8, 60.0)])
    np.testing.assert_array_equal(value, [5.0, 2.0, np.nan])
    assert source.tolist() == [1, 0, -1]


def test_none_on_a_structure():
    """Law: a crest inside a tunnel is not seen, known or only suspected; beside it one is."""
    truth = pvis_of([0, 3000, 6000, 9000], [0, 30, 0, 30], [0, 300, 300, 0])
    s, ground, fit = estimated(truth, 9000.0, 0.1, 1, 10.0)
    tunnel = (s > 2500) & (s < 3400)
    ground = ground + np.where(tunnel, 40.0, 0.0)
    known, suspected = np.where(tunnel, 1.0, 0.0), np.where(tunnel, 0.9, 0.0)
    for source, probability in ((np.where(tunnel, -1, 0), known), (np.zeros(s.size, dtype=int), suspected)):
        pvis = find_pvis(s, ground, source, dataclasses.replace(fit, structure_probability=probability))
        assert pvis is not None
        assert [round(p.chainage, -2) for p in pvis] == [6000]


@functools.cache
def lidar() -> list[Found]:
    return [judged(run_case("lidar", seed, style)) for seed, style in ((501, "mixed"), (502, "mountain"))]


def test_true_pvis_are_found_on_lidar():
    """Law of the generator: it says where its PVIs are. Over 0.5 % on open ground, two routes of 60 km."""
    figures = row(lidar())
    assert figures["recall"] > 0.8
    assert figures["precision"] > 0.85
    assert figures["place p50"] < 35
    assert figures["cover s"] > 0.75
    assert figures["cover z"] > 0.75


def test_the_line_holds_on_most_of_the_route():
    """Law: the PVIs' line is offered where it agrees with the estimate, which on lidar is nearly everywhere."""
    case = run_case("lidar", 501, "mixed")
    agreed = holds(pvis_of_case(case), case.chainage, case.estimate.elevation, case.estimate.elevation_se)
    assert agreed.mean() > 0.5


def test_a_surface_model_claims_none():
    """Law: where a change of 0.5 % is lost in the error, not one PVI is claimed."""
    case = run_case("dsm", 501, "mixed")
    assert find_pvis(case.chainage, *clearest(case.ground, case.estimate.noise), case.estimate) is None


def test_same_input_same_pvis():
    """Law: the same elevations give the same PVIs."""
    truth = (Pvi(3000.0, 300.0, 0.015, -0.010, 700.0),)
    assert found(truth, 6000.0, 0.1) == found(truth, 6000.0, 0.1) != ()
