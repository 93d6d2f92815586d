"""Cost of planning 200 km of descents on 100 draws beside running the train over them. Printed (pytest -m slow -s)."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from profiler.handling.approach import extremes_of
from profiler.handling.descent_plan import plan_descents
from profiler.handling.speeds import speeds_along
from profiler.handling.timeline import cruising_acts
from profiler.mechanics.course import acts_of, course_of, drawn_along
from profiler.mechanics.motion import FREE
from profiler.mechanics.run import run
from profiler.mechanics.terrain import Terrain, drawn_elevations, terrain_of
from profiler.train import Train
from tests.benchmarks.test_brief_speed import hilly
from tests.planned import LIMIT, TRAINS, posted
from tests.trial import ORE, UNIT, train_of

BARE = train_of((4, replace(UNIT, dynamic=None)), (60, ORE))
"""Without a dynamic brake: set and release all the way."""
PLANNED = {"a": TRAINS["a"], "d": TRAINS["d"], "e": TRAINS["e"], "f": TRAINS["f"], "bare": BARE}


@pytest.fixture(scope="module")
def line(tmp_path_factory: pytest.TempPathFactory) -> tuple[Terrain, Terrain]:
    """200 km and its 100 draws."""
    profile, _ = hilly(Path(tmp_path_factory.mktemp("plan")) / "line", 200)
    terrain = terrain_of(profile)
    return terrain, terrain.lifted(drawn_elevations(profile))


def seconds(work: Callable[[], object]) -> float:
    """Of one go."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


@pytest.mark.slow
@pytest.mark.parametrize("name", PLANNED)
def test_a_plan_beside_plain_runs(line: tuple[Terrain, Terrain], name: str):
    """Law: every descent of 200 km planned for one train, with windows on 100 draws and the proof, costs at most 20
    times 100 plain runs over the whole line, held by brakes that never fail, of which nothing is kept; runs that keep
    all are printed beside."""
    terrain, drawn = line
    train: Train = PLANNED[name]
    limit = posted(train, terrain, LIMIT.get(name, LIMIT["a"]))
    course = course_of(train, terrain)
    speeds = speeds_along(course, train, limit)
    perfect = {"dynamic": np.full_like(course.dynamic[:1], FREE), "push": np.full_like(course.push[:1], FREE)}
    lines = [speeds.on(one)._replace(**perfect) for one in drawn_along(train, drawn, course)]
    acts = cruising_acts(train, course.effort.shape[1] - 1)
    tabled, end = acts_of(acts), terrain.length

    def plain() -> None:
        for one in lines:
            head, speed = 0.0, 5.0
            while head < end - 1:  # a run is followed for four hours
                went = extremes_of(one, tabled, head=head, speed=max(speed, 1.0), until=end)
                head, speed = went.head + (1.0 if went.speed <= 0 else 0.0), went.speed

    plain()
    base = seconds(plain)
    kept = seconds(lambda: [run(one, acts, head=0.0, speed=5.0, until=end, lasts=1e6) for one in lines[:10]]) * 10
    plans = []
    cost = seconds(lambda: plans.append(plan_descents(train, terrain, limit, drawn)))
    found = plans[0].descents
    steps = sum(len(one.steps) for one in found)
    print(
        f"\n{name}: {len(found)} descents, {steps} movements of the brake valve in {cost:.1f} s:"
        f" {cost / base:.1f} times 100 runs ({base:.2f} s), {cost / kept:.1f} times 100 kept ({kept:.2f} s)"
    )
    assert found
    assert cost < 20 * base
