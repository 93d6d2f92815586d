"""First curve elements: trapezoids of curvature read off the smoothed line.

The smoothed line rounds every corner of the true curvature diagram and trembles on tangents. So
curves are found where curvature stands clear of its own noise, and each is described by the
trapezoid (spiral, circle, spiral) of the same turn and height; everything else is tangent.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from profiler.route import CurveElement
from profiler.units import FloatArray, curvature_of_degree

LEAST_DEGREE = 0.4
"""Curves flatter than this are taken for tangents. [degree]"""

LEAST_TURN = np.radians(0.8)
"""Curves that turn less than this are taken for drawing noise. [rad]"""

LEAST_RAMP = 20.0  # [m]


def curve_elements(distance: FloatArray, curvature: FloatArray) -> tuple[CurveElement, ...]:
    """Curves of one hand that stand clear of the noise, in order of distance.

    Parameters
    ----------
    distance : ndarray, shape (n,)
        Increasing. [m]
    curvature : ndarray, shape (n,)
        Of the smoothed line, + left. [1/m]
    """
    least = float(curvature_of_degree(LEAST_DEGREE))
    noise = 1.4826 * float(np.median(np.abs(curvature - np.median(curvature))))
    noise = min(noise, least)  # on a line that is mostly curves the median is no noise
    threshold = max(least / 2, 1.5 * noise)
    elements: list[CurveElement] = []
    for feet in _feet(curvature, _runs(np.sign(curvature) * (np.abs(curvature) > threshold))):
        element = _trapezoid(distance, curvature, *feet, noise, len(elements) + 1)
        if element is not None and abs(element.curvature) >= least and abs(element.deflection) >= LEAST_TURN:
            elements.append(element)
    for k in range(len(elements) - 1):
        over = elements[k].end - elements[k + 1].start
        if over > 0:
            elements[k : k + 2] = _parted(elements[k], elements[k + 1], over / 2)
    return tuple(elements)


def _parted(before: CurveElement, after: CurveElement, each: float) -> tuple[CurveElement, CurveElement]:
    """Two curves that overlap by twice ``each`` [m], spirals shortened so that both turn as before."""
    return (
        replace(before, end=before.end - each, spiral_out=max(before.spiral_out - 2 * each, 0.0)),
        replace(after, start=after.start + each, spiral_in=max(after.spiral_in - 2 * each, 0.0)),
    )


def element_curvature(distance: FloatArray, curves: tuple[CurveElement, ...]) -> FloatArray:
    """Curvature (n,) [1/m] of the elements at distances (n,) [m]: exactly zero on tangents."""
    curvature = np.zeros(distance.shape)
    for c in curves:
        first, last = np.searchsorted(distance, [c.start, c.end])
        curvature[first:last] += np.interp(distance[first:last], c.knots, [0, c.curvature, c.curvature, 0])
    return curvature


def _runs(sign: FloatArray) -> list[tuple[int, int]]:
    """First and last index of every run of one nonzero sign."""
    edges = np.flatnonzero(np.diff(np.r_[0, sign, 0]))
    starts = [int(i) for i in edges if i < sign.size and sign[i] != 0]
    ends = [int(i) - 1 for i in edges if i > 0 and sign[i - 1] != 0]
    return list(zip(starts, ends, strict=True))


def _trapezoid(
    distance: FloatArray, curvature: FloatArray, low: int, high: int, noise: float, number: int
) -> CurveElement | None:
    """The curve between two indices, both included; None where there are too few stations."""
    if high - low < 4:
        return None
    hand = float(np.sign(curvature[low : high + 1].sum()))
    s, k = distance[low : high + 1], np.maximum(curvature[low : high + 1] * hand, 0.0)
    step = float(s[1] - s[0])
    turn = float(k.sum()) * step
    body = k[k >= 0.5 * k.max()]
    height = float(np.quantile(body, 0.7))
    width = turn / height  # of the rectangle of the same turn
    centre = float((k * s).sum() / k.sum())
    ramps = [_ramp(s, k, height), _ramp(s[::-1], k[::-1], height)]
    spiral_in, spiral_out = (float(np.clip(r, LEAST_RAMP, width)) for r in ramps)
    # equal turn about one centre: a longer spiral on one side moves that end outwards
    start = centre - width / 2 - spiral_in / 2
    end = centre + width / 2 + spiral_out / 2
    start, end = max(start, float(distance[0])), min(end, float(distance[-1]))
    if end - start <= spiral_in + spiral_out:
        spiral_in = spiral_out = 0.45 * (end - start)
    error = max(noise, 0.05 * height) / np.sqrt(max(body.size * step / 100.0, 1.0))
    return CurveElement(str(number), "simple", start, end, spiral_in, spiral_out, hand * height, error)


def _feet(curvature: FloatArray, runs: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """The runs widened down to where curvature reaches zero, or between two of one hand its least."""
    found = []
    for k, (first, last) in enumerate(runs):
        turn = curvature * np.sign(curvature[first])
        before, after = runs[k - 1][1] if k else 0, runs[k + 1][0] if k + 1 < len(runs) else turn.size - 1
        low, high = _least(turn[before:first][::-1]), _least(turn[last + 1 : after + 1])
        found.append((first - low, last + high))
    return found


def _least(turn: FloatArray) -> int:
    """How many stations to go until the curvature [1/m] outwards of a run ends or begins to rise again."""
    below = np.flatnonzero(turn <= 0)
    if below.size:
        return int(below[0])
    return int(np.argmin(turn)) if turn.size else 0


def _ramp(s: FloatArray, k: FloatArray, height: float) -> float:
    """Length of a ramp from its passages through a fifth and four fifths of the height."""
    fifth = int(np.argmax(k >= 0.2 * height))
    four = int(np.argmax(k >= 0.8 * height))
    return abs(float(s[four] - s[fifth])) / 0.6
