"""How well PVIs are found, on synthetic railways whose truth is known: `python -m tests.benchmarks.pvis`.

Whole cases as in `tests.benchmarks.accuracy`; a PVI found within 200 m of a true one counts.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from profiler.elevation.pvis import clearest, find_pvis
from profiler.vertical_curve import Pvi, holds
from tests.benchmarks.accuracy import CASES, Case, run_case

WITHIN, LARGE = 200.0, 0.005


@dataclass(frozen=True, eq=False)
class Found:
    """PVIs of one route: true ones over .5 % (k,) found or not and on open ground or in a structure; told
    ones right or not, and by how far."""

    recall: np.ndarray
    on_ground: np.ndarray
    right: np.ndarray
    probability: np.ndarray
    place: np.ndarray
    place_se: np.ndarray
    height: np.ndarray
    height_se: np.ndarray
    length: np.ndarray
    holds: float
    seconds: float
    count: int


def pvis_of_case(case: Case) -> tuple[Pvi, ...]:
    """The PVIs of a case; none where its ground cannot show any."""
    return find_pvis(case.chainage, *clearest(case.ground, case.estimate.noise), case.estimate) or ()


def judged(case: Case) -> Found:
    """Match what is told to the truth by position."""
    start = time.perf_counter()
    told = pvis_of_case(case)
    seconds = time.perf_counter() - start
    true = case.line.pvis
    change = true[:, 2] - true[:, 1]
    true_height = np.interp(true[:, 0], case.line.chainage, case.line.elevation) - change * true[:, 3] / 8
    at = np.interp([p.chainage for p in told], case.chainage, case.at)
    size = np.array([p.change for p in told])
    # a true PVI of the same sense, of any size down to half
    away = np.abs(at[:, None] - true[None, :, 0])
    alike = (size[:, None] * change[None] > 0) & (away < WITHIN)
    large = np.abs(change) > LARGE
    claimed = np.abs(size) > LARGE
    found = alike & (np.abs(size)[:, None] > LARGE / 2)
    right = (alike & (np.abs(change)[None] > LARGE / 2)).any(axis=1) if true.size else np.zeros(at.size, bool)
    pairs = [(i, int(np.where(alike[i], away[i], np.inf).argmin())) for i in np.flatnonzero(claimed & right)]
    i, j = np.array(pairs, dtype=int).reshape(-1, 2).T
    return Found(
        recall=found.any(axis=0)[large],
        on_ground=~case.line.inside(case.line.works)[np.searchsorted(case.line.chainage, true[large, 0])],
        right=right[claimed],
        probability=np.array([p.probability for p in told])[claimed],
        place=(at[i] - true[j, 0]),
        place_se=np.array([told[k].chainage_se for k in i]),
        height=np.array([told[k].elevation for k in i]) - true_height[j],
        height_se=np.array([told[k].elevation_se for k in i]),
        length=np.array([told[k].curve_length for k in i]) / np.maximum(true[j, 3], 1.0),
        holds=float(holds(told, case.chainage, case.estimate.elevation, case.estimate.elevation_se).mean()),
        seconds=seconds,
        count=len(told),
    )


def row(found: list[Found]) -> dict[str, float]:
    """Pooled figures."""

    def pool(name: str) -> np.ndarray:
        return np.concatenate([getattr(f, name) for f in found])

    place, height = np.abs(pool("place")), np.abs(pool("height"))
    some = place.size > 0
    return {
        "recall": float(pool("recall")[pool("on_ground")].mean()),
        "of all": float(pool("recall").mean()),
        "precision": float(pool("right").mean()) if pool("right").size else float("nan"),
        "place p50": float(np.median(place)) if some else float("nan"),
        "place p90": float(np.quantile(place, 0.9)) if some else float("nan"),
        "cover s": float((place < 1.96 * pool("place_se")).mean()) if some else float("nan"),
        "height p50": float(np.median(height)) if some else float("nan"),
        "cover z": float((height < 1.96 * pool("height_se")).mean()) if some else float("nan"),
        "length/true": float(np.median(pool("length"))) if some else float("nan"),
        "line holds": float(np.mean([f.holds for f in found])),
        "told": float(sum(f.count for f in found)),
        "seconds": sum(f.seconds for f in found),
    }


def said_and_true(found: list[Found]) -> list[tuple[float, float, int]]:
    """Probability said and share right, in bins."""
    said = np.concatenate([f.probability for f in found])
    right = np.concatenate([f.right for f in found])
    edges = [0.0, 0.6, 0.8, 0.95, 1.01]
    rows = []
    for low, high in pairwise(edges):
        inside = (said >= low) & (said < high)
        if inside.any():
            rows.append((float(said[inside].mean()), float(right[inside].mean()), int(inside.sum())))
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cases", nargs="*", default=["lidar", "dtm", "dsm"], help=f"of {', '.join(CASES)}")
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--routes", type=int, default=12)
    options = parser.parse_args()
    seeds = range(options.first, options.first + options.routes)
    header = False
    for name in options.cases:
        found = [judged(run_case(name, seed, "mixed" if seed % 2 else "mountain")) for seed in seeds]
        figures = row(found)
        if not header:
            print(f"{'':8s}" + "".join(f"{n:>12s}" for n in figures))
            header = True
        print(f"{name:8s}" + "".join(f"{v:12.3f}" for v in figures.values()))
        print("    said/true/of: " + "  ".join(f"{a:.2f}/{b:.2f}/{n}" for a, b, n in said_and_true(found)))


if __name__ == "__main__":
    main()
