"""How good the profile is, on synthetic railways whose truth is known: `python -m tests.benchmarks.accuracy`.

Whole cases: a digitised line is smoothed, a raster sampled on it, the rail estimated, and the answer
matched to the truth by position. Half of the structures are not told (``--told all``: the ceiling that
no better search for them could pass). Writes a table.
"""

from __future__ import annotations

import argparse
import dataclasses
import time
from dataclasses import dataclass, field

import numpy as np
from scipy.signal import find_peaks
from scipy.spatial import cKDTree

from profiler.alignment.smooth import smooth_line
from profiler.alignment.stations import lay_stations
from profiler.elevation.estimator import Estimate, estimate
from profiler.elevation.shoulders import offsets
from profiler.landmarks.structures import suspected_structures
from profiler.landmarks.turning import crests_and_sags
from profiler.profile import KnownElevation, Profile
from tests.tangents import profile_of
from tests.truth import (
    DSM,
    DSM_WILD,
    DTM,
    LIDAR,
    SECOND_DSM,
    Corridor,
    Kind,
    Railway,
    corridor,
    drawn_vertices,
    railway,
)

LATITUDE, LONGITUDE = 45.0, 7.0
EAST_M, NORTH_M = 78_846.8, 111_131.7  # metres in a degree there, on the ellipsoid

CASES: dict[str, tuple[Kind, ...]] = {
    "lidar": (LIDAR,),
    "dtm": (DTM,),
    "dsm": (DSM,),
    "dsm wild": (DSM_WILD,),
    "two dsm": (DSM, SECOND_DSM),
    "fused": (DSM, SECOND_DSM, DTM),
    "fused wild": (DSM_WILD, SECOND_DSM, DTM),
}
"""Sources of each case; those of several have known elevations, and the terrain model covers half of the route."""

KNOWN_EVERY, KNOWN_SE = 1000, 0.5  # stations, m


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
    masked: np.ndarray  # known to be off the ground


def run_case(
    name: str,
    seed: int,
    style: str = "mountain",
    *,
    smooth: bool = False,
    max_grade: float = 0.045,
    told: str = "half",
    stations_known: bool = True,
    cross: bool = True,
) -> Case:
    """Make the railway of a seed, look at it as a user would, estimate."""
    line = railway(seed, style=style, smooth=smooth)
    rng = np.random.default_rng(10_000 + seed)
    east, north = drawn_vertices(line, rng)
    stations = lay_stations(smooth_line(LONGITUDE + east / EAST_M, LATITUDE + north / NORTH_M), 10.0)
    x, y = (stations.longitude - LONGITUDE) * EAST_M, (stations.latitude - LATITUDE) * NORTH_M
    _, i = cKDTree(np.column_stack([line.east, line.north])).query(np.column_stack([x, y]))
    kinds = CASES[name]
    rasters = [corridor(line, kind, rng) for kind in kinds]
    beside = _normals(x, y)
    ground = np.array([raster.at(x, y) for raster in rasters])
    shoulders = np.array([_shoulders(raster, x, y, beside) for raster in rasters])
    known = []
    if len(kinds) > 1:
        half = line.chainage[i] > line.chainage[-1] / 2
        ground = np.array([np.where(half & (k is DTM), np.nan, row) for k, row in zip(kinds, ground, strict=True)])
        at = np.arange(KNOWN_EVERY // 3, x.size, KNOWN_EVERY) if stations_known else []
        errors = np.random.default_rng(77 + seed).normal(0, KNOWN_SE, len(at))
        heights = line.elevation[i][at] + errors
        known = [
            KnownElevation(float(c), float(z), KNOWN_SE, f"{c:.0f} m")
            for c, z in zip(stations.distance[at], heights, strict=True)
        ]
    works = line.works if told == "all" else tuple(w for w in line.works if w.tagged)
    masked = line.inside(works, margin=max(k.cell for k in kinds))[i]
    fit = estimate(
        stations.distance,
        ground,
        masked,
        max_grade=max_grade,
        shoulders=shoulders if cross else None,
        known=known,
    )
    return Case(line, fit, stations.distance, line.chainage[i], line.elevation[i], line.grade[i], ground, masked)


def _normals(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Unit vectors (n,) to the left of a line."""
    dx, dy = np.gradient(x), np.gradient(y)
    length = np.hypot(dx, dy)
    return -dy / length, dx / length


def _shoulders(raster: Corridor, x: np.ndarray, y: np.ndarray, beside: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
    """Mean of left and right, near and far, (2, n) [m]."""
    left, up = beside
    sides = [[raster.at(x + d * left, y + d * up) for d in (-far, far)] for far in offsets(raster.cell)]
    return np.mean(sides, axis=1)


def profile_of_case(case: Case) -> Profile:
    """The estimate as a profile on a straight line, for the landmarks."""
    e = case.estimate
    profile = profile_of(case.chainage, e.elevation, draws=e.draw_elevation, nodes=e.draw_chainage)
    return dataclasses.replace(
        profile, ground=case.ground[0], structure_probability=np.where(case.masked, 0.0, e.structure_probability)
    )


@dataclass
class Score:
    """Errors of pooled routes, and of each route."""

    grade: list[np.ndarray] = field(default_factory=list)
    mean2: list[np.ndarray] = field(default_factory=list)
    elevation: list[np.ndarray] = field(default_factory=list)
    ruling: list[float] = field(default_factory=list)
    inside: list[tuple[float, float, float]] = field(default_factory=list)
    crests: list[tuple[int, int, int, int]] = field(default_factory=list)
    said: list[tuple[float, bool]] = field(default_factory=list)
    tunnels: list[bool] = field(default_factory=list)
    runs: list[bool] = field(default_factory=list)
    open_track: list[np.ndarray] = field(default_factory=list)
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
        profile = profile_of_case(case)
        self.said += _said(case, profile)
        self._suspect(case, profile)

    def _suspect(self, case: Case, profile: Profile) -> None:
        """Untold tunnels over 400 m found over most of their length; suspected runs that are on a structure."""
        found = suspected_structures(profile)
        inside = np.zeros(case.chainage.size, bool)
        for run in found:
            inside |= (case.chainage >= run.start) & (case.chainage <= run.end)
        off_ground = case.line.inside(case.line.works, margin=50.0)
        at = np.searchsorted(case.line.chainage, case.at)
        off = off_ground[np.minimum(at, off_ground.size - 1)]
        self.open_track.append(~off)
        for work in case.line.works:
            here = (case.at > work.start) & (case.at < work.end)
            if work.kind == "tunnel" and not case.masked[here].all() and work.end - work.start > 400:
                self.tunnels.append(bool(inside[here].mean() > 0.5))
        for run in found:
            here = (case.chainage >= run.start) & (case.chainage <= run.end)
            self.runs.append(bool(off[here].mean() > 0.5))

    def row(self) -> dict[str, float]:
        """Pooled figures."""
        grade, mean2 = np.concatenate(self.grade), np.concatenate(self.mean2)
        crest = np.array(self.crests).sum(axis=0)
        inside = np.array(self.inside)
        open_track = np.concatenate(self.open_track)
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
            "open p95": float(np.quantile(grade[open_track], 0.95)),
            "open rmse": float(np.sqrt((np.concatenate(self.elevation)[open_track] ** 2).mean())),
            "tunnels": float(np.mean(self.tunnels)) if self.tunnels else np.nan,
            "run prec": float(np.mean(self.runs)) if self.runs else np.nan,
            "s a route": self.seconds / len(self.grade),
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


def _said(case: Case, profile: Profile) -> list[tuple[float, bool]]:
    """Probability said of every crest and sag over 5 m, and whether there is one where it is said to lie."""
    pairs = []
    for mark in crests_and_sags(profile, 5.0):
        sign = 1.0 if mark.kind == "crest" else -1.0
        true = find_peaks(sign * case.elevation, prominence=5.0)[0]
        low, high = (mark.at if end is None else end for end in (mark.place_low, mark.place_high))
        place = case.chainage[true]
        pairs.append((mark.probability, bool(((place > low - 50) & (place < high + 50)).any())))
    return pairs


def table(cases: list[str], seeds: range, **options) -> dict[str, Score]:
    """Scores per case, odd seeds mixed, even seeds mountain."""
    result = {}
    for name in cases:
        score = result[name] = Score()
        for seed in seeds:
            start = time.perf_counter()
            case = run_case(name, seed, "mixed" if seed % 2 else "mountain", **options)
            score.seconds += time.perf_counter() - start
            score.add(case)
    return result


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cases", nargs="*", default=list(CASES))
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--routes", type=int, default=12)
    parser.add_argument("--told", choices=("half", "all"), default="half", help="structures that are told")
    parser.add_argument("--without-known", action="store_true", help="no known elevations")
    parser.add_argument("--without-cross", action="store_true", help="no cross-sections")
    options = parser.parse_args()
    seeds = range(options.first, options.first + options.routes)
    scores = table(
        options.cases,
        seeds,
        told=options.told,
        stations_known=not options.without_known,
        cross=not options.without_cross,
    )
    names = list(next(iter(scores.values())).row())
    print(f"{'':10s}" + "".join(f"{n:>12s}" for n in names))
    for case, score in scores.items():
        row = score.row()
        print(f"{case:10s}" + "".join(f"{row[n]:12.3f}" for n in names))
    print("\ncrests and sags over 5 m: probability said, share true, how many")
    for case, score in scores.items():
        said, true = (np.array(column) for column in zip(*score.said, strict=True))
        parts = []
        for low, high in ((0.0, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 1.01)):
            here = (said >= low) & (said < high)
            if here.any():
                parts.append(f"{said[here].mean():.2f} {true[here].mean():.2f} ({here.sum()})")
        print(f"{case:10s} {'; '.join(parts)}")


if __name__ == "__main__":
    main()
