"""How good curves are, on invented lines whose truth is known: `python -m tests.benchmarks.alignment`.

A digitised line goes through the estimator and its answer is matched to the truth by position, never
by chainage. Prints a line per noise: the median over the routes and, in brackets, the worst of them.

The end of a curve is taken at the middle of its spiral, where entry and circle share the turn: drawn
lines say where that is much better than where the spiral begins. Compound curves count whole for ends
and deflection, by their arcs for all else.
"""

from __future__ import annotations

import argparse
import dataclasses
import time
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from profiler.alignment.curves import element_curvature
from profiler.alignment.track import track_of
from profiler.route import CurveElement
from profiler.units import degree_of_curve
from tests.plan_truth import STYLES, Plan, TrueCurve, curvature_at, digitise, plan, to_degrees, to_metres

STEP = 10.0
"""Stations are compared this far apart. [m]"""

SPARSE = (50.0, 300.0)
"""Spacing of the vertices of a sparsely drawn line. [m]"""

LEAST_DEGREE, LEAST_TURN = 0.5, np.radians(1.0)
"""Flatter and shorter true curves need not be found."""


@dataclass(frozen=True, eq=False)
class Answer:
    """What an estimator says: arrays (n,), ``distance``, ``east``, ``north`` [m], curvature and s.e. [1/m]."""

    distance: np.ndarray
    east: np.ndarray
    north: np.ndarray
    curvature: np.ndarray
    curvature_se: np.ndarray
    curves: tuple[CurveElement, ...]


@dataclass(frozen=True)
class Measures:
    """Errors of one route. ``p50`` and ``p95`` are quantiles of the absolute error."""

    rmse: float
    """Of the degree at stations."""
    p50: float
    p95: float
    recall: float
    """True curves at least half of whose length lies under listed curves of their hand."""
    precision: float
    """Listed curves at least half of whose length lies over true curves of their hand."""
    ends_p50: float
    """[m]"""
    ends_p95: float
    body_p50: float
    """Degree of a listed curve less the true one at the middle of its body; right curves only."""
    body_p95: float
    turn_p50: float
    """Deflection of the whole curve. [degree]"""
    turn_p95: float
    length: float
    """Error of the length of the route, signed. [%]"""
    cover: float
    """Stations whose true degree lies within 1.96 standard errors."""
    cover_curves: float
    """The same of all listed curves, at the middle of their bodies."""


HIGH_IS_GOOD = {"recall", "precision", "cover", "cover_curves"}


def measure(line: Plan, answer: Answer) -> Measures:
    """Compare an answer with the truth."""
    true_at = np.maximum.accumulate(nearest_chainage(line, answer.east, answer.north))
    stations = np.arange(answer.distance[0], answer.distance[-1], STEP)
    told, se = (np.interp(stations, answer.distance, v) for v in (answer.curvature, answer.curvature_se))
    true = curvature_at(line.elements, np.interp(stations, answer.distance, true_at))
    error = np.abs(degree_of_curve(told) - degree_of_curve(true))
    listed = [_on_truth(c, answer.distance, true_at) for c in answer.curves]
    found, right = _found(line.elements, listed), _right(line.elements, listed)
    body, body_se = _body_errors(line, listed, answer.curves)
    ends, turns = _matched(line.elements, listed, answer.curves)
    span = true_at[-1] - true_at[0]
    return Measures(
        float(np.sqrt((error**2).mean())),
        *_quantiles(error),
        _share(found),
        _share(right),
        *_quantiles(ends),
        *_quantiles(body[right]),
        *_quantiles(turns),
        float((answer.distance[-1] - answer.distance[0]) / span - 1) * 100,
        _covered(error, degree_of_curve(se)),
        _covered(body, body_se),
    )


def nearest_chainage(line: Plan, east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """True chainage [m] of the place on the line nearest to each place (n,) [m]."""
    _, near = cKDTree(np.column_stack([line.east, line.north])).query(np.column_stack([east, north]))
    squares, chainage = np.empty((2, near.size)), np.empty((2, near.size))
    for side in (0, 1):  # the pieces before and after the nearest node
        i = np.clip(near - 1 + side, 0, line.s.size - 2)
        along_east, along_north = line.east[i + 1] - line.east[i], line.north[i + 1] - line.north[i]
        off_east, off_north = east - line.east[i], north - line.north[i]
        share = (off_east * along_east + off_north * along_north) / (along_east**2 + along_north**2)
        share = np.clip(share, 0, 1)
        squares[side] = (off_east - share * along_east) ** 2 + (off_north - share * along_north) ** 2
        chainage[side] = line.s[i] + share * (line.s[i + 1] - line.s[i])
    return np.where(squares[1] < squares[0], chainage[1], chainage[0])


def _on_truth(curve: CurveElement, distance: np.ndarray, true_at: np.ndarray) -> TrueCurve:
    """A listed curve by true chainages; its group is set later."""
    knots = [curve.start, curve.start + curve.spiral_in, curve.end - curve.spiral_out, curve.end]
    start, first, last, end = (float(np.interp(x, distance, true_at)) for x in knots)
    return TrueCurve(start, end, first - start, end - last, float(degree_of_curve(curve.curvature)), 0)


def _span(curve: TrueCurve) -> tuple[float, float]:
    """From the middle of the entry spiral to that of the exit spiral. [m]"""
    return curve.start + curve.spiral_in / 2, curve.end - curve.spiral_out / 2


def _overlap(curve: TrueCurve, others: list[TrueCurve] | tuple[TrueCurve, ...]) -> float:
    """Share of a curve that lies under others of its hand."""
    low, high = _span(curve)
    shared = 0.0
    for other in others:
        if other.degree * curve.degree > 0:
            start, end = _span(other)
            shared += max(min(high, end) - max(low, start), 0.0)
    return shared / max(high - low, 1e-9)


def _found(true: tuple[TrueCurve, ...], listed: list[TrueCurve]) -> np.ndarray:
    needed = [c for c in true if abs(c.degree) >= LEAST_DEGREE and abs(c.deflection) >= LEAST_TURN]
    return np.array([_overlap(c, listed) >= 0.5 for c in needed], bool)


def _right(true: tuple[TrueCurve, ...], listed: list[TrueCurve]) -> np.ndarray:
    return np.array([_overlap(c, true) >= 0.5 for c in listed], bool)


def _body_errors(
    line: Plan, listed: list[TrueCurve], curves: tuple[CurveElement, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """Error of the degree of every listed curve, and the standard error it was given."""
    middle = np.array([sum(c.body) / 2 for c in listed])
    true = degree_of_curve(curvature_at(line.elements, middle))
    told = np.array([c.degree for c in listed])
    return np.abs(told - true), degree_of_curve(np.array([c.curvature_se for c in curves]))


def _matched(
    true: tuple[TrueCurve, ...], listed: list[TrueCurve], curves: tuple[CurveElement, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """Errors of both ends [m] and of deflection [degree] of the whole curves that are each other's best match."""
    truth = _wholes([(c, c.deflection) for c in true], [c.group for c in true])
    answer = _wholes([(c, e.deflection) for c, e in zip(listed, curves, strict=True)], _groups(curves))
    shared = np.array([[_shared(t, a) for a in answer] for t in truth]).reshape(len(truth), len(answer))
    ends, turns = [], []
    for i, t in enumerate(truth):
        j = int(shared[i].argmax()) if answer else -1
        if j < 0 or shared[i, j] < 0.5 * (t[1] - t[0]) or shared[:, j].argmax() != i:
            continue
        a = answer[j]
        ends += [abs(a[0] - t[0]), abs(a[1] - t[1])]
        turns.append(abs(np.degrees(a[2] - t[2])))
    return np.array(ends), np.array(turns)


Whole = tuple[float, float, float]
"""Both ends [m] and deflection [rad] of a curve with all its arcs."""


def _wholes(arcs: list[tuple[TrueCurve, float]], groups: list[int]) -> list[Whole]:
    wholes: list[Whole] = []
    for k, (arc, turn) in enumerate(arcs):
        low, high = _span(arc)
        if k and groups[k] == groups[k - 1]:
            wholes[-1] = (wholes[-1][0], high, wholes[-1][2] + turn)
        else:
            wholes.append((low, high, turn))
    return wholes


def _groups(curves: tuple[CurveElement, ...]) -> list[int]:
    """Arcs of one hand that overlap or touch are of one curve."""
    groups = [0] * len(curves)
    for k in range(1, len(curves)):
        before, after = curves[k - 1], curves[k]
        parted = before.hand != after.hand or after.start > before.end + 0.01
        groups[k] = groups[k - 1] + parted
    return groups


def _shared(a: Whole, b: Whole) -> float:
    return max(min(a[1], b[1]) - max(a[0], b[0]), 0.0) if a[2] * b[2] > 0 else 0.0


def _quantiles(errors: np.ndarray) -> tuple[float, float]:
    return tuple(np.quantile(errors, [0.5, 0.95]).tolist()) if errors.size else (np.nan, np.nan)


def _share(hits: np.ndarray) -> float:
    return float(hits.mean()) if hits.size else np.nan


def _covered(error: np.ndarray, se: np.ndarray) -> float:
    """Share within 1.96 s.e.; NaN where none was given."""
    given = np.isfinite(se)
    return _share(error[given] <= 1.96 * se[given] + 1e-9)


def _answer(longitude: np.ndarray, latitude: np.ndarray, fast: bool) -> Answer:
    line = track_of(longitude, latitude, fast=fast)
    east, north = to_metres(line.longitude, line.latitude)
    curvature = element_curvature(line.distance, line.curves)
    return Answer(line.distance, east, north, curvature, line.curvature_se, line.curves)


def table(
    lines: dict[int, Plan], noise: float, *, drift: float, sparse: bool, fast: bool
) -> tuple[list[Measures], float]:
    """Measures of every route, and seconds per 1,000 km."""
    measures, seconds, metres = [], 0.0, 0.0
    for seed, line in lines.items():
        rng = np.random.default_rng(10_000 + seed)
        spacing = {"spacing": SPARSE} if sparse else {}
        places = to_degrees(*digitise(line, rng, noise, drift=drift, **spacing))
        start = time.perf_counter()
        answer = _answer(*places, fast)
        seconds += time.perf_counter() - start
        metres += line.s[-1]
        measures.append(measure(line, answer))
    return measures, seconds / metres * 1e6


def row(measures: list[Measures]) -> list[str]:
    """The median (the worst) of every measure."""
    cells = []
    for name in (f.name for f in dataclasses.fields(Measures)):
        values = np.array([getattr(m, name) for m in measures])
        worst = values.min() if name in HIGH_IS_GOOD else values[np.abs(values).argmax()]
        digits = 1 if name.startswith("ends") else 3
        cells.append(f"{np.median(values):.{digits}f} ({worst:.{digits}f})")
    return cells


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, nargs=2, default=(101, 110), metavar=("FIRST", "LAST"))
    parser.add_argument("--noise", type=float, nargs="+", default=[0.5, 1.0, 2.0, 3.0], help="of the vertices [m]")
    parser.add_argument("--style", choices=tuple(STYLES), default="mixed")
    parser.add_argument("--sparse", action="store_true", help="vertices 50 to 300 m apart")
    parser.add_argument("--drift", type=float, default=1.0, help="slow wander of the vertices [m]")
    parser.add_argument("--spirals", type=float, default=1.0, help="stretches all spirals; 0: none")
    parser.add_argument("--fast", action="store_true")
    options = parser.parse_args()
    seeds = range(options.seeds[0], options.seeds[1] + 1)
    lines = {seed: plan(seed, style=options.style, spirals=options.spirals) for seed in seeds}
    names = [f.name for f in dataclasses.fields(Measures)]
    print(f"{'noise':>5s}" + "".join(f"{name:>16s}" for name in names) + f"{'s/1000 km':>11s}")
    for noise in options.noise:
        measures, pace = table(lines, noise, drift=options.drift, sparse=options.sparse, fast=options.fast)
        print(f"{noise:5.1f}" + "".join(f"{cell:>16s}" for cell in row(measures)) + f"{pace:11.1f}", flush=True)


if __name__ == "__main__":
    main()
