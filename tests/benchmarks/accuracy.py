"""How good the profile is, on synthetic railways whose truth is known: `python -m tests.benchmarks.accuracy`.

Whole cases: a digitised line is smoothed, a raster sampled on it, the rail estimated, and the answer
matched to the truth by position. Half of the structures are not told. Writes a table.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, field

import numpy as np
from scipy.signal import find_peaks
from scipy.spatial import cKDTree

from profiler.alignment.smooth import smooth_line
from profiler.alignment.stations import lay_stations
from profiler.elevation.estimator import Estimate, estimate
from tests.truth import DSM, DSM_WILD, DTM, LIDAR, SECOND_DSM, Kind, Railway, corridor, drawn_vertices, railway

LATITUDE, LONGITUDE = 45.0, 7.0
EAST_M, NORTH_M = 78_846.8, 111_131.7  # metres in a degree there, on the ellipsoid

CASES: dict[str, tuple[Kind, ...]] = {
    "lidar": (LIDAR,),
    "dtm": (DTM,),
    "dsm": (DSM,),
    "dsm wild": (DSM_WILD,),
    "fused": (DSM, SECOND_DSM, DTM),
}


@dataclass(frozen=True, eq=False)
class Case:
    """One route through the estimator, and the truth at its stations (n,)."""

    line: Railway
    estimate: Estimate
    chainage: np.ndarray
    at: np.ndarray  # true chainage of each station [m]
    elevation: np.ndarray
    grade: np.ndarray
    ground: np.ndarray


def run_case(name: str, seed: int, style: str = "mountain", *, smooth: bool = False, max_grade: float = 0.045) -> Case:
    """Make the railway of a seed, look at it as a user would, estimate."""
    line = railway(seed, style=style, smooth=smooth)
    rng = np.random.default_rng(10_000 + seed)
    east, north = drawn_vertices(line, rng)
    stations = lay_stations(smooth_line(LONGITUDE + east / EAST_M, LATITUDE + north / NORTH_M), 10.0)
    x, y = (stations.longitude - LONGITUDE) * EAST_M, (stations.latitude - LATITUDE) * NORTH_M
    _, i = cKDTree(np.column_stack([line.east, line.north])).query(np.column_stack([x, y]))
    kinds = CASES[name]
    rows = [corridor(line, kind, rng).at(x, y) for kind in kinds]
    if name == "fused":  # the terrain model covers one half of the route
        rows[2][line.chainage[i] > line.chainage[-1] / 2] = np.nan
    ground = np.array(rows)
    told = tuple(w for w in line.works if w.tagged)
    masked = line.inside(told, margin=max(k.cell for k in kinds))[i]
    fit = estimate(stations.distance, ground, masked, max_grade=max_grade)
    return Case(line, fit, stations.distance, line.chainage[i], line.elevation[i], line.grade[i], ground)


@dataclass
class Score:
    """Errors of pooled routes, and of each route."""

    grade: list[np.ndarray] = field(default_factory=list)
    mean2: list[np.ndarray] = field(default_factory=list)
    elevation: list[np.ndarray] = field(default_factory=list)
    ruling: list[float] = field(default_factory=list)
    inside: list[tuple[float, float, float]] = field(default_factory=list)
    crests: list[tuple[int, int, int, int]] = field(default_factory=list)
    seconds: float = 0.0

    def add(self, case: Case) -> None:
        e = case.estimate
        self.grade.append(np.abs(e.grade - case.grade) * 100)
        self.elevation.append(e.elevation - case.elevation)
        told, true = _means(e.elevation, 200), _means(case.elevation, 200)
        self.mean2.append(np.abs(told - true) * 100)
        self.ruling.append(abs(told.max() - true.max()) * 100)
        at_nodes = np.array([np.interp(case.chainage, e.draw_chainage, z) for z in e.draw_elevation[::2]])
        spread = (at_nodes[:, 200:] - at_nodes[:, :-200]).std(axis=0) / 2000
        self.inside.append(
            (
                float((np.abs(e.grade - case.grade) < 1.96 * e.grade_se).mean()),
                float((np.abs(e.elevation - case.elevation) < 1.96 * e.elevation_se).mean()),
                float((np.abs(told - true) < 1.96 * spread + 1e-4).mean()),
            )
        )
        self.crests.append(_crests(case))

    def row(self) -> dict[str, float]:
        """Pooled figures."""
        grade, mean2 = np.concatenate(self.grade), np.concatenate(self.mean2)
        crest = np.array(self.crests).sum(axis=0)
        inside = np.array(self.inside)
        return {
            "grade p50": float(np.median(grade)),
            "grade p95": float(np.quantile(grade, 0.95)),
            "worst p95": max(float(np.quantile(g, 0.95)) for g in self.grade),
            "2 km p95": float(np.quantile(mean2, 0.95)),
            "elev rmse": float(np.sqrt((np.concatenate(self.elevation) ** 2).mean())),
            "ruling": float(np.mean(self.ruling)),
            "crest rec": crest[0] / max(crest[1], 1),
            "crest prec": crest[2] / max(crest[3], 1),
            "cover g": float(inside[:, 0].mean()),
            "cover z": float(inside[:, 1].mean()),
            "cover 2": float(inside[:, 2].mean()),
            "worst cover": float(inside.min()),
        }


def _means(z: np.ndarray, steps: int) -> np.ndarray:
    return (z[steps:] - z[:-steps]) / (steps * 10.0)


def _crests(case: Case) -> tuple[int, int, int, int]:
    """Found and all true crests and sags over 5 m; right and all told ones. Matched within 500 m."""
    found = true = right = told = 0
    for sign in (1.0, -1.0):
        t = find_peaks(sign * case.elevation, prominence=5.0)[0] * 10.0
        e = find_peaks(sign * case.estimate.elevation, prominence=5.0)[0] * 10.0
        near = np.abs(t[:, None] - e[None]) < 500.0
        found, true = found + int(near.any(axis=1).sum()), true + t.size
        right, told = right + int(near.any(axis=0).sum()), told + e.size
    return found, true, right, told


def table(cases: list[str], seeds: range) -> dict[str, dict[str, float]]:
    """Figures per case, odd seeds mixed, even seeds mountain."""
    result = {}
    for name in cases:
        score = Score()
        for seed in seeds:
            start = time.perf_counter()
            score.add(run_case(name, seed, "mixed" if seed % 2 else "mountain"))
            score.seconds += time.perf_counter() - start
        result[name] = score.row()
    return result


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cases", nargs="*", default=list(CASES))
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--routes", type=int, default=12)
    options = parser.parse_args()
    figures = table(options.cases, range(options.first, options.first + options.routes))
    names = list(next(iter(figures.values())))
    print(f"{'':10s}" + "".join(f"{n:>12s}" for n in names))
    for case, row in figures.items():
        print(f"{case:10s}" + "".join(f"{row[n]:12.3f}" for n in names))


if __name__ == "__main__":
    main()
