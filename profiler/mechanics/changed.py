"""A train with something gone wrong: the same train, changed, and its course with the brakes it then has."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from profiler.cited import Cited
from profiler.mechanics.course import SPEEDS
from profiler.mechanics.dynamic import group_dynamics
from profiler.mechanics.motion import Course
from profiler.train import Block, Train


def has_dynamic(train: Train) -> bool:
    """Whether any unit that works has a dynamic brake."""
    return any(block.working and block.vehicle.dynamic is not None for block in train.blocks)


def without_dynamic(train: Train, units: int | None = None) -> Train:
    """The train without the dynamic brake of so many units, of all if not given; they pull as before.

    Units of the first group that has any, the rearmost first, then those of the next.
    """
    left = train.vehicles if units is None else units
    lost = [0] * len(train.blocks)
    for group in train.groups:
        for i in range(group.last, group.first - 1, -1):
            block = train.blocks[i]
            lost[i] = min(left, block.working) if block.vehicle.dynamic is not None else 0
            left -= lost[i]
    return replace(train, blocks=tuple(p for b, n in zip(train.blocks, lost, strict=True) for p in _parts(b, n)))


def _parts(block: Block, lost: int) -> tuple[Block, ...]:
    """A block as it is, or as units with and, behind them, so many working ones without dynamic brake."""
    if not lost:
        return (block,)
    without = Block(vehicle=replace(block.vehicle, dynamic=None), count=lost)
    return (replace(block, count=block.count - lost), without) if block.count > lost else (without,)


def cut_out(train: Train, share: float) -> Train:
    """The train with the brakes of a share of its cars cut out, spread over all its blocks [-]."""
    blocks = []
    for block in train.blocks:
        brake = block.vehicle.brake
        works = Cited(float(brake.operative) * (1 - share), "", "calc")
        vehicle = replace(block.vehicle, brake=replace(brake, operative=works))
        blocks.append(replace(block, vehicle=vehicle) if block.vehicle.kind == "car" else block)
    return replace(train, blocks=tuple(blocks))


def with_buff(train: Train, limit: Cited) -> Train:
    """The train with another limit of buff behind the head group [N]."""
    return replace(train, limits=replace(train.limits, buff=limit))


def braked_as(course: Course, train: Train, changed: Train) -> Course:
    """The course of a train with the dynamic brake of the train changed: same vehicles, same groups."""
    more = float(changed.limits.buff - train.limits.buff)
    at_head = np.array([group.place == "head" for group in train.groups])[:, None]
    return course._replace(
        dynamic=np.array(group_dynamics(changed, SPEEDS, -np.inf).effort),
        push=np.where(at_head, np.maximum(course.push + more, 0.0), course.push),
    )
