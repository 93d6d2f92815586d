"""How good curves are on invented mixed lines, against what was asked for: `pytest -m slow -s` for the long one.

The measures are those of `tests.benchmarks.alignment`; routes are of seeds that nothing was chosen by.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest

from tests.benchmarks.alignment import HIGH_IS_GOOD, Measures, table
from tests.plan_truth import plan


class Bound(NamedTuple):
    """What was asked for of a measure, and how many times that may be missed today."""

    asked: float
    margin: float = 1.0


AT_ONE_METRE = {
    "rmse": Bound(0.20, 1.15),
    "recall": Bound(0.97, 0.98),
    "precision": Bound(0.97),
    "ends_p50": Bound(9.0),
    "ends_p95": Bound(60.0),
    "turn_p95": Bound(1.4, 1.25),
    "length": Bound(0.01),
    "cover": Bound(0.93),
    "cover_curves": Bound(0.90),
}
"""Medians of ten routes at 1 m of noise and of drift: degree at stations [degree], shares of curves, ends of curves
[m], deflection [degree], length [%], shares within 1.96 standard errors. Margins where today's figures stand
at what was asked for: degree .195, recall .973; or beyond it: deflection 1.51."""

WIDEST_COVER = {"cover": 0.99, "cover_curves": 0.98}
"""A greater share would say that standard errors are wider than need be."""

AT_OTHER_NOISE = {
    0.5: {"rmse": Bound(0.15, 1.15), "ends_p50": Bound(7.0), "ends_p95": Bound(40.0)},
    2.0: {"rmse": Bound(0.30, 1.15), "ends_p50": Bound(15.0), "ends_p95": Bound(120.0)},
    3.0: {"rmse": Bound(0.38, 1.15), "ends_p50": Bound(20.0), "ends_p95": Bound(300.0)},
}
"""The same by the noise of the vertices [m]."""


def measured(seeds: range, length: float, noise: float, *, fast: bool = False) -> list[Measures]:
    """Of routes of a length [m], vertices with noise [m] and 1 m of drift."""
    lines = {seed: plan(seed, length=length) for seed in seeds}
    return table(lines, noise, drift=1.0, sparse=False, fast=fast)[0]


def median(routes: list[Measures], name: str) -> float:
    """Of a measure without its sign."""
    return float(np.median(np.abs([getattr(route, name) for route in routes])))


def check(routes: list[Measures], bounds: dict[str, Bound]) -> None:
    """Medians against their bounds, all of them printed first."""
    found = {name: median(routes, name) for name in bounds}
    print("\n" + ", ".join(f"{name} {value:.3f} ({bounds[name].asked:g})" for name, value in found.items()))
    for name, value in found.items():
        bound = bounds[name].asked * bounds[name].margin
        assert value >= bound if name in HIGH_IS_GOOD else value <= bound, name


@pytest.mark.slow
def test_ten_mixed_routes():
    """Law of the house: ten routes of 60 km at 1 m of noise are as good as was asked for, within the margins above,
    and no route's degree is worse than 1.4 times what was asked for (.23 is the worst)."""
    routes = measured(range(911, 921), 60_000.0, 1.0)
    check(routes, AT_ONE_METRE)
    assert max(route.rmse for route in routes) <= 1.4 * AT_ONE_METRE["rmse"].asked
    for name, most in WIDEST_COVER.items():
        assert median(routes, name) <= most


@pytest.mark.slow
@pytest.mark.parametrize("noise", AT_OTHER_NOISE)
def test_ten_mixed_routes_at_other_noise(noise: float):
    """Law of the house: better and worse drawn lines are as good as was asked for, within the margins above."""
    check(measured(range(911, 921), 60_000.0, noise), AT_OTHER_NOISE[noise])


def test_two_mixed_routes():
    """Law of the house: two routes of 20 km at 1 m of noise. Bounds lie a fifth beyond what the two give: degree
    .19, every curve found and none invented, ends 5.5 m (p50) and 23 m (p95), deflection 1.1° (p95), length .02 %.
    """
    routes = measured(range(601, 603), 20_000.0, 1.0)
    least = {"recall": 0.95, "precision": 0.95, "cover": 0.92, "cover_curves": 0.90}
    most = {"rmse": 0.24, "ends_p50": 7.5, "ends_p95": 35.0, "turn_p95": 1.45, "length": 0.03}
    check(routes, {name: Bound(value) for name, value in (least | most).items()})


def test_the_first_look_is_no_match():
    """Law: reading the elements is worth its time: degree and deflection are wrong by less than two thirds of what
    curves off the spline are wrong by (by .56 and .50)."""
    seeds, length = range(601, 603), 20_000.0
    full, first_look = measured(seeds, length, 1.0), measured(seeds, length, 1.0, fast=True)
    print(f"\ndegree {median(full, 'rmse'):.2f} and {median(first_look, 'rmse'):.2f}, deflection", end=" ")
    print(f"{median(full, 'turn_p95'):.1f} and {median(first_look, 'turn_p95'):.1f}")
    assert median(full, "rmse") < 0.67 * median(first_look, "rmse")
    assert median(full, "turn_p95") < 0.67 * median(first_look, "turn_p95")
