"""Cost of a step of the run against a bare compiled loop of the same run. Printed (pytest -s); ratios only."""

from __future__ import annotations

from profiler.compiling import compiled
from profiler.mechanics.course import Act, course_of
from profiler.mechanics.run import run
from profiler.units import MPH
from tests.benchmarks.test_under_train_speed import fastest
from tests.trial import CREST, hill, trial_trains


@compiled
def _bare(steps, speed):
    """As many steps of a mass under A + B·v + C·v², both stages of Heun, nothing tabled, nothing kept."""
    x, v = 0.0, speed
    for _ in range(steps):
        a = -(1e-3 + v * (1e-5 + v * 1e-6))
        guess = v + a * 0.1
        b = -(1e-3 + guess * (1e-5 + guess * 1e-6))
        new = v + (a + b) * 0.05
        x += (v + new) * 0.05
        v = new
    return x


def test_steps_of_a_run():
    """Law: a run over the trial's hill with a held speed, a cut of the throttle, dynamic and air costs less than 120
    bare steps a step, with forces from tables and all of it kept."""
    train = trial_trains()["a"]
    course = course_of(train, hill(), dynamic=2e6)
    acts = [
        Act("notch", 8),
        Act("hold", 23 * MPH),
        Act("notch", [8, 7, 6, 5, 4, 3, 2, 1, 0], at=CREST + 300, step=2.0),
        Act("dynamic", [0, 0.15, 0.85], at=CREST + 450, step=10.0),
        Act("air", [0, 3e5, 6e5], at=22_500.0, step=10.0),
    ]

    def work():
        return run(course, acts, head=5000, speed=18 * MPH, until=35_000, time_step=0.1)

    steps = work().time.size
    _bare(steps, 8.0)
    floor, cost = fastest(lambda: _bare(steps, 8.0)), fastest(work)
    print(f"\n{steps} steps, {steps / cost / 1e6:.1f} M steps/s, {cost / floor:.0f} bare steps a step")
    assert cost < 120 * floor
