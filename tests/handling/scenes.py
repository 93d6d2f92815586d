"""A descent with its acts, put together from parts of a plan, so that one of them can be changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from profiler.handling.approach import approach
from profiler.handling.descents import descents
from profiler.handling.scene import Scene
from profiler.handling.speeds import speeds_along
from profiler.handling.staircase import AirStep, staircase
from profiler.handling.timeline import timeline
from profiler.handling.windows import Window, power_off_window
from profiler.mechanics.conditions import EVERY
from profiler.mechanics.course import course_of
from profiler.mechanics.terrain import Terrain
from profiler.train import Train
from tests.planned import LIMIT, TRAINS, line_of_trial, posted


@dataclass(frozen=True, eq=False)
class Staged(Scene):
    """A scene that finds its own window."""

    def power_off(self) -> Window:
        """When the first notch goes off."""
        return power_off_window(self)


def scene_of(
    train: Train, terrain: Terrain, limit: float, steps: Sequence[AirStep] | None = None, number: int = 0
) -> Staged:
    """One descent of a line under one limit [m/s], without draws; steps as the staircase has them if not given."""
    courses = [course_of(train, terrain, conditions=conditions) for conditions in EVERY]
    speeds = speeds_along(courses[0], train, posted(train, terrain, limit))
    here = tuple(speeds.on(course) for course in courses)
    found = descents(courses[0], speeds, terrain, train.length)[number]
    top = here[0].effort.shape[1] - 1
    set_up = timeline(train, top).full
    come = approach(here[0], train, found, after=0.0, top_notch=top, set_up=set_up)
    if steps is None:
        steps = staircase(here[0], train, speeds, found)
    return Staged(train, found, come, timeline(train, come.notch), tuple(steps), here, (), top)


def of_trial(name: str, limit: float | None = None) -> Staged:
    """The main descent of a train of the trial."""
    return scene_of(TRAINS[name], line_of_trial(name), LIMIT[name] if limit is None else limit)


def with_course(scene: Staged, other: Scene) -> Staged:
    """The same approach, timeline and acts on other courses."""
    return replace(scene, courses=other.courses)
