"""Cost of the estimator alone on 100 and 1,000 km, against one pass of a Whittaker smoother on the same stations.

Figures are printed (pytest -m slow -s); only ratios of one run are asserted, and memory.
"""

from __future__ import annotations

import multiprocessing
import resource
import time

import numpy as np
import pytest
from scipy.linalg import solveh_banded
from scipy.signal import lfilter

from profiler.elevation.estimator import estimate

STEP = 10.0
KINDS = {"terrain model": (0.8, 60.0), "surface model": (2.5, 250.0)}


def line(length_km: int, kind: str) -> tuple[np.ndarray, np.ndarray]:
    """Stations [m] and ground [m] over a railway with a change of grade every 0.5 to 4 km."""
    rng = np.random.default_rng(length_km)
    s = np.arange(100 * length_km + 1) * STEP
    places = np.r_[0.0, np.cumsum(rng.uniform(500, 4000, 2 * length_km))]
    grades = rng.uniform(-0.02, 0.02, places.size)
    rail = 3000 + np.cumsum(grades[np.searchsorted(places, s, side="right") - 1]) * STEP
    sigma, length = KINDS[kind]
    a = np.exp(-STEP / length)
    error = lfilter([1.0], [1.0, -a], rng.normal(0, sigma * np.sqrt(1 - a * a), s.size))
    return s, rail + error


def timed(length_km: int, kind: str) -> float:
    s, ground = line(length_km, kind)
    start = time.perf_counter()
    estimate(s, ground[None], np.zeros(s.size, bool), max_grade=0.045)
    return time.perf_counter() - start


def whittaker(length_km: int, kind: str) -> float:
    """One pass of the plainest smoother over all stations. [s]"""
    _, ground = line(length_km, kind)
    band = np.zeros((3, ground.size))
    for a, left in enumerate((1.0, -2.0, 1.0)):
        for b, right in enumerate((1.0, -2.0, 1.0)):
            if b >= a:
                band[b - a, a : a + ground.size - 2] += 1e6 * left * right
    band[0] += 1
    start = time.perf_counter()
    solveh_banded(band, ground, lower=True, check_finite=False)
    return time.perf_counter() - start


def measured(kind: str, send) -> None:
    """In a process of its own: compile, then 100 and 1,000 km, and the most memory held [byte]."""
    start = time.perf_counter()
    timed(20, kind)
    first = time.perf_counter() - start
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    short, long = min(timed(100, kind) for _ in range(3)), min(timed(1000, kind) for _ in range(2))
    send.send((first, short, long, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 - before))


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_a_thousand_kilometres(kind: str):
    """Law: linear in length, under 1 GB; aim: under 12 s on one core. Two at once, one on each core, cost
    less than twice one."""
    context = multiprocessing.get_context("spawn")
    results = []
    for workers in (1, 2):
        pipes = [context.Pipe() for _ in range(workers)]
        processes = [context.Process(target=measured, args=(kind, send)) for _, send in pipes]
        start = time.perf_counter()
        for process in processes:
            process.start()
        results.append([receive.recv() for receive, _ in pipes])
        for process in processes:
            process.join()
        print(f"\n{workers} at once: {time.perf_counter() - start:.1f} s in all")
    first, short, long, memory = results[0][0]
    floor = min(whittaker(1000, kind) for _ in range(3))
    print(
        f"{kind}: first call {first:.1f} s; 100 km {short:.2f} s; 1,000 km {long:.2f} s (aim 12), {long / floor:.0f} × "
        f"one Whittaker pass of {floor:.3f} s; {memory / 1e6:.0f} MB more than before; "
        f"two at once {', '.join(f'{r[2]:.2f} s' for r in results[1])}"
    )
    assert long < 1.5 * 10 * short
    assert memory < 1e9
    assert max(r[2] for r in results[1]) < 2 * long
