"""Cost of following vehicles one by one against a bare compiled chain of springs. Printed (pytest -s); ratios only."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from profiler.cited import given
from profiler.compiling import compiled
from profiler.handling.timeline import cruising_acts
from profiler.mechanics.course import Act, course_of
from profiler.mechanics.draft_gear import gears_of
from profiler.mechanics.transient import transient
from profiler.units import MPH
from tests.benchmarks.test_under_train_speed import fastest
from tests.trial import CREST, hill, trial_trains


@compiled
def _bare(steps, x, v, force):
    """As many steps of masses on springs, nothing else, nothing kept."""
    for _ in range(steps):
        for i in range(force.size):
            force[i] = (x[i] - x[i + 1]) * 1e7
        for i in range(1, x.size - 1):
            v[i] += (force[i - 1] - force[i]) * 1e-8
            x[i] += v[i] * 1e-3
    return x[0]


def test_vehicles_followed():
    """Law: 112 vehicles over the trial's crest, the dynamic brake set at once, twice over for the check of the step,
    cost less than 25 bare steps a step."""
    train = trial_trains()["d"]
    course = course_of(train, hill(), draft_limit=math.inf)
    gears = [replace(gear, breaks=given(1e12, "n")) for gear in gears_of(train)]
    at = CREST + 955
    acts = [*cruising_acts(train, 8), Act("hold", np.nan, at=at), Act("notch", 0.0, at=at)]
    acts.append(Act("dynamic", [0.0, 0.85], at=at, step=3.0))

    def work():
        return transient(train, hill(), course, acts, gears, head=at - 300, speed=23 * MPH, lasts=100.0)

    done = work()
    x, v, force = np.zeros(112), np.zeros(112), np.zeros(111)
    steps = int(1.5 * done.steps)  # of the second time, and half as many before
    _bare(steps, x, v, force)
    floor, cost = fastest(lambda: _bare(steps, x, v, force)), fastest(work)
    print(f"\n{steps} steps, {100 / cost:.0f} times real time, {cost / floor:.1f} bare steps a step")
    assert done.sure
    assert cost < 25 * floor
