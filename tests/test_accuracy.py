"""How good the profile is on synthetic railways with known truth: a small share of `tests.benchmarks.accuracy`.

Bounds are honest margins over what four routes of each kind of ground gave when this was written
(in brackets), wide enough for another draw of routes; the report over many routes is the measure.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.accuracy import Score, table

SEEDS = range(41, 45)


@pytest.fixture(scope="module")
def scores() -> dict[str, Score]:
    return table(["dtm", "dsm", "fused"], SEEDS)


BOUNDS = {
    # kind: grade p50, grade p95, 2 km mean p95 [%], elevation rmse [m], ruling grade [%]
    "dtm": (0.05, 0.48, 0.13, 1.3, 0.06),  # (.036, .383, .091, .76, .029)
    "dsm": (0.19, 0.80, 0.32, 2.4, 0.15),  # (.151, .632, .242, 1.78, .094)
    "fused": (0.10, 0.65, 0.22, 1.5, 0.12),  # (.071, .510, .149, .97, .071)
}


@pytest.mark.parametrize("kind", BOUNDS)
def test_errors(scores: dict[str, Score], kind: str):
    """Law: half of the structures untold, errors of grade, 2 km mean, elevation and ruling grade stay within bounds."""
    row = scores[kind].row()
    names = ("grade p50", "grade p95", "2 km p95", "elev rmse", "ruling")
    assert {n: row[n] for n in names if row[n] > BOUNDS[kind][names.index(n)]} == {}


@pytest.mark.parametrize("kind", BOUNDS)
def test_intervals(scores: dict[str, Score], kind: str):
    """Law: 95 % intervals of grade, elevation and 2 km mean cover .88 to 1 pooled, and .75 on every route
    (a route of 60 km is few independent places)."""
    row = scores[kind].row()
    for name in ("cover g", "cover z", "cover 2"):
        assert 0.88 <= row[name] <= 1.0
    assert row["worst cover"] > 0.75


@pytest.mark.parametrize("kind", BOUNDS)
def test_untold_structures(scores: dict[str, Score], kind: str):
    """Law: of untold tunnels over 400 m at least .85 are found, and .8 of the suspected runs are structures."""
    score = scores[kind]
    assert len(score.tunnels) >= 5
    assert np.mean(score.tunnels) >= 0.85
    assert np.mean(score.runs) >= 0.8


def test_more_information_is_better(scores: dict[str, Score]):
    """Law: a second surface model, a terrain model on half of the route and known elevations every 10 km
    make a surface model's grade, 2 km mean and elevation better by a tenth at least."""
    one, all_of_it = scores["dsm"].row(), scores["fused"].row()
    for name in ("grade p50", "grade p95", "2 km p95", "elev rmse"):
        assert all_of_it[name] < 0.9 * one[name]
