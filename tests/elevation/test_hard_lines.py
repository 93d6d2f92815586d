"""Lines that break the estimator's assumptions: it may be worse on them, but nothing catastrophic may happen.

Railways of the truth generator seen through their rasters, half of their structures untold.
"""

from __future__ import annotations

import dataclasses
from functools import lru_cache

import numpy as np
import pytest

from profiler.elevation.estimator import Estimate, estimate
from profiler.profile import KnownElevation
from tests.truth import DSM, DTM, Kind, Railway, Work, corridor, railway

LENGTH = 40_000.0
SEEN = [(DSM, seed) for seed in range(1, 7)] + [(DTM, 1)]
"""Kind of ground and seed; odd seeds are mixed lines, even ones mountain lines."""


@lru_cache
def line(seed: int, *, smooth: bool = False) -> Railway:
    return railway(seed, style="mixed" if seed % 2 else "mountain", length=LENGTH, smooth=smooth)


@lru_cache
def ground_of(truth: Railway, kind: Kind, seed: int) -> np.ndarray:
    """What the raster says at the stations (n,). [m]"""
    return corridor(truth, kind, np.random.default_rng(500 + seed)).at(truth.east, truth.north)


def fit(truth: Railway, kind: Kind, ground: np.ndarray, known: list[KnownElevation] | None = None) -> Estimate:
    told = truth.inside(tuple(w for w in truth.works if w.tagged), margin=kind.cell)
    return estimate(truth.chainage, ground[None], told, max_grade=0.045, known=known or [], draws=10)


def assert_no_catastrophe(cases: list[tuple[Railway, Estimate]]) -> None:
    """Pooled 95 % intervals cover at least 90 % of stations, and no elevation is five s.e. off."""
    grade, elevation = [], []
    for truth, found in cases:
        assert np.isfinite([found.elevation, found.elevation_se, found.grade, found.grade_se]).all()
        grade.append(np.abs(found.grade - truth.grade) / found.grade_se)
        elevation.append(np.abs(found.elevation - truth.elevation) / found.elevation_se)
    assert (np.concatenate(grade) < 1.96).mean() >= 0.90
    assert (np.concatenate(elevation) < 1.96).mean() >= 0.90
    assert np.concatenate(elevation).max() < 5


def test_grades_that_are_nowhere_constant():
    """Law: on lines without points of intersection, their grade wandering to 4.2 %, coverage holds and the
    bound of 4.5 % does not bite."""
    cases = []
    for kind, seed in SEEN:
        truth = line(seed, smooth=True)
        assert np.abs(truth.grade).max() == pytest.approx(0.042)
        cases.append((truth, fit(truth, kind, ground_of(truth, kind, seed))))
    assert_no_catastrophe(cases)
    assert max(found.at_bound for _, found in cases) < 0.01


def test_a_known_elevation_that_is_wrong():
    """Law: of heights every 6 km on open track, true to 0.5 m, the one that is 12 m wrong is found, on every
    line, and it alone; coverage holds."""
    cases = []
    for kind, seed in SEEN:
        truth = line(seed)
        clear = np.flatnonzero(~truth.inside(truth.works, margin=300.0))
        at = clear[np.searchsorted(clear, np.arange(300, truth.chainage.size - 100, 600))]
        height = truth.elevation[at] + np.random.default_rng(seed).normal(0, 0.5, at.size)
        height[1] += 12
        known = [
            KnownElevation(float(truth.chainage[i]), z, 0.5, f"number {n}")
            for n, (i, z) in enumerate(zip(at, height, strict=True))
        ]
        found = fit(truth, kind, ground_of(truth, kind, seed), known)
        assert [k.place for k in found.known if not k.used] == ["number 1"]
        cases.append((truth, found))
    assert_no_catastrophe(cases)


def test_a_fifth_of_the_stations_without_data():
    """Law: with gaps of 10 to 390 m scattered over a fifth of the line, coverage holds."""
    cases = []
    for kind, seed in SEEN:
        truth, rng = line(seed), np.random.default_rng(seed)
        gone = np.zeros(truth.chainage.size, dtype=bool)
        while gone.mean() < 0.2:
            first = rng.integers(gone.size)
            gone[first : first + rng.integers(1, 40)] = True
        cases.append((truth, fit(truth, kind, np.where(gone, np.nan, ground_of(truth, kind, seed)))))
    assert_no_catastrophe(cases)


def test_a_long_tunnel_nobody_tells_of():
    """Law: 6 km under a mountain of 300 m are suspected from mouth to mouth, and standard errors grow inside.
    Nothing is known there: the interval of its grade covered 87 % within 24 such tunnels (90 % on mixed
    lines, 84 % on mountain lines), that of its elevation 93 %; a few lines tell that to a tenth."""
    cases = []
    start, end = LENGTH / 2 - 3000, LENGTH / 2 + 3000
    for kind, seed in SEEN:
        truth = _buried(line(seed), start, end)
        found = fit(truth, kind, ground_of(truth, kind, seed))
        inside = (truth.chainage > start + 200) & (truth.chainage < end - 200)
        assert found.structure_probability[inside].mean() > 0.95
        assert found.elevation_se[inside].max() > 3 * np.median(found.elevation_se)
        cases.append((truth, found))
    assert_no_catastrophe(cases)
    within = (cases[0][0].chainage > start) & (cases[0][0].chainage < end)
    off = [np.abs(f.grade - t.grade)[within] / f.grade_se[within] for t, f in cases]
    assert (np.concatenate(off) < 1.96).mean() > 0.75


def _buried(truth: Railway, start: float, end: float) -> Railway:
    """The railway with an untold tunnel, and without the structures that are in its way."""
    kept = tuple(w for w in truth.works if w.end < start - 600 or w.start > end + 600)
    cleared = truth.inside(tuple(w for w in truth.works if w not in kept))
    u = np.clip((truth.chainage - start) / (end - start), 0.0, 1.0)
    open_ground = np.where(cleared, truth.elevation, truth.natural)
    natural = np.where((u > 0) & (u < 1), truth.elevation + 300 * np.sin(np.pi * u) ** 0.6, open_ground)
    return dataclasses.replace(truth, works=(*kept, Work("tunnel", start, end, False)), natural=natural)
