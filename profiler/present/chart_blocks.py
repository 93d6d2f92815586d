"""What the Steps row is made of: stretches between PVIs where the data show them, grade runs elsewhere."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from profiler.landmark import GradeRun
from profiler.present.chart_frame import Frame
from profiler.profile import Profile
from profiler.units import FloatArray
from profiler.vertical_curve import Pvi, holds

SURE_EDGE = 4.0
"""Standard error of a place [pt] up to which its edge counts as sure at this scale."""

LEAST_CURVE = 3.0
"""Shorter vertical curves are drawn as upright edges. [pt]"""

SURE_PVI, AGREED = 0.8, 0.9
"""Probability from which a PVI is tied to the rail; share of a stretch on which the line of the PVIs
must agree with the profile to be drawn there."""


@dataclass(frozen=True)
class Block:
    """A stretch of one grade: ``run``, and what its end looks like.

    ``end_curve`` is the length of the vertical curve drawn there [m], 0 for an upright edge;
    ``end_sure`` whether the edge is tied up to the rail.
    """

    run: GradeRun
    end_curve: float = 0.0
    end_sure: bool = True


def blocks_of(frame: Frame) -> tuple[Block, ...]:
    """The blocks of a whole line, in order."""
    pvis = frame.profile.pvis
    if not pvis:
        return tuple(_read(run, frame) for run in frame.landmarks.grade_runs)
    blocks: list[Block] = []
    for start, end, pvi, tangent in _stretches(frame.profile):
        if tangent is not None:
            blocks.append(_built(tangent, pvi, frame))
            continue
        if blocks and blocks[-1].run.end == start:  # no curve leads into what is only a way of reading
            blocks[-1] = dataclasses.replace(blocks[-1], end_curve=0.0)
        inside = [r for r in frame.landmarks.grade_runs if r.end > start and r.start < end]
        for run in inside:
            cut = dataclasses.replace(run, start=max(run.start, start), end=min(run.end, end))
            last = run is inside[-1]
            blocks.append(dataclasses.replace(_built(cut, pvi, frame), end_curve=0.0) if last else _read(cut, frame))
    return tuple(blocks)


def _stretches(profile: Profile) -> Iterator[tuple[float, float, Pvi | None, GradeRun | None]]:
    """Start and end [m] of every stretch between PVIs, the PVI at its end, and its tangent where that agrees."""
    s, z, pvis = profile.chainage, profile.elevation, profile.pvis
    agreed = holds(pvis, s, z, profile.elevation_se)
    place = np.array([s[0], *(p.chainage for p in pvis), s[-1]])
    first, last = pvis[0], pvis[-1]
    height = np.array(
        [
            first.elevation - first.grade_in * (first.chainage - s[0]),
            *(p.elevation for p in pvis),
            last.elevation + last.grade_out * (s[-1] - last.chainage),
        ]
    )
    spread = np.std(np.diff(profile.draws.at(place), axis=1), axis=0)
    for i, (start, end) in enumerate(zip(place[:-1].tolist(), place[1:].tolist(), strict=True)):
        pvi = pvis[i] if i < len(pvis) else None
        inside = agreed[(s >= start) & (s <= end)]
        tangent = None
        if inside.size and inside.mean() >= AGREED:
            rise = float(height[i + 1] - height[i])
            se = pvi.chainage_se if pvi else 0.0
            tangent = GradeRun(start, end, rise / (end - start), float(spread[i]) / (end - start), rise, se)
        yield start, end, pvi, tangent


def _built(run: GradeRun, pvi: Pvi | None, frame: Frame) -> Block:
    """A stretch that ends in a PVI, or in the end of the line."""
    if pvi is None:
        return Block(run)
    run = dataclasses.replace(run, end_se=pvi.chainage_se)
    placed = pvi.chainage_se * frame.scale <= SURE_EDGE
    drawn = placed and pvi.curve_length * frame.scale > LEAST_CURVE
    return Block(run, pvi.curve_length if drawn else 0.0, placed and pvi.probability >= SURE_PVI)


def _read(run: GradeRun, frame: Frame) -> Block:
    return Block(run, end_sure=run.end_se * frame.scale <= SURE_EDGE)


def unsure(block: Block, frame: Frame) -> bool:
    """Whether the place where a block ends is too little known for this scale."""
    return block.run.end_se * frame.scale > SURE_EDGE


def outline(blocks: tuple[Block, ...], i: int) -> tuple[FloatArray, FloatArray]:
    """Free edge of block ``i``: chainages [m] and grades [m/m], sloping over the vertical curves at its ends.

    Where the grade changes its sense on a curve, the block ends where the grade is nought.
    """
    own = blocks[i].run
    left = _shared(blocks[i - 1], own) if i else None
    right = _shared(blocks[i], blocks[i + 1].run) if i + 1 < len(blocks) else None
    before = [(own.start, own.grade)] if left is None else [left, (own.start + blocks[i - 1].end_curve / 2, own.grade)]
    after = [(own.end, own.grade)] if right is None else [(own.end - blocks[i].end_curve / 2, own.grade), right]
    points = np.array(before + after)
    return np.maximum.accumulate(points[:, 0]), points[:, 1]


def _shared(block: Block, following: GradeRun) -> tuple[float, float] | None:
    """Where two blocks meet on a curve: at the PVI, half-way between their grades, or at grade nought."""
    length, first, second = block.end_curve, block.run.grade, following.grade
    if length == 0 or first == second:
        return None
    if first * second < 0:
        return block.run.end + length * (-first / (second - first) - 0.5), 0.0
    return block.run.end, (first + second) / 2
