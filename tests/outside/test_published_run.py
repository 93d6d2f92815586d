"""Motion against what is published or reckoned in the trade's own examples: a mass at one place, forces as given."""

from __future__ import annotations

import numpy as np
import pytest

from profiler.mechanics.course import Act
from profiler.mechanics.motion import Course
from profiler.mechanics.run import Run, run
from profiler.mechanics.slowing import slow_down, stop
from profiler.units import FOOT, GRAVITY, KMH, MPH, FloatArray
from tests.point_mass import point_mass

WEIGHT = 2000.0
"""A short ton: forces are pounds per short ton."""
FIVE_PERCENT = 70 / (5280 * 0.01267)
"""Rotating mass in the classical constant 70 over that without (S10, M2)."""


def point(grade: float | FloatArray, *, rotating: float = 1.0, resistance: float = 0.0, pull: float = 0.0) -> Course:
    """A mass of weight `WEIGHT` on a grade, or on grades 1 m apart [m/m]."""
    mass = rotating * WEIGHT / GRAVITY
    return point_mass(WEIGHT * np.asarray(grade), mass, resistance=resistance, pull=pull)


@pytest.mark.parametrize(("mph", "entry", "foot", "bottom"), [(20, 14.05, 54.05, 39.2), (30, 31.60, 71.60, 45.15)])
def test_4_f_and_4_g(mph: float, entry: float, foot: float, bottom: float):
    """Published: 4-F and 4-G, a sag 40 ft deep and 5000 ft long, the pull equal to the resistance of the entry (S24:
    Webb, Economics, art. 193, table XX: velocity heads with 5 % for rotating parts, "just over 39" and "just over 45"
    mph; second decimals of the speeds calc). Hand work: 0.5 %."""
    head = 0.03512 * FOOT / MPH**2  # of velocity head over the square of the speed
    length, depth = 5000 * FOOT, 40 * FOOT
    way = np.arange(np.ceil(length) + 2)
    grade = -depth * np.pi / length * np.sin(2 * np.pi * way / length)
    course = point(grade, rotating=2 * GRAVITY * head, resistance=5.0, pull=5.0)
    done = run(course, [Act("notch", 1)], head=0.0, speed=mph * MPH, until=length, time_step=0.1)
    down = done.at(length / 2)[1]
    assert head * done.speed[0] ** 2 / FOOT == pytest.approx(entry, rel=0.005)
    assert head * down**2 / FOOT == pytest.approx(foot, rel=0.005)
    assert down / MPH == pytest.approx(bottom, rel=0.001)
    assert np.floor(down / MPH) == np.floor(bottom)
    assert done.speed[-1] == pytest.approx(mph * MPH, rel=1e-4)


@pytest.mark.parametrize(
    ("percent", "minute", "two"),
    [
        (1.0, (566, 12.9), (2264, 25.7)),
        (1.5, (856, 19.5), (3424, 38.9)),
        (2.0, (1146, 26.0), (4583, 52.1)),
        (2.5, (1436, 32.6), (5742, 65.3)),
    ],
)
def test_8_a(percent: float, minute: tuple[float, float], two: tuple[float, float]):
    """Published: 8-A, vehicles let go, feet and mph after one and two minutes (S61: Track N Times, March 2023, p. 4,
    weak; its resistance of 0.48 lb per short ton is what the table implies, calc): 1 % and 0.2 mph."""
    course = point(-percent / 100, resistance=0.48)
    for seconds, (feet, mph) in ((60, minute), (120, two)):
        done: Run = run(course, [], head=0.0, speed=0.0, until=1e5, lasts=seconds)
        assert done.time[-1] == pytest.approx(seconds)
        assert done.head[-1] / FOOT == pytest.approx(feet, rel=0.01)
        assert done.speed[-1] / MPH == pytest.approx(mph, abs=0.2)


@pytest.mark.parametrize(
    ("mph", "pounds", "grade", "feet"),
    [
        (50, 75, 0.0, 2333),
        (40, 60, 0.0, 1867),
        (25, 50, 0.0, 875),
        (55, 75, 0.0, 2823),
        (50, 75, -0.01, 3182),
        (50, 75, 0.01, 1842),
    ],
)
def test_8_b_and_8_c(mph: float, pounds: float, grade: float, feet: float):
    """Worked: 8-B and 8-C, 70·V²/r, brakes fully on, level and on 1 % (calc; the constant from memory of Hay, M2)."""
    found = stop(point(grade, rotating=FIVE_PERCENT), head=0.0, speed=mph * MPH, air=pounds)
    assert found.distance / FOOT == pytest.approx(feet, rel=0.001)


@pytest.mark.parametrize(("grade", "metres"), [(0.0, 705.5), (-0.01, 980.2), (0.01, 551.0)])
def test_8_d(grade: float, metres: float):
    """Worked: 8-D, 80 km/h at 0.35 m/s², level and on 1 % (calc)."""
    found = stop(point(grade), head=0.0, speed=80 * KMH, air=0.35 * WEIGHT / GRAVITY)
    assert found.distance == pytest.approx(metres, rel=0.0002)


def test_8_e():
    """Worked: 8-E, a slow order: 40 to 25 mph at net 50 lb per short ton, and at 0.3 mph/s (calc)."""
    course = point(0.0, rotating=FIVE_PERCENT)
    for air, feet in ((50.0, 1365), (0.3 * MPH * course.mass, 2383)):
        found = slow_down(course, place=5000.0, slow=25 * MPH, approach=40 * MPH, air=air)
        assert found.begins is not None
        assert (5000.0 - found.begins) / FOOT == pytest.approx(feet, rel=0.001)
